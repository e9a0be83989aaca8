"""From what was sent to what a wideband receiver hears: complex baseband at any rate and centre.

Every transmission is made at a low rate (4 kHz for CW, 8 kHz for speech) and fades there. Pages of a fixed number of
overlapping frames then carry the low-rate spectra into the wide one, so that one inverse transform serves everybody.
A page depends on its number alone: the whole session, any part of it, and a stream block by block are the same samples.

Levels: noise in 2500 Hz has mean power `static.NOISE_POWER`, where 1 is full scale; the variance of the complex noise
is therefore NOISE_POWER * rate / 2500. A station's SNR is its mean power while keyed or talking, before fading, over
that.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy import fft

from hearmark.errors import HearmarkError
from hearmark.events import Block, ComplexArray, Gap
from hearmark.simulate import channel, speech, static
from hearmark.simulate.audio import band, fast_size
from hearmark.simulate.emitter import CW_RATE_HZ, SPEECH_RATE_HZ, Emitter, emitter, keyed_envelope
from hearmark.simulate.faults import Faults
from hearmark.simulate.session import Session, Station, Transmission

_FRAME_CHOICES_S = (0.16, 0.32, 0.4, 0.8, 4.0)
"""Frame lengths of which a quarter is a whole number of samples at the low rates; 4 s serves every whole rate."""
_HOPS = 8
_NOISE, _FADING, _CARRIERS, _IMPULSES, _DROPS = range(5)


class Renderer:
    """Makes the samples of one session at one rate and centre, page by page.

    `rate_hz` is a whole number. `noise=False` leaves out noise and impulses, for tests and for mixing. `hops`: length
    of a page; short ones let a stream follow close behind people who are still being played (`hear`). Pages of another
    length are the same stations in other noise.
    """

    def __init__(
        self, session: Session, rate_hz: float, centre_hz: float, faults: Faults | None = None, noise: bool = True,
        hops: int = _HOPS,
    ) -> None:  # fmt: skip
        if rate_hz != round(rate_hz) or not 1000 <= rate_hz <= 20_000_000:
            raise HearmarkError(f"Sample rate {rate_hz:g} Hz cannot be rendered; give whole hertz, 1000 to 20000000.")
        self.session, self.rate_hz, self.centre_hz = session, int(rate_hz), float(centre_hz)
        self.faults = faults or Faults()
        self.noise = noise
        self._frame_s = next(s for s in _FRAME_CHOICES_S if _whole(s * rate_hz / 4))
        self._wide = round(self._frame_s * rate_hz)
        self._hops = hops
        self._page = hops * self._wide // 2
        self._people: list[Station] = list(session.stations)
        self._all: list[Transmission] = list(session.transmissions)
        self._known: dict[tuple[int, float], int] = {}
        self._seed = session.scenario.seed
        self._end_s = max([session.scenario.duration_s, *(t.stop_s for t in session.transmissions)]) + 1.0
        self._fading: dict[int, channel.Fading] = {}
        self._low: dict[int, tuple[int, ComplexArray]] = {}
        self._last: tuple[int, ComplexArray] | None = None
        self._stretch = self.faults.stretch
        self._tuned_hz = self.centre_hz * self._stretch
        everywhere = static.carriers(_rng(self._seed, _CARRIERS, 0), session.scenario)
        self._carriers = [c for c in everywhere if abs(c[0] - self._tuned_hz) < self.rate_hz / 2]
        self._passband = self._edges()
        order = sorted(range(len(self._all)), key=lambda n: self._all[n].start_s)
        self._order = [n for n in order if self._hears(self._all[n])]

    @property
    def page_samples(self) -> int:
        """Samples of one page, the unit of work."""
        return self._page

    @property
    def ahead_s(self) -> float:
        """So long after the end of a page transmissions still reach into it: they must be known by then."""
        return self._frame_s / 4 + 0.01

    def hear(self, sent: Transmission, station: Station) -> None:
        """One more transmission of a session that is still being played, in order of their starts.

        The same again, by station and start, when its sender broke off: samples already taken stay as they were.
        """
        while len(self._people) <= sent.station:
            self._people.append(station)
        self._people[sent.station] = station
        known = self._known.get((sent.station, sent.start_s))
        if known is None:
            self._known[sent.station, sent.start_s] = len(self._all)
            if self._hears(sent):
                self._order.append(len(self._all))
            self._all.append(sent)
            return
        if self._spoken:
            # A voice that stops early has said the same words until then.
            sent = replace(sent, text=self._all[known].text)
        self._all[known] = sent
        self._low.pop(known, None)

    def samples(self, first: int, count: int) -> ComplexArray:
        """Samples `first` to `first + count`, complex64; zero where blocks were dropped."""
        out = np.empty(count, np.complex64)
        done = 0
        while done < count:
            page, skip = divmod(first + done, self._page)
            take = min(self._page - skip, count - done)
            out[done : done + take] = self._made(page)[skip : skip + take]
            done += take
        return out

    def events(self, block_s: float = 0.1, start_s: float = 0.0, stop_s: float | None = None) -> Iterator[Block | Gap]:
        """The session as blocks of `block_s`, as fast as they are taken; the caller sets the pace.

        A block in which samples were dropped is a Gap.
        """
        size = max(1, round(block_s * self.rate_hz))
        at = round(start_s * self.rate_hz)
        end = round((self.session.scenario.duration_s if stop_s is None else stop_s) * self.rate_hz)
        while at < end:
            count = min(size, end - at)
            if self._dropped(at, count):
                yield Gap(at / self.rate_hz, (at + count) / self.rate_hz, "samples dropped")
            else:
                yield Block(at, float(self.rate_hz), self.centre_hz, self.samples(at, count))
            at += count

    def _made(self, page: int) -> ComplexArray:
        if self._last is None or self._last[0] != page:
            self._last = (page, self._make(page))
        return self._last[1]

    def _make(self, page: int) -> ComplexArray:
        size = self._page
        out = self._stations(page)
        for frequency_hz, amplitude, phase in self._carriers:
            out += static.tone(frequency_hz - self._tuned_hz, amplitude, phase, page * size, size, self.rate_hz)
        if self.noise:
            out += static.white(_rng(self._seed, _NOISE, page), size, self.rate_hz)
            per_s = self.session.scenario.impulses_per_s
            if per_s > 0:
                for part, of in enumerate((page, page - 1)):
                    rng = _rng(self._seed, _IMPULSES, of + 1)
                    out += static.impulses(rng, per_s, size, self.rate_hz)[part * size : (part + 1) * size]
        out = self.faults.received(out)
        for start, stop in self._lost(page):
            out[start:stop] = 0
        return out

    def _stations(self, page: int) -> ComplexArray:
        """Overlap-save: frame h of the page keeps its middle half, samples [h, h + 1) hop of the page."""
        hop = self._wide // 2
        spectra = np.zeros((self._hops, self._wide), np.complex64)
        start_s, stop_s = page * self._page / self.rate_hz, (page + 1) * self._page / self.rate_hz
        margin_s = self._frame_s / 2
        touched = False
        for n in self._order:
            sent = self._all[n]
            if sent.start_s - 2 * margin_s > stop_s:
                break
            if sent.stop_s + 2 * margin_s < start_s:
                self._low.pop(n, None)
                continue
            touched = True
            self._add(spectra, page, n)
        if not touched:
            return np.zeros(self._page, np.complex64)
        time = fft.ifft(spectra * self._passband, axis=1, overwrite_x=True)
        return np.ascontiguousarray(time[:, hop // 2 : hop // 2 + hop]).reshape(-1)

    def _add(self, spectra: ComplexArray, page: int, n: int) -> None:
        """Carry transmission `n` into the frames of this page."""
        low_hz = self._low_rate_hz()
        size = round(self._frame_s * low_hz)
        hop = size // 2
        if n not in self._low:
            self._low[n] = self._sent(n)
        begin, signal = self._low[n]
        # Frame h covers low-rate samples from (page * hops + h) * hop - hop / 2 on.
        first = page * self._hops * hop - hop // 2
        span = np.zeros((self._hops + 1) * hop, np.complex64)
        a, b = max(first, begin), min(first + len(span), begin + len(signal))
        if a >= b:
            return
        span[a - first : b - first] = signal[a - begin : b - begin]
        frames = np.lib.stride_tricks.sliding_window_view(span, size)[::hop][: self._hops]
        lines = fft.fft(frames, axis=1) * _taper(size)
        shift = self._bin(self._all[n])
        # The frame starts half a hop early: the shifted line must have the phase of absolute time there.
        count = np.arange(self._hops) + page * self._hops
        phase = np.exp(2j * np.pi * ((shift * (count * 0.5 - 0.25)) % 1.0)).astype(np.complex64)
        lines *= (phase * np.float32(self._wide / size))[:, None]
        _place(spectra, lines, shift)

    @property
    def _spoken(self) -> bool:
        return self.session.scenario.mode != "cw"

    def _low_rate_hz(self) -> float:
        return SPEECH_RATE_HZ if self._spoken else CW_RATE_HZ

    def _bin(self, sent: Transmission) -> int:
        return round((sent.frequency_hz - self._tuned_hz) * self._frame_s)

    def _hears(self, sent: Transmission) -> bool:
        reach_hz = (self.rate_hz + self._low_rate_hz()) / 2
        return abs(sent.frequency_hz - self._tuned_hz) < reach_hz and sent.stop_s > sent.start_s

    def _sent(self, n: int) -> tuple[int, ComplexArray]:
        """First low-rate sample and samples of transmission `n`: modulated, faded, at its level, tuned to the bin."""
        sent = self._all[n]
        station = self._people[sent.station]
        rate_hz = self._low_rate_hz()
        who = emitter(self._seed, station.index, station.fist)
        begin = math.ceil((sent.start_s * self._stretch - 0.01) * rate_hz)
        offset_s = begin / rate_hz - sent.start_s * self._stretch
        if sent.keying_s is not None:
            body = keyed_envelope(sent.keying_s, offset_s, sent.stop_s - sent.start_s, who, rate_hz)
        elif not self._spoken:
            raise HearmarkError(f"Transmission {n} of a CW session has no key times; give keying_s.")
        else:
            body = _voice(sent, station.voice, self.session.scenario.mode, offset_s, who)
        level = math.sqrt(static.NOISE_POWER * 10 ** (station.snr_db / 10))
        carrier_hz = sent.frequency_hz - self.session.scenario.dx_hz
        body = self._channel(sent.station).apply(body * np.float32(level), begin / rate_hz, rate_hz, carrier_hz)
        time_s = (begin + np.arange(len(body))) / rate_hz
        residual_hz = sent.frequency_hz + who.offset_hz - self._tuned_hz - self._bin(sent) / self._frame_s
        turns = residual_hz * time_s + 0.5 * who.drift_hz_per_s * (time_s - sent.start_s) ** 2
        return begin, np.asarray(body * np.exp(2j * np.pi * (turns % 1.0)).astype(np.complex64))

    def _channel(self, station: int) -> channel.Fading:
        if station not in self._fading:
            rng = _rng(self._seed, _FADING, station)
            self._fading[station] = channel.draw(self.session.scenario.channel, self._end_s, rng)
        return self._fading[station]

    def _lost(self, page: int) -> list[tuple[int, int]]:
        return self.faults.lost(_rng(self._seed, _DROPS, page), self._page, self.rate_hz)

    def _dropped(self, first: int, count: int) -> bool:
        for page in range(first // self._page, (first + count - 1) // self._page + 1):
            begin = page * self._page
            if any(begin + start < first + count and begin + stop > first for start, stop in self._lost(page)):
                return True
        return False

    def _edges(self) -> npt.NDArray[np.float32]:
        """The receiver's own filter: 1 up to 300 Hz (at most 3 % of the rate) from the band edge, 0 at the edge."""
        f_hz = np.abs(np.fft.fftfreq(self._wide, 1 / self.rate_hz))
        width_hz = min(300.0, 0.03 * self.rate_hz)
        x = np.clip((self.rate_hz / 2 - f_hz) / width_hz, 0, 1)
        return np.asarray(0.5 - 0.5 * np.cos(np.pi * x), dtype=np.float32)


class SimulatedSource:
    """A session as a source of samples: the engine takes it like any other."""

    def __init__(
        self, session: Session, rate_hz: float, centre_hz: float, faults: Faults | None = None, block_s: float = 0.1
    ) -> None:
        self._made = Renderer(session, rate_hz, centre_hz, faults)
        self._block_s = block_s
        self.sample_rate_hz = float(rate_hz)
        self.center_hz = float(centre_hz)
        self.duration_s: float | None = session.scenario.duration_s

    def events(self) -> Iterator[Block | Gap]:
        """Blocks, and gaps where blocks were dropped."""
        return self._made.events(self._block_s)


def render(
    session: Session, rate_hz: float, centre_hz: float, start_s: float = 0.0, stop_s: float | None = None,
    faults: Faults | None = None, noise: bool = True,
) -> ComplexArray:  # fmt: skip
    """Complex baseband of `session`, complex64; 0 Hz lies at `centre_hz`. Without `stop_s`, to the scenario's end."""
    renderer = Renderer(session, rate_hz, centre_hz, faults, noise)
    first = round(start_s * renderer.rate_hz)
    last = round((session.scenario.duration_s if stop_s is None else stop_s) * renderer.rate_hz)
    if last < first:
        raise HearmarkError(f"Cannot render from {start_s:g} s to {stop_s:g} s; give a stop after the start.")
    return renderer.samples(first, last - first)


def blocks(
    session: Session, rate_hz: float, centre_hz: float, block_s: float = 0.1, start_s: float = 0.0,
    stop_s: float | None = None, faults: Faults | None = None,
) -> Iterator[Block]:  # fmt: skip
    """The same samples as `render`, as a stream of blocks; one in which samples were dropped is left out."""
    made = Renderer(session, rate_hz, centre_hz, faults).events(block_s, start_s, stop_s)
    return (block for block in made if isinstance(block, Block))


def _voice(sent: Transmission, voice: str, mode: str, offset_s: float, who: Emitter) -> ComplexArray:
    """Single sideband about its suppressed carrier, mean power 1 while talking, cut at the end of the transmission."""
    audio = speech.speak(sent.text, voice)
    if len(audio) == 0:
        return np.zeros(1, np.complex64)
    rate_hz = SPEECH_RATE_HZ
    count = min(len(audio), math.ceil((sent.stop_s - sent.start_s) * rate_hz))
    audio = audio[:count].copy()
    fade = min(40, count)
    audio[count - fade :] *= np.linspace(1.0, 0.0, fade, dtype=np.float32)
    lead = math.ceil(-offset_s * rate_hz) if offset_s < 0 else 0
    size = fast_size(count + lead + 400)
    spectrum = fft.fft(audio, size)
    f_hz = np.asarray(np.fft.fftfreq(size, 1 / rate_hz), dtype=np.float64)
    spectrum *= _sideband(size)
    before = np.linalg.norm(spectrum)
    spectrum *= who.response(f_hz).astype(np.float32)
    spectrum *= np.float32(before / max(float(np.linalg.norm(spectrum)), 1e-12))
    # Delay to the true start, between samples too.
    spectrum *= np.exp(2j * np.pi * f_hz * offset_s).astype(np.complex64)
    single = fft.ifft(spectrum)[: count + lead + 300]
    single *= np.float32(math.sqrt(2.0) / 2.0)
    return np.asarray(single.conj() if mode == "lsb" else single, dtype=np.complex64)


@lru_cache(maxsize=32)
def _sideband(size: int) -> npt.NDArray[np.float32]:
    f_hz = np.asarray(np.fft.fftfreq(size, 1 / SPEECH_RATE_HZ), dtype=np.float64)
    return (2.0 * band(f_hz, speech.LOW_HZ, speech.HIGH_HZ)).astype(np.float32)


@lru_cache(maxsize=8)
def _taper(size: int) -> npt.NDArray[np.float32]:
    """1 in the middle three quarters of the low-rate band, raised-cosine to 0 at its edges."""
    x = np.clip((0.5 - np.abs(np.fft.fftfreq(size))) / 0.125, 0, 1)
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * x), dtype=np.float32)


def _place(spectra: ComplexArray, lines: ComplexArray, shift: int) -> None:
    """Add low-rate spectra (both in transform order) with 0 Hz at bin `shift`; what falls outside the band is lost."""
    wide, size = spectra.shape[1], lines.shape[1]
    for source, low, count in ((0, shift, size // 2), (size // 2, shift - size // 2, size // 2)):
        a, b = max(low, -(wide // 2)), min(low + count, wide - wide // 2)
        if a >= b:
            continue
        part = lines[:, source + a - low : source + b - low]
        if a < 0 < b:
            spectra[:, wide + a :] += part[:, :-a]
            spectra[:, :b] += part[:, -a:]
        else:
            spectra[:, a % wide : a % wide + b - a] += part


def _rng(seed: int, use: int, number: int) -> np.random.Generator:
    return np.random.Generator(np.random.SFC64([seed, use, number]))


def _whole(x: float) -> bool:
    return abs(x - round(x)) < 1e-9
