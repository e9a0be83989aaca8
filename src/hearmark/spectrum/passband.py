"""What one receiver's filter lets through, found in its audio, and the noise within.

Beside a narrow filter there is nothing, not even noise. A floor that takes the whole of the audio for one band would
measure that nothing; so it is kept on what passes. And the receiver's gain control moves the noise up and down faster
than any floor may follow: each step is first brought to the level of its own quiet bins.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.ndimage import maximum_filter1d, minimum_filter1d

from hearmark.spectrum.batches import over_noise
from hearmark.spectrum.floor import Floor
from hearmark.spectrum.transform import Grid, PowerArray

STOPPED_DB = 25.0
"""A filter stops what it holds this far below what it passes best."""
_STEADY_BINS = 6
"""What it passes best is the level that this many neighbouring bins reach: no carrier is so wide."""
_EDGE_BINS = 3
QUIET_SHARE = 0.25
"""This share of the bins that pass, at least, holds no signal."""
STEP_FRAMES = 4
_KEPT_FRAMES = 256
_FIRST_FRAMES = 128
_LATER_FRAMES = 256
_MOVED_BINS = 4


class Passband:
    """Feed power, (frames, bins) of `grid`; what comes back is (first bin, power over noise of the bins that pass)."""

    def __init__(self, grid: Grid) -> None:
        self._grid = grid
        self._recent: PowerArray = np.zeros((0, grid.bins), np.float32)
        self._seen = self._judged = 0
        self._edges = (0, grid.bins)
        self._floor: Floor | None = None

    @property
    def edges_hz(self) -> tuple[float, float] | None:
        """Lowest and highest frequency that passes; None before enough was heard to say so."""
        if self._seen < _FIRST_FRAMES or self._floor is None:
            return None
        first, stop = self._edges
        return self._grid.low_hz + first * self._grid.step_hz, self._grid.low_hz + (stop - 1) * self._grid.step_hz

    def feed(self, power: PowerArray) -> tuple[int, PowerArray]:
        """The newest frames over their noise."""
        self._recent = np.concatenate([self._recent, power])[-_KEPT_FRAMES:]
        self._seen += len(power)
        due = self._seen - self._judged >= _LATER_FRAMES
        if self._floor is None or self._seen <= _FIRST_FRAMES or due:
            self._judge()
        first, stop = self._edges
        if self._floor is None:  # begin with what was heard, not with the newest frames alone
            self._floor = Floor(
                replace(self._grid, low_hz=self._grid.low_hz + first * self._grid.step_hz, bins=stop - first)
            )
            before = self._recent[: len(self._recent) - len(power), first:stop]
            if len(before):
                self._floor.feed(steadied(before))
        inside = steadied(power[:, first:stop])
        return first, over_noise(inside, self._floor.feed(inside))

    def _judge(self) -> None:
        self._judged = self._seen
        level_db = 10.0 * np.log10(np.median(self._recent[::4], axis=0) + 1e-30)
        best_db = float(minimum_filter1d(level_db, _STEADY_BINS, mode="nearest").max())
        passes = maximum_filter1d(level_db, 3) > best_db - STOPPED_DB
        inside = np.flatnonzero(passes)
        first, stop = int(inside[0]), int(inside[-1]) + 1
        first += _EDGE_BINS if first > 0 else 0
        stop -= _EDGE_BINS if stop < self._grid.bins else 0
        if stop - first < 8:
            return
        if max(abs(first - self._edges[0]), abs(stop - self._edges[1])) >= _MOVED_BINS or self._floor is None:
            self._edges, self._floor = (first, stop), None


def steadied(power: PowerArray) -> PowerArray:
    """Power (frames, bins) with the receiver's gain taken out, in steps of four frames."""
    out = np.empty_like(power)
    for k in range(0, len(power), STEP_FRAMES):
        step = power[k : k + STEP_FRAMES]
        out[k : k + STEP_FRAMES] = step / max(float(np.quantile(step.mean(axis=0), QUIET_SHARE)), 1e-30)
    return out
