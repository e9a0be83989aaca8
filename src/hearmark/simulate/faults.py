"""What a real wideband receiver adds to the samples: offset, image, clipping, a wrong clock, losses."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from hearmark.events import ComplexArray


@dataclass(frozen=True, slots=True)
class Faults:
    """What is wrong with a receiver. The defaults are a perfect one.

    `dc`: constant added, full scale 1. `iq_gain_db`, `iq_phase_deg`: the quadrature branch against the in-phase one;
    the image lies about 20 log10(2 / hypot(gain error, phase error in radians)) dB down. `clip_at`: largest magnitude
    of either branch. `clock_ppm`: the sampling clock, which the tuning shares, runs fast by this. `dropped_per_min`:
    losses of 0.02 to 0.18 s.
    """

    dc: complex = 0j
    iq_gain_db: float = 0.0
    iq_phase_deg: float = 0.0
    clip_at: float | None = None
    clock_ppm: float = 0.0
    dropped_per_min: float = 0.0

    @property
    def stretch(self) -> float:
        """Seconds of the sample clock in a true second."""
        return 1.0 + self.clock_ppm * 1e-6

    def received(self, samples: ComplexArray) -> ComplexArray:
        """`samples` after image, offset and clipping."""
        out = samples
        if self.iq_gain_db or self.iq_phase_deg:
            branch = 10 ** (self.iq_gain_db / 20) * np.exp(1j * math.radians(self.iq_phase_deg))
            wanted, image = np.complex64((1 + branch.conjugate()) / 2), np.complex64((1 - branch) / 2)
            out = out * wanted + out.conj() * image
        if self.dc:
            out = out + np.complex64(self.dc)
        if self.clip_at is not None:
            out = np.clip(out.view(np.float32), -self.clip_at, self.clip_at).view(np.complex64)
        return out

    def lost(self, rng: np.random.Generator, count: int, rate_hz: float) -> list[tuple[int, int]]:
        """First and last-plus-one sample of the stretches lost out of `count` samples."""
        if self.dropped_per_min <= 0:
            return []
        duration_s = count / rate_hz
        stretches = []
        for _ in range(int(rng.poisson(self.dropped_per_min * duration_s / 60))):
            start_s, length_s = rng.uniform(0, duration_s), rng.uniform(0.02, 0.18)
            stretches.append((round(start_s * rate_hz), min(count, round((start_s + length_s) * rate_hz))))
        return stretches
