"""A session as it happens: source -> engine in one worker thread, and what comes of it to every open page."""

from __future__ import annotations

import queue
import secrets
import threading
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from typing import Any

from hearmark.duplex.announcement import written
from hearmark.errors import HearmarkError
from hearmark.events import Allowed, Answer, Block, Event, Note, Plan, RadioState
from hearmark.radio.refusal import refuse_place
from hearmark.web.actions import Action, read_action
from hearmark.web.ahead import pieces, read_ahead
from hearmark.web.board import Board
from hearmark.web.fan import Fan, Lane, Tab
from hearmark.web.forecast import Forecaster
from hearmark.web.listener import Listener
from hearmark.web.logbook import Entry, Logbook
from hearmark.web.pace import Pace
from hearmark.web.rig import Rig
from hearmark.web.story import Story
from hearmark.web.view import Engine, View
from hearmark.web.wire import EVENT_VERSION, as_text

STATUS_S = 0.5
INBOX = 64


class LiveSession:
    """Runs a source through an engine and shares what comes out.

    `source`: anything that gives events in time order. `paced`: hold it to the speed of life, for
    recordings and the simulator; live sources hold themselves. `tune`: asks a real radio to move its
    transmit frequency; without one the move is noted as the state of a radio tuned by hand. `rig`: a radio that is
    polled, guarded and set; `allowed`: where the licence lets us send, told to the engine before all else.
    `logbook`: where contacts are kept. `forecaster`: answers the page of paths, is told what is heard.
    `board`: whom to chase.
    Nothing here keys a transmitter.
    """

    def __init__(
        self,
        source: Iterable[Event],
        engine: Engine,
        view: View,
        *,
        paced: bool = True,
        tune: Callable[[float], None] | None = None,
        rig: Rig | None = None,
        allowed: Allowed | None = None,
        logbook: Logbook | None = None,
        forecaster: Forecaster | None = None,
        board: Board | None = None,
    ) -> None:
        self.view = view
        self.fan = Fan()
        self.pace = Pace()
        self._source, self._engine, self._paced, self._tune = source, engine, paced, tune
        self._rig, self._allowed = rig, rig.allowed if rig is not None else allowed
        self._logbook = logbook
        self.forecaster = forecaster or Forecaster()
        self.board = board or Board()
        self._story = Story()
        self._inbox: queue.Queue[tuple[Tab | None, Action]] = queue.Queue(INBOX)
        self._dx_hz, self._mode = view.dx_hz, view.mode
        middle_hz = (view.window_low_hz + view.window_high_hz) / 2
        self._transmit_hz = view.transmit_hz
        self._listener = Listener(view.dx_hz, view.mode, middle_hz if view.transmit_hz is None else view.transmit_hz)
        self._now_s = 0.0
        self._begun_s: float | None = None
        self._audio = False
        self.name = secrets.token_hex(8)
        """Tells this session from one before it that had the same address."""
        self.unheard_s: float | None = None
        """How long nothing was heard between the session before, under the same address, and this one."""
        self._heard = threading.Event()
        self._status_due_s = 0.0
        self._state = "waiting"
        self._failure = ""
        self._thread = threading.Thread(target=self._run, name="hearmark-session", daemon=True)
        self._stopping = threading.Event()

    def start(self) -> None:
        """Begins listening."""
        self._thread.start()

    def stop(self, timeout_s: float = 5.0) -> None:
        """Ends the session; returns when its thread has ended, or after `timeout_s`."""
        self._stopping.set()
        self.pace.stop()
        if self._thread.is_alive():
            self._thread.join(timeout_s)

    def join(self, timeout_s: float | None = None) -> bool:
        """Waits for the source to end; whether it has."""
        if self._thread.is_alive():
            self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def wait_for_samples(self, timeout_s: float) -> bool:
        """Waits for the first samples, or for the end; whether there was either in time."""
        return self._heard.wait(timeout_s)

    # From the event loop of the server

    def open(self, tab: Tab) -> None:
        """A page comes: it gets the state so far, then everything new."""
        self.fan.open(tab, self._greeting)

    def close(self, tab: Tab) -> None:
        """A page goes."""
        self.fan.close(tab)

    def take(self, tab: Tab, text: str) -> None:
        """One text frame of a page; raises HearmarkError when it is no request or cannot be met."""
        self.ask(tab, read_action(text))

    def ask(self, tab: Tab, action: Action) -> None:
        """Hands an operator's request to the worker; it acts on it between two blocks."""
        if self._state in ("ended", "failed") and action.verb not in ("replay", "log", "name"):
            raise HearmarkError("The stream has ended: there is nothing left to act on.")
        if self._state in ("ended", "failed"):
            self._act(tab, action)
            return
        try:
            self._inbox.put_nowait((tab, action))
        except queue.Full:
            raise HearmarkError("Too many requests wait already; the program is busy, try again in a moment.") from None

    # In the worker thread

    def _run(self) -> None:
        try:
            self._state = "running"
            if self._allowed is not None:
                self._take(self._allowed)
            if self._rig is not None:
                self._rig.start()
            elif self._transmit_hz is not None and self._tune is None:
                self._take(self._radio_state(self._transmit_hz))
            for event in self._events():
                self._act_on_requests()
                self._hear_radio()
                self.pace.hold(self._while_paused)
                if self._stopping.is_set():
                    break
                self._take(event)
                if isinstance(event, Block) and self._paced:
                    self.pace.wait(event.stop_s)
            self._state = "ended"
        except HearmarkError as error:
            self._state, self._failure = "failed", str(error)
        except Exception as error:
            self._state, self._failure = "failed", f"The program failed: {type(error).__name__}: {error}"
            raise
        finally:
            if self._rig is not None:
                self._rig.stop()
            self._publish_status()
            self._heard.set()

    def _events(self) -> Iterator[Event]:
        if self._paced:
            return read_ahead(self._source, self._stopping)
        return (piece for event in self._source for piece in pieces(event))

    def _hear_radio(self) -> None:
        """What the radio said meanwhile goes the way of all events."""
        if self._rig is None:
            return
        for event in self._rig.take(self._now_s):
            self._take(event)
        message = self._rig.message()
        if message != self._last_rig:
            self._last_rig = message
            self._send({"version": EVENT_VERSION, "type": "radio", **message})

    def _send(self, message: dict[str, Any]) -> None:
        with self.fan.story_lock:
            self.fan.put_locked("text", as_text(message))

    def _while_paused(self) -> None:
        self._act_on_requests()
        self._hear_radio()
        self._publish_status(only_changed=True)

    def _take(self, event: Event) -> None:
        if isinstance(event, Block):
            self._begun_s = event.start_s if self._begun_s is None else self._begun_s
            self._now_s, self._audio = event.stop_s, event.audio
            self._heard.set()
            # Sound first: the ear hears a delay that the eye does not see.
            sound = self._listener.feed(event)
            if sound is not None:
                self.fan.put("sound", sound)
        for outcome in (event, *self._engine.feed(event)):
            if self._rig is not None:
                self._rig.heard(outcome)
            self._publish(outcome)
        if isinstance(event, Block):
            self.fan.refresh(self._snapshot)
            if self._now_s >= self._status_due_s:
                self._status_due_s = self._now_s + STATUS_S
                self._publish_status()

    def _publish(self, event: Event) -> None:
        """Into the story and out to the pages as one step, so that no page misses or doubles anything."""
        if isinstance(event, Block):
            return
        self._notice(event)
        with self.fan.story_lock:
            kept = self._story.feed(event)
            if isinstance(kept, bytes):
                self.fan.put_locked("row", kept)
            elif kept is not None:
                self.fan.put_locked("text", as_text(kept))

    def _notice(self, event: Event) -> None:
        self.forecaster.hear(event)
        if self._logbook is not None:
            self._logbook.notice(event)
        if isinstance(event, Answer):
            self._listener.remember(event)
        elif isinstance(event, Plan):
            self._dx_hz, self._mode = event.receive_hz, event.heard_as
            low_hz, high_hz = event.listen_low_hz, event.listen_high_hz
            self.view = replace(
                self.view, dx_hz=event.receive_hz, mode=event.heard_as, window_low_hz=low_hz, window_high_hz=high_hz
            )
            self._listener.follow(event.receive_hz, event.heard_as)
        elif isinstance(event, RadioState) and event.transmit_hz is not None:
            self._transmit_hz = event.transmit_hz

    def _act_on_requests(self) -> None:
        while True:
            try:
                tab, action = self._inbox.get_nowait()
            except queue.Empty:
                return
            self._act(tab, action)

    def _act(self, tab: Tab | None, action: Action) -> None:
        try:
            self._obey(tab, action)
        except HearmarkError as error:
            if tab is not None:
                refused = {"version": EVENT_VERSION, "type": "refused", "verb": action.verb, "why": str(error)}
                tab.put("text", as_text(refused))
        self._publish_status()

    def _obey(self, tab: Tab | None, action: Action) -> None:
        frequency_hz = action.frequency_hz if action.frequency_hz is not None else 0.0
        if action.verb == "mark":
            time_s = self._now_s if action.time_s is None else min(action.time_s, self._now_s)
            self._take(Note(time_s, "mark", frequency_hz=frequency_hz))
        elif action.verb == "unmark":
            if action.answer is None or self._story.answer(action.answer) is None:
                raise HearmarkError(f"There is no mark number {action.answer} to take back.")
            self._take(Note(self._now_s, "unmark", answer=action.answer))
        elif action.verb == "spot":
            self._listener.listen_at(frequency_hz)
        elif action.verb == "transmit":
            self._move(tab, frequency_hz, sure=action.on is not False)
        elif action.verb == "replay":
            if tab is not None:
                tab.put("sound", self._listener.replay(action.on is True))
        elif action.verb == "sound":
            self._listener.on = bool(action.on)
        elif action.verb == "duck":
            self._listener.ducked = bool(action.on)
        elif action.verb == "filter":
            ear, width = action.text.split()
            self._listener.widen(ear, width)  # type: ignore[arg-type]
        elif action.verb in ("log", "name"):
            self._log(action.verb, action.entry or Entry())
        elif action.verb == "pause":
            if not self.view.pausable:
                raise HearmarkError("The air cannot be paused; only recordings and the simulator can.")
            self.pace.pause(bool(action.on))
        else:
            self._ask_radio(tab, action)

    @staticmethod
    def _teller(tab: Tab | None, verb: str) -> Callable[[bool, str], None]:
        """Takes what came of a request back to the page that asked."""

        def told(ok: bool, why: str) -> None:
            if not ok and tab is not None:
                tab.put("text", as_text({"version": EVENT_VERSION, "type": "refused", "verb": verb, "why": why}))

        return told

    def _ask_radio(self, tab: Tab | None, action: Action) -> None:
        rig = self._rig
        if rig is None:
            raise HearmarkError("No radio is connected: start with --radio HOST:PORT, or set it by hand.")
        told = self._teller(tab, action.verb)
        if action.verb not in ("plan", "offer"):
            rig.obey(action, told)
            return
        plan = rig.say(action.text) if action.verb == "plan" else rig.offered()
        self._take(rig.allowed)
        if plan.kind in ("split", "simplex"):
            self._take(Note(self._now_s, written(plan)))
        self._publish(plan)
        if action.verb == "offer":
            rig.ask("set", None, told)

    def _log(self, verb: str, entry: Entry) -> None:
        if self._logbook is None:
            raise HearmarkError("No log is open: start with --store FILE, or set store under [log] in the settings.")
        if verb == "name":
            self._logbook.name(entry.call)
            return
        done = self._logbook.log(entry, self._dx_hz, self._transmit_hz, self._mode, self._now_s)
        self.fan.put("text", as_text({"version": EVENT_VERSION, "type": "logged", **done}))

    def _move(self, tab: Tab | None, transmit_hz: float, sure: bool) -> None:
        """`sure`: a place outside his window is meant so."""
        may = self._rig.allowed if self._rig is not None else self._allowed
        window_hz = (self.view.window_low_hz, self.view.window_high_hz)
        refuse_place(transmit_hz, self._dx_hz, window_hz, self._mode, may, sure)
        if self._rig is not None:
            self._rig.ask("follow", transmit_hz, self._teller(tab, "transmit"))
        elif self._tune is not None:
            self._tune(transmit_hz)
        else:
            self._take(self._radio_state(transmit_hz))

    def _radio_state(self, transmit_hz: float) -> RadioState:
        return RadioState(self._now_s, self._dx_hz, transmit_hz, split=True, mode=self._mode)

    # What the pages get

    def _publish_status(self, only_changed: bool = False) -> None:
        with self.fan.story_lock:
            status = self._status()
            if not (only_changed and status == self._last_status):
                self._last_status = status
                self.fan.put_locked("text", as_text(status))

    _last_status: dict[str, Any] | None = None
    _last_rig: dict[str, Any] | None = None

    def _status(self) -> dict[str, Any]:
        return {
            "version": EVENT_VERSION,
            "type": "status",
            "now_s": round(self._now_s, 3),
            "state": "paused" if self.pace.paused and self._state == "running" else self._state,
            "failure": self._failure,
            "behind_s": round(self.pace.behind_s, 2),
            "slipped_s": round(self.pace.slipped_s, 2),
            "dropped": self.fan.dropped_locked(),
            "sound": self._listener.on,
            "audio": self._audio,
            "sound_trouble": self._listener.trouble,
            "duck": self._listener.ducked,
            "spot_hz": self._listener.spot_hz,
            "filters": dict(self._listener.widths),
            "station": None if self._logbook is None else self._logbook.station(self._dx_hz, self._mode),
        }

    def _snapshot(self) -> str:
        view = self.view
        return as_text(
            {
                "version": EVENT_VERSION,
                "type": "snapshot",
                "session": self.name,
                "begun_s": round(self._now_s if self._begun_s is None else self._begun_s, 3),
                "unheard_s": None if self.unheard_s is None else round(self.unheard_s, 3),
                "title": view.title,
                "dx_hz": view.dx_hz,
                "mode": view.mode,
                "window_low_hz": view.window_low_hz,
                "window_high_hz": view.window_high_hz,
                "transmit_hz": self._transmit_hz,
                "pausable": view.pausable,
                "status": self._status(),
                "radio": self._rig.message() if self._rig is not None else None,
                "events": self._story.messages(),
            }
        )

    def _greeting(self) -> list[tuple[Lane, str | bytes]]:
        rows: list[tuple[Lane, str | bytes]] = [("row", row) for row in self._story.rows()]
        return [("text", self._snapshot()), *rows]
