"""Places from whatever is written."""

import pytest

from hearmark.log.whereabouts import find_place


@pytest.mark.parametrize(
    ("text", "latitude", "longitude"),
    [
        ("JO50", 50.5, 11.0),
        ("-33.5,151", -33.5, 151.0),
        ("VK2ZZZ", -36.0, 148.0),
        ("JA", 36.0, 138.0),
        ("japan", 36.0, 138.0),
    ],
)
def test_a_place_is_found(text: str, latitude: float, longitude: float) -> None:
    place = find_place(text)
    assert place is not None
    assert place.latitude_deg == pytest.approx(latitude, abs=5.0)
    assert place.longitude_deg == pytest.approx(longitude, abs=5.0)


@pytest.mark.parametrize("text", ["", "nowhere land", "?!", "12", "ZZ99", "zz00"])
def test_nothing_is_made_up(text: str) -> None:
    assert find_place(text) is None
