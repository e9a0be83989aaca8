"""Geometry of a hop under a mirror: elevation, incidence, length of the ray; where the mirror of the F2 layer hangs."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from hearmark.path.geodesic import EARTH_KM

FloatArray = npt.NDArray[np.float64]
HIGHEST_KM = 800.0


def elevation_rad(hop_km: npt.ArrayLike, height_km: npt.ArrayLike) -> FloatArray:
    """Elevation of the ray that a mirror `height_km` up returns after `hop_km`; below zero: beyond the horizon."""
    half = np.maximum(np.asarray(hop_km, dtype=np.float64) / (2.0 * EARTH_KM), 1e-6)
    share = EARTH_KM / (EARTH_KM + np.asarray(height_km))
    return np.asarray(np.arctan2(np.cos(half) - share, np.sin(half)))


def incidence_rad(elevation: npt.ArrayLike, height_km: npt.ArrayLike) -> FloatArray:
    """Angle between the ray and the vertical at a height."""
    sine = EARTH_KM * np.cos(elevation) / (EARTH_KM + np.asarray(height_km))
    return np.asarray(np.arcsin(np.clip(sine, 0.0, 1.0)))


def ray_km(hop_km: npt.ArrayLike, elevation: FloatArray) -> FloatArray:
    """Length of the ray of one hop, up to the mirror and down."""
    half = np.maximum(np.asarray(hop_km, dtype=np.float64) / (2.0 * EARTH_KM), 1e-6)
    return np.asarray(2.0 * EARTH_KM * np.sin(half) / np.maximum(np.cos(elevation + half), 1e-3))


def pierce_km(elevation: npt.ArrayLike, height_km: float) -> FloatArray:
    """Distance over ground from the antenna to where the ray passes `height_km`."""
    return np.asarray(EARTH_KM * (np.pi / 2 - np.asarray(elevation) - incidence_rad(elevation, height_km)))


def mirror_height_km(
    frequency_mhz: FloatArray,
    hop_km: FloatArray,
    fof2_mhz: FloatArray,
    foe_mhz: FloatArray,
    m3000: FloatArray,
    sunspots: float,
) -> FloatArray:
    """Mirror reflection height of the F2 layer, km, at most 800 (ITU-R P.533, section 5.1; from memory). Broadcasts."""
    x = fof2_mhz / np.maximum(foe_mhz, 0.1)
    y = np.maximum(x, 1.8)
    delta = 0.18 / (y - 1.4) + 0.096 * (sunspots - 25.0) / 150.0
    base = 1490.0 / (m3000 + delta) - 316.0
    ratio = frequency_mhz / fof2_mhz
    high = np.where(ratio >= 1.0, _above_critical_km(ratio, hop_km, base), _below_critical_km(ratio, hop_km, base))
    j = -0.7126 * y**3 + 5.863 * y**2 - 16.13 * y + 16.07
    u = 8e-5 * (base - 80.0) * (1.0 + 11.0 * y**-2.2) + 1.2e-3 * base * y**-3.6
    low = 115.0 + base * j + u * hop_km
    return np.asarray(np.clip(np.where(x > 3.33, high, low), 150.0, HIGHEST_KM))


def _above_critical_km(ratio: FloatArray, hop_km: FloatArray, base: FloatArray) -> FloatArray:
    r = np.clip(ratio, 1.0, 3.7)
    e = -0.09707 * r**3 + 0.6870 * r**2 - 0.7506 * r + 0.6
    low = -1.862 * r**4 + 12.95 * r**3 - 32.03 * r**2 + 33.50 * r - 10.91
    f = np.where(r <= 1.71, low, 1.21 + 0.2 * r)
    g = -2.102 * r**4 + 19.50 * r**3 - 63.15 * r**2 + 90.47 * r - 44.73
    skip = 160.0 + (base + 43.0) * np.where(ratio <= 3.7, g, 19.25)
    a = 140.0 + (base - 47.0) * e
    b = 150.0 + (base - 17.0) * f - a
    fall = np.clip((hop_km - skip) / (base + 140.0), 0.0, 50.0)
    return np.asarray(np.where(b >= 0.0, a + b * 2.4**-fall, a + b))


def _below_critical_km(ratio: FloatArray, hop_km: FloatArray, base: FloatArray) -> FloatArray:
    z = np.clip(ratio, 0.1, 1.0)
    a = 151.0 + (base - 47.0) * (0.1906 * z**2 + 0.00583 * z + 0.1936)
    b = 141.0 + (base - 24.0) * (0.645 * z**2 + 0.883 * z + 0.162) - a
    df = np.minimum(0.115 * hop_km / (z * (base + 140.0)), 0.65)
    share = -7.535 * df**4 + 15.75 * df**3 - 8.834 * df**2 - 0.378 * df + 1.0
    return np.asarray(np.where(b >= 0.0, a + b * share, a + b))
