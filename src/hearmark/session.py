"""A session as facts to keep: turns, marks, own calls, and what the ear and the advice said before each answer."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from hearmark.events import Advice, Answer, Ear, Event, KeyState, Mode, Over, Plan, RadioState, Turn
from hearmark.marks import SURE, settled, tolerance_hz
from hearmark.report import newest
from hearmark.review import Listener

SCHEMA = 1
LOOK_BACK_S = 60.0
KEPT_CUES = 600
"""So many changes of the cue are kept, the latest."""
Facts = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Forecast:
    """What was said before one answer began. `bits`: how much likelier than over a flat window the ear held the place;
    `searched`: share of the window that looks likelier or as likely as the true place, 0 the best, 0.5 by chance."""

    answer: int
    made_s: float
    peak_hz: float
    bits: float
    searched: float
    advised_hz: float | None
    own_hz: float | None


def forecast(ear: Ear, answer: Answer, mode: Mode, advised_hz: float | None, own_hz: float | None) -> Forecast | None:
    """How the belief that stood before an answer held against it; None if it held no such place at all."""
    grid, density = ear.frequency_hz, np.maximum(ear.density_per_hz, 0.0)
    total = float(density.sum())
    if len(grid) < 2 or total <= 0.0:
        return None
    near = np.abs(grid - answer.frequency_hz) <= max(tolerance_hz(mode), float(grid[1] - grid[0]))
    # A place beyond the window was held for impossible: counted as a tenth of an even chance, so that sums stay finite
    mass = float(density[near].sum()) / total
    flat = max(int(near.sum()), 1) / len(grid)
    here = float(density[near].max()) if near.any() else 0.0
    return Forecast(
        answer=answer.id,
        made_s=ear.time_s,
        peak_hz=float(grid[int(np.argmax(density))]),
        bits=math.log2(max(mass / flat, 0.1)),
        searched=float(np.mean(density >= here)) if near.any() else 1.0,
        advised_hz=advised_hz,
        own_hz=own_hz,
    )


class SessionRecord:
    """Collects facts from the events of a session, in the order they came; `facts` may be asked at any time."""

    def __init__(self, dx_hz: float, mode: Mode, window_hz: tuple[float, float] | None = None) -> None:
        self.dx_hz, self.mode, self.window_hz = dx_hz, mode, window_hz
        self._overs_and_turns: dict[tuple[str, int], Over | Turn] = {}
        self._answers: list[Answer] = []
        self._forecasts: dict[int, Forecast] = {}
        self._ears: deque[Ear] = deque()
        self._advices: deque[Advice] = deque()
        self._told: deque[list[Any]] = deque(maxlen=KEPT_CUES)
        self._own: deque[tuple[float, float]] = deque()
        self._calls: list[list[float | None]] = []
        self._habit = ""
        self._last_s = 0.0

    def feed(self, event: Event) -> None:
        """Takes one event, of the stream or of the engine."""
        if isinstance(event, Over):
            self._overs_and_turns["over", event.id] = event
            self._last_s = max(self._last_s, event.start_s, event.stop_s or 0.0)
        elif isinstance(event, Turn):
            self._overs_and_turns["turn", event.id] = event
        elif isinstance(event, Answer):
            self._answer(event)
        elif isinstance(event, Ear):
            self._ears.append(event)
            self._habit = event.habit or self._habit
            while len(self._ears) > 1 and self._ears[0].time_s < event.time_s - LOOK_BACK_S:
                self._ears.popleft()
        elif isinstance(event, Advice):
            self._advice(event)
        elif isinstance(event, RadioState) and event.transmit_hz is not None:
            self._own.append((event.time_s, event.transmit_hz))
            while len(self._own) > 1 and self._own[1][0] < event.time_s - LOOK_BACK_S:
                self._own.popleft()
        elif isinstance(event, KeyState):
            self._key(event)
        elif isinstance(event, Plan):
            self.dx_hz, self.mode = event.receive_hz, event.heard_as
            self.window_hz = (event.listen_low_hz, event.listen_high_hz)

    def _advice(self, event: Advice) -> None:
        if not self._told or self._told[-1][1] != event.cue:
            self._told.append([round(event.time_s, 2), event.cue, event.transmit_hz, event.why])
        if event.transmit_hz is not None:
            self._advices.append(event)
            while len(self._advices) > 1 and self._advices[0].time_s < event.time_s - LOOK_BACK_S:
                self._advices.popleft()

    def _key(self, event: KeyState) -> None:
        if event.keyed:
            self._calls.append([event.time_s, None, self._own[-1][1] if self._own else None])
        elif self._calls and self._calls[-1][1] is None:
            self._calls[-1][1] = event.time_s

    def _answer(self, answer: Answer) -> None:
        self._answers.append(answer)
        self._last_s = max(self._last_s, answer.start_s)
        if answer.confidence < SURE or answer.id in self._forecasts:
            return
        ear = next((ear for ear in reversed(self._ears) if ear.time_s <= answer.start_s), None)
        if ear is None:
            return
        advised = next((a.transmit_hz for a in reversed(self._advices) if a.time_s <= answer.start_s), None)
        own = next((hz for time_s, hz in reversed(self._own) if time_s <= answer.start_s), None)
        made = forecast(ear, answer, self.mode, advised, own)
        if made is not None:
            self._forecasts[answer.id] = made

    def answers(self) -> tuple[Answer, ...]:
        """The newest state of each mark, by start time."""
        return settled(self._answers, self.mode)

    def facts(self, call: str = "", start: str | None = None, worked: dict[str, Any] | None = None) -> Facts:
        """Everything that `lessons` needs, as plain JSON values; times in seconds of the session."""
        events = list(self._overs_and_turns.values())
        answers = [a for a in self.answers() if a.confidence >= SURE]
        return {
            "schema": SCHEMA,
            "start": start,
            "dx": {"call": call, "frequency_hz": self.dx_hz, "mode": self.mode},
            "window_hz": None if self.window_hz is None else list(self.window_hz),
            "duration_s": round(self._last_s, 3),
            "habit": self._habit,
            "turns": [[t.start_s, t.stop_s] for t in newest(events, Turn)],
            "answers": [_answer_facts(answer) for answer in answers],
            "forecasts": [_forecast_facts(self._forecasts[a.id]) for a in answers if a.id in self._forecasts],
            "calls": [{"start_s": a, "stop_s": b, "frequency_hz": hz} for a, b, hz in self._calls],
            "told": list(self._told),
            "worked": worked,
        }


def _answer_facts(answer: Answer) -> Facts:
    return {
        "id": answer.id,
        "start_s": round(answer.start_s, 3),
        "frequency_hz": round(answer.frequency_hz, 1),
        "confidence": round(answer.confidence, 3),
        "call": answer.call,
        "by": answer.by,
        "retracted_at_s": answer.retracted_at_s,
    }


def _forecast_facts(made: Forecast) -> Facts:
    return {name: getattr(made, name) for name in Forecast.__slots__}


class Remembering:
    """An engine that also fills a record of the session."""

    def __init__(self, engine: Listener, record: SessionRecord) -> None:
        self._engine, self.record = engine, record

    def feed(self, event: Event, /) -> Iterable[Event]:
        """Pass an event on; remember it and what follows from it."""
        self.record.feed(event)
        return self._kept(self._engine.feed(event))

    def finish(self) -> Iterable[Event]:
        """Pass the end on."""
        return self._kept(self._engine.finish())

    def _kept(self, events: Iterable[Event]) -> list[Event]:
        found = list(events)
        for event in found:
            self.record.feed(event)
        return found


def facts_of_review(content: dict[str, Any]) -> Facts:
    """The facts in a review document (schema 1): marks and overs, without the forecasts that led to them."""
    overs: Sequence[dict[str, Any]] = content["dx"]["overs"]
    ends = [over["stop_s"] for over in overs[:-1]]
    starts = [over["start_s"] for over in overs[1:]]
    answers = [a for a in content["answers"] if a["confidence"] >= SURE]
    return {
        "schema": SCHEMA,
        "start": None,
        "dx": {"call": "", "frequency_hz": content["dx"]["frequency_hz"], "mode": content["dx"]["mode"]},
        "window_hz": None,
        "duration_s": content["recording"]["duration_s"],
        "habit": (content.get("ear") or {}).get("habit", ""),
        "turns": [[a, b] for a, b in zip(ends, starts, strict=True) if a is not None and b > a],
        "answers": [
            {
                "id": number,
                "start_s": a["start_s"],
                "frequency_hz": a["frequency_hz"],
                "confidence": a["confidence"],
                "call": a.get("call"),
                "by": a.get("by", "computation"),
                "retracted_at_s": a.get("retracted_at_s"),
            }
            for number, a in enumerate(answers)
        ],
        "forecasts": [],
        "calls": [],
        "told": [],
        "worked": None,
    }
