"""A whole lesson without a page: who does it right gets through, and every fault is named."""

import numpy as np
import pytest
from learner import begun, go, quiet, until_another, until_asked, wait, work

from hearmark.errors import HearmarkError
from hearmark.practice.lesson import levels
from hearmark.practice.play import Practice
from hearmark.practice.sheet import readable, sheet
from hearmark.simulate.people import play

LEVELS = levels()


def kinds(practice: Practice) -> list[str]:
    return [fault.kind for fault in practice.faults]


def test_who_does_it_right_gets_a_contact_without_a_fault() -> None:
    practice = begun(quiet())
    work(practice)
    assert practice.state == "worked"
    assert practice.worked_at_s is not None
    assert kinds(practice) == []
    over = practice.overs[-1]
    assert over.to_us
    assert over.role == "confirm"
    with pytest.raises(HearmarkError, match="Type the call of the DX"):
        practice.log(" ")
    logged = practice.log(practice.dx_call.lower())
    assert logged.right
    assert logged.receive_hz == practice.scenario.dx_hz
    assert practice.scenario.window_low_hz <= logged.transmit_hz <= practice.scenario.window_high_hz
    assert practice.state == "done"
    found = sheet(practice, {"tail_ender_s": 31.0, "program_s": None})
    assert found["contact_s"] == pytest.approx(practice.worked_at_s, abs=0.01)
    assert found["calls"] == sum(press.what == "call" for press in practice.presses)
    text = readable(found)
    assert "no faults" in text
    assert "the perfect tail-ender: 0:31" in text
    assert "the program: no contact in that time" in text
    assert "copied right" in text


@pytest.mark.parametrize("name", [name for name in LEVELS if LEVELS[name].goal == "contact" and name != "wild"])
def test_each_level_can_be_worked_in_its_time(name: str) -> None:
    practice = begun(LEVELS[name])
    practice.desk.split(True)
    work(practice, 1000.0)
    assert practice.state == "worked"


def test_a_call_that_he_does_not_hear_leads_nowhere() -> None:
    practice = begun(quiet(minutes=1))
    practice.desk.put("transmit", practice.scenario.window_high_hz + 3000.0)
    until_asked(practice)
    practice.press("call")
    assert kinds(practice) == ["outside the window"]
    assert "+5.10 kHz from him" in practice.faults[0].say
    go(practice, 60.0)
    assert practice.state == "time is up"
    assert practice.worked_at_s is None


def test_split_off_is_named_and_so_is_the_call_on_his_frequency() -> None:
    practice = begun(quiet(split_on=False))
    until_asked(practice)
    practice.press("call")
    assert kinds(practice) == ["split off", "on his frequency"]
    assert "switch split on" in practice.faults[0].say


def test_split_off_elsewhere_is_named_with_the_dial_that_moved() -> None:
    practice = begun(quiet())
    practice.desk.split(False)
    practice.desk.turn("receive", 2000.0)
    until_asked(practice)
    practice.press("call")
    assert kinds(practice) == ["split off", "dial moved"]


def test_transmit_dial_on_him_is_named() -> None:
    practice = begun(quiet())
    practice.desk.level()
    until_asked(practice)
    practice.press("call")
    assert kinds(practice) == ["on his frequency"]
    assert "0 Hz from him" in practice.faults[0].say


def test_moved_dial_is_named_and_rit_counts() -> None:
    practice = begun(quiet())
    until_asked(practice)
    practice.desk.rit(60.0)
    practice.press("call")
    assert kinds(practice) == []
    practice = begun(quiet())
    until_asked(practice)
    practice.desk.rit(350.0)
    practice.press("call")
    assert kinds(practice) == ["dial moved"]
    assert "+0.35 kHz" in practice.faults[0].say


def test_call_over_the_answered_station_is_named() -> None:
    practice = begun(quiet(callers=5))
    until_another(practice)
    practice.press("call")
    assert kinds(practice) == ["over the answered"]


def test_call_over_him_is_named_but_not_one_begun_as_he_begins() -> None:
    practice = begun(quiet(callers=5))
    wait(practice, lambda: bool(practice.overs))
    over = practice.overs[-1]
    wait(practice, lambda: practice.now_s > over.start_s + 2.0)
    practice.press("call")
    assert kinds(practice) == ["over him"]
    practice = begun(quiet(callers=5))
    wait(practice, lambda: any(one.role == "answer" for one in practice.overs))
    assert practice.now_s < practice.overs[-1].start_s + 0.1
    practice.press("call")
    assert kinds(practice) == []


def test_what_was_heard_counts_not_what_was_played() -> None:
    """He began a second ago, but it is not in the learner's ears yet."""
    practice = begun(quiet(callers=5))
    wait(practice, lambda: any(one.role == "answer" for one in practice.overs))
    wait(practice, lambda: practice.now_s > practice.overs[-1].start_s + 1.0)
    practice.press("call", heard_s=practice.now_s - 0.6)
    assert kinds(practice) == []


def test_late_call_is_named_when_he_has_chosen() -> None:
    practice = begun(quiet(callers=6, seed=5))
    until_asked(practice)
    asked_s = practice.overs[-1].stop_s
    # Just before he answers: who cannot know that is late by the clock.
    ahead = begun(quiet(callers=6, seed=5))
    wait(ahead, lambda: any(one.role == "answer" for one in ahead.overs))
    chosen_s = ahead.overs[-1].start_s
    assert chosen_s > asked_s + 2.2
    wait(practice, lambda: practice.now_s > chosen_s - 0.15)
    practice.press("call")
    assert kinds(practice) == []
    go(practice, 1.0)
    assert kinds(practice) == ["late"]
    assert "he had chosen" in practice.faults[0].say


def test_sending_before_he_was_heard_is_named() -> None:
    practice = begun(quiet())
    go(practice, 0.2)
    assert practice.overs == []
    practice.press("call")
    assert kinds(practice) == ["did not listen"]
    assert "listen first" in practice.faults[0].say


def test_second_call_without_listening_is_named() -> None:
    practice = begun(quiet())
    practice.desk.put("transmit", practice.scenario.window_low_hz)
    until_asked(practice)
    press = practice.press("call")
    wait(practice, lambda: practice.now_s > press.stop_s + 0.2)
    practice.press("call")
    assert kinds(practice) == ["did not listen"]
    assert "one call, then listen" in practice.faults[0].say


def test_to_be_elsewhere_when_he_answers_is_named() -> None:
    practice = begun(quiet(callers=1, seed=8, receivers=1))
    while not any(over.to_us for over in practice.overs):
        if practice.desk.peeking:
            practice.desk.peek(False)
        until_asked(practice)
        if practice.sending is None:
            press = practice.press("call")
            wait(practice, lambda stop_s=press.stop_s: practice.now_s > stop_s)  # type: ignore[misc]
            practice.desk.peek(True)
        go(practice, 6.0)
    assert "dial moved" in kinds(practice)
    assert "be back before he sends" in practice.faults[-1].say


def test_missing_report_is_named() -> None:
    practice = begun(quiet(callers=1, seed=8))

    def answered() -> bool:
        return bool(practice.overs) and practice.overs[-1].to_us

    while not answered():
        until_asked(practice)
        if practice.sending is None and not answered():
            practice.press("call")
        go(practice, 6.0)
    wait(practice, lambda: practice.overs[-1].role == "again")
    assert kinds(practice) == ["no report"]


def test_report_that_nobody_asked_for_is_named() -> None:
    practice = begun(quiet())
    until_asked(practice)
    practice.press("report")
    assert kinds(practice) == ["unasked report"]


def test_one_transmission_at_a_time_and_none_when_it_is_over() -> None:
    practice = begun(quiet())
    until_asked(practice)
    practice.press("call")
    with pytest.raises(HearmarkError, match="sending already"):
        practice.press("call")
    practice.leave()
    assert practice.state == "left"
    with pytest.raises(HearmarkError, match="lesson is over"):
        practice.press("report")
    with pytest.raises(HearmarkError, match="no contact to log"):
        practice.log("T9TST")


def test_marks_are_held_against_the_true_reply() -> None:
    practice = begun(LEVELS["by-ear"])
    assert not practice.mark().right
    for _ in range(20):
        before = len(practice.replies)
        wait(practice, lambda count=before: len(practice.replies) > count)  # type: ignore[misc]
        reply = practice.replies[-1]
        practice.desk.put("transmit", reply.frequency_hz + 400.0)
        wrong = practice.mark()
        assert not wrong.right
        assert wrong.off_hz == pytest.approx(400.0, abs=1.0)
        practice.desk.put("transmit", reply.frequency_hz + 60.0)
        assert practice.mark().right
        if practice.state != "running":
            break
    assert practice.state == "done"
    assert len(practice.found) == 3
    assert sheet(practice)["reached"]


def test_a_call_in_a_listening_lesson_is_named() -> None:
    practice = begun(LEVELS["by-ear"])
    until_asked(practice)
    practice.press("call")
    assert kinds(practice) == ["sent at all"]


def test_until_the_first_call_it_is_the_pile_up_of_its_number() -> None:
    practice = begun(quiet(callers=8, sloppiness=0.5))
    go(practice, 60.0)
    alone = play(practice.scenario, keyed=False)
    heard = practice.pileup.session()
    done = [one for one in alone.transmissions if one.stop_s <= 58.0]
    assert [one for one in heard.transmissions if one.stop_s <= 58.0] == done
    assert len(done) > 30


def test_same_seed_same_keys_same_lesson() -> None:
    first, second = begun(quiet(callers=8, sloppiness=0.5)), begun(quiet(callers=8, sloppiness=0.5))
    for practice in (first, second):
        work(practice)
    assert first.overs == second.overs
    assert first.presses == second.presses
    other = begun(quiet(callers=8, sloppiness=0.5), seed=77)
    go(other, 30.0)
    assert other.dx_call != first.dx_call


def test_samples_of_a_lesson_are_those_of_the_whole_session() -> None:
    """Made close behind the people, the stations are the same samples as made afterwards at one stroke."""
    from hearmark.simulate.render import Renderer

    practice = Practice(quiet(callers=8, sloppiness=0.5))
    assert practice.band is not None
    blocks = [practice.next_block() for _ in range(400)]
    live = np.concatenate([block.samples for block in blocks])
    whole = Renderer(practice.pileup.session(), practice.band.rate_hz, practice.band.centre_hz, hops=1)
    after = whole.samples(0, len(live))
    assert np.sqrt(np.mean(np.abs(live) ** 2)) > 1e-3
    # Who breaks off is known to do so only when he does: a little of his level hangs on how many marks he sent.
    assert np.max(np.abs(live - after)) < 0.02 * np.max(np.abs(after))


def test_wrong_call_or_mode_is_one_sentence() -> None:
    with pytest.raises(HearmarkError, match="is no call sign"):
        Practice(quiet(), call="HELLO", samples=False)
    with pytest.raises(HearmarkError, match="is in cw, not in usb"):
        Practice(quiet(mode="cw"), "usb", samples=False)
