"""The earth's magnetic field above points (IGRF 13, as PyIRI carries it): where it points, and how strong it is."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.interpolate import RectBivariateSpline

FloatArray = npt.NDArray[np.float64]
F2_KM, D_KM = 300.0, 100.0
FEW = 1500
"""Up to so many points the model itself is quicker than a table of it."""
_STEP_DEG = 2.0
_BEYOND_DEG = 18.0


def field(
    year: float, latitude_deg: FloatArray, longitude_deg: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Dip in degrees and total field in nT at F2_KM, total field at D_KM; all of the shape of the places, (P,).

    For many places read from a table of every two degrees through quintic splines: the model ends at degree 13, so what
    this leaves out is 0.001 nT and 1e-6 degrees at most.
    """
    if len(latitude_deg) > FEW:
        return _from_table(year, latitude_deg, longitude_deg)
    north, east, down = _model(year, latitude_deg, longitude_deg, F2_KM)
    low = np.linalg.norm(_model(year, latitude_deg, longitude_deg, D_KM), axis=0)
    return _dip_deg(north, east, down), _total(north, east, down), np.asarray(low)


def _model(year: float, latitude_deg: FloatArray, longitude_deg: FloatArray, height_km: float) -> FloatArray:
    """North, east and down in nT: (3, P)."""
    import PyIRI
    from PyIRI import igrf_library as igrf

    out = igrf.inclination(PyIRI.coeff_dir, year, longitude_deg, latitude_deg, height_km, only_inc=False)
    return np.asarray(out[1:4])


def _dip_deg(north: FloatArray, east: FloatArray, down: FloatArray) -> FloatArray:
    return np.asarray(np.degrees(np.arctan2(down, np.hypot(north, east))))


def _total(north: FloatArray, east: FloatArray, down: FloatArray) -> FloatArray:
    return np.asarray(np.sqrt(north**2 + east**2 + down**2))


@lru_cache(maxsize=4)
def table(year: float) -> tuple[RectBivariateSpline, ...]:
    """Splines over latitude and longitude: north, east and down at F2_KM, the total field at D_KM."""
    latitude = np.arange(-90.0, 90.0 + _STEP_DEG / 2, _STEP_DEG)
    # some columns more on either side stand in for the way round the earth
    edge = 180.0 + _BEYOND_DEG
    longitude = np.arange(-edge, edge + _STEP_DEG / 2, _STEP_DEG)
    places = [axis.ravel() for axis in np.meshgrid(latitude, longitude, indexing="ij")]
    shape = (len(latitude), len(longitude))
    high = _model(year, places[0], places[1], F2_KM).reshape(3, *shape)
    low = np.linalg.norm(_model(year, places[0], places[1], D_KM), axis=0).reshape(shape)
    return tuple(RectBivariateSpline(latitude, longitude, values, kx=5, ky=5, s=0) for values in (*high, low))


def _from_table(
    year: float, latitude_deg: FloatArray, longitude_deg: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    around = (longitude_deg + 180.0) % 360.0 - 180.0
    north, east, down, low = (np.asarray(spline.ev(latitude_deg, around)) for spline in table(year))
    return _dip_deg(north, east, down), _total(north, east, down), low
