"""A source through an engine: what is kept."""

from collections.abc import Iterator

import numpy as np

from hearmark.events import Answer, Block, Dial, Ear, Event, Gap, Levels, Row
from hearmark.review import hear
from hearmark.sources.source import SourceEvent


class Tape:
    sample_rate_hz, center_hz, duration_s = 1_000.0, 7e6, 3.0

    def events(self) -> Iterator[SourceEvent]:
        yield Dial(0.0, 7e6)
        yield Block(0, 1_000.0, 7e6, np.zeros(1_000, np.complex64))
        yield Gap(1.0, 2.0, "own transmission")
        yield Block(2_000, 1_000.0, 7e6, np.zeros(1_000, np.complex64))
        yield Levels(3.0, -20.0, 0.0, -60.0)


class Echo:
    """Answers every block."""

    def __init__(self) -> None:
        self.fed: list[type] = []

    def feed(self, event: Event) -> list[Event]:
        self.fed.append(type(event))
        at_s = event.start_s if isinstance(event, Block) else 0.0
        ear = Ear(at_s, np.arange(3.0), np.ones(3), "stays")
        row = Row(at_s, 0.0, 1.0, np.zeros(3, np.float32))
        return [Answer(1, at_s, None, at_s, 7e6, 0.9), ear, row] if isinstance(event, Block) else [event]

    def finish(self) -> list[Event]:
        return [Answer(2, 2.9, 3.0, 3.0, 7e6, 0.8)]


def test_everything_is_fed_and_facts_are_kept_once() -> None:
    engine, reached = Echo(), []
    kept = hear(Tape(), engine, reached.append)
    assert engine.fed == [Dial, Block, Gap, Block, Levels]
    assert [type(event) for event in kept] == [Dial, Answer, Gap, Answer, Levels, Answer, Ear]
    assert isinstance(kept[-1], Ear)
    assert kept[-1].time_s == 2.0
    assert reached == [1.0, 3.0]
