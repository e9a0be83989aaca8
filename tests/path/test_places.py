"""Places as they are written."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hearmark.errors import HearmarkError
from hearmark.path.places import Place, locator_of, place_from_locator, read_place


@given(st.floats(-90.0, 90.0), st.floats(-180.0, 179.999), st.sampled_from([2, 4, 6, 8, 10]))
def test_a_place_lies_in_the_locator_that_is_made_of_it(latitude: float, longitude: float, size: int) -> None:
    middle = place_from_locator(locator_of(Place(latitude, longitude), size))
    high = {2: 10.0, 4: 1.0, 6: 1 / 24, 8: 1 / 240, 10: 1 / 5760}[size]
    assert abs(middle.latitude_deg - latitude) <= high / 2 + 1e-6
    assert abs(middle.longitude_deg - longitude) <= high + 1e-6


def test_coordinates_and_locators_are_read() -> None:
    assert read_place("50.5,-11.25") == Place(50.5, -11.25)
    assert read_place("10,350") == Place(10.0, -10.0)
    found = read_place("jo50")
    assert found is not None
    assert (found.latitude_deg, found.longitude_deg) == (50.5, 11.0)
    assert read_place("ZZ1A") is None


def test_a_place_that_cannot_be_is_named() -> None:
    with pytest.raises(HearmarkError, match="latitude -90 to 90"):
        read_place("95,10")
