"""Who was answered, step by step: evidence of every stream, weighed together.

Both finders are small recurrent networks over all streams at once (`training/finder.py`, `training/voice_finder.py`):
each stream has its own memory, all are told the same about the DX and the crowd, and one distribution over
the streams and "nobody" comes out. In Morse the evidence is what the reader knows of each stream, its level against the
neighbourhood, and how well its text matches the call that the DX sent; in voice it is the spectrum from the
suppressed carrier up. In voice two networks listen, each with memories of its own, and the geometric mean of what they
tell is believed: their errors are partly their own.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np
import numpy.typing as npt
import scipy.ndimage

from hearmark.events import Mode
from hearmark.modes.morse import CONTEXT_BINS, STEP_FRAMES, Reading
from hearmark.modes.network import Array, Network, compress
from hearmark.modes.squelch import CaughtUp, SquelchedReader
from hearmark.pileup.his import His
from hearmark.pileup.look import Look, softmax
from hearmark.pileup.match import Matcher
from hearmark.spectrum.transform import Grid

MORSE_STREAMS = 172
VOICE_BINS = 192
"""3 kHz above the suppressed carrier."""
_DIAL_BINS = 4
_NEAR = 9
_DX_BINS, _DX_LEAD = 208, 8


class Finder(Protocol):
    """Takes ratios of power to noise, (frames, bins), frames a multiple of four; looks at every stream."""

    @property
    def frequency_hz(self) -> npt.NDArray[np.float64]:
        """Centre of every stream, or its suppressed carrier, in hertz."""
        ...

    def look(self, ratio: Array) -> Look:
        """One step for every four frames."""
        ...

    def forget(self) -> None:
        """Start anew, as after a gap."""
        ...


def morse_range_hz(dx_hz: float, low_hz: float, high_hz: float, step_hz: float) -> tuple[float, float]:
    """The range of spectrum that `MorseFinder` needs for a window: its edges and the DX with room beside them."""
    least = (2 * MORSE_STREAMS + 2 * CONTEXT_BINS) * step_hz
    spare = max(0.0, least - (high_hz - low_hz)) / 2 + (CONTEXT_BINS + 2) * step_hz
    return min(low_hz - spare, dx_hz - 16 * step_hz), max(high_hz + spare, dx_hz + 16 * step_hz)


def voice_range_hz(dx_hz: float, low_hz: float, high_hz: float, mode: Mode) -> tuple[float, float]:
    """The range of spectrum that `VoiceFinder` needs: speech lies above or below its suppressed carrier."""
    ahead, behind = 3_200.0, 300.0
    if mode == "lsb":
        ahead, behind = behind, ahead
    return min(low_hz, dx_hz) - behind, max(high_hz, dx_hz) + ahead


class MorseFinder:
    """Streams every 31 Hz over the window, aligned on the DX."""

    def __init__(self, grid: Grid, low_hz: float, high_hz: float, one_receiver: bool = False) -> None:
        first = max(CONTEXT_BINS, int(np.ceil(grid.position(low_hz))) - 8)
        last = min(grid.bins - 1 - CONTEXT_BINS, int(np.floor(grid.position(high_hz))) + 8)
        spare = 2 * MORSE_STREAMS - (last - first)
        if spare > 0:  # the network learnt on 172 streams; quiet ones at the sides belong to the picture
            first = max(CONTEXT_BINS, first - spare // 2)
            last = min(grid.bins - 1 - CONTEXT_BINS, first + 2 * MORSE_STREAMS - 1)
        first += (first - grid.zero) % 2
        self._centres = np.arange(first, last + 1, 2)
        self.frequency_hz = np.asarray(grid.low_hz + grid.step_hz * self._centres, np.float64)
        self._all = np.append(self._centres, grid.zero)
        self._zero = grid.zero
        self._network = Network("hearmark.pileup", "morse_finder.onnx")
        self._his = His("morse") if one_receiver else None
        # one slice has few streams to read, so that nothing need be spared
        self._reader = SquelchedReader(self._all, all_open=one_receiver)
        self._hop_s = grid.hop_s
        self.level: Array = np.zeros((0, grid.bins), np.float32)
        """Power over noise of the newest look, networks' scale, (frames, bins)."""
        self.reading: Reading | None = None
        """What was read in it: of every stream and, last, of the DX."""
        self.forget()

    def forget(self) -> None:
        """Start anew, as after a gap."""
        self._reader.forget()
        self._matcher = Matcher(len(self._centres))
        self._memory = self._network.memory(len(self._centres))
        self._heard = np.zeros(len(self._centres), bool)
        if self._his is not None:
            self._his.forget()

    @property
    def caught_up(self) -> CaughtUp | None:
        """What was sent just before on streams that the newest look opened."""
        return self._reader.caught_up

    def his(self, ratio: Array) -> Array:
        """Four frames of the spectrum about the carrier of the DX, networks' scale, (steps, 76)."""
        near = compress(ratio[:, self._zero - _NEAR : self._zero + _NEAR + 1])
        return near.reshape(len(near) // STEP_FRAMES, -1)

    def look(self, ratio: Array) -> Look:
        """See `Finder`."""
        self.level = level = compress(ratio)
        steps = len(level) // STEP_FRAMES
        beside = np.maximum(level[:, self._all - 1], level[:, self._all + 1])
        own = np.maximum(beside, level[:, self._all]).reshape(steps, STEP_FRAMES, -1).mean(axis=1).T
        self.reading = reading = self._reader.read(level, own, len(level) * self._hop_s)
        match = self._matcher.feed(
            np.ascontiguousarray(reading.symbols[:, :-1]), np.ascontiguousarray(reading.symbols[:, -1])
        )
        here = own[:-1]
        around = scipy.ndimage.maximum_filter1d(here, 7, axis=0, mode="nearest")
        wide = level[:, self._zero - CONTEXT_BINS : self._zero + CONTEXT_BINS + 1].max(axis=1)
        dx_level = np.stack([own[-1], wide.reshape(steps, STEP_FRAMES).max(axis=1)], axis=1)
        weighed = self._weighed()
        memory = {**self._memory, "h_stream": self._memory["h_stream"][:, weighed]}
        logits, state, whole, streams = self._network.run(
            hidden=reading.hidden[weighed],
            level=np.stack([here, here - around], axis=2)[weighed],
            match=np.ascontiguousarray(match.T[weighed]),
            dx_hidden=reading.hidden[-1],
            dx_level=dx_level,
            **memory,
        )
        self._memory["h_whole"] = whole
        self._memory["h_stream"][:, weighed] = streams
        every = np.empty((len(here) + 1, steps), np.float32)
        every[:-1] = logits[:-1].min(axis=0)
        every[weighed], every[-1] = logits[:-1], logits[-1]
        active = here.T > 0.75
        four = softmax(state)
        if self._his is not None:
            four = self._his.weighed(four, self.his(ratio))
        return Look(softmax(every.T), four, active, own[-1], reading.symbols)

    def _weighed(self) -> npt.NDArray[np.int64]:
        """Streams that are weighed now: all that are open and, up to as many as the network learnt on, those that were
        so last. Who comes to them begins with what is remembered of the closed ones."""
        squelch = self._reader.squelch
        is_open = squelch.open[:-1]
        count = max(MORSE_STREAMS, int(np.count_nonzero(is_open)))
        if count >= len(is_open):
            return np.arange(len(is_open))
        weighed = np.sort(np.argsort(-squelch.last[:-1], kind="stable")[:count])
        memory = self._memory["h_stream"]
        closed = self._heard & ~is_open
        heard = np.zeros(len(is_open), bool)
        heard[weighed] = True
        if closed.any():
            memory[:, heard & ~self._heard] = memory[:, closed].mean(axis=1, keepdims=True)
        self._heard = heard
        return weighed


class VoiceFinder:
    """Dials every 62.5 Hz over the window, aligned on the DX; the lower sideband is heard mirrored."""

    def __init__(self, grid: Grid, low_hz: float, high_hz: float, mode: Mode) -> None:
        self._lower = mode == "lsb"
        zero = grid.bins - 1 - grid.zero if self._lower else grid.zero
        edges = [grid.position(low_hz), grid.position(high_hz)]
        if self._lower:
            edges = [grid.bins - 1 - e for e in reversed(edges)]
        first = int(np.ceil(edges[0])) - 12
        last = int(np.floor(edges[1])) + 12
        spare = 160 * _DIAL_BINS - (last - first)
        if spare > 0:
            first, last = first - spare // 2, first - spare // 2 + 160 * _DIAL_BINS
        first -= (first - zero) % _DIAL_BINS
        dials = (last - first) // _DIAL_BINS
        count = dials * _DIAL_BINS + VOICE_BINS
        self._pad = (max(0, -first), max(0, first + count - grid.bins))
        self._window = slice(first + self._pad[0], first + self._pad[0] + count)
        self._dx_pad = (max(0, _DX_LEAD - zero), max(0, zero - _DX_LEAD + _DX_BINS - grid.bins))
        begin = zero - _DX_LEAD + self._dx_pad[0]
        self._dx = slice(begin, begin + _DX_BINS)
        centres = first + _DIAL_BINS * np.arange(dials)
        if self._lower:
            centres = grid.bins - 1 - centres
        self.frequency_hz = np.asarray(grid.low_hz + grid.step_hz * centres, np.float64)
        self._network = Network("hearmark.pileup", "voice_finder.onnx")
        self._his = His("voice")
        self.talk: Array | None = None
        """Logarithm of the odds that somebody talks on each dial, in the newest look, (steps, dials)."""
        self.forget()

    def forget(self) -> None:
        """Start anew, as after a gap."""
        self._memory = self._network.memory(len(self.frequency_hz))
        self._past: Array | None = None
        self._his.forget()

    def his(self, ratio: Array) -> Array:
        """The spectrum from the suppressed carrier of the DX up, networks' scale, (steps, 208)."""
        return _padded(self._levels(ratio), self._dx_pad, self._dx)

    def _levels(self, ratio: Array) -> Array:
        """Steps of four frames on the networks' scale, along the sideband."""
        mean = ratio.reshape(len(ratio) // STEP_FRAMES, STEP_FRAMES, -1).mean(axis=1)
        return compress(mean[:, ::-1] if self._lower else mean)

    def look(self, ratio: Array) -> Look:
        """See `Finder`."""
        level = self._levels(ratio)
        past = np.zeros((2, level.shape[1]), np.float32) if self._past is None else self._past
        level = np.concatenate([past, level])
        self._past = level[-2:]
        dx = _padded(level, self._dx_pad, self._dx)
        window = _padded(level, self._pad, self._window)
        logits, late, state, talk, *memory = self._network.run(window=window, dx=dx, **self._memory)
        self._memory = dict(zip(self._memory, memory, strict=True))
        self.talk = np.ascontiguousarray(talk.T)
        dx_level = dx[2:, _DX_LEAD + 16 : _DX_LEAD + 176].mean(axis=1)
        p = softmax(state)  # open, to all, report given, report due, rest of a call asked for, that is due
        four = np.concatenate([p[:, :2], p[:, 2:4] + p[:, 4:6]], axis=1)
        four = self._his.weighed(four, dx[2:])
        report = p[:, 2:4].sum(axis=1) / np.maximum(p[:, 2:].sum(axis=1), np.float32(1e-6))
        return Look(softmax(logits.T), four, talk.T > 0.0, dx_level, report=report, late=softmax(late.T))


def _padded(level: Array, pad: tuple[int, int], kept: slice) -> Array:
    """Bins outside the recording count as noise."""
    if any(pad):
        level = np.pad(level, ((0, 0), pad), constant_values=0.0)
    return np.ascontiguousarray(level[:, kept])
