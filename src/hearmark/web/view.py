"""What a live session needs from outside: an engine, and what the page shows from the start."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol

from hearmark.events import Event, Mode


class Engine(Protocol):
    """What a session needs of the engine."""

    def feed(self, event: Event, /) -> Iterable[Event]:
        """Takes one event of the stream, gives back what follows from it."""
        ...


@dataclass(frozen=True, slots=True)
class View:
    """What the page shows from the start. `pausable`: a recording or a simulation, not the air."""

    title: str
    dx_hz: float
    mode: Mode
    window_low_hz: float
    window_high_hz: float
    transmit_hz: float | None = None
    pausable: bool = False
