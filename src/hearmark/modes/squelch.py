"""Reading only where something is sent: a squelch for every stream, and the reader behind it.

Most of a window is noise most of the time. A stream opens when its level, smoothed over a third of a second, rises out
of the noise, and closes a second after it fell back: longer than any gap inside a transmission. The mean is one of
logarithms, so that key clicks of a strong station, high but short, open nothing beside it, and what rises everywhere at
once, as in a crash of static, counts nowhere. Who comes on a stream that was closed is likely another: there the reader
starts anew, and first hears what it missed while the level rose.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from hearmark.modes.copyist import KEPT, Chances, Symbols
from hearmark.modes.morse import BLANK, HIDDEN, STEP_FRAMES, MorseReader, Reading, features
from hearmark.modes.network import Array

OPENS = 0.36
"""Level, on the networks' scale, smoothed: 0.15 in noise."""
QUIET = 0.15
CRASH = 0.05
"""By so much more than this as a quarter of the streams is above it (-0.02 in noise), all of them were lifted."""
SMOOTH_S, HOLD_S = 0.35, 0.96
CAUGHT_UP_FRAMES = 72
"""What a stream that opens has missed: 0.58 s."""
NOTHING = -14.0
"""Logarithm of the chance that a closed stream completes a character."""


class Squelch:
    """`feed` levels step by step, as many each time; `open`: which streams are, (streams,) bool."""

    def __init__(self, streams: int) -> None:
        self._level = np.full(streams, QUIET, np.float32)
        self._left = np.zeros(streams, np.int64)
        self._batch = 0
        self.last = np.full(streams, -1, np.int64)
        """Number of the feed in which each stream was last open; -1: in none."""

    @property
    def open(self) -> npt.NDArray[np.bool_]:
        """Which streams are open."""
        return self._left > 0

    def feed(self, level: Array, seconds: float) -> None:
        """`level`: of each stream, networks' scale, (streams, steps), which take `seconds`."""
        quarter = np.partition(level, len(level) // 4, axis=0)[len(level) // 4]
        mean = (level - np.maximum(quarter - np.float32(CRASH), 0.0)).mean(axis=1)
        self._level += np.float32(1.0 - np.exp(-seconds / SMOOTH_S)) * (mean - self._level)
        self._left = np.where(self._level > OPENS, round(HOLD_S / seconds), np.maximum(self._left - 1, 0))
        self.last[self._left > 0] = self._batch
        self._batch += 1


@dataclass(frozen=True, slots=True)
class CaughtUp:
    """What was sent on `streams` just before they opened: likeliest symbols and logarithms of their chances,
    (streams, steps, KEPT) both, of the last steps before those of the reading."""

    streams: npt.NDArray[np.int64]
    likely: Symbols
    chances: Chances


class SquelchedReader:
    """Reads `centres` (bins) side by side where they are open; the last one, the DX, always is; `all_open`: all are."""

    def __init__(self, centres: npt.NDArray[np.int64], all_open: bool = False) -> None:
        self._centres, self._always = centres, slice(None) if all_open else slice(-1, None)
        self._reader = MorseReader(len(centres))
        self.forget()

    def forget(self) -> None:
        """Start anew, as after a gap."""
        self._reader.forget()
        self.squelch = Squelch(len(self._centres))
        self._past: Array | None = None
        self._open = self.squelch.open
        self.caught_up: CaughtUp | None = None
        """Of the streams that the newest reading opened."""

    def read(self, level: Array, own: Array, seconds: float) -> Reading:
        """`level`: compressed power, (frames, bins), of `seconds`; `own`: each stream's own level, (streams, steps)."""
        steps = own.shape[1]
        self.squelch.feed(own, seconds)
        now = self.squelch.open
        now[self._always] = True
        was, self._open, self.caught_up = self._open, now, None
        going, come = np.flatnonzero(now & was), np.flatnonzero(now & ~was)
        reading = _nothing(len(now), steps)
        self._reader.forget(np.flatnonzero(was & ~now))
        hidden = np.repeat(self._reader.known[:, None], steps, axis=1)
        for streams, past in ((going, 0), (come, 0 if self._past is None else len(self._past) // STEP_FRAMES)):
            if not len(streams):
                continue
            heard = level if not past or self._past is None else np.concatenate([self._past, level])
            part = self._reader.read(features(heard, self._centres[streams]), streams)
            reading.symbols[:, streams], hidden[streams] = part.symbols[past:], part.hidden[:, past:]
            reading.sure[:, streams] = part.sure[past:]
            reading.likely[streams], reading.chances[streams] = part.likely[:, past:], part.chances[:, past:]
            if past:
                self.caught_up = CaughtUp(streams, part.likely[:, :past], part.chances[:, :past])
        kept = level if self._past is None else np.concatenate([self._past, level])
        self._past = kept[-CAUGHT_UP_FRAMES:]
        return Reading(reading.symbols, hidden, reading.sure, reading.likely, reading.chances)


def _nothing(streams: int, steps: int) -> Reading:
    """A reading in which nobody sends."""
    likely = np.empty((streams, steps, KEPT), np.int8)
    likely[:] = np.arange(KEPT)
    chances = np.full((streams, steps, KEPT), NOTHING, np.float32)
    chances[..., 0] = 0.0
    return Reading(
        np.full((steps, streams), BLANK, np.int8), np.zeros((0, 0, HIDDEN), np.float32),
        np.ones((steps, streams), np.float32), likely, chances,
    )  # fmt: skip
