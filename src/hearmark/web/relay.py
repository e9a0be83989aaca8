"""One session after another under one address: another receiver or another DX, and the pages stay open."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

from hearmark.errors import HearmarkError
from hearmark.web.board import Board
from hearmark.web.fan import Tab
from hearmark.web.forecast import Forecaster
from hearmark.web.live import LiveSession

BEGIN_S = 5.0
"""So long the pages wait for the first samples of the new session before they go over to it anyhow."""


class Relay:
    """Passes the open pages from a session to the one after it. May be called from several threads."""

    def __init__(self, session: LiveSession, clock: Callable[[], float] = time.monotonic) -> None:
        self.session = session
        self._clock = clock
        self._tabs: list[Tab] = []
        self._lock = threading.RLock()

    @property
    def forecaster(self) -> Forecaster:
        """Answers the page of paths."""
        return self.session.forecaster

    @property
    def board(self) -> Board:
        """Whom to chase."""
        return self.session.board

    def start(self) -> None:
        """Begins the session."""
        self.session.start()

    def stop(self) -> None:
        """Ends the session."""
        self.session.stop()

    def open(self, tab: Tab) -> None:
        """A page comes."""
        with self._lock:
            self._tabs.append(tab)
            self.session.open(tab)

    def close(self, tab: Tab) -> None:
        """A page goes."""
        with self._lock:
            if tab in self._tabs:
                self._tabs.remove(tab)
            self.session.close(tab)

    def take(self, tab: Tab, text: str) -> None:
        """One text frame of a page."""
        self.session.take(tab, text)

    def succeed(self, make: Callable[[], LiveSession], release: Callable[[], None] = lambda: None) -> None:
        """Ends the session and begins the one that `make` gives. `release`: lets go of what the old one heard.

        Nothing may fail in `make` that a person can cause: what can is tried before. Raises HearmarkError, and the old
        session has ended, if it does not let go of its source.
        """
        old = self.session
        stopped_s = self._clock()
        old.stop(0.3)
        release()
        old.stop()
        if not old.join(0.0):
            raise HearmarkError("The receiver that was heard does not let go; end the program and start it anew.")
        session = make()
        session.start()
        session.wait_for_samples(BEGIN_S)
        with self._lock:
            session.unheard_s = self._clock() - stopped_s
            for tab in self._tabs:
                old.close(tab)
                tab.clear()
                session.open(tab)
            self.session = session
