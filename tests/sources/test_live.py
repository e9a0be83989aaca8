"""Live samples: streams, the backlog between threads, the clock meter. Loopback only."""

import io
import socket
import threading

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hearmark.errors import HearmarkError
from hearmark.events import Block, Dial, Gap, Levels
from hearmark.sources.backlog import Backlog
from hearmark.sources.clock import ClockMeter
from hearmark.sources.front_end import DROPPED
from hearmark.sources.live import LiveAudio, LiveIq, _CardClock, byte_stream, sound_card, standard_input, tcp

RATE_HZ = 8_000.0
CODES = np.random.default_rng(5).integers(-3000, 3000, 20_000).astype("<i2")
IQ = (CODES / 32768).astype(np.float32).view(np.complex64)


def ramp(first: int, count: int) -> np.ndarray:
    return np.arange(first, first + count).astype(np.complex64)


def joined(source: LiveIq) -> np.ndarray:
    return np.concatenate([event.samples for event in source.events() if isinstance(event, Block)])


def test_standard_input_gives_every_sample_and_drops_half_ones() -> None:
    source = standard_input(io.BytesIO(CODES.tobytes() + b"\1\2\3"), "ci16_le", RATE_HZ, 7e6, wait=True)
    assert np.array_equal(joined(source), IQ)


@settings(max_examples=30, deadline=None, derandomize=True)
@given(st.lists(st.integers(1, 9), min_size=1, max_size=200))
def test_reads_of_any_size_are_joined(sizes: list[int]) -> None:
    data, pieces, at = CODES.tobytes()[: sum(sizes)], [], 0
    for size in sizes:
        pieces.append(data[at : at + size])
        at += size
    queue = iter(pieces)
    source = byte_stream(lambda _: next(queue, b""), "ci16_le", RATE_HZ, 7e6, wait=True, skip_bytes=3)
    whole = (len(data) - 3) // 4
    found = [event.samples for event in source.events() if isinstance(event, Block)]
    expected = np.frombuffer(data[3 : 3 + 4 * max(whole, 0)], "<i2") if whole > 0 else np.empty(0, "<i2")
    count = sum(len(samples) for samples in found)
    assert count == max(whole, 0)
    if found:
        assert np.array_equal(np.concatenate(found).view(np.float32), (expected / 32768).astype(np.float32))


def test_tcp() -> None:
    listener = socket.create_server(("127.0.0.1", 0))

    def send() -> None:
        with listener.accept()[0] as link:
            link.sendall(CODES.tobytes())

    threading.Thread(target=send, daemon=True).start()
    source = tcp(f"127.0.0.1:{listener.getsockname()[1]}", "ci16_le", 100_000.0, 7e6)
    assert np.array_equal(joined(source), IQ)
    listener.close()


def test_nobody_there() -> None:
    listener = socket.create_server(("127.0.0.1", 0))
    port = listener.getsockname()[1]
    listener.close()
    with pytest.raises(HearmarkError, match="start the sample server there first"):
        tcp(f"127.0.0.1:{port}", "cu8", RATE_HZ, 7e6)
    with pytest.raises(HearmarkError, match="write it as HOST:PORT"):
        tcp("localhost", "cu8", RATE_HZ, 7e6)
    with pytest.raises(HearmarkError, match="is not known"):
        tcp("127.0.0.1:5", "u8", RATE_HZ, 7e6)
    with pytest.raises(HearmarkError, match="is not usable"):
        standard_input(io.BytesIO(b""), "cu8", 0.0, 7e6)


def test_a_broken_stream_is_one_sentence_after_what_came() -> None:
    state = iter([CODES.tobytes()[:400]])

    def read(_: int) -> bytes:
        for data in state:
            return data
        raise OSError("reset")

    events = byte_stream(read, "ci16_le", RATE_HZ, 7e6).events()
    assert isinstance(next(events), Block)
    with pytest.raises(HearmarkError, match="broke off: reset; start the sender again"):
        next(events)


def test_a_full_backlog_drops_the_oldest_and_says_so() -> None:
    live = LiveIq(1_000.0, 7e6, None)
    for number in range(25):
        live.deliver(ramp(100 * number, 100))
    live.backlog.close()
    events = list(live.events())
    assert events[0] == Gap(0.0, 0.5, DROPPED)
    blocks = [event for event in events if isinstance(event, Block)]
    assert all(block.samples[0].real == block.first_sample for block in blocks)
    assert sum(len(block.samples) for block in blocks) == 2_000
    assert live.backlog.dropped_samples == 500


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.integers(0, 40), st.integers(0, 20), st.booleans()), max_size=40))
def test_every_sample_is_taken_or_counted(steps: list[tuple[int, int, bool]]) -> None:
    backlog = Backlog(50)
    sent = reached = 0
    for count, missing, take in steps:
        backlog.put(ramp(sent + missing, count), missing)
        sent += missing + count
        piece = backlog.take() if take else None
        if piece is not None:
            reached += piece.dropped
            assert all(piece.samples.real == np.arange(reached, reached + len(piece.samples)))
            reached += len(piece.samples)
    backlog.close()
    while (piece := backlog.take()) is not None:
        reached += piece.dropped + len(piece.samples)
    assert reached == sent


def test_a_sender_that_may_wait_loses_nothing() -> None:
    backlog = Backlog(10, wait=True)

    def send() -> None:
        for number in range(200):
            backlog.put(ramp(number * 7, 7))
        backlog.close()

    threading.Thread(target=send, daemon=True).start()
    taken = []
    while (piece := backlog.take()) is not None:
        taken.append(piece.samples)
    assert len(np.concatenate(taken)) == 1400
    assert backlog.dropped_samples == 0


def test_closing_ends_a_listener() -> None:
    live = LiveIq(RATE_HZ, 7e6, None)
    threading.Timer(0.05, live.close).start()
    assert list(live.events()) == []


def test_clock_error_through_jitter() -> None:
    rng = np.random.default_rng(2)
    meter = ClockMeter(48_000.0)
    told_at = None
    for number in range(1, 6_000):
        time_s = number * 0.02
        meter.feed(time_s + rng.exponential(0.003), round(time_s * 48_000 * (1 + 80e-6)))
        if told_at is None and meter.ppm is not None:
            told_at = time_s
    assert meter.ppm == pytest.approx(80.0, abs=10.0)
    assert told_at is not None
    assert told_at > 5.0


def test_clock_error_is_reported_once_known() -> None:
    times = iter(np.arange(1, 10_000) * 0.02 * (1 - 50e-6))
    live = LiveIq(1_000.0, 7e6, None, clock=lambda: float(next(times)))
    for number in range(150):
        live.deliver(ramp(number, 20)[:20])
        live.backlog.take()
    live.deliver(ramp(0, 20))
    live.backlog.close()
    (levels,) = [event for event in live.events() if isinstance(event, Levels)]
    assert levels.clock_ppm == pytest.approx(50.0, abs=1.0)


def test_live_audio_follows_the_dial_and_is_deaf_while_we_send() -> None:
    inner = LiveIq(RATE_HZ, 0.0, None, wait=True)
    inner.backlog = Backlog(10**6)
    audio = LiveAudio(inner, Dial(0.0, 18_143_500.0), "usb")
    for number, (hz, keyed) in enumerate([(18_143_500.0, False), (18_148_000.0, False), (18_148_000.0, True)] * 2):
        audio.move(hz, keyed)
        inner.deliver(ramp(8_000 * number, 8_000) / 1e5)
    inner.close()
    events = list(audio.events())
    spans: dict[float, float] = {}
    for event in events:
        if isinstance(event, Block):
            assert event.audio
            spans[event.center_hz] = spans.get(event.center_hz, 0.0) + len(event.samples) / RATE_HZ
    assert spans == {18_143_500.0: pytest.approx(2.0), 18_148_000.0: pytest.approx(2.0)}
    gaps = [(event.start_s, event.stop_s) for event in events if isinstance(event, Gap)]
    assert gaps == [(2.0, 3.0), (5.0, pytest.approx(6.0, abs=0.1))]


def test_lost_buffers_of_a_sound_card() -> None:
    clock = _CardClock(1_000.0)
    assert clock.missing(10.0, 100, False) == 0
    assert clock.missing(10.103, 100, False) == 0
    assert clock.missing(10.703, 100, True) == 500


def test_a_sound_card_that_is_not_there() -> None:
    with pytest.raises(HearmarkError, match=r"libportaudio2|cannot be opened"):
        sound_card("no such card", 48_000.0, 7e6, 2)
