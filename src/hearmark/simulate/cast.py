"""Who is in a pile-up: stations, their levels and voices, and who comes when."""

from __future__ import annotations

import random

from hearmark.errors import HearmarkError
from hearmark.simulate import callers as habits
from hearmark.simulate import calls
from hearmark.simulate.air import stream
from hearmark.simulate.callers import Caller
from hearmark.simulate.session import Scenario, Station
from hearmark.simulate.texts import Talk

_SYNTHETIC = tuple(f"s{number:02d}" for number in range(1, 17))
_RECORDED = tuple(f"h-{language}{suffix}" for language in ("en", "es", "fr", "ru") for suffix in ("", "-2", "-3"))


class Cast:
    """All who ever come to one pile-up: station 0 is the DX, the callers follow in the order of their numbers.

    Each caller is drawn from a stream of his own, so that it is no matter when he is asked for.
    """

    def __init__(self, scenario: Scenario, rng: random.Random) -> None:
        wide, morse = scenario.sloppiness, scenario.mode == "cw"
        dx_wpm = rng.gauss(28.0, 4.5 * wide) if morse else rng.uniform(150.0, 150.0 + 50.0 * wide)
        dx_wpm = min(max(dx_wpm, 18.0), 40.0) if morse else dx_wpm
        dx_wpm = scenario.morse_wpm if morse and scenario.morse_wpm is not None else dx_wpm
        dx_call = calls.rare(rng)
        voice = rng.choice(_SYNTHETIC)
        self.stations = [Station(0, dx_call, scenario.dx_snr_db, round(dx_wpm, 1), voice, _fist(rng, 0.5 * wide))]
        """The DX and those who were asked for; others may stand here too, with numbers of their own."""
        self._scenario, self._dx_wpm = scenario, dx_wpm
        self._dx_path_db = rng.uniform(4.0, 16.0)
        self._first = rng.random()
        self._taken = {self.stations[0].call}
        self._count = 0

    def next(self) -> Caller:
        """The next caller; his station is added to `stations`."""
        scenario, wide, morse = self._scenario, self._scenario.sloppiness, self._scenario.mode == "cw"
        self._count += 1
        count, index = self._count, len(self.stations)
        own = stream(scenario.seed, count)
        call, region = calls.caller(own)
        while call in self._taken:
            call, region = calls.caller(own)
        self._taken.add(call)
        power = own.gauss(0.0, 0.5)
        path = 0.75**0.5
        snr_db = scenario.median_snr_db + scenario.snr_spread_db * (power + own.gauss(0.0, path))
        at_dx_db = self._dx_path_db + 8.0 * (power + own.gauss(0.0, path))
        if morse:
            wpm = min(max(own.gauss(self._dx_wpm, 3.5 * wide), min(14.0, self._dx_wpm)), 42.0)
        else:
            wpm = 60.0 * (2.8 + wide * (own.uniform(2.2, 3.5) - 2.8))
        recorded = scenario.human_speech and own.random() < 0.7
        voice = own.choice(_RECORDED if recorded else _SYNTHETIC)
        self.stations.append(Station(index, call, round(snr_db, 2), round(wpm, 1), voice, _fist(own, wide)))
        share, first = scenario.undisciplined, self._first
        manners = habits.manners(scenario, int(count * share + first) > int((count - 1) * share + first), own)
        place_hz = habits.place(scenario, manners.policy, manners.grid_hz, own)
        if count > scenario.callers:
            arrives_s = 2.0 * scenario.duration_s + 1.0
        else:
            arrives_s = 0.0 if own.random() < 0.85 else own.uniform(0.0, scenario.duration_s)
        talk = Talk(scenario.mode, wide, own, plain=recorded)
        return Caller(index, call, region, manners, talk, at_dx_db, place_hz, arrives_s, own)


def _fist(rng: random.Random, wide: float) -> int:
    """A hand's seed; the less sloppy the pile-up, the more machines."""
    seed = rng.randint(1, 2**31 - 1)
    return seed if rng.random() < 0.2 + 0.8 * wide and wide > 0.0 else 0


def check(scenario: Scenario) -> None:
    """Raise HearmarkError for a scenario that cannot be played."""
    if scenario.callers < 1:
        raise HearmarkError(f"A pile-up of {scenario.callers} callers cannot be played: give at least 1.")
    if scenario.window_low_hz > scenario.window_high_hz:
        raise HearmarkError(
            f"The window {scenario.window_low_hz:.0f} to {scenario.window_high_hz:.0f} Hz: give the lower end first."
        )
    for name, value in (("undisciplined share", scenario.undisciplined), ("sloppiness", scenario.sloppiness)):
        if not 0.0 <= value <= 1.0:
            raise HearmarkError(f"The {name} is {value!r}: give a value from 0 to 1.")
