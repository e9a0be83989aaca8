"""The way between two places on the WGS 84 ellipsoid, short and long."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from geographiclib.geodesic import Geodesic

from hearmark.path.places import Place

FloatArray = npt.NDArray[np.float64]
EARTH_KM = 6371.0
CIRCUMFERENCE_KM = 2.0 * np.pi * EARTH_KM
NEAREST_KM = 0.1
POINTS = 49
"""Samples along a route: on the longest possible one they lie 830 km apart, a fifth of the longest hop."""


@dataclass(frozen=True, slots=True)
class Route:
    """One way from `start` to `end`. Bearings in degrees from north by east, at the start and, back, at the end.

    `latitude_deg`, `longitude_deg`: shape (POINTS,), evenly spaced from start to end.
    """

    start: Place
    end: Place
    long: bool
    distance_km: float
    bearing_deg: float
    back_bearing_deg: float
    latitude_deg: FloatArray
    longitude_deg: FloatArray


@lru_cache(maxsize=4096)
def _inverse(lat1: float, lon1: float, lat2: float, lon2: float) -> tuple[float, float, float]:
    found = Geodesic.WGS84.Inverse(lat1, lon1, lat2, lon2)
    return found["s12"] / 1000.0, found["azi1"] % 360.0, (found["azi2"] + 180.0) % 360.0


def distance_km(start: Place, end: Place) -> float:
    """Length of the geodesic (Karney, J. Geodesy 87, 43, 2013, as geographiclib implements it)."""
    return _inverse(start.latitude_deg, start.longitude_deg, end.latitude_deg, end.longitude_deg)[0]


def route(start: Place, end: Place, long: bool = False) -> Route:
    """The geodesic, or the way round the other side.

    The long way is taken as the same great circle in the other direction: on an ellipsoid it closes within some
    20 km, which nothing here can tell.
    """
    return routes(start, [end])[int(long)]


def routes(start: Place, ends: Sequence[Place]) -> list[Route]:
    """First the geodesics to all, then the long ways to all."""
    found = [_inverse(start.latitude_deg, start.longitude_deg, end.latitude_deg, end.longitude_deg) for end in ends]
    short_km, bearing, back = np.array(found, dtype=np.float64).reshape(-1, 3).T
    short_km = np.maximum(short_km, NEAREST_KM)
    length_km = np.concatenate((short_km, CIRCUMFERENCE_KM - short_km))
    bearing, back = (np.concatenate((way, (way + 180.0) % 360.0)) for way in (bearing, back))
    latitude, longitude = _great_circle(start, bearing, length_km)
    names = [(end, long) for long in (False, True) for end in ends]
    numbers = zip(length_km.tolist(), bearing.tolist(), back.tolist(), strict=True)
    return [
        Route(start, end, long, *three, lat, lon)
        for (end, long), three, lat, lon in zip(names, numbers, latitude, longitude, strict=True)
    ]


def _great_circle(start: Place, bearing_deg: FloatArray, length_km: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Points on the sphere, (P, POINTS): for the ionosphere's maps their error of some kilometres is nothing."""
    angle = np.linspace(0.0, length_km / EARTH_KM, POINTS, axis=-1)
    lat, lon = np.radians((start.latitude_deg, start.longitude_deg))
    az = np.radians(bearing_deg)[:, None]
    sine = np.sin(lat) * np.cos(angle) + np.cos(lat) * np.sin(angle) * np.cos(az)
    latitude = np.arcsin(np.clip(sine, -1.0, 1.0))
    east = np.arctan2(np.sin(az) * np.sin(angle) * np.cos(lat), np.cos(angle) - np.sin(lat) * sine)
    longitude = (np.degrees(lon + east) + 180.0) % 360.0 - 180.0
    return np.degrees(latitude), longitude
