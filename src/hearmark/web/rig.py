"""The radio beside a live session: what the page asks of it, what it says, and what the guard warns of."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import Any

from hearmark.duplex.announcement import Reading, readings
from hearmark.duplex.callers import parted
from hearmark.duplex.privileges import cut
from hearmark.duplex.setting import start_hz
from hearmark.errors import HearmarkError
from hearmark.events import Advice, Allowed, Event, KeyState, Mode, Over, Plan
from hearmark.radio.keeper import Keeper, Verb, Wish
from hearmark.radio.port import Port
from hearmark.radio.refusal import refuse_band
from hearmark.web.actions import Action

KEPT_EVENTS = 512
TIMED_PEEK_S, HELD_PEEK_S = 2.0, 20.0
"""A held peek ends with its key; the longer time is for a page that went away with the key down."""
SLOW_S = 0.5
MOVED_HZ = 10.0
"""Advice that moved less than this is not followed: the radio is left in peace."""
Told = Callable[[bool, str], None]


class Rig:
    """`may`: where we may send under a plan. Methods are called in the session's thread; the keeper has its own."""

    def __init__(
        self,
        connect: Callable[[], Port],
        plan: Plan,
        may: Callable[[Plan], Allowed],
        put_back: bool = False,
    ) -> None:
        self._events: deque[Event] = deque(maxlen=KEPT_EVENTS)
        self._now_s = 0.0
        self._may = may
        self._advised_hz: float | None = None
        self._followed_hz: float | None = None
        self._offer: Reading | None = None
        self._taken = ""
        self.keeper = Keeper(connect, self._events.append, lambda: self._now_s, put_back=put_back)
        self.plan = plan
        self.allowed = may(plan)
        self._hand_on()

    def start(self) -> None:
        """Begin to talk to the radio."""
        self.keeper.start()

    def stop(self) -> None:
        """End; the radio stays as it is."""
        self.keeper.stop()

    def take(self, now_s: float) -> list[Event]:
        """What the radio and the guard said since the last call; `now_s` stamps what follows."""
        self._now_s = now_s
        taken: list[Event] = []
        while self._events:
            event = self._events.popleft()
            if isinstance(event, KeyState) and self.plan.duplex == "full":
                continue  # with full duplex we go on hearing while we send
            taken.append(event)
        return taken

    def heard(self, event: Event) -> None:
        """What the engine found: whether he sends, what he says of his window, where to call."""
        if isinstance(event, Over):
            self.keeper.dx_sends = event.stop_s is None
            if event.stop_s is not None and event.text:
                self._listen_to(event.text)
        elif isinstance(event, Advice):
            self._advised_hz = event.transmit_hz
            self._follow()
        elif isinstance(event, Plan) and event != self.plan:
            self._change(event)

    def say(self, text: str) -> Plan:
        """The operator says what the DX announced; the likeliest plan is in force from now on, nothing is set yet."""
        mode: Mode = self.plan.heard_as
        found = readings(text, self.plan.receive_hz, mode, self.plan)
        if not found:
            raise HearmarkError(f'"{text}" does not say where he listens; write it like "up 5 to 10" or "QSX 18151".')
        self._change(found[0].plan)
        self._taken = _in_words(found)
        return self.plan

    def offered(self) -> Plan:
        """What he was heard to announce, taken up."""
        if self._offer is None:
            raise HearmarkError("He has announced nothing new.")
        plan = self._offer.plan
        self._change(plan)
        return plan

    def ask(self, verb: Verb, hz: float | None, told: Told, timed: bool = False) -> None:
        """Hand a request to the radio; `told` is called with what came of it, in the keeper's thread."""
        if verb == "set":
            hz = self._start_hz(hz)
        elif verb in ("follow", "peek") and hz is None:
            raise HearmarkError("Where to is missing.")
        self.keeper.ask(Wish(verb, hz or 0.0, TIMED_PEEK_S if timed else HELD_PEEK_S, timed, told=told))

    def obey(self, action: Action, told: Told) -> None:
        """What a page asks of the radio alone."""
        match action.verb:
            case "set" | "peek":
                self.ask(action.verb, action.frequency_hz, told, timed=action.on is True)
            case "back":
                self.ask("back", None, told)
            case "following":
                self.following(bool(action.on))
            case "lock":
                self.lock(bool(action.on), told)

    def lock(self, on: bool, told: Told) -> None:
        """Lock or free the dial."""
        self.keeper.ask(Wish("lock", on=on, told=told))

    def following(self, on: bool) -> None:
        """Switch following of the advice on or off; it needs a radio that is set."""
        if on and not self.keeper.status().is_set:
            raise HearmarkError("The radio is not set to the plan yet: set it first, with T, then it can follow.")
        self.keeper.following = on
        self._followed_hz = None
        self._follow()

    def message(self) -> dict[str, Any]:
        """The state, for the page."""
        status, dials = self.keeper.status(), self.keeper.status().dials
        offer = self._offer
        return {
            "connected": status.connected,
            "why": status.why,
            "hold": status.hold,
            "set": status.is_set,
            "following": status.following,
            "peek_hz": status.peek_hz,
            "receive_hz": dials.receive_hz if dials else None,
            "transmit_hz": dials.transmit_hz if dials else None,
            "split": dials.split if dials else None,
            "mode": (dials.mode or dials.mode_name or None) if dials else None,
            "locked": dials.locked if dials else None,
            "keyed": dials.keyed if dials else None,
            "duplex": self.plan.duplex,
            "plan": {
                "receive_hz": self.plan.receive_hz,
                "listen_low_hz": self.plan.listen_low_hz,
                "listen_high_hz": self.plan.listen_high_hz,
            },
            "offer": None
            if offer is None
            else {
                "listen_low_hz": offer.plan.listen_low_hz,
                "listen_high_hz": offer.plan.listen_high_hz,
                "why": offer.why,
            },
            "taken": self._taken,
            "warnings": [{"kind": kind, "why": why} for kind, why in status.warnings],
            "dropped": status.dropped,
            "slow_s": round(status.took_s, 1) if status.took_s > SLOW_S else 0.0,
        }

    def _change(self, plan: Plan) -> None:
        self.plan, self._offer = plan, None
        self.allowed = self._may(plan)
        self._followed_hz = None
        self._hand_on()

    def _hand_on(self) -> None:
        self.keeper.plan, self.keeper.allowed = self.plan, self.allowed

    def _listen_to(self, text: str) -> None:
        found = readings(text, self.plan.receive_hz, self.plan.heard_as, self.plan)
        if found and found[0].plan != self.plan and not self._known(found[0]):
            self._offer = found[0]

    def _known(self, said: Reading) -> bool:
        """A figure within the window in force says nothing new, nor a bare "up" where the window lies above him."""
        low_hz, high_hz = self.plan.listen_low_hz - MOVED_HZ, self.plan.listen_high_hz + MOVED_HZ
        plan, dx_hz = said.plan, self.plan.receive_hz
        if said.bare and self.plan.kind == "split":
            above, said_above = (p.listen_low_hz + p.listen_high_hz > 2.0 * dx_hz for p in (self.plan, plan))
            return above == said_above
        return low_hz <= plan.listen_low_hz and plan.listen_high_hz <= high_hz

    def _start_hz(self, hz: float | None) -> float:
        parts = cut(self.plan, self.allowed)
        if not parts:
            raise HearmarkError(f"Nothing was set: no part of the window may be used, {self.allowed.why}.")
        wanted_hz = self._advised_hz if hz is None else hz
        # what is asked for is held against licence and DX by the keeper
        if hz is None and not any(low - 1.0 <= (wanted_hz or 0.0) <= high + 1.0 for low, high in parts):
            wanted_hz = None
        place_hz = start_hz(self.plan, parts) if wanted_hz is None else wanted_hz
        refuse_band(self.plan, place_hz)
        return place_hz

    def _follow(self) -> None:
        to_hz = self._advised_hz
        if not self.keeper.following or to_hz is None:
            return
        if self._followed_hz is not None and abs(to_hz - self._followed_hz) < MOVED_HZ:
            return
        self._followed_hz = to_hz
        self.keeper.ask(Wish("follow", to_hz))


def _in_words(found: tuple[Reading, ...]) -> str:
    """What the words were taken for, and what else they may mean."""

    def one(reading: Reading) -> str:
        low, high = (hz / 1e3 for hz in (reading.plan.listen_low_hz, reading.plan.listen_high_hz))
        if reading.plan.kind == "simplex":
            return "simplex"
        return f"{low:.2f}" if low == high else f"{low:.2f} to {high:.2f}"

    first, *others = found
    sure = f"{100.0 * first.probability:.0f} %"
    asked, refused = parted(first.who)
    whom = f", for {' '.join(asked)}" if asked else ""
    whom += f", not for {' or '.join(refused)}" if refused else ""
    rest = f"; or {', '.join(one(reading) for reading in others[:2])}" if others and first.probability < 0.95 else ""
    return f"Taken as {one(first)} kHz{whom} ({sure}){rest}.".replace("simplex kHz", "simplex")
