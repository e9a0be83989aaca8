"""Samples as they come: over standard input, from a TCP server, from a sound card."""

from __future__ import annotations

import contextlib
import socket
import threading
import time
from collections.abc import Callable, Iterator
from typing import Any, BinaryIO, Literal

import numpy as np

from hearmark.errors import HearmarkError
from hearmark.events import Block, ComplexArray, Dial, Gap, Levels
from hearmark.sources.analytic import Analytic
from hearmark.sources.audio import DialTrack
from hearmark.sources.backlog import Backlog
from hearmark.sources.clock import ClockMeter
from hearmark.sources.front_end import DROPPED
from hearmark.sources.samples import SampleFormat, sample_format
from hearmark.sources.source import SourceEvent

BACKLOG_S = 2.0
READ_S = 0.02
CONNECT_S = 10.0
Read = Callable[[int], bytes]


def check_rate(rate_hz: float) -> None:
    """Raise HearmarkError for a rate at which nothing can be heard."""
    if not 1_000.0 <= rate_hz <= 1e8:
        raise HearmarkError(f"Sample rate {rate_hz:g} is not usable; expected 1000 to 100000000 samples a second.")


class LiveIq:
    """Complex samples from a sender thread through a bounded backlog; what was dropped is a Gap."""

    duration_s: float | None = None

    def __init__(
        self, rate_hz: float, center_hz: float, clips_at: float | None, wait: bool = False,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:  # fmt: skip
        """`wait`: the sender may be made to wait, so that nothing is dropped (a pipe from a file)."""
        check_rate(rate_hz)
        self.sample_rate_hz = rate_hz
        self.center_hz = center_hz
        self.clips_at = clips_at
        self.backlog = Backlog(max(1, round(BACKLOG_S * rate_hz)), wait)
        self._clock = clock
        self._meter: ClockMeter | None = None if wait else ClockMeter(rate_hz)
        self._received = 0
        self._stop: Callable[[], None] = lambda: None

    def deliver(self, samples: ComplexArray, missing: int = 0) -> None:
        """Called by the sender's thread."""
        self._received += len(samples) + missing
        if self._meter is not None:
            self._meter.feed(self._clock(), self._received)
        self.backlog.put(samples, missing)

    @property
    def received_s(self) -> float:
        """Sample time of what comes next."""
        return self._received / self.sample_rate_hz

    def close(self) -> None:
        """Stop the sender; `events` then ends after what is still held."""
        self.backlog.close()
        self._stop()

    def events(self) -> Iterator[SourceEvent]:
        """Blocks as they come, a Gap for what was dropped, and the clock error once it is known."""
        first = 0
        told: float | None = None
        while (piece := self.backlog.take()) is not None:
            if piece.dropped:
                yield Gap(first / self.sample_rate_hz, (first + piece.dropped) / self.sample_rate_hz, DROPPED)
                first += piece.dropped
            yield Block(first, self.sample_rate_hz, self.center_hz, piece.samples)
            first += len(piece.samples)
            ppm = self._meter.ppm if self._meter is not None else None
            if ppm is not None and (told is None or abs(ppm - told) > 1.0):
                told = ppm
                peak_db = 20.0 * float(np.log10(max(float(np.abs(piece.samples).max(initial=0.0)), 1e-9)))
                yield Levels(first / self.sample_rate_hz, peak_db, 0.0, -180.0, None, ppm, self.backlog.dropped_samples)


def byte_stream(
    read: Read, datatype: str, rate_hz: float, center_hz: float,
    stop: Callable[[], None] = lambda: None, skip_bytes: int = 0, wait: bool = False,
) -> LiveIq:  # fmt: skip
    """A live source from `read(n)`, which gives up to n bytes, and none at the end.

    `skip_bytes`: a header that the sender puts before the samples.
    """
    form = sample_format(datatype)
    live = LiveIq(rate_hz, center_hz, form.clips_at, wait)
    live._stop = stop
    thread = threading.Thread(target=_pump, args=(live, read, form, skip_bytes), name="hearmark-stream", daemon=True)
    thread.start()
    return live


def _pump(live: LiveIq, read: Read, form: SampleFormat, skip_bytes: int) -> None:
    """Read, decode, deliver, until the end."""
    width = form.bytes_per_sample
    at_once = width * max(1, round(READ_S * live.sample_rate_hz))
    rest = b""
    try:
        while data := read(at_once):
            skipped = min(skip_bytes, len(data))
            skip_bytes -= skipped
            data = rest + data[skipped:]
            whole = len(data) - len(data) % width
            rest = data[whole:]
            if whole:
                live.deliver(form.decode(data[:whole]))
    except (OSError, ValueError) as error:
        live.backlog.close(HearmarkError(f"The sample stream broke off: {error}; start the sender again."))
    live.backlog.close()


def standard_input(stream: BinaryIO, datatype: str, rate_hz: float, center_hz: float, wait: bool = False) -> LiveIq:
    """I/Q over standard input, such as `sys.stdin.buffer`."""
    read: Read = getattr(stream, "read1", stream.read)
    return byte_stream(read, datatype, rate_hz, center_hz, wait=wait)


def tcp(address: str, datatype: str, rate_hz: float, center_hz: float, skip_bytes: int = 0) -> LiveIq:
    """I/Q from a TCP server at "HOST:PORT" that sends samples as soon as one connects."""
    host, _, port = address.rpartition(":")
    if not host or not port.isdigit() or not 0 < int(port) < 65536:
        raise HearmarkError(f'Address "{address}" is not understood; write it as HOST:PORT, like 127.0.0.1:5000.')
    sample_format(datatype)
    check_rate(rate_hz)
    try:
        link = socket.create_connection((host.strip("[]"), int(port)), timeout=CONNECT_S)
    except OSError as error:
        raise HearmarkError(
            f"Nothing answers at {address} ({error.strerror or error}); start the sample server there first."
        ) from error
    link.settimeout(None)

    def stop() -> None:
        with contextlib.suppress(OSError):  # the other end may have been faster
            link.shutdown(socket.SHUT_RDWR)
        link.close()

    return byte_stream(link.recv, datatype, rate_hz, center_hz, stop, skip_bytes)


class LiveAudio:
    """One receiver's audio, live: `move` tells where its dial stands and whether we send."""

    duration_s: float | None = None
    clips_at: float | None = None

    def __init__(
        self, inner: LiveIq, dial: Dial, sideband: Literal["usb", "lsb"] = "usb", pitch_hz: float = 0.0
    ) -> None:
        """`inner` carries the audio in its real part."""
        self._inner = inner
        self._track = DialTrack([dial], inner.sample_rate_hz, sideband, pitch_hz)
        self._moves: list[Dial] = []
        self._lock = threading.Lock()
        self.sample_rate_hz = inner.sample_rate_hz
        self.center_hz = dial.receive_hz - (pitch_hz if sideband == "usb" else -pitch_hz)

    def move(self, receive_hz: float, keyed: bool = False) -> None:
        """The dial stands here from the next samples on. May be called from any thread."""
        with self._lock:
            self._moves.append(Dial(self._inner.received_s, receive_hz, keyed))

    def close(self) -> None:
        """Stop."""
        self._inner.close()

    def events(self) -> Iterator[SourceEvent]:
        """Blocks of analytic audio, dial moves, and gaps."""
        analytic = Analytic(self.sample_rate_hz)
        first = 0
        for event in self._inner.events():
            if not isinstance(event, Block):
                if isinstance(event, Gap):
                    yield from self._track.feed(first, analytic.finish())
                    analytic, first = Analytic(self.sample_rate_hz), round(event.stop_s * self.sample_rate_hz)
                yield event
                continue
            with self._lock:
                moves, self._moves = self._moves, []
            for move in moves:
                self._track.add(move)
            samples = analytic.feed(event.samples.real.astype(np.float32))
            yield from self._track.feed(first, samples)
            first += len(samples)
        yield from self._track.finish(first)


def sound_card(device: int | str | None, rate_hz: float, center_hz: float, channels: int, swap: bool = False) -> LiveIq:
    """A sound card: two channels are I and Q (`swap`: Q and I), one is audio in the real part.

    Raises HearmarkError if the PortAudio library is missing or the device cannot be opened so.
    """
    try:
        import sounddevice
    except OSError as error:
        raise HearmarkError("Sound cards need the PortAudio library; on Debian install libportaudio2.") from error
    live = LiveIq(rate_hz, center_hz, 32767 / 32768)
    clock = _CardClock(rate_hz)

    def heard(data: Any, frames: int, moment: Any, status: Any) -> None:
        missing = clock.missing(moment.inputBufferAdcTime, frames, bool(status.input_overflow))
        parts = np.ascontiguousarray(data[:, ::-1] if swap else data, np.float32)
        samples = parts.view(np.complex64)[:, 0] if channels == 2 else parts[:, 0].astype(np.complex64)
        live.deliver(samples, missing)

    try:
        stream = sounddevice.InputStream(rate_hz, 0, device, channels, "float32", callback=heard)
        stream.start()
    except (sounddevice.PortAudioError, ValueError) as error:
        raise HearmarkError(
            f"The sound card cannot be opened at {rate_hz:g} Hz with {channels} channel(s) ({error}); "
            "choose another with --device or another --rate."
        ) from error
    live._stop = stream.close
    return live


class _CardClock:
    """How many samples a sound card lost, from the times at which its buffers were taken."""

    def __init__(self, rate_hz: float) -> None:
        self._rate_hz = rate_hz
        self._due_s: float | None = None

    def missing(self, taken_s: float, frames: int, overflow: bool) -> int:
        """Samples missing before a buffer taken at `taken_s`, if the card says that it lost any."""
        late_s = 0.0 if self._due_s is None else taken_s - self._due_s
        self._due_s = taken_s + frames / self._rate_hz
        return round(late_s * self._rate_hz) if overflow and late_s > 0.0 else 0
