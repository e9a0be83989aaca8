"""A mark that no habit expected: a wrong one, or he has taken up another habit. The next marks tell which."""

from __future__ import annotations

import numpy as np

from hearmark.ear.habits import State
from hearmark.ear.places import Places
from hearmark.events import FloatArray

ALARM = 1.0 / 12.0
"""Chance that he has taken up another habit, after such a mark."""
SURE, UNEXPECTED = 0.5, 0.7
"""Such is a mark told with at least the first as its confidence and then believed right with less than the second."""


def elsewhere(state: State, places: Places, confidence: float) -> FloatArray | None:
    """Where he may be who has just taken up another habit, from the newest mark alone; shape (n,), sums to 1.

    `state`: with that mark just weighed, `confidence`: as it was told. None: it was no surprise.
    """
    if confidence < SURE or state.recent_weight[-1] >= UNEXPECTED:
        return None
    near = (state.scatter @ places.likelihood(state.recent_hz[-1])) * places.uniform
    total = float(near.sum())
    return np.asarray(near / total) if total > 0.0 else None
