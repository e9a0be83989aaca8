"""A bounded queue of samples between the thread that receives them and the one that listens."""

from __future__ import annotations

import threading
from collections import deque
from dataclasses import dataclass

from hearmark.events import ComplexArray


@dataclass(frozen=True, slots=True)
class Piece:
    """Samples, and how many were dropped just before them."""

    samples: ComplexArray
    dropped: int


class Backlog:
    """Holds at most `limit` samples; when full it drops the oldest pieces and counts what it drops.

    With `wait` the sender waits instead: for pipes that do not run in real time.
    """

    def __init__(self, limit: int, wait: bool = False) -> None:
        self._limit = limit
        self._wait = wait
        self._pieces: deque[Piece] = deque()
        self._held = 0
        self._lost = 0
        self._closed = False
        self._failure: Exception | None = None
        self._changed = threading.Condition()
        self.dropped_samples = 0

    def put(self, samples: ComplexArray, missing: int = 0) -> None:
        """Add samples; `missing`: how many the sender itself knows to have lost before them."""
        with self._changed:
            while self._wait and self._held and self._held + len(samples) > self._limit and not self._closed:
                self._changed.wait()
            if self._closed:
                return
            self.dropped_samples += missing
            self._lost += missing
            while self._pieces and self._held + len(samples) > self._limit:
                self._drop_oldest()
            self._pieces.append(Piece(samples, self._lost))
            self._lost = 0
            self._held += len(samples)
            self._changed.notify_all()

    def _drop_oldest(self) -> None:
        """Forget the first piece; the next one then says what is missing before it."""
        oldest = self._pieces.popleft()
        self._held -= len(oldest.samples)
        self.dropped_samples += len(oldest.samples)
        gone = oldest.dropped + len(oldest.samples)
        if self._pieces:
            self._pieces[0] = Piece(self._pieces[0].samples, self._pieces[0].dropped + gone)
        else:
            self._lost += gone

    def take(self) -> Piece | None:
        """The next piece, waiting for it; None once closed and empty. Raises what the sender failed with."""
        with self._changed:
            while not self._pieces and not self._closed:
                self._changed.wait()
            if self._pieces:
                piece = self._pieces.popleft()
                self._held -= len(piece.samples)
                self._changed.notify_all()
                return piece
            if self._failure is not None:
                raise self._failure
            return None

    def close(self, failure: Exception | None = None) -> None:
        """No more will come; what is held can still be taken."""
        with self._changed:
            if not self._closed:
                self._closed, self._failure = True, failure
            self._changed.notify_all()
