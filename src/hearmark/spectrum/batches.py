"""Samples to batches of 96 ms of power over noise: what everything behind the spectrum works on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from hearmark.events import Block
from hearmark.spectrum.floor import Floor
from hearmark.spectrum.transform import HOP_S, WINDOW_S, Grid, PowerArray, Transform

BATCH_FRAMES = 12


@dataclass(frozen=True, slots=True)
class Batch:
    """`BATCH_FRAMES` frames. `start_s`: centre of the first window; `power`, `ratio` (over the noise): (frames, bins);
    `floor`: noise density, (bins,)."""

    start_s: float
    power: PowerArray
    floor: PowerArray
    ratio: PowerArray


class Band:
    """Batches of wideband I/Q with a fixed centre. Blocks of any size give the same batches."""

    def __init__(self, first: Block, align_hz: float, low_hz: float, high_hz: float) -> None:
        self._rate_hz, self._center_hz = first.sample_rate_hz, first.center_hz
        self._transform = Transform(self._rate_hz, self._center_hz, align_hz, low_hz, high_hz)
        self._size, self._hop = round(self._rate_hz * WINDOW_S), round(self._rate_hz * HOP_S)
        self._restart(first.first_sample)
        self.grid: Grid = self._transform.grid
        self._floor = Floor(self.grid)
        self._pending: PowerArray = np.zeros((0, self.grid.bins), np.float32)
        self._resting = False

    def _restart(self, first_sample: int) -> None:
        self._transform.restart(first_sample)
        self._origin, self._frame = first_sample, 0

    def hears(self, block: Block) -> bool:
        """Is this block of the same band? A slice elsewhere says nothing about the DX's own frequency."""
        return block.sample_rate_hz == self._rate_hz and block.center_hz == self._center_hz

    def rest(self) -> None:
        """Samples are missing from here on, until the next block."""
        self._resting = True
        self._pending = self._pending[:0]

    def feed(self, block: Block) -> Iterator[Batch]:
        """The batches that this block completes."""
        if self._resting:
            self._restart(block.first_sample)
            self._resting = False
        frames = self._transform.feed(block.samples)
        if not len(frames):
            return
        power = np.concatenate([self._pending, frames.power]) if len(self._pending) else frames.power
        whole = len(power) // BATCH_FRAMES
        for k in range(whole):
            part = power[k * BATCH_FRAMES : (k + 1) * BATCH_FRAMES]
            floor = self._floor.feed(part)
            # in whole samples, so that no rounding adds up and block sizes do not show
            start_s = (self._origin + self._frame * self._hop + self._size / 2) / self._rate_hz
            self._frame += BATCH_FRAMES
            yield Batch(start_s, part, floor, over_noise(part, floor))
        self._pending = power[whole * BATCH_FRAMES :].copy()


def over_noise(power: PowerArray, floor: PowerArray) -> PowerArray:
    """Power over noise density, same shape as `power`."""
    return np.asarray(power / np.maximum(floor, np.float32(1e-30)), np.float32)
