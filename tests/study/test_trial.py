"""Our station in a pile-up: what the tactics may know, and that equal seeds give equal sessions."""

import random
from dataclasses import replace

import numpy as np
import pytest

from hearmark.simulate.people import Pileup
from hearmark.simulate.session import Transmission
from hearmark.study.crowd import Crowd
from hearmark.study.marks import ENGINE, PERFECT, find
from hearmark.study.station import OwnStation, Reply, Result, strength_db
from hearmark.study.tactics import NAMES, Name, Program, tactic
from hearmark.study.trial import Trial, plan, run

SHORT = Trial("program", "step", 7, level="easy", minutes=20.0)


def reply(station: int, start_s: float, stop_s: float, frequency_hz: float, heard_from_s: float = 0.0) -> Reply:
    sent = Transmission(station, start_s, stop_s, frequency_hz, "5NN TU", "reply")
    return Reply(sent, heard_from_s, start_s - 2.5, start_s - 0.4)


def empty_crowd(pileup: Pileup) -> Crowd:
    scenario = pileup.scenario
    return Crowd(scenario.mode, scenario.window_low_hz, scenario.window_high_hz, pileup.stations)


@pytest.mark.parametrize("name", NAMES)
def test_every_tactic_plays_and_repeats_itself(name: Name) -> None:
    trial = replace(SHORT, tactic=name)
    record = run(trial)
    assert record == run(trial)
    assert record["turns"] > 0
    assert record["calls"] >= 1
    assert record["worked_at_s"] is None or 0.0 < record["worked_at_s"] <= 1_200.0


def test_a_loud_station_is_worked_and_one_that_cannot_be_heard_is_not() -> None:
    ends: list[Result] = []
    for snr_db in (35.0, -30.0):
        pileup = Pileup(SHORT.scenario())
        pileup.advance(0.0)
        crowd = empty_crowd(pileup)
        ends.append(OwnStation(pileup, tactic("tail-end", pileup, crowd, 0.0, 7), crowd, snr_db, 7, 1_200.0).run())
    assert ends[0].worked_at_s is not None
    assert ends[0].worked_at_s < 600.0
    assert ends[1].worked_at_s is None
    assert ends[1].contacts > 10


def test_strength_is_a_share_of_the_crowd() -> None:
    pileup = Pileup(replace(SHORT.scenario(), callers=60))
    pileup.advance(0.0)
    levels = np.array([10.0 * np.log10(caller.power_at_dx) for caller in pileup.callers])
    weak_db = strength_db(pileup, 0.75)
    assert np.mean(levels > weak_db) == pytest.approx(0.75, abs=0.03)
    assert strength_db(pileup, 0.0) == pytest.approx(levels.max())


def test_a_fixed_spot_stays_and_a_random_one_lies_in_the_window() -> None:
    pileup = Pileup(SHORT.scenario())
    crowd, scenario = empty_crowd(pileup), pileup.scenario
    fixed = tactic("fixed", pileup, crowd, 0.0, 7)
    assert len({fixed.place(10.0 * turn) for turn in range(20)}) == 1
    places = {tactic("random", pileup, crowd, 0.0, seed).place(0.0) for seed in range(20)}
    assert len(places) > 15
    assert all(place is not None and scenario.window_low_hz <= place <= scenario.window_high_hz for place in places)


def test_the_tail_ender_goes_there_after_a_human_delay() -> None:
    pileup = Pileup(SHORT.scenario())
    crowd = empty_crowd(pileup)
    ender = tactic("tail-end", pileup, crowd, 0.0, 7)
    first = ender.place(0.0)
    where_hz = pileup.scenario.window_low_hz + 1_230.0
    ender.answered(reply(3, 20.0, 22.0, where_hz), crowd)
    assert ender.place(20.2) == first
    assert ender.place(30.0) == where_hz


def test_after_a_contact_broken_off_the_next_answer_is_marked() -> None:
    pileup = Pileup(SHORT.scenario())
    crowd = empty_crowd(pileup)
    program = tactic("exact marks", pileup, crowd, 0.0, 7)
    low_hz = pileup.scenario.window_low_hz
    assert isinstance(program, Program)
    program.answered(reply(3, 20.0, 22.0, low_hz + 300.0), crowd)
    program.answered(reply(3, 27.0, 29.0, low_hz + 300.0), crowd)
    assert program.marks == 1  # he repeats: the same contact
    program.broken_off(40.0)
    program.answered(reply(5, 45.0, 47.0, low_hz + 900.0), crowd)
    assert program.marks == 2


def test_another_draw_is_another_play_in_the_same_pile_up() -> None:
    plays = [run(replace(SHORT, tactic="tail-end"), draw) for draw in range(4)]
    assert len({play["worked_at_s"] for play in plays}) > 1
    assert len({play["key"] for play in plays}) == 1


def test_nothing_is_found_while_deaf() -> None:
    crowd = empty_crowd(Pileup(SHORT.scenario()))
    heard = reply(3, 20.0, 22.0, 14_025_000.0)
    assert find(PERFECT, heard, crowd, random.Random(1)) is not None
    assert find(PERFECT, replace(heard, heard_from_s=21.8), crowd, random.Random(1)) is None
    assert find(PERFECT, replace(heard, sent=None), crowd, random.Random(1)) is None


def test_marks_are_as_often_right_as_stated() -> None:
    pileup = Pileup(SHORT.scenario())
    pileup.advance(0.0)
    crowd = empty_crowd(pileup)
    loud = max(range(1, len(pileup.stations)), key=lambda index: pileup.stations[index].snr_db)
    answered = 1 if loud != 1 else 2
    crowd.takes([Transmission(loud, 19.0, 24.0, 14_026_000.0, "ZZ9ZZ", "call")])
    rng = random.Random(4)
    marks = [find(ENGINE["cw"], reply(answered, 20.0, 22.0, 14_025_000.0), crowd, rng) for _ in range(4_000)]
    found = [mark for mark in marks if mark is not None]
    wrong = [mark for mark in found if abs(mark.frequency_hz - 14_025_000.0) > 300.0]
    assert len(found) / len(marks) == pytest.approx(0.85, abs=0.02)
    assert len(wrong) / len(found) == pytest.approx(0.10, abs=0.02)
    assert all(abs(mark.frequency_hz - 14_026_000.0) < 200.0 for mark in wrong)


def test_the_crowd_is_measured_where_it_calls_and_only_while_we_hear() -> None:
    pileup = Pileup(SHORT.scenario())
    crowd = empty_crowd(pileup)
    assert crowd.activity_db is None
    low_hz = pileup.scenario.window_low_hz
    crowd.takes([Transmission(1, 10.0, 12.0, low_hz + 500.0, "A", "call")])
    crowd.takes([Transmission(2, 13.0, 15.0, low_hz + 900.0, "B", "call")])
    crowd.turn([(10.0, 12.5)])
    level = crowd.activity_db
    assert level is not None
    assert np.interp(low_hz + 500.0, crowd.frequency_hz, level) > 10.0
    assert np.interp(low_hz + 900.0, crowd.frequency_hz, level) < 0.1
    assert np.interp(low_hz + 700.0, crowd.frequency_hz, level) < 0.1


def test_equal_trials_have_equal_keys_and_others_do_not() -> None:
    trials = plan(("fixed", "program"), ("stay", "step"), range(3))
    assert len({trial.key for trial in trials}) == len(trials) == 12
    assert trials[0].key != replace(trials[0], weaker_than=0.5).key
    assert {trial.seed for trial in trials[:4]} == {0}


def test_the_ceiling_counts_one_move_from_where_he_truly_was() -> None:
    pileup = Pileup(replace(SHORT.scenario(), habit="step"))
    pileup.advance(0.0)
    listening = pileup.listening
    listening._dwell, listening._left, listening._step_hz = (1, 1), 1, 200.0
    listening.place_hz = 0.5 * (pileup.scenario.window_low_hz + pileup.scenario.window_high_hz)
    player = tactic("ceiling", pileup, empty_crowd(pileup), 0.0, 7)
    assert isinstance(player, Program)
    player.place(1.0)
    before_hz = listening.place_hz
    listening.worked(before_hz, [])
    player.answered(reply(1, 5.0, 7.0, before_hz), empty_crowd(pileup))
    player.confirmed(8.0)
    ear = player._ear(8.0)
    mean_hz = float((ear.frequency_hz * ear.density_per_hz).sum() / ear.density_per_hz.sum())
    assert mean_hz - before_hz == pytest.approx(listening._direction * 200.0, abs=60.0)


def test_the_ceiling_does_not_know_where_he_jumped() -> None:
    pileup = Pileup(replace(SHORT.scenario(), habit="jump"))
    pileup.advance(0.0)
    listening = pileup.listening
    listening._dwell, listening._left = (3, 3), 1
    player = tactic("ceiling", pileup, empty_crowd(pileup), 0.0, 7)
    assert isinstance(player, Program)
    player.place(1.0)
    listening._stayed = 2
    player.place(1.5)
    listening.worked(listening.place_hz, [])
    player.answered(reply(1, 5.0, 7.0, listening.place_hz), empty_crowd(pileup))
    player.confirmed(8.0)
    ear = player._ear(8.0)
    inside = np.abs(ear.frequency_hz - listening.place_hz) < 200.0
    width_hz = pileup.scenario.window_high_hz - pileup.scenario.window_low_hz
    assert (ear.density_per_hz[inside].sum() * 50.0) < 3.0 * 400.0 / width_hz
