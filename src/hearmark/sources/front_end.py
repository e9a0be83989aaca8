"""What real receivers do to I/Q, found blindly and taken out: a spike at 0 Hz, and mirror images.

A receiver whose two branches differ in gain and phase gives y = x + k conj(x): every signal at +f has an
image at -f, 20 log10 |k| below it. Signals on the air are proper, E[x x] = 0, so E[y y] / E[|y|^2] =
2k / (1 + |k|^2) gives k without any test signal (widely linear estimation; Picinbono and Chevalier,
IEEE Trans. Signal Processing 43, 1995; Anttila, Valkama and Renfors, IEEE Trans. Vehicular Technology
57, 2008; from memory). One k stands for the whole band.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator

import numpy as np
from scipy.fft import fft

from hearmark.events import Block, ComplexArray, Gap, Levels
from hearmark.sources.samples import silenced
from hearmark.sources.source import Source, SourceEvent

FRAME_S = 0.1
LARGEST_FRAME_BITS = 14
MEMORY_S = 30.0
"""How long a frame counts: both faults are taken as the median over this time, so that an impulse, or the DX
sending exactly on 0 Hz for less than half of it, does not pass for a fault."""
SKIP_HZ = 100.0
"""Around 0 Hz a signal and its image cannot be told apart."""
WORST_IMAGE = 0.5
FLOAT_CLIPS_AT = 0.9999
DROPPED = "samples were dropped"
_MAD_TO_SIGMA = 1.4826
_MEDIAN_VARIANCE = np.pi / 2.0


class FrontEnd:
    """Corrects one stream in frames of fixed length, so that results do not depend on block sizes."""

    def __init__(self, rate_hz: float, clips_at: float | None = None) -> None:
        """`clips_at`: component size of a clipped sample. None, for floats: 1, unless samples exceed it."""
        self._rate_hz = rate_hz
        self._size = 2 ** min(max(6, round(np.log2(FRAME_S * rate_hz))), LARGEST_FRAME_BITS)
        self._clips_at = clips_at
        self._window = np.hanning(self._size + 1)[:-1].astype(np.float32)
        half = self._size // 2
        skip = min(int(np.ceil(SKIP_HZ / rate_hz * self._size)), half - 8)
        nearest = 1 + max(skip, 2)
        self._above = slice(nearest, half)
        self._below = slice(self._size - nearest, half, -1)
        frames = max(8, round(MEMORY_S * rate_hz / self._size))
        self._spikes: deque[complex] = deque(maxlen=frames)
        self._ratios: deque[complex] = deque(maxlen=frames)
        self._spike = 0j
        self._spike_before: complex | None = None
        self.image = 0j
        """The k in use: what of conj(x) the receiver adds to x."""
        self._meter = _Meter(clips_at)
        self.dropped_samples = 0
        self.clock_ppm: float | None = None
        self._pending: list[ComplexArray] = []
        self._held = 0
        self._first: Block | None = None

    def feed(self, block: Block) -> Iterator[Block | Levels]:
        """Corrected blocks of one frame each, and once a second the levels. Audio passes as it is."""
        if self._first is not None and (
            block.center_hz != self._first.center_hz or block.first_sample != self._first.first_sample + self._held
        ):
            retuned = block.center_hz != self._first.center_hz
            yield from self.flush()
            if retuned:
                self._spikes.clear()
                self._spike_before = None
        if self._first is None:
            self._first = block
        self._pending.append(silenced(block.samples))
        self._held += len(block.samples)
        if self._held >= self._size:
            yield from self._whole_frames()

    def flush(self) -> Iterator[Block | Levels]:
        """The incomplete last frame: before a gap, a retuning, and at the end."""
        if self._first is not None and self._held:
            samples = np.concatenate(self._pending)
            yield from self._out(self._first, samples, self._spike_ramp(len(samples)))
        self._first, self._pending, self._held = None, [], 0

    def _whole_frames(self) -> Iterator[Block | Levels]:
        """Correct every complete frame held, keep the rest."""
        first, samples = self._first, np.concatenate(self._pending)
        if first is None:
            return
        whole = len(samples) - len(samples) % self._size
        for at in range(0, whole, self._size):
            frame = samples[at : at + self._size]
            head = _moved(first, at)
            if not first.audio:
                self._learn(frame)
            yield from self._out(head, frame, self._spike_ramp(self._size))
        self._first = _moved(first, whole)
        self._pending, self._held = [samples[whole:]], len(samples) - whole

    def _learn(self, frame: ComplexArray) -> None:
        """Take one frame into both estimates."""
        spectrum = fft(frame * self._window)
        self._spikes.append(complex(spectrum[0] / self._window.sum()))
        self._spike_before = self._spike if self._spike_before is not None else None
        self._spike = _median(np.array(self._spikes))
        if self._spike_before is None:
            self._spike_before = self._spike
        above, below = spectrum[self._above], spectrum[self._below]
        # Sums, not dot products: those may run in several threads, whose order of adding is not fixed.
        power = float(np.sum(above.real**2 + above.imag**2) + np.sum(below.real**2 + below.imag**2))
        if power > 0.0:
            self._ratios.append(complex(2.0 * np.sum(above * below) / power))
            self.image = _image(np.array(self._ratios))

    def _spike_ramp(self, count: int) -> ComplexArray:
        """The spike to subtract from each of `count` samples: from the last estimate to the newest."""
        before = self._spike if self._spike_before is None else self._spike_before
        return np.linspace(before, self._spike, count, endpoint=False).astype(np.complex64)

    def _out(self, head: Block, samples: ComplexArray, spike: ComplexArray) -> Iterator[Block | Levels]:
        """One corrected block, and the levels when a second is full."""
        self._meter.add(samples)
        if head.audio:
            block = Block(head.first_sample, head.sample_rate_hz, head.center_hz, samples, audio=True)
        else:
            centred = samples - spike
            scale = 1.0 - abs(self.image) ** 2
            mended = (centred - np.complex64(self.image) * np.conj(centred)) * np.float32(1.0 / scale)
            block = Block(head.first_sample, head.sample_rate_hz, head.center_hz, mended.astype(np.complex64))
        yield block
        if int(block.stop_s) > int(block.start_s):
            peak_dbfs, clipped_share = self._meter.take()
            rejection_db = -20.0 * float(np.log10(abs(self.image))) if abs(self.image) > 1e-5 else None
            spike_dbfs = 20.0 * float(np.log10(max(abs(self._spike), 1e-9)))
            yield Levels(
                block.stop_s, peak_dbfs, clipped_share, spike_dbfs, None if head.audio else rejection_db,
                self.clock_ppm, self.dropped_samples,
            )  # fmt: skip


class _Meter:
    """Peak and clipping since the last report, before any correction."""

    def __init__(self, clips_at: float | None) -> None:
        self._clips_at = clips_at
        self._peak, self._clipped, self._count = 0.0, 0, 0

    def add(self, samples: ComplexArray) -> None:
        """Take samples in."""
        parts = np.maximum(np.abs(samples.real), np.abs(samples.imag))
        peak = float(parts.max(initial=0.0))
        self._peak = max(self._peak, peak)
        limit = FLOAT_CLIPS_AT if self._clips_at is None else self._clips_at
        self._clipped += int(np.count_nonzero(parts >= limit))
        self._count += len(samples)

    def take(self) -> tuple[float, float]:
        """(peak in dB of full scale, share of samples that clipped); starts anew."""
        endless = self._clips_at is None and self._peak > 1.0 + 1e-6
        share = 0.0 if endless else self._clipped / max(self._count, 1)
        found = 20.0 * float(np.log10(max(self._peak, 1e-9))), share
        self._peak, self._clipped, self._count = 0.0, 0, 0
        return found


class Corrected:
    """A source seen through a front end."""

    def __init__(self, source: Source, clips_at: float | None = None) -> None:
        self._source = source
        self._clips_at = clips_at
        self.sample_rate_hz = source.sample_rate_hz
        self.center_hz = source.center_hz
        self.duration_s = source.duration_s

    def events(self) -> Iterator[SourceEvent]:
        """The source's events with its blocks corrected, and levels once a second."""
        front = FrontEnd(self.sample_rate_hz, self._clips_at)
        for event in self._source.events():
            if isinstance(event, Block):
                yield from front.feed(event)
                continue
            yield from front.flush()
            if isinstance(event, Gap) and event.why == DROPPED:
                front.dropped_samples += round((event.stop_s - event.start_s) * self.sample_rate_hz)
            if isinstance(event, Levels):
                front.clock_ppm = event.clock_ppm
            else:
                yield event
        yield from front.flush()


def _moved(block: Block, by: int) -> Block:
    """The same stream, `by` samples later, without samples."""
    return Block(block.first_sample + by, block.sample_rate_hz, block.center_hz, block.samples[:0], block.audio)


def _median(values: ComplexArray) -> complex:
    """Median of real and imaginary parts."""
    return complex(float(np.median(values.real)), float(np.median(values.imag)))


def _image(ratios: ComplexArray) -> complex:
    """k from the frames' E[y y] / E[|y|^2], drawn towards 0 by as much as the frames disagree."""
    ratio = _median(ratios)
    size = abs(ratio)
    if len(ratios) < 8 or not 0.0 < size < 2 * WORST_IMAGE / (1 + WORST_IMAGE**2):
        return 0j
    k = ratio / (1.0 + float(np.sqrt(1.0 - size**2)))
    spread = np.median(np.abs(ratios.real - ratio.real)) ** 2 + np.median(np.abs(ratios.imag - ratio.imag)) ** 2
    variance = _MEDIAN_VARIANCE * _MAD_TO_SIGMA**2 * float(spread) / len(ratios) / 4.0
    return k * max(0.0, 1.0 - variance / abs(k) ** 2)
