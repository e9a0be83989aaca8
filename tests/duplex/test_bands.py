"""The one table of bands and what is read from it."""

from itertools import pairwise

import pytest

from hearmark.duplex.bands import BANDS, EDGES_HZ, band_name, band_named, band_of
from hearmark.path.bands import BANDS as PREDICTED


def test_bands_ascend_and_do_not_overlap() -> None:
    assert len(EDGES_HZ) == len(BANDS) > 30
    assert all(lower.high_hz <= higher.low_hz for lower, higher in pairwise(BANDS))


@pytest.mark.parametrize(
    ("frequency_hz", "name"),
    [(14.0e6, "20m"), (14.35e6, "20m"), (14.3501e6, ""), (13.9e6, ""), (0.0, ""), (1e15, "")],
)
def test_edges_belong_to_the_band(frequency_hz: float, name: str) -> None:
    assert band_name(frequency_hz) == name
    assert band_of(frequency_hz) == band_named(name)


def test_where_two_bands_touch_the_lower_one_counts() -> None:
    assert band_named("6m") == band_of(54e6)
    assert band_name(54e6 + 1.0) == "5m"


def test_predicted_bands_are_those_of_the_table_with_a_frequency_inside() -> None:
    for name, (low_hz, high_hz, middle_hz) in PREDICTED.items():
        assert EDGES_HZ[name.replace(" ", "")] == (low_hz, high_hz)
        assert low_hz < middle_hz < high_hz
