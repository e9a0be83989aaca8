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


def people(scenario: Scenario, rng: random.Random) -> tuple[list[Station], list[Caller]]:
    """The DX and all callers: those there from the start, those who come later, those who may take a free place."""
    seed, wide, morse = scenario.seed, scenario.sloppiness, scenario.mode == "cw"
    dx_wpm = rng.gauss(28.0, 4.5 * wide) if morse else rng.uniform(150.0, 150.0 + 50.0 * wide)
    dx_wpm = min(max(dx_wpm, 18.0), 40.0) if morse else dx_wpm
    stations = [
        Station(
            0, calls.rare(rng), scenario.dx_snr_db, round(dx_wpm, 1), rng.choice(_SYNTHETIC), _fist(rng, 0.5 * wide)
        )
    ]
    crowd: list[Caller] = []
    dx_path_db = rng.uniform(4.0, 16.0)
    total = scenario.callers + round(scenario.duration_s / 9.0)
    taken = {stations[0].call}
    share, first = scenario.undisciplined, rng.random()
    for index in range(1, total + 1):
        own = stream(seed, index)
        call, region = calls.caller(own)
        while call in taken:
            call, region = calls.caller(own)
        taken.add(call)
        power = own.gauss(0.0, 0.5)
        path = 0.75**0.5
        snr_db = scenario.median_snr_db + scenario.snr_spread_db * (power + own.gauss(0.0, path))
        at_dx_db = dx_path_db + 8.0 * (power + own.gauss(0.0, path))
        if morse:
            wpm = min(max(own.gauss(dx_wpm, 3.5 * wide), 14.0), 42.0)
        else:
            wpm = 60.0 * (2.8 + wide * (own.uniform(2.2, 3.5) - 2.8))
        recorded = scenario.human_speech and own.random() < 0.7
        voice = own.choice(_RECORDED if recorded else _SYNTHETIC)
        stations.append(Station(index, call, round(snr_db, 2), round(wpm, 1), voice, _fist(own, wide)))
        manners = habits.manners(scenario, int(index * share + first) > int((index - 1) * share + first), own)
        place_hz = habits.place(scenario, manners.policy, manners.grid_hz, own)
        if index > scenario.callers:
            arrives_s = 2.0 * scenario.duration_s + 1.0
        else:
            arrives_s = 0.0 if own.random() < 0.85 else own.uniform(0.0, scenario.duration_s)
        talk = Talk(scenario.mode, wide, own, plain=recorded)
        crowd.append(Caller(index, call, region, manners, talk, at_dx_db, place_hz, arrives_s, own))
    return stations, crowd


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
