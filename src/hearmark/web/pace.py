"""Holds a recording or a simulated stream to the speed of life: the only place that looks at a real clock."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

SLIP_S = 1.0
"""Behind by more than this, time lost is given up instead of being made good in a rush."""


class Pace:
    """Waits until a sample time is due, against a monotonic clock. `stop` ends every wait."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._origin: float | None = None
        self._running = threading.Event()
        self._running.set()
        self._stopped = threading.Event()
        self.behind_s = 0.0
        """How late the last block came, seconds; above zero the machine is too slow for this stream."""
        self.slipped_s = 0.0
        """Time given up since the start, seconds."""

    @property
    def paused(self) -> bool:
        """Whether the stream stands still."""
        return not self._running.is_set()

    def pause(self, on: bool) -> None:
        """Stands still, or goes on."""
        if on:
            self._running.clear()
        else:
            self._running.set()

    def stop(self) -> None:
        """Ends all waiting, for good."""
        self._stopped.set()
        self._running.set()

    def hold(self, poll: Callable[[], None] = lambda: None, step_s: float = 0.05) -> None:
        """While paused, waits, and calls `poll` now and then. The pause does not count as time."""
        if not self.paused:
            return
        began = self._clock()
        while self.paused and not self._stopped.is_set():
            poll()
            self._running.wait(step_s)
        if self._origin is not None:
            self._origin += self._clock() - began

    def wait(self, sample_s: float, poll: Callable[[], None] | None = None, step_s: float = 0.01) -> None:
        """Waits until `sample_s` is due, calling `poll` now and then; the first call sets the origin."""
        now = self._clock()
        if self._origin is None:
            self._origin = now - sample_s
        late_s = now - (self._origin + sample_s)
        if late_s < 0:
            due_s = now - late_s
            while poll is not None and due_s - self._clock() > step_s and not self._stopped.wait(step_s):
                poll()
            self._stopped.wait(max(due_s - self._clock(), 0.0))
        elif late_s > SLIP_S:
            self.slipped_s += late_s
            self._origin += late_s
        self.behind_s = max(late_s, 0.0)
