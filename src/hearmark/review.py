"""A recording through the engine, from end to end."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Protocol

from hearmark.duplex.window import window_offsets_hz
from hearmark.events import Block, Dial, Ear, Event, Gap, Levels, Mode, Row
from hearmark.sources.source import Source

AWAY_HZ = {"cw": 300.0, "voice": 1_500.0}
"""A dial further than this from the DX looks for callers."""
BESIDE_HZ = {"cw": 1_000.0, "voice": 500.0}
"""How far beside its dial a receiver that looks for callers hears them."""


class Listener(Protocol):
    """What a review needs of an engine."""

    def feed(self, event: Event, /) -> Iterable[Event]:
        """Take one event, give what follows from it."""

    def finish(self) -> Iterable[Event]:
        """Give what is still open when the stream ends."""


def hear(source: Source, engine: Listener, progress: Callable[[float], None] | None = None) -> list[Event]:
    """Every fact the engine found, and the source's own gaps and levels, in order.

    The picture's rows are dropped and only the newest ear is kept, so that memory does not grow
    with them. `progress` is called with the sample time in seconds reached so far.
    """
    kept: list[Event] = []
    ear: list[Ear] = []
    for event in source.events():
        if isinstance(event, Gap | Levels):
            kept.append(event)
        _keep(engine.feed(event), kept, ear)
        if progress and isinstance(event, Block):
            progress(event.stop_s)
    _keep(engine.finish(), kept, ear)
    return kept + list(ear)


def dialled_window_hz(dials: Iterable[Dial], dx_hz: float, mode: Mode) -> tuple[float, float]:
    """Edges of the window, in hertz, from where one receiver looked for callers; those of a bare "up" if nowhere."""
    kind = "cw" if mode == "cw" else "voice"
    away = [dial.receive_hz for dial in dials if not dial.keyed and abs(dial.receive_hz - dx_hz) > AWAY_HZ[kind]]
    if not away:
        low_hz, high_hz = window_offsets_hz("up", mode)
        return dx_hz + low_hz, dx_hz + high_hz
    return min(away) - BESIDE_HZ[kind], max(away) + BESIDE_HZ[kind]


def far_words(dials: Iterable[Dial], dx_hz: float, mode: Mode, duration_s: float) -> str:
    """A line that says so if one receiver's dial never came near the DX; empty if it did."""
    kind = "cw" if mode == "cw" else "voice"
    heard = [dial.receive_hz for dial in dials if not dial.keyed and dial.time_s < duration_s]
    if not heard:
        return "The dial log has no time at which the receiver was heard.\n"
    nearest_hz = min(heard, key=lambda hz: abs(hz - dx_hz))
    if abs(nearest_hz - dx_hz) <= max(AWAY_HZ[kind], BESIDE_HZ[kind]):
        return ""
    return (
        f"The dial never came near his {dx_hz / 1e3:.2f} kHz: {nearest_hz / 1e3:.2f} kHz was the nearest, "
        "so he could not be heard.\n"
    )


def _keep(events: Iterable[Event], kept: list[Event], ear: list[Ear]) -> None:
    """Sort events into what is kept; `ear` holds at most the newest."""
    for event in events:
        if isinstance(event, Ear):
            ear[:] = [event]
        elif not isinstance(event, Row | Block | Gap | Levels):
            kept.append(event)
