"""The mark on whom he answered, in voice, where nobody's words are read.

The belief in places and the state of the exchange are all there is. So a mark is made, and moved, while a reply is due
(or, if the belief is strong, while he still answers), and it is left alone while he sends. It stands when he listens to
all again or turns to all. If he then still waits for a reply from the same place, it goes on under its id; from another
place it is a new mark. Its confidence is the belief in the place while the reply was due.

Three seconds later every reply is looked back at: who then went on over the DX was not the answered one. What is
believed by then confirms the mark, moves it, makes it doubtful, or makes one where there was none.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from hearmark.events import Answer, Mode, Over, Turn
from hearmark.modes.network import Array
from hearmark.pileup.exchange import CHANGE, EARLY, OPEN_STEPS, SHOW, Exchange, Mark
from hearmark.pileup.look import ANSWERS, CALLS, DUE, LATE_STEPS, OPEN, STEP_S

SHARPNESS = 0.72
"""The finder spreads its belief over neighbouring dials: its share of the five around a place, to this power, is the
confidence. Fitted to how often such a place was right at a true reply's end (development seeds)."""
GUESS = 0.45
"""Confidence of a mark, at most, while he has only asked for the rest of a call."""
LEAD = 0.1
"""Belief by which another place must lead before the mark goes there."""
HELD_STEPS = 12
"""A mark stands if a reply was due for this long while it was held; its confidence is a mean over as many steps."""
TURNED_S = 0.6
LATE_SHOW = 0.45
"""Belief, looking back, from which a reply that had no mark gets one."""
LATE_SHARPNESS = 0.82
WORTH = (-0.37, 1.15)
"""What the belief is worth as a confidence, looking back: its log odds times the second, plus the first. Fitted to 1421
marks of 146 hard recordings, of which the other constants here had seen fifty."""
LATE_MEAN_STEPS = 12
_PAST_STEPS = 6
"""A reply that was not due for so long is over; one that was due for less was none."""
_MOVED_HZ = 40.0
_VAIN_S = 1.3


@dataclass(slots=True)
class _Held(Mark):
    """A mark in the making: mean belief, steps while a reply was due, and when that was last so."""

    mean: float = 0.0
    due: int = 0
    due_s: float = 0.0
    begun_s: float = 0.0
    checked: float | None = None
    """Confidence since it was looked back at."""
    refused: bool = False
    """The operator took it back."""


@dataclass(slots=True)
class _Reply:
    """A time in which a reply was due, looked back at: the mean belief in each place."""

    start_s: float
    last_s: float
    steps: int
    report: float
    turn: int | None
    place: Array


class VoiceExchange(Exchange):
    """As `Exchange`, for voice."""

    def __init__(self, frequency_hz: npt.NDArray[np.float64], dx_hz: float, mode: Mode) -> None:
        super().__init__(frequency_hz, dx_hz, mode)
        self._held: _Held | None = None
        self._last: _Held | None = None
        self._past: deque[tuple[float, bool, float, int | None]] = deque()
        self._reply: _Reply | None = None
        self._recent: list[_Held] = []

    def break_off(self, time_s: float) -> list[Over | Turn | Answer]:
        """As of `Exchange`."""
        self._past.clear()
        self._reply = None
        return super().break_off(time_s)

    def take_back(self, answer: int, time_s: float) -> list[Over | Turn | Answer]:
        """As of `Exchange`."""
        for held in self._recent:
            held.refused = held.refused or held.answer.id == answer
        return super().take_back(answer, time_s)

    def _marks(self, place: Array, time_s: float, now_s: float) -> list[Over | Turn | Answer]:
        near = np.convolve(place[:-1], self._beside, "same") ** SHARPNESS
        best = int(near.argmax())
        belief, due = float(near[best]), float(self.state[DUE]) > 0.5
        sends = self.over is not None
        self._past.append((time_s, due and not sends, self._report, self.turn.id if self.turn else None))
        self._open_steps = self._open_steps + 1 if not sends and self.state[OPEN] > 0.6 else 0
        if self._mark is None:
            self._held = None  # closed by a gap, or taken back by hand
        if self._open_steps >= OPEN_STEPS:
            self._last = None
        if self._held is None:
            return self._begun(best, belief, time_s, now_s)
        held = self._held
        turned = self.over is not None and self.state[CALLS] > 0.7 and time_s - self.over.start_s > TURNED_S
        if turned or self._open_steps >= OPEN_STEPS:
            return self._closed(held, time_s, now_s)
        if sends or not due:
            return []
        here = float(near[max(0, held.stream - self._reach) : held.stream + self._reach + 1].max())
        if abs(best - held.stream) <= self._reach:
            held.stream = best
        elif belief > max(here + LEAD, SHOW):
            self._held = held = _Held(replace(held.answer, confidence=0.0), best, mean=belief, begun_s=held.begun_s)
            self._mark, here = held, belief
            self._remember(held)
        held.due, held.due_s = held.due + 1, time_s
        held.mean += (here - held.mean) / HELD_STEPS
        return self._told(held, time_s, now_s)

    def _looked_back(self, late: Array, time_s: float, now_s: float) -> list[Over | Turn | Answer]:
        if len(self._past) <= LATE_STEPS:
            return []
        then_s, due, report, turn = self._past.popleft()
        reply = self._reply
        if due:
            place = late[:-1]
            if reply is None:
                self._reply = _Reply(then_s, then_s, 1, report, turn, place)
            else:
                reply.steps, reply.last_s = reply.steps + 1, then_s
                share = 1.0 / min(reply.steps, LATE_MEAN_STEPS)
                reply.place = reply.place + share * (place - reply.place)
                reply.report += share * (report - reply.report)
            return []
        if reply is None or then_s - reply.last_s < _PAST_STEPS * STEP_S:
            return []
        self._reply = None
        return self._judged(reply, now_s) if reply.steps >= HELD_STEPS else []

    def _judged(self, reply: _Reply, now_s: float) -> list[Over | Turn | Answer]:
        """A reply is over and was looked back at."""
        near = np.convolve(reply.place, self._beside, "same") ** LATE_SHARPNESS
        best = int(near.argmax())
        belief, frequency_hz = float(near[best]), self._middle_hz(reply.place, best)
        met = [h for h in self._recent if h.begun_s <= reply.last_s and h.due_s >= reply.start_s]
        if not met:
            if belief < LATE_SHOW or reply.report < 0.5:
                return []
            begun, ended = self.memory.sending(best, reply.start_s, reply.last_s)
            start_s = reply.start_s + 0.4 if begun is None else begun
            return [
                Answer(
                    self._take("answer"), start_s, ended or reply.last_s, now_s, frequency_hz, _worth(belief),
                    turn=reply.turn,
                )
            ]  # fmt: skip
        held = met[-1]
        if held.refused:
            return []
        here = float(near[max(0, held.stream - self._reach) : held.stream + self._reach + 1].max())
        if abs(best - held.stream) > self._reach:
            held.stream, here = best, belief
            held.answer = replace(held.answer, frequency_hz=frequency_hz)
        held.checked = _worth(here)
        if not held.reported and reply.report < 0.5:
            held.checked = min(held.checked, GUESS)
        held.answer = replace(held.answer, marked_at_s=now_s, confidence=held.checked)
        return [held.answer]

    def _middle_hz(self, place: Array, stream: int) -> float:
        """Where the belief about a stream has its middle."""
        low, high = max(0, stream - self._reach), stream + self._reach + 1
        weight = place[low:high] + 1e-6
        return float(np.sum(weight * self._frequency_hz[low:high]) / weight.sum())

    def _remember(self, held: _Held) -> None:
        self._recent = [*[h for h in self._recent if h.answer.id != held.answer.id][-5:], held]

    def _begun(self, best: int, belief: float, time_s: float, now_s: float) -> list[Over | Turn | Answer]:
        again = abs(best - self._candidate) <= self._reach
        due = self.state[ANSWERS] > 0.5 if self.over is not None else self.state[DUE] > 0.5
        enough = bool(due) and belief >= (EARLY if self.over is not None else SHOW)
        self._candidate = best if enough else -1
        if not enough or not again:
            return []
        last = self._last
        if last is not None and abs(best - last.stream) <= self._reach:
            self._held = last
        else:
            answer = Answer(
                self._take("answer"), time_s, None, now_s, float(self._frequency_hz[best]), 0.0,
                turn=self.turn.id if self.turn else None,
            )  # fmt: skip
            self._held = _Held(answer, best, mean=belief, begun_s=time_s)
            self._remember(self._held)
        self._mark = self._held
        return self._told(self._held, time_s, now_s)

    def _closed(self, held: _Held, time_s: float, now_s: float) -> list[Over | Turn | Answer]:
        """He has turned to all: the mark stands, or is taken back if no reply was due after all."""
        if held.due < HELD_STEPS:
            if time_s - held.answer.marked_at_s < _VAIN_S and self._open_steps < OPEN_STEPS:
                return []
            self._held = self._mark = None
            self._recent = [h for h in self._recent if h is not held]
            return [replace(held.answer, marked_at_s=now_s, confidence=0.3, retracted_at_s=now_s)]
        self._held = self._mark = None
        self._last = held
        stop_s = max(held.answer.stop_s or 0.0, held.due_s + STEP_S)
        held.answer = replace(held.answer, stop_s=stop_s, marked_at_s=now_s)
        return [held.answer]

    def _report_comes(self, stream: int, since_s: float) -> bool:
        return self._report > 0.5 and float(self.state[DUE]) > 0.5

    def _where(self, mark: Mark, start_s: float, time_s: float) -> float:
        place = self.memory.places(mark.answer.marked_at_s - 0.5, time_s)
        return self._middle_hz(place.mean(axis=0), mark.stream)

    def _call(self, mark: Mark) -> str | None:
        return None

    def _told(self, held: _Held, time_s: float, now_s: float) -> list[Over | Turn | Answer]:
        """The mark as it stands now, if that is news."""
        confidence = min(0.99, held.mean) if held.checked is None else held.checked
        described = self._described(held, time_s, now_s)
        if not held.reported and self._report < 0.5:
            confidence = min(confidence, GUESS)
        old, new = held.answer, replace(described, confidence=confidence)
        news = abs(new.frequency_hz - old.frequency_hz) > _MOVED_HZ or new.stop_s != old.stop_s
        if not news and abs(new.start_s - old.start_s) <= 0.2 and abs(confidence - old.confidence) <= CHANGE / 2:
            return []
        held.answer = new
        return [new]


def _worth(belief: float) -> float:
    """Probability that a mark with this belief is right."""
    limited = min(max(belief, 1e-3), 1.0 - 1e-3)
    odds = math.exp(WORTH[0] + WORTH[1] * math.log(limited / (1.0 - limited)))
    return min(0.99, odds / (1.0 + odds))
