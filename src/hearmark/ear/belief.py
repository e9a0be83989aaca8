"""Belief about where the DX listens next, from uncertain marks, missed turns and the operator's notes.

A `Belief` never changes: each method gives a new one. It keeps the record of what it was told in time order, with the
state after the newest entries and after every tenth, so that a mark can be revised or taken back and the belief
computed anew from there. What lies more than a hundred entries back is settled: it stays in the state, and is revised
no more, so that a session of any length takes the same memory.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from hearmark.duplex.window import window_offsets_hz
from hearmark.ear import alarm, habits, silence
from hearmark.ear.habits import State
from hearmark.ear.places import Places, places
from hearmark.ear.sentence import habit_sentence
from hearmark.errors import HearmarkError
from hearmark.events import Answer, Ear, FloatArray, Mode

MOST_CONFIDENCE = 0.97
"""No mark is believed more than this: even a hand may slip."""
OWN_HAND = 0.95
"""Confidence of a mark that the operator set."""
HEARD_AGAIN = 30
"""So many of the newest entries, at most, are heard again in another window."""
KEEP_NEWEST, KEEP_EVERY = 6, 10
KEEP_RECORD = 100
"""At least so many of the newest entries can be revised; a multiple of KEEP_EVERY."""
HINT_FACTOR = 6.0
"""How much likelier a habit becomes when the operator names it."""

Hint = Literal["up", "down", "stay", "wander", "step", "two spots", "jump", "quiet"]

_HINTS: tuple[tuple[Hint, str], ...] = (
    ("up", r"\b(going|moving|stepping|tuning|works?|working) up\b"),
    ("down", r"\b(going|moving|stepping|tuning|works?|working) down\b"),
    ("stay", r"\b(stays?|staying|same (spot|place|frequency)|fixed)\b"),
    ("wander", r"\b(wanders?|wandering|drifts?|drifting)\b"),
    ("step", r"\b(steps?|stepping)\b"),
    ("two spots", r"\b(two|both) (spots|places|frequencies)\b"),
    ("jump", r"\b(jumps?|jumping|random|anywhere)\b"),
    ("quiet", r"\b(quiet|clear)\b"),
)


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the record. `kind` mark: somebody was answered there; missed: somebody, nobody knows where."""

    time_s: float
    id: int
    kind: Literal["mark", "missed", "hint", "window"]
    frequency_hz: float = 0.0
    confidence: float = 0.0
    hint: Hint | None = None
    window_hz: tuple[float, float] = (0.0, 0.0)
    rank: FloatArray | None = field(default=None, compare=False, repr=False)
    sought: tuple[FloatArray, FloatArray] | None = field(default=None, compare=False, repr=False)
    """Of a missed one: frequencies, and the chance of hearing an answer on each."""

    @property
    def order(self) -> tuple[float, float, float, int]:
        """Key of the record: time, then frequency and confidence, so that the order of telling is no matter."""
        return (self.time_s, self.frequency_hz, self.confidence, self.id)


class Belief:
    """Where he listens next. `mode` says how wide the grid's margin must be read; `seed` is kept for the record.

    The filter is exact on its grid and draws nothing at random, so equal records give equal beliefs.
    Raises HearmarkError for a window that is not one.
    """

    __slots__ = (
        "_density",
        "_places",
        "_rank",
        "_record",
        "_settled",
        "_snapshots",
        "_start",
        "_state",
        "dx_hz",
        "mode",
        "seed",
    )

    def __init__(
        self, window_low_hz: float, window_high_hz: float, mode: Mode, seed: int = 0, dx_hz: float | None = None
    ) -> None:
        if mode not in ("cw", "usb", "lsb"):
            raise HearmarkError(f'Mode "{mode}" is not known to the belief; give "cw", "usb" or "lsb".')
        self.mode, self.seed, self.dx_hz = mode, seed, dx_hz
        self._start: tuple[float, float] = (float(window_low_hz), float(window_high_hz))
        self._places: Places = places(*self._start)
        self._state: State = habits.begin(self._places)
        self._record: tuple[Entry, ...] = ()
        self._settled: tuple[float, float, float, int] | None = None
        self._snapshots: dict[int, tuple[State, Places]] = {0: (self._state, self._places)}
        self._rank: FloatArray | None = None
        self._density: FloatArray | None = None

    @property
    def window_hz(self) -> tuple[float, float]:
        """Lower and upper edge of the window now believed."""
        return self._places.low_hz, self._places.high_hz

    @property
    def record(self) -> tuple[Entry, ...]:
        """What the belief was told and what can be revised yet, in time order."""
        return self._record

    @property
    def frequency_hz(self) -> FloatArray:
        """The grid, shape (n,), even and ascending."""
        return self._places.frequency_hz

    def mark(self, time_s: float, frequency_hz: float, confidence: float, id: int | None = None) -> Belief:
        """Somebody was answered on `frequency_hz`, with `confidence` 0 to 1; the belief is then about the next contact.

        A second mark (or missed turn) with the same `id` replaces the first. A mark without id is new.
        """
        if not (np.isfinite(time_s) and np.isfinite(frequency_hz) and 0.0 <= confidence <= 1.0):
            raise HearmarkError(
                f"A mark at {time_s} s on {frequency_hz} Hz with confidence {confidence} cannot be used: "
                "time and frequency must be finite and confidence between 0 and 1."
            )
        limited = min(float(confidence), MOST_CONFIDENCE)
        return self._tell(Entry(float(time_s), self._new_id(id), "mark", float(frequency_hz), limited, rank=self._rank))

    def missed(self, time_s: float | None = None, id: int | None = None) -> Belief:
        """A contact went by and nobody knows where. Without a time: just after the last entry."""
        last_s = self._record[-1].time_s if self._record else 0.0
        return self._tell(Entry(last_s if time_s is None else float(time_s), self._new_id(id), "missed"))

    def unheard(self, time_s: float, frequency_hz: FloatArray, chance: FloatArray, id: int | None = None) -> Belief:
        """A contact went by, and its answer was sought without success: less likely where it was sought.

        `chance` (k,), 0 to 1: that an answer on each `frequency_hz` (k,), ascending, would have been heard.
        """
        if np.shape(frequency_hz) != np.shape(chance) or np.ndim(chance) != 1 or len(chance) < 2:
            raise HearmarkError("What was sought needs two arrays of one equal length of at least 2.")
        if not (np.all(np.isfinite(chance)) and np.min(chance) >= 0.0 and np.max(chance) <= 1.0):
            raise HearmarkError("The chance of hearing an answer goes from 0 to 1.")
        sought = (np.asarray(frequency_hz, dtype=np.float64), np.asarray(chance, dtype=np.float64))
        return self._tell(Entry(float(time_s), self._new_id(id), "missed", rank=self._rank, sought=sought))

    def answer(self, answer: Answer) -> Belief:
        """Take in an `Answer` event: new, revised (same id) or retracted (then its contact counts as missed)."""
        if answer.retracted_at_s is not None:
            return self.retract(answer.id)
        confidence = max(answer.confidence, OWN_HAND) if answer.by == "operator" else answer.confidence
        return self.mark(answer.start_s, answer.frequency_hz, confidence, answer.id)

    def retract(self, id: int) -> Belief:
        """Take a mark back: the contact remains, its place is unknown. An unknown id changes nothing."""
        for entry in self._record:
            if entry.id == id and entry.kind == "mark":
                return self._tell(Entry(entry.time_s, id, "missed"))
        return self

    def note(self, text: str, time_s: float | None = None, frequency_hz: float | None = None) -> Belief:
        """What the operator says: a window ("up 5 to 10"), a habit ("going down", "stays", "two spots"), a hand mark.

        A window in words needs `dx_hz`. With `frequency_hz` the note is a mark there. Raises HearmarkError when the
        words are not understood.
        """
        last_s = self._record[-1].time_s if self._record else 0.0
        at_s = last_s if time_s is None else float(time_s)
        if frequency_hz is not None:
            return self.mark(at_s, frequency_hz, OWN_HAND)
        for hint, pattern in _HINTS:
            if re.search(pattern, text.lower()):
                return self._tell(Entry(at_s, self._new_id(None), "hint", hint=hint))
        if self.dx_hz is None:
            raise HearmarkError(
                f'Note "{text}" is not understood without the DX\'s frequency: give dx_hz, or say "going up", '
                '"going down", "stays", "wanders", "two spots", "jumps" or "quiet".'
            )
        low_hz, high_hz = window_offsets_hz(text, self.mode, self.dx_hz)
        return self.window(self.dx_hz + low_hz, self.dx_hz + high_hz, at_s)

    def window(self, low_hz: float, high_hz: float, time_s: float | None = None) -> Belief:
        """He announced a window. The one in force is no news; in another what was learned of him is kept as far as his
        last answers lie inside it."""
        last_s = self._record[-1].time_s if self._record else 0.0
        at_s = last_s if time_s is None else float(time_s)
        places(low_hz, high_hz)
        return self._tell(Entry(at_s, self._new_id(None), "window", window_hz=(float(low_hz), float(high_hz))))

    def heard(self, frequency_hz: FloatArray, level: FloatArray) -> Belief:
        """Activity measured of late: any measure that grows with it, `frequency_hz` ascending, both shape (k,).

        Serves the habit "quiet" for the contact to come; forgotten after the next mark or missed turn.
        """
        if np.shape(frequency_hz) != np.shape(level) or np.ndim(level) != 1 or len(level) < 2:
            raise HearmarkError("Activity needs two arrays of one equal length of at least 2: frequency and level.")
        grid = self._places
        on_grid = np.interp(grid.frequency_hz, frequency_hz, level)
        rank = np.ones((len(habits.QUIET_REACH_HZ), len(on_grid)))
        for row, reach_hz in zip(rank, habits.QUIET_REACH_HZ, strict=True):
            reach = max(1, round(reach_hz / grid.step_hz))
            padded = np.pad(on_grid, reach, mode="edge")
            smooth = np.convolve(padded, np.full(2 * reach + 1, 1.0 / (2 * reach + 1)), mode="valid")
            inside = smooth[grid.first : grid.last + 1]
            order = np.sort(inside)
            middle = 0.5 * (np.searchsorted(order, inside, "left") + np.searchsorted(order, inside, "right") - 1)
            row[grid.first : grid.last + 1] = middle / max(len(inside) - 1, 1)
        copy = self._copy()
        copy._rank, copy._density = rank, None
        return copy

    def density_per_hz(self) -> FloatArray:
        """Density of the next answered frequency on the grid, shape (n,); sums to 1 times the step."""
        if self._density is None:
            self._density = habits.density(self._state, self._places, self._rank)
            self._density.flags.writeable = False
        return self._density

    def log_density(self, frequency_hz: FloatArray | float) -> FloatArray:
        """Natural logarithm of the density per hertz there; off the grid the value at its end."""
        grid = self._places
        return np.asarray(np.log(np.interp(frequency_hz, grid.frequency_hz, self.density_per_hz())))

    def habit_weights(self) -> dict[str, float]:
        """Probability of each habit for the contact to come."""
        shares = habits.weights(self._state)
        return {name: float(share) for name, share in zip(habits.HABITS, shares / shares.sum(), strict=True)}

    def ear(self, time_s: float) -> Ear:
        """The belief as an event."""
        return Ear(
            time_s=time_s,
            frequency_hz=self._places.frequency_hz,
            density_per_hz=self.density_per_hz(),
            habit=habit_sentence(self._state, self._places),
            habit_weights=self.habit_weights(),
        )

    def _new_id(self, id: int | None) -> int:
        return id if id is not None else min((entry.id for entry in self._record), default=0) - 1

    def _copy(self) -> Belief:
        copy = object.__new__(Belief)
        for name in Belief.__slots__:
            setattr(copy, name, getattr(self, name))
        return copy

    def _tell(self, entry: Entry) -> Belief:
        """Put an entry in its place in the record and compute the states from there on; too old, it changes nothing."""
        if self._settled is not None and entry.order <= self._settled:
            return self
        old = list(self._record)
        replaced = next((index for index, other in enumerate(old) if other.id == entry.id), None)
        first_changed = len(old)
        if replaced is not None:
            if entry.kind == "mark":
                entry = replace(entry, rank=old[replaced].rank)
            first_changed = replaced
            del old[replaced]
        position = bisect_right(old, entry.order, key=lambda other: other.order)
        old.insert(position, entry)
        first_changed = min(first_changed, position)
        copy = self._copy()
        copy._record = tuple(old)
        kept = {index: snapshot for index, snapshot in self._snapshots.items() if index <= first_changed}
        index = max(kept)
        state, grid = kept[index]
        for later in old[index:]:
            state, grid = _advance(state, grid, later, old[:index])
            index += 1
            kept[index] = (state, grid)
        copy._snapshots = {
            index: snapshot
            for index, snapshot in kept.items()
            if index > len(old) - KEEP_NEWEST or index % KEEP_EVERY == 0
        }
        copy._settle()
        copy._state, copy._places, copy._density = state, grid, None
        same = entry.kind == "hint" or grid is self._places
        copy._rank = self._rank if entry.kind in ("hint", "window") and same else None
        return copy

    def _settle(self) -> None:
        """Let go of the oldest entries; the state after them is the new beginning."""
        while len(self._record) >= KEEP_RECORD + KEEP_EVERY:
            self._settled = self._record[KEEP_EVERY - 1].order
            self._record = self._record[KEEP_EVERY:]
            later = {index - KEEP_EVERY: snapshot for index, snapshot in self._snapshots.items()}
            self._snapshots = {index: snapshot for index, snapshot in later.items() if index >= 0}


def _advance(state: State, grid: Places, entry: Entry, before: Sequence[Entry]) -> tuple[State, Places]:
    """The state after one more entry of the record; `before` it came these."""
    if entry.kind == "mark":
        after, place = habits.weigh(state, grid, entry.frequency_hz, entry.confidence, entry.rank)
        elsewhere = alarm.elsewhere(after, grid, entry.confidence)
        if elsewhere is not None:
            return habits.move_on(after, grid, elsewhere, alarm.ALARM), grid
        return habits.move_on(after, grid, place), grid
    if entry.kind == "missed" and entry.sought is not None:
        missed = 1.0 - np.interp(grid.frequency_hz, *entry.sought)
        after, place = silence.weigh(state, grid, missed, entry.rank)
        return habits.move_on(after, grid, place), grid
    if entry.kind == "missed":
        return habits.move_on(habits.unseen(state, grid, entry.rank), grid), grid
    if entry.kind == "window":
        return _other_window(state, grid, entry.window_hz, before)
    return _hinted(state, entry.hint), grid


def _other_window(
    state: State, grid: Places, window_hz: tuple[float, float], before: Sequence[Entry]
) -> tuple[State, Places]:
    """The window in force changes nothing. In another the newest contacts are heard again, back to the first answer
    outside it; if there are none, half the belief stays at the old place where that lies inside."""
    if max(abs(grid.low_hz - window_hz[0]), abs(grid.high_hz - window_hz[1])) < grid.step_hz:
        return state, grid
    new = places(*window_hz)
    again: list[Entry] = []
    for entry in reversed(before[-HEARD_AGAIN:]):
        if entry.kind == "mark" and not new.low_hz <= entry.frequency_hz <= new.high_hz:
            break
        if entry.kind in ("mark", "missed"):
            again.append(replace(entry, rank=None))
    if any(entry.kind == "mark" for entry in again):
        state, grid = habits.begin(new, None, state.prior, state.up_share), new
        for entry in reversed(again):
            state, grid = _advance(state, grid, entry, ())
        return state, grid
    old_place = np.interp(new.frequency_hz, grid.frequency_hz, habits.density(state, grid), left=0.0, right=0.0)
    old_place = old_place * (new.uniform > 0.0) * new.step_hz
    start = 0.5 * old_place + (1.0 - 0.5 * old_place.sum()) * new.uniform
    return habits.begin(new, start / start.sum(), state.prior, state.up_share), new


def _hinted(state: State, hint: Hint | None) -> State:
    """Make the habit that the operator named likelier, now and after every change."""
    prior = state.prior.copy()
    name = "step" if hint in ("up", "down") else hint
    factors = np.ones(len(habits.HABITS))
    if name is not None:
        factors[habits.HABITS.index(name)] = HINT_FACTOR
    prior = prior * factors / (prior * factors).sum()
    step = state.step * np.float32(factors[2])
    up_share = state.up_share
    if hint in ("up", "down"):
        up_share = 0.92 if hint == "up" else 0.08
        shares = np.array([up_share, 1.0 - up_share], dtype=np.float32) * np.float32(2.0)
        step = step * shares[:, None, None, None]
    walk = state.walk.copy()
    walk[0] *= np.float32(factors[0])
    walk[1:] *= np.float32(factors[1])
    rest = state.rest.copy()
    rest[:-1] *= factors[5]
    changed = replace(
        state,
        walk=walk,
        step=step,
        pair=state.pair * np.float32(factors[3]),
        lull=state.lull * np.float32(factors[5]),
        roam=state.roam * np.float32(factors[4]),
        rest=rest,
        prior=prior,
        up_share=up_share,
    )
    return habits.refreshed(changed)
