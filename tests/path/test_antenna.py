"""Antennas: patterns that textbooks give, and files of one's own."""

from pathlib import Path

import numpy as np
import pytest

from hearmark.errors import HearmarkError
from hearmark.path.antenna import KINDS, Antenna, read_antenna

ELEVATION = np.radians(np.arange(1.0, 90.0))


def test_a_dipole_half_a_wave_up_shines_at_thirty_degrees() -> None:
    gain = Antenna("dipole", 149.896 / 14.0).gain_dbi(ELEVATION, 14e6)
    assert np.degrees(ELEVATION[np.argmax(gain)]) == pytest.approx(28.0, abs=4.0)
    assert 6.5 < gain.max() < 8.2


def test_higher_is_lower() -> None:
    low, high = (Antenna("dipole", h).gain_dbi(np.radians(6.0), 14e6) for h in (8.0, 25.0))
    assert float(high) > float(low) + 5.0


def test_a_vertical_beats_a_low_dipole_near_the_horizon_on_a_low_band_only() -> None:
    vertical, dipole = Antenna("vertical"), Antenna("dipole", 10.0)
    assert vertical.gain_dbi(np.radians(15.0), 3.5e6) > dipole.gain_dbi(np.radians(15.0), 3.5e6)
    assert vertical.gain_dbi(np.radians(15.0), 28e6) < dipole.gain_dbi(np.radians(15.0), 28e6)
    usual = Antenna("usual").gain_dbi(np.radians(15.0), np.array([3.5e6, 28e6]))
    assert (usual >= vertical.gain_dbi(np.radians(15.0), np.array([3.5e6, 28e6]))).all()


@pytest.mark.parametrize("kind", KINDS)
def test_no_antenna_gives_more_power_than_it_gets(kind: str) -> None:
    """Mean gain over the upper half of the sphere, from 3 degrees up: at most 3 dB, for the lower half gets nothing; a
    beam's gain is in one direction only and says nothing of its mean."""
    gain = 10.0 ** (Antenna(kind).gain_dbi(ELEVATION, 14e6) / 10.0)
    mean = float((gain * np.cos(ELEVATION)).sum() / np.cos(ELEVATION).sum())
    if kind in ("isotropic", "vertical", "halfwave"):
        assert mean <= 2.0


def test_own_tables_are_read(tmp_path: Path) -> None:
    path = tmp_path / "mine.csv"
    path.write_text("elevation_deg,gain_dbi\n0,-10\n20,6\n90,-3\n")
    antenna = read_antenna(str(path))
    assert float(antenna.gain_dbi(np.radians(10.0), 14e6)) == pytest.approx(-2.0)
    path.write_text("nothing\n")
    with pytest.raises(HearmarkError, match="no antenna table"):
        read_antenna(str(path))
