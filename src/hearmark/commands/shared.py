"""What several commands share: units at the edge, the window that was said, the progress bar."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from hearmark.errors import HearmarkError
from hearmark.events import Mode
from hearmark.units import hz_from_khz


def hz(khz: float, option: str) -> float:
    """Kilohertz of an option to hertz."""
    if not 0.0 < khz < 1e9:
        raise HearmarkError(f"{option} {khz:g} is no frequency; give it in kHz, like 18143.5.")
    return hz_from_khz(khz)


def absolute_window_hz(window: str | None, dx_hz: float, mode: Mode | None) -> tuple[float, float] | None:
    """Absolute edges of the window, if it was said."""
    from hearmark.duplex.window import window_offsets_hz

    if window is None:
        return None
    low_hz, high_hz = window_offsets_hz(window, mode, dx_hz)
    return dx_hz + low_hz, dx_hz + high_hz


@contextmanager
def progress(what: str, total: float) -> Iterator[Callable[[float], None] | None]:
    """A bar on a terminal, nothing elsewhere."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task(what, total=total)
        yield lambda done: progress.update(task, completed=done)
