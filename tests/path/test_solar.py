"""The sun's activity: by figure, by the shipped table, by a file."""

from datetime import date
from pathlib import Path

import pytest

from hearmark.errors import HearmarkError
from hearmark.path.solar import from_flux, from_table, old_scale


def test_the_shipped_table_rises_to_its_peak_and_falls() -> None:
    low, peak, later = (from_table(date(year, 10, 1)) for year in (2020, 2024, 2028))
    assert low < later < peak
    assert peak == pytest.approx(old_scale(160.0), rel=0.02)
    assert from_table(date(1990, 1, 1)) == from_table(date(2019, 12, 10))


def test_a_table_of_ones_own(tmp_path: Path) -> None:
    path = tmp_path / "cycle.csv"
    path.write_text("# mine\nmonth,sunspots\n2026-01,100\n2026-12,50\n")
    assert from_table(date(2026, 1, 16), path) == pytest.approx(70.0, abs=0.3)
    path.write_text("month,sunspots\n2026-12,100\n2026-01,50\n")
    with pytest.raises(HearmarkError, match="in order"):
        from_table(date(2026, 1, 16), path)
    with pytest.raises(HearmarkError, match="no table of the solar cycle"):
        from_table(date(2026, 1, 16), tmp_path / "none.csv")


def test_flux_out_of_range() -> None:
    assert from_flux(150.0) > from_flux(100.0)
    with pytest.raises(HearmarkError, match="60 to 400"):
        from_flux(20.0)
