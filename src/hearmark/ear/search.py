"""Where to listen, in which order, when one receiver has two to four seconds to find a replying station.

The window is cut into slices as wide as the filter, in several ways. A peek at a slice costs the move of the dial,
the recovery of the gain control and a dwell; a second dwell on the same slice costs the dwell alone. It finds the
station if that is in the slice, sends through the whole dwell, and is not overlooked. The reply may end at any moment,
so the order matters: what is likely early. `plan` gives the order with the greatest chance, exactly: it goes through
the orders depth first and leaves out only those that cannot beat the best one, by a bound in which gains may be had in
parts and in any order. When nothing was heard, `unheard` tells the belief; `advice.recommend` then says where to call.

Where nothing but the dwell costs time, the best next look is where posterior times chance of detection is greatest
(M. C. Chew, Ann. Math. Statist. 38, 494, 1967, from memory): so it comes out here. Dwell and overlook probability are
common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numba
import numpy as np
import numpy.typing as npt

from hearmark.ear.belief import Belief
from hearmark.errors import HearmarkError
from hearmark.events import Ear, FloatArray, Mode

STEP_S = 0.02
"""Grid of the time in which the reply may end."""
PHASES = 5
"""So many ways to lay the slices over the window are tried."""
MOST_NODES = 60_000
"""Orders looked at, for each laying of the slices, before the best so far is taken (`Search.exact` is then False)."""
MOST_PEEKS = 24


@dataclass(frozen=True, slots=True)
class Receiver:
    """One receiver and the hand or program that tunes it. `width_hz`: what its filter lets through.

    A move takes `move_s` and `move_s_per_khz` for each kilohertz, its gain control `settle_s` more; `dwell_s` of the
    reply must be heard to notice it, and then it is overlooked with probability `overlook`.
    """

    width_hz: float
    move_s: float = 0.15
    move_s_per_khz: float = 0.015
    settle_s: float = 0.08
    dwell_s: float = 0.25
    overlook: float = 0.12

    def __post_init__(self) -> None:
        costs = (self.move_s, self.move_s_per_khz, self.settle_s)
        if not (self.width_hz > 0.0 and self.dwell_s > 0.0 and min(costs) >= 0.0 and 0.0 <= self.overlook < 1.0):
            raise HearmarkError(
                f"A receiver {self.width_hz} Hz wide that dwells {self.dwell_s} s and overlooks {self.overlook}: give "
                "a width and a dwell above 0, costs of 0 or more, and an overlook probability from 0 to below 1."
            )


NARROW = Receiver(500.0)
WIDE = Receiver(2_400.0, dwell_s=0.4, overlook=0.3)
"""In Morse a wide filter hears half a window at once, and several stations in it: it takes longer, and misses more."""
VOICE = Receiver(2_000.0, dwell_s=0.4, overlook=0.15)
"""Suppressed carriers within a kilohertz of the dial are noticed as speech."""


@dataclass(frozen=True, slots=True)
class Reply:
    """When the reply is expected, in seconds after the DX stopped: it starts at `delay_s` and lasts `length_s`, median,
    with `spread` the standard deviation of the logarithm. Common practice, no source."""

    delay_s: float = 0.4
    length_s: float = 2.2
    spread: float = 0.35


REPLY: dict[Mode, Reply] = {"cw": Reply(), "usb": Reply(0.4, 2.0, 0.4), "lsb": Reply(0.4, 2.0, 0.4)}


@dataclass(frozen=True, slots=True)
class Peek:
    """Listen on `frequency_hz` (middle of the slice) from `start_s` to `stop_s` after the DX stopped."""

    frequency_hz: float
    start_s: float
    stop_s: float
    gain: float
    """Chance that this peek is the one that finds the station."""


@dataclass(frozen=True, slots=True)
class Search:
    """The peeks in order, `found`: the chance that one of them finds the station, `back_s`: when to turn back."""

    receiver: Receiver
    peeks: tuple[Peek, ...]
    found: float
    back_s: float
    exact: bool


def plan(
    ear: Ear, dx_hz: float, receivers: Sequence[Receiver], reply: Reply, back_s: float | None = None,
    most_nodes: int = MOST_NODES,
) -> Search:  # fmt: skip
    """The best order of peeks, with the receiver (filter) of `receivers` that promises most.

    The dial stands on `dx_hz` at 0 s. It leaves for him again at `back_s`, default when the reply has most likely ended
    (nine in ten). After `most_nodes` orders of one laying of the slices the best so far is taken: which is then very
    near the best, though not proven to be it. Raises HearmarkError when there is no receiver.
    """
    back = _back_s(reply) if back_s is None else back_s
    best: Search | None = None
    for receiver in receivers:
        for phase in range(PHASES):
            slices_hz, chance = _slices(ear, receiver.width_hz, phase / PHASES)
            search = _best(slices_hz, chance, dx_hz, receiver, reply, back, most_nodes)
            if best is None or search.found > best.found + 1e-9:
                best = search
    if best is None:
        raise HearmarkError("A search needs at least one receiver.")
    return best


def sweep(
    low_hz: float, high_hz: float, dx_hz: float, receiver: Receiver, reply: Reply, back_s: float | None = None
) -> Search:
    """What a plain sweep does: slice by slice from the edge of the window next to the DX. `gain` is not known to it."""
    back = _back_s(reply) if back_s is None else back_s
    count = max(1, int(np.ceil((high_hz - low_hz) / receiver.width_hz - 1e-9)))
    slices_hz = low_hz + receiver.width_hz * (np.arange(count) + 0.5)
    if abs(high_hz - dx_hz) < abs(low_hz - dx_hz):
        slices_hz = slices_hz[::-1]
    peeks: list[Peek] = []
    at_hz, time_s = dx_hz, 0.0
    for slice_hz in slices_hz:
        arrives_s = time_s + _move_s(receiver, at_hz, float(slice_hz))
        time_s = max(arrives_s, reply.delay_s) + receiver.dwell_s
        if time_s > back:
            break
        peeks.append(Peek(float(slice_hz), time_s - receiver.dwell_s, time_s, 0.0))
        at_hz = float(slice_hz)
    return Search(receiver, tuple(peeks), 0.0, back, True)


def unheard(belief: Belief, time_s: float, search: Search, reply: Reply, peeks: int, id: int | None = None) -> Belief:
    """The belief after the first `peeks` peeks heard nothing: less where they looked, then one contact on."""
    grid_hz = belief.frequency_hz
    heard = np.zeros(len(grid_hz))
    for peek in search.peeks[:peeks]:
        inside = np.abs(grid_hz - peek.frequency_hz) <= 0.5 * search.receiver.width_hz
        lasts = float(_lasting(reply, np.array([peek.stop_s]))[0])
        heard = np.where(inside, 1.0 - (1.0 - heard) * (1.0 - (1.0 - search.receiver.overlook) * lasts), heard)
    return belief.unheard(time_s, grid_hz, heard, id)


def _back_s(reply: Reply) -> float:
    return reply.delay_s + reply.length_s * float(np.exp(1.28 * reply.spread))


def _move_s(receiver: Receiver, from_hz: float, to_hz: float) -> float:
    return receiver.move_s + receiver.move_s_per_khz * abs(to_hz - from_hz) / 1_000.0 + receiver.settle_s


def _lasting(reply: Reply, time_s: FloatArray) -> FloatArray:
    """Probability that the reply still goes on at `time_s` after the DX stopped."""
    from scipy.special import ndtr

    since_s = np.maximum(time_s - reply.delay_s, 1e-9)
    return np.asarray(ndtr(-np.log(since_s / reply.length_s) / max(reply.spread, 1e-3)))


def _slices(ear: Ear, width_hz: float, phase: float) -> tuple[FloatArray, FloatArray]:
    """Middles of the slices over the ear's grid, and the probability of each, shape (m,)."""
    grid_hz, step_hz = ear.frequency_hz, float(ear.frequency_hz[1] - ear.frequency_hz[0])
    edges = np.append(grid_hz - 0.5 * step_hz, grid_hz[-1] + 0.5 * step_hz)
    total = np.append(0.0, np.cumsum(ear.density_per_hz * step_hz))
    first = edges[0] - (1.0 - phase) * width_hz
    count = int(np.ceil((edges[-1] - first) / width_hz))
    cuts = first + width_hz * np.arange(count + 1)
    chance = np.diff(np.interp(cuts, edges, total))
    kept = chance > 1e-4
    return (cuts[:-1] + 0.5 * width_hz)[kept], chance[kept]


def _best(
    slices_hz: FloatArray, chance: FloatArray, dx_hz: float, receiver: Receiver, reply: Reply, back_s: float,
    most_nodes: int,
) -> Search:  # fmt: skip
    times = np.arange(0.0, back_s + 2.0 * STEP_S, STEP_S)
    lasting = _lasting(reply, times)
    area = np.append(0.0, np.cumsum(0.5 * (lasting[1:] + lasting[:-1]) * STEP_S))
    offset = np.abs(slices_hz[:, None] - slices_hz[None, :]) / 1_000.0
    moves = receiver.move_s + receiver.settle_s + receiver.move_s_per_khz * offset
    np.fill_diagonal(moves, 0.0)
    first = receiver.move_s + receiver.settle_s + receiver.move_s_per_khz * np.abs(slices_hz - dx_hz) / 1_000.0
    order, found, nodes = _search(
        chance * (1.0 - receiver.overlook), receiver.overlook, moves, first, receiver.dwell_s, reply.delay_s, back_s,
        lasting, area, most_nodes,
    )  # fmt: skip
    peeks: list[Peek] = []
    left = chance.copy()
    at_s = 0.0
    before = -1
    for index in order:
        cost = first[index] if before < 0 else moves[before, index]
        start_s = max(at_s + float(cost), reply.delay_s)
        at_s, before = start_s + receiver.dwell_s, int(index)
        gain = float(left[index] * (1.0 - receiver.overlook) * np.interp(at_s, times, lasting))
        left[index] *= receiver.overlook
        peeks.append(Peek(float(slices_hz[index]), start_s, at_s, gain))
    return Search(receiver, tuple(peeks), float(found), back_s, nodes < most_nodes)


@numba.njit(cache=True)
def _read(table: FloatArray, time_s: float) -> float:
    """A table over the time grid at `time_s`."""
    place = time_s / STEP_S
    low = int(place)
    if low >= len(table) - 1:
        return float(table[-1])
    return float(table[low] + (place - low) * (table[low + 1] - table[low]))


@numba.njit(cache=True)
def _bound(
    gain: FloatArray, overlook: float, here: int, cheapest: FloatArray, dwell_s: float, at_s: float, back_s: float,
    area: FloatArray, item_gain: FloatArray, item_cost: FloatArray,
) -> float:  # fmt: skip
    """What the rest can bring at most: gains by their rate, in parts, each weighed while it would be earned."""
    count = 0
    for index in range(len(gain)):
        cost = dwell_s if index == here else dwell_s + cheapest[index]
        value = gain[index]
        while value > 1e-5 and count < len(item_gain):
            place = count
            while place > 0 and item_gain[place - 1] * cost < value * item_cost[place - 1]:
                item_gain[place], item_cost[place] = item_gain[place - 1], item_cost[place - 1]
                place -= 1
            item_gain[place], item_cost[place] = value, cost
            count += 1
            value *= overlook
            cost = dwell_s
    total, now_s = 0.0, at_s
    for place in range(count):
        stop_s = min(now_s + item_cost[place], back_s)
        if stop_s <= now_s:
            break
        total += item_gain[place] / item_cost[place] * (_read(area, stop_s) - _read(area, now_s))
        now_s = stop_s
    return total


@numba.njit(cache=True)
def _search(
    start_gain: FloatArray, overlook: float, moves: FloatArray, first: FloatArray, dwell_s: float, delay_s: float,
    back_s: float, lasting: FloatArray, area: FloatArray, most_nodes: int,
) -> tuple[npt.NDArray[np.int64], float, int]:  # fmt: skip
    """Depth first over the orders of peeks; returns the best order, its chance, and how many were looked at."""
    count = len(start_gain)
    gain = start_gain.copy()
    cheapest = np.empty(count)
    for index in range(count):
        low = first[index]
        for other in range(count):
            if other != index and moves[other, index] < low:
                low = moves[other, index]
        cheapest[index] = low
    item_gain, item_cost = np.empty(4 * count + 4), np.empty(4 * count + 4)
    path = np.full(MOST_PEEKS + 1, -1, dtype=np.int64)
    at_s, value = np.zeros(MOST_PEEKS + 1), np.zeros(MOST_PEEKS + 1)
    tried = np.zeros((MOST_PEEKS + 1, max(count, 1)), dtype=np.bool_)
    best_path, best_value, best_depth = path.copy(), 0.0, 0
    depth, nodes = 0, 0
    while depth >= 0:
        here = path[depth]
        # the next slice from here that was not tried yet: the one of the greatest gain for its time
        choice, choice_rate, choice_stop = -1, 0.0, 0.0
        if depth < MOST_PEEKS and nodes < most_nodes:
            for index in range(count):
                if tried[depth, index] or gain[index] <= 1e-5:
                    continue
                cost = first[index] if here < 0 else moves[here, index]
                stop_s = max(at_s[depth] + cost, delay_s) + dwell_s
                if stop_s > back_s:
                    continue
                rate = gain[index] * _read(lasting, stop_s) / (stop_s - at_s[depth])
                if rate > choice_rate:
                    choice, choice_rate, choice_stop = index, rate, stop_s
        if choice < 0:
            if here >= 0:
                gain[here] /= overlook if overlook > 0.0 else 1e-30
            tried[depth] = False
            depth -= 1
            continue
        tried[depth, choice] = True
        nodes += 1
        found = value[depth] + gain[choice] * _read(lasting, choice_stop)
        gain[choice] *= overlook if overlook > 0.0 else 1e-30
        depth += 1
        path[depth], at_s[depth], value[depth] = choice, choice_stop, found
        if found > best_value + 1e-12:
            best_value, best_depth = found, depth
            best_path[:] = path
        rest = _bound(gain, overlook, choice, cheapest, dwell_s, choice_stop, back_s, area, item_gain, item_cost)
        if found + rest <= best_value + 1e-9:
            gain[choice] /= overlook if overlook > 0.0 else 1e-30
            depth -= 1
    return best_path[1 : best_depth + 1].copy(), best_value, nodes


def warm() -> None:
    """Compile the loops."""
    grid_hz = np.arange(1e6, 1e6 + 2_001.0, 50.0)
    ear = Ear(0.0, grid_hz, np.full(len(grid_hz), 1.0 / (50.0 * len(grid_hz))), "")
    plan(ear, 1e6 - 1_000.0, (NARROW,), Reply())
