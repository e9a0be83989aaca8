"""The ionosphere against PyIRI as a whole, the MUF against traced rays, the tracer against a package for it."""

import csv
import sys
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import PyIRI
import pytest
from PyIRI import igrf_library as igrf
from PyIRI import main_library as iri
from PyRayHF.library import trace_ray_spherical_snells

from hearmark.path.ionosphere import ionosphere, solar_flux, sunspot_number
from hearmark.path.magnetic import FEW, field
from hearmark.path.muf import f2_muf_mhz
from hearmark.path.solar import old_scale

sys.path.insert(0, str(Path(__file__).parent))
from rays import ELEVATION_RAD, ground_km, muf_mhz

MHZ_SQUARED = 1.24e10
"""Electrons per cubic metre of a plasma frequency of 1 MHz."""


@pytest.mark.parametrize("coefficients", ["CCIR", "URSI"])
@pytest.mark.parametrize("month", [1, 4, 7, 10])
def test_maps_are_those_of_the_coefficients_own_package(coefficients: str, month: int) -> None:
    """PyIRI's own monthly means, at its reference level IG12 = 100, on the 15th.

    Ours are half a day further into the next month.
    """
    rng = np.random.default_rng(month)
    lat, lon = np.degrees(np.arcsin(rng.uniform(-1, 1, 40))), rng.uniform(-180, 180, 40)
    hours = np.array([0.0, 7.0, 13.0, 20.0])
    year = 2026
    theirs = iri.IRI_monthly_mean_par(year, month, hours, lon, lat, PyIRI.coeff_dir, int(coefficients == "URSI"))
    spots = float(iri.IG12_2_R12(100.0, version=1))
    times = [datetime(year, month, 15, int(h), tzinfo=UTC) for h in hours]
    ours = ionosphere(lat, lon, times, spots, coefficients)
    np.testing.assert_allclose(ours.fof2_mhz, np.maximum(theirs[0]["fo"][:, :, 1].T, 1.0), rtol=8e-3, atol=0.01)


def test_field_read_from_the_table_is_that_of_igrf() -> None:
    """IGRF 13 as PyIRI computes it, poles and date line included; the model itself is good to some 10 nT."""
    rng = np.random.default_rng(5)
    lat = np.degrees(np.arcsin(rng.uniform(-1, 1, 2000)))
    lon = rng.uniform(-180, 180, 2000)
    lat[:4], lon[:6] = (90.0, -90.0, 89.9, -89.9), (0.0, 77.0, 180.0, -180.0, 180.0, -180.0)
    assert len(lat) > FEW
    dip, high, low = field(2026.2, lat, lon)
    theirs = igrf.inclination(PyIRI.coeff_dir, 2026.2, lon, lat, 300.0, only_inc=False)
    np.testing.assert_allclose(dip, theirs[0], atol=1e-5)
    np.testing.assert_allclose(high, theirs[6], atol=0.01)
    below = igrf.inclination(PyIRI.coeff_dir, 2026.2, lon, lat, 100.0, only_inc=False)
    np.testing.assert_allclose(low, below[6], atol=0.01)


SUNSPOTS = {2012: (89, 90), 2013: (94, 107), 2014: (114, 107), 2015: (91, 60), 2016: (54, 31)}
"""12-month sunspot number in January and December, scale of 2015, rounded (from memory)."""


def test_fof2_against_another_implementation_of_iri() -> None:
    """IRI-2016 in Fortran, run once; its index is the observed one, ours a straight line through each year."""
    ratios = []
    with Path(__file__).with_name("iri_2016.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(line for line in file if not line.startswith("#")):
            year, month = int(row["year"]), int(row["month"])
            first, last = SUNSPOTS[year]
            spots = old_scale(first + (last - first) * (month - 1) / 11.0)
            times = [datetime(year, month, 15, int(row["hour"]), tzinfo=UTC)]
            ours = ionosphere([float(row["latitude_deg"])], [float(row["longitude_deg"])], times, spots, "URSI")
            ratios.append(ours.fof2_mhz[0, 0] / float(row["fof2_mhz"]))
    off = np.array(ratios) - 1.0
    assert len(off) == 40
    assert np.sqrt(np.mean(off**2)) < 0.06
    assert np.abs(off).max() < 0.15


def test_solar_indices_are_inverse_and_near_the_packages() -> None:
    for flux in (70.0, 120.0, 190.0):
        assert solar_flux(sunspot_number(flux)) == pytest.approx(flux, abs=0.01)
        assert sunspot_number(flux) == pytest.approx(float(iri.F107_2_R12(flux)), abs=1.5)


def _layers(index: int) -> tuple[np.ndarray, np.ndarray, list[np.ndarray]]:
    """PyIRI's profile at a random place, season, hour and activity: heights, plasma frequencies; foF2, M(3000), foE and
    the gyrofrequency."""
    rng = np.random.default_rng([7, index])
    lat, lon = np.degrees(np.arcsin(rng.uniform(-0.94, 0.94))), rng.uniform(-180, 180)
    height = np.arange(60.0, 700.0, 1.0)
    found = iri.IRI_density_1day(
        2026, int(rng.integers(1, 13)), 15, np.array([rng.uniform(0, 24)]), np.array([lon]), np.array([lat]), height,
        rng.uniform(70, 200), PyIRI.coeff_dir, 0,
    )  # fmt: skip
    plasma = np.sqrt(np.squeeze(found[6]) / MHZ_SQUARED)
    values = [np.squeeze(x) for x in (found[0]["fo"], found[0]["M3000"], found[2]["fo"])]
    gyro = ionosphere([lat], [lon], [datetime(2026, 1, 15, tzinfo=UTC)], 100.0).gyro_mhz[0]
    return np.concatenate(([0.0, 30.0], height)), np.concatenate(([0.0, 0.0], plasma)), [*values, gyro]


def test_muf_3000_against_rays_through_the_same_profile_at_50_places() -> None:
    """Within 10 % at each. The rays know no field; the formula's two terms for it nearly cancel at this distance."""
    ratios = []
    for index in range(50):
        height, plasma, layers = _layers(index)
        ours = float(f2_muf_mhz(3000.0, *layers))
        ratios.append(ours / muf_mhz(3000.0, height, plasma))
    assert np.abs(np.array(ratios) - 1.0).max() < 0.10
    assert abs(np.mean(ratios) - 1.0) < 0.05


def test_the_tracer_against_a_ray_tracing_package() -> None:
    """PyRayHF's Snell tracer over a round earth with the field set to next to nothing."""
    height, plasma, (fof2, *_) = _layers(3)
    density, none = plasma**2 * MHZ_SQUARED, np.full(len(height), 1e-12)
    for elevation_deg in (6.0, 12.0, 25.0):
        frequency = 1.4 * float(fof2)
        theirs = trace_ray_spherical_snells(frequency * 1e6, elevation_deg, height, density, none, none)
        ours = ground_km(frequency, np.radians([elevation_deg]), height, plasma)[0]
        assert ours == pytest.approx(float(theirs["ground_range_km"]), rel=0.02)


def test_a_ray_above_all_comes_down_nowhere() -> None:
    height, plasma, (fof2, *_) = _layers(0)
    assert np.isinf(ground_km(20.0 * float(fof2), ELEVATION_RAD, height, plasma)).all()
