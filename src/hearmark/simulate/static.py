"""What is on the air besides people: noise, static crashes, steady carriers."""

from __future__ import annotations

import math

import numpy as np

from hearmark.events import ComplexArray
from hearmark.simulate.session import Scenario

NOISE_POWER = 1e-5
"""Mean power of the noise in 2500 Hz: -50 dB of full scale, so that a very strong station does not clip."""
NOISE_BANDWIDTH_HZ = 2500.0


def noise_variance(rate_hz: float) -> float:
    """Mean power of the complex white noise at `rate_hz`."""
    return NOISE_POWER * rate_hz / NOISE_BANDWIDTH_HZ


def white(rng: np.random.Generator, count: int, rate_hz: float) -> ComplexArray:
    """Complex white noise of variance `noise_variance(rate_hz)`, complex64 (count,)."""
    flat = rng.standard_normal(2 * count, dtype=np.float32)
    flat *= np.float32(math.sqrt(noise_variance(rate_hz) / 2))
    return flat.view(np.complex64)


def impulses(rng: np.random.Generator, per_s: float, count: int, rate_hz: float) -> ComplexArray:
    """Static that begins within `count` samples, complex64 (2 count,): it may ring on for as long again.

    Short clicks, and one in twenty a crash of a tenth of a second and more (common practice, no source).
    """
    out = np.zeros(2 * count, np.complex64)
    for _ in range(int(rng.poisson(per_s * count / rate_hz))):
        start, over_db, spread = int(rng.integers(count)), rng.uniform(10, 35), rng.uniform()
        crash = rng.uniform() < 0.05
        decay_s = 0.02 + 0.06 * spread if crash else 0.0003 + 0.003 * spread
        length = min(round(5 * decay_s * rate_hz), count)
        shape = np.exp(np.arange(length, dtype=np.float32) * np.float32(-1 / (decay_s * rate_hz)))
        gain = np.float32(10 ** ((over_db - 6 * crash) / 20))
        out[start : start + length] += white(rng, length, rate_hz) * shape * gain
    return out


def carriers(rng: np.random.Generator, scenario: Scenario) -> list[tuple[float, float, float]]:
    """Frequency (Hz), amplitude and phase (turns) of the steady carriers, over the window and 1 kHz beyond."""
    low_hz = min(scenario.dx_hz + 200.0, scenario.window_low_hz - 1000.0)
    high_hz = max(scenario.dx_hz - 200.0, scenario.window_high_hz + 1000.0)
    found = []
    for _ in range(scenario.carriers):
        frequency_hz, snr_db, phase = rng.uniform(low_hz, high_hz), rng.uniform(0.0, 20.0), rng.uniform()
        found.append((frequency_hz, math.sqrt(NOISE_POWER * 10 ** (snr_db / 10)), phase))
    return found


def tone(offset_hz: float, amplitude: float, phase: float, first: int, count: int, rate_hz: float) -> ComplexArray:
    """A steady carrier from sample `first` on, complex64 (count,)."""
    turns = phase + (offset_hz / rate_hz * first) % 1.0 + offset_hz / rate_hz * np.arange(count)
    return np.asarray(amplitude * np.exp(2j * np.pi * (turns % 1.0)), dtype=np.complex64)
