"""How the cells of the habits are weighed and moved, row by row: the loops that numba compiles."""

from __future__ import annotations

import numba
import numpy as np
import numpy.typing as npt

from hearmark.events import FloatArray

Cells = npt.NDArray[np.float32]


@numba.njit(cache=True)
def weighed(old: Cells, factor: Cells) -> tuple[Cells, FloatArray]:
    """Rows (rows, n) times `factor` (n,), and their sum over the rows."""
    new = np.empty_like(old)
    place = np.zeros(old.shape[1])
    for row in range(old.shape[0]):
        for index in range(old.shape[1]):
            value = old[row, index] * factor[index]
            new[row, index] = value
            place[index] += value
    return new, place


@numba.njit(cache=True)
def renewed(cells: Cells, share: Cells, fresh: Cells, keep: np.float32) -> FloatArray:
    """In place: `keep` times the rows plus what begins anew, `share` (rows,) times `fresh` (n,); gives the sum."""
    place = np.zeros(cells.shape[1])
    for row in range(cells.shape[0]):
        for index in range(cells.shape[1]):
            value = keep * cells[row, index] + share[row] * fresh[index]
            cells[row, index] = value
            place[index] += value
    return place


@numba.njit(cache=True)
def pairs(old: Cells, change: Cells, fresh: Cells, keep: np.float32) -> Cells:
    """Stay on this spot or go over to the other one: (changes, here, other), and what begins anew (here, other)."""
    new = np.empty_like(old)
    for row in range(old.shape[0]):
        stay = keep * (np.float32(1.0) - change[row])
        go = keep * change[row]
        for here in range(old.shape[1]):
            for other in range(old.shape[2]):
                new[row, here, other] = stay * old[row, here, other] + go * old[row, other, here] + fresh[here, other]
    return new


@numba.njit(cache=True)
def reflect(index: int, first: int, last: int) -> int:
    """Fold an index back into first..last (inclusive), as often as needed."""
    while index < first or index > last:
        index = 2 * first - index if index < first else 2 * last - index
    return index


@numba.njit(cache=True)
def walk(old: Cells, new: Cells, spread: FloatArray, first: int, last: int) -> None:
    """Blur each row of `old` (spreads, n) by its normal spread in places, reflected at the edges; `new` is zeros."""
    span = last - first
    for row in range(old.shape[0]):
        sigma = spread[row]
        half = 0 if sigma <= 0.0 else min(int(np.ceil(3.0 * sigma)), span)
        taps = np.ones(1, dtype=np.float32)
        if half > 0:
            taps = np.exp(-0.5 * (np.arange(-half, half + 1) / sigma) ** 2).astype(np.float32)
            taps /= taps.sum()
        for place in range(first, last + 1):
            value = old[row, place]
            for tap in range(-half, half + 1):
                target = place + tap
                if target < first or target > last:
                    target = reflect(target, first, last)
                new[row, target] += value * taps[tap + half]


@numba.njit(cache=True)
def step(
    old: Cells,
    new: Cells,
    shifts: FloatArray,
    move: Cells,
    first_row: npt.NDArray[np.int64],
    following: npt.NDArray[np.int64],
    first: int,
    last: int,
    place_hz: float,
) -> None:
    """Step or dwell: `old`, `new` (direction, shift, dwell row, places); `new` comes in as zeros."""
    places = old.shape[3]
    moved = np.zeros(places, dtype=np.float32)
    for shift in range(old.shape[1]):
        size = shifts[shift]
        sigma = np.sqrt((0.12 * size) ** 2 + (20.0 / place_hz) ** 2 + 0.02)
        half = int(np.ceil(2.5 * sigma)) + 1
        centre = int(np.round(size))
        taps = np.exp(-0.5 * ((np.arange(-half, half + 1) + centre - size) / sigma) ** 2).astype(np.float32)
        taps /= taps.sum()
        for direction in range(2):
            sign = 1 if direction == 0 else -1
            row = 0
            while row < old.shape[2]:
                model = first_row[row]
                moved[:] = 0.0
                while row < old.shape[2] and first_row[row] == model:
                    for place in range(first, last + 1):
                        value = old[direction, shift, row, place]
                        moved[place] += move[row] * value
                        new[direction, shift, following[row], place] += (1.0 - move[row]) * value
                    row += 1
                for place in range(first, last + 1):
                    value = moved[place]
                    for tap in range(-half, half + 1):
                        target = place + sign * (centre + tap)
                        if first <= target <= last:
                            new[direction, shift, model, target] += value * taps[tap + half]
                        elif target > last:
                            part = value * taps[tap + half]
                            new[1 - direction, shift, model, reflect(target, first, last)] += 0.5 * part
                            new[direction, shift, model, min(first + target - last - 1, last)] += 0.25 * part
                            new[direction, shift, model, first] += 0.25 * part
                        else:
                            part = value * taps[tap + half]
                            new[1 - direction, shift, model, reflect(target, first, last)] += 0.5 * part
                            new[direction, shift, model, max(last - first + target + 1, first)] += 0.25 * part
                            new[direction, shift, model, last] += 0.25 * part
