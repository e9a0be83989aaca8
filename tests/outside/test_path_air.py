"""Noise of P.372, and levels and openings against a day of measurements."""

import sys
from pathlib import Path

import numpy as np
import pytest

from hearmark.path import noise

sys.path.insert(0, str(Path(__file__).parents[2] / "bench"))
import path_openings as openings

# ITU-R P.372, figures of the medians at 14.1 MHz, dB over kT0
MEDIANS = {"city": 45.0, "residential": 40.7, "rural": 35.4, "quiet": 20.7, "galactic": 25.6}
MEASURED = Path(__file__).with_name("measured_openings.csv")


@pytest.mark.parametrize(("kind", "expected"), MEDIANS.items())
def test_noise_of_p372(kind: str, expected: float) -> None:
    assert float(noise.median_db(kind, 14.1e6)) == pytest.approx(expected, abs=0.06)


def _day() -> tuple[dict[float, np.ndarray], openings.Predicted, dict[float, dict[str, float]]]:
    """Measured levels, predicted ones, Peirce scores by need: of the prediction and of rules without physics."""
    day, receiver, head, measured = openings.read(MEASURED)
    ours = openings.predicted(day, receiver, openings.sunspots(head, day), "vertical", "city")
    mufs = openings.daytime_mufs(day, receiver, head)
    return measured, ours, {n: openings.pooled(measured, ours, receiver, mufs, n) for n in openings.NEEDS_DB_HZ}


def test_openings_against_measured_levels() -> None:
    """0.6 is what one would like at both; why 20 dB-Hz does not give it stands in docs/path.md."""
    _, _, scores = _day()
    assert scores[27.0]["path"] >= 0.60
    assert scores[27.0]["path, its mean"] >= 0.60
    assert scores[20.0]["path"] >= 0.33
    assert scores[20.0]["path, its mean"] >= 0.50
    for need in (20.0, 27.0):
        assert scores[need]["path"] > max(scores[need]["muf rule"], scores[need]["daily mean"])


def test_levels_near_the_threshold_of_hearing_within_the_published_error() -> None:
    """About 10 dB rms (CCIR Report 894-2 against data bank D1; Torres, IEEE Trans. Broadcasting, 1992)."""
    measured, ours, _ = _day()
    for mhz in (14.67, 15.0, 25.0):
        assert float(np.sqrt(np.nanmean((ours.level[mhz] - measured[mhz]) ** 2))) < 11.0
