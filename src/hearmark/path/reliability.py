"""From modes to signal over noise and its chance: days differ in MUF, in sporadic E, in level and in noise (P.842)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

FloatArray = npt.NDArray[np.float64]
DECILE = 1.2816
"""Standard deviations from the median to a decile of a normal distribution."""
QUANTILES = np.array([0.1, 0.3, 0.5, 0.7, 0.9])
NORMAL = np.array([-DECILE, -0.5244, 0.0, 0.5244, DECILE])
"""Middles of five equally probable parts of a normal distribution."""
DAY_UPPER_DB, DAY_LOWER_DB = 6.0, 8.0
"""Day-to-day deciles of a level well below the MUF at mid latitudes (P.533's table; from memory)."""
MODEL_RMS_DB = 10.0
"""Rms error of a predicted level (CCIR Report 894-2 against data bank D1; Torres, IEEE Trans. Broadcasting, 1992)."""


@dataclass(frozen=True, slots=True)
class Spread:
    """Signal over noise density as a mixture: `parts_db` equally likely medians, shape (parts, ...).

    Each spreads normally, with standard deviations `upper_db` above and `lower_db` below.
    """

    parts_db: FloatArray
    upper_db: float
    lower_db: float

    def probability(self, required_db: npt.ArrayLike, shift_db: float = 0.0) -> FloatArray:
        """Chance to reach `required_db`, with the level `shift_db` higher than computed."""
        need = np.asarray(required_db) - self.parts_db - shift_db
        return np.asarray(ndtr(-need / np.where(need > 0.0, self.upper_db, self.lower_db)).mean(axis=0))

    def median_db(self) -> FloatArray:
        """The level that is reached on half of the days: by bisection, to 0.01 dB."""
        low, high = self.parts_db.min(axis=0) - 1.0, self.parts_db.max(axis=0) + 1.0
        for _ in range(int(np.ceil(np.log2(max(float(np.max(high - low)), 1.0) / 0.01)))):
            middle = (low + high) / 2.0
            reached = self.probability(middle) >= 0.5
            low, high = np.where(reached, middle, low), np.where(reached, high, middle)
        return np.asarray((low + high) / 2.0)


def muf_scale(zenith_deg: FloatArray, z: float) -> FloatArray:
    """Factor on the monthly median MUF on a day `z` standard deviations above it.

    Deciles of the F2 MUF day to day: 0.85 and 1.15 by day, 0.77 and 1.22 by night, the middle of P.1240's tables
    (from memory, simplified: they also go by season, latitude and sunspots, 0.64 to 0.91 and 1.09 to 1.42).
    """
    dark = np.clip((zenith_deg - 80.0) / 20.0, 0.0, 1.0)
    upper, lower = 0.15 + 0.07 * dark, 0.15 + 0.08 * dark
    return np.asarray(1.0 + z / DECILE * np.where(z > 0.0, upper, lower))


def es_scale(low_mhz: FloatArray, median_mhz: FloatArray, high_mhz: FloatArray, z: float) -> FloatArray:
    """Factor on the median foEs on a day `z` standard deviations above it, log-normal on each side."""
    side = high_mhz / median_mhz if z > 0.0 else median_mhz / low_mhz
    return np.asarray(side ** (z / DECILE))
