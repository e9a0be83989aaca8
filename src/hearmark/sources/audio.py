"""What one receiver heard: mono audio beside a log of where its dial stood and whether we sent."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Literal

import numpy as np

from hearmark.duplex.bands import band_of
from hearmark.errors import HearmarkError
from hearmark.events import Block, ComplexArray, Dial, Gap
from hearmark.sources.analytic import Analytic
from hearmark.sources.source import SourceEvent
from hearmark.sources.wav import WavHeader, read_frames, read_header

_LEAST_DIAL_HZ = 1e6
"""From here on a dial is taken as it stands; below, only the two lowest bands are."""
_YES, _NO = ("1", "true", "yes"), ("0", "false", "no", "")


def read_dial_log(path: Path) -> tuple[Dial, ...]:
    """Read a CSV with the columns time_s, receive_hz and optionally keyed (1 or 0), in time order.

    Raises HearmarkError that names the line at fault.
    """
    try:
        with path.open(newline="", encoding="utf-8-sig") as file:
            rows = list(csv.DictReader(file, skipinitialspace=True))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise HearmarkError(f"Cannot read the dial log {path}: {error}; expected CSV text.") from error
    if not rows or not {"time_s", "receive_hz"} <= set(rows[0]):
        raise HearmarkError(f"The dial log {path} needs a first line time_s,receive_hz,keyed and a line for each move.")
    dials: list[Dial] = []
    for line, row in enumerate(rows, 2):
        try:
            dial = Dial(float(row["time_s"]), float(row["receive_hz"]), _keyed(row.get("keyed")))
        except (TypeError, ValueError) as error:
            raise HearmarkError(f"Line {line} of the dial log {path} is not two numbers and 0 or 1.") from error
        before_s = dials[-1].time_s if dials else 0.0
        if not (math.isfinite(dial.time_s) and before_s <= dial.time_s < 1e8 and 0 < dial.receive_hz < 1e12):
            raise HearmarkError(
                f"Line {line} of the dial log {path} has time {dial.time_s:g} s and {dial.receive_hz:g} Hz; "
                "times must ascend from 0 and frequencies be in hertz."
            )
        _refuse_other_unit(dial.receive_hz, f"Line {line} of the dial log {path}")
        dials.append(dial)
    return tuple(dials)


def _refuse_other_unit(receive_hz: float, where: str) -> None:
    """Raise for what lies in a band as kHz or MHz and in none as it stands: a dial that would hear nobody."""
    if receive_hz >= _LEAST_DIAL_HZ or band_of(receive_hz):
        return
    for factor, unit in ((1e3, "kHz"), (1e6, "MHz")):
        if band_of(receive_hz * factor):
            raise HearmarkError(
                f"{where} has receive_hz {receive_hz:.12g}, which looks like {unit}; "
                f"give it in hertz: {receive_hz * factor:.12g}."
            )


def _keyed(text: str | None) -> bool:
    """1 or 0 in a few spellings."""
    said = (text or "").strip().lower()
    if said not in (*_YES, *_NO):
        raise ValueError(said)
    return said in _YES


class DialTrack:
    """Cuts analytic audio at the dial's moves, and turns our own transmissions into gaps.

    `sideband` "lsb" mirrors the audio, so that it lies below the dial. `pitch_hz`: how far the
    dial's reading lies from the suppressed carrier: 0 for voice; in CW, on a radio whose dial shows
    the carrier it hears as a tone of that pitch, the pitch.
    """

    def __init__(
        self, dials: Sequence[Dial], rate_hz: float, sideband: Literal["usb", "lsb"] = "usb", pitch_hz: float = 0.0
    ) -> None:
        self._rate_hz = rate_hz
        self._upper = sideband == "usb"
        self._pitch_hz = pitch_hz if self._upper else -pitch_hz
        self._dials = [(round(dial.time_s * rate_hz), dial) for dial in dials]
        self._now: Dial | None = None
        self._deaf_since = 0
        self._why = "before the dial log begins"

    def feed(self, first: int, samples: ComplexArray) -> Iterator[SourceEvent]:
        """Events for contiguous samples, the first of them `first`."""
        at, stop = first, first + len(samples)
        while at < stop:
            while self._dials and self._dials[0][0] <= at:
                yield from self._move(*self._dials.pop(0))
            until = min(stop, self._dials[0][0]) if self._dials else stop
            if self._now is not None and not self._now.keyed:
                piece = samples[at - first : until - first]
                center_hz = self._now.receive_hz - self._pitch_hz
                yield Block(at, self._rate_hz, center_hz, piece if self._upper else np.conj(piece), audio=True)
            at = until

    def add(self, dial: Dial) -> None:
        """A later move, as it becomes known."""
        self._dials.append((round(dial.time_s * self._rate_hz), dial))

    def finish(self, stop: int) -> Iterator[SourceEvent]:
        """Close a gap that lasts to the end."""
        if self._now is None or self._now.keyed:
            yield from self._gap(stop)

    def _move(self, at: int, dial: Dial) -> Iterator[SourceEvent]:
        """Take one line of the log."""
        if self._now is None or (self._now.keyed and not dial.keyed):
            yield from self._gap(at)
        if dial.keyed and (self._now is None or not self._now.keyed):
            self._deaf_since, self._why = at, "own transmission"
        self._now = dial
        yield dial

    def _gap(self, stop: int) -> Iterator[Gap]:
        """The deaf time up to `stop`, if there was any."""
        if stop > self._deaf_since:
            yield Gap(self._deaf_since / self._rate_hz, stop / self._rate_hz, self._why)


class AudioFile:
    """A mono WAV and its dial log."""

    def __init__(
        self,
        path: Path,
        dial: Path,
        sideband: Literal["usb", "lsb"] = "usb",
        pitch_hz: float = 0.0,
        cut: bool = False,
    ) -> None:
        self._header: WavHeader = read_header(path, cut)
        if self._header.channels != 1:
            raise HearmarkError(
                f"{path} has {self._header.channels} channels; a dial log goes with one channel of audio. "
                "For I/Q leave --dial out and add --center KHZ."
            )
        self._dials = read_dial_log(dial)
        self._sideband: Literal["usb", "lsb"] = sideband
        self._pitch_hz = pitch_hz
        self.sample_rate_hz = self._header.sample_rate_hz
        self.center_hz = self._dials[0].receive_hz - (pitch_hz if sideband == "usb" else -pitch_hz)
        self.duration_s: float | None = self._header.frames / self.sample_rate_hz

    @property
    def clips_at(self) -> float | None:
        """None: the analytic signal of clipped audio is not clipped itself."""
        return None

    def events(self) -> Iterator[SourceEvent]:
        """Blocks with `audio=True`, dial moves, and gaps while we sent."""
        analytic = Analytic(self.sample_rate_hz)
        track = DialTrack(self._dials, self.sample_rate_hz, self._sideband, self._pitch_hz)
        first = 0
        for frames in read_frames(self._header):
            samples = analytic.feed(frames[:, 0])
            yield from track.feed(first, samples)
            first += len(samples)
        samples = analytic.finish()
        yield from track.feed(first, samples)
        yield from track.finish(first + len(samples))
