"""Reads a recording or a simulation a little ahead, in short blocks: slow reading does not make sound stutter."""

from __future__ import annotations

import queue
import threading
from collections.abc import Iterable, Iterator
from dataclasses import replace

from hearmark.events import Block, Event

PIECE_S = 0.05
DEPTH = 40
_END = object()


def pieces(event: Event) -> Iterator[Event]:
    """The event itself, or, for a block longer than 50 ms, its parts."""
    if not isinstance(event, Block) or len(event.samples) <= PIECE_S * event.sample_rate_hz:
        yield event
        return
    size = max(1, int(PIECE_S * event.sample_rate_hz))
    for at in range(0, len(event.samples), size):
        yield replace(event, first_sample=event.first_sample + at, samples=event.samples[at : at + size])


def read_ahead(source: Iterable[Event], stop: threading.Event) -> Iterator[Event]:
    """The events of `source` in order, read by a thread of its own that waits when 40 (2 s) lie ready.

    An error of the source is raised here, after the events before it. `stop` ends both sides.
    """
    ready: queue.Queue[object] = queue.Queue(DEPTH)

    def put(item: object) -> bool:
        while not stop.is_set():
            try:
                ready.put(item, timeout=0.2)
            except queue.Full:
                continue
            return True
        return False

    def read() -> None:
        try:
            for event in source:
                for piece in pieces(event):
                    if not put(piece):
                        return
            put(_END)
        except BaseException as error:
            put(error)

    threading.Thread(target=read, name="hearmark-reader", daemon=True).start()
    while not stop.is_set():
        try:
            item = ready.get(timeout=0.2)
        except queue.Empty:
            continue
        if item is _END:
            return
        if isinstance(item, BaseException):
            raise item
        yield item  # type: ignore[misc]
