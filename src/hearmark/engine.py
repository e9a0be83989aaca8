"""The one place that wires the rooms: samples and events in, facts and advice out; live and recorded alike.

Everything runs on fixed frames of the sample clock, so block sizes do not matter and a replay gives the same events.
Work is done in batches of 96 ms: spectrum, floor, emissions, finder, exchange, ear, cue.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from hearmark.ear.counsel import Counsel
from hearmark.events import (
    Allowed,
    Answer,
    Block,
    Dial,
    Emission,
    Event,
    Gap,
    KeyState,
    Levels,
    Mode,
    Note,
    Over,
    Plan,
    RadioState,
    Row,
    Turn,
)  # fmt: skip
from hearmark.modes.alphabet import text_of
from hearmark.pileup.calls import last_call
from hearmark.pileup.exchange import Exchange
from hearmark.pileup.finder import Finder, MorseFinder, VoiceFinder, morse_range_hz, voice_range_hz
from hearmark.spectrum.emissions import EmissionTracker
from hearmark.spectrum.floor import Floor
from hearmark.spectrum.survey import Survey
from hearmark.spectrum.transform import Frames, Transform

BATCH_FRAMES = 12
STEP_FRAMES = 4
_AUDIO_HZ = 3_500.0


@dataclass(frozen=True, slots=True)
class EngineConfig:
    """What is known beforehand. None: to be found out from the first seconds of the stream."""

    dx_hz: float
    mode: Mode | None = None
    window_low_hz: float | None = None
    window_high_hz: float | None = None
    own_call: str | None = None


class Engine:
    """`feed(event)` gives what follows from it; `finish()` what is still open at the end."""

    def __init__(self, config: EngineConfig) -> None:
        self.config = config
        self._survey: Survey | None = None
        self._chain: _Chain | None = None
        self._waiting: list[Block] = []
        self._kept_notes: list[Event] = []
        self._keyed = False
        self._next_sample: int | None = None

    def feed(self, event: Event) -> list[Event]:
        """Take one event."""
        return list(self._feed(event))

    def finish(self) -> list[Event]:
        """The stream has ended."""
        out: list[Event] = []
        if self._chain is None and self._waiting:
            out += self._decide()
        if self._chain is not None:
            out += self._chain.finish()
        return out

    def _feed(self, event: Event) -> Iterator[Event]:
        match event:
            case Block():
                yield from self._block(event)
            case Gap():
                yield from self._deaf(event.start_s)
            case KeyState():
                self._keyed = event.keyed
                yield from self._deaf(event.time_s)
                if self._chain is not None:
                    yield from self._chain.told(event)
            case Note() | RadioState() | Allowed() | Plan():
                if self._chain is None:
                    self._kept_notes.append(event)
                else:
                    yield from self._chain.told(event)
            case Dial() | Levels():
                pass
            case _:
                pass

    def _deaf(self, time_s: float) -> Iterator[Event]:
        self._next_sample = None
        if self._chain is not None:
            yield from self._chain.gap(time_s)

    def _block(self, block: Block) -> Iterator[Event]:
        if self._keyed:
            return
        if self._chain is None:
            self._waiting.append(block)
            if self._survey is None and not self._known():
                self._survey = Survey(self.config.dx_hz, block.sample_rate_hz, block.center_hz)
            if self._survey is None or self._survey.feed(block):
                yield from self._decide()
            return
        if self._next_sample is not None and block.first_sample != self._next_sample:
            yield from self._deaf(block.start_s)
        self._next_sample = block.first_sample + len(block.samples)
        yield from self._chain.block(block)

    def _known(self) -> bool:
        c = self.config
        return c.mode is not None and c.window_low_hz is not None and c.window_high_hz is not None

    def _decide(self) -> Iterator[Event]:
        """Enough is known: build the chain and let it hear what waited."""
        first = self._waiting[0]
        c = self.config
        if self._survey is not None:
            mode, low_hz, high_hz = self._survey.verdict(c.mode)
            low_hz = c.window_low_hz if c.window_low_hz is not None else low_hz
            high_hz = c.window_high_hz if c.window_high_hz is not None else high_hz
            c = replace(c, mode=mode, window_low_hz=low_hz, window_high_hz=high_hz)
            self.config = c
        self._chain = _Chain(c, first)
        waiting, self._waiting, self._survey = self._waiting, [], None
        yield self._chain.plan
        for event in self._kept_notes:
            yield from self._chain.told(event)
        self._kept_notes = []
        for block in waiting:
            yield from self._block(block)


class _Chain:
    """All stages for one mode, window and sample rate."""

    def __init__(self, config: EngineConfig, first: Block) -> None:
        mode: Mode = config.mode or "cw"
        low_hz = config.window_low_hz if config.window_low_hz is not None else config.dx_hz
        high_hz = config.window_high_hz if config.window_high_hz is not None else config.dx_hz
        dx_hz = config.dx_hz
        self.plan = Plan(dx_hz, low_hz, high_hz, mode, kind="simplex" if low_hz == high_hz == dx_hz else "split")
        self._mode, self._dx_hz, self._own_call = mode, dx_hz, config.own_call
        step_hz = first.sample_rate_hz / round(first.sample_rate_hz * 0.064)
        alone = first.audio
        if alone:
            range_hz = (dx_hz - _AUDIO_HZ, dx_hz + _AUDIO_HZ)
        elif mode == "cw":
            range_hz = morse_range_hz(dx_hz, low_hz, high_hz, step_hz)
        else:
            range_hz = voice_range_hz(dx_hz, low_hz, high_hz, mode)
        self._audio = alone
        self._rate_hz, self._center_hz = first.sample_rate_hz, first.center_hz
        self._transform = Transform(first.sample_rate_hz, first.center_hz, dx_hz, *range_hz)
        self._transform.restart(first.first_sample)
        grid = self._transform.grid
        self._grid = grid
        self._floor = Floor(grid)
        self._finder: Finder
        if mode == "cw":
            self._finder = MorseFinder(grid, low_hz, high_hz, alone)
        else:
            self._finder = VoiceFinder(grid, low_hz, high_hz, mode, alone)
        self._tracker = EmissionTracker(grid) if mode == "cw" and not alone else None
        self._exchange = Exchange(self._finder.frequency_hz, dx_hz, mode)
        self._counsel = Counsel(self.plan, self._finder.frequency_hz)
        self._pending: npt.NDArray[np.float32] = np.zeros((0, grid.bins), np.float32)
        self._pending_s = 0.0
        self._batches = 0
        self._transform_idle = False

    def block(self, block: Block) -> Iterator[Event]:
        """Samples in."""
        if block.sample_rate_hz != self._rate_hz or block.center_hz != self._center_hz:
            # retuned: a slice elsewhere says nothing about the DX's own frequency
            yield from self.gap(block.start_s)
            if abs(block.sample_rate_hz - self._rate_hz) > 1e-9:
                return
            if block.center_hz != self._center_hz:
                return
        if self._transform_idle:
            self._transform.restart(block.first_sample)
            self._transform_idle = False
        frames = self._transform.feed(block.samples)
        if not len(frames):
            return
        if not len(self._pending):
            self._pending_s = frames.start_s
        power = np.concatenate([self._pending, frames.power]) if len(self._pending) else frames.power
        whole = len(power) // BATCH_FRAMES
        for k in range(whole):
            yield from self._batch(power[k * BATCH_FRAMES : (k + 1) * BATCH_FRAMES])
            self._pending_s += BATCH_FRAMES * self._grid.hop_s
        self._pending = power[whole * BATCH_FRAMES :].copy()

    def gap(self, time_s: float) -> Iterator[Event]:
        """Deaf from here on, until the next block."""
        if self._transform_idle:
            return
        self._transform_idle = True
        self._pending = self._pending[:0]
        self._finder.forget()
        yield from self._digest(self._exchange.break_off(time_s), time_s)

    def finish(self) -> Iterator[Event]:
        """The end of the stream."""
        time_s = self._pending_s
        yield from self._digest(self._exchange.break_off(time_s), time_s)
        yield self._counsel.ear(time_s)

    def told(self, event: Event) -> Iterator[Event]:
        """What the operator or the radio says."""
        match event:
            case Note(text="mark") if event.frequency_hz is not None:
                yield from self._digest(self._exchange.by_hand(event.frequency_hz, event.time_s), event.time_s)
            case Note(text="unmark") if event.answer is not None:
                yield from self._digest(self._exchange.take_back(event.answer, event.time_s), event.time_s)
            case _:
                yield from self._counsel.told(event)

    def _batch(self, power: npt.NDArray[np.float32]) -> Iterator[Event]:
        first_s = self._pending_s  # centre of the first window
        now_s = first_s + (BATCH_FRAMES - 1) * self._grid.hop_s + self._grid.window_s / 2
        floor = self._floor.feed(power)
        ratio = (power / np.maximum(floor, np.float32(1e-30))).astype(np.float32, copy=False)
        self._batches += 1
        mean = ratio.reshape(-1, STEP_FRAMES, ratio.shape[1]).mean(axis=1)
        self._exchange.memory.add_spectra(self._grid.frequency_hz, mean)
        row_db = (10.0 * np.log10(mean.mean(axis=0) + 1e-3)).astype(np.float32)
        yield Row(now_s, self._grid.low_hz, self._grid.step_hz, row_db)
        look = self._finder.look(ratio)
        events = self._exchange.feed(look, first_s - self._grid.window_s / 2, now_s)
        yield from self._digest(events, now_s)
        if self._tracker is not None:
            frames = Frames(self._grid, self._batches * BATCH_FRAMES, first_s, power)
            for emission in self._tracker.feed(frames, floor):
                yield self._read(emission, now_s)
        if self._exchange.over is not None and self._batches % 5 == 0 and look.symbols is not None:
            over = self._exchange.over
            text = text_of(self._exchange.memory.symbols(over.start_s - 0.1, None, -1))
            if text != over.text:
                self._exchange.over = replace(over, text=text)
                yield self._exchange.over
        yield from self._counsel.step(self._exchange, look, mean, self._grid.frequency_hz, now_s)

    def _read(self, emission: Emission, now_s: float) -> Emission:
        """An emission with the text of the stream nearest to it."""
        streams = self._finder.frequency_hz
        nearest = int(np.argmin(np.abs(streams - emission.frequency_hz)))
        if abs(emission.frequency_hz - self._dx_hz) < 32.0:
            nearest = -1
        elif abs(streams[nearest] - emission.frequency_hz) > 32.0:
            return emission
        stop = (emission.stop_s or now_s) + 0.3
        text = text_of(self._exchange.memory.symbols(emission.start_s - 0.1, stop, nearest))
        return replace(emission, text=text, call=last_call(text))

    def _digest(self, events: list[Over | Turn | Answer], now_s: float) -> Iterator[Event]:
        for event in events:
            yield event
            if isinstance(event, Answer):
                yield from self._counsel.marked(event, now_s)
            elif isinstance(event, Over) and event.stop_s is None:
                yield from self._counsel.over_begins(now_s)

