"""The habits by which a DX moves his listening frequency, as one joint filter on a grid.

Every habit is a small Markov model of the place where he listens, with its unknown parameters on a grid of their own:

* stay: one place;
* wander: a random walk, of one of several spreads, reflected at the edges;
* step: the same shift each time he moves, up or down, after a dwell of so many contacts; at the edge he turns or wraps;
* two spots: a pair of places, with a probability of changing from one to the other;
* jump: anywhere in the window, anew for each contact, or now and then;
* quiet: where measured activity is low, anew for each contact, or now and then;
* else: near the last marks or anywhere, wide: so that no habit is ever believed without reserve.

How far the answered callers scatter about the place is learned beside them, from each mark's likelihood under the
belief as it stood (an approximation: the scatter is taken as independent of the rest).

All of them share one probability: the cells of all habits together sum to 1. A mark multiplies every cell by the
likelihood of that mark there; the passage of a contact moves every cell by its habit; and with a small hazard he takes
up another habit altogether (switching hidden Markov model, exact forward recursion: Rabiner, Proc. IEEE 77(2), 1989,
section III.A; the hazard is the geometric change-point model of Adams and MacKay, arXiv:0710.3742, 2007).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from hearmark.ear import moves
from hearmark.ear.places import SCATTER_SHARE, Places
from hearmark.events import FloatArray

Cells = npt.NDArray[np.float32]

HABITS = ("stay", "wander", "step", "two spots", "jump", "quiet", "else")
PRIOR = np.array([0.1, 0.17, 0.15, 0.11, 0.32, 0.14, 0.01])
"""How common each habit is before anything is heard; common practice, no source."""

HAZARD = 1.0 / 160.0
"""Chance per contact that he takes up another habit."""

WANDER_HZ = np.array([0.0, 50.0, 100.0, 200.0, 400.0, 800.0])
"""Spread of the walk per contact; the first row is the habit "stay"."""
WANDER_SHARE = np.array([0.0, 0.15, 0.2, 0.25, 0.25, 0.15])
ROAM = np.array([1.0, 0.67, 0.45, 0.28])
"""Jump: chance per contact of going anywhere else; the first row jumps every time."""
ROAM_SHARE = np.array([0.77, 0.09, 0.08, 0.06])
STEP_HZ = np.round(np.geomspace(50.0, 1400.0, 16))
STEP_SHARE = np.full(len(STEP_HZ), 1.0 / len(STEP_HZ))
DWELLS = ((1, 1), (1, 2), (1, 3), (2, 2), (3, 3), (2, 4), (4, 4), (5, 5), (3, 6))
"""Contacts at one place before a step, from the fewest to the most, each number alike; so many rows as the most."""
RANDOM_MOVE = 0.22
"""One more row moves at random."""
DWELL_SHARE = np.array([0.24, 0.14, 0.14, 0.08, 0.07, 0.1, 0.05, 0.04, 0.06, 0.08])
EARLY, ON_TIME = 0.06, 0.9
"""Chance of a step before its time, and in its time."""
CHANGE = np.array([0.12, 0.35, 0.6, 0.92])
"""Two spots: chance per contact of going over to the other one."""
QUIET_SHARPNESS = np.array([4.0, 12.0, 36.0, 120.0])
"""Quiet: preference falls as exp(-sharpness times rank), rank 0 the quietest place, 1 the busiest."""
QUIET_REACH_HZ = np.array([75.0, 150.0, 300.0])
"""Quiet: activity counts so far to either side of the place, by the filter that he has; learned by use."""
LULL = np.array([0.67, 0.45, 0.28])
"""Quiet, but not every time: chance per contact of looking for another quiet place; else he stays where he is."""
LULL_KINDS = np.array([4, 5, 8, 9])
"""Which pairs of reach and sharpness, counted through, he may look by then."""
LULL_SHARE = 0.4
"""Share of the quiet habits that do not move every time."""
FORGET = 0.005
"""Share by which what was learned of the scatter and of the sharpness returns to the start, per mark."""
SHARPNESS = np.array([0.75, 1.0, 1.25])
SHARPNESS_SHARE = np.array([0.15, 0.4, 0.45])
"""The density is read with one of these powers: the habits above may claim too much or too little, learned by use."""
EDGE_FLOOR = 0.01
"""Share of "jump" that reaches outside the announced window."""


def _dwell_rows() -> tuple[FloatArray, npt.NDArray[np.int64], npt.NDArray[np.int64], FloatArray, FloatArray]:
    """Per row of the dwell axis: chance to step, first row of its model, next row if he does not, share at start,
    mean contacts at one place."""
    move: list[float] = []
    first: list[int] = []
    following: list[int] = []
    share: list[float] = []
    mean: list[float] = []
    for (fewest, most), model_share in zip(DWELLS, DWELL_SHARE[:-1], strict=True):
        start = len(move)
        for age in range(1, most + 1):
            move.append(ON_TIME if age == most else 1.0 / (most - age + 1) if age >= fewest else EARLY)
            first.append(start)
            following.append(min(start + age, start + most - 1))
            share.append(model_share / most)
            mean.append(0.5 * (fewest + most))
    last = len(move)
    return (
        np.array([*move, RANDOM_MOVE]),
        np.array([*first, last]),
        np.array([*following, last]),
        np.array([*share, DWELL_SHARE[-1]]),
        np.array([*mean, 1.0 / RANDOM_MOVE]),
    )


MOVE, FIRST, FOLLOWING, ROW_SHARE, DWELL_CONTACTS = _dwell_rows()
"""Mean contacts at one place, per dwell row."""


@dataclass(frozen=True, slots=True)
class State:
    """Joint probability of habit, parameters and place before the next contact. All cells together sum to 1.

    `walk` (spread, place), `roam` (chance, place), `step` (direction, shift, dwell row, place), `pair` (change, here,
    other), `lull` (kind and chance, place at the last contact), `rest` (quiet by reach and sharpness..., else).
    Direction 0 is up. `wrong_hz`, `wrong_weight`: marks believed wrong;
    `recent_hz`, `recent_weight`: the newest marks with the belief that each was right.
    """

    walk: Cells
    roam: Cells
    step: Cells
    pair: Cells
    lull: Cells
    rest: FloatArray
    prior: FloatArray
    up_share: float
    place: FloatArray
    """Probability of the place (n,) under the habits on the fine grid: walk, roam and step."""
    scatter: FloatArray
    """Probability of each spread of the answered caller about the place, shape (4,)."""
    sharpness: FloatArray
    """Probability of each of `SHARPNESS`, shape (3,)."""
    hears: bool = False
    """Some activity was measured so far."""
    wrong_hz: tuple[float, ...] = ()
    wrong_weight: tuple[float, ...] = ()
    recent_hz: tuple[float, ...] = ()
    recent_weight: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Shares:
    """Prior probability of each row of the habits, the place aside: `walk` (6,), `roam` (3,), `step` (2, 16, rows),
    `pair` a number for each change, `lull` one for each of its rows, `rest` (13,)."""

    walk: FloatArray
    roam: FloatArray
    step: FloatArray
    pair: float
    lull: float
    rest: FloatArray


def shares(prior: FloatArray, up_share: float) -> Shares:
    """From the prior of each of `HABITS` and the probability that steps go up."""
    walk = prior[1] * WANDER_SHARE
    walk[0] = prior[0]
    direction = np.array([up_share, 1.0 - up_share])
    step = direction[:, None, None] * STEP_SHARE[None, :, None] * ROW_SHARE[None, None, :] * prior[2]
    rows = len(QUIET_REACH_HZ) * len(QUIET_SHARPNESS)
    quiet = np.full(rows, (1.0 - LULL_SHARE) * prior[5] / rows)
    lull = LULL_SHARE * prior[5] / (len(LULL_KINDS) * len(LULL))
    return Shares(walk, prior[4] * ROAM_SHARE, step, prior[3] / len(CHANGE), lull, np.append(quiet, prior[6]))


def begin(places: Places, start: FloatArray | None = None, prior: FloatArray = PRIOR, up_share: float = 0.5) -> State:
    """State when nothing is known but (perhaps) `start`: probability of the place, shape (n,), sums to 1."""
    start = places.uniform if start is None else start
    place = start.astype(np.float32)
    share = shares(prior, up_share)
    pair = share.pair * places.coarse(start)[:, None] * places.pair_prior
    return scaled(
        State(
            walk=share.walk.astype(np.float32)[:, None] * place,
            roam=share.roam.astype(np.float32)[:, None] * place,
            step=share.step.astype(np.float32)[..., None] * place,
            pair=np.repeat(pair.astype(np.float32)[None], len(CHANGE), axis=0),
            lull=np.repeat((share.lull * place)[None], len(LULL_KINDS) * len(LULL), axis=0),
            rest=share.rest,
            prior=prior,
            up_share=up_share,
            place=(1.0 - prior[3] - prior[5] - prior[6]) * start,
            scatter=SCATTER_SHARE,
            sharpness=SHARPNESS_SHARE,
        )
    )


def weights(state: State) -> FloatArray:
    """Probability of each of `HABITS`, shape (7,). While no activity was ever heard quiet reads as jump."""
    walk = state.walk.sum(axis=1, dtype=np.float64)
    quiet = float(state.rest[:-1].sum()) + float(state.lull.sum(dtype=np.float64))
    jump = float(state.roam.sum(dtype=np.float64))
    if not state.hears:
        jump, quiet = jump + quiet, 0.0
    step, pair = state.step.sum(dtype=np.float64), state.pair.sum(dtype=np.float64)
    return np.array([walk[0], walk[1:].sum(), step, pair, jump, quiet, state.rest[-1]])


def scaled(state: State, total: float | None = None) -> State:
    """The same state with all cells together summing to 1; `total` is their sum where that is known."""
    if total is None:
        total = float(weights(state).sum())
    scale = np.float32(1.0 / total)
    return replace(
        state,
        walk=state.walk * scale,
        roam=state.roam * scale,
        step=state.step * scale,
        pair=state.pair * scale,
        lull=state.lull * scale,
        rest=state.rest / total,
        place=state.place / total,
    )


def refreshed(state: State) -> State:
    """The same cells with their sums computed anew."""
    place = state.walk.sum(axis=0, dtype=np.float64) + state.roam.sum(axis=0, dtype=np.float64)
    return scaled(replace(state, place=place + state.step.sum(axis=(0, 1, 2), dtype=np.float64)))


def wishes(places: Places, rank: FloatArray | None) -> FloatArray:
    """Where he goes who looks for quiet, by reach and sharpness: probability of each place, shape (12, n)."""
    kinds = len(QUIET_REACH_HZ) * len(QUIET_SHARPNESS)
    if rank is None:
        return np.broadcast_to(places.uniform, (kinds, len(places.uniform)))
    wish = np.exp(-QUIET_SHARPNESS[None, :, None] * rank[:, None, :]).reshape(kinds, -1) * places.uniform
    return np.asarray(wish / wish.sum(axis=1, keepdims=True))


def lulled(state: State, places: Places, rank: FloatArray | None) -> Cells:
    """Probability of his place at the coming contact for each row of `lull`, same shape."""
    wish = np.repeat(wishes(places, rank)[LULL_KINDS], len(LULL), axis=0).astype(np.float32)
    chance = np.tile(LULL.astype(np.float32), len(LULL_KINDS))[:, None]
    mass = state.lull.sum(axis=1, keepdims=True)
    return np.asarray((np.float32(1.0) - chance) * state.lull + chance * mass * wish)


def rest_densities(state: State, places: Places, rank: FloatArray | None) -> FloatArray:
    """Density per hertz of the answered frequency under each quiet, and else; shape (rest, places)."""
    jump = (1.0 - EDGE_FLOOR) * places.scatter(places.uniform, state.scatter) + EDGE_FLOOR * places.everywhere_per_hz
    if rank is None:
        rows = [jump] * (len(state.rest) - 1)
    else:
        rows = list(0.95 * places.scatter_rows(wishes(places, rank), state.scatter) + 0.05 * jump)
    near = np.zeros_like(jump)
    weight = np.asarray(state.recent_weight) * 0.7 ** np.arange(len(state.recent_weight))[::-1]
    if weight.sum() > 0.0:
        wide_hz = 0.1 * places.width_hz + 150.0
        distance = np.abs(places.frequency_hz[None, :] - np.asarray(state.recent_hz)[:, None]) / wide_hz
        near = (weight / weight.sum()) @ (np.exp(-distance) / (2.0 * wide_hz))
    rows.append(0.5 * jump + 0.5 * near if weight.sum() > 0.0 else jump)
    densities = np.array(rows)
    return np.asarray(densities / (densities.sum(axis=1, keepdims=True) * places.step_hz))


def densities(state: State, places: Places, rank: FloatArray | None = None) -> FloatArray:
    """Density per hertz of the next answered frequency under each of `SHARPNESS`, shape (3, n)."""
    spots = state.pair.sum(axis=(0, 2), dtype=np.float64)
    fine = state.place + lulled(state, places, rank).sum(axis=0, dtype=np.float64)
    total = places.scatter(fine, state.scatter) + places.scatter_coarse(spots, state.scatter)
    total = total + state.rest @ rest_densities(state, places, rank)
    powers = np.power(total / total.max(), SHARPNESS[:, None])
    return np.asarray(powers / (powers.sum(axis=1, keepdims=True) * places.step_hz))


def density(state: State, places: Places, rank: FloatArray | None = None) -> FloatArray:
    """Density per hertz of the next answered frequency, shape (n,); sums to 1 times the step."""
    return np.asarray(state.sharpness @ densities(state, places, rank))


def wrong_density(state: State, places: Places) -> FloatArray:
    """Density per hertz of a wrong mark: anywhere, or on a station that was marked wrongly before."""
    total = float(sum(state.wrong_weight))
    if total <= 0.0:
        return places.everywhere_per_hz
    share = total / (total + 1.5)
    spread_hz = 90.0
    offset = (places.frequency_hz[None, :] - np.asarray(state.wrong_hz)[:, None]) / spread_hz
    near = (np.asarray(state.wrong_weight) / total) @ np.exp(-0.5 * offset**2) / (spread_hz * np.sqrt(2.0 * np.pi))
    return np.asarray((1.0 - share) * places.everywhere_per_hz + share * near)


def weigh(
    state: State, places: Places, frequency_hz: float, confidence: float, rank: FloatArray | None = None
) -> tuple[State, FloatArray]:
    """Take in a mark: right with `confidence`, else on a station he did not answer.

    Returns the state after it, not yet moved on, and the probability of the place, shape (places,).
    """
    wrong = places.at(wrong_density(state, places), frequency_hz)
    doubt = (1.0 - confidence) * wrong
    by_scatter, by_scatter_coarse = places.likelihood(frequency_hz), places.likelihood_coarse(frequency_hz)
    likelihood = state.scatter @ by_scatter
    here = (confidence * likelihood + doubt).astype(np.float32)
    here_coarse = (confidence * (state.scatter @ by_scatter_coarse) + doubt).astype(np.float32)
    rest_right = np.array([places.at(row, frequency_hz) for row in rest_densities(state, places, rank)])
    walk, walk_place = moves.weighed(state.walk, here)
    roam, roam_place = moves.weighed(state.roam, here)
    flat, step_place = moves.weighed(state.step.reshape(-1, state.step.shape[-1]), here)
    pair = state.pair * here_coarse[None, :, None]
    lull_before = lulled(state, places, rank)
    lull, lull_place = moves.weighed(lull_before, here)
    rest = state.rest * (confidence * rest_right + doubt)
    fine = walk_place + roam_place + step_place
    spots_before = state.pair.sum(axis=(0, 2), dtype=np.float64)
    spots = spots_before * here_coarse
    total = float(fine.sum() + lull_place.sum() + spots.sum() + rest.sum())
    right = 1.0 - doubt / total
    loose = likelihood * places.uniform
    loose = loose / max(float(loose.sum()), 1e-300)
    place = fine + lull_place + places.fine(spots) + rest.sum() * (right * loose + (1.0 - right) * places.uniform)
    by_spots = by_scatter_coarse @ spots_before
    expected_place = state.place + lull_before.sum(axis=0, dtype=np.float64)
    evidence = confidence * (by_scatter @ expected_place + by_spots + float(state.rest @ rest_right)) + doubt
    scatter = _learned(state.scatter, evidence, SCATTER_SHARE)
    expected = np.array([places.at(row, frequency_hz) for row in densities(state, places, rank)])
    sharpness = _learned(state.sharpness, confidence * expected + doubt, SHARPNESS_SHARE)
    keep = 8
    return (
        scaled(
            replace(
                state,
                scatter=scatter,
                sharpness=sharpness,
                walk=walk,
                roam=roam,
                step=flat.reshape(state.step.shape),
                pair=pair,
                lull=lull,
                rest=rest,
                place=fine,
                wrong_hz=(*state.wrong_hz, frequency_hz)[-20:],
                wrong_weight=(*state.wrong_weight, 1.0 - right)[-20:],
                recent_hz=(*state.recent_hz, frequency_hz)[-keep:],
                recent_weight=(*state.recent_weight, right)[-keep:],
                hears=state.hears or rank is not None,
            ),
            total,
        ),
        place / place.sum(),
    )


def unseen(state: State, places: Places, rank: FloatArray | None) -> State:
    """A contact went by and nothing is known of its place: whoever looks for quiet has moved all the same."""
    return replace(state, lull=lulled(state, places, rank))


def _learned(belief: FloatArray, evidence: FloatArray, start: FloatArray) -> FloatArray:
    """Bayes' rule with a little forgetting."""
    after = belief * evidence
    return np.asarray((1.0 - FORGET) * after / after.sum() + FORGET * start)


def move_on(state: State, places: Places, place: FloatArray | None = None, hazard: float = HAZARD) -> State:
    """One contact later: every habit moves, and with `hazard` he takes up another one, half the time from `place`."""
    if place is None:
        here = state.place + places.fine(state.pair.sum(axis=(0, 2), dtype=np.float64))
        here = here + state.rest.sum() * places.uniform + state.lull.sum(axis=0, dtype=np.float64)
        place = here / here.sum()
    start = 0.5 * place + 0.5 * places.uniform
    share = shares(state.prior, state.up_share)
    fresh = (hazard * start).astype(np.float32)
    keep = np.float32(1.0 - hazard)
    walk = np.zeros_like(state.walk)
    moves.walk(state.walk, walk, WANDER_HZ / places.step_hz, places.first, places.last)
    walk_place = moves.renewed(walk, share.walk.astype(np.float32), fresh, keep)
    step = np.zeros_like(state.step)
    moves.step(
        state.step,
        step,
        STEP_HZ / places.step_hz,
        MOVE.astype(np.float32),
        FIRST,
        FOLLOWING,
        places.first,
        places.last,
        places.step_hz,
    )
    step_place = moves.renewed(step.reshape(-1, step.shape[-1]), share.step.ravel().astype(np.float32), fresh, keep)
    chance = ROAM.astype(np.float32)[:, None]
    roam = chance * state.roam.sum(axis=1, keepdims=True) * places.uniform.astype(np.float32)
    roam += (np.float32(1.0) - chance) * state.roam
    roam_place = moves.renewed(roam, share.roam.astype(np.float32), fresh, keep)
    other = (hazard * share.pair * places.coarse(start)[:, None] * places.pair_prior).astype(np.float32)
    pair = moves.pairs(state.pair, CHANGE.astype(np.float32), other, keep)
    lull = keep * state.lull + np.float32(share.lull) * fresh
    rest = (1.0 - hazard) * state.rest + hazard * share.rest
    return replace(
        state,
        lull=lull,
        walk=walk,
        roam=roam,
        step=step,
        pair=pair,
        rest=rest,
        place=walk_place + roam_place + step_place,
    )
