"""Reading ahead: the same events in the same order, in short blocks, and errors where they happened."""

import threading
from collections.abc import Iterator

import numpy as np
import pytest

from hearmark.errors import HearmarkError
from hearmark.events import Block, Event, Gap
from hearmark.web.ahead import DEPTH, PIECE_S, read_ahead


def test_long_blocks_come_in_short_ones_with_the_same_samples() -> None:
    samples = np.arange(10_007).astype(np.complex64)
    source: list[Event] = [Block(500, 8_000.0, 1e6, samples, audio=True), Gap(3.0, 4.0, "cut")]
    *blocks, gap = read_ahead(source, threading.Event())
    assert gap is source[1]
    assert all(isinstance(b, Block) and b.audio and len(b.samples) <= PIECE_S * 8_000 for b in blocks)
    joined = [b for b in blocks if isinstance(b, Block)]
    np.testing.assert_array_equal(np.concatenate([b.samples for b in joined]), samples)
    starts = 500 + np.cumsum([0, *[len(b.samples) for b in joined]])[:-1]
    assert [b.first_sample for b in joined] == starts.tolist()


def test_error_of_the_source_comes_after_the_events_before_it() -> None:
    def source() -> Iterator[Event]:
        yield Gap(0.0, 1.0, "a")
        raise HearmarkError("The file is cut short.")

    events = read_ahead(source(), threading.Event())
    assert next(events) == Gap(0.0, 1.0, "a")
    with pytest.raises(HearmarkError, match="cut short"):
        next(events)


def test_reader_waits_when_enough_lies_ready() -> None:
    read = []

    def source() -> Iterator[Event]:
        for n in range(DEPTH * 3):
            read.append(n)
            yield Gap(float(n), n + 1.0, "")

    stop = threading.Event()
    events = read_ahead(source(), stop)
    next(events)
    while len(read) < DEPTH + 2:
        stop.wait(0.01)
    stop.wait(0.3)
    assert len(read) <= DEPTH + 3
    assert sum(1 for _ in events) == DEPTH * 3 - 1


def test_stop_ends_an_endless_source() -> None:
    def source() -> Iterator[Event]:
        while True:
            yield Gap(0.0, 1.0, "")

    stop = threading.Event()
    events = read_ahead(source(), stop)
    next(events)
    stop.set()
    assert next(events, None) is None
