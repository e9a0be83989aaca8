"""A transmission heard again when it is over: its text by the lengths of marks and gaps.

The reader hears as it comes, and its first letters before it knows speed and level. Here speed, ratio of dash to dot
and the fading level are found from the whole, and the best few texts come out with their odds (`modes.durations`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import percentile_filter, uniform_filter1d

from hearmark.modes.alphabet import ALPHABET
from hearmark.modes.durations import KEPT, MOST_FRAMES, Float, priors, profile, search, tree

DASH = 3.1
"""Usual length of a dash in dots."""
HOPELESS_FIT = -1.0
"""Others are heard there too: no key explains these powers."""
AS_TRIED, TRIED_FIT = 0.08, -0.08
"""A hand found within this share of the speed tried, with a fit no worse than this, makes other speeds needless: of 512
transmissions in noise and fading none came out otherwise, with 0.57 of the searches."""


@dataclass(frozen=True, slots=True)
class Timed:
    """`texts`, likeliest first, with the logarithm of their weights, `score`; `unit_s`: length of a dot; `fit`: mean
    logarithm by which a frame falls short of the best that any key could explain."""

    texts: tuple[str, ...]
    score: tuple[float, ...]
    unit_s: float
    fit: float
    least_db: float
    middle_db: float
    """Level of the key held down over noise in one bin, from the first mark to the last: where it was lowest, and its
    median."""


def timed(ratio: npt.NDArray[np.float32], hop_s: float, units_s: tuple[float, ...]) -> Timed | None:
    """Text of `ratio`, power over noise at a carrier, (frames,): one transmission with some silence at each end.

    `units_s`: lengths of a dot to try, the likeliest first. None if no key explains it."""
    if not 20 <= len(ratio) <= MOST_FRAMES:
        return None
    power = np.ascontiguousarray(ratio, np.float64)
    level = _level(power, hop_s)
    first: tuple[_Path, float] | None = None
    for unit_s in units_s:
        tried = unit_s / hop_s
        path = _decoded(power, level, tried, DASH, 1)
        if path is None:
            continue
        if first is None or path.score[0] > first[0].score[0]:
            first = (path, tried)
        if path.fit > TRIED_FIT and abs(path.hand(tried)[0] / tried - 1.0) < AS_TRIED:
            break
    if first is None or first[0].fit < HOPELESS_FIT:
        return None
    unit, dash = first[0].hand(first[1])
    level = first[0].level(power, level, hop_s)
    last = _decoded(power, level, unit, dash, KEPT)
    if last is None:
        return None
    return Timed(last.texts, last.score, unit * hop_s, last.fit, *last.levels_db(level))


def _level(ratio: Float, hop_s: float) -> Float:
    """Power of the key held down about every frame, over noise: what the loudest fifth of the frames near it reach."""
    near = max(8, round(0.3 / hop_s))
    top = percentile_filter(np.maximum(ratio - 1.0, 0.0), 80, 2 * near + 1, mode="nearest")
    smooth = uniform_filter1d(np.log(np.maximum(top, 2.0)), near, mode="nearest")
    return np.asarray(np.maximum(np.exp(smooth), np.exp(smooth.max()) / 300.0))


@dataclass(frozen=True, slots=True)
class _Path:
    texts: tuple[str, ...]
    score: tuple[float, ...]
    fit: float
    marks: tuple[tuple[int, int, bool], ...]
    """First frame, last (not included), is it a dash."""

    def hand(self, unit: float) -> tuple[float, float]:
        """Length of a dot in frames, and dashes in dots, as sent."""
        dots = [b - a for a, b, dash in self.marks if not dash]
        dashes = [b - a for a, b, dash in self.marks if dash]
        gaps = [a - b for (_, b, _), (a, _, _) in zip(self.marks, self.marks[1:], strict=False) if a - b < 1.7 * unit]
        weight = 1.0 + len(dots) + 0.5 * len(gaps)
        unit = (unit + sum(dots) + 0.5 * sum(gaps)) / weight
        dash = (2.0 * DASH + sum(dashes) / unit) / (2.0 + len(dashes))
        return unit, float(np.clip(dash, 2.5, 3.8))

    def level(self, ratio: Float, before: Float, hop_s: float) -> Float:
        """Level again, from the frames within marks alone."""
        weight, power = np.full(len(ratio), 1e-3), 1e-3 * before
        for a, b, _ in self.marks:
            inner = slice(a + 1, b - 1) if b - a > 4 else slice((a + b) // 2, (a + b) // 2 + 1)
            weight[inner] += 1.0
            power[inner] += np.maximum(ratio[inner] - 1.0, 0.0)
        spread = max(4.0, 0.06 / hop_s)
        k = np.arange(-round(3 * spread), round(3 * spread) + 1)
        kernel = np.exp(-0.5 * (k / spread) ** 2)
        smooth = np.convolve(power, kernel, "full")[len(k) // 2 :][: len(ratio)]
        smooth /= np.convolve(weight, kernel, "full")[len(k) // 2 :][: len(ratio)]
        return np.asarray(np.maximum(smooth, max(2.0, float(np.max(smooth)) / 1000.0)))

    def levels_db(self, level: Float) -> tuple[float, float]:
        """See `Timed`: `least_db`, `middle_db`."""
        inside_db = 10.0 * np.log10(level[self.marks[0][0] : self.marks[-1][1]])
        return float(inside_db.min()), float(np.median(inside_db))


def _decoded(ratio: Float, level: Float, unit: float, dash: float, kept: int) -> _Path | None:
    """One pass for one hand: `unit` in frames."""
    child, letter = tree()
    mark, gap = profile()
    arena, ends, count, ideal = search(ratio, level, unit, dash, kept, child, letter, mark, gap, *priors())
    if not count:
        return None
    score, parent, when, _, sign = arena
    found: dict[str, float] = {}
    best: list[tuple[int, int, bool]] = []
    # of the first searches only the best path is wanted
    for n in sorted(ends[:count], key=lambda n: -score[n])[: None if kept > 1 else 1]:
        text = ""
        marks: list[tuple[int, int, bool]] = []
        k = int(n)
        while k >= 0:
            if sign[k] >= 0:
                text += ALPHABET[sign[k]]
            elif sign[k] in (-2, -3):
                marks.append((int(when[parent[k]]), int(when[k]), bool(sign[k] == -3)))
            elif sign[k] <= -100:
                text += " " + ALPHABET[-100 - sign[k]]
            k = int(parent[k])
        if text[::-1] not in found:
            found[text[::-1]] = float(score[n])
            if len(found) == 1:
                best = marks[::-1]
    texts = tuple(found)
    first = next(iter(found.values()))
    return _Path(texts, tuple(found.values()), (first - ideal) / len(ratio), tuple(best))
