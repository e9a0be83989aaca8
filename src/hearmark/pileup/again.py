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
from hearmark.pileup.calls import is_call
from hearmark.pileup.copied import LEAST, USUAL, allocated, calls_in

LIKE_CALLS = 6.0
"""Logarithm of how much likelier a text of calls and usual words is than any other."""
SHARP = 0.6
"""Power of the weights: the ways to hear it are no independent witnesses."""
SURE = 0.995


def weighed(heard: Heard) -> list[tuple[str, float]]:
    """Texts and their probabilities, likeliest first."""
    logs = np.array([s + LIKE_CALLS * _like_calls(t) for t, s in zip(heard.texts, heard.score, strict=True)])
    p = np.exp(SHARP * (logs - logs.max()))
    p /= p.sum()
    return sorted(((t, float(x)) for t, x in zip(heard.texts, p, strict=True)), key=lambda item: -item[1])


def _like_calls(text: str) -> float:
    """Share of a text's letters in words that are calls, or usual beside them; of calls in no series the half."""
    words = text.replace("?", " ").split()
    total = sum(map(len, words))
    known = 0.0
    for word in words:
        if is_call(word):
            known += len(word) * (1.0 if allocated(word) else 0.5)
        elif word in USUAL:
            known += len(word)
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
        for call in calls_in(Copy(text, (SURE,) * len(text), steps)):
            found[call.call] = found.get(call.call, 0.0) + p * call.probability
    out = []
    for call, p in found.items():
        p = _calibrated(min(max(p, 1e-3), 0.9995), call, heard)
        step = copy.step[copy.text.rfind(call) + len(call) - 1] if call in copy.text else copy.step[-1]
        if p >= LEAST:
            out.append(CallHeard(call, min(p, 0.999), step))
    return tuple(sorted(out, key=lambda c: (-c.probability, c.step)))


def _calibrated(p: float, call: str, heard: Heard) -> float:
    """The probability as it was measured to be (bench/morse_calls.py, other seeds): what was in doubt by its score is in
    doubt, and so is what faded between its first mark and its last, and what is a piece of many calls."""
    faded = min(0.0, heard.least_db - 14.0) / 4.0
    log_odds = 1.3 * math.log(p / (1.0 - p)) + 0.47 * faded - 0.78 * (len(call) < 5) + 0.24
    return 1.0 / (1.0 + math.exp(-log_odds))
