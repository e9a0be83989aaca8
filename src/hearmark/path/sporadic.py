"""Reflection by sporadic E: loss over hop length and foEs (ITU-R P.534; formula from memory)."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
HEIGHT_KM = 110.0
LONGEST_HOP_KM = 2350.0


def reflection_db(frequency_mhz: npt.ArrayLike, foes_mhz: npt.ArrayLike, hop_km: npt.ArrayLike) -> FloatArray:
    """Loss of one reflection, dB, at most 150; broadcasts. Beyond some 2300 km the layer lies below the horizon."""
    d = np.asarray(hop_km, dtype=np.float64)
    slope = 40.0 / (1.0 + d / 130.0 + (d / 250.0) ** 2) + 0.2 * (d / 2600.0) ** 2
    loss = slope * (np.asarray(frequency_mhz) / np.asarray(foes_mhz)) ** 2 + np.exp((d - 1660.0) / 280.0)
    return np.asarray(np.minimum(loss, 150.0))
