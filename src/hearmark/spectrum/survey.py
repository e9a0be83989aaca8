"""A first look at an unknown stream: Morse or voice, and where the callers are."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from hearmark.events import Block, Mode
from hearmark.spectrum.floor import Floor
from hearmark.spectrum.transform import Transform

SURVEY_S = 16.0
REACH_HZ = 16_000.0
_GUARD_HZ = {"cw": 300.0, "voice": 3_200.0}
_BARE_HZ = {"cw": (500.0, 5_500.0), "voice": (3_000.0, 13_000.0)}
"""Where to look when the crowd is silent (common practice, no source)."""


class Survey:
    """Collects a quarter of a minute; then gives mode and window."""

    def __init__(self, dx_hz: float, sample_rate_hz: float, center_hz: float) -> None:
        self._dx_hz = dx_hz
        self._transform = Transform(sample_rate_hz, center_hz, dx_hz, dx_hz - REACH_HZ, dx_hz + REACH_HZ)
        self._floor = Floor(self._transform.grid)
        self._busy = np.zeros(self._transform.grid.bins)
        self._own: list[npt.NDArray[np.float32]] = []
        self._frames = 0

    def feed(self, block: Block) -> bool:
        """Samples in; True when enough was heard."""
        frames = self._transform.feed(block.samples)
        if len(frames):
            floor = self._floor.feed(frames.power)
            ratio = (frames.power / np.maximum(floor, np.float32(1e-30))).astype(np.float32, copy=False)
            self._busy += (ratio > 8.0).sum(axis=0)
            zero, grid = self._transform.grid.zero, self._transform.grid
            self._own.append(ratio[:, max(0, zero - 180) : min(grid.bins, zero + 180)].reshape(len(ratio), -1))
            self._frames += len(frames)
        return self._frames * self._transform.grid.hop_s >= SURVEY_S

    def verdict(self, mode: Mode | None) -> tuple[Mode, float, float]:
        """Mode and window. A voice fills kilohertz at a time, a Morse signal a few bins."""
        grid = self._transform.grid
        if mode is None:
            mode = self._mode()
        kind = "cw" if mode == "cw" else "voice"
        guard = _GUARD_HZ[kind]
        offset = grid.frequency_hz - self._dx_hz
        busy = self._busy / max(1, self._frames)
        busy = np.where(np.abs(offset) < guard, 0.0, np.maximum(busy - 0.02, 0.0))
        up, down = busy[offset > 0].sum(), busy[offset < 0].sum()
        total = max(up, down)
        if total < 0.3:
            low, high = _BARE_HZ[kind]
            return mode, self._dx_hz + low, self._dx_hz + high
        side = busy * ((offset > 0) if up >= down else (offset < 0))
        share = np.cumsum(side) / side.sum()
        margin = 300.0 if kind == "cw" else 700.0
        low = float(offset[np.searchsorted(share, 0.03)]) - margin
        high = float(offset[min(len(offset) - 1, int(np.searchsorted(share, 0.97)))]) + margin
        if kind == "voice":  # speech lies beside its suppressed carrier
            low, high = (low, high - 2_400.0) if mode == "usb" else (low + 2_400.0, high)
        low, high = min(low, high), max(low, high)
        if up >= down:
            low = max(low, guard / 2)
        else:
            high = min(high, -guard / 2)
        return mode, self._dx_hz + min(low, high - 500.0), self._dx_hz + high

    def _mode(self) -> Mode:
        own = np.concatenate(self._own)
        middle = own.shape[1] // 2
        near = own[:, max(0, middle - 2) : middle + 3].max(axis=1) > 15.0
        upper, lower = own[:, middle + 20 : middle + 170], own[:, max(0, middle - 170) : max(1, middle - 20)]
        wide_up, wide_down = (upper > 8.0).mean(axis=1), (lower > 8.0).mean(axis=1)
        voiced = max(np.quantile(wide_up, 0.85), np.quantile(wide_down, 0.85))
        if near.mean() > 0.08 and voiced < 0.12:
            return "cw"
        return "usb" if np.quantile(wide_up, 0.85) >= np.quantile(wide_down, 0.85) else "lsb"
