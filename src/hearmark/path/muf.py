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


F1_HOPS_KM = (1500.0, 3400.0)
"""Hops that the F1 layer serves; P.1240 gives its formula from 2000 km on, here it is carried on a little below."""


def f1_critical_mhz(zenith_deg: FloatArray, geomagnetic_deg: npt.ArrayLike, sunspots: float) -> FloatArray:
    """foF1, MHz; 0 where there is no such layer (DuCharme, Petrie and Eyfrig, 1973; in P.1239, from memory)."""
    lam = np.abs(np.asarray(geomagnetic_deg, dtype=np.float64))
    share = 0.01 * sunspots
    low, high = 4.35 + 0.0058 * lam - 1.2e-4 * lam**2, 5.348 + 0.011 * lam - 2.3e-4 * lam**2
    power = 0.093 + 0.0046 * lam - 5.4e-5 * lam**2 + 3e-4 * sunspots
    limit_low, limit_high = 49.7 + 0.118 * lam, 38.96 + 0.509 * lam
    there = zenith_deg <= limit_low + share * (limit_high - limit_low)
    cosine = np.maximum(np.cos(np.radians(np.minimum(zenith_deg, 89.0))), 0.0)
    return np.asarray(np.where(there, (low + share * (high - low)) * cosine**power, 0.0))


def f1_muf_mhz(distance_km: npt.ArrayLike, fof1_mhz: FloatArray, sunspots: float) -> FloatArray:
    """Basic MUF of one hop by the F1 layer, MHz (P.1240, section on F1; from memory). Broadcasts."""
    d = np.asarray(distance_km, dtype=np.float64)
    quiet = 0.16 + 2.64e-3 * d - 0.40e-6 * d**2
    active = -0.52 + 2.69e-3 * d - 0.39e-6 * d**2
    return np.asarray(fof1_mhz * (quiet - 0.01 * (quiet - active) * sunspots))


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
