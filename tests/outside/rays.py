"""Rays through a layered ionosphere over a round earth, without the magnetic field: Bouguer's rule, integrated."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
EARTH_KM = 6371.0
ELEVATION_RAD = np.radians(np.concatenate((np.arange(0.5, 15.0, 0.125), np.arange(15.0, 60.0, 1.0))))


def ground_km(
    frequency_mhz: float, elevation_rad: FloatArray, height_km: FloatArray, plasma_mhz: FloatArray
) -> FloatArray:
    """Distance over ground at which rays come down, shape of the elevations; inf for those that do not.

    In each cell mu^2 r^2 - p^2 is taken to run straight, and the integral of its inverse root is then exact.
    """
    radius = EARTH_KM + height_km
    square = (1.0 - (plasma_mhz / frequency_mhz) ** 2) * radius**2
    p = (EARTH_KM * np.cos(elevation_rad))[:, None]
    left = square[None, :] - p**2
    inside = np.cumprod(left > 0.0, axis=1).astype(bool)
    turn = inside.sum(axis=1)
    a, b = left[:, :-1], left[:, 1:]
    step, middle = np.diff(height_km), (radius[:-1] + radius[1:]) / 2.0
    both = inside[:, :-1] & inside[:, 1:]
    last = inside[:, :-1] & ~inside[:, 1:]
    root_a, root_b = np.sqrt(np.maximum(a, 0.0)), np.sqrt(np.maximum(b, 0.0))
    whole = 2.0 * step / np.maximum(root_a + root_b, 1e-9)
    part = 2.0 * step * root_a / np.maximum(a - b, 1e-9)
    angle = (p / middle * (np.where(both, whole, 0.0) + np.where(last, part, 0.0))).sum(axis=1)
    return np.where(turn < len(height_km), 2.0 * EARTH_KM * angle, np.inf)


def muf_mhz(distance_km: float, height_km: FloatArray, plasma_mhz: FloatArray) -> float:
    """Highest frequency of which some ray comes down at the distance, to 0.2 %."""
    low, high = float(plasma_mhz.max()) * 0.9, float(plasma_mhz.max()) * 5.0
    while high / low > 1.002:
        middle = np.sqrt(low * high)
        found = ground_km(float(middle), ELEVATION_RAD, height_km, plasma_mhz)
        down = found[np.isfinite(found)]
        reaches = down.size > 0 and down.min() <= distance_km
        low, high = (middle, high) if reaches else (low, middle)
    return float(low)
