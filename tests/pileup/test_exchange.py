"""From looks to overs, turns and marks, on looks made by hand: what a finder would say, step by step."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from hearmark.events import Answer, Mode, Over, Turn
from hearmark.modes.alphabet import ALPHABET
from hearmark.pileup.exchange import GIVE_UP_STEPS, Exchange
from hearmark.pileup.look import ANSWERS, CALLS, DUE, LATE_STEPS, OPEN, STEP_S, Look
from hearmark.pileup.voiced import VoiceExchange

DX_HZ = 14_023_000.0
FREQUENCY_HZ = DX_HZ + 1_000.0 + 31.25 * np.arange(40)
STREAMS = len(FREQUENCY_HZ)


class Story:
    """An exchange, told a few seconds at a time."""

    def __init__(self, mode: Mode = "cw") -> None:
        self.exchange = (Exchange if mode == "cw" else VoiceExchange)(FREQUENCY_HZ, DX_HZ, mode)
        self.now_s = 0.0
        self.seen_later: list[int | None] | None = None
        self.events: list[Over | Turn | Answer] = []

    def tell(
        self, seconds: float, state: int, place: int | None = None, belief: float = 0.9,
        senders: Sequence[int] = (), dx: str | None = None, text: str = "", later: int | None = None,
    ) -> list[Over | Turn | Answer]:  # fmt: skip
        """So long in one state; `place`: the stream believed in; `dx`: what he sends, None if he does not; `later`: the
        stream believed in, of the same time, once `LATE_STEPS` have gone by (`place`, if nothing is said)."""
        steps = round(seconds / STEP_S)
        places = np.full((steps, STREAMS + 1), 0.0, np.float32)
        places[:, -1] = 1.0 if place is None else 1.0 - belief
        if place is not None:
            places[:, place] = belief
        states = np.full((steps, 4), 0.02, np.float32)
        states[:, state] = 0.94
        active = np.zeros((steps, STREAMS), bool)
        active[:, list(senders)] = True
        level = np.full(steps, 0.1 if dx is None else 3.0, np.float32)
        symbols = np.zeros((steps, STREAMS + 1), np.int8)
        for column, said in ((-1, dx or ""), (senders[0] if senders else 0, text)):
            every = max(2, steps // (len(said) + 1))
            for k, letter in enumerate(said):
                symbols[k * every, column] = ALPHABET.index(letter) + 1
        late = self.looked_back(steps, place if later is None else later)
        new: list[Over | Turn | Answer] = []
        for k in range(0, steps, 3):
            part = slice(k, k + 3)
            look = Look(places[part], states[part], active[part], level[part], symbols[part])
            if late is not None:
                look = replace(look, late=late[part])
            start_s = self.now_s + k * STEP_S
            new += self.exchange.feed(look, start_s, start_s + (len(states[part]) + 1) * STEP_S)
        self.now_s += steps * STEP_S
        self.events += new
        return new

    def looked_back(self, steps: int, place: int | None) -> np.ndarray | None:
        """Belief in what was `LATE_STEPS` ago, if this story has such."""
        if self.seen_later is None:
            return None
        first = len(self.seen_later) - LATE_STEPS
        self.seen_later += [place] * steps
        late = np.zeros((steps, STREAMS + 1), np.float32)
        for k in range(steps):
            then = self.seen_later[first + k] if first + k >= 0 else None
            late[k, -1 if then is None else then] = 0.9
        return late

    def contact(self, place: int, over: str = "K7ABC 5NN") -> None:
        """He answers the one on `place`, who replies; he thanks and calls."""
        self.tell(2.0, ANSWERS, dx=over)
        self.tell(0.5, DUE)
        self.tell(2.0, DUE, place, senders=[place], text="5NN TU")
        self.tell(1.5, CALLS, place, dx="TU UP")
        self.tell(2.0, OPEN)

    def contact_again(self, first: int, second: int) -> None:
        """What he says sounds like a call to all, but he goes on waiting for a reply."""
        self.tell(2.0, ANSWERS, dx="K")
        self.tell(2.0, DUE, first, senders=[first])
        self.tell(1.5, CALLS, dx="K")
        self.tell(2.0, ANSWERS, dx="K")
        self.tell(3.0, DUE, second, senders=[second])
        self.tell(1.5, CALLS, dx="K")
        self.tell(2.0, OPEN)

    def newest(self, kind: type) -> list:
        by_id = {event.id: event for event in self.events if isinstance(event, kind)}
        return sorted(by_id.values(), key=lambda event: event.start_s)


def test_a_contact_is_two_overs_a_turn_and_one_mark_that_stands() -> None:
    story = Story()
    story.tell(2.0, OPEN, senders=[3, 9])
    story.contact(20)
    first, last = story.newest(Over)
    assert (first.start_s, first.stop_s) == (pytest.approx(2.0, abs=0.2), pytest.approx(4.0, abs=0.2))
    assert (last.start_s, last.stop_s) == (pytest.approx(6.5, abs=0.2), pytest.approx(8.0, abs=0.2))
    assert (first.kind, last.kind) == ("answer", "call")
    (mark,) = story.newest(Answer)
    assert mark.frequency_hz == pytest.approx(FREQUENCY_HZ[20], abs=40.0)
    assert mark.start_s == pytest.approx(4.5, abs=0.2)
    assert mark.marked_at_s < 6.6 + 2.0
    assert mark.confidence > 0.8
    assert mark.retracted_at_s is None
    assert mark.call == "K7ABC"


def test_a_contact_in_voice_is_marked_without_any_text() -> None:
    story = Story("usb")
    story.tell(2.0, OPEN, senders=[3, 9])
    story.contact(20)
    (mark,) = story.newest(Answer)
    assert mark.frequency_hz == pytest.approx(FREQUENCY_HZ[20], abs=60.0)
    assert mark.confidence > 0.5
    assert (mark.call, mark.retracted_at_s) == (None, None)


def test_in_voice_a_second_reply_from_the_same_place_is_the_same_mark() -> None:
    story = Story("usb")
    story.contact_again(first=20, second=20)
    (mark,) = story.newest(Answer)
    assert mark.stop_s > 10.0


def test_in_voice_a_reply_from_another_place_is_a_mark_of_its_own() -> None:
    story = Story("usb")
    story.contact_again(first=20, second=33)
    first, second = story.newest(Answer)
    assert first.frequency_hz == pytest.approx(FREQUENCY_HZ[20], abs=60.0)
    assert second.frequency_hz == pytest.approx(FREQUENCY_HZ[33], abs=60.0)


def test_in_voice_nobody_is_marked_while_he_listens_to_all() -> None:
    story = Story("usb")
    story.tell(2.0, CALLS, dx="CQ")
    story.tell(4.0, OPEN, 20, senders=[20])
    assert story.newest(Answer) == []


def looked_back(place: int | None, belief: float, later: int | None) -> Story:
    """A contact in voice that is believed to be on `place`, and, looked back at, on `later`."""
    story = Story("usb")
    story.seen_later = []
    story.tell(2.0, OPEN, senders=[3, 9])
    story.tell(2.0, ANSWERS, dx="WORDS")
    story.tell(2.5, DUE, place, belief, senders=[20, 33], later=later)
    story.tell(1.5, CALLS, dx="WORDS")
    story.tell(5.0, OPEN)
    return story


def test_in_voice_looking_back_confirms_a_mark() -> None:
    (mark,) = looked_back(20, 0.6, 20).newest(Answer)
    assert mark.frequency_hz == pytest.approx(FREQUENCY_HZ[20], abs=60.0)
    assert mark.confidence > 0.8


def test_in_voice_looking_back_moves_a_mark() -> None:
    (mark,) = looked_back(20, 0.7, 33).newest(Answer)
    assert mark.frequency_hz == pytest.approx(FREQUENCY_HZ[33], abs=60.0)
    assert mark.confidence > 0.8


def test_in_voice_looking_back_makes_a_mark_where_there_was_none() -> None:
    story = looked_back(20, 0.3, 33)
    (mark,) = story.newest(Answer)
    assert mark.frequency_hz == pytest.approx(FREQUENCY_HZ[33], abs=60.0)
    assert mark.start_s == pytest.approx(4.2, abs=0.5)
    assert mark.marked_at_s == pytest.approx(6.5 + LATE_STEPS * STEP_S, abs=0.4)


def test_in_voice_a_mark_that_is_not_believed_later_is_doubtful() -> None:
    story = Story("usb")
    story.seen_later = []
    story.tell(2.0, OPEN, senders=[3, 9])
    story.tell(2.0, ANSWERS, dx="WORDS")
    story.tell(2.5, DUE, 20, 0.7, senders=[20])
    story.seen_later = [None] * len(story.seen_later)
    story.tell(1.5, CALLS, dx="WORDS")
    story.tell(5.0, OPEN)
    (mark,) = story.newest(Answer)
    assert mark.confidence < 0.5


def test_in_voice_a_mark_taken_back_by_hand_does_not_come_again() -> None:
    story = Story("usb")
    story.seen_later = []
    story.tell(2.0, ANSWERS, dx="WORDS")
    story.tell(2.5, DUE, 20, 0.7, senders=[20])
    (mark,) = story.newest(Answer)
    story.events += story.exchange.take_back(mark.id, story.now_s)
    story.tell(1.5, CALLS, dx="WORDS")
    story.tell(5.0, OPEN)
    assert [a for a in story.newest(Answer) if a.retracted_at_s is None] == []


def test_the_mark_comes_early_in_the_reply() -> None:
    story = Story()
    story.tell(2.0, OPEN)
    story.contact(20)
    firsts = [event for event in story.events if isinstance(event, Answer)]
    assert firsts[0].marked_at_s == pytest.approx(4.6, abs=0.25)


def test_texts_of_overs_in_morse() -> None:
    story = Story()
    story.tell(2.0, OPEN)
    story.contact(20)
    assert [over.text for over in story.newest(Over)] == ["K7ABC 5NN", "TU UP"]


def test_callers_between_overs_are_counted_in_runs_of_streams() -> None:
    story = Story()
    story.contact(20)
    story.tell(2.0, OPEN, senders=[2, 3, 10, 30, 31])
    story.tell(1.0, CALLS, dx="QRZ")
    turns = story.newest(Turn)
    assert turns[-1].callers == 3
    assert turns[-1].after_over == story.newest(Over)[1].id


def test_no_mark_without_belief_and_none_in_morse_without_a_report() -> None:
    story = Story()
    story.tell(2.0, OPEN)
    story.tell(2.5, CALLS, dx="CQ DE ZZ0DX UP")
    story.tell(3.0, OPEN, 20, 0.9, senders=[20], text="K7ABC")
    assert story.newest(Answer) == []
    story.tell(2.0, ANSWERS, dx="K7ABC 5NN")
    story.tell(3.0, DUE, 20, 0.3, senders=[20])
    assert story.newest(Answer) == []


def test_another_place_takes_over_under_the_same_id() -> None:
    story = Story()
    story.tell(2.0, OPEN)
    story.tell(2.0, ANSWERS, dx="K7ABC 5NN")
    story.tell(0.3, DUE, 10, 0.6)
    story.tell(2.0, DUE, 30, 0.95, senders=[30])
    marks = [event for event in story.events if isinstance(event, Answer)]
    assert {mark.id for mark in marks} == {1}
    assert marks[0].frequency_hz == pytest.approx(FREQUENCY_HZ[10], abs=40.0)
    assert marks[-1].frequency_hz == pytest.approx(FREQUENCY_HZ[30], abs=40.0)


def test_a_mark_of_which_nothing_is_left_becomes_doubtful_and_is_taken_back() -> None:
    story = Story()
    story.tell(2.0, OPEN)
    story.tell(2.0, ANSWERS, dx="K7ABC 5NN")
    story.tell(0.3, DUE, 10, 0.7)
    story.tell(2.0, DUE)
    (mark,) = story.newest(Answer)
    assert mark.confidence < 0.5
    assert mark.retracted_at_s is None
    story.tell(GIVE_UP_STEPS * STEP_S + 1.0, DUE)
    (mark,) = story.newest(Answer)
    assert mark.retracted_at_s is not None


def test_a_pause_inside_an_over_does_not_end_it() -> None:
    story = Story()
    story.tell(2.0, OPEN)
    story.tell(2.0, CALLS, dx="CQ CQ")
    story.tell(0.25, OPEN)
    story.tell(2.0, CALLS, dx="CQ UP")
    story.tell(2.0, OPEN)
    (over,) = story.newest(Over)
    assert (over.start_s, over.stop_s) == (pytest.approx(2.0, abs=0.2), pytest.approx(6.25, abs=0.2))


def test_the_end_of_the_stream_closes_what_is_open() -> None:
    story = Story()
    story.tell(2.0, OPEN)
    story.tell(2.0, ANSWERS, dx="K7ABC 5NN")
    story.tell(1.0, DUE, 20, senders=[20])
    story.events += story.exchange.break_off(story.now_s)
    assert all(event.stop_s is not None for kind in (Over, Turn, Answer) for event in story.newest(kind))
    assert story.exchange.marked is None
    assert story.exchange.break_off(story.now_s) == []


def test_marks_by_hand_and_taken_back() -> None:
    story = Story()
    (mark,) = story.exchange.by_hand(14_024_500.0, 3.0)
    assert isinstance(mark, Answer)
    assert (mark.by, mark.confidence, mark.frequency_hz) == ("operator", 1.0, 14_024_500.0)
    (gone,) = story.exchange.take_back(mark.id, 5.0)
    assert isinstance(gone, Answer)
    assert (gone.id, gone.retracted_at_s) == (mark.id, 5.0)
    assert story.exchange.take_back(99, 5.0) == []


@pytest.mark.parametrize(("mode", "counts"), [("cw", True), ("usb", False)])
def test_two_dits_are_an_over_and_a_cough_is_none(mode: Mode, counts: bool) -> None:
    story = Story(mode)
    story.tell(4.0, ANSWERS, dx="QA1XYZ 5NN")
    story.tell(3.0, DUE)
    story.tell(0.224, ANSWERS, dx="EE")
    story.tell(3.0, OPEN)
    newest = {e.id: e for e in story.events if isinstance(e, Over)}
    kept = [o for o in newest.values() if o.stop_s is not None and o.stop_s > o.start_s]
    assert len(kept) == (2 if counts else 1)
