"""The short-wave channel between two stations: two fading paths.

Model: C. C. Watterson, J. R. Juroshek, W. D. Bensema, "Experimental confirmation of an HF channel model", IEEE
Trans. Commun. Technol. 18 (1970): each path is a complex Gaussian process (Rayleigh envelope) with a Gaussian
Doppler spectrum. Figures: ITU-R F.1487, two paths of equal mean power.

A path is white noise through a Gaussian filter. The filter is evaluated in continuous time, so the gain at any moment
follows from a short stretch of stored noise: a station's fading goes on between its transmissions, can be asked for
anywhere, and at any rate.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numba
import numpy as np
import numpy.typing as npt

from hearmark.errors import HearmarkError
from hearmark.events import ComplexArray

ROWS: dict[str, tuple[float, float]] = {
    "flat": (0.0, 0.0),
    "low quiet": (0.5e-3, 0.5),
    "low moderate": (2e-3, 1.5),
    "low disturbed": (6e-3, 10.0),
    "mid quiet": (0.5e-3, 0.1),
    "mid moderate": (1e-3, 0.5),
    "mid disturbed": (2e-3, 1.0),
    "mid near-vertical": (7e-3, 1.0),
    "high quiet": (1e-3, 0.5),
    "high moderate": (3e-3, 10.0),
    "high disturbed": (7e-3, 30.0),
}
"""Name: delay between the two paths (s), Doppler spread of each path (Hz, twice the standard deviation)."""

_NODES_PER_SIGMA = 12.0
"""Noise samples per second for each hertz of Doppler standard deviation. The power spectrum is then 78 dB down at half
that rate, so the stored noise does not show in the gain."""
_HALF_WIDTH = 8
"""The filter reaches this many noise samples to each side: 5.9 standard deviations of its impulse response."""


def row(name: str) -> tuple[float, float]:
    """Delay (s) and 2-sigma Doppler spread (Hz) of a channel by `name`; HearmarkError for an unknown one."""
    if name not in ROWS:
        raise HearmarkError(f"Channel {name!r} is not known; choose one of: {', '.join(ROWS)}.")
    return ROWS[name]


@numba.njit(cache=True, nogil=True)
def _gains(
    noise: npt.NDArray[np.complex64], start: float, step: float, count: int, width: float, half: int
) -> npt.NDArray[np.complex64]:
    """Gaussian-weighted sums of `noise` (2, n) at `start + k step`, both in noise samples. Result (2, count)."""
    out = np.empty((2, count), np.complex64)
    last = noise.shape[1] - 1
    a = 0.5 / (width * width)
    for k in range(count):
        t = start + k * step
        middle = math.floor(t)
        x = t - (middle - half)
        # exp(-a (x - j)^2) by recurrence: two exponentials a sample in place of one per noise sample.
        weight = math.exp(-a * x * x)
        ratio = math.exp(a * (2.0 * x - 1.0))
        shrink = math.exp(-2.0 * a)
        r0 = 0.0
        i0 = 0.0
        r1 = 0.0
        i1 = 0.0
        for j in range(2 * half + 2):
            m = min(max(middle - half + j, 0), last)
            r0 += weight * noise[0, m].real
            i0 += weight * noise[0, m].imag
            r1 += weight * noise[1, m].real
            i1 += weight * noise[1, m].imag
            weight *= ratio
            ratio *= shrink
        out[0, k] = complex(r0, i0)
        out[1, k] = complex(r1, i1)
    return out


@dataclass(frozen=True, slots=True)
class Fading:
    """One station's channel over a whole session. `noise`: complex64 (2, n), what the two path gains are made of."""

    delay_s: float
    spread_hz: float
    noise: ComplexArray
    nodes_hz: float

    def taps(self, start_s: float, count: int, rate_hz: float) -> ComplexArray:
        """Path gains at `start_s + k / rate_hz`, complex64 (2, count); their mean powers sum to 1."""
        if self.spread_hz == 0.0:
            still = np.zeros((2, count), np.complex64)
            still[0] = 1.0
            return still
        start = start_s * self.nodes_hz + _HALF_WIDTH
        width = _width(self.spread_hz, self.nodes_hz)
        return np.asarray(_gains(self.noise, start, self.nodes_hz / rate_hz, count, width, _HALF_WIDTH))

    def apply(self, samples: ComplexArray, start_s: float, rate_hz: float, carrier_hz: float = 0.0) -> ComplexArray:
        """What arrives of `samples` (complex64 (n,), 0 Hz at `carrier_hz`) sent from `start_s` on.

        The result is longer than the input by the delay. Delays are kept to the nearest sample; at 2, 4, 8 kHz those
        of F.1487 are whole numbers. The second path also turns by its delay at `carrier_hz`, so that a station that
        moves meets another notch.
        """
        if self.spread_hz == 0.0:
            return samples
        late = round(self.delay_s * rate_hz)
        gains = self.taps(start_s, len(samples) + late, rate_hz)
        out = np.zeros(len(samples) + late, np.complex64)
        out[: len(samples)] = gains[0, : len(samples)] * samples
        turn = np.complex64(np.exp(-2j * np.pi * ((carrier_hz * late / rate_hz) % 1.0)))
        out[late:] += gains[1, late:] * (samples * turn)
        return out


def _width(spread_hz: float, nodes_hz: float) -> float:
    """Standard deviation of the filter in noise samples: |H(f)|^2 Gaussian with sigma = spread / 2."""
    sigma_hz = spread_hz / 2.0
    return nodes_hz / (2.0 * math.sqrt(2.0) * math.pi * sigma_hz)


def draw(name: str, duration_s: float, rng: np.random.Generator) -> Fading:
    """A channel of the F.1487 row `name`, good from 0 to `duration_s`."""
    return two_paths(*row(name), duration_s, rng)


def two_paths(delay_s: float, spread_hz: float, duration_s: float, rng: np.random.Generator) -> Fading:
    """A channel of two paths `delay_s` apart, each with a 2-sigma Doppler spread of `spread_hz`; 0: no fading."""
    if spread_hz == 0.0:
        return Fading(delay_s, 0.0, np.zeros((2, 1), np.complex64), 1.0)
    nodes_hz = _NODES_PER_SIGMA * spread_hz / 2.0
    count = math.ceil(duration_s * nodes_hz) + 2 * _HALF_WIDTH + 4
    noise = rng.standard_normal((2, count, 2), dtype=np.float32).view(np.complex64)[..., 0]
    # Mean power of a gain: sum of squared weights times 2 (real and imaginary); each path carries a half.
    power = 2.0 * math.sqrt(math.pi) * _width(spread_hz, nodes_hz)
    return Fading(delay_s, spread_hz, np.ascontiguousarray(noise * np.float32(math.sqrt(0.5 / power))), nodes_hz)


def taps(name: str, duration_s: float, rate_hz: float, rng: np.random.Generator) -> ComplexArray:
    """Gains of the two paths of F.1487 row `name`, complex64 (2, duration_s * rate_hz), total mean power 1."""
    return draw(name, duration_s, rng).taps(0.0, round(duration_s * rate_hz), rate_hz)
