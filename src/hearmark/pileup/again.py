"""A transmission heard again: its text, letter by letter, and its calls, each with a probability.

The texts that `modes.rehearing` weighs are weighed once more by what is likely: words that are calls or what stands
beside them. That is a prior and no filter: what was heard clearly stands, whatever it is.
"""

from __future__ import annotations

import difflib
import math

import numpy as np

from hearmark.events import CallHeard
from hearmark.modes.alphabet import ALPHABET, UNITS
from hearmark.modes.copyist import Copy
from hearmark.modes.rehearing import Heard
from hearmark.pileup.calls import is_call, rarity
from hearmark.pileup.copied import LEAST, USUAL, allocated, calls_in

LIKE_CALLS, NO_SERIES = 8.0, 2.8
"""Logarithms: how much likelier a text of usual words, or calls of the commonest form, is than any other; how much
rarer calls in no series are (as `pileup.copied`)."""
SHARP = 0.6
"""Power of the weights: the ways to hear it are no independent witnesses."""
SURE = 0.995


def weighed(heard: Heard) -> list[tuple[str, float]]:
    """Texts and their probabilities, likeliest first."""
    logs = np.array([s + _like_calls(t) for t, s in zip(heard.texts, heard.score, strict=True)])
    p = np.exp(SHARP * (logs - logs.max()))
    p /= p.sum()
    return sorted(((t, float(x)) for t, x in zip(heard.texts, p, strict=True)), key=lambda item: -item[1])


def _like_calls(text: str) -> float:
    """`LIKE_CALLS` for a text of usual words and common calls, less for rare forms, 0 for what is neither."""
    words = text.replace("?", " ").split()
    total = sum(map(len, words))
    known = 0.0
    for word in words:
        if is_call(word):
            rare = rarity(word) + NO_SERIES * (not allocated(word))
            known += len(word) * max(0.0, LIKE_CALLS - rare)
        elif word in USUAL:
            known += len(word) * LIKE_CALLS
    return known / total if total else 0.0


def copy_of(texts: list[tuple[str, float]], first_step: int, last_step: int) -> Copy:
    """The likeliest text; each letter's probability is the weight of all texts that have it there. Its steps are spread
    over those of the transmission as the letters' lengths are."""
    best = texts[0][0]
    sure = np.zeros(len(best))
    for text, p in texts:
        for block in difflib.SequenceMatcher(None, best, text, autojunk=False).get_matching_blocks():
            sure[block.a : block.a + block.size] += p
    units = np.cumsum([4.0 if c == " " else UNITS[ALPHABET.index(c)] + 3.0 for c in best])
    steps = first_step + (units / units[-1]) * (last_step - first_step)
    return Copy(best, tuple(float(min(p, SURE)) for p in sure), tuple(round(float(s)) for s in steps))


def calls_again(texts: list[tuple[str, float]], heard: Heard, copy: Copy) -> tuple[CallHeard, ...]:
    """The calls in all texts, likeliest first."""
    found: dict[str, float] = {}
    for text, p in texts:
        if p < 0.01:
            continue
        steps = tuple(copy.step[min(k, len(copy.step) - 1)] for k in range(len(text)))
        for heard_call in calls_in(Copy(text, (SURE,) * len(text), steps)):
            found[heard_call.call] = found.get(heard_call.call, 0.0) + p * heard_call.probability
    out = []
    for call, p in found.items():
        p = _calibrated(p, call, heard, copy.text)
        step = copy.step[copy.text.rfind(call) + len(call) - 1] if call in copy.text else copy.step[-1]
        if p >= LEAST:
            out.append(CallHeard(call, min(p, 0.999), step))
    return tuple(sorted(out, key=lambda c: (-c.probability, c.step)))


_SCORE, _CONSTANT = 1.1, 1.1
_FADED, _STRONG, _WEAK = 1.16, 0.27, 0.8
_LEFT, _SHORT, _STROKE = 3.3, 0.56, 0.4


def _calibrated(p: float, call: str, heard: Heard, text: str) -> float:
    """The probability as it was measured to be: a logistic regression on 2500 calls of other seeds than the bench's, in
    white noise and in fading.

    In doubt is what was so by its score, what faded deep between its first mark and its last (5 dB are usual where
    nothing fades), what is so weak that anything may look like it, and a call beside letters that mean nothing.
    """
    p = min(max(p, 1e-3), 0.9995)
    log_odds = _CONSTANT + _SCORE * math.log(p / (1.0 - p))
    log_odds -= _FADED * max(0.0, heard.middle_db - heard.least_db - 5.0) / 5.0
    log_odds += _STRONG * max(0.0, heard.middle_db - 20.0) / 5.0
    log_odds -= _WEAK * max(0.0, 13.0 - heard.middle_db) + _SHORT * (len(call) < 5) + _STROKE * ("/" in call)
    log_odds -= _LEFT * (call in text.split() and leftover(text, call) > 0)
    return 1.0 / (1.0 + math.exp(-log_odds))


def leftover(text: str, call: str) -> int:
    """Letters of a text that are neither in this call nor usual beside one; a single letter right after it is a part of
    it that was torn off, or nothing."""
    count, before = 0, ""
    for word in text.replace("?", " ").split():
        usual = word in USUAL and not (before == call and len(word) == 1)
        count += 0 if word == call or usual else len(word)
        before = word
    return count
