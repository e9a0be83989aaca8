"""The one place that wires the rooms: samples and events in, facts and advice out; live and recorded alike.

Everything runs on fixed frames of the sample clock, so block sizes do not matter and a replay gives the same events.
Work is done in batches of 96 ms: spectrum, floor, emissions, finder, exchange, ear, cue.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from hearmark.ear.counsel import Counsel
from hearmark.errors import HearmarkError
from hearmark.events import (
    Allowed,
    Answer,
    Block,
    Dial,
    Emission,
    Event,
    Gap,
    KeyState,
    Mode,
    Note,
    Over,
    Plan,
    RadioState,
    Row,
    Turn,
)  # fmt: skip
from hearmark.pileup.arrival import Arrival
from hearmark.pileup.chains import Chains
from hearmark.pileup.copying import Copying
from hearmark.pileup.exchange import Exchange
from hearmark.pileup.finder import Finder, MorseFinder, VoiceFinder, morse_range_hz, voice_range_hz
from hearmark.pileup.own import OwnEar
from hearmark.pileup.strength import Strength
from hearmark.pileup.talkers import Talkers
from hearmark.pileup.voiced import VoiceExchange
from hearmark.pileup.working import Responders
from hearmark.sources.samples import silenced
from hearmark.spectrum.batches import BATCH_FRAMES, Band, Batch
from hearmark.spectrum.emissions import EmissionTracker
from hearmark.spectrum.slices import Slices
from hearmark.spectrum.survey import Survey
from hearmark.spectrum.transform import WINDOW_S, Frames

STEP_FRAMES = 4


@dataclass(frozen=True, slots=True)
class EngineConfig:
    """What is known beforehand. None: to be found out from the first seconds of the stream. `own_call`: to be listened
    for in what the DX sends; empty: not known."""

    dx_hz: float
    mode: Mode | None = None
    window_low_hz: float | None = None
    window_high_hz: float | None = None
    own_call: str = ""


class Engine:
    """`feed(event)` gives what follows from it; `finish()` what is still open at the end."""

    def __init__(self, config: EngineConfig) -> None:
        self.config = config
        self._survey: Survey | None = None
        self._chain: _Chain | None = None
        self._waiting: list[Block] = []
        self._kept_notes: list[Event] = []
        self._keyed = False
        self._receive_hz: float | None = None
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
            case Dial():
                self._receive_hz = event.receive_hz
                if self._chain is not None:
                    self._chain.receive_hz = event.receive_hz
            case Note() | RadioState() | Allowed() | Plan():
                if self._chain is None:
                    self._kept_notes.append(event)
                else:
                    yield from self._chain.told(event)
            case _:
                pass  # a report about the receiver, or something of our own

    def _deaf(self, time_s: float) -> Iterator[Event]:
        self._next_sample = None
        if self._chain is not None:
            yield from self._chain.gap(time_s)

    def _block(self, block: Block) -> Iterator[Event]:
        if self._keyed:
            return
        block = _sound(block)
        if self._chain is None:
            self._waiting.append(block)
            if self._survey is None and not self._known():
                self._survey = Survey(self.config.dx_hz, block)
            if self._survey is None or self._survey.feed(block):
                yield from self._decide()
            return
        if self._next_sample is not None and block.first_sample != self._next_sample:
            yield from self._deaf(self._next_sample / block.sample_rate_hz)
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
        self._chain.receive_hz = self._receive_hz
        waiting, self._waiting, self._survey = self._waiting, [], None
        yield self._chain.plan
        yield self._chain.ear(first.start_s)
        for event in self._kept_notes:
            yield from self._chain.told(event)
        self._kept_notes = []
        for block in waiting:
            yield from self._block(block)


def _sound(block: Block) -> Block:
    """The same block with zeros for what is no sample: not a number, or far beyond full scale."""
    samples = silenced(block.samples)
    return block if samples is block.samples else replace(block, samples=samples)


class _Chain:
    """All stages for one mode, window and sample rate."""

    def __init__(self, config: EngineConfig, first: Block) -> None:
        mode: Mode = config.mode or "cw"
        low_hz = config.window_low_hz if config.window_low_hz is not None else config.dx_hz
        high_hz = config.window_high_hz if config.window_high_hz is not None else config.dx_hz
        dx_hz = config.dx_hz
        self.plan = Plan(dx_hz, low_hz, high_hz, mode, kind="simplex" if low_hz == high_hz == dx_hz else "split")
        self._mode, self._dx_hz = mode, dx_hz
        step_hz = first.sample_rate_hz / round(first.sample_rate_hz * WINDOW_S)
        if mode == "cw":
            range_hz = morse_range_hz(dx_hz, low_hz, high_hz, step_hz)
        else:
            range_hz = voice_range_hz(dx_hz, low_hz, high_hz, mode)
        self._range_hz = range_hz
        self._band: Band | Slices = (
            Slices(first, mode, dx_hz, *range_hz) if first.audio else Band(first, dx_hz, *range_hz)
        )
        self._grid = grid = self._band.grid
        self._finder: Finder
        self._finder = (
            MorseFinder(grid, low_hz, high_hz, first.audio)
            if mode == "cw"
            else VoiceFinder(grid, low_hz, high_hz, mode)
        )
        self._copying = Copying(self._finder.frequency_hz, dx_hz, grid)
        self._own = OwnEar(config.own_call) if config.own_call and mode == "cw" else None
        self._tracker = EmissionTracker(grid) if mode == "cw" and not first.audio else None
        self._talkers: Talkers | None = None
        self._chains = Chains()
        if isinstance(self._finder, VoiceFinder) and not first.audio:
            self._talkers = Talkers(self._finder.frequency_hz, grid.low_hz, grid.step_hz, mode == "lsb")
        self._strength = Strength(grid.frequency_hz, mode)
        exchange = Exchange if mode == "cw" else VoiceExchange
        self._exchange = exchange(self._finder.frequency_hz, dx_hz, mode)
        self._arrival: Arrival | None = None
        if first.audio and mode == "cw":
            self._arrival = Arrival(self._finder.frequency_hz, self._exchange.memory)
        self._counsel = Counsel(self.plan, self._finder.frequency_hz, first.audio, config.own_call)
        self._responders = None if first.audio else Responders(dx_hz, mode)
        self._batches = 0
        self._now_s = first.start_s
        self._resting = False
        self.receive_hz: float | None = None
        """What the dial of one receiver shows."""
        self._filter_at_hz: float | None = None
        """Where the dial stood when the filter was last measured."""

    def block(self, block: Block) -> Iterator[Event]:
        """Samples in."""
        if not self._band.hears(block):
            yield from self.gap(block.start_s)
            if not self._moved(block):
                return
        self._resting = False
        if self._counsel.peeks is not None:
            self._counsel.peeks.dial(block.center_hz, block.start_s, block.stop_s)
        if self._arrival is not None:
            self._arrival.dial(block.center_hz, block.start_s)
        for batch in self._band.feed(block):
            yield from self._batch(batch)
        if self._counsel.peeks is not None and isinstance(self._band, Slices) and block.center_hz != self._filter_at_hz:
            passes_hz = self._band.passes_hz
            if passes_hz is not None:
                self._filter_at_hz = block.center_hz
                pitch_hz = None if self.receive_hz is None else abs(self.receive_hz - block.center_hz)
                self._counsel.peeks.passes(*passes_hz, pitch_hz)

    def _moved(self, block: Block) -> bool:
        """The receiver's centre or rate is another one from here on: does it still cover the same bins?"""
        if block.audio or isinstance(self._band, Slices):
            return False
        try:
            band = Band(block, self._dx_hz, *self._range_hz)
        except HearmarkError:
            return False
        if band.grid != self._grid:
            return False
        self._band = band
        return True

    def gap(self, time_s: float) -> Iterator[Event]:
        """Deaf from here on, until the next block."""
        if self._resting:
            return
        self._resting = True
        self._band.rest()
        self._finder.forget()
        yield from self._digest(self._exchange.break_off(time_s), time_s)
        self._copying.forget()
        if self._talkers is not None:
            for voice in self._talkers.close(time_s):
                yield self._chains.told(replace(voice, snr_db=self._snr_db(voice)))
        if self._own is not None:
            self._own.forget()

    def ear(self, time_s: float) -> Event:
        """The belief as it stands: before the first mark, what is known of anybody."""
        return self._counsel.ear(time_s)

    def finish(self) -> Iterator[Event]:
        """The end of the stream."""
        time_s = self._now_s
        yield from self._digest(self._exchange.break_off(time_s), time_s)
        yield self._counsel.ear(time_s)
        yield from self._counsel.closing(self._exchange, self._grid.frequency_hz, time_s)

    def told(self, event: Event) -> Iterator[Event]:
        """What the operator or the radio says."""
        match event:
            case Note(text="mark") if event.frequency_hz is not None:
                yield from self._digest(self._exchange.by_hand(event.frequency_hz, event.time_s), event.time_s)
            case Note(text="unmark") if event.answer is not None:
                yield from self._digest(self._exchange.take_back(event.answer, event.time_s), event.time_s)
            case _:
                yield from self._counsel.told(event)

    def _batch(self, batch: Batch) -> Iterator[Event]:
        first_s, ratio = batch.start_s, batch.ratio
        begin_s = first_s - self._grid.window_s / 2
        now_s = first_s + (BATCH_FRAMES - 1) * self._grid.hop_s + self._grid.window_s / 2
        self._now_s = now_s
        self._batches += 1
        mean = ratio.reshape(-1, STEP_FRAMES, ratio.shape[1]).mean(axis=1)
        self._exchange.memory.add_spectra(self._grid.frequency_hz, mean)
        self._strength.add(begin_s, mean)
        row_db = (10.0 * np.log10(mean.mean(axis=0) + 1e-3)).astype(np.float32)
        yield Row(now_s, self._grid.low_hz, self._grid.step_hz, row_db)
        look = self._finder.look(ratio)
        if isinstance(self._finder, MorseFinder) and self._finder.reading is not None:
            self._copying.add(begin_s, self._finder.reading, self._finder.level, self._finder.caught_up)
            if self._own is not None:
                yield from self._own.feed(self._finder.reading.likely[-1], self._finder.reading.chances[-1], now_s)
        if self._talkers is not None and isinstance(self._finder, VoiceFinder) and self._finder.talk is not None:
            for voice in self._talkers.feed(self._finder.talk, ratio, begin_s):
                if self._responders is not None:
                    self._responders.emission(voice)
                yield self._chains.told(replace(voice, snr_db=self._snr_db(voice)))
        events = self._exchange.feed(look, begin_s, now_s)
        yield from self._digest(events, now_s)
        if self._arrival is not None:
            yield from self._marked(self._arrival.confirmed(now_s), now_s)
            made = self._exchange.marked
            self._counsel.doubted = made is not None and self._arrival.doubts(made.id)
        if self._tracker is not None:
            frames = Frames(self._grid, self._batches * BATCH_FRAMES, first_s, batch.power)
            for emission in self._tracker.feed(frames, batch.floor):
                if self._responders is not None:
                    self._responders.emission(emission)
                yield self._copying.emission(emission)
        if self._responders is not None:
            working = self._responders.told(now_s)
            if working is not None:
                yield working
                self._counsel.works(working)
        if self._exchange.over is not None and self._batches % 5 == 0 and look.symbols is not None:
            over = self._copying.over(self._exchange.over)
            if over.text != self._exchange.over.text:
                self._exchange.over = over
                yield over
                yield from self._like_ours(over, now_s)
        own = self._own.heard(self._since_s()) if self._own is not None else None
        yield from self._counsel.step(self._exchange, look, mean, self._grid.frequency_hz, now_s, own)

    def _snr_db(self, voice: Emission) -> float:
        snr_db = self._strength.snr_db(voice.frequency_hz, voice.start_s, voice.stop_s)
        return voice.snr_db if snr_db is None else snr_db

    def _since_s(self) -> float:
        """When the over began that runs, or that was the last."""
        over = self._exchange.over or self._exchange.last_over
        return -np.inf if over is None else over.start_s - 0.3

    def _like_ours(self, over: Over, now_s: float) -> Iterator[Event]:
        """Is there something like our own call in an over?"""
        if self._own is not None and over.text:
            yield from self._own.judge(
                over.text, over.sure, self._copying.calls, over.start_s - 0.3, now_s, over.stop_s is not None
            )

    def _digest(self, events: list[Over | Turn | Answer], now_s: float) -> Iterator[Event]:
        for event in events:
            if isinstance(event, Answer):
                yield from self._marked([event if self._arrival is None else self._arrival.judged(event)], now_s)
                continue
            if event.stop_s is not None and isinstance(event, Over):
                if self._mode == "cw":
                    event = self._copying.over(event)
                    yield from self._like_ours(event, now_s)
                snr_db = self._strength.snr_db(event.frequency_hz, event.start_s, event.stop_s)
                event = event if snr_db is None else replace(event, snr_db=snr_db)
            yield event
            if isinstance(event, Over):
                if self._responders is not None:
                    self._responders.over(event)
                if event.stop_s is None:
                    self._counsel.over_begins()
                else:
                    self._chains.over_ends(event.stop_s)
                    yield from self._counsel.over_ends(event)

    def _marked(self, answers: list[Answer], now_s: float) -> Iterator[Event]:
        for answer in answers:
            if self._responders is not None:
                self._responders.mark(answer)
            snr_db = self._strength.snr_db(answer.frequency_hz, answer.start_s, answer.stop_s)
            yield answer if snr_db is None else replace(answer, snr_db=snr_db)
            yield from self._counsel.marked(answer, now_s)
