"""The belief: what must hold always, that each habit is learned, that wrong marks do not capture it."""

import numpy as np
import pytest

from hearmark.ear import belief as belief_module
from hearmark.ear.belief import KEEP_EVERY, KEEP_RECORD, Belief
from hearmark.errors import HearmarkError
from hearmark.events import Answer

LOW, HIGH = 14_025_000.0, 14_029_000.0
SCATTER_HZ = 80.0


def fresh() -> Belief:
    return Belief(LOW, HIGH, "cw", dx_hz=14_023_000.0)


def fed(offsets_hz: list[float], seed: int = 1, confidence: float = 0.9) -> Belief:
    """A belief after marks at LOW + offset, with a little scatter."""
    rng = np.random.default_rng(seed)
    belief = fresh()
    for turn, offset_hz in enumerate(offsets_hz):
        belief = belief.mark(15.0 * turn, LOW + offset_hz + rng.normal(0.0, SCATTER_HZ), confidence)
    return belief


def near(belief: Belief, offset_hz: float, reach_hz: float = 250.0) -> float:
    """Probability of an answer within `reach_hz` of LOW + offset."""
    grid = belief.frequency_hz
    inside = np.abs(grid - LOW - offset_hz) <= reach_hz
    return float(belief.density_per_hz()[inside].sum() * (grid[1] - grid[0]))


@pytest.mark.parametrize("window", [(7_010_000.0, 7_012_000.0), (14_205_000.0, 14_225_000.0)])
@pytest.mark.parametrize("seed", [1, 2])
def test_density_is_a_density_whatever_comes(window: tuple[float, float], seed: int) -> None:
    rng = np.random.default_rng(seed)
    belief = Belief(*window, "usb")
    for turn in range(25):
        kind = rng.random()
        if kind < 0.2:
            belief = belief.missed(10.0 * turn)
        elif kind < 0.3:
            belief = belief.note(str(rng.choice(["going up", "stays", "two spots", "jumps"])), 10.0 * turn)
        elif kind < 0.35:
            belief = belief.window(window[0] + 500.0, window[1] + 2_000.0, 10.0 * turn)
        else:
            place = rng.uniform(window[0] - 5_000.0, window[1] + 5_000.0)
            belief = belief.mark(10.0 * turn, place, float(rng.random()))
        ear = belief.ear(10.0 * turn)
        step_hz = np.diff(ear.frequency_hz)
        assert np.allclose(step_hz, step_hz[0])
        assert np.all(ear.density_per_hz > 0.0)
        assert ear.density_per_hz.sum() * step_hz[0] == pytest.approx(1.0, abs=1e-6)
        assert sum(ear.habit_weights.values()) == pytest.approx(1.0, abs=1e-6)
        assert all(0.0 <= share <= 1.0 for share in ear.habit_weights.values())


def test_with_nothing_told_the_window_is_level_and_holds_most() -> None:
    belief = fresh()
    inside = (belief.frequency_hz >= LOW + 400.0) & (belief.frequency_hz <= HIGH - 400.0)
    density = belief.density_per_hz()[inside]
    assert density.max() < 1.15 * density.min()
    assert near(belief, 2_000.0, 2_100.0) > 0.95


def test_equal_records_give_equal_beliefs_bit_by_bit() -> None:
    marks = [(0.0, LOW + 500.0), (15.0, LOW + 900.0), (30.0, LOW + 1_250.0), (45.0, LOW + 3_000.0)]
    told_in_order, told_backwards = fresh(), fresh()
    for number, (time_s, place) in enumerate(marks):
        told_in_order = told_in_order.mark(time_s, place, 0.8, id=number)
    for number, (time_s, place) in reversed(list(enumerate(marks))):
        told_backwards = told_backwards.mark(time_s, place, 0.8, id=number)
    assert np.array_equal(told_in_order.density_per_hz(), told_backwards.density_per_hz())


def test_marks_of_one_moment_may_come_in_any_order() -> None:
    one = fresh().mark(5.0, LOW + 500.0, 0.7).mark(5.0, LOW + 2_500.0, 0.9)
    other = fresh().mark(5.0, LOW + 2_500.0, 0.9).mark(5.0, LOW + 500.0, 0.7)
    assert np.array_equal(one.density_per_hz(), other.density_per_hz())


def test_a_belief_does_not_change_when_the_next_is_made() -> None:
    belief = fed([1_000.0] * 5)
    before = belief.density_per_hz().copy()
    after = belief.mark(100.0, LOW + 3_000.0, 0.9)
    assert np.array_equal(belief.density_per_hz(), before)
    assert not np.array_equal(after.density_per_hz(), before)


@pytest.mark.parametrize("revised", [0, 7, 24])
def test_a_revised_mark_counts_as_if_it_had_been_told_so(revised: int) -> None:
    rng = np.random.default_rng(3)
    places = LOW + rng.uniform(0.0, 4_000.0, 25)
    first, straight = fresh(), fresh()
    for turn, place in enumerate(places):
        first = first.mark(15.0 * turn, place, 0.85, id=turn)
        told = LOW + 2_222.0 if turn == revised else place
        straight = straight.mark(15.0 * turn, told, 0.85, id=turn)
    again = first.mark(15.0 * revised, LOW + 2_222.0, 0.85, id=revised)
    assert np.array_equal(again.density_per_hz(), straight.density_per_hz())


def test_a_mark_taken_back_leaves_a_missed_turn() -> None:
    answer = Answer(id=7, start_s=30.0, stop_s=33.0, marked_at_s=32.0, frequency_hz=LOW + 3_500.0, confidence=0.9)
    taken_back = Answer(
        id=7,
        start_s=30.0,
        stop_s=33.0,
        marked_at_s=32.0,
        frequency_hz=LOW + 3_500.0,
        confidence=0.9,
        retracted_at_s=40.0,
    )
    belief = fresh().mark(0.0, LOW + 500.0, 0.9).mark(15.0, LOW + 520.0, 0.9)
    assert np.array_equal(
        belief.answer(answer).answer(taken_back).density_per_hz(), belief.missed(30.0).density_per_hz()
    )
    assert belief.retract(99) is belief


def test_a_mark_of_no_confidence_tells_nothing_of_the_place() -> None:
    belief = fed([1_000.0] * 6)
    assert belief.mark(100.0, LOW + 3_500.0, 0.0).density_per_hz() == pytest.approx(
        belief.missed(100.0).density_per_hz(), rel=0.1, abs=2e-6
    )


def test_the_window_in_force_said_again_is_no_news() -> None:
    belief = fed([1_000.0] * 8)
    again = belief.window(*belief.window_hz)
    assert np.array_equal(again.density_per_hz(), belief.density_per_hz())
    assert again.ear(0.0).habit == belief.ear(0.0).habit


@pytest.mark.parametrize(("low_hz", "high_hz"), [(-1_000.0, 6_000.0), (500.0, 2_000.0)])
def test_a_window_that_holds_his_answers_keeps_what_was_learned(low_hz: float, high_hz: float) -> None:
    belief = fed([1_000.0] * 8)
    other = belief.window(LOW + low_hz, LOW + high_hz)
    assert other.window_hz == (LOW + low_hz, LOW + high_hz)
    assert near(other, 1_000.0) > 0.6
    assert other.habit_weights()["stay"] > 0.5


def test_a_window_elsewhere_begins_anew_and_keeps_what_was_answered_inside() -> None:
    stayed = fed([1_000.0] * 8)
    elsewhere = stayed.window(LOW + 6_000.0, LOW + 9_000.0)
    assert near(elsewhere, 1_000.0) < 0.05
    assert elsewhere.ear(0.0).habit == "no clear habit yet"
    moved = fed([1_000.0] * 5 + [6_500.0] * 5).window(LOW + 6_000.0, LOW + 9_000.0)
    assert near(moved, 6_500.0) > 0.5


def test_the_prior_alone_is_no_finding() -> None:
    assert fresh().ear(0.0).habit == "no clear habit yet"
    assert fresh().missed(10.0).missed(25.0).ear(30.0).habit == "no clear habit yet"


def test_learns_that_he_stays() -> None:
    belief = fed([1_500.0] * 14)
    assert belief.habit_weights()["stay"] > 0.5
    assert near(belief, 1_500.0) > 0.75
    assert belief.ear(0.0).habit.startswith("stays near 14026.")


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_learns_a_step_and_points_ahead(sign: float) -> None:
    start = 300.0 if sign > 0 else 3_700.0
    belief = fed([start + sign * 330.0 * turn for turn in range(9)])
    ahead = start + sign * 330.0 * 9
    assert belief.habit_weights()["step"] > 0.6
    assert near(belief, ahead) > 0.5 > near(belief, ahead - sign * 660.0)
    assert ("moving up about 0.3 kHz" if sign > 0 else "moving down about 0.3 kHz") in belief.ear(0.0).habit


def test_learns_a_dwell_of_three() -> None:
    belief = fed([200.0 + 500.0 * (turn // 3) for turn in range(18)])
    assert near(belief, 3_200.0, 300.0) > 0.55
    once_more = belief.mark(500.0, LOW + 3_200.0, 0.9)
    assert near(once_more, 3_200.0, 300.0) > 0.6


def test_knows_the_edge_where_he_turns_or_begins_again() -> None:
    belief = fed([200.0 + 450.0 * turn for turn in range(9)])
    assert near(belief, 0.0, 400.0) > 2.0 * near(belief, 2_000.0, 400.0)
    assert near(belief, 3_550.0, 400.0) > 2.0 * near(belief, 2_000.0, 400.0)


def test_learns_two_spots() -> None:
    belief = fed([700.0 if turn % 2 == 0 else 3_100.0 for turn in range(12)])
    assert belief.habit_weights()["two spots"] > 0.6
    assert near(belief, 700.0) > 0.6
    assert "two spots, 14025.7 kHz and 14028.1 kHz" in belief.ear(0.0).habit


def test_learns_that_he_wanders() -> None:
    walk = np.cumsum(np.random.default_rng(8).normal(0.0, 220.0, 25)) + 2_000.0
    belief = fed(list(np.clip(walk, 0.0, 4_000.0)))
    assert max(belief.habit_weights(), key=lambda name: belief.habit_weights()[name]) == "wander"
    assert near(belief, float(walk[-1]), 500.0) > 0.6


def test_learns_that_he_jumps_and_then_claims_no_place() -> None:
    belief = fed(list(np.random.default_rng(4).uniform(0.0, 4_000.0, 25)))
    assert belief.habit_weights()["jump"] > 0.5
    assert belief.density_per_hz().max() * 4_000.0 < 1.8


def test_learns_that_he_goes_where_it_is_quiet() -> None:
    rng = np.random.default_rng(5)
    belief, grid = fresh(), np.linspace(LOW, HIGH, 81)
    quiet = 0.0
    for turn in range(13):
        quiet = rng.uniform(300.0, 3_700.0)
        busy = 20.0 - 18.0 * np.exp(-0.5 * ((grid - LOW - quiet) / 200.0) ** 2) + rng.normal(0.0, 0.3, len(grid))
        belief = belief.heard(grid, busy)
        if turn < 12:
            belief = belief.mark(15.0 * turn, LOW + quiet + rng.normal(0.0, SCATTER_HZ), 0.9)
    assert belief.habit_weights()["quiet"] > 0.7
    assert near(belief, quiet) > 0.5
    assert belief.ear(0.0).habit.startswith("goes where it is quiet")


def test_without_activity_he_is_not_said_to_seek_quiet() -> None:
    assert fed(list(np.random.default_rng(4).uniform(0.0, 4_000.0, 25))).habit_weights()["quiet"] == 0.0


def test_wrong_marks_on_one_loud_station_do_not_capture_it() -> None:
    rng = np.random.default_rng(6)
    belief = fresh()
    for turn in range(30):
        wrong = turn % 5 == 3
        place = 3_600.0 + rng.normal(0.0, 20.0) if wrong else 1_000.0 + rng.normal(0.0, SCATTER_HZ)
        belief = belief.mark(15.0 * turn, LOW + place, 0.75 if wrong else 0.9)
    assert near(belief, 1_000.0) > 4.0 * near(belief, 3_600.0)


def test_a_single_far_mark_moves_little() -> None:
    belief = fed([1_000.0] * 10)
    assert near(belief.mark(200.0, LOW + 3_500.0, 0.6), 1_000.0) > 0.6 * near(belief, 1_000.0)


def test_even_a_sure_mark_may_be_wrong() -> None:
    belief = fed([1_000.0] * 10, confidence=1.0)
    assert near(belief.mark(200.0, LOW + 3_500.0, 1.0), 1_000.0) > 0.1


def test_a_change_of_habit_is_seen_within_five_contacts() -> None:
    belief = fed([*[3_000.0] * 20, *[800.0] * 5])
    assert near(belief, 800.0) > 0.55 > near(belief, 3_000.0)


def test_a_step_after_long_staying_is_followed() -> None:
    belief = fed([*[600.0] * 20, *[600.0 + 350.0 * turn for turn in range(1, 8)]])
    assert belief.habit_weights()["step"] > 0.4
    assert near(belief, 600.0 + 350.0 * 8, 300.0) > 0.4


def test_missed_turns_widen_the_belief() -> None:
    belief = fed([300.0 + 200.0 * turn for turn in range(8)])
    entropies = []
    for _ in range(4):
        density = belief.density_per_hz()
        entropies.append(-float((density * np.log(density)).sum()))
        belief = belief.missed()
    assert entropies == sorted(entropies)


def test_a_step_goes_on_through_a_missed_turn() -> None:
    belief = fed([300.0 + 300.0 * turn for turn in range(8)]).missed()
    assert near(belief, 300.0 + 300.0 * 9, 300.0) > 0.4


def test_the_operators_word_counts_from_the_first_contact() -> None:
    told = fresh().note("he is going down", 1.0).mark(10.0, LOW + 2_000.0, 0.9)
    untold = fresh().mark(10.0, LOW + 2_000.0, 0.9)
    assert near(untold, 1_500.0, 200.0) == pytest.approx(near(untold, 2_500.0, 200.0), rel=0.1)
    assert near(told, 1_500.0, 200.0) > 1.5 * near(told, 2_500.0, 200.0)


def test_a_window_in_words_moves_the_grid() -> None:
    belief = fed([1_000.0] * 6).note("up 5 to 10", 300.0)
    assert belief.window_hz == (14_028_000.0, 14_033_000.0)
    assert belief.frequency_hz[0] < 14_028_000.0
    assert belief.frequency_hz[-1] > 14_033_000.0


def test_a_mark_by_hand_counts_much() -> None:
    assert near(fresh().note("here", 5.0, LOW + 2_000.0), 2_000.0) > 0.35


def test_errors_teach() -> None:
    with pytest.raises(HearmarkError, match="lower and upper edge in hertz"):
        Belief(14_030_000.0, 14_025_000.0, "cw")
    with pytest.raises(HearmarkError, match="confidence between 0 and 1"):
        fresh().mark(0.0, LOW, 1.5)
    with pytest.raises(HearmarkError, match="is not understood"):
        fresh().note("hmm")
    with pytest.raises(HearmarkError, match="without the DX's frequency"):
        Belief(LOW, HIGH, "cw").note("up 5")
    with pytest.raises(HearmarkError, match="one equal length"):
        fresh().heard(np.zeros(3), np.zeros(4))


def test_log_density_is_the_logarithm_of_the_density() -> None:
    belief = fed([1_000.0] * 4)
    assert belief.log_density(belief.frequency_hz) == pytest.approx(np.log(belief.density_per_hz()))
    assert np.isfinite(belief.log_density(LOW - 50_000.0))


def told(count: int) -> Belief:
    """A DX who steps up and begins again, told mark by mark; every seventh contact was missed."""
    belief = Belief(14_024_000.0, 14_029_000.0, "cw", dx_hz=14_023_000.0)
    for n in range(count):
        if n % 7 == 3:
            belief = belief.missed(10.0 * n, n)
        else:
            belief = belief.mark(10.0 * n, 14_024_500.0 + (130.0 * n) % 4000.0, 0.9, n)
    return belief


def test_a_long_session_takes_no_more_memory_and_gives_the_same_belief(monkeypatch: pytest.MonkeyPatch) -> None:
    short, long = told(130), told(240)
    assert len(long.record) <= KEEP_RECORD + KEEP_EVERY
    assert len(long._snapshots) <= len(short._snapshots) + 1
    monkeypatch.setattr(belief_module, "KEEP_RECORD", 10**6)
    whole = told(240)
    assert len(whole.record) == 240
    np.testing.assert_array_equal(whole.density_per_hz(), long.density_per_hz())
    # What can be revised still is computed anew to the same
    np.testing.assert_array_equal(whole.retract(236).density_per_hz(), long.retract(236).density_per_hz())
    np.testing.assert_array_equal(whole.retract(158).density_per_hz(), long.retract(158).density_per_hz())


def test_what_is_settled_is_revised_no_more() -> None:
    long = told(240)
    assert long.retract(5) is long
    assert long.mark(52.0, 14_026_000.0, 0.9, 5) is long
    assert long.mark(52.0, 14_026_000.0, 0.9) is long


def test_marks_that_no_habit_expected_are_followed_sooner_than_a_steady_hazard_would() -> None:
    belief = fed([1_000.0] * 12)
    once = belief.mark(300.0, LOW + 3_500.0, 0.9)
    doubtful = belief.mark(300.0, LOW + 3_500.0, 0.3)
    there = [float(np.exp(told.log_density(LOW + 3_500.0))) for told in (belief, doubtful, once)]
    assert there[2] > 5.0 * max(there[:2])
    twice = once.mark(315.0, LOW + 3_520.0, 0.9).mark(330.0, LOW + 3_490.0, 0.9)
    assert twice.log_density(LOW + 3_500.0) > twice.log_density(LOW + 1_000.0) + 1.0
