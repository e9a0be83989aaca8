"""Ordinary contacts: two stations who talk to each other on one frequency, and others like them beside.

What is no split, for all that listens for one. The texts are invented; lengths, gaps and how exactly people meet on a
frequency are common practice, no source.
"""

from __future__ import annotations

import random
from dataclasses import replace

from hearmark.errors import HearmarkError
from hearmark.events import Mode
from hearmark.simulate import calls
from hearmark.simulate.air import Air, Durations, stream
from hearmark.simulate.scenario import simplex
from hearmark.simulate.session import Scenario, Session, Station

_MORSE = (
    "R R TNX FER CALL", "UR RST 579 579", "NAME IS TOM TOM", "QTH NR LAKE", "WX HR RAIN ES COLD", "RIG 100W ANT DIPOLE",
    "HW CPI?", "FB OM", "TNX FER RPT", "PSE RPT NAME", "BEEN HR SINCE 1988", "QSB ON UR SIG", "MNI TNX FER QSO",
    "HPE CUAGN 73", "OK ON ALL", "VY NICE SIG",
)  # fmt: skip
_VOICE = (
    "roger roger thanks for the call", "you are five and nine here", "the name is tom",
    "the location is near the lake", "the weather is cold and it rains", "running one hundred watts into a dipole",
    "how do you copy", "very good signal this evening", "there is some fading on your signal",
    "thank you very much for the report", "i have been here since early morning", "okay on everything",
    "hope to meet you again", "over to you",
)  # fmt: skip
_NEAR_HZ = {"cw": 350.0, "voice": 2_600.0}
"""Nobody who keeps the order begins a contact nearer to another."""
_REACH_HZ = 12_000.0


def ordinary(
    mode: Mode, seed: int, duration_s: float = 90.0, neighbours: int | None = None, durations: Durations | None = None
) -> Session:
    """A contact of two on the DX's frequency (station 0 is one of them) and of `neighbours` pairs within 12 kHz of it,
    drawn from `seed` (0 to 5) if left out. Raises HearmarkError for a length or a number that cannot be."""
    if neighbours is not None and not 0 <= neighbours <= 8:
        raise HearmarkError(f"{neighbours} contacts beside it do not fit; give 0 to 8.")
    base = simplex(mode, seed, duration_s)
    rng = random.Random(f"ordinary {mode} {seed}")
    scenario = replace(base, name="ordinary", callers=1, undisciplined=0.0)
    pairs = rng.randint(0, 5) if neighbours is None else neighbours
    places_hz = [0.0, *_places(mode, pairs, rng)]
    stations: list[Station] = []
    for pair in range(len(places_hz)):
        stations += _pair(scenario, pair, rng)
    air = Air(scenario, stations, durations, keyed=True)
    for pair, place_hz in enumerate(places_hz):
        _talks(air, pair, scenario.dx_hz + place_hz, duration_s, stream(seed, 77 + pair))
    air.run(duration_s)
    sent = sorted((air.transmission(one) for one in air.sendings), key=lambda one: (one.start_s, one.station))
    return Session(scenario, tuple(stations), tuple(sent), ())


def _places(mode: Mode, count: int, rng: random.Random) -> list[float]:
    """Offsets in hertz of the contacts beside."""
    near_hz = _NEAR_HZ["cw" if mode == "cw" else "voice"]
    places: list[float] = []
    for _ in range(60):
        if len(places) == count:
            break
        place_hz = 10.0 * round(rng.uniform(-_REACH_HZ, _REACH_HZ) / 10.0)
        if all(abs(place_hz - other) > near_hz for other in (0.0, *places)):
            places.append(place_hz)
    return places


def _pair(scenario: Scenario, pair: int, rng: random.Random) -> list[Station]:
    morse = scenario.mode == "cw"
    out: list[Station] = []
    wpm = rng.uniform(18.0, 30.0) if morse else rng.uniform(150.0, 190.0)
    for side in range(2):
        call = calls.rare(rng) if pair == side == 0 else calls.caller(rng)[0]
        snr_db = scenario.dx_snr_db if pair == side == 0 else rng.gauss(scenario.median_snr_db, scenario.snr_spread_db)
        voice = f"s{rng.randint(1, 16):02d}"
        fist = rng.randint(1, 2**31 - 1) if morse and rng.random() < 0.5 else 0
        pace = wpm * rng.uniform(0.9, 1.1)
        out.append(Station(2 * pair + side, call, round(snr_db, 1), round(pace, 1), voice, fist))
    return out


def _talks(air: Air, pair: int, place_hz: float, duration_s: float, rng: random.Random) -> None:
    """One sends, then the other, from before the recording begins to its end."""
    morse = air.morse
    apart_hz = rng.gauss(0.0, 20.0) if rng.random() < 0.8 else 0.0
    brief = rng.random() < 0.35
    """A quick exchange: a call, a report, and the next."""
    side = rng.randint(0, 1)
    time_s = rng.uniform(0.0, 6.0)

    def over(side: int) -> None:
        own, other = air.stations[2 * pair + side], air.stations[2 * pair + 1 - side]
        words = list(_MORSE if morse else _VOICE)
        rng.shuffle(words)
        said = words[: rng.randint(1, 2) if brief else rng.randint(2, 7)]
        if rng.random() < 0.7:
            said = [f"{other.call} DE {own.call}" if morse else "hello again", *said]
        if morse and rng.random() < 0.7:
            said.append(rng.choice(("K", "BK", f"DE {own.call} K", "KN")))
        sending = air.send(own.index, place_hz + side * apart_hz, " ".join(said), "other", 0.0)
        again = rng.random() < 0.08  # the other did not notice, or has gone: he goes on after a while
        pause_s = rng.uniform(2.0, 6.0) if again else rng.uniform(0.2, 1.8)
        air.at(sending.stop_s + pause_s, over, side if again else 1 - side)

    air.at(time_s, over, side)
