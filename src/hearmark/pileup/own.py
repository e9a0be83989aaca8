"""Our own call in what the DX sends: whole as soon as its last letter came, or in part, or with a letter wrong.

The whole call is spotted in the reader's output itself, against the best reading that knows nothing of it: the
logarithm of their ratio is near 0 if he sent it, and far below if he sent something else (keyword against filler by the
Viterbi algorithm; J. G. Wilpon et al., IEEE Trans. ASSP 38, 1870, 1990, from memory). So a letter in doubt does not
hide it. Parts, and calls that differ in a letter, are looked for in his copied text.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Literal

import numba
import numpy as np
import numpy.typing as npt

from hearmark.events import OwnCall
from hearmark.modes.alphabet import ALPHABET
from hearmark.modes.copyist import KEPT, Chances, Symbols
from hearmark.pileup.copied import USUAL

MIDDLE = -5.0
"""Logarithm of the ratio at which it is as likely as not that he sent our call."""
SLOPE = 1.2
TOLD = 0.5
SURE = 0.8
"""A letter that differs with this probability was sent so."""
AGAIN_STEPS = 20
"""The same spotting, a moment later, is the same call (0.6 s)."""
_UNLIKELY = -9.0
_NEVER = -1e9
_TORN = -1.0
"""A space in the midst of a call costs so much."""
_BEGUN = -1.5
"""A call that begins in the midst of a word costs so much."""


class Spotter:
    """Looks for one call in a stream of the reader's output, see `copyist.likeliest`."""

    def __init__(self, call: str) -> None:
        self.call = call.upper()
        self._letters = np.array([ALPHABET.index(c) + 1 for c in self.call if c in ALPHABET], np.int64)
        self.forget()

    def forget(self) -> None:
        """Start anew."""
        self._state = np.full((2, len(self._letters)), _NEVER)
        self._free = np.zeros(1)

    def feed(self, symbols: Symbols, chances: Chances) -> npt.NDArray[np.float64]:
        """For each step the logarithm of "he just completed our call" over the best other reading, (steps,)."""
        out = np.full(len(symbols), _NEVER)
        if len(self._letters) > 1:
            _spot(symbols, np.asarray(chances, np.float32), self._letters, self._state, self._free, out)
        return out


def probability(log_ratio: float) -> float:
    """That he sent our call."""
    return float(1.0 / (1.0 + np.exp(-SLOPE * (max(log_ratio, -60.0) - MIDDLE))))


@numba.njit(cache=True)
def _spot(symbols, chances, letters, state, free, out) -> None:  # type: ignore[no-untyped-def]
    """`state`: best score of having just the k-th letter, and of a blank since; `free`: what it costs to begin now."""
    count = len(letters)
    log = np.zeros(64)
    for t in range(len(symbols)):
        log[:] = _UNLIKELY
        for k in range(KEPT):
            log[symbols[t, k]] = chances[t, k]
        best = chances[t, 0]
        for s in range(64):
            log[s] = max(log[s], _UNLIKELY) - best
        blank = max(log[0], log[1] + _TORN)
        for k in range(count - 1, -1, -1):
            enter = free[0]
            if k > 0:
                enter = state[1, k - 1]
                if letters[k] != letters[k - 1]:
                    enter = max(enter, state[0, k - 1])
            stay = max(state[0, k], enter)
            state[1, k] = max(state[0, k], state[1, k]) + blank
            state[0, k] = stay + log[letters[k]]
            if k == count - 1 and state[0, k] > out[t]:
                out[t] = state[0, k]
        top = symbols[t, 0]
        if top == 1:
            free[0] = 0.0
        elif top > 1:
            free[0] = _BEGUN


@dataclass(frozen=True, slots=True)
class Likeness:
    """`heard`: what he sent; `letters`: our call with a dot for each letter that was not in it; `probability`: that he
    means us."""

    heard: str
    kind: Literal["whole", "part", "near"]
    letters: str
    probability: float
    why: str


def _whole(call: str, p: float) -> Likeness:
    return Likeness(call, "whole", call, p, "he sent your call")


def likeness(
    call: str, said: str, sure: Sequence[float], others: Collection[str] = (), ended: bool = True
) -> Likeness | None:
    """The last word of an over that is a part of our call, or our call but for one letter; None if there is none.

    A part counts if he asks for it with a question mark, or if it is three letters or more that begin or end our call.
    Unless the over has `ended`, its last word may go on, and does not count yet.
    """
    best: Likeness | None = None
    for word in re.finditer(r"[A-Z0-9/]{2,}", said):
        text, asked = word[0], said[word.end() :].lstrip().startswith("?")
        if text == call or text in USUAL or (word.end() == len(said) and not ended):
            continue
        at = call.find(text)
        edge = len(text) >= 3 and (call.startswith(text) or call.endswith(text))
        if at >= 0 and (asked or (edge and text not in others)):
            letters = "".join(c if at <= k < at + len(text) else "·" for k, c in enumerate(call))
            p = min(0.8, 0.3 + 0.1 * len(text)) if asked else 0.3
            does = f"he asks for {text}?" if asked else f"he sent {text}"
            best = Likeness(text + "?" * asked, "part", letters, p, f"{does}, a part of your call: repeat your call")
        elif len(call) >= 4 and (place := _but_one(call, text)) is not None:
            letters, wrong = place
            best = _near(call, text, letters, min(sure[word.start() + k] for k in wrong), others)
    return best


def _near(call: str, text: str, letters: str, sure: float, others: Collection[str]) -> Likeness:
    right = sum(c != "·" for c in letters)
    if text in others:
        return Likeness(text, "near", letters, 0.05, f"he sent {text}, who is calling too: not you")
    if sure >= SURE:
        why = f"he sent {text}, {right} of the {len(call)} letters of your call: if nobody replies, repeat your call"
        return Likeness(text, "near", letters, 0.3, why)
    why = f"he sent something like {text}, {right} letters of your call and one in doubt: repeat your call"
    return Likeness(text, "near", letters, max(0.3, 1.0 - sure), why)


def _but_one(call: str, text: str) -> tuple[str, list[int]] | None:
    """Our call with a dot for the letter that is wrong or missing, and which letters of `text` differ; None if more."""
    if len(text) == len(call):
        wrong = [k for k in range(len(call)) if text[k] != call[k]]
        return ("".join("·" if k in wrong else c for k, c in enumerate(call)), wrong) if len(wrong) == 1 else None
    if len(text) == len(call) - 1:
        for k in range(len(call)):
            if call[:k] + call[k + 1 :] == text:
                return call[:k] + "·" + call[k + 1 :], [max(0, k - 1)]
    if len(text) == len(call) + 1:
        for k in range(len(text)):
            if text[:k] + text[k + 1 :] == call:
                return call, [k]
    return None


class OwnEar:
    """Listens for `call` in the DX's overs. `feed` every reading of him, then `judge` his text."""

    def __init__(self, call: str) -> None:
        self.call = call.upper()
        self._spotter = Spotter(self.call)
        self._next = 1
        self._told: OwnCall | None = None

    def forget(self) -> None:
        """After a gap."""
        self._spotter.forget()

    def heard(self, since_s: float) -> OwnCall | None:
        """What was last told, if it was since then."""
        return self._told if self._told is not None and self._told.time_s >= since_s else None

    def feed(self, symbols: Symbols, chances: Chances, now_s: float) -> list[OwnCall]:
        """Steps of the DX's stream, (steps, KEPT); `now_s`: the sample time reached."""
        p = max((probability(float(x)) for x in self._spotter.feed(symbols, chances)), default=0.0)
        if p < TOLD:
            return []
        told = self._told
        if told is not None and told.kind == "whole" and now_s - told.time_s < AGAIN_STEPS * 0.032:
            if p < told.probability + 0.05:
                return []
            return [self._keep(told.id, _whole(self.call, p), told.time_s)]
        return [self._keep(None, _whole(self.call, p), now_s)]

    def judge(
        self, text: str, sure: Sequence[float], others: Collection[str], start_s: float, now_s: float, ended: bool
    ) -> list[OwnCall]:
        """An over's text, `sure` of each character: parts of our call, and calls near it. `others`: calls heard in this
        session; `ended`: the over is."""
        told = self.heard(start_s)
        if told is not None and told.kind == "whole":
            return []
        found = likeness(self.call, text, sure, others, ended)
        if found is None or (told is not None and (told.heard, told.kind) == (found.heard, found.kind)):
            return []
        number = told.id if told is not None else None
        return [self._keep(number, found, now_s)]

    def _keep(self, number: int | None, found: Likeness, time_s: float) -> OwnCall:
        if number is None:
            number = self._next
            self._next += 1
        p = round(min(found.probability, 0.999), 3)
        self._told = OwnCall(number, time_s, self.call, found.heard, found.kind, found.letters, p, found.why)
        return self._told
