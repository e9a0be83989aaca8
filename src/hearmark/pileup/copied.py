"""Calls in copied text, each with a probability.

A call is looked for in every word, in two words that a hand may have torn apart, and in words run together with what is
usual before and after it. How likely it is follows from the letters' own probabilities and from the ITU's call sign
series (Radio Regulations, Appendix 42), which weigh and never exclude. A call sent twice is surer than one sent once.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

from hearmark.data import table
from hearmark.events import CallHeard
from hearmark.modes.alphabet import ALPHABET, UNITS
from hearmark.modes.copyist import Copy
from hearmark.pileup.calls import is_call

UNALLOCATED = 0.06
"""Odds of a call that is in no series, against one that is: few are on the air, but rare ones are sought."""
TORN_OTHER, TORN_USUAL, TORN_REPORT = 0.8, 0.15, 0.02
"""Chance that a call is torn apart where a space was read before something that is no usual word, before one, and
before a report: every transmission has one, and hardly a call ends like it."""
_TORN_GAP, _WORD_GAP = (4.0, 1.1), (6.8, 1.4)
"""Mean and spread of gaps that were taken for a space and were none, and of those that were one, units (measured)."""
RUN_ON = 0.85
"""Chance that a word that begins or ends as usual has a call in it and something else beside."""
GOES_ON = 0.5
"""Chance that a call is whole while its sender has not stopped."""
SHORT = 0.4
"""Odds of a call of four signs: a piece of a longer one looks the same."""
ALL_DOTS = 0.02
"""Odds of a call without a single dash ("I5EEE"): hardly anybody has one, and clicks and speech look so."""
_SLOPE, _AT_BEST = 3.0, 4.6
"""Logarithm of the odds of a call: at best, less so many times the doubt of its letters (bench/morse_reading.py)."""
LEAST = 0.05
_BEFORE = ("DE", "TU", "R", "CQ", "K", "EE", "E")
_AFTER = ("5NN", "599", "ENN", "NN", "TU", "UP", "K", "DE", "R", "UR", "+", "&", "=", "E", "EE", "5NNK")
_OTHERS = (
    "BK KN AGN QRZ QRL QSL PSE TEST GM GA GE GL DX TNX 73 DWN DN DOWN OM DR RST NR ONLY EU NA AS JA CFM OK CL CALL 5N"
)
REPORTS = frozenset(("5NN", "599", "ENN"))
USUAL = frozenset((*_BEFORE, *_AFTER, *_OTHERS.split()))
"""Words that stand beside a call (common practice, no source)."""
_PARTIAL = re.compile(r"(?=.*[A-Z])(?=.*[0-9])[A-Z0-9/]{2,}")
_DOTS = re.compile(r"[EISH5]+")
_FIGURES = re.compile(r"[0-9NTAE]*[0-9][0-9NTAE]*|.*5[0-9N][9N].*")


@cache
def _series() -> tuple[frozenset[str], frozenset[str]]:
    """The first two signs of every series; the letters all of whose series have one holder, who needs no second."""
    rows = table("series.csv")
    holders: dict[str, set[str]] = {}
    for row in rows:
        holders.setdefault(row["first"][0], set()).add(row["holder"])
    alone = frozenset(letter for letter, held_by in holders.items() if letter.isalpha() and len(held_by) == 1)
    return frozenset(row["first"][:2] for row in rows), alone


def allocated(call: str) -> bool:
    """Do the first signs of this call, or of the place before its stroke, lie in a series of the ITU?"""
    longest = max(call.split("/"), key=len)
    starts, alone = _series()
    if longest[:1].isalpha() and longest[1:2].isdigit() and not longest[2:3].isdigit():
        return longest[0] in alone
    return longest[:2] in starts or longest[0] in alone


@dataclass(frozen=True, slots=True)
class _Word:
    """Letters `first` to `last` (not included) of a copy."""

    first: int
    last: int


def _words(text: str) -> list[_Word]:
    return [_Word(m.start(), m.end()) for m in re.finditer(r"[^ ?,.]+", text)]


def calls_in(copy: Copy, ended: bool = True) -> tuple[CallHeard, ...]:
    """The calls of a copy, likeliest first, each once; `ended`: nothing is to come after the last letter.

    `step` of a call is that of its last letter, where it was sent last.
    """
    found: dict[str, CallHeard] = {}
    for call, p, step in _candidates(copy, ended):
        before = found.get(call)
        if (
            before is not None
        ):  # sent again: doubts about the letters are each other's own, those about the call are not
            p = 1.0 - (1.0 - p) * (1.0 - 0.8 * before.probability)
        found[call] = CallHeard(call, min(p, 0.999), step)
    kept = [c for c in found.values() if c.probability >= LEAST]
    return tuple(sorted(_weighed(kept), key=lambda c: (-c.probability, c.step)))


def _weighed(calls: list[CallHeard]) -> Iterator[CallHeard]:
    """Of two that differ in little and cannot both be meant, the likelier takes from the other."""
    for call in calls:
        p = call.probability
        for other in calls:
            if other.call != call.call and _alike(other.call, call.call):
                theirs = other.probability
                if theirs > p or (theirs == p and other.step < call.step):
                    p *= 1.0 - 0.6 * theirs
        yield CallHeard(call.call, p, call.step)


def _alike(one: str, other: str) -> bool:
    """One letter changed, dropped or put in, or one the beginning or end of the other."""
    if one.endswith(other) or one.startswith(other) or other.endswith(one) or other.startswith(one):
        return True
    if abs(len(one) - len(other)) > 1:
        return False
    if len(one) == len(other):
        return sum(a != b for a, b in zip(one, other, strict=True)) <= 1
    short, long = sorted((one, other), key=len)
    return any(long[:k] + long[k + 1 :] == short for k in range(len(long)))


def _candidates(copy: Copy, ended: bool) -> Iterator[tuple[str, float, int]]:
    """(call, probability, step) of everything that may be one, in order."""
    words = _words(copy.text)
    for k, word in enumerate(words):
        text = copy.text[word.first : word.last]
        torn = 1.0
        if k + 1 < len(words) and words[k + 1].first == word.last + 1 and copy.text[word.last] == " ":
            other = words[k + 1]
            after = copy.text[other.first : other.last]
            joined = text + after
            again = text.startswith(after) or text.endswith(after)  # he repeats a part
            if is_call(joined) and not again and text not in _BEFORE:
                usual = after in USUAL or (is_call(after) and allocated(after))
                torn_share = TORN_REPORT if after in REPORTS else TORN_USUAL if usual else TORN_OTHER
                one = _one_word(copy, word.last, torn_share)
                torn = 1.0 - one if is_call(text) else 1.0
                open_end = k + 2 == len(words) and not ended
                p = _chance(copy, _Word(word.first, other.last), joined) * (GOES_ON if open_end else 1.0)
                yield joined, p * one, copy.step[other.last - 1]
        if is_call(text):
            yield (
                text,
                _chance(copy, word, text) * torn * (GOES_ON if k == len(words) - 1 and not ended else 1.0),
                copy.step[word.last - 1],
            )
        else:
            for head, tail in itertools.product((*_BEFORE, ""), (*_AFTER, "")):
                inner = text[len(head) : len(text) - len(tail)]
                if (head or tail) and text == head + inner + tail and len(inner) >= 4 and is_call(inner):
                    part = _Word(word.first + len(head), word.last - len(tail))
                    yield inner, RUN_ON * _chance(copy, part, inner), copy.step[part.last - 1]
                    break
            half = len(text) // 2
            if len(text) % 2 == 0 and text[:half] == text[half:] and is_call(text[:half]):
                yield (
                    text[:half],
                    _chance(copy, _Word(word.first, word.first + half), text[:half]),
                    copy.step[word.last - 1],
                )


def _one_word(copy: Copy, space: int, torn_share: float) -> float:
    """Probability that the space at this place of a copy is none: by how long it was, and how often one before such a
    word is none."""
    odds = torn_share / (1.0 - torn_share)
    gap = _gap_units(copy, space)
    if gap is not None:
        torn, whole = (gap - _TORN_GAP[0]) / _TORN_GAP[1], (gap - _WORD_GAP[0]) / _WORD_GAP[1]
        odds *= math.exp(min(6.0, max(-6.0, 0.5 * (whole * whole - torn * torn))))
    return odds / (1.0 + odds)


def _gap_units(copy: Copy, space: int) -> float | None:
    """Length of the gap in whose place a space was read, in units as the letters inside words give them."""
    steps, units = 0, 0
    for k in range(1, len(copy.text)):
        if copy.text[k] != " " and copy.text[k - 1] != " ":
            steps += copy.step[k] - copy.step[k - 1]
            units += UNITS[ALPHABET.index(copy.text[k])] + 3
    if units < 15 or steps <= 0:
        return None
    after = UNITS[ALPHABET.index(copy.text[space + 1])]
    return (copy.step[space + 1] - copy.step[space - 1]) * units / steps - after


def _chance(copy: Copy, word: _Word, call: str) -> float:
    """Probability that this is a call and all of its letters are right."""
    doubt = -sum(math.log(max(copy.sure[k], 1e-3)) for k in range(word.first, word.last) if copy.text[k] != " ")
    for edge in (word.first - 1, word.last):  # the space at each side, if it is inside the copy
        if 0 <= edge < len(copy.text):
            doubt -= 0.5 * math.log(max(copy.sure[edge], 1e-3))
    odds = math.exp(_AT_BEST - _SLOPE * doubt)
    if len(call) < 5:
        odds *= SHORT
    if _DOTS.fullmatch(call):
        odds *= ALL_DOTS
    odds *= 1.0 if allocated(call) else UNALLOCATED
    return odds / (1.0 + odds)


def partials_in(copy: Copy) -> tuple[str, ...]:
    """Pieces of calls: letters and figures that make no whole call and no report, such as are asked for."""
    found = (copy.text[word.first : word.last] for word in _words(copy.text))
    return tuple(
        dict.fromkeys(t for t in found if _PARTIAL.fullmatch(t) and not is_call(t) and not _FIGURES.fullmatch(t))
    )
