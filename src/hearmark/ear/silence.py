"""What it means not to have heard an answer: every place that was searched becomes less likely."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from hearmark.ear import habits
from hearmark.ear.habits import State
from hearmark.ear.places import Places
from hearmark.events import FloatArray


def weigh(state: State, places: Places, missed: FloatArray, rank: FloatArray | None = None) -> tuple[State, FloatArray]:
    """Take in a contact whose answer was sought and not heard.

    `missed`: probability of not hearing an answer on each frequency of the grid, shape (n,), 0 to 1. Returns the state
    after it, not yet moved on, and the probability of the place, shape (n,); Bayes' rule, like `habits.weigh`.
    """
    fine, coarse = places.seen_from(missed)
    here = (state.scatter @ fine).astype(np.float32)
    here_coarse = (state.scatter @ coarse).astype(np.float32)
    rest = state.rest * (habits.rest_densities(state, places, rank) @ missed * places.step_hz)
    lull = habits.lulled(state, places, rank) * here
    walk, roam, step = state.walk * here, state.roam * here, state.step * here
    pair = state.pair * here_coarse[None, :, None]
    place = state.place * here
    lull_place = lull.sum(axis=0, dtype=np.float64)
    spots = places.fine(pair.sum(axis=(0, 2), dtype=np.float64))
    loose = places.uniform * (np.asarray(here, dtype=np.float64) + 1e-12)
    total = float(place.sum() + lull_place.sum() + spots.sum() + rest.sum())
    where = place + lull_place + spots + rest.sum() * loose / loose.sum()
    after = replace(state, walk=walk, roam=roam, step=step, pair=pair, lull=lull, rest=rest, place=place)
    return habits.scaled(after, total), where / where.sum()
