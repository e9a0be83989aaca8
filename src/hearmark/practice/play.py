"""One lesson as it goes: the people, the radio, the key, the faults. No sound, no page, no real clock."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from hearmark.errors import HearmarkError
from hearmark.events import Block, Mode
from hearmark.lessons import REACH_HZ
from hearmark.practice.band import Band, reach_hz
from hearmark.practice.desk import Desk, Found
from hearmark.practice.faults import DxOver, Fault, Press, Sends, Setting, of_over, of_press
from hearmark.practice.lesson import Lesson, modes, scenario
from hearmark.settings import CALL
from hearmark.simulate import keying, speech
from hearmark.simulate.air import Durations
from hearmark.simulate.people import Pileup
from hearmark.simulate.session import Transmission
from hearmark.simulate.spelling import words

State = Literal["running", "worked", "done", "time is up", "left"]
"""worked: the DX has confirmed, the contact is not logged yet; done: it is, or what was asked for is found."""
OWN_CALL = "Q1ME"
"""Of a learner who gives none: the letter Q begins no country's calls (Radio Regulations, Appendix 42)."""
REPORT: dict[Mode, str] = {"cw": "R 5NN TU", "usb": "roger five nine thank you", "lsb": "roger five nine thank you"}
FINDS = 3
"""So many answered stations are to be found where that is the goal."""
AFTER_S = 4.0
"""A mark counts for a reply that ended this little ago."""
HEARD_BACK_S = 2.0
"""What is in a learner's ears can be this old at most."""
OWN_VOICE, OWN_PACE_WPM = "s01", 170.0


@dataclass(frozen=True, slots=True)
class Find:
    """A mark of the learner: where he heard the lone reply. `off_hz` None: nobody was replying."""

    time_s: float
    frequency_hz: float
    right: bool
    off_hz: float | None
    call: str = ""


@dataclass(frozen=True, slots=True)
class Logged:
    """The contact as the learner wrote it down."""

    call: str
    right: bool
    receive_hz: float
    transmit_hz: float
    at_s: float


class Practice:
    """A lesson under way.

    `next_block` plays the people on and gives the samples that the antenna carries; `advance` plays them on without
    samples. The key is `press`; everything on the radio is in `desk`.
    """

    def __init__(
        self, lesson: Lesson, mode: Mode | None = None, seed: int | None = None, call: str = "", samples: bool = True
    ) -> None:
        """Raises HearmarkError for a mode that the lesson has not, or a call that is none."""
        self.mode: Mode = modes(lesson)[0] if mode is None else mode
        if self.mode not in modes(lesson):
            raise HearmarkError(f'The lesson "{lesson.title}" is in {" or ".join(modes(lesson))}, not in {self.mode}.')
        self.call = (call or OWN_CALL).strip().upper()
        if not CALL.fullmatch(self.call) or len(self.call) > 12:
            raise HearmarkError(f"{call!r} is no call sign: give letters and at least one figure, like {OWN_CALL}.")
        self.lesson = lesson
        self.seed = lesson.seed if seed is None else seed
        self.scenario = scenario(lesson, self.mode, self.seed)
        self._durations: Durations | None = None if self.mode == "cw" else speech
        self.pileup = Pileup(self.scenario, self._durations, keyed=samples and self.mode == "cw")
        self.band = Band(self.pileup) if samples else None
        here = self.scenario
        low_hz, high_hz = reach_hz(here)
        start_hz = here.dx_hz if lesson.on_him else here.dx_hz + (200.0 if self.mode == "cw" else 1000.0)
        at_hz = round((here.window_low_hz + here.window_high_hz) / 200.0) * 100.0 if lesson.split_on else start_hz
        self.desk = Desk(self.mode, Found(start_hz, at_hz, lesson.split_on), low_hz, high_hz, lesson.receivers)
        self.setting = Setting(
            self.mode, here.dx_hz, here.window_low_hz, here.window_high_hz, may_call=lesson.goal == "contact"
        )
        self.state: State = "running"
        self.overs: list[DxOver] = []
        self.presses: list[Press] = []
        self.faults: list[Fault] = []
        self.finds: list[Find] = []
        self.replies: list[Transmission] = []
        self.logged: Logged | None = None
        self.ended_s: float | None = None

    # What goes on

    @property
    def now_s(self) -> float:
        """How far the people have been played."""
        return self.pileup.now_s

    @property
    def dx_call(self) -> str:
        """The call of the DX: the truth."""
        return self.pileup.stations[0].call

    @property
    def sending(self) -> Press | None:
        """The press that is on the air now."""
        last = self.presses[-1] if self.presses else None
        return last if last is not None and self.now_s < last.stop_s else None

    @property
    def worked_at_s(self) -> float | None:
        """When the DX confirmed."""
        return self.pileup.worked_at_s

    def advance(self, until_s: float) -> list[Transmission]:
        """Play the people on; what was sent. Small steps: a press takes effect at the end of the last one."""
        fresh = self.pileup.advance(until_s)
        for sent in fresh:
            if self.band is not None:
                self.band.hear(sent)
            if sent.station == 0:
                self._dx_sends(sent)
            elif sent.role == "reply":
                self.replies = [one for one in self.replies[-20:] if one.start_s != sent.start_s] + [sent]
        self._look_at_clock()
        return fresh

    def next_block(self) -> Block:
        """Play the people on as far as needed, and the samples of the next moment (80 ms)."""
        if self.band is None:
            raise HearmarkError("This lesson was begun without samples.")
        self.advance(max(self.band.needs_s, self.now_s))
        return self.band.block()

    def _dx_sends(self, sent: Transmission) -> None:
        if any(over.start_s == sent.start_s for over in self.overs[-3:]):
            return
        ours = self.pileup.answering == self.call
        if sent.role == "confirm":
            ours = self.worked_at_s is not None and abs(self.worked_at_s - sent.start_s) < 0.5
        over = DxOver(sent.start_s, sent.stop_s, sent.role, ours, sent.text, self.pileup.asked_for is not None)
        if self.state == "running":
            self.faults += of_over(
                self.setting, over, self.presses[-1] if self.presses else None, self.overs, self.desk.receive_hz
            )
        self.overs.append(over)

    def _look_at_clock(self) -> None:
        if self.state != "running":
            return
        if self.worked_at_s is not None:
            self.state, self.ended_s = "worked", self.worked_at_s
        elif self.now_s >= self.scenario.duration_s:
            self.state, self.ended_s = "time is up", self.scenario.duration_s

    # What the learner does

    def press(self, what: Sends, heard_s: float | None = None) -> Press:
        """The key: stands for sending our call, or the report. `heard_s`: the time of the stream in the learner's ears.

        Raises HearmarkError while a press is on the air and when the lesson is over.
        """
        if self.state != "running":
            raise HearmarkError("The lesson is over: there is nobody left to call.")
        if self.sending is not None:
            raise HearmarkError("You are sending already: wait until it is out.")
        start_s = self.now_s + 0.01
        stop_s = start_s + self.length_s(what)
        heard_s = self.now_s if heard_s is None else min(max(heard_s, self.now_s - HEARD_BACK_S), self.now_s)
        dials = self.desk.dials
        if self.desk.peeking:
            dials = replace(dials, dial_hz=self.desk.receive_hz, rit_hz=0.0)
        press = Press(what, heard_s, start_s, stop_s, dials)
        before = self.presses[-1] if self.presses else None
        self.faults += of_press(self.setting, press, before, self.overs)
        self.presses.append(press)
        transmit_hz = self.desk.transmit_hz
        if what == "call":
            self.pileup.call(start_s, transmit_hz, self.lesson.own_snr_db, self.call, stop_s)
        elif any(one.what == "call" for one in self.presses):
            self.pileup.reply(start_s, stop_s, transmit_hz)
        return press

    def text_of(self, what: Sends) -> str:
        """What a press stands for."""
        if what == "report":
            return REPORT[self.mode]
        return self.call if self.mode == "cw" else " ".join(words(self.call))

    def length_s(self, what: Sends) -> float:
        """How long a press is on the air."""
        if self.mode == "cw":
            return keying.length_s(self.text_of(what), self.pileup.stations[0].speed_wpm)
        return speech.speech_s(self.text_of(what), OWN_VOICE)

    def mark(self, heard_s: float | None = None, frequency_hz: float | None = None) -> Find:
        """The learner says: here the answered station replies. Without a frequency, where the transmit dial stands."""
        heard_s = self.now_s if heard_s is None else heard_s
        hz = float(self.desk.dials.other_hz or 0.0) if frequency_hz is None else frequency_hz
        reply = next((one for one in reversed(self.replies) if one.start_s <= heard_s), None)
        if reply is None or heard_s > reply.stop_s + AFTER_S:
            find = Find(heard_s, hz, False, None)
        else:
            off_hz = hz - reply.frequency_hz
            near = abs(off_hz) <= REACH_HZ["cw" if self.mode == "cw" else "voice"]
            find = Find(heard_s, hz, near, off_hz, self.pileup.stations[reply.station].call)
        self.finds.append(find)
        if self.lesson.goal == "answered" and len(self.found) >= FINDS and self.state == "running":
            self.state, self.ended_s = "done", heard_s
        return find

    @property
    def found(self) -> set[str]:
        """Calls of the answered stations that were found."""
        return {find.call for find in self.finds if find.right}

    def log(self, call: str) -> Logged:
        """Write the contact down, with the call of the DX as the learner copied it."""
        if self.state != "worked":
            raise HearmarkError("There is no contact to log: he has not confirmed one with you.")
        call = call.strip().upper()
        if not call:
            raise HearmarkError("Type the call of the DX as you heard it, then log.")
        dials = self.desk.dials
        at_s = self.worked_at_s if self.worked_at_s is not None else self.now_s
        own = next((one for one in reversed(self.presses)), None)
        sent_hz = float((own.dials if own else dials).transmit_hz or 0.0)
        self.logged = Logged(call, call == self.dx_call, float(dials.receive_hz or 0.0), sent_hz, at_s)
        self.state = "done"
        return self.logged

    def leave(self) -> None:
        """The learner ends the lesson."""
        if self.state in ("running", "worked"):
            self.state = "left" if self.state == "running" else "done"
            self.ended_s = self.ended_s if self.ended_s is not None else self.now_s
