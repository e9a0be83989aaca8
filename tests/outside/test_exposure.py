"""Compliance distances against 47 CFR 1.1310 and a published row of OET Bulletin 65, Supplement B."""

import pytest

from hearmark.duplex.exposure import distance_m, exposures, limit_mw_cm2, mean_eirp_w

FOOT_M = 0.3048


@pytest.mark.parametrize(
    ("power_w", "controlled_ft", "general_ft"), [(1500.0, 287.0, 642.0), (500.0, 166.0, None)]
)  # fmt: skip
def test_published_row_for_144_mhz_and_24_dbi(power_w: float, controlled_ft: float, general_ft: float | None) -> None:
    found = exposures(144e6, mean_eirp_w(power_w, 24.0))
    assert found[0].distance_m / FOOT_M == pytest.approx(controlled_ft, abs=1.0)
    if general_ft is not None:
        assert found[1].distance_m / FOOT_M == pytest.approx(general_ft, abs=1.0)


@pytest.mark.parametrize(
    ("mhz", "controlled", "general"),
    [
        (1.0, 100.0, 100.0),
        (2.0, 100.0, 45.0),
        (3.0, 100.0, 20.0),
        (14.2, 4.463, 0.8927),
        (29.0, 1.070, 0.2140),
        (30.0, 1.0, 0.2),
        (144.0, 1.0, 0.2),
        (300.0, 1.0, 0.2),
        (435.0, 1.45, 0.29),
        (10_000.0, 5.0, 1.0),
    ],
)
def test_limits_of_the_rule(mhz: float, controlled: float, general: float) -> None:
    assert limit_mw_cm2(mhz * 1e6, "controlled") == pytest.approx(controlled, rel=1e-3)
    assert limit_mw_cm2(mhz * 1e6, "general") == pytest.approx(general, rel=1e-3)


def test_formula_of_the_bulletin() -> None:
    """S = 0.64 EIRP / (pi R²) with ground reflection, EIRP / (4 pi R²) without."""
    assert distance_m(1000.0, 0.1) == pytest.approx((0.64 * 1000.0 / (3.14159265 * 1.0)) ** 0.5)
    assert distance_m(1000.0, 0.1, 1.0) == pytest.approx((1000.0 / (4 * 3.14159265 * 1.0)) ** 0.5)
