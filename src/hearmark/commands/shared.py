"""What several commands share: units at the edge, the window that was said, the progress bar."""

from __future__ import annotations

import itertools
import math
import re
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from hearmark.errors import HearmarkError
from hearmark.events import Mode
from hearmark.units import hz_from_khz

_BELOW_ZERO = re.compile(r"-\.?\d")


class _Finite(click.types.FloatParamType):
    """A figure: what is not a number or endless is none."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The figure; as click has it, but finite."""
        found = super().convert(value, param, ctx)
        if not math.isfinite(found):
            self.fail(f"{value!r} is no figure.", param, ctx)
        return found


class FiniteRange(_Finite, click.FloatRange):
    """A figure within limits; comparing alone would let through what is not a number."""


FLOAT = _Finite()


class Announced(click.Command):
    """A command whose words may begin with a minus before a figure: "-5" is an announcement and no option."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """The same arguments, that minus written as the sign that announcements know too."""
        plain = [
            "\N{MINUS SIGN}" + word[1:] if not before.startswith("--") and _BELOW_ZERO.match(word) else word
            for before, word in itertools.pairwise(["", *args])
        ]
        return super().parse_args(ctx, plain)


def hz(khz: float, option: str) -> float:
    """Kilohertz of an option to hertz."""
    if not 0.0 < khz < 1e9:
        raise HearmarkError(f"{option} {khz:g} is no frequency; give it in kHz, like 18143.5.")
    from hearmark.duplex.bands import band_of

    # In no band as kHz, but in one as MHz or as Hz: the wrong unit, and every offset added to it would be nonsense
    for factor, unit in ((1e3, "MHz"), (1e-3, "Hz")):
        if band_of(hz_from_khz(khz)) is None and band_of(hz_from_khz(khz * factor)) is not None:
            raise HearmarkError(f"{option} {khz:.12g} looks like {unit}; give it in kHz: {khz * factor:.10g}.")
    return hz_from_khz(khz)


def checked_call(call: str) -> str:
    """A call as given on the command line, in capitals; empty stays empty."""
    from hearmark.settings import CALL

    given = call.strip().upper()
    if given and not CALL.fullmatch(given):
        raise HearmarkError(f"{call!r} is no call sign; give letters and digits, with / where it has one, like K7ABC.")
    return given


def absolute_window_hz(window: str | None, dx_hz: float, mode: Mode | None) -> tuple[float, float] | None:
    """Absolute edges of the window, if it was said."""
    from hearmark.duplex.window import window_offsets_hz

    if window is None:
        return None
    low_hz, high_hz = window_offsets_hz(window, mode, dx_hz)
    return dx_hz + low_hz, dx_hz + high_hz


def recording_files(recording: Path | None) -> list[Path]:
    """The files that belong to a recording: of SigMF, whichever of the pair was named, both."""
    if recording is None:
        return []
    if recording.suffix in (".sigmf-meta", ".sigmf-data"):
        return sigmf_pair(recording)
    return [recording]


def sigmf_pair(path: Path) -> list[Path]:
    """Both files of a SigMF recording of this name, with any suffix."""
    if not path.name:
        raise HearmarkError(f"{str(path)!r} names no recording; give a file name.")
    return [path.with_suffix(".sigmf-meta"), path.with_suffix(".sigmf-data")]


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
