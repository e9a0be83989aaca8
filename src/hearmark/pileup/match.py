"""Whose call did the DX just send? His text against the text of every stream, letter by letter.

The Morse reader gives one symbol a step for each stream. This module collapses them to text and holds, for every
stream, how well its last minute of text contains the call that the DX sent last: one letter wrong still counts,
a part of a call points at several. Symbols are reader indices: 0 blank, 1 space, 2-27 letters, 28-37 figures.
"""

from __future__ import annotations

import numba
import numpy as np
import numpy.typing as npt

from hearmark.modes.alphabet import ALPHABET

DEPTH = 40
LONGEST = 12
KEPT_STEPS = 1900
"""Text older than a minute of steps no longer points at a place."""
WORD_STEPS = 470
"""A call that the DX sent is looked for during 15 s."""
_SPACE = 1
_FIRST_DIGIT, _LAST_DIGIT = 28, 37
_CUT = np.array([ALPHABET.index(c) + 1 for c in "NET"], np.int8)


class Matcher:
    """State: the text of `streams` streams and of the DX. All arrays are owned by the instance."""

    def __init__(self, streams: int) -> None:
        self.text = np.zeros((streams, DEPTH), np.int8)
        self.when = np.full((streams, DEPTH), -KEPT_STEPS * 2, np.int64)
        self.last = np.zeros(streams + 1, np.int8)
        self.score = np.zeros(streams, np.float32)
        self.word = np.zeros(2 * LONGEST + 4, np.int64)
        """[0]: length of the call looked for, [1]: step when its last letter came, [2]: length of the word being sent,
        [3]: step now; then the two words."""

    def feed(self, symbols: npt.NDArray[np.int8], dx_symbols: npt.NDArray[np.int8]) -> npt.NDArray[np.float32]:
        """Best symbol a step, `symbols` (steps, streams) and `dx_symbols` (steps,); returns scores (steps, streams).

        A score is (letters of the call - 1.5 x edits) / 6, at least 0: 1.0 for a whole six-letter call.
        """
        out = np.empty(symbols.shape, np.float32)
        _advance(symbols, dx_symbols, self.text, self.when, self.last, self.score, self.word, out)
        return out


@numba.njit(cache=True)
def _alike(word, length: int, text, when, now: int) -> float:  # type: ignore[no-untyped-def]
    """Edits of `word` against its best place in the fresh part of `text`, as a score."""
    first = DEPTH
    while first > 0 and when[first - 1] > now - KEPT_STEPS:
        first -= 1
    row = np.arange(length + 1)
    best = length
    for i in range(first, DEPTH):
        previous = row[0]
        for j in range(1, length + 1):
            kept = row[j]
            cost = previous + (text[i] != word[j - 1])
            if row[j - 1] + 1 < cost:
                cost = row[j - 1] + 1
            if kept + 1 < cost:
                cost = kept + 1
            row[j] = cost
            previous = kept
        if row[length] < best:
            best = row[length]
    score = (length - 1.5 * best) / 6.0
    return max(score, 0.0)


@numba.njit(cache=True)
def _call_like(word, length: int) -> bool:  # type: ignore[no-untyped-def]
    digit, letter = False, False
    for j in range(length):
        s = word[j]
        if _FIRST_DIGIT <= s <= _LAST_DIGIT:
            digit = True
        elif 2 <= s < _FIRST_DIGIT and s != _CUT[0] and s != _CUT[1] and s != _CUT[2]:
            letter = True
    return length >= 3 and digit and letter


@numba.njit(cache=True)
def _advance(symbols, dx_symbols, text, when, last, score, word, out) -> None:  # type: ignore[no-untyped-def]
    streams = text.shape[0]
    sought, sending = word[4 : 4 + LONGEST], word[4 + LONGEST :]
    for t in range(symbols.shape[0]):
        now = word[3]
        changed = False
        s = dx_symbols[t]
        if s != last[streams]:
            last[streams] = s
            if s == _SPACE:
                word[2] = 0
            elif s > _SPACE:
                if word[2] == LONGEST:
                    word[2] = 0
                sending[word[2]] = s
                word[2] += 1
                if _call_like(sending, word[2]):
                    word[0] = word[2]
                    sought[: word[0]] = sending[: word[0]]
                    word[1] = now
                    changed = True
        if word[0] > 0 and now - word[1] > WORD_STEPS:
            word[0] = 0
            changed = True
        for i in range(streams):
            s = symbols[t, i]
            mine = changed
            if s != last[i]:
                last[i] = s
                if s > _SPACE:
                    text[i, :-1] = text[i, 1:]
                    when[i, :-1] = when[i, 1:]
                    text[i, -1] = s
                    when[i, -1] = now
                    mine = True
            if mine:
                score[i] = _alike(sought, word[0], text[i], when[i], now) if word[0] > 0 else 0.0
            out[t, i] = score[i]
        word[3] += 1
