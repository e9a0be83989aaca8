"""Maximum usable frequency of one hop (ITU-R P.1240 and P.533; formulas from memory, held against ray tracing)."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
LONGEST_HOP_KM = 4000.0
_CURVE = (0.74, -0.591, -0.424, -0.090, 0.088, 0.181, 0.096)


def _distance_factor(distance_km: npt.ArrayLike, longest_km: FloatArray) -> FloatArray:
    z = 1.0 - 2.0 * np.asarray(distance_km) / longest_km
    return np.asarray(np.polynomial.polynomial.polyval(z, _CURVE))


def longest_hop_km(m3000: FloatArray, ratio: FloatArray) -> FloatArray:
    """Longest F2 hop, km. `ratio`: foF2/foE."""
    x = np.maximum(ratio, 2.0)
    b = _steepness(m3000, x)
    return np.asarray(4780.0 + (12610.0 + 2140.0 / x**2 - 49720.0 / x**4 + 688900.0 / x**6) * (1.0 / b - 0.303))


def _steepness(m3000: FloatArray, x: FloatArray) -> FloatArray:
    return np.asarray(m3000 - 0.124 + (m3000**2 - 4.0) * (0.0215 + 0.005 * np.sin(7.854 / x - 1.9635)))


def f2_muf_mhz(
    distance_km: npt.ArrayLike, fof2_mhz: FloatArray, m3000: FloatArray, foe_mhz: FloatArray, gyro_mhz: npt.ArrayLike
) -> FloatArray:
    """Basic MUF of one F2 hop of `distance_km`, MHz; distances beyond the longest hop count as the longest.

    All arguments broadcast. `gyro_mhz`: gyrofrequency at 300 km; the result is for the extraordinary wave.
    """
    x = np.maximum(fof2_mhz / np.maximum(foe_mhz, 0.1), 2.0)
    b = _steepness(m3000, x)
    longest = longest_hop_km(m3000, x)
    hop = np.minimum(distance_km, np.minimum(longest, LONGEST_HOP_KM))
    shape = _distance_factor(hop, longest) / _distance_factor(3000.0, longest)
    ordinary = (1.0 + shape * (b - 1.0)) * fof2_mhz
    return np.asarray(ordinary + np.asarray(gyro_mhz) / 2.0 * (1.0 - hop / longest))
