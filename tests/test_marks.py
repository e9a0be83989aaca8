"""Since when a mark has stood."""

from dataclasses import replace

from hearmark.events import Answer
from hearmark.marks import settled

BASE = Answer(7, 10.0, None, 11.0, 18_149_000.0, 0.6)


def test_the_newest_state_wins_and_keeps_the_first_time_it_stood() -> None:
    states = [BASE, replace(BASE, marked_at_s=12.0, confidence=0.9, stop_s=12.5, frequency_hz=18_149_020.0)]
    (answer,) = settled(states, "cw")
    assert (answer.marked_at_s, answer.stop_s, answer.confidence) == (11.0, 12.5, 0.9)


def test_a_doubt_in_between_restarts_the_clock() -> None:
    states = [BASE, replace(BASE, marked_at_s=12.0, confidence=0.4), replace(BASE, marked_at_s=13.0)]
    assert settled(states, "cw")[0].marked_at_s == 13.0


def test_a_move_beyond_tolerance_restarts_the_clock() -> None:
    moved = replace(BASE, marked_at_s=12.0, frequency_hz=18_149_100.0)
    assert settled([BASE, moved], "cw")[0].marked_at_s == 12.0
    assert settled([BASE, moved], "usb")[0].marked_at_s == 11.0


def test_an_unsure_end_is_stamped_with_the_end() -> None:
    assert settled([BASE, replace(BASE, marked_at_s=12.0, confidence=0.1)], "cw")[0].marked_at_s == 12.0


def test_order_is_by_start() -> None:
    assert [a.id for a in settled([BASE, replace(BASE, id=3, start_s=2.0)], "cw")] == [3, 7]
