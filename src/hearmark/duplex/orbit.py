"""Where a satellite stands in the sky of a place, how it moves there, and when it passes.

SGP4 (Hoots and Roehrich, Spacetrack Report #3, 1980; Vallado et al., AIAA 2006-6753) gives positions in the TEME frame;
the turn to the Earth is by sidereal time (IAU 1982). UT1 is taken as UTC, polar motion and refraction are left out:
under 0.01 degrees for low orbits, far below what pointing an antenna needs.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
import numpy.typing as npt

from hearmark.duplex.elements import Elements
from hearmark.errors import HearmarkError

FloatArray = npt.NDArray[np.float64]
EARTH_KM, FLATTENING = 6_378.137, 1.0 / 298.257223563
"""WGS 84."""
EARTH_TURN_RAD_S = 7.292_115_146_7e-5
LIGHT_KM_S = 299_792.458
STEP_S = 20.0


@dataclass(frozen=True, slots=True)
class Sky:
    """The satellite as seen from a place, one value for each time: degrees, kilometres, kilometres a second.

    `rate_km_s`: of the range; positive while it recedes.
    """

    azimuth_deg: FloatArray
    elevation_deg: FloatArray
    range_km: FloatArray
    rate_km_s: FloatArray


@dataclass(frozen=True, slots=True)
class Pass:
    """One pass: UTC times and directions of rise, culmination and set."""

    name: str
    rise: datetime
    culmination: datetime
    set: datetime
    rise_azimuth_deg: float
    top_azimuth_deg: float
    set_azimuth_deg: float
    top_elevation_deg: float
    age_days: float


def julian(start: datetime, seconds: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Julian date in two parts, whole or half days and the rest, for seconds after `start` (UTC)."""
    since_s = (start.astimezone(UTC) - datetime(1970, 1, 1, tzinfo=UTC)).total_seconds()
    total_s = since_s + np.atleast_1d(np.asarray(seconds, dtype=np.float64))
    days = np.floor(total_s / 86_400.0)
    return 2_440_587.5 + days, (total_s - days * 86_400.0) / 86_400.0


def sidereal_rad(day: FloatArray, part: FloatArray) -> FloatArray:
    """Greenwich mean sidereal time (IAU 1982) in radians; UT1 taken as UTC."""
    t = (day - 2_451_545.0 + part) / 36_525.0
    seconds = 67_310.54841 + (876_600.0 * 3600.0 + 8_640_184.812866) * t + 0.093104 * t**2 - 6.2e-6 * t**3
    return np.asarray(np.radians(seconds % 86_400.0 / 240.0))


def observer_km(latitude_deg: float, longitude_deg: float, height_m: float = 0.0) -> FloatArray:
    """Earth-fixed position of a place, shape (3,)."""
    latitude, longitude = np.radians(latitude_deg), np.radians(longitude_deg)
    e2 = FLATTENING * (2.0 - FLATTENING)
    normal = EARTH_KM / np.sqrt(1.0 - e2 * np.sin(latitude) ** 2)
    out = (normal + height_m / 1e3) * np.cos(latitude)
    up = (normal * (1.0 - e2) + height_m / 1e3) * np.sin(latitude)
    return np.array([out * np.cos(longitude), out * np.sin(longitude), up])


def sky(
    elements: Elements,
    latitude_deg: float,
    longitude_deg: float,
    start: datetime,
    seconds: npt.ArrayLike,
    height_m: float = 0.0,
) -> Sky:
    """What is seen at each of `seconds` after `start`, shape (n,). Raises HearmarkError if there is no orbit then."""
    day, part = julian(start, seconds)
    error, position, velocity = elements.model.sgp4_array(day, part)
    if np.any(error):
        raise HearmarkError(
            f"The elements of {elements.name} give no orbit for that time: it has decayed, or they are too far from it."
        )
    turn = sidereal_rad(day, part)
    cos, sin = np.cos(turn), np.sin(turn)

    def fixed(vector: FloatArray) -> FloatArray:
        x, y, z = vector.T
        return np.stack([cos * x + sin * y, cos * y - sin * x, z], axis=1)

    at = fixed(position)
    moves = fixed(velocity) - EARTH_TURN_RAD_S * np.stack([-at[:, 1], at[:, 0], np.zeros(len(at))], axis=1)
    away = at - observer_km(latitude_deg, longitude_deg, height_m)
    range_km = np.linalg.norm(away, axis=1)
    latitude, longitude = np.radians(latitude_deg), np.radians(longitude_deg)
    east = np.array([-np.sin(longitude), np.cos(longitude), 0.0])
    north = np.array([-np.sin(latitude) * np.cos(longitude), -np.sin(latitude) * np.sin(longitude), np.cos(latitude)])
    up = np.array([np.cos(latitude) * np.cos(longitude), np.cos(latitude) * np.sin(longitude), np.sin(latitude)])
    return Sky(
        azimuth_deg=np.degrees(np.arctan2(away @ east, away @ north)) % 360.0,
        elevation_deg=np.degrees(np.arcsin(np.clip(away @ up / range_km, -1.0, 1.0))),
        range_km=range_km,
        rate_km_s=np.einsum("ij,ij->i", away, moves) / range_km,
    )


def passes(
    elements: Elements,
    latitude_deg: float,
    longitude_deg: float,
    start: datetime,
    hours: float = 24.0,
    least_deg: float = 0.0,
    height_m: float = 0.0,
) -> list[Pass]:
    """Passes that culminate between `start` and `hours` later, at least `least_deg` high, in order.

    Rise and set are on the horizon, to a tenth of a second; a satellite that does not set within the time is told with
    the edge of the time as its set.
    """
    from scipy.optimize import brentq, minimize_scalar

    margin_s = 0.0
    span_s = hours * 3600.0
    seconds = np.arange(-margin_s, span_s + STEP_S, STEP_S)

    def height(at_s: float) -> float:
        return float(sky(elements, latitude_deg, longitude_deg, start, at_s, height_m).elevation_deg[0])

    heights = sky(elements, latitude_deg, longitude_deg, start, seconds, height_m).elevation_deg
    # a low pass between two samples shows as a peak below the horizon: look at every peak that may reach it
    peak = np.flatnonzero((heights[1:-1] >= heights[:-2]) & (heights[1:-1] > heights[2:])) + 1
    found: list[Pass] = []
    for k in (k for k in peak if heights[k] > least_deg - 5.0):
        best = minimize_scalar(lambda s: -height(s), bounds=(seconds[k - 1], seconds[k + 1]), method="bounded",
                               options={"xatol": 0.05})  # fmt: skip
        top_s, top_deg = float(best.x), -float(best.fun)
        if top_deg < max(least_deg, 0.0):
            continue
        before = np.flatnonzero(heights[:k] < 0.0)
        after = np.flatnonzero(heights[k:] < 0.0)
        # brackets on both sides: a sample below the horizon and the culmination above it
        rise_s = float(brentq(height, seconds[before[-1]], top_s, xtol=0.05)) if len(before) else float(seconds[0])
        set_s = float(brentq(height, top_s, seconds[k + after[0]], xtol=0.05)) if len(after) else float(seconds[-1])
        at = sky(elements, latitude_deg, longitude_deg, start, [rise_s, top_s, set_s], height_m)
        rise, top, down = (start + timedelta(seconds=s) for s in (rise_s, top_s, set_s))
        azimuth = [float(a) for a in at.azimuth_deg]
        found.append(
            Pass(elements.name, rise, top, down, azimuth[0], azimuth[1], azimuth[2], top_deg, elements.age_days(top))
        )
    return found
