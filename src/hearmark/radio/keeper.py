"""One radio, kept: polls it, runs the guard, sets, follows and peeks on request, comes back after a loss.

All traffic with the radio is in one thread. Requests from outside go through a bounded queue. After a loss nothing is
written until somebody asks for the plan again: following and peeking end with the connection.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

from hearmark.errors import HearmarkError
from hearmark.events import Allowed, Event, KeyState, Plan
from hearmark.radio.guard import Facts, Guard
from hearmark.radio.moves import Moves, Outcome
from hearmark.radio.order import same
from hearmark.radio.port import Dials, Port, RadioLost
from hearmark.radio.refusal import refuse_unlawful

POLL_S = 0.1
RETURN_S = 1.0
WAITING = 16
Verb = Literal["set", "follow", "peek", "back", "lock"]


@dataclass(frozen=True, slots=True)
class Wish:
    """One request: what to do, where, for how long (a peek), and who is told the outcome.

    `yields`: the peek also ends when the DX sends.
    """

    verb: Verb
    hz: float = 0.0
    hold_s: float | None = None
    yields: bool = True
    on: bool = True
    told: Callable[[bool, str], None] | None = None


@dataclass(frozen=True, slots=True)
class Status:
    """What the page shows of the radio. `hold`: do not send, and why; `following`: the advice moves transmit;
    `took_s`: how long it took to answer the last look."""

    connected: bool
    why: str
    dials: Dials | None
    hold: str
    is_set: bool
    following: bool
    peek_hz: float | None
    warnings: tuple[tuple[str, str], ...]
    dropped: int = 0
    took_s: float = 0.0


class Keeper:
    """`connect` makes the port, again after each loss. `events` is called in the keeper's thread with what it finds."""

    def __init__(
        self,
        connect: Callable[[], Port],
        events: Callable[[Event], None],
        sample_time: Callable[[], float],
        *,
        clock: Callable[[], float] = time.monotonic,
        put_back: bool = False,
        poll_s: float = POLL_S,
    ) -> None:
        self._connect, self._events, self._time_s, self._clock = connect, events, sample_time, clock
        self._put_back, self._poll_s = put_back, poll_s
        self._wishes: queue.Queue[Wish] = queue.Queue(WAITING)
        self._dropped = 0
        self._guard = Guard()
        self._port: Port | None = None
        self._moves: Moves | None = None
        self._dials: Dials | None = None
        self._lost = "The radio is not connected yet."
        self._ever = False
        self._hold = ""
        self._set_hz: float | None = None
        self._peek_hz: float | None = None
        self._peek_until_s: float | None = None
        self._peek_yields = True
        self._took_s = 0.0
        self._keyed: bool | None = None
        self._last_state: object = None
        self._return_at_s = 0.0
        self.plan: Plan | None = None
        self.allowed: Allowed | None = None
        self.dx_sends = False
        self.following = False
        self._stop = threading.Event()
        self._wake = threading.Event()
        self._thread = threading.Thread(target=self._run, name="hearmark-radio", daemon=True)

    # From other threads

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """End; the radio stays as it is, a peek goes back first."""
        self._stop.set()
        self._wake.set()
        if self._thread.is_alive():
            self._thread.join(3.0)

    def ask(self, wish: Wish) -> None:
        """Hand in a request; the oldest that waits is dropped, told and counted when there are too many."""
        while True:
            try:
                self._wishes.put_nowait(wish)
                break
            except queue.Full:
                try:
                    gone = self._wishes.get_nowait()
                except queue.Empty:
                    continue
                self._dropped += 1
                _tell(gone, False, "Too many requests waited: this one was dropped.")
        self._wake.set()

    def status(self) -> Status:
        """The state now."""
        return Status(
            connected=self._port is not None,
            why=self._lost if self._port is None else "",
            dials=self._dials,
            hold=self._hold,
            is_set=self._set_hz is not None,
            following=self.following,
            peek_hz=self._peek_hz,
            warnings=tuple(self._guard.active.items()),
            dropped=self._dropped,
            took_s=self._took_s,
        )

    # In the keeper's thread

    def _run(self) -> None:
        while not self._stop.is_set():
            began_s = self._clock()
            self.step()
            self._wake.wait(max(0.0, self._poll_s - (self._clock() - began_s)))
            self._wake.clear()
        self._end_peek("the program ends")
        if self._port is not None:
            self._port.close()

    def step(self) -> None:
        """One turn: connect if need be, read, guard, peek, one request."""
        try:
            if self._port is None and not self._come_back():
                self._look()
                self._refuse_all()
                return
            self._poll()
            self._mind_peek()
            self._one_wish()
        except RadioLost as error:
            self._lose(str(error))
        except HearmarkError as error:
            self._hold = str(error)

    def _come_back(self) -> bool:
        if self._clock() < self._return_at_s:
            return False
        try:
            self._port = self._connect()
        except RadioLost as error:
            self._lost = str(error)
            self._return_at_s = self._clock() + RETURN_S
            return False
        self._moves = Moves(self._port, self._say)
        if self._ever and self.plan is not None:
            self._hold = "do not send: the radio was away; look at it, then set the plan again (T on the page)"
        self._ever = True
        return True

    def _lose(self, why: str) -> None:
        if self._port is not None:
            self._port.close()
        self._port = self._moves = self._dials = None
        self._lost, self._set_hz, self._peek_hz = why, None, None
        self.following = False
        self._keyed, self._last_state = None, None
        self._return_at_s = self._clock() + RETURN_S
        self._look()

    def _say(self, hold: str) -> None:
        self._hold = hold

    def _poll(self) -> None:
        port = self._port
        if port is None:
            return
        began_s = self._clock()
        dials = port.read()
        self._took_s = self._clock() - began_s
        self._saw(dials)

    def _saw(self, dials: Dials) -> None:
        """New dials: key, state and guard, in that order."""
        self._dials = dials
        time_s = self._time_s()
        if dials.keyed is not None and dials.keyed != self._keyed:
            if dials.keyed or self._keyed is not None:
                self._events(KeyState(time_s, dials.keyed))
            self._keyed = dials.keyed
        state = replace(dials.state(0.0))
        if state != self._last_state:
            self._last_state = state
            self._events(dials.state(time_s))
        self._look()
        if self._put_back and "receive moved" in self._guard.active and not dials.keyed and self._set_hz is not None:
            self._try("back", lambda moves, plan: moves.back(plan))

    def _look(self) -> None:
        lost = self._lost if self._port is None and self._ever else ""
        facts = Facts(self.plan, self._dials, self.allowed, self._peek_hz, False, self.dx_sends, lost)
        for warned in self._guard.look(facts, self._time_s()):
            self._events(warned)

    # Requests

    def _refuse_all(self) -> None:
        while True:
            try:
                wish = self._wishes.get_nowait()
            except queue.Empty:
                return
            _tell(wish, False, f"Not done: {self._lost}")

    def _one_wish(self) -> None:
        try:
            wish = self._wishes.get_nowait()
        except queue.Empty:
            return
        try:
            outcome = self._obey(wish)
        except RadioLost as error:
            _tell(wish, False, str(error))
            raise
        except HearmarkError as error:
            if wish.verb == "set":
                self._hold = f"do not send: {error}" if self._hold else ""
            _tell(wish, False, str(error))
            return
        self._saw(outcome.dials)
        _tell(wish, outcome.ok, outcome.why)

    def _obey(self, wish: Wish) -> Outcome:
        moves, plan = self._moves, self.plan
        if moves is None:
            raise RadioLost(self._lost)
        if wish.verb == "lock":
            return moves.lock(wish.on)
        if plan is None:
            raise HearmarkError("There is no plan yet: say where the DX sends and where he listens.")
        if wish.verb == "set":
            refuse_unlawful(self.allowed, wish.hz)
            self._peek_hz = self._peek_until_s = None
            self._set_hz = None
            outcome = moves.set(plan, wish.hz)
            self._set_hz = wish.hz if outcome.ok else None
            return outcome
        if wish.verb == "back":
            return self._back(moves, plan)
        if self._set_hz is None:
            raise HearmarkError("The radio is not set to the plan yet: set it first, with T.")
        if wish.verb == "follow":
            refuse_unlawful(self.allowed, wish.hz)
            outcome = moves.follow(plan, wish.hz)
            if outcome.ok:
                self._set_hz = wish.hz
            return outcome
        if plan.duplex == "full":
            raise HearmarkError("With full duplex there is nothing to peek at: both sides are heard all the time.")
        self._peek_hz, self._peek_yields = wish.hz, wish.yields
        self._peek_until_s = None if wish.hold_s is None else self._clock() + wish.hold_s
        outcome = moves.peek(plan, wish.hz)
        if not outcome.ok:
            self._peek_hz = self._peek_until_s = None
        return outcome

    def _back(self, moves: Moves, plan: Plan) -> Outcome:
        self._peek_hz = self._peek_until_s = None
        return moves.back(plan)

    def _mind_peek(self) -> None:
        """A peek ends when its time is up, and at once on a touch of the dial or a key-down."""
        peek_hz, dials = self._peek_hz, self._dials
        if peek_hz is None or dials is None:
            return
        if dials.keyed:
            self._peek_until_s = self._clock()  # nothing is written while keyed: it goes back as soon as the key is up
            return
        if not same(dials.receive_hz, peek_hz):
            self._peek_hz = self._peek_until_s = None  # the hand on the dial leads from here
            self._look()
            return
        over = self._peek_until_s is not None and self._clock() >= self._peek_until_s
        if over or (self._peek_yields and self.dx_sends):
            self._end_peek("its time is up" if over else "he sends")

    def _end_peek(self, why: str) -> None:
        if self._peek_hz is not None:
            self._try(why, lambda moves, plan: self._back(moves, plan))

    def _try(self, why: str, move: Callable[[Moves, Plan], Outcome]) -> None:
        """A move of our own accord; what stands against it is shown, not raised, except a loss."""
        if self._moves is None or self.plan is None:
            return
        try:
            outcome = move(self._moves, self.plan)
        except RadioLost as error:
            self._lose(str(error))
            return
        except HearmarkError as error:
            self._hold = f"do not send: {error} ({why})"
            return
        self._dials = outcome.dials
        self._look()


def _tell(wish: Wish, ok: bool, why: str) -> None:
    if wish.told is not None:
        wish.told(ok, why)
