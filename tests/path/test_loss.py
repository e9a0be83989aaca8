"""Losses: which way they go, and where they stop."""

import numpy as np
import pytest

from hearmark.path.depth import depth_factor, table
from hearmark.path.loss import (
    AURORAL_DB,
    above_muf_db,
    absorption_db,
    absorption_index,
    auroral_db,
    winter_anomaly,
)
from hearmark.path.sporadic import reflection_db


def test_night_absorbs_less_than_day_and_less_the_lower_the_sun() -> None:
    index = absorption_index(np.arange(0.0, 180.0, 5.0), 100.0)
    assert (np.diff(index) <= 0.0).all()
    assert index[-1] < 0.05 * index[0]
    assert index[-1] > 0.0


def test_absorption_falls_with_frequency_and_elevation_and_rises_with_the_sunspots() -> None:
    f, gyro = np.array([2.0, 4.0, 8.0, 16.0, 32.0]), np.array(1.4)
    low, high = (absorption_db(f, np.radians(e), np.array(1.0), gyro) for e in (5.0, 60.0))
    assert (np.diff(low) < 0.0).all()
    assert (low > high).all()
    assert float(absorption_index(30.0, 150.0)) > float(absorption_index(30.0, 10.0))
    # Lucas and Haydon's formula by hand: 677.2 sec(i) / ((8 + 1.4)^1.98 + 10.2), i = 29.5 degrees at 100 km
    assert high[2] == pytest.approx(677.2 / 0.8706 / (9.4**1.98 + 10.2), rel=1e-3)


def test_what_turns_back_low_meets_less_of_it() -> None:
    ratios = np.linspace(0.05, 0.99, 30)
    assert (np.diff(depth_factor(ratios)) > 0.0).all()
    assert 0.2 < float(depth_factor(0.25)) < 0.5
    assert float(depth_factor(0.99)) > 1.0
    assert len(table()[0]) == len(table()[1])


def test_above_the_muf_there_is_loss_and_it_ends() -> None:
    ratio = np.array([0.5, 1.0, 1.0001, 1.5, 2.0, 10.0])
    for layer, most in (("F2", 60.0), ("E", 58.0)):
        loss = above_muf_db(ratio, layer)
        assert loss[0] == loss[1] == 0.0
        assert (np.diff(loss[1:]) > 0.0).all()
        assert loss[-1] == most
    assert above_muf_db(ratio, "F2", 6000.0)[-1] == 80.0
    assert float(above_muf_db(np.array(1.5), "F2", 6000.0)) == 43.0


def test_winter_anomaly_is_in_the_winter_of_either_half() -> None:
    assert float(winter_anomaly(60.0, 12)) == pytest.approx(1.3)
    assert float(winter_anomaly(60.0, 6)) == 1.0
    assert float(winter_anomaly(-60.0, 6)) == pytest.approx(1.3)
    assert float(winter_anomaly(20.0, 12)) == 1.0


def test_auroral_table_is_whole_and_read_by_season_and_hour() -> None:
    assert {table.shape for table in AURORAL_DB.values()} == {(8, 8)}
    at = [np.array(x) for x in (62.0, 2.0, 55.0)]
    assert float(auroral_db(*at, 12, True)) == 5.3
    assert float(auroral_db(*at, 3, False)) == 6.7
    # the same month is summer in the south
    assert float(auroral_db(np.array(-62.0), np.array(2.0), np.array(-55.0), 12, True)) == 5.5
    assert float(auroral_db(np.array(30.0), np.array(2.0), np.array(25.0), 12, True)) == 0.0


def test_sporadic_e_reflects_better_the_denser_it_is() -> None:
    loss = reflection_db(28.0, np.array([2.0, 4.0, 8.0, 12.0]), 1500.0)
    assert (np.diff(loss) < 0.0).all()
    assert loss[-1] < 10.0 < loss[1]
