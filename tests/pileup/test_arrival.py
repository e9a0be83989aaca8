"""One receiver: what was there when the dial came is no reply until a report is read of it."""

from dataclasses import replace

import numpy as np

from hearmark.events import Answer
from hearmark.modes.alphabet import ALPHABET
from hearmark.pileup.arrival import Arrival
from hearmark.pileup.look import STEP_S
from hearmark.pileup.place import MORSE_EDGES, Memory

STREAMS_HZ = 14_025_000.0 + 31.25 * np.arange(40)
PLACE = 20


def heard(memory: Memory, text: str, start_s: float) -> float:
    """The stream at `PLACE` is read to send this, a character every 0.3 s; gives the time after it."""
    step = round(start_s / STEP_S)
    for character in text:
        for k in range(9):
            symbols = np.zeros(len(STREAMS_HZ) + 1, np.int8)
            symbols[PLACE] = ALPHABET.index(character) + 1 if k == 4 else 0
            memory.add(step * STEP_S, np.zeros(len(STREAMS_HZ), bool), 0.0, np.zeros(len(STREAMS_HZ) + 1), symbols)
            step += 1
    return step * STEP_S


def mark(start_s: float, marked_at_s: float) -> Answer:
    return Answer(1, start_s, None, marked_at_s, float(STREAMS_HZ[PLACE]), 0.8)


def arrived(at_s: float) -> tuple[Arrival, Memory]:
    memory = Memory(len(STREAMS_HZ), MORSE_EDGES)
    arrival = Arrival(STREAMS_HZ, memory)
    arrival.dial(14_023_000.0, 0.0)
    arrival.dial(14_025_600.0, at_s)
    return arrival, memory


def test_who_sends_already_is_doubtful_and_a_report_settles_it() -> None:
    arrival, memory = arrived(10.0)
    now_s = heard(memory, "R ", 10.0)
    told = arrival.judged(mark(10.1, now_s))
    assert told.confidence < 0.5
    assert arrival.doubts(1)
    assert arrival.confirmed(now_s) == []
    now_s = heard(memory, "5NN ", now_s)
    (settled,) = arrival.confirmed(now_s)
    assert (settled.confidence, settled.marked_at_s) == (0.8, now_s)
    assert not arrival.doubts(1)
    assert arrival.judged(mark(10.1, now_s + 1.0)).confidence == 0.8


def test_a_caller_stays_doubtful() -> None:
    arrival, memory = arrived(10.0)
    now_s = heard(memory, "DL7XYZ DL7XYZ ", 10.0)
    assert arrival.judged(mark(10.1, now_s)).confidence < 0.5
    assert arrival.confirmed(now_s) == []


def test_what_begins_after_the_dial_came_is_taken_as_it_is() -> None:
    arrival, _ = arrived(10.0)
    assert arrival.judged(mark(10.6, 11.0)).confidence == 0.8


def test_a_dial_that_never_moved_leaves_every_mark_alone() -> None:
    arrival = Arrival(STREAMS_HZ, Memory(len(STREAMS_HZ), MORSE_EDGES))
    arrival.dial(14_025_600.0, 0.0)
    assert arrival.judged(mark(0.1, 0.5)).confidence == 0.8


def test_marks_by_hand_and_those_taken_back_pass() -> None:
    arrival, _ = arrived(10.0)
    by_hand = replace(mark(10.1, 10.4), by="operator")
    assert arrival.judged(by_hand) == by_hand
    assert arrival.judged(mark(10.1, 10.4)).confidence < 0.5
    back = replace(mark(10.1, 11.0), retracted_at_s=11.0)
    assert arrival.judged(back) == back
    assert not arrival.doubts(1)
