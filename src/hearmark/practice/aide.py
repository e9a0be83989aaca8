"""The engine hearing along in a thread of its own, so that a slow moment of it never holds up the sound."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable

from hearmark.engine import Engine, EngineConfig
from hearmark.events import Event

DEPTH = 250
"""So many events wait (20 s of blocks); what does not fit is lost, and the engine takes it for a gap."""


class Aide:
    """Feeds an engine; `publish` gets what follows, in order, in this thread."""

    def __init__(self, config: EngineConfig, publish: Callable[[Event], None]) -> None:
        self._engine = Engine(config)
        self._publish = publish
        self._waiting: queue.Queue[Event] = queue.Queue(DEPTH)
        self._ended = threading.Event()
        self.lost = 0
        threading.Thread(target=self._run, name="hearmark-aide", daemon=True).start()

    def feed(self, event: Event) -> None:
        """Take one event; never waits."""
        try:
            self._waiting.put_nowait(event)
        except queue.Full:
            self.lost += 1

    def stop(self) -> None:
        """Say nothing more."""
        self._ended.set()

    def _run(self) -> None:
        while not self._ended.is_set():
            try:
                event = self._waiting.get(timeout=0.5)
            except queue.Empty:
                continue
            for outcome in self._engine.feed(event):
                if self._ended.is_set():
                    return
                self._publish(outcome)
