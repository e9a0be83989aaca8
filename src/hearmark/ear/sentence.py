"""The habit in one plain sentence."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from hearmark.ear import habits
from hearmark.ear.habits import State
from hearmark.ear.places import Places, places
from hearmark.events import FloatArray

SURE = 0.35
"""Below this the likeliest habit is not named."""
GROWN = 1.5
"""Nor before its odds have grown so much: the prior alone is no finding."""


def _khz(frequency_hz: float) -> str:
    return f"{frequency_hz / 1000.0:.1f} kHz"


def _shift(hz: float) -> str:
    return f"{hz / 1000.0:.1f} kHz" if hz >= 95.0 else f"{round(hz / 10.0) * 10:.0f} Hz"


def habit_sentence(state: State, grid: Places) -> str:
    """What he seems to do, with its probability, for example "moving up about 0.4 kHz a contact, 78 %"."""
    shares = habits.weights(state)
    shares = shares / shares.sum()
    best = int(np.argmax(shares))
    before = _beforehand(grid.low_hz, grid.high_hz)[best]
    grown = shares[best] * (1.0 - before) >= GROWN * before * (1.0 - shares[best])
    if shares[best] < SURE or not grown or habits.HABITS[best] == "else":
        return "no clear habit yet"
    words = {
        "stay": _stays,
        "wander": _wanders,
        "step": _steps,
        "two spots": _two_spots,
        "jump": lambda *_: ("jumps over the whole window", 1.0),
        "quiet": lambda *_: ("goes where it is quiet", 1.0),
    }[habits.HABITS[best]]
    text, share = words(state, grid)
    return f"{text}, {100.0 * shares[best] * share:.0f} %"


@lru_cache(maxsize=32)
def _beforehand(low_hz: float, high_hz: float) -> FloatArray:
    return habits.weights(habits.begin(places(low_hz, high_hz)))


def _stays(state: State, grid: Places) -> tuple[str, float]:
    return f"stays near {_khz(grid.frequency_hz[int(np.argmax(state.walk[0]))])}", 1.0


def _wanders(state: State, _: Places) -> tuple[str, float]:
    rows = state.walk.sum(axis=1, dtype=np.float64)[1:]
    spread_hz = float(np.sqrt(rows @ habits.WANDER_HZ[1:] ** 2 / rows.sum()))
    return f"wanders, about {_shift(spread_hz)} a contact", 1.0


def _steps(state: State, _: Places) -> tuple[str, float]:
    direction = state.step.sum(axis=(1, 2, 3), dtype=np.float64)
    way = int(np.argmax(direction))
    shifts = state.step[way].sum(axis=(1, 2), dtype=np.float64)
    rows = state.step[way].sum(axis=(0, 2), dtype=np.float64)
    shift_hz = float(np.exp(shifts @ np.log(habits.STEP_HZ) / shifts.sum()))
    dwell = float(rows @ habits.DWELL_CONTACTS / rows.sum())
    word = "up" if way == 0 else "down"
    pace = "a contact" if dwell < 1.5 else f"every {dwell:.0f} contacts"
    return f"moving {word} about {_shift(shift_hz)} {pace}", float(direction[way] / direction.sum())


def _two_spots(state: State, grid: Places) -> tuple[str, float]:
    both = state.pair.sum(axis=0, dtype=np.float64)
    both = both + both.T
    here, other = sorted(np.unravel_index(int(np.argmax(both)), both.shape))
    return f"two spots, {_khz(grid.coarse_hz[here])} and {_khz(grid.coarse_hz[other])}", 1.0
