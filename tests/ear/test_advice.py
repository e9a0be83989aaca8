"""Where to call: the chance, what is forbidden, and that the recommendation does not hop."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from hearmark.ear.advice import Surroundings, advice, chances, chosen, covered, may_send, recommend, rivals
from hearmark.ear.cue import Cued
from hearmark.errors import HearmarkError
from hearmark.events import Allowed, Ear, FloatArray, Mode

LOW, HIGH, DX = 14_025_000.0, 14_029_000.0, 14_023_000.0
GRID = np.arange(LOW - 500.0, HIGH + 501.0, 50.0)
AROUND = Surroundings(mode="cw", dx_hz=DX)


def ear_at(*places: tuple[float, float]) -> Ear:
    """An ear with humps of 120 Hz at (offset from LOW, share)."""
    density = np.full(len(GRID), 0.02)
    for offset_hz, share in places:
        density += share * norm.pdf(GRID, LOW + offset_hz, 120.0) * 4_000.0
    return Ear(0.0, GRID, density / (density.sum() * 50.0), "stays near 14026.0 kHz, 80 %")


def crowd(*offsets_hz: float) -> tuple[FloatArray, FloatArray]:
    """Activity of one CW caller of 20 dB on each offset."""
    grid = np.arange(LOW - 1_000.0, HIGH + 1_000.0, 25.0)
    level = np.zeros(len(grid))
    for offset_hz in offsets_hz:
        level[np.abs(grid - LOW - offset_hz) <= 50.0] = 20.0
    return grid, level


def with_crowd(*offsets_hz: float) -> Surroundings:
    grid, level = crowd(*offsets_hz)
    return replace(AROUND, activity_hz=grid, activity_db=level)


@pytest.mark.parametrize("others", [0, 1, 4, 12])
def test_among_equals_each_is_picked_alike(others: int) -> None:
    assert chosen(np.array([float(others)]), 0.0)[0] == pytest.approx(1.0 / (others + 1), rel=0.06)


def test_the_stronger_is_picked_more_often_as_drawn_by_lot() -> None:
    draws = np.random.default_rng(1).normal(0.0, 8.0, (40_000, 5))
    lots = np.mean(draws[:, 0] + 10.0 > draws[:, 1:].max(axis=1))
    assert chosen(np.array([4.0]), 10.0)[0] == pytest.approx(lots, abs=0.02)


def test_rivals_are_counted_within_his_passband() -> None:
    count = rivals(np.array([LOW + 1_000.0, LOW + 3_000.0]), with_crowd(900.0, 1_000.0 + 150.0, 2_000.0))
    assert count[0] == pytest.approx(2.0, abs=0.6)
    assert count[1] < 0.2


def test_calls_where_he_listens() -> None:
    place = recommend(ear_at((1_000.0, 0.8), (3_000.0, 0.2)), with_crowd(1_000.0, 3_000.0))
    assert place.transmit_hz == pytest.approx(LOW + 1_000.0, abs=150.0)
    assert place.alternative_hz == pytest.approx(LOW + 3_000.0, abs=200.0)
    assert place.success_per_call is not None
    assert 0.05 < place.success_per_call < 0.6


def test_of_two_places_alike_the_empty_one() -> None:
    place = recommend(ear_at((1_000.0, 0.5), (3_000.0, 0.5)), with_crowd(900.0, 950.0, 1_050.0, 1_150.0))
    assert place.transmit_hz == pytest.approx(LOW + 3_000.0, abs=200.0)
    assert "hardly anybody calls there" in place.why


def test_chance_is_a_probability_and_falls_with_the_crowd() -> None:
    ear = ear_at((1_000.0, 0.9))
    alone, crowded = chances(ear, with_crowd()), chances(ear, with_crowd(900.0, 1_000.0, 1_100.0))
    assert np.all((alone >= 0.0) & (alone <= 1.0))
    at = int(np.argmax(alone))
    assert crowded[at] < 0.5 * alone[at]


def test_never_on_top_of_the_dx_nor_of_an_exchange() -> None:
    around = replace(AROUND, dx_hz=LOW + 800.0, running_hz=(LOW + 3_000.0,))
    chance = chances(ear_at((900.0, 0.6), (3_000.0, 0.4)), around)
    assert np.all(chance[np.abs(GRID - LOW - 800.0) < 1_000.0] == 0.0)
    assert np.all(chance[np.abs(GRID - LOW - 3_000.0) < 250.0] == 0.0)
    assert chance.max() > 0.0


def test_voice_keeps_three_kilohertz_from_the_dx() -> None:
    around = Surroundings(mode="usb", dx_hz=LOW)
    assert list(may_send(np.array([LOW + 2_900.0, LOW + 3_100.0, LOW - 2_900.0]), around)) == [0.0, 1.0, 0.0]


def test_only_where_the_licence_allows() -> None:
    allowed = Allowed(((LOW + 2_000.0, LOW + 5_000.0),), True, "class of the licence")
    place = recommend(ear_at((1_000.0, 0.9)), replace(AROUND, allowed=allowed))
    assert place.transmit_hz is not None
    assert place.transmit_hz >= LOW + 2_000.0
    assert np.all(place.chance[GRID < LOW + 2_000.0] == 0.0)
    assert "licence is not known" not in place.why


def test_rounding_never_leaves_what_is_allowed() -> None:
    allowed = Allowed(((LOW + 1_003.0, LOW + 1_057.0),), True, "narrow")
    place = recommend(ear_at((1_000.0, 0.9)), replace(AROUND, allowed=allowed))
    assert place.transmit_hz is not None
    assert LOW + 1_003.0 <= place.transmit_hz <= LOW + 1_057.0


def test_an_unknown_licence_is_said() -> None:
    assert "licence is not known" in recommend(ear_at((1_000.0, 0.9)), AROUND).why
    unknown = Allowed((), False, "no class set")
    place = recommend(ear_at((1_000.0, 0.9)), replace(AROUND, allowed=unknown))
    assert place.transmit_hz is not None
    assert "licence is not known" in place.why


def test_nowhere_to_call_gives_a_reason_instead_of_a_place() -> None:
    nothing = Allowed((), True, "no transmission on this band")
    place = recommend(ear_at((1_000.0, 0.9)), replace(AROUND, allowed=nothing))
    assert (place.transmit_hz, place.success_per_call, place.alternative_hz) == (None, None, None)
    assert "no transmission on this band" in place.why


def test_holds_its_place_for_a_small_gain_and_leaves_it_for_a_large_one() -> None:
    around = with_crowd()
    held = recommend(ear_at((1_000.0, 0.5), (3_000.0, 0.48)), around).transmit_hz
    assert held == pytest.approx(LOW + 1_000.0, abs=150.0)
    assert recommend(ear_at((1_000.0, 0.485), (3_000.0, 0.495)), around, held).transmit_hz == held
    assert recommend(ear_at((1_000.0, 0.3), (3_000.0, 0.7)), around, held).transmit_hz == pytest.approx(
        LOW + 3_000.0, abs=150.0
    )


def test_a_held_place_that_is_no_longer_allowed_is_left() -> None:
    ear = ear_at((1_000.0, 0.9))
    held = recommend(ear, AROUND).transmit_hz
    assert held is not None
    assert recommend(ear, replace(AROUND, running_hz=(held,)), held).transmit_hz != held


def test_advice_joins_place_and_cue() -> None:
    place = recommend(ear_at((1_000.0, 0.9)), AROUND)
    event = advice(12.0, place, Cued("call", "he listens", 0.9))
    assert (event.cue, event.transmit_hz, event.cue_probability) == ("call", place.transmit_hz, 0.9)
    assert event.why.startswith("he listens; stays near")
    assert advice(12.0, place, Cued("wait", "he is sending", 1.0)).why == "he is sending"


def test_uneven_arrays_are_refused() -> None:
    with pytest.raises(HearmarkError, match="one equal length"):
        rivals(GRID, replace(AROUND, activity_hz=np.zeros(3), activity_db=np.zeros(4)))


@pytest.mark.parametrize(("mode", "sign"), [("usb", 1.0), ("lsb", -1.0)])
def test_voices_are_counted_where_their_carriers_are(mode: Mode, sign: float) -> None:
    carrier_hz = LOW + 2_000.0
    grid = np.arange(LOW - 4_000.0, HIGH + 4_000.0, 15.625)
    pitch_hz = sign * (grid - carrier_hz)
    level = np.where((pitch_hz > 300.0) & (pitch_hz < 1_200.0), 15.0, 0.0)
    around = replace(AROUND, mode=mode, activity_hz=grid, activity_db=level)
    places = carrier_hz + np.array([-2_500.0, -1_500.0, 0.0, 1_500.0, 2_500.0])
    here, beside = rivals(places, around), covered(places, around)
    assert int(np.argmax(here)) == int(np.argmax(beside)) == 2
    assert here[2] == pytest.approx(1.2, abs=0.4)
    assert beside[1] == pytest.approx(beside[3], rel=0.5)


def test_where_the_last_one_was_answered_others_will_be() -> None:
    ear = ear_at((1_000.0, 0.9))
    busy = with_crowd(*range(0, 4_000, 250))
    at = int(np.argmin(np.abs(GRID - LOW - 1_000.0)))
    before, after = chances(ear, busy), chances(ear, replace(busy, last_hz=LOW + 1_000.0))
    assert after[at] < 0.9 * before[at]
    assert after[at + 20] == pytest.approx(before[at + 20], rel=0.05)
    place = recommend(ear, replace(busy, last_hz=LOW + 1_000.0))
    assert place.transmit_hz is not None
    assert 40.0 < abs(place.transmit_hz - LOW - 1_000.0) < 300.0


def test_places_of_ones_own_spread_over_where_he_may_listen() -> None:
    ear = ear_at((1_000.0, 0.6), (3_000.0, 0.4))
    drawn = [recommend(ear, AROUND, own_place=own, spread=True).transmit_hz for own in np.linspace(0.01, 0.99, 50)]
    offsets = np.array([place for place in drawn if place is not None]) - LOW
    assert len(offsets) == 50
    assert 0.4 < np.mean(offsets < 2_000.0) < 0.75
    assert len(set(np.round(offsets / 50.0))) > 10


def test_places_of_ones_own_are_as_good_as_the_best_where_nobody_follows() -> None:
    ear = ear_at((1_000.0, 0.6), (3_000.0, 0.4))
    best = recommend(ear, AROUND)
    drawn = [recommend(ear, AROUND, own_place=own) for own in np.linspace(0.0, 1.0, 40)]
    offsets = np.array([place.transmit_hz for place in drawn if place.transmit_hz is not None]) - LOW
    assert len(offsets) == 40
    assert len(set(offsets)) >= 3
    assert np.all(np.abs(offsets - 1_000.0) < 400.0)
    assert best.success_per_call is not None
    assert min(place.success_per_call or 0.0 for place in drawn) >= 0.9 * best.success_per_call


def test_he_picks_among_all_in_his_passband_and_those_close_to_us_count_more() -> None:
    ear = ear_at((2_000.0, 0.95))
    at = int(np.argmin(np.abs(GRID - LOW - 2_000.0)))
    empty, apart, close, outside = (
        chances(ear, with_crowd(*offsets))[at]
        for offsets in ((), (1_850.0, 2_150.0), (1_940.0, 2_060.0), (1_400.0, 2_600.0))
    )
    assert close < apart < 0.75 * empty
    assert outside > 0.9 * empty
