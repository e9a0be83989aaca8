"""The cue: its states, and that nobody is ever told to call over the DX or over an answered station."""

from dataclasses import replace
from typing import get_args

import numpy as np
import pytest

from hearmark.ear.cue import (
    ANSWERED,
    OWN_CALL,
    REPLY,
    TRANSITIONS,
    CueState,
    Machine,
    Moment,
    Signal,
    cue,
)
from hearmark.errors import HearmarkError

PLACE = 14_026_000.0
OPEN = Moment(
    time_s=100.0,
    dx_sending=False,
    answered_probability=0.05,
    reply_probability=0.02,
    since_over_s=0.5,
    transmit_hz=PLACE,
    recommended_hz=PLACE,
)


def after(*moments: Moment) -> tuple[Machine, str]:
    """State and cue after these moments, 0.5 s apart."""
    machine, name = Machine(), ""
    for number, moment in enumerate(moments):
        machine, cued = cue(machine, replace(moment, time_s=100.0 + 0.5 * number))
        name = cued.cue
    return machine, name


SENDING = replace(OPEN, dx_sending=True)
ANSWERING = replace(OPEN, answered_probability=0.9)


def test_every_state_knows_every_signal() -> None:
    assert set(TRANSITIONS) == {(state, read) for state in get_args(CueState) for read in get_args(Signal)}
    assert set(TRANSITIONS.values()) == set(get_args(CueState))


def test_call_comes_only_from_hearing_him_stop() -> None:
    assert {state for (_, read), state in TRANSITIONS.items() if read != "open" and state == "open"} == set()


def test_a_turn_runs_wait_call_wait_listen_wait_call() -> None:
    names = [after(*[SENDING, OPEN, SENDING, ANSWERING, SENDING, OPEN][:count])[1] for count in range(1, 7)]
    assert names == ["wait", "call", "wait", "listen", "wait", "call"]


@pytest.mark.parametrize("seed", range(4))
def test_never_call_while_he_sends_or_another_is_answered(seed: int) -> None:
    rng = np.random.default_rng(seed)
    machine, calls = Machine(), 0
    for step in range(3_000):
        moment = Moment(
            time_s=0.2 * step,
            dx_sending=bool(rng.random() < 0.3),
            answered_probability=float(rng.random() ** 3),
            reply_probability=float(rng.random() ** 4),
            since_over_s=None if rng.random() < 0.05 else 30 * rng.random(),
            transmit_hz=PLACE,
            recommended_hz=PLACE + float(rng.choice([0.0, 500.0])),
            own_call_heard=float(rng.random() ** 6),
            marked=bool(rng.random() < 0.5),
        )
        machine, cued = cue(machine, moment)
        assert 0.0 <= cued.probability <= 1.0
        if cued.cue == "call":
            calls += 1
            assert not moment.dx_sending
            assert moment.answered_probability < ANSWERED
            assert moment.reply_probability < REPLY
            assert moment.recommended_hz == PLACE
    assert calls > 100


def test_a_station_once_answered_keeps_the_turn_until_he_sends_again() -> None:
    doubtful = replace(OPEN, answered_probability=0.1)
    assert after(SENDING, ANSWERING, doubtful, doubtful)[1] == "listen"
    assert after(SENDING, ANSWERING, doubtful, SENDING, doubtful)[1] == "call"


def test_a_lone_reply_silences_the_call_and_a_while_longer() -> None:
    replying = replace(OPEN, reply_probability=0.8)
    assert after(SENDING, OPEN, replying)[1] == "listen"
    assert after(SENDING, OPEN, replying, OPEN, OPEN)[1] == "listen"
    assert after(SENDING, OPEN, replying, OPEN, OPEN, OPEN, OPEN)[1] == "call"


def test_moves_while_he_sends_rather_than_later() -> None:
    off = replace(SENDING, recommended_hz=PLACE + 800.0)
    _, cued = cue(Machine(), off)
    assert cued.cue == "move"
    assert "move up 0.80 kHz" in cued.why


def test_hears_the_answer_out_before_moving_on() -> None:
    off = replace(ANSWERING, recommended_hz=PLACE - 400.0)
    assert after(SENDING, off)[1] == "listen"
    assert after(SENDING, off, replace(off, marked=True))[1] == "move"


def test_a_little_off_is_good_enough_and_voice_is_wider() -> None:
    assert after(SENDING, replace(OPEN, recommended_hz=PLACE + 90.0))[1] == "call"
    assert after(SENDING, replace(OPEN, recommended_hz=PLACE + 130.0))[1] == "move"
    assert after(SENDING, replace(OPEN, recommended_hz=PLACE + 280.0, voice=True))[1] == "call"
    assert after(SENDING, replace(OPEN, recommended_hz=PLACE + 330.0, voice=True))[1] == "move"


def test_you_when_he_sends_our_call() -> None:
    ours = replace(SENDING, own_call_heard=OWN_CALL, answered_probability=0.5)
    machine, cued = cue(Machine(), ours)
    assert cued.cue == "you"
    assert "when he stops" in cued.why
    _, cued = cue(machine, replace(ours, dx_sending=False))
    assert "now" in cued.why
    theirs = replace(SENDING, own_call_heard=0.5, answered_probability=0.9)
    assert after(theirs)[1] == "wait"


def test_silence_for_long_is_not_an_invitation() -> None:
    assert after(replace(OPEN, since_over_s=None))[1] == "listen"
    assert after(SENDING, replace(OPEN, since_over_s=26.0))[1] == "listen"


def test_without_a_place_there_is_no_call() -> None:
    assert after(SENDING, replace(OPEN, recommended_hz=None))[1] == "wait"


def test_an_unknown_transmit_frequency_is_said() -> None:
    _, cued = cue(Machine("sending"), replace(OPEN, transmit_hz=None))
    assert cued.cue == "call"
    assert "check your transmit frequency" in cued.why


def test_equal_moments_give_equal_cues() -> None:
    moments = (SENDING, OPEN, ANSWERING, SENDING)
    assert after(*moments) == after(*moments)


def test_bad_moments_are_refused() -> None:
    with pytest.raises(HearmarkError, match="probabilities go from 0 to 1"):
        cue(Machine(), replace(OPEN, answered_probability=1.2))
    with pytest.raises(HearmarkError, match="not negative"):
        cue(Machine(), replace(OPEN, since_over_s=-1.0))
