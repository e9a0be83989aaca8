"""Samples to power over time and frequency: a streaming short-time Fourier transform.

Windows are 64 ms long (a compromise of the trade: 15.6 Hz bins part two carriers 60 Hz apart, and a
dit of 30 WPM still fills the middle of the window), one every 8 ms. The bins are laid so that one of
them, bin 0, falls exactly on `align_hz`: that takes a shift by less than half a bin, which is folded
into the window. Only powers leave this module, and a power does not know the phase in which its frame
was shifted, so the shift restarts with each frame: nothing drifts, however long the stream runs.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.fft

from hearmark.errors import HearmarkError
from hearmark.events import ComplexArray

PowerArray = npt.NDArray[np.float32]

WINDOW_S = 0.064
HOP_S = 0.008
NOISE_BANDWIDTH_BINS = 1.5
"""Equivalent noise bandwidth of the Hann window: sum(w^2) * N / sum(w)^2 (Harris, Proc. IEEE 66, 51, 1978)."""
_BATCH_SAMPLES = 1 << 16


@dataclass(frozen=True, slots=True)
class Grid:
    """Where the bins lie. Bin i of `bins` is at `low_hz + i * step_hz`; `zero` is the one at `align_hz`.

    `zero` may lie outside 0..bins-1 when the kept range leaves the aligned frequency out.
    """

    low_hz: float
    step_hz: float
    bins: int
    zero: int
    hop_s: float
    window_s: float

    @property
    def frequency_hz(self) -> npt.NDArray[np.float64]:
        """Absolute frequency of every bin, float64, shape (bins,)."""
        return self.low_hz + self.step_hz * np.arange(self.bins, dtype=np.float64)

    @property
    def noise_bandwidth_hz(self) -> float:
        """A steady carrier of power C stands in its bin as C / noise_bandwidth_hz, if it is on the bin centre."""
        return NOISE_BANDWIDTH_BINS * self.step_hz

    def position(self, frequency_hz: float) -> float:
        """Fractional bin index of a frequency."""
        return (frequency_hz - self.low_hz) / self.step_hz

    def span(self, low_hz: float, high_hz: float) -> slice:
        """Slice of the bins whose centres lie in low_hz..high_hz (possibly empty)."""
        first = int(np.ceil(self.position(low_hz) - 1e-6))
        last = int(np.floor(self.position(high_hz) + 1e-6))
        first, last = max(first, 0), min(last, self.bins - 1)
        return slice(first, max(first, last + 1))


@dataclass(frozen=True, slots=True)
class Frames:
    """Consecutive frames of power density, float32, shape (frames, grid.bins), unit: full scale squared per hertz.

    White noise of density N0 has the expected value N0 in every bin. `first` counts frames since the
    start of the stream; `start_s` is the time of frame `first`, the centre of its window.
    """

    grid: Grid
    first: int
    start_s: float
    power: PowerArray

    def __len__(self) -> int:
        return int(self.power.shape[0])

    @property
    def time_s(self) -> npt.NDArray[np.float64]:
        """Centre of each frame's window on the sample clock, seconds, shape (frames,)."""
        return self.start_s + self.grid.hop_s * np.arange(len(self), dtype=np.float64)


class Transform:
    """Streaming power spectra of complex samples; any block sizes give the same frames, bit for bit.

    `center_hz` is the absolute frequency of 0 Hz in the samples; bins lie at `align_hz + k * fs / N`, and
    those in `low_hz..high_hz` are kept (within the sampled band). Frame i is made of the samples
    [i*hop, i*hop + N). Works on wideband I/Q and on the analytic signal of one receiver's audio alike.
    """

    def __init__(self, sample_rate_hz: float, center_hz: float, align_hz: float, low_hz: float, high_hz: float) -> None:
        size = round(sample_rate_hz * WINDOW_S) if np.isfinite(sample_rate_hz) else 0
        hop = round(sample_rate_hz * HOP_S) if size else 0
        if hop < 4:
            raise HearmarkError(
                f"A sample rate of {sample_rate_hz:g} Hz is too low for the spectrum: give at least 1000 Hz."
            )
        if not low_hz < high_hz:
            raise HearmarkError(f"The range {low_hz:.0f} to {high_hz:.0f} Hz is empty: give the lower edge first.")
        step_hz = sample_rate_hz / size
        # all bins inside the sampled band, counted from the aligned one
        lowest = int(np.ceil((max(low_hz, center_hz - sample_rate_hz / 2) - align_hz) / step_hz - 1e-9))
        highest = int(np.floor((min(high_hz, center_hz + sample_rate_hz / 2) - align_hz) / step_hz + 1e-9))
        bins = min(highest - lowest + 1, size)
        if bins < 1:
            raise HearmarkError(
                f"The range {low_hz:.0f} to {high_hz:.0f} Hz lies outside the recording, which covers "
                f"{center_hz - sample_rate_hz / 2:.0f} to {center_hz + sample_rate_hz / 2:.0f} Hz."
            )
        offset = (align_hz - center_hz) / step_hz
        whole = round(offset)
        n = np.arange(size)
        window = 0.5 - 0.5 * np.cos(2 * np.pi * n / size)
        scale = 1.0 / np.sqrt(sample_rate_hz * np.sum(window**2))
        self._window: ComplexArray = (scale * window * np.exp(-2j * np.pi * (offset - whole) * n / size)).astype(
            np.complex64
        )
        self._start = (lowest + whole) % size
        self._size, self._hop, self._rate = size, hop, sample_rate_hz
        self._held: ComplexArray = np.zeros(0, np.complex64)
        self._origin = 0  # sample index of frame 0 since the last restart
        self._frame = 0  # frames since the last restart
        self._total = 0  # frames since the stream began
        self.grid = Grid(
            align_hz + lowest * step_hz, step_hz, bins, -lowest, hop / sample_rate_hz, size / sample_rate_hz
        )

    def restart(self, first_sample: int) -> None:
        """After a gap: forget the unfinished window; the next sample fed is number `first_sample` of the stream."""
        self._held = np.zeros(0, np.complex64)
        self._origin, self._frame = first_sample, 0

    def feed(self, samples: npt.NDArray[np.complexfloating]) -> Frames:
        """Take the next samples, shape (n,); return the frames they complete (possibly none)."""
        if samples.ndim != 1:
            raise HearmarkError(f"The spectrum needs one channel of samples, got an array of shape {samples.shape}.")
        held = np.concatenate([self._held, samples.astype(np.complex64, copy=False)])
        count = max(0, (len(held) - self._size) // self._hop + 1)
        power = np.empty((count, self.grid.bins), np.float32)
        if count:
            views = np.lib.stride_tricks.sliding_window_view(held, self._size)[:: self._hop]
            batch = max(1, _BATCH_SAMPLES // self._size)
            for k in range(0, count, batch):
                self._transform(views[k : min(k + batch, count)], power[k : k + batch])
        start_s = (self._origin + self._frame * self._hop + self._size / 2) / self._rate
        frames = Frames(self.grid, self._total, start_s, power)
        self._held = held[count * self._hop :].copy()
        self._frame += count
        self._total += count
        return frames

    def _transform(self, views: npt.NDArray[np.complex64], power: PowerArray) -> None:
        spectrum = scipy.fft.fft(views * self._window, axis=1, overwrite_x=True, workers=1)
        first = min(self.grid.bins, self._size - self._start)
        _square(spectrum[:, self._start : self._start + first], power[:, :first])
        if first < self.grid.bins:
            _square(spectrum[:, : self.grid.bins - first], power[:, first:])


def _square(spectrum: npt.NDArray[np.complex64], power: PowerArray) -> None:
    np.multiply(spectrum.real, spectrum.real, out=power)
    power += spectrum.imag * spectrum.imag


def still_noise(bins: int, frames: int) -> PowerArray:
    """Powers of white noise as `Transform` would give them, mean 1, float32, (frames, bins); always the same."""
    size = -(-bins // 8) * 8
    rng = np.random.default_rng(1)
    samples = rng.standard_normal((size // 8 * frames + size, 2)).astype(np.float32).view(np.complex64)[:, 0]
    window = (0.5 - 0.5 * np.cos(2 * np.pi * np.arange(size) / size)).astype(np.float32)
    views = np.lib.stride_tricks.sliding_window_view(samples, size)[:: size // 8][:frames]
    power = np.abs(scipy.fft.fft(views * window, axis=1, workers=1)[:, :bins]) ** 2
    return np.asarray(power / (2.0 * np.sum(window**2)), np.float32)
