"""The tactics that are compared: habits of operators, the program, and the ceiling.

| tactic | what it does |
| --- | --- |
| fixed | one place in the window, drawn once |
| random | a place anew for every turn |
| tail-end | always where the last answered station was, found perfectly |
| expert | the same with a second receiver turned by hand: misses some, mistakes some |
| program | the shipped ear and advice, marks as the engine gives them from I/Q |
| one receiver | the same without I/Q: peeks in the order that promises most while the reply lasts |
| exact marks | the same, every mark right |
| told | the same, every mark right, and told which habit he has |
| ceiling | the shipped advice with his true habit, its true parameters and his true place up to the contact before |
| all alike | the program, and everybody else in the pile-up follows the same advice |
| all spread | the same, and each is spread once the crowd gathers where it is sent, as shipped |
"""

from __future__ import annotations

import random
from typing import Literal, get_args

import numpy as np

from hearmark.ear.advice import Surroundings, busy, recommend
from hearmark.ear.belief import Belief
from hearmark.ear.herd import Herd
from hearmark.ear.search import NARROW, REPLY, VOICE, WIDE, Search, plan, unheard
from hearmark.events import Ear, FloatArray, Mode
from hearmark.simulate.air import stream
from hearmark.simulate.callers import on_grid
from hearmark.simulate.listening import Listening
from hearmark.simulate.people import Pileup
from hearmark.simulate.session import Habit, Scenario
from hearmark.study.crowd import Crowd
from hearmark.study.marks import ENGINE, PEOPLE, PERFECT, Finding, find, grid_hz, moves_s, peeked
from hearmark.study.station import Reply

Name = Literal[
    "fixed",
    "random",
    "tail-end",
    "expert",
    "program",
    "one receiver",
    "exact marks",
    "told",
    "ceiling",
    "all alike",
    "all spread",
]
NAMES: tuple[Name, ...] = get_args(Name)
NOTES: dict[Habit, str] = {
    "stay": "stays",
    "wander": "wanders",
    "step": "steps",
    "two spots": "two spots",
    "jump": "jumps",
    "quiet": "quiet",
}
"""What an operator writes who knows the habit."""
CERTAIN = 6
"""So often he says it: then nothing else is believed."""
SEARCH_NODES = 2_000
"""Orders that a search may go through, so that studies are quick."""
LABELS: dict[str, str] = {
    "fixed": "a fixed spot",
    "random": "a random spot each time",
    "tail-end": "perfect tail-ender",
    "expert": "expert, second receiver",
    "program": "program with I/Q",
    "one receiver": "program, one receiver",
    "exact marks": "program, all marks right",
    "told": "all right, told his habit",
    "ceiling": "ceiling: habit and place",
    "all alike": "everybody as advised",
    "all spread": "everybody, spread",
}


class Fixed:
    """One place in the window, kept."""

    promised = 0.0

    def __init__(self, scenario: Scenario, rng: random.Random) -> None:
        self._rng, self._scenario = rng, scenario
        self._place_hz = self._drawn()

    def _drawn(self) -> float:
        scenario = self._scenario
        return on_grid(self._rng.uniform(scenario.window_low_hz, scenario.window_high_hz), grid_hz(scenario.mode))

    def place(self, now_s: float) -> float | None:
        """The same as ever."""
        return self._place_hz

    def answered(self, reply: Reply, crowd: Crowd) -> None:
        """Of no matter."""

    def confirmed(self, now_s: float) -> None:
        """Of no matter."""

    def broken_off(self, now_s: float) -> None:
        """Of no matter."""


class Anywhere(Fixed):
    """Another place for each turn."""

    _turn_s = -1.0

    def place(self, now_s: float) -> float | None:
        """Drawn anew unless the last call was a moment ago."""
        if now_s - self._turn_s > 6.0:
            self._place_hz = self._drawn()
        self._turn_s = now_s
        return self._place_hz


class LastSpot(Fixed):
    """Where the last answered station was, as soon as the operator knows it and has moved there."""

    def __init__(self, scenario: Scenario, rng: random.Random, how: Finding) -> None:
        super().__init__(scenario, rng)
        self._how = how
        self._next: tuple[float, float] | None = None

    def place(self, now_s: float) -> float | None:
        """The newest place reached."""
        if self._next is not None and now_s >= self._next[0]:
            self._place_hz, self._next = self._next[1], None
        return self._place_hz

    def answered(self, reply: Reply, crowd: Crowd) -> None:
        """Go there."""
        mark = find(self._how, reply, crowd, self._rng)
        if mark is not None:
            where_hz = on_grid(mark.frequency_hz, 10.0)
            self._next = (mark.known_at_s + moves_s(self._rng), where_hz)


class Program:
    """The shipped ear and advice."""

    def __init__(self, scenario: Scenario, rng: random.Random, how: Finding, crowd: Crowd, own_db: float) -> None:
        self._scenario, self._rng, self._how, self._crowd = scenario, rng, how, crowd
        self._belief = Belief(scenario.window_low_hz, scenario.window_high_hz, scenario.mode, dx_hz=scenario.dx_hz)
        self._own_db = own_db
        self.promised = 0.0
        self._marked = False
        self._ready_s = 0.0
        self._held_hz: float | None = None
        self._last_hz: float | None = None
        self._own_place: float | None = stream(scenario.seed, 900_007).random()
        self._herd = Herd()

    def place(self, now_s: float) -> float | None:
        """What the advice says now, or where we still stand while the hand is moving."""
        if self._held_hz is not None and now_s < self._ready_s:
            return self._held_hz
        ear, around = self._ear(now_s), self._around()
        if self._held_hz is not None:
            self._herd = self._herd.seen(self._held_hz, around)
        advised = recommend(ear, around, self._held_hz, self._own_place, self._herd.follows)
        self._held_hz = advised.transmit_hz
        self.promised += advised.success_per_call or 0.0
        return self._held_hz

    def answered(self, reply: Reply, crowd: Crowd) -> None:
        """A mark for the belief, once a contact."""
        if self._marked:
            return
        mark = find(self._how, reply, crowd, self._rng)
        if mark is None:
            return
        self._marked = True
        self._ready_s = mark.known_at_s + moves_s(self._rng)
        self._learns(mark.known_at_s, mark.frequency_hz, mark.confidence)

    def confirmed(self, now_s: float) -> None:
        """The contact is over: if it was not found, the belief must know that it took place."""
        if not self._marked:
            self._belief = self._belief.missed(now_s)
            self._last_hz = None
        self._marked = False

    def broken_off(self, now_s: float) -> None:
        """Whoever he answers now is another: his reply is looked for again. The mark of the one lost still tells."""
        self._marked = False

    @property
    def marks(self) -> int:
        """How many answers it has found and may revise yet."""
        return sum(entry.kind == "mark" for entry in self._belief.record)

    def _learns(self, time_s: float, frequency_hz: float, confidence: float) -> None:
        self._last_hz = frequency_hz
        self._belief = self._belief.mark(time_s, frequency_hz, confidence)

    def _ear(self, now_s: float) -> Ear:
        level = self._crowd.activity_db
        if level is not None:
            self._belief = self._belief.heard(self._crowd.frequency_hz, busy(level))
        return self._belief.ear(now_s)

    def _around(self) -> Surroundings:
        scenario, level = self._scenario, self._crowd.activity_db
        return Surroundings(
            mode=scenario.mode,
            dx_hz=scenario.dx_hz,
            activity_hz=None if level is None else self._crowd.frequency_hz,
            activity_db=level,
            last_hz=self._last_marked_hz(),
            own_db=self._own_db,
        )

    def _last_marked_hz(self) -> float | None:
        """Where the newest contact was marked; None when it was missed."""
        return self._last_hz


class OneReceiver(Program):
    """The same ear with one receiver and no I/Q: after each answer it searches slice by slice, then is back on the DX.

    It cannot measure the crowd in the window, since it listens to the DX while they call.
    """

    def __init__(self, scenario: Scenario, rng: random.Random, crowd: Crowd, own_db: float) -> None:
        super().__init__(scenario, rng, PERFECT, crowd, own_db)
        self._receivers = (NARROW, WIDE) if scenario.mode == "cw" else (VOICE,)
        self._in_vain: tuple[Search, int] | None = None

    def answered(self, reply: Reply, crowd: Crowd) -> None:
        """Search for the reply."""
        if self._marked:
            return
        expected = REPLY[self._scenario.mode]
        ear = self._belief.ear(reply.over_stop_s)
        search = plan(ear, self._scenario.dx_hz, self._receivers, expected, most_nodes=SEARCH_NODES)
        mark, peeks = peeked(search, reply, crowd, self._rng)
        if mark is None:
            self._in_vain = (search, peeks) if reply.heard_from_s <= reply.over_stop_s else None
            return
        self._marked = True
        self._ready_s = mark.known_at_s + moves_s(self._rng)
        self._learns(mark.known_at_s, mark.frequency_hz, mark.confidence)

    def confirmed(self, now_s: float) -> None:
        """If nothing was heard, what was searched is less likely."""
        if not self._marked and self._in_vain is not None:
            self._belief = unheard(self._belief, now_s, self._in_vain[0], REPLY[self._scenario.mode], self._in_vain[1])
            self._marked = True
        self._in_vain = None
        super().confirmed(now_s)

    def broken_off(self, now_s: float) -> None:
        """A search of that contact is over."""
        self._in_vain = None
        super().broken_off(now_s)

    def _ear(self, now_s: float) -> Ear:
        return self._belief.ear(now_s)

    def _around(self) -> Surroundings:
        return Surroundings(mode=self._scenario.mode, dx_hz=self._scenario.dx_hz, own_db=self._own_db)


class Told(Program):
    """Every mark right, and the operator knows which habit it is: its parameters and his place must be learned."""

    def __init__(self, scenario: Scenario, rng: random.Random, crowd: Crowd, own_db: float) -> None:
        super().__init__(scenario, rng, PERFECT, crowd, own_db)
        for _ in range(CERTAIN):
            self._belief = self._belief.note(NOTES[scenario.habit], 0.0)


class Ceiling(Program):
    """Knows his habit with its parameters and where he truly listened until the contact before."""

    DRAWS = 24

    def __init__(self, pileup: Pileup, rng: random.Random, crowd: Crowd, own_db: float) -> None:
        super().__init__(pileup.scenario, rng, PERFECT, crowd, own_db)
        self._pileup = pileup
        self._before: Listening = pileup.listening.fork(rng)
        self._spread_hz = 1.15 * pileup.listening.spread_hz
        self._frequency_hz = self._belief.frequency_hz
        inside = (self._frequency_hz >= pileup.scenario.window_low_hz) & (
            self._frequency_hz <= pileup.scenario.window_high_hz
        )
        self._density = _even(inside.astype(np.float64), self._frequency_hz)

    def place(self, now_s: float) -> float | None:
        """As advised; and it remembers where he stands, should the contact to come go by unnoticed."""
        self._before = self._pileup.listening.fork(self._rng)
        return super().place(now_s)

    def answered(self, reply: Reply, crowd: Crowd) -> None:
        """Move when the reply is heard. Where the DX stands is no news: he may have moved on already."""
        if reply.sent is not None:
            self._last_hz = reply.sent.frequency_hz
            self._ready_s = reply.sent.start_s + 1.0 + moves_s(self._rng)

    def confirmed(self, now_s: float) -> None:
        """What his habit may do now, from where he was in the contact that is over."""
        occupied_hz = self._pileup.occupied_hz
        draws = []
        for _ in range(self.DRAWS):
            future = self._before.fork(self._rng)
            future.worked(future.receive_hz if self._last_hz is None else self._last_hz, occupied_hz)
            draws.append(future.place_hz)
        offset = (self._frequency_hz[None, :] - np.array(draws)[:, None]) / self._spread_hz
        self._density = _even(np.exp(-0.5 * offset**2).sum(axis=0) + 1e-6, self._frequency_hz)
        self._before = self._pileup.listening.fork(self._rng)

    def _ear(self, now_s: float) -> Ear:
        return Ear(now_s, self._frequency_hz, self._density, "his habit is known")


def _even(weight: FloatArray, frequency_hz: FloatArray) -> FloatArray:
    return np.asarray(weight / (weight.sum() * (frequency_hz[1] - frequency_hz[0])))


def tactic(name: Name, pileup: Pileup, crowd: Crowd, own_db: float, seed: int) -> Fixed | Program:
    """The tactic called `name` for one session. `own_db`: our strength at the DX over the median caller's."""
    scenario, rng = pileup.scenario, stream(seed, 900_003)
    mode: Mode = scenario.mode
    if name == "fixed":
        return Fixed(scenario, rng)
    if name == "random":
        return Anywhere(scenario, rng)
    if name == "tail-end":
        return LastSpot(scenario, rng, PERFECT)
    if name == "expert":
        return LastSpot(scenario, rng, PEOPLE[mode])
    if name == "program":
        return Program(scenario, rng, ENGINE[mode], crowd, own_db)
    if name == "one receiver":
        return OneReceiver(scenario, rng, crowd, own_db)
    if name == "exact marks":
        return Program(scenario, rng, PERFECT, crowd, own_db)
    if name == "told":
        return Told(scenario, rng, crowd, own_db)
    if name == "ceiling":
        return Ceiling(pileup, rng, crowd, own_db)
    from hearmark.study.everyone import Everyone

    return Everyone(pileup, rng, ENGINE[mode], crowd, own_db, name == "all spread")
