"""A first look at an unknown stream: Morse or voice, and where the callers are."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from hearmark.events import Block, Mode
from hearmark.spectrum.batches import Band
from hearmark.spectrum.transform import PowerArray

SURVEY_S, LONGEST_S = 16.0, 48.0
"""How long it looks if the DX was heard by then, and if he was not."""
REACH_HZ = 16_000.0
_OWN_BINS = 180
_LOUD, _BUSY = np.float32(15.0), np.float32(8.0)
"""Power over noise at which a carrier is surely there, and at which somebody probably sends."""
_KEYED_SHARE, _TALK_SHARE = 0.1, 0.005
CUSTOM_HZ = 10e6
"""Lower sideband below, upper above (common practice, no source)."""
_GUARD_HZ = {"cw": 300.0, "voice": 3_200.0}
_BARE_HZ = {"cw": (500.0, 5_500.0), "voice": (3_000.0, 13_000.0)}
"""Where to look when the crowd is silent (common practice, no source)."""


class Survey:
    """Collects a quarter of a minute; then gives mode and window. Blocks of any size give the same verdict."""

    def __init__(self, dx_hz: float, first: Block) -> None:
        self._dx_hz = dx_hz
        self._band = Band(first, dx_hz, dx_hz - REACH_HZ, dx_hz + REACH_HZ)
        self._next = first.first_sample
        self._busy = np.zeros(self._band.grid.bins)
        self._keyed, self._above, self._below = 0.0, 0.0, 0.0
        self._frames = 0

    @property
    def _enough(self) -> bool:
        heard_s = self._frames * self._band.grid.hop_s
        return heard_s >= LONGEST_S or (heard_s >= SURVEY_S and (self._is_keyed or self._talks))

    @property
    def _is_keyed(self) -> bool:
        """Was a carrier where the DX is? No voice puts one on its suppressed carrier for long."""
        return self._keyed > _KEYED_SHARE * self._frames

    @property
    def _talks(self) -> bool:
        return max(self._above, self._below) > _TALK_SHARE * self._frames

    def feed(self, block: Block) -> bool:
        """Samples in; True when enough was heard."""
        if not self._band.hears(block):
            return self._enough
        if block.first_sample != self._next:
            self._band.rest()
        self._next = block.first_sample + len(block.samples)
        for batch in self._band.feed(block):
            if self._enough:
                break
            self._busy += (batch.ratio > _BUSY).sum(axis=0)
            own = self._around(batch.ratio)
            self._keyed += float((own[:, _OWN_BINS - 2 : _OWN_BINS + 3].max(axis=1) > _LOUD).sum())
            self._above += float((own[:, _OWN_BINS + 20 : _OWN_BINS + 170] > _BUSY).mean(axis=1).sum())
            self._below += float((own[:, _OWN_BINS - 170 : _OWN_BINS - 20] > _BUSY).mean(axis=1).sum())
            self._frames += len(batch.ratio)
        return self._enough

    def _around(self, ratio: PowerArray) -> PowerArray:
        """The bins around the DX, he in the middle; what the recording does not cover is 0."""
        zero, bins = self._band.grid.zero, ratio.shape[1]
        out = np.zeros((len(ratio), 2 * _OWN_BINS + 1), np.float32)
        first, last = max(0, zero - _OWN_BINS), min(bins, zero + _OWN_BINS + 1)
        if first < last:
            begin = first - (zero - _OWN_BINS)
            out[:, begin : begin + last - first] = ratio[:, first:last]
        return out

    def verdict(self, mode: Mode | None) -> tuple[Mode, float, float]:
        """Mode (as given, if it is) and the edges of the window in hertz.

        A voice fills kilohertz at a time, a Morse signal a few bins. The window is where others than the DX were heard,
        on the side of him where most were; where nobody was, the side and width are those of common practice.
        """
        grid = self._band.grid
        offset = grid.frequency_hz - self._dx_hz
        busy = np.maximum(self._busy / max(1, self._frames) - 0.02, 0.0)
        if mode is None:
            mode = self._mode(busy, offset)
        kind = "cw" if mode == "cw" else "voice"
        guard = _GUARD_HZ[kind]
        busy = np.where(np.abs(offset) < guard, 0.0, busy)
        up, down = busy[offset > 0].sum(), busy[offset < 0].sum()
        if max(up, down) < 0.3:
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

    def _mode(self, busy: npt.NDArray[np.float64], offset_hz: npt.NDArray[np.float64]) -> Mode:
        if self._is_keyed:
            return "cw"
        if self._talks:
            return "usb" if self._above >= self._below else "lsb"
        # he was not heard: Morse callers keep nearer to him
        crowd = np.where(np.abs(offset_hz) < _GUARD_HZ["cw"], 0.0, busy)
        if crowd[np.abs(offset_hz) < _GUARD_HZ["voice"]].sum() > 0.5 * crowd.sum():
            return "cw"
        return "lsb" if self._dx_hz < CUSTOM_HZ else "usb"
