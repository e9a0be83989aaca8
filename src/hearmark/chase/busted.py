"""Calls that were probably misread: nearly the same as a better supported one, near it in frequency and time."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from datetime import timedelta

from hearmark.chase.spots import SpotLine

NEAR_HZ = 1500.0
NEAR = timedelta(minutes=30)
# Common practice, no source: one sign wrong, added or left out; two where the call is long
_LONG_CALL = 6


def distance(one: str, other: str, most: int = 2) -> int:
    """How many signs must be changed, added, left out or swapped with their neighbour; at most `most` + 1.

    Optimal string alignment (Damerau, Communications of the ACM 7, 171, 1964; from memory).
    """
    if abs(len(one) - len(other)) > most:
        return most + 1
    before: list[int] = []
    row = list(range(len(other) + 1))
    for i, a in enumerate(one, start=1):
        before, last, row = row, before, [i]
        for j, b in enumerate(other, start=1):
            cost = min(before[j] + 1, row[j - 1] + 1, before[j - 1] + (a != b))
            if i > 1 and j > 1 and a == other[j - 2] and one[i - 2] == b:
                cost = min(cost, last[j - 2] + 1)
            row.append(cost)
    return min(row[-1], most + 1)


def busted(spots: Sequence[SpotLine], trust: Callable[[str], float] = lambda _: 0.0) -> dict[str, str]:
    """Misread calls and what they were probably meant to be.

    A call's support is how many different people reported it, plus `trust` (for example 1 for a call that is announced
    or was worked). Only a call with less support than its neighbour is doubted.
    """
    people: dict[str, set[str]] = defaultdict(set)
    for spot in spots:
        people[spot.call].add(spot.by)
    support = {call: len(who) + trust(call) for call, who in people.items()}
    found: dict[str, str] = {}
    ordered = sorted(spots, key=lambda spot: spot.frequency_hz)
    for place, spot in enumerate(ordered):
        for other in _above(ordered, place):
            if abs(spot.at - other.at) > NEAR or spot.call == other.call:
                continue
            weak, strong = sorted((spot.call, other.call), key=lambda call: support[call])
            known = found.get(weak)
            if support[weak] == support[strong] or (known and support[known] >= support[strong]):
                continue
            if distance(weak, strong) <= (2 if min(len(weak), len(strong)) > _LONG_CALL else 1):
                found[weak] = strong
    # A call that is itself doubted vouches for nobody
    return {weak: strong for weak, strong in found.items() if strong not in found}


def _above(ordered: Sequence[SpotLine], place: int) -> Iterable[SpotLine]:
    """Those from here on within reach in frequency."""
    for other in ordered[place + 1 :]:
        if other.frequency_hz - ordered[place].frequency_hz > NEAR_HZ:
            return
        yield other
