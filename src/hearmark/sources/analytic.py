"""Real audio to its analytic signal, as a stream."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.signal import firwin, oaconvolve

from hearmark.events import ComplexArray

TRANSITION_HZ = 100.0
"""Audio below this, and within it of half the sample rate, is attenuated."""


class Analytic:
    """A linear-phase filter that keeps positive frequencies; its delay is taken out.

    The filter is a low-pass of half the band, moved up by a quarter of the sample rate (the
    windowed design of a Hilbert transformer; Oppenheim and Schafer, Discrete-Time Signal
    Processing). For equal results feed pieces of equal sizes.
    """

    def __init__(self, sample_rate_hz: float) -> None:
        half = int(np.ceil(1.65 * sample_rate_hz / TRANSITION_HZ))
        self._half = half - half % 2 + 2
        length = 2 * self._half + 1
        low_pass = firwin(length, 0.5 - TRANSITION_HZ / sample_rate_hz, window="hamming")
        turn = np.exp(0.5j * np.pi * (np.arange(length) - self._half))
        self._taps = (2.0 * low_pass * turn).astype(np.complex64)
        self._history = np.zeros(2 * self._half, np.float32)
        self._to_skip = self._half

    def feed(self, audio: npt.NDArray[np.float32]) -> ComplexArray:
        """Analytic samples that are complete so far, complex64; they lag the input by the filter's half length."""
        if not len(audio):
            return np.empty(0, np.complex64)
        joined = np.concatenate([self._history, audio]).astype(np.float32)
        self._history = joined[len(joined) - 2 * self._half :]
        out: ComplexArray = oaconvolve(joined, self._taps, mode="valid").astype(np.complex64)
        skip = min(self._to_skip, len(out))
        self._to_skip -= skip
        return out[skip:]

    def finish(self) -> ComplexArray:
        """The samples still held back, as if silence followed."""
        return self.feed(np.zeros(self._half, np.float32))
