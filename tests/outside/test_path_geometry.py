"""Geodesics, locators and the sun against published figures and other libraries."""

from datetime import UTC, datetime, timedelta

import ephem
import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from hearmark.path.geodesic import CIRCUMFERENCE_KM, distance_km, route
from hearmark.path.places import Place, locator_of
from hearmark.path.sun import D_REGION_KM, common_twilight, day, dip_deg, zenith_deg

# Worked examples of GeographicLib's documentation (Karney: Python interface, and the manual of GeodSolve)
PUBLISHED = [
    (Place(-41.32, 174.81), Place(40.96, -5.50), 19_959.679267, None),
    (Place(40.6, -73.8), Place(51.6, -0.5), 5_551.7594, 51.198882845579),
]


@pytest.mark.parametrize(("start", "end", "length_km", "bearing_deg"), PUBLISHED)
def test_geodesics(start: Place, end: Place, length_km: float, bearing_deg: float | None) -> None:
    found = route(start, end)
    assert found.distance_km == pytest.approx(length_km, abs=1e-6 if bearing_deg is None else 1e-4)
    if bearing_deg is not None:
        assert found.bearing_deg == pytest.approx(bearing_deg, abs=1e-9)


def test_points_of_a_route_lie_on_the_geodesic_within_what_maps_can_tell() -> None:
    for start, end in ((Place(50.5, 11.0), Place(-33.5, 151.0)), (Place(60.0, -150.0), Place(35.0, 139.0))):
        found = route(start, end)
        line = Geodesic.WGS84.InverseLine(start.latitude_deg, start.longitude_deg, end.latitude_deg, end.longitude_deg)
        for share, lat, lon in zip(np.linspace(0, 1, 49), found.latitude_deg, found.longitude_deg, strict=True):
            exact = line.Position(share * line.s13)
            assert distance_km(Place(lat, lon), Place(exact["lat2"], exact["lon2"])) < 45.0


def test_the_long_path_goes_the_other_way_and_arrives() -> None:
    start, end = Place(50.5, 11.0), Place(-33.5, 151.0)
    short, long = route(start, end), route(start, end, long=True)
    assert short.distance_km + long.distance_km == pytest.approx(CIRCUMFERENCE_KM)
    assert (long.bearing_deg - short.bearing_deg) % 360.0 == pytest.approx(180.0)
    assert distance_km(Place(long.latitude_deg[-1], long.longitude_deg[-1]), end) < 45.0


# Examples that descriptions of the locator system use (from memory)
LOCATORS = [
    (48.14666, 11.60833, "JN58td"),
    (-34.91, -56.21166, "GF15vc"),
    (38.92, -77.065, "FM18lw"),
    (-41.28333, 174.745, "RE78ir"),
]


@pytest.mark.parametrize(("latitude", "longitude", "locator"), LOCATORS)
def test_locators(latitude: float, longitude: float, locator: str) -> None:
    assert locator_of(Place(latitude, longitude)) == locator


PLACES = [Place(50.5, 11.0), Place(-33.5, 151.0), Place(0.5, -78.0), Place(64.0, -22.0), Place(40.0, -105.0)]
DAYS = [datetime(2026, m, d, tzinfo=UTC) for m, d in ((1, 10), (3, 20), (6, 21), (9, 30), (12, 22))]


def _other(place: Place, horizon: str, rising: bool, start: datetime) -> datetime:
    """The same event by PyEphem (XEphem's routines), with the almanac's refraction of 34 minutes on the ground."""
    observer = ephem.Observer()
    observer.lat, observer.lon = np.radians(place.latitude_deg), np.radians(place.longitude_deg)
    observer.pressure, observer.date, observer.horizon = 0, ephem.Date(start.replace(tzinfo=None)), horizon
    find = observer.next_rising if rising else observer.next_setting
    return find(ephem.Sun(), use_center=horizon != "-0:34").datetime().replace(tzinfo=UTC)  # type: ignore[no-any-return]


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("start", DAYS)
def test_sunrise_twilight_and_light_in_the_d_region_within_20_s(place: Place, start: datetime) -> None:
    ours = day(place, start)
    depth = f"-{dip_deg(D_REGION_KM):.9f}"
    for event, horizon, rising in (
        (ours.rise, "-0:34", True), (ours.set, "-0:34", False), (ours.dawn, "-6", True), (ours.dusk, "-6", False),
        (ours.d_region_rise, depth, True), (ours.d_region_set, depth, False),
    ):  # fmt: skip
        if event is not None:
            assert abs((event - _other(place, horizon, rising, start)).total_seconds()) < 20.0


def test_the_sun_stays_up_or_down_near_the_poles() -> None:
    assert day(Place(80.0, 20.0), DAYS[2]).rise is None
    assert day(Place(80.0, 20.0), DAYS[4]).d_region_rise is None


def test_the_suns_height_within_a_fiftieth_of_a_degree() -> None:
    for place in PLACES:
        observer = ephem.Observer()
        observer.lat, observer.lon = np.radians(place.latitude_deg), np.radians(place.longitude_deg)
        observer.pressure = 0
        for start in DAYS:
            when = start + timedelta(hours=7.3)
            observer.date = ephem.Date(when.replace(tzinfo=None))
            height = np.degrees(float(ephem.Sun(observer).alt))
            ours = 90.0 - zenith_deg([place.latitude_deg], [place.longitude_deg], [when])[0, 0]
            assert abs(ours - height) < 0.02


def test_common_twilight_is_twilight_at_both_ends() -> None:
    here, there = Place(50.5, 11.0), Place(-33.5, -172.0)
    spans = common_twilight(here, there, datetime(2026, 1, 5, tzinfo=UTC))
    assert spans
    for a, b in spans:
        middle = a + (b - a) / 2
        heights = 90.0 - zenith_deg(
            [p.latitude_deg for p in (here, there)], [p.longitude_deg for p in (here, there)], [middle]
        )
        assert (np.abs(heights) <= 6.0).all()
