"""Scenarios by name, and scenarios drawn at random from the whole range of what is heard."""

from __future__ import annotations

import random
from dataclasses import replace
from typing import Literal, get_args

from hearmark.errors import HearmarkError
from hearmark.events import Mode
from hearmark.simulate.session import Habit, Scenario

Level = Literal["easy", "hard", "brutal"]

HABITS: tuple[Habit, ...] = get_args(Habit)
CHANNELS = tuple(
    f"{latitude} {state}" for latitude in ("low", "mid", "high") for state in ("quiet", "moderate", "disturbed")
)
"""The nine conditions of Recommendation ITU-R F.1487."""

# Where rare stations are found, kHz: common practice, no source.
_DX_KHZ: dict[Mode, tuple[float, ...]] = {
    "cw": (3_507, 7_003.5, 7_023, 10_105, 14_023, 14_024.5, 18_075, 21_022, 21_023, 24_894, 28_022),
    "usb": (14_185, 14_195, 14_203, 18_130, 18_143.5, 21_275, 21_295, 24_945, 28_445, 28_495),
    "lsb": (3_785, 3_799, 7_052, 7_081, 7_130, 7_155, 7_165),
}  # fmt: skip


def preset(name: Level, mode: Mode, seed: int, habit: Habit | None = None, duration_s: float = 240.0) -> Scenario:
    """A pile-up of stated difficulty; what the name leaves open is drawn from `seed`. Raises HearmarkError.

    easy: 20 callers, 10 % undisciplined, median SNR 12 dB in 2500 Hz. hard: 80, 20 %, 5 dB. brutal: 100 to 120, 35 %,
    0 to 5 dB. Windows: CW 1 to 5 kHz, SSB 5 to 10 kHz wide.
    """
    _check(mode, duration_s)
    if habit is not None and habit not in HABITS:
        raise HearmarkError(f"Habit {habit!r} is not known: choose one of {', '.join(HABITS)}.")
    rng = random.Random(f"{name} {mode} {seed}")
    morse = mode == "cw"
    chosen = rng.choice(HABITS)
    if name == "easy":
        width_hz = rng.choice((1000.0, 1500.0, 2000.0)) if morse else 5000.0
        callers, undisciplined, median_db, channel = 20, 0.1, 12.0, "mid quiet"
    elif name == "hard":
        width_hz = 5000.0 if morse else rng.choice((5000.0, 7500.0, 10000.0))
        callers, undisciplined, median_db, channel = 80, 0.2, 5.0, "mid moderate"
    elif name == "brutal":
        width_hz = rng.choice((3000.0, 4000.0, 5000.0)) if morse else rng.choice((5000.0, 10000.0))
        callers, undisciplined, median_db = rng.randint(100, 120), 0.35, rng.uniform(0.0, 5.0)
        channel = rng.choice(("mid disturbed", "high moderate", "low moderate", "mid moderate"))
    else:
        raise HearmarkError(f"Pile-up {name!r} is not known: choose easy, hard or brutal.")
    dx_hz = {"cw": 14_023_000.0, "usb": 18_143_500.0, "lsb": 7_130_000.0}[mode]
    near_hz = rng.choice((1000.0, 1000.0, 2000.0)) if morse else 5000.0
    low_hz, high_hz = _window(dx_hz, near_hz, width_hz, above=mode != "lsb" or rng.random() < 0.7)
    return Scenario(
        mode,
        dx_hz,
        low_hz,
        high_hz,
        habit or chosen,
        callers,
        undisciplined,
        round(median_db, 1),
        channel,
        duration_s,
        seed,
        dx_snr_db={"easy": 18.0, "hard": 12.0, "brutal": 10.0}[name],
        name=name,
        impulses_per_s={"easy": 0.0, "hard": 1.0, "brutal": 5.0}[name],
        carriers={"easy": 0, "hard": 1, "brutal": 3}[name],
        sloppiness={"easy": 0.35, "hard": 0.55, "brutal": 0.75}[name],
    )


def varied(mode: Mode, seed: int, duration_s: float = 240.0) -> Scenario:
    """A pile-up with every knob drawn broadly from `seed`; one in 25 simplex, one in five below the DX."""
    _check(mode, duration_s)
    rng = random.Random(f"varied {mode} {seed}")
    if rng.random() < 0.04:
        return simplex(mode, seed, duration_s)
    morse = mode == "cw"
    dx_hz = 1000.0 * rng.choice(_DX_KHZ[mode]) + (
        10.0 * rng.randint(-60, 60) if rng.random() < (0.7 if morse else 0.2) else 0.0
    )
    if morse:
        width_hz, near_hz = (
            rng.choice((500.0, 1000.0, 1000.0, 2000.0, 3000.0, 4000.0, 5000.0)),
            rng.choice((500.0, 1000.0, 1000.0, 2000.0, 3000.0)),
        )
    else:
        width_hz, near_hz = (
            rng.choice((2000.0, 5000.0, 5000.0, 7500.0, 10000.0, 15000.0)),
            rng.choice((3000.0, 5000.0, 5000.0, 10000.0)),
        )
    callers = round(8 * 15 ** rng.random())
    if rng.random() < 0.85:  # a window that suits the crowd: 30 to 120 Hz (voice: 100 to 450 Hz) for each
        least_hz, most_hz = (30.0, 120.0) if morse else (100.0, 450.0)
        width_hz = min(width_hz, 100.0 * round(callers * most_hz / 100.0))
        callers = min(callers, max(8, round(width_hz / least_hz)))
    low_hz, high_hz = _window(dx_hz, near_hz, width_hz, above=rng.random() < 0.8)
    return Scenario(
        mode,
        dx_hz,
        low_hz,
        high_hz,
        rng.choice(HABITS),
        callers,
        round(rng.uniform(0.0, 0.4), 3),
        round(rng.uniform(0.0, 20.0), 1),
        rng.choice(CHANNELS),
        duration_s,
        seed,
        snr_spread_db=round(rng.uniform(5.0, 11.0), 1),
        dx_snr_db=round(rng.uniform(5.0, 30.0), 1),
        human_speech=not morse and rng.random() < 0.3,
        impulses_per_s=rng.choice((0.0, 0.0, 0.0, 1.0, 5.0, 20.0)),
        carriers=rng.choice((0, 0, 0, 1, 2, 5)),
        sloppiness=round(rng.random(), 3),
    )


def simplex(mode: Mode, seed: int, duration_s: float = 240.0) -> Scenario:
    """A pile-up on the DX's own frequency: window_low_hz == window_high_hz == dx_hz."""
    _check(mode, duration_s)
    rng = random.Random(f"simplex {mode} {seed}")
    dx_hz = 1000.0 * rng.choice(_DX_KHZ[mode]) + 10.0 * rng.randint(-60, 60)
    base = Scenario(
        mode,
        dx_hz,
        dx_hz,
        dx_hz,
        "stay",
        rng.randint(4, 30),
        round(rng.uniform(0.0, 0.25), 3),
        round(rng.uniform(3.0, 20.0), 1),
        rng.choice(CHANNELS),
        duration_s,
        seed,
        name="simplex",
    )
    return replace(base, dx_snr_db=round(rng.uniform(8.0, 30.0), 1), sloppiness=round(rng.random(), 3))


def _window(dx_hz: float, near_hz: float, width_hz: float, above: bool) -> tuple[float, float]:
    if above:
        return dx_hz + near_hz, dx_hz + near_hz + width_hz
    return dx_hz - near_hz - width_hz, dx_hz - near_hz


def _check(mode: Mode, duration_s: float) -> None:
    if mode not in get_args(Mode):
        raise HearmarkError(f"Mode {mode!r} is not known: choose cw, usb or lsb.")
    if not 1.0 <= duration_s <= 86_400.0:
        raise HearmarkError(f"A pile-up of {duration_s!r} s cannot be played: give 1 to 86400 seconds.")
