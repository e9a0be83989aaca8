"""A transmission heard twice: when it is over, the same short stretch once more, by the reader and by its timing.

The reader hears it as it came, then again with what it learnt of speed and level, in four ways: on both bins beside the
carrier, and half a step later. Each way gives texts; so does the search by lengths (`modes.timing`). Every text is then
weighed by all of them: the chance of it under the reader's outputs (the forward sum of connectionist temporal
classification, Graves et al., ICML 2006, from memory), averaged over the ways, and its weight by lengths.
"""

from __future__ import annotations

from dataclasses import dataclass

import numba
import numpy as np

from hearmark.modes.alphabet import ALPHABET
from hearmark.modes.copyist import Copyist, likeliest
from hearmark.modes.morse import CONTEXT_BINS, HIDDEN, STEP_FRAMES
from hearmark.modes.network import Array, Network, compress
from hearmark.modes.timing import timed
from hearmark.spectrum.transform import still_noise

AROUND = CONTEXT_BINS + 1
"""Bins that are needed on each side of the one nearest to the carrier."""
LEAD_S, TAIL_S = 0.5, 0.8
"""What must be heard before a transmission and after it."""
SHIFTS = (0, 2)
"""Frames: the reader works in steps of four."""
_BEFORE, _BETWEEN, _REPEATS = 40, 60, 2
"""Frames of silence that the reader hears first, and between one hearing and the next; hearings."""
TIMING = 0.25
"""Weight of what the lengths say beside the reader."""
LAGS = 15.0
"""So much less likely by its lengths is a text that the search did not name."""
UNLIKE = -0.12
"""Powers that fit worse than this, see `modes.timing`, come from several stations, or from no key at all, as pieces of
speech: then what was copied while it was sent stands."""
SPEEDS_WPM = (18.0, 24.5, 33.0)
QUICKER = 1.15
"""A hand keys quicker than the characters come, if it leaves wide gaps between letters."""
NAMED = 8


@dataclass(frozen=True, slots=True)
class Heard:
    """`texts` with the logarithm of the weight of each, `score`; `least_db`, `middle_db`: see `modes.timing`;
    `speed_wpm`: by its dots."""

    texts: tuple[str, ...]
    score: tuple[float, ...]
    least_db: float
    middle_db: float
    speed_wpm: float


class Rehearing:
    """Holds the network, no memory: the same stretch gives the same texts."""

    def __init__(self) -> None:
        self._network = Network("hearmark.modes", "morse.onnx")
        self._noise = compress(still_noise(2 * CONTEXT_BINS + 1, _BEFORE + _REPEATS * _BETWEEN))

    def hear(self, level: Array, off: float, hop_s: float, first: str, speed_wpm: float | None) -> Heard | None:
        """`level`: compressed power, (frames, 2 * AROUND + 1), see `modes.network.compress`, from `LEAD_S` before a
        transmission to `TAIL_S` after it; its carrier is `off` bins above the middle one. `first`: what was copied
        while it was sent, and its speed by that. None if nothing is heard, or if several send there."""
        ratio = np.maximum(10.0 ** level[:, AROUND].astype(np.float64) - 0.1, 0.0)
        speeds = SPEEDS_WPM if speed_wpm is None else (speed_wpm, QUICKER * speed_wpm)
        by_lengths = timed(ratio, hop_s, tuple(1.2 / wpm for wpm in speeds))
        if by_lengths is None or by_lengths.fit < UNLIKE:
            return None
        best = by_lengths.score[0]
        named = {t: s - best for t, s in zip(by_lengths.texts[:NAMED], by_lengths.score, strict=False)}
        chances = self._read(level, off)
        likely, sure = likeliest(chances)
        texts = [first]
        for k in range(len(chances)):
            copyist = Copyist()
            copyist.feed(likely[k], sure[k])
            texts.append(copyist.copy().text)
        heard = np.exp(chances)
        scores: dict[str, float] = {}
        for text in dict.fromkeys([*texts, *named]):
            if not text:
                continue
            symbols = np.array([ALPHABET.index(c) + 1 for c in text], np.int64)
            read = float(np.mean([_chance(heard[k], symbols) for k in range(len(heard))]))
            scores[text] = read + TIMING * max(named.get(text, -LAGS), -LAGS)
        if not scores:
            return None
        order = sorted(scores, key=lambda text: -scores[text])
        return Heard(
            tuple(order), tuple(scores[text] for text in order), by_lengths.least_db, by_lengths.middle_db,
            round(1.2 / by_lengths.unit_s, 1),
        )  # fmt: skip

    def _read(self, level: Array, off: float) -> Array:
        """Logarithms of the chances of each symbol, (ways, steps, symbols), of the last hearing."""
        frames = (len(level) - max(SHIFTS)) // STEP_FRAMES * STEP_FRAMES
        seen = []
        for shift in SHIFTS:
            for beside in (0, 1 if off > 0 else -1):
                low = AROUND + beside - CONTEXT_BINS
                part = level[shift : shift + frames, low : low + 2 * CONTEXT_BINS + 1]
                heard = [self._noise[:_BEFORE]]
                for k in range(_REPEATS):
                    rest = _BEFORE + k * _BETWEEN
                    heard += [part, self._noise[rest : rest + _BETWEEN]]
                seen.append(np.concatenate(heard).reshape(-1, STEP_FRAMES * (2 * CONTEXT_BINS + 1)))
        zero = np.zeros((1, len(seen), HIDDEN), np.float32)
        logits = self._network.run(x=np.array(seen, np.float32), h1=zero, h2=zero)[0]
        last = (_BEFORE + (_REPEATS - 1) * (frames + _BETWEEN)) // STEP_FRAMES
        logits = logits[:, last:]
        top = logits.max(axis=2, keepdims=True)
        return np.ascontiguousarray(logits - top - np.log(np.exp(logits - top).sum(axis=2, keepdims=True)))


@numba.njit(cache=True)
def _chance(chances, symbols) -> float:  # type: ignore[no-untyped-def]
    """Logarithm of the chance of these symbols, over all ways to place them in the steps. `chances` (steps, symbols)
    themselves, no logarithms: the sum is scaled to 1 at every step."""
    size = 2 * len(symbols) + 1
    before = np.zeros(size)
    before[0], before[1] = chances[0, 0], chances[0, symbols[0]]
    now = np.empty(size)
    total = 0.0
    for t in range(1, len(chances)):
        norm = 1e-300
        for s in range(size):
            value = before[s]
            if s > 0:
                value += before[s - 1]
            if s > 1 and s % 2 == 1 and symbols[s // 2] != symbols[s // 2 - 1]:
                value += before[s - 2]
            now[s] = value * chances[t, 0 if s % 2 == 0 else symbols[s // 2]]
            norm += now[s]
        for s in range(size):
            now[s] /= norm
        total += np.log(norm)
        before, now = now, before
    return float(total + np.log(max(before[size - 1] + before[size - 2], 1e-300)))


def warm() -> None:
    """Compile the loops."""
    level = np.full((120, 2 * AROUND + 1), -1.0, np.float32)
    level[50:70, AROUND] = 2.0
    Rehearing().hear(level, 0.1, 0.008, "T", 20.0)
