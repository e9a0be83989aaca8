"""One receiver whose dial moves: slices of spectrum, put in their places on one grid over the DX and the window.

Where the receiver does not listen, or its filter lets nothing through, the grid carries still noise (Morse) or the
middle of noise (voice), which tells the finders nothing. So an answer is found if the receiver stood where it was sent,
and missed otherwise.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from hearmark.events import Block, Mode
from hearmark.spectrum.batches import BATCH_FRAMES, Batch
from hearmark.spectrum.passband import Passband
from hearmark.spectrum.transform import HOP_S, WINDOW_S, Grid, PowerArray, Transform, still_noise

AUDIO_HZ = 4_000.0
"""No voice receiver's audio reaches further from its dial."""
MOST_SLICES = 64
MIDDLE = np.float32(0.9)
"""Zero on the networks' scale."""
_STILL_FRAMES = 1_000


class Slices:
    """As `Band`, for mono audio. `mode` "lsb": the audio lies below the dial."""

    def __init__(self, first: Block, mode: Mode, align_hz: float, low_hz: float, high_hz: float) -> None:
        self._rate_hz, self._align_hz, self._lower = first.sample_rate_hz, align_hz, mode == "lsb"
        self._size, self._hop = round(self._rate_hz * WINDOW_S), round(self._rate_hz * HOP_S)
        step_hz = self._rate_hz / self._size
        lowest, highest = int(np.ceil((low_hz - align_hz) / step_hz)), int(np.floor((high_hz - align_hz) / step_hz))
        bins = highest - lowest + 1
        self.grid = Grid(
            align_hz + lowest * step_hz, step_hz, bins, -lowest, self._hop / self._rate_hz, self._size / self._rate_hz
        )
        self._still = still_noise(bins, _STILL_FRAMES) if mode == "cw" else np.full((1, bins), MIDDLE, np.float32)
        self._origin = first.first_sample
        self._frame = 0
        """Frames since `_origin` that are in a batch or in `_pending`."""
        self._pending = np.zeros((0, bins), np.float32)
        self._center_hz: float | None = None
        self._transform: Transform | None = None
        self._passbands: dict[float, Passband] = {}
        self._passband: Passband | None = None
        self._skip = 0
        self._place = 0
        self._raw: PowerArray = np.zeros((0, 0), np.float32)
        self._batch = 0

    def hears(self, block: Block) -> bool:
        """Audio at the same rate, wherever the dial stands."""
        return block.audio and block.sample_rate_hz == self._rate_hz

    @property
    def passes_hz(self) -> tuple[float, float] | None:
        """What the filter lets through, from the carrier that the dial stands for; None before that is known."""
        edges_hz = self._passband.edges_hz if self._passband is not None else None
        if edges_hz is None or self._center_hz is None:
            return None
        return edges_hz[0] - self._center_hz, edges_hz[1] - self._center_hz

    def rest(self) -> None:
        """Samples are missing from here on, until the next block."""
        self._pending, self._raw = self._pending[:0], self._raw[:0]
        self._center_hz = None
        self._frame = -1

    def feed(self, block: Block) -> Iterator[Batch]:
        """The batches that this block completes."""
        if self._frame < 0:
            self._origin, self._frame, self._batch = block.first_sample, 0, 0
        if block.center_hz != self._center_hz:
            yield from self._retuned(block)
        if self._transform is None or self._passband is None:  # this slice touches nothing of interest
            yield from self._quiet((block.first_sample + len(block.samples) - self._origin) // self._hop)
            return
        samples = block.samples[self._skip :]
        self._skip = max(0, self._skip - len(block.samples))
        power = self._transform.feed(samples).power
        self._raw = np.concatenate([self._raw, power]) if len(self._raw) else power
        while len(self._pending) + len(self._raw) >= BATCH_FRAMES:
            yield from self._measured(BATCH_FRAMES - len(self._pending))

    def _measured(self, count: int) -> Iterator[Batch]:
        """The next frames of this slice, over its noise. Always whole batches, or what is left when the dial moves."""
        part, self._raw = self._raw[:count], self._raw[count:]
        if self._passband is None or not len(part):
            return
        first, ratio = self._passband.feed(part)
        whole = self._still_rows(len(part))
        whole[:, self._place + first : self._place + first + ratio.shape[1]] = ratio
        yield from self._add(whole)

    def _retuned(self, block: Block) -> Iterator[Batch]:
        """The dial has moved: windows across the move are lost, and count as still."""
        self._center_hz = center_hz = block.center_hz
        yield from self._measured(BATCH_FRAMES)
        frame = -(-(block.first_sample - self._origin) // self._hop)
        yield from self._quiet(frame)
        low_hz, high_hz = (center_hz - AUDIO_HZ, center_hz) if self._lower else (center_hz, center_hz + AUDIO_HZ)
        low_hz, high_hz = max(low_hz, self.grid.low_hz), min(high_hz, float(self.grid.frequency_hz[-1]))
        self._transform = self._passband = None
        if high_hz - low_hz < 8 * self.grid.step_hz:
            return
        self._transform = Transform(self._rate_hz, center_hz, self._align_hz, low_hz, high_hz)
        first = self._origin + frame * self._hop
        self._skip = first - block.first_sample
        self._transform.restart(first)
        grid = self._transform.grid
        self._place = round(self.grid.position(grid.low_hz))
        self._passband = self._passbands.pop(center_hz, None) or Passband(grid)
        self._passbands[center_hz] = self._passband
        if len(self._passbands) > MOST_SLICES:
            del self._passbands[next(iter(self._passbands))]

    def _quiet(self, until: int) -> Iterator[Batch]:
        """Still frames up to frame number `until`."""
        while self._frame < until:
            count = min(until - self._frame, BATCH_FRAMES - len(self._pending))
            yield from self._add(self._still_rows(count))

    def _time_s(self, frame: int) -> float:
        return (self._origin + frame * self._hop + self._size / 2) / self._rate_hz

    def _still_rows(self, count: int) -> PowerArray:
        return np.array(self._still[(self._frame + np.arange(count)) % len(self._still)])

    def _add(self, ratio: PowerArray) -> Iterator[Batch]:
        self._frame += len(ratio)
        self._pending = np.concatenate([self._pending, ratio])
        if len(self._pending) == BATCH_FRAMES:
            whole, self._pending = self._pending, self._pending[:0]
            start_s = self._time_s(self._batch * BATCH_FRAMES)
            self._batch += 1
            yield Batch(start_s, whole, np.ones(whole.shape[1], np.float32), whole)
