"""What every station sends, while it sends: each transmission has its copyist on the stream nearest to its carrier.

When a short one is over, it is heard once more (`modes.rehearing`): the first letters came before the reader knew speed
and level.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from hearmark.events import Emission, Over
from hearmark.modes.alphabet import ALPHABET, UNITS
from hearmark.modes.copyist import KEPT, NOTHING, Copy, Copyist
from hearmark.modes.morse import STEP_FRAMES, Reading
from hearmark.modes.network import Array
from hearmark.modes.rehearing import AROUND, LEAD_S, TAIL_S, Rehearing
from hearmark.modes.squelch import CaughtUp
from hearmark.pileup.again import calls_again, copy_of, weighed
from hearmark.pileup.copied import calls_in, partials_in
from hearmark.pileup.look import STEP_S
from hearmark.spectrum.transform import Grid

DEPTH = 1024
"""Steps kept: 33 s; a transmission is copied from its start as soon as it is known to be one."""
EARLY_S, LATE_S = 0.1, 0.55
"""A character is read after it was sent: what comes so long after a transmission still belongs to it."""
AGAIN_S, AGAIN_LETTERS = 9.0, 16
"""Transmissions of up to so long, and with so much text, are heard again."""
KNOWN = 0.95
"""A call that was heard before, and now again with this probability, needs no second hearing."""
OTHERS = 400
"""Transmissions remembered, as far as they may lie beside one."""
ALONE_HZ = 120.0
"""Only who has nobody so near meanwhile is heard again: in a dense pile-up a second hearing tells no more than the
first, and costs half of the engine."""
REACH_HZ = 24.0
LIKELY = 0.8
"""From this probability on a call is told as the transmission's."""


@dataclass(slots=True)
class _Sheet:
    """One transmission's copyist, its stream, the step from which and up to which it has copied."""

    stream: int
    first: int
    next: int
    copyist: Copyist = field(default_factory=Copyist)


class Copying:
    """Feed every reading; ask for the text of a transmission. `frequency_hz`: of the streams, the DX's last."""

    def __init__(self, frequency_hz: npt.NDArray[np.float64], dx_hz: float, grid: Grid) -> None:
        self._frequency_hz, self._dx_hz, self._grid = frequency_hz, dx_hz, grid
        self._levels = np.zeros((round((AGAIN_S + 4.0) / grid.hop_s), grid.bins), np.float16)
        self._frames = 0
        self._rehearing: Rehearing | None = None
        count = len(frequency_hz) + 1
        self._symbols = np.zeros((DEPTH, count, KEPT), np.int8)
        self._chances = np.zeros((DEPTH, count, KEPT), np.float16)
        self._time_s = np.zeros(DEPTH)
        self._count = 0
        self._sheets: dict[int, _Sheet] = {}
        self._over: tuple[int, _Sheet] | None = None
        self._cut: dict[int, Copy] = {}
        self._others: dict[int, tuple[float, float, float]] = {}
        self.calls: set[str] = set()
        """Calls of callers heard so far."""
        self._sent: set[str] = set()
        """Those of them whose transmission was over by then."""

    def add(self, start_s: float, reading: Reading, level: Array, caught_up: CaughtUp | None = None) -> None:
        """The newest steps and their frames of power over noise, networks' scale, (frames, bins); `start_s`: when the
        first's window begins; `caught_up`: what was sent just before on streams that were closed."""
        rows = np.arange(self._frames, self._frames + len(level)) % len(self._levels)
        self._levels[rows] = level
        self._frames += len(level)
        if caught_up is not None:
            steps = min(caught_up.likely.shape[1], self._count)
            at = np.ix_(np.arange(self._count - steps, self._count) % DEPTH, caught_up.streams)
            self._symbols[at] = caught_up.likely[:, caught_up.likely.shape[1] - steps :].transpose(1, 0, 2)
            self._chances[at] = caught_up.chances[:, caught_up.likely.shape[1] - steps :].transpose(1, 0, 2)
        steps = reading.likely.shape[1]
        rows = np.arange(self._count, self._count + steps) % DEPTH
        self._symbols[rows] = reading.likely.transpose(1, 0, 2)
        self._chances[rows] = reading.chances.transpose(1, 0, 2)
        self._time_s[rows] = start_s + STEP_S * np.arange(steps)
        self._count += steps

    def forget(self) -> None:
        """After a gap: what was open is over."""
        self._cut = {number: sheet.copyist.copy() for number, sheet in self._sheets.items()}
        self._sheets.clear()
        self._others.clear()
        self._over = None
        self._count = self._frames = 0

    def emission(self, emission: Emission) -> Emission:
        """The same transmission with text, speed and calls as far as they are known."""
        if emission.id in self._cut:
            return self._told(emission, self._cut[emission.id])
        stream = self._stream(emission.frequency_hz)
        if stream is None:
            return emission
        sheet = self._sheets.get(emission.id)
        if sheet is None or sheet.stream != stream:
            first = self._step(emission.start_s - EARLY_S)
            sheet = self._sheets[emission.id] = _Sheet(stream, first, first)
        copy = self._copied(sheet, emission.stop_s)
        self._others.pop(emission.id, None)
        stop_s = np.inf if emission.stop_s is None else emission.stop_s
        self._others[emission.id] = emission.frequency_hz, emission.start_s, stop_s
        if len(self._others) > OTHERS:
            del self._others[next(iter(self._others))]
        if emission.stop_s is not None:
            del self._sheets[emission.id]
        told = self._told(emission, copy)
        ended_s = emission.stop_s
        if ended_s is not None and stream < len(self._frequency_hz) and self._alone(emission, ended_s):
            told = self._again(told, emission.start_s, ended_s, copy)
        if told.call is not None and stream < len(self._frequency_hz):
            self.calls.add(told.call)
            if emission.stop_s is not None:
                self._sent.add(told.call)
        return told

    def _alone(self, emission: Emission, stop_s: float) -> bool:
        """Did nobody else send near it meanwhile?"""
        return not any(
            abs(frequency_hz - emission.frequency_hz) < ALONE_HZ and min(b, stop_s) > max(a, emission.start_s)
            for number, (frequency_hz, a, b) in self._others.items()
            if number != emission.id
        )

    def _again(self, told: Emission, start_s: float, stop_s: float, copy: Copy) -> Emission:
        """A transmission that is over, heard once more if it is short."""
        known = told.call in self._sent and told.calls[0].probability >= KNOWN
        if known or not 0.3 < stop_s - start_s < AGAIN_S or len(copy.text) > AGAIN_LETTERS:
            return told
        hop_s, newest = self._grid.hop_s, self._frames - 1
        newest_s = self._time_s[(self._count - 1) % DEPTH] + (STEP_FRAMES - 1) * hop_s + self._grid.window_s / 2
        first = newest - round((newest_s - start_s + LEAD_S) / hop_s)
        last = min(newest + 1, newest - round((newest_s - stop_s - TAIL_S) / hop_s))
        first = max(first, self._frames - len(self._levels), 0)
        at = self._grid.position(told.frequency_hz)
        low = round(at) - AROUND
        if last - first < 40 or low < 0 or low + 2 * AROUND >= self._grid.bins:
            return told
        rows = np.arange(first, last) % len(self._levels)
        level = self._levels[rows, low : low + 2 * AROUND + 1].astype(np.float32)
        if self._rehearing is None:
            self._rehearing = Rehearing()
        heard = self._rehearing.hear(level, at - round(at), hop_s, copy.text, told.speed_wpm)
        if heard is None:
            return told
        texts = weighed(heard)
        steps = round((stop_s - start_s + EARLY_S) / STEP_S)
        new = copy_of(texts, round(EARLY_S / STEP_S), steps)
        calls = tuple(replace(c, probability=round(c.probability, 3)) for c in calls_again(texts, heard, new))
        return replace(
            told, text=new.text, sure=_rounded(new), calls=calls, partials=partials_in(new),
            speed_wpm=heard.speed_wpm,
            call=calls[0].call if calls and calls[0].probability >= LIKELY else None,
        )  # fmt: skip

    @staticmethod
    def _told(emission: Emission, copy: Copy) -> Emission:
        ended = emission.stop_s is not None
        calls = tuple(replace(call, probability=round(call.probability, 3)) for call in calls_in(copy, ended))
        best = calls[0].call if calls and calls[0].probability >= LIKELY else None
        return replace(
            emission, text=copy.text, sure=_rounded(copy), speed_wpm=speed_wpm([copy]), call=best, calls=calls,
            partials=partials_in(copy),
        )  # fmt: skip

    def over(self, over: Over) -> Over:
        """The same over of the DX with its text."""
        if self._over is None or self._over[0] != over.id:
            first = self._step(over.start_s - EARLY_S)
            self._over = (over.id, _Sheet(len(self._frequency_hz), first, first))
        copy = self._copied(self._over[1], over.stop_s)
        return replace(over, text=copy.text, sure=_rounded(copy))

    def _copied(self, sheet: _Sheet, stop_s: float | None) -> Copy:
        last = self._count if stop_s is None else min(self._count, self._step(stop_s + LATE_S))
        sheet.next = max(sheet.next, self._count - DEPTH)
        if last > sheet.next:
            rows = np.arange(sheet.next, last) % DEPTH
            sheet.copyist.feed(self._symbols[rows, sheet.stream], self._chances[rows, sheet.stream].astype(np.float32))
            sheet.next = last
        return sheet.copyist.copy() if sheet.next > sheet.first else NOTHING

    def _step(self, time_s: float) -> int:
        """Number of the step at a time, within those that are kept."""
        if not self._count:
            return 0
        newest = self._time_s[(self._count - 1) % DEPTH]
        back = int(np.floor((newest - time_s) / STEP_S + 0.5))
        return min(max(self._count - 1 - back, 0, self._count - DEPTH), self._count)

    def _stream(self, frequency_hz: float) -> int | None:
        """The stream that reads this carrier, if any does."""
        if abs(frequency_hz - self._dx_hz) < REACH_HZ:
            return len(self._frequency_hz)
        nearest = int(np.argmin(np.abs(self._frequency_hz - frequency_hz)))
        return nearest if abs(self._frequency_hz[nearest] - frequency_hz) < REACH_HZ else None


def speed_wpm(copies: Iterable[Copy]) -> float | None:
    """Speed from when the characters inside words came, words a minute; None while there are too few.

    A hand that leaves wide gaps between letters reads slower than it keys.
    """
    steps, units = 0, 0
    for copy in copies:
        for k in range(1, len(copy.text)):
            if copy.text[k] != " " and copy.text[k - 1] != " " and copy.sure[k] > 0.5:
                steps += copy.step[k] - copy.step[k - 1]
                units += UNITS[ALPHABET.index(copy.text[k])] + 3
    return round(1.2 / (steps * STEP_S / units), 1) if units >= 20 and steps > 0 else None


def _rounded(copy: Copy) -> tuple[float, ...]:
    return tuple(round(p, 2) for p in copy.sure)
