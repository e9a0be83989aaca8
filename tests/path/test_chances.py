"""What must hold of any prediction, whatever the ionosphere's maps say."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest

from hearmark.errors import HearmarkError
from hearmark.path.chances import Chances, over_days, predict, spread
from hearmark.path.conditions import Conditions, Equipment
from hearmark.path.places import Place, place_from_locator

HERE = Place(50.5, 11.0)
THERE = [Place(52.0, 13.0), Place(41.5, -73.0), Place(-33.5, 151.0), Place(0.0, 30.0)]
TIMES = [datetime(2026, 6, 21, tzinfo=UTC) + timedelta(hours=3 * h) for h in range(8)]
BANDS_HZ = [1.83e6, 7.03e6, 14.05e6, 28.05e6]


def chances(sunspots: float = 90.0, kp: float | None = None, **own: float) -> Chances:
    return predict(HERE, THERE, TIMES, BANDS_HZ, Conditions(sunspots, kp), replace(Equipment(), **own))


def test_shapes_and_ranges() -> None:
    found = chances()
    for array in (found.probability, found.snr_db_hz, found.probability_both, found.long, found.mode):
        assert array.shape == (4, 8, 4)
    assert np.isfinite(found.snr_db_hz).all()
    assert (found.probability_low <= found.probability).all()
    assert (found.probability <= found.probability_high).all()
    assert (found.probability_high <= 1.0).all()
    assert found.muf_mhz.shape == (4, 8)


def test_the_chance_is_a_half_where_the_median_is_what_is_required() -> None:
    found = chances()
    sure = np.abs(found.snr_db_hz - found.required_db_hz) > 0.1
    assert np.array_equal((found.probability >= 0.5)[sure], (found.snr_db_hz >= found.required_db_hz)[sure])


def test_a_chance_holds_what_is_not_known_and_the_days_alone_are_surer() -> None:
    days, all_of_it = (f(np.array([[30.0]]), "residential") for f in (over_days, spread))
    for need in (10.0, 20.0, 40.0, 50.0):
        sure, unsure = float(days.probability(need)[0]), float(all_of_it.probability(need)[0])
        assert abs(unsure - 0.5) < abs(sure - 0.5)
        assert (unsure > 0.5) == (sure > 0.5)
    # 10 dB rms of the method, 5.8 / 1.2816 of the place (P.372), days and noise over time by hand
    assert all_of_it.upper_db == pytest.approx(np.sqrt(100.0 + (5.8**2 + 6.0**2 + 5.3**2) / 1.2816**2), rel=1e-3)


def test_more_power_never_lowers_the_chance_and_adds_as_many_decibels() -> None:
    weak, strong = chances(power_w=10.0), chances(power_w=1000.0)
    assert (strong.probability >= weak.probability).all()
    np.testing.assert_allclose(strong.snr_db_hz - weak.snr_db_hz, 20.0, atol=0.05)


def test_the_muf_rises_with_the_sunspots() -> None:
    mufs = [chances(sunspots).muf_mhz for sunspots in (10.0, 60.0, 110.0, 160.0)]
    assert all((b > a).all() for a, b in pairwise(mufs[:3]))
    # above 110 the layer hardly grows while it rises, and near the equator the MUF may stand still
    assert mufs[3].mean() > mufs[2].mean()
    assert (mufs[3] > 0.98 * mufs[2]).all()


def test_a_storm_lowers_the_muf_where_it_reaches() -> None:
    quiet, stormy = chances().muf_mhz, chances(kp=7.0).muf_mhz
    assert stormy[1].mean() < 0.9 * quiet[1].mean()
    assert (stormy <= quiet + 1e-9).all()


def test_neither_places_nor_times_nor_order_change_a_prediction() -> None:
    whole = chances()
    alone = predict(HERE, THERE[1:2], TIMES, BANDS_HZ[2:3], Conditions(90.0), Equipment())
    np.testing.assert_allclose(alone.snr_db_hz[0, :, 0], whole.snr_db_hz[1, :, 2], atol=0.02)


def test_the_way_there_and_back_are_one_path() -> None:
    there = predict(HERE, THERE[1:2], TIMES, BANDS_HZ, Conditions(90.0))
    back = predict(THERE[1], [HERE], TIMES, BANDS_HZ, Conditions(90.0))
    np.testing.assert_allclose(there.heard_db_hz, back.snr_db_hz, atol=1.5)


def test_the_same_place_and_the_other_end_of_the_world_are_no_trouble() -> None:
    found = predict(HERE, [HERE, Place(-50.5, -169.0)], TIMES, BANDS_HZ, Conditions(90.0))
    assert np.isfinite(found.snr_db_hz).all()
    assert found.snr_db_hz[0].min() > 60.0


@pytest.mark.parametrize("frequency_hz", [[], [0.5e6], [144e6], [float("nan")]])
def test_frequencies_out_of_reach_are_refused(frequency_hz: list[float]) -> None:
    with pytest.raises(HearmarkError, match=r"1\.5 to 60 MHz"):
        predict(HERE, THERE, TIMES, frequency_hz, Conditions(90.0))


@pytest.mark.parametrize(
    ("there", "month", "hour", "long"),
    [
        ("RF80", 3, 7, True), ("RF80", 3, 14, False), ("RF80", 10, 7, True), ("RF80", 10, 15, False),
        ("QF56", 3, 8, True), ("QF56", 3, 15, False), ("QF56", 10, 8, True), ("QF56", 10, 16, False),
    ],
)  # fmt: skip
def test_from_europe_to_the_antipodes_the_mornings_are_long_path(there: str, month: int, hour: int, long: bool) -> None:
    """New Zealand and eastern Australia on 20 m: long path in the European morning, short in the afternoon (common
    practice, no source)."""
    when = datetime(2026, month, 15, hour, tzinfo=UTC)
    found = predict(
        place_from_locator("JO50"), [place_from_locator(there)], [when], [14.1e6], Conditions(90.0)
    )  # fmt: skip
    assert bool(found.long[0, 0, 0]) is long
    assert float(found.probability[0, 0, 0]) > 0.4
