"""What to do this second: wait, call, move, listen, or "you".

A pure state machine. What is heard in a moment is read as one signal; `TRANSITIONS` gives the next state for each state
and signal; the cue follows from the state and from whether our transmit frequency stands where it should.

| state | meaning | cue |
| --- | --- | --- |
| idle | nothing heard from him of late | listen |
| sending | he sends | wait; move when our spot is off |
| answering | he answered somebody else: until he sends again | listen; move once that answer is marked |
| reply | somebody replies alone, though we did not hear him answered | listen |
| open | he stopped and asks for calls | call; move when our spot is off |
| mine | he sent our call | you |

"call" comes from the state `open` alone, and that state is left by the very signal that he sends or that another is
being answered.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from hearmark.errors import HearmarkError
from hearmark.events import Cue

CueState = Literal["idle", "sending", "answering", "reply", "open", "mine"]
Signal = Literal["mine", "sending", "answered", "reply", "open", "stale"]

OWN_CALL = 0.5
ANSWERED = 0.4
"""Above this somebody else counts as answered: a call on top of a reply is worse than a call left out."""
REPLY = 0.4
REPLY_OVER_S = 1.5
"""A lone reply counts as over when nothing was heard of it for this long."""
STALE_S = 25.0
"""He has been silent for this long: he may be gone, or we do not hear him."""
ANSWERING_S = 40.0
"""An answered station that nobody closed is forgotten after this long."""
OFF_SPOT_HZ = {"cw": 100.0, "voice": 300.0}
"""Nearer than this to the place it is the same place: a receiver's filter passes both, and nobody is sent on for it."""

TRANSITIONS: dict[tuple[CueState, Signal], CueState] = {
    ("idle", "mine"): "mine",
    ("idle", "sending"): "sending",
    ("idle", "answered"): "answering",
    ("idle", "reply"): "reply",
    ("idle", "open"): "open",
    ("idle", "stale"): "idle",
    ("sending", "mine"): "mine",
    ("sending", "sending"): "sending",
    ("sending", "answered"): "answering",
    ("sending", "reply"): "reply",
    ("sending", "open"): "open",
    ("sending", "stale"): "idle",
    ("answering", "mine"): "mine",
    ("answering", "sending"): "sending",
    ("answering", "answered"): "answering",
    ("answering", "reply"): "answering",
    ("answering", "open"): "answering",
    ("answering", "stale"): "idle",
    ("reply", "mine"): "mine",
    ("reply", "sending"): "sending",
    ("reply", "answered"): "answering",
    ("reply", "reply"): "reply",
    ("reply", "open"): "open",
    ("reply", "stale"): "idle",
    ("open", "mine"): "mine",
    ("open", "sending"): "sending",
    ("open", "answered"): "answering",
    ("open", "reply"): "reply",
    ("open", "open"): "open",
    ("open", "stale"): "idle",
    ("mine", "mine"): "mine",
    ("mine", "sending"): "sending",
    ("mine", "answered"): "answering",
    ("mine", "reply"): "reply",
    ("mine", "open"): "open",
    ("mine", "stale"): "idle",
}


@dataclass(frozen=True, slots=True)
class Moment:
    """What is heard now. Probabilities 0 to 1.

    `dx_sending`; `answered_probability`: his last (or running) over was to another station; `reply_probability`:
    another station is replying to him now; `since_over_s`: since his last over ended, None if none was heard;
    `own_call_heard`: his last (or running) over was to us, `own_why`: how that shows; `marked`: the answer of this
    exchange is on the record; `transmit_hz`, `recommended_hz`: where we stand and where we should, None if not known.
    """

    time_s: float
    dx_sending: bool
    answered_probability: float
    reply_probability: float
    since_over_s: float | None
    transmit_hz: float | None
    recommended_hz: float | None
    own_call_heard: float = 0.0
    marked: bool = False
    voice: bool = False
    own_why: str = ""


@dataclass(frozen=True, slots=True)
class Machine:
    """State of the cue: since when it holds, and when a reply was last heard."""

    state: CueState = "idle"
    since_s: float = 0.0
    reply_heard_s: float | None = None


@dataclass(frozen=True, slots=True)
class Cued:
    """The cue, why, and the probability that it is right."""

    cue: Cue
    why: str
    probability: float


def signal(machine: Machine, moment: Moment) -> Signal:
    """Read a moment as one signal. Of several the most cautious counts."""
    if moment.own_call_heard >= OWN_CALL and moment.own_call_heard >= moment.answered_probability:
        return "mine"
    if moment.dx_sending:
        return "sending"
    if moment.reply_probability >= REPLY:
        return "answered" if moment.answered_probability >= ANSWERED else "reply"
    silent_s = moment.since_over_s
    if silent_s is None or silent_s > (ANSWERING_S if machine.state == "answering" else STALE_S):
        return "stale"
    if moment.answered_probability >= ANSWERED:
        return "answered"
    heard_s = machine.reply_heard_s
    if machine.state == "reply" and heard_s is not None and moment.time_s - heard_s < REPLY_OVER_S:
        return "reply"
    return "open"


def cue(machine: Machine, moment: Moment) -> tuple[Machine, Cued]:
    """One step. Raises HearmarkError for a probability outside 0 to 1 or a negative time since his over."""
    chances = (moment.answered_probability, moment.reply_probability, moment.own_call_heard)
    if not all(0.0 <= chance <= 1.0 for chance in chances) or (moment.since_over_s or 0.0) < 0.0:
        raise HearmarkError(
            f"A moment with probabilities {chances} and {moment.since_over_s} s since his over cannot be used: "
            "probabilities go from 0 to 1 and that time is not negative."
        )
    state = TRANSITIONS[machine.state, signal(machine, moment)]
    heard_s = moment.time_s if moment.reply_probability >= REPLY else machine.reply_heard_s
    since_s = machine.since_s if state == machine.state else moment.time_s
    return Machine(state, since_s, heard_s), _cued(state, moment)


def off_spot_hz(moment: Moment) -> float | None:
    """How far we must move, in hertz, signed; None when we stand well or one of the two is not known."""
    if moment.recommended_hz is None or moment.transmit_hz is None:
        return None
    off_hz = moment.recommended_hz - moment.transmit_hz
    return off_hz if abs(off_hz) > OFF_SPOT_HZ["voice" if moment.voice else "cw"] else None


def _cued(state: CueState, moment: Moment) -> Cued:
    off_hz = off_spot_hz(moment)
    move = "" if off_hz is None else f"move {'up' if off_hz > 0 else 'down'} {abs(off_hz) / 1000.0:.2f} kHz"
    other = max(moment.answered_probability, moment.reply_probability)
    if state == "mine":
        when = "answer when he stops" if moment.dx_sending else "answer him now"
        return Cued("you", f"{moment.own_why or 'he sent your call'}: {when}", moment.own_call_heard)
    if state == "sending":
        return Cued("move", f"he is sending: {move} meanwhile", 1.0) if move else Cued("wait", "he is sending", 1.0)
    if state in ("answering", "reply"):
        if move and moment.marked:
            return Cued("move", f"another station is being answered and is marked: {move}", max(other, 0.5))
        return Cued("listen", "another station is being answered: hear where", max(other, 0.5))
    if state == "idle":
        return Cued("listen", "nothing heard from him of late", 1.0)
    if moment.recommended_hz is None:
        return Cued("wait", "he listens, but there is no place to call", 1.0 - other)
    if move:
        return Cued("move", f"he listens: {move}, then call", 1.0 - other)
    unknown = moment.transmit_hz is None
    where = "; where you send is not known here: check your transmit frequency" if unknown else ""
    return Cued("call", f"he listens{where}", (1.0 - moment.answered_probability) * (1.0 - moment.reply_probability))
