"""What `hearmark listen` runs: a session with all that belongs to it, and the one after it when another is chosen."""

from __future__ import annotations

import contextlib
from datetime import UTC, datetime
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING, Any

from hearmark.commands import radio as radio_command
from hearmark.commands.chase import open_board
from hearmark.commands.report import keep_live
from hearmark.commands.shared import hz
from hearmark.commands.store import log_path, open_logbook, open_store, rehearsal_log
from hearmark.errors import HearmarkError

if TYPE_CHECKING:
    from hearmark.events import Mode
    from hearmark.listening import Heard
    from hearmark.settings import Receiver, Settings
    from hearmark.web.live import LiveSession


def check_beside(
    settings: Settings, demo: bool, store: Path | None, radio_address: str | None, licence: str | None
) -> None:
    """Raise HearmarkError now, before a long preparation, for a licence, radio or log that cannot be."""
    from hearmark.commands.duplex import licence_table
    from hearmark.files import check_writable
    from hearmark.radio.daemon import address

    licence_table(licence, None, settings)
    where = settings.radio.address if radio_address is None else radio_address
    if where and where != "simulated":
        address(where)
    path = None if demo and store is None else log_path(store, settings)
    if path is not None and path.exists():
        open_store(path, settings).close()
    elif path is not None:
        check_writable(path)


class Live:
    """The session under way. `receiver`: the settings from which it was opened, if it was from settings alone.

    `change` may be called from any thread; one change runs at a time.
    """

    def __init__(
        self, heard: Heard, settings: Settings, *, own_call: str = "", dx_call: str = "",
        radio_address: str | None = None, licence: str | None = None, log_path: Path | None = None,
        record_path: Path | None = None, receiver: Receiver | None = None,
    ) -> None:  # fmt: skip
        from hearmark.path.antenna import station_antenna
        from hearmark.web.after import After
        from hearmark.web.forecast import Forecaster
        from hearmark.web.relay import Relay

        self._own_call, self._radio, self._licence, self._log_path = own_call, radio_address, licence, log_path
        self._changing = Lock()
        self._receiver = receiver
        self.forecaster = Forecaster(settings.station, station_antenna(settings))
        self._prepare(heard, settings, dx_call)
        self.board = open_board(settings, self.logbook)
        self.after = After(self.record, self.logbook, self.begun)
        self._tape = contextlib.ExitStack()
        self.relay = Relay(self._session(self._recorded(record_path), settings))

    def _prepare(self, heard: Heard, settings: Settings, dx_call: str = "") -> None:
        """Log, record and engine for what is heard from now on."""
        from hearmark.engine import Engine, EngineConfig
        from hearmark.session import Remembering, SessionRecord

        self.heard, edges = heard, (heard.window_low_hz, heard.window_high_hz)
        self.rehearsal = heard.invented and self._log_path is None
        self.logbook = open_logbook(rehearsal_log() if self.rehearsal else self._log_path, settings, dx_call)
        self.record = SessionRecord(heard.dx_hz, heard.mode, edges)
        call = self._own_call or settings.station.call
        self.engine = Remembering(Engine(EngineConfig(heard.dx_hz, heard.mode, *edges, call)), self.record)
        self.begun = datetime.now(UTC)

    def _recorded(self, path: Path | None) -> Any:
        """The engine, or one that also records until the session ends."""
        if path is None:
            return self.engine
        from hearmark.listening import Recorder
        from hearmark.sources.recording import SigmfWriter

        writer = self._tape.enter_context(SigmfWriter(path, self.heard.sample_rate_hz, self.heard.title))
        recorder = Recorder(self.engine, writer, self.heard.mode)
        self._tape.callback(recorder.annotate)
        return recorder

    def _session(self, engine: Any, settings: Settings) -> LiveSession:
        from hearmark.web.live import LiveSession
        from hearmark.web.view import View

        heard = self.heard
        edges = (heard.window_low_hz, heard.window_high_hz)
        view = View(heard.title, heard.dx_hz, heard.mode, *edges, heard.transmit_hz, pausable=heard.paced)
        beside = radio_command.beside(heard, settings, self._radio, self._licence)
        return LiveSession(
            heard.events, engine, view, paced=heard.paced, logbook=self.logbook, forecaster=self.forecaster,
            board=self.board, **beside,
        )  # fmt: skip

    def change(self, settings: Settings, dx_khz: float | None, mode: Mode | None, window: str) -> str:
        """Hears what the settings name instead, and says what that is. Raises HearmarkError; then the old one goes on.

        The running receiver is heard on if it is the one that is asked for.
        """
        from hearmark.duplex.bands import usual_mode
        from hearmark.listening import Wish, begun, elsewhere, open_live

        if not self._changing.acquire(blocking=False):
            raise HearmarkError("Another start is under way already; wait until it has ended.")
        try:
            dx_hz = None if dx_khz is None else hz(dx_khz, "The DX's frequency")
            same = settings.receiver == self._receiver and self.heard.live is not None
            if same and dx_hz is not None:
                heard = elsewhere(self.heard, dx_hz, mode or usual_mode(dx_hz), window)
            else:
                heard = begun(open_live(Wish(dx_hz=dx_hz, mode=mode, window=window), settings))
            try:
                # A radio or licence that is none is told before anything ends
                radio_command.beside(heard, settings, self._radio, self._licence)
            except HearmarkError:
                if not same:
                    heard.close()
                raise
            old = self.heard
            self.relay.succeed(lambda: self._next(heard, settings), (lambda: None) if same else old.close)
            self._receiver = settings.receiver
        finally:
            self._changing.release()
        low, high = ((edge - heard.dx_hz) / 1e3 for edge in (heard.window_low_hz, heard.window_high_hz))
        return (
            f"Heard now: {heard.title}, the DX on {heard.dx_hz / 1e3:.2f} kHz in {heard.mode.upper()}, listening "
            f"{low:+.1f} to {high:+.1f} kHz from him."
        )

    def _next(self, heard: Heard, settings: Settings) -> LiveSession:
        self._finish()
        before = self.logbook
        self._prepare(heard, settings)
        self.forecaster.begin()
        self.board.follow(self.logbook)
        self.after.follow(self.record, self.logbook, self.begun)
        if before is not None:
            before.store.close()
        return self._session(self.engine, settings)

    def _finish(self) -> None:
        """What the session leaves behind is kept."""
        self._tape.close()
        if not self.rehearsal:
            keep_live(self.logbook, self.record, self.begun)

    def saved(self, settings: Settings) -> None:
        """The settings were saved: what can count at once does."""
        from hearmark.path.antenna import station_antenna

        self.forecaster.station, self.forecaster.antenna = settings.station, station_antenna(settings)
        if self.logbook is not None:
            self.logbook.settings = settings

    def close(self) -> None:
        """The program ends."""
        self.board.stop()
        self._finish()
        self.heard.close()
