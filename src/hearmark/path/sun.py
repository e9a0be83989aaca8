"""The sun over a place: its height at any moment, rise and set on the ground and in the D region, common twilight."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
import numpy.typing as npt

from hearmark.path.geodesic import EARTH_KM
from hearmark.path.places import Place

FloatArray = npt.NDArray[np.float64]
D_REGION_KM = 90.0
HORIZON_DEG = 90.0 + 50.0 / 60.0
"""The sun's middle at rise and set: 16' of disc and 34' of refraction (Astronomical Almanac; from memory)."""
CIVIL_DEG = 6.0
"""The sun's depth below the horizon that ends civil twilight; the grey line here is between sunrise and this."""


def subsolar_deg(times: list[datetime]) -> tuple[FloatArray, FloatArray]:
    """Latitude and longitude where the sun is overhead, degrees, shape (times,).

    The Astronomical Almanac's low-precision formula: 0.01 degree between 1950 and 2050 (from memory; tests hold it
    against an astronomy library).
    """
    days = np.array([(t - datetime(2000, 1, 1, 12, tzinfo=UTC)).total_seconds() / 86_400.0 for t in times])
    mean_longitude = 280.460 + 0.9856474 * days
    anomaly = np.radians(357.528 + 0.9856003 * days)
    ecliptic = np.radians(mean_longitude + 1.915 * np.sin(anomaly) + 0.020 * np.sin(2 * anomaly))
    obliquity = np.radians(23.439 - 4e-7 * days)
    declination = np.arcsin(np.sin(obliquity) * np.sin(ecliptic))
    ascension = np.degrees(np.arctan2(np.cos(obliquity) * np.sin(ecliptic), np.cos(ecliptic)))
    sidereal = 280.46062 + 360.98564737 * days
    return np.degrees(declination), (ascension - sidereal + 180.0) % 360.0 - 180.0


def zenith_deg(latitude_deg: npt.ArrayLike, longitude_deg: npt.ArrayLike, times: list[datetime]) -> FloatArray:
    """The sun's distance from the zenith, degrees, without refraction: shape of the places + (times,)."""
    sun_lat, sun_lon = subsolar_deg(times)
    lat = np.radians(np.asarray(latitude_deg, dtype=np.float64))[..., None]
    lon = np.asarray(longitude_deg, dtype=np.float64)[..., None]
    sun = np.radians(sun_lat)
    cosine = np.sin(lat) * np.sin(sun) + np.cos(lat) * np.cos(sun) * np.cos(np.radians(lon - sun_lon))
    return np.asarray(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))


def dip_deg(height_km: float) -> float:
    """How far below the horizon the sun still lights the air `height_km` above, degrees, without refraction."""
    return float(np.degrees(np.arccos(EARTH_KM / (EARTH_KM + height_km))))


def light(zenith_deg: float) -> str:
    """What the sun does at this distance from the zenith: day, twilight (it lights the D region still), or night.

    The disc's upper limb and 34' of refraction count, as for rise and set.
    """
    if zenith_deg < HORIZON_DEG:
        return "day"
    return "twilight" if zenith_deg < 90.0 + dip_deg(D_REGION_KM) else "night"


@dataclass(frozen=True, slots=True)
class Day:
    """Sun events in the 24 h after a moment, UTC; None if there is none.

    `rise`, `set`: upper limb with the usual 34' of refraction. `d_region_rise`, `d_region_set`: first and last light
    90 km above. `dawn`, `dusk`: civil twilight.
    """

    rise: datetime | None
    set: datetime | None
    dawn: datetime | None
    dusk: datetime | None
    d_region_rise: datetime | None
    d_region_set: datetime | None


def day(place: Place, start: datetime) -> Day:
    """Sun events at the place from `start` on."""
    import astronomy

    observer = astronomy.Observer(place.latitude_deg, place.longitude_deg, 0.0)
    begin = astronomy.Time.Make(start.year, start.month, start.day, start.hour, start.minute, float(start.second))

    def utc(time: object) -> datetime | None:
        found = None if time is None else time.Utc().replace(tzinfo=UTC)  # type: ignore[attr-defined]
        return found

    def rise_set(rising: bool) -> datetime | None:
        direction = astronomy.Direction.Rise if rising else astronomy.Direction.Set
        return utc(astronomy.SearchRiseSet(astronomy.Body.Sun, observer, direction, begin, 1.0))

    def crossing(rising: bool, altitude_deg: float) -> datetime | None:
        direction = astronomy.Direction.Rise if rising else astronomy.Direction.Set
        return utc(astronomy.SearchAltitude(astronomy.Body.Sun, observer, direction, begin, 1.0, altitude_deg))

    depth = -dip_deg(D_REGION_KM)
    return Day(
        rise_set(True), rise_set(False),
        crossing(True, -CIVIL_DEG), crossing(False, -CIVIL_DEG),
        crossing(True, depth), crossing(False, depth),
    )  # fmt: skip


def common_twilight(here: Place, there: Place, start: datetime) -> list[tuple[datetime, datetime]]:
    """Spans in the next 24 h when both ends lie in civil twilight or within it of sunrise or sunset: the grey line.

    Both suns between 6 degrees below and 6 degrees above the horizon; to the minute.
    """
    times = [start + timedelta(minutes=m) for m in range(24 * 60 + 1)]
    lat = [here.latitude_deg, there.latitude_deg]
    lon = [here.longitude_deg, there.longitude_deg]
    low = np.abs(90.0 - zenith_deg(lat, lon, times)) <= CIVIL_DEG
    both = np.concatenate(([False], low.all(axis=0), [False]))
    edges = np.flatnonzero(both[1:] != both[:-1])
    return [(times[a], times[min(b, 24 * 60)]) for a, b in zip(edges[::2], edges[1::2], strict=True)]
