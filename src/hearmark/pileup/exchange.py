"""From looks to facts: overs of the DX, turns between them, and the mark on whom he answered (voice: `voiced`).

States and what moves between them, each step of 32 ms:

    no mark --(a place holds SHOW of the belief, two steps in a row)--> mark
    mark    --(another place takes over)--> mark, moved: same id, other frequency
    mark    --(nobody holds most of it, while a reply is due)--> doubtful: confidence below a half, same id
    doubtful --(the place holds the belief again)--> mark
    doubtful --(the DX turns to all, or nothing comes for long)--> no mark; taken back
    mark    --(the DX turns to all)--> no mark; the mark stands

An over begins when the DX most likely sends and ends when he most likely does not; its edges are then set to
where his level rose and fell.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from hearmark.events import Answer, Mode, Over, OverKind, Turn
from hearmark.modes.alphabet import text_of
from hearmark.pileup.calls import has_report, last_call
from hearmark.pileup.look import ANSWERS, CALLS, DUE, OPEN, STEP_S, Look
from hearmark.pileup.place import MORSE_EDGES, VOICE_EDGES, Memory, refined_hz
from hearmark.pileup.tone import Tone

SHOW, EARLY = 0.55, 0.75
"""Belief in one place from which it is put on the record: once he has stopped, and while he still sends."""
BOLDER = 1.7
"""In Morse the finder's belief says too little: its odds, to this power, are a mark's confidence. Fitted to how often
205 marks were right (development seeds 1000 on, easy to brutal); what holds a half still does."""
OPEN_STEPS = 8
"""He listens to all for this many steps: the exchange before is over."""
LOST_STEPS = 10
GIVE_UP_STEPS = 400
"""A mark of which nothing is left for so long is taken back even if he never closes the contact."""
CHANGE = 0.1
_BEGIN, _END = 0.6, 0.4
_MOVED_HZ = 12.0
KEPT_ANSWERS = 400
"""So many marks can be taken back, the latest."""
QUIET_STEPS = 3
"""Steps of probable silence that end an over."""
REJOIN_S = 0.75
"""A pause shorter than this was a pause inside an over: the over goes on under its id."""


@dataclass(slots=True)
class Mark:
    """A mark in the making."""

    answer: Answer
    stream: int
    total: float = 0.0
    steps: int = 0
    best: float = 0.0
    lost: int = 0
    heard: bool = False
    reported: bool = False


class Exchange:
    """Feed looks in order; `feed` returns the events that are new or changed."""

    def __init__(self, frequency_hz: npt.NDArray[np.float64], dx_hz: float, mode: Mode) -> None:
        self._frequency_hz, self._dx_hz, self._mode = frequency_hz, dx_hz, mode
        self._reach = 1 if mode == "cw" else 2
        self._beside = np.ones(2 * self._reach + 1, np.float32)
        self._next = {"over": 1, "turn": 1, "answer": 1}
        self._edges = MORSE_EDGES if mode == "cw" else VOICE_EDGES
        self.memory = Memory(len(frequency_hz), self._edges)
        self.over: Over | None = None
        self.turn: Turn | None = None
        self.state = np.array([1.0, 0.0, 0.0, 0.0])
        self._report = 1.0
        self._mark: Mark | None = None
        self._candidate = -1
        self._quiet = 0
        self._spent = False
        self._open_steps = 0
        self._kinds: deque[float] = deque(maxlen=64)
        self._tone = Tone(dx_hz) if mode == "cw" else None
        self.covered = False
        """Somebody else sends on his frequency, and may cover him."""
        self._last_over: Over | None = None
        self._turn_streams = np.zeros(len(frequency_hz), bool)
        self._given: dict[int, Answer] = {}

    @property
    def marked(self) -> Answer | None:
        """The mark in the making, if any."""
        return self._mark.answer if self._mark else None

    @property
    def last_over(self) -> Over | None:
        """The newest over that has ended."""
        return self._last_over

    def _keep(self, answer: Answer) -> None:
        self._given[answer.id] = answer
        while len(self._given) > KEPT_ANSWERS:
            del self._given[next(iter(self._given))]

    def take_back(self, answer: int, time_s: float) -> list[Over | Turn | Answer]:
        """The operator takes a mark back; nothing if there is no such mark."""
        known = self._given.get(answer)
        if known is None:
            return []
        if self._mark is not None and self._mark.answer.id == answer:
            self._mark = None
        return [replace(known, retracted_at_s=time_s)]

    def by_hand(self, frequency_hz: float, time_s: float) -> list[Over | Turn | Answer]:
        """The operator marks an answer himself."""
        answer = Answer(
            self._take("answer"), time_s, None, time_s, frequency_hz, 1.0,
            turn=self.turn.id if self.turn else None, by="operator",
        )  # fmt: skip
        self._keep(answer)
        return [answer]

    def break_off(self, time_s: float) -> list[Over | Turn | Answer]:
        """A gap or the end of the stream: close what is open."""
        out: list[Over | Turn | Answer] = []
        if self._mark is not None:
            out.append(replace(self._mark.answer, stop_s=self._mark.answer.stop_s or time_s))
            self._mark = None
        if self.over is not None:
            self._last_over = replace(self.over, stop_s=time_s)
            out.append(self._last_over)
            self.over = None
        if self.turn is not None:
            out.append(replace(self.turn, stop_s=time_s))
            self.turn = None
        return out

    def feed(self, look: Look, start_s: float, now_s: float) -> list[Over | Turn | Answer]:
        """`start_s`: sample time at which the first step's window begins; `now_s`: the sample time reached."""
        out: list[Over | Turn | Answer] = []
        for k in range(len(look.place)):
            time_s = start_s + k * STEP_S
            symbols = look.symbols[k] if look.symbols is not None else None
            self.memory.add(time_s, look.active[k], look.dx_level[k], look.place[k], symbols)
            self.state = look.state[k].astype(np.float64)
            self._report = float(look.report[k]) if look.report is not None else 1.0
            spectrum = self.memory.spectrum(len(look.place) - 1 - k)
            if self._tone is not None and spectrum is not None:
                self._listened(self._tone, *spectrum)
            out += self._overs(time_s)
            out += self._marks(look.place[k], time_s, now_s)
            if look.late is not None:
                out += self._looked_back(look.late[k], time_s, now_s)
        for made in out:
            if isinstance(made, Answer):
                self._keep(made)
        return out

    def _listened(self, tone: Tone, frequency_hz: npt.NDArray[np.float64], row: npt.NDArray[np.float32]) -> None:
        """Is it he who sends on his frequency? If not, nothing is known of him but that he listens."""
        tone.add(frequency_hz, row)
        sends = float(self.state[CALLS] + self.state[ANSWERS])
        self.covered = False
        if sends > 0.5:
            tone.sends()
        beside = tone.stranger
        if not beside:
            return
        self.covered = sends > 0.5
        self.memory.not_his(beside)
        if self.over is not None:
            for _ in range(min(beside, len(self._kinds) - 1)):
                self._kinds.pop()
            answered = self._answers() > 0.5
        else:
            answered = self._last_over is not None and self._last_over.kind == "answer"
        self.state[DUE if answered else OPEN] += sends
        self.state[CALLS] = self.state[ANSWERS] = 0.0

    def _answers(self) -> float:
        """Probability that the running over answers somebody: of its newest quarter of a second."""
        return float(np.mean(list(self._kinds)[-8:]))

    def _overs(self, time_s: float) -> list[Over | Turn | Answer]:
        out: list[Over | Turn | Answer] = []
        sends = float(self.state[CALLS] + self.state[ANSWERS])
        if self.over is None:
            self._turn_streams |= self.memory.active_now
            last = self._last_over
            if sends > _BEGIN:
                begin = self.memory.dx_rise(time_s, last.stop_s if last else None)
                if last is not None and last.stop_s is not None and begin - last.stop_s < REJOIN_S:
                    self.over = replace(last, stop_s=None)
                    if self.turn is not None:  # there was none
                        out.append(replace(self.turn, stop_s=self.turn.start_s))
                        self.turn = None
                    out.append(self.over)
                    return out
                if self.turn is not None:
                    out.append(replace(self.turn, stop_s=max(begin, self.turn.start_s), callers=self._callers()))
                    self.turn = None
                self.over = Over(self._take("over"), begin, None, self._dx_hz)
                self._kinds.clear()
                self._kinds.append(self._addressed())
                out.append(self.over)
        else:
            if sends > 0.5:
                self._kinds.append(self._addressed())
            self._quiet = self._quiet + 1 if sends < _END else 0
            if self._quiet >= QUIET_STEPS:
                self._quiet = 0
                stop = self.memory.dx_fall(time_s, self.over.start_s)
                if stop - self.over.start_s < self._edges.shortest_s:
                    return [*out, *self._blip(self.over, stop)]
                text = text_of(self.memory.symbols(self.over.start_s - 0.1, time_s, -1))
                answers = self._answers()
                if self._tone is not None:
                    self._tone.stops()
                kind: OverKind = "answer" if answers > 0.5 else "call"
                self._last_over = replace(
                    self.over, stop_s=stop, text=text, kind=kind, kind_probability=max(answers, 1 - answers)
                )
                self.over = None
                out.append(self._last_over)
                self.turn = Turn(self._take("turn"), stop, None, self._last_over.id)
                self._turn_streams[:] = False
                out.append(self.turn)
        return out

    def _blip(self, over: Over, stop_s: float) -> list[Over | Turn | Answer]:
        """That was no over: it is given with no length, and the turn goes on as a new one."""
        out: list[Over | Turn | Answer] = [replace(over, stop_s=over.start_s)]
        self.over = None
        if self._last_over is not None:
            self.turn = Turn(self._take("turn"), stop_s, None, self._last_over.id)
            out.append(self.turn)
        return out

    def _addressed(self) -> float:
        sends = float(self.state[CALLS] + self.state[ANSWERS])
        return float(self.state[ANSWERS]) / max(sends, 1e-6)

    def _callers(self) -> int:
        """Runs of neighbouring streams in which somebody was heard."""
        heard = np.concatenate([[False], self._turn_streams])
        return int(np.count_nonzero(heard[1:] & ~heard[:-1]))

    def _marks(self, place: npt.NDArray[np.float32], time_s: float, now_s: float) -> list[Over | Turn | Answer]:
        near = np.convolve(place[:-1], self._beside, "same")
        best = int(near.argmax())
        belief = float(near[best])
        self._open_steps = self._open_steps + 1 if self.over is None and self.state[OPEN] > 0.6 else 0
        if self._spent:
            self._spent = float(place[-1]) < 0.5 and self._open_steps < OPEN_STEPS
        if self._mark is None:
            return self._begun(best, belief, time_s, now_s)
        mark = self._mark
        turned = self.over is not None and self.state[CALLS] > 0.7 and self._since_over(time_s) > 0.6
        if turned or (self._open_steps >= OPEN_STEPS and mark.steps > OPEN_STEPS):
            # he has closed that contact
            return [self._taken_back(mark, now_s) if mark.lost > LOST_STEPS else self._stands(mark, now_s)]
        held = float(near[max(0, mark.stream - self._reach) : mark.stream + self._reach + 1].max())
        if abs(best - mark.stream) <= self._reach:
            mark.stream = best
        elif belief > max(held + 0.2, SHOW) and self.over is None and not (mark.heard and belief < EARLY):
            mark.stream, mark.total, mark.steps, mark.best, mark.heard, mark.reported = best, 0.0, 0, 0.0, False, False
            held = belief
            mark.answer = replace(mark.answer, confidence=0.0, call=None)
        mark.total += held
        mark.steps += 1
        mark.best = max(mark.best, held)
        nobody = float(place[-1]) > 0.5
        mark.lost = mark.lost + 1 if nobody or held < 0.25 else 0
        if mark.lost == LOST_STEPS:
            if float(self.state[DUE] + self.state[ANSWERS]) < 0.5 and mark.heard:
                return [self._stands(mark, now_s)]
            mark.answer = replace(mark.answer, marked_at_s=now_s, confidence=min(mark.answer.confidence, 0.45))
            return [mark.answer]  # doubtful until the exchange goes on
        if mark.lost > LOST_STEPS:
            return [self._taken_back(mark, now_s)] if mark.lost > GIVE_UP_STEPS else []
        described = self._described(mark, time_s, now_s)
        moved = abs(described.frequency_hz - mark.answer.frequency_hz) > _MOVED_HZ
        moved &= mark.heard or mark.answer.confidence == 0.0
        other = described.call != mark.answer.call or described.stop_s != mark.answer.stop_s
        other |= abs(described.start_s - mark.answer.start_s) > 0.2 and mark.heard
        if mark.lost == 0 and (moved or other or abs(described.confidence - mark.answer.confidence) > CHANGE):
            mark.answer = described
            return [described]
        return []

    def _looked_back(self, late: npt.NDArray[np.float32], time_s: float, now_s: float) -> list[Over | Turn | Answer]:
        """What is believed now of a while ago; see `Look.late`."""
        return []

    def _begun(self, best: int, belief: float, time_s: float, now_s: float) -> list[Over | Turn | Answer]:
        """Is there enough for a new mark?"""
        again = abs(best - self._candidate) <= self._reach
        enough = belief >= (EARLY if self.over is not None else SHOW)
        self._candidate = best if enough else -1
        if not enough or not again or self._spent or not self._reported(best, time_s):
            return []
        answer = Answer(
            self._take("answer"), time_s, None, now_s, float(self._frequency_hz[best]), min(belief, 0.99),
            turn=self.turn.id if self.turn else None,
        )  # fmt: skip
        self._mark = Mark(answer, best, belief, 1, belief)
        self._mark.answer = self._described(self._mark, time_s, now_s)
        return [self._mark.answer]

    def _reported(self, stream: int, time_s: float) -> bool:
        """Has he given a report in this over, or does one stand on the stream?"""
        over = self.over or self._last_over
        if over is None:
            return False
        said = text_of(self.memory.symbols(over.start_s - 0.1, None, -1))
        if has_report(said):
            return True
        if self.over is None and not said and over.stop_s is not None and over.stop_s - over.start_s > 2.0:
            return True  # a DX whom nobody can read cannot be asked
        return self._on_stream(stream, time_s - 4.0)

    def _report_comes(self, stream: int, since_s: float) -> bool:
        """Is what is sent on this stream since then a report, not the rest of a call?"""
        return self._on_stream(stream, since_s)

    def _on_stream(self, stream: int, since_s: float) -> bool:
        """Does a report stand in the text of this stream or beside it since then?"""
        return any(
            has_report(text_of(self.memory.symbols(since_s, None, k)))
            for k in range(max(0, stream - 1), min(len(self._frequency_hz), stream + 2))
        )

    def _described(self, mark: Mark, time_s: float, now_s: float) -> Answer:
        """The mark as it stands now: since when it sends, exactly where, which call."""
        start, stop = mark.answer.start_s, mark.answer.stop_s
        last = self._last_over
        if self.over is not None and not mark.heard:
            start = time_s  # he still sends: the reply is to come
        elif last is not None and last.stop_s is not None and self.over is None:
            begun, ended = self.memory.sending(mark.stream, last.stop_s, time_s)
            first = not mark.heard or (begun is not None and begun > start + 0.3 and not mark.reported)
            if begun is not None and (first or begun <= start + 0.3):
                start, stop, mark.heard = begun, ended, True
                mark.reported = mark.reported or self._report_comes(mark.stream, begun)
            elif not mark.heard:
                start = min(last.stop_s + 0.4, time_s)
        belief = min(1.0, mark.best * 0.5 + 0.5 * mark.total / max(mark.steps, 1))
        for_it, against = belief**BOLDER, (1.0 - belief) ** BOLDER
        return replace(
            mark.answer,
            start_s=start,
            stop_s=stop,
            marked_at_s=now_s,
            frequency_hz=self._where(mark, start if mark.heard else time_s - 5.0, time_s),
            confidence=min(0.99, for_it / (for_it + against)),
            call=self._call(mark),
            turn=self.turn.id if self.turn else mark.answer.turn,
        )

    def _stands(self, mark: Mark, now_s: float) -> Answer:
        """The exchange is over and the mark remains."""
        self._mark, self._spent = None, True
        return replace(mark.answer, stop_s=mark.answer.stop_s or now_s, marked_at_s=now_s)

    def _taken_back(self, mark: Mark, now_s: float) -> Answer:
        """The belief went elsewhere while the reply was still due."""
        self._mark = None
        return replace(mark.answer, marked_at_s=now_s, confidence=0.3, retracted_at_s=now_s)

    def _where(self, mark: Mark, start_s: float, time_s: float) -> float:
        return refined_hz(self.memory, float(self._frequency_hz[mark.stream]), start_s, time_s)

    def _since_over(self, time_s: float) -> float:
        return time_s - self.over.start_s if self.over is not None else 0.0

    def _call(self, mark: Mark) -> str | None:
        over = self.over or self._last_over
        since = over.start_s if over is not None else mark.answer.start_s
        return last_call(text_of(self.memory.symbols(since - 0.1, None, -1))) or mark.answer.call

    def _take(self, kind: str) -> int:
        number = self._next[kind]
        self._next[kind] = number + 1
        return number
