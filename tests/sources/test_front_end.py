"""Blind correction of a receiver's faults, on a stream with known ones."""

import numpy as np
import pytest

from hearmark.events import Block, ComplexArray, Gap, Levels
from hearmark.sources.front_end import DROPPED, Corrected, FrontEnd
from hearmark.sources.source import SourceEvent

RATE_HZ = 24_000.0
K = 0.04 * np.exp(0.7j)
SPIKE = 0.05 - 0.03j


def air(seconds: float, tones_hz: tuple[float, ...] = (5_300.0, -2_150.0), seed: int = 1) -> ComplexArray:
    """Noise and keyed carriers."""
    rng = np.random.default_rng(seed)
    n = int(seconds * RATE_HZ)
    time_s = np.arange(n) / RATE_HZ
    x = 0.003 * (rng.normal(size=n) + 1j * rng.normal(size=n))
    for number, tone_hz in enumerate(tones_hz):
        keyed = np.repeat(rng.integers(0, 2, n // 1200 + 1), 1200)[:n]
        x += 0.2 * keyed * np.exp(2j * np.pi * (tone_hz * time_s + 0.3 * number))
    return x.astype(np.complex64)


def through(
    samples: ComplexArray, sizes: tuple[int, ...] = (4096,), front: FrontEnd | None = None
) -> list[SourceEvent]:
    front = front or FrontEnd(RATE_HZ)
    found: list[SourceEvent] = []
    at = 0
    while at < len(samples):
        size = sizes[at % len(sizes)]
        found += front.feed(Block(at, RATE_HZ, 7e6, samples[at : at + size]))
        at += size
    return [*found, *front.flush()]


def joined(events: list[SourceEvent]) -> ComplexArray:
    return np.concatenate([event.samples for event in events if isinstance(event, Block)])


def level_db(samples: ComplexArray, at_hz: float) -> float:
    """Power of the line at `at_hz`, dB."""
    window = np.hanning(len(samples))
    turned = samples * np.exp(-2j * np.pi * at_hz * np.arange(len(samples)) / RATE_HZ)
    return 20 * float(np.log10(abs(np.sum(turned * window) / window.sum())))


def test_image_and_spike_go_away_and_the_signal_stays() -> None:
    x = air(20.0)
    y = (x + K * np.conj(x) + SPIKE).astype(np.complex64)
    events = through(y)
    late = slice(-int(5 * RATE_HZ), None)
    mended = joined(events)
    assert len(mended) == len(y)
    assert level_db(y[late], -5_300.0) - level_db(y[late], 5_300.0) == pytest.approx(-28.0, abs=1.0)
    assert level_db(mended[late], -5_300.0) - level_db(mended[late], 5_300.0) < -55.0
    assert level_db(mended[late], 0.0) < level_db(y[late], 0.0) - 30.0
    assert level_db(mended[late], 5_300.0) == pytest.approx(level_db(x[late], 5_300.0), abs=0.05)
    last = [event for event in events if isinstance(event, Levels)][-1]
    assert last.image_rejection_db == pytest.approx(-20 * np.log10(abs(K)), abs=0.5)
    assert last.dc_dbfs == pytest.approx(20 * np.log10(abs(SPIKE)), abs=0.3)


def test_a_good_receiver_is_left_alone() -> None:
    x = air(12.0)
    change = joined(through(x)) - x
    assert np.sqrt(np.mean(np.abs(change[-48_000:]) ** 2)) < 0.002 * np.sqrt(np.mean(np.abs(x[-48_000:]) ** 2))


def test_a_station_on_zero_hertz_is_not_taken_for_a_spike() -> None:
    rng = np.random.default_rng(4)
    x = 0.003 * (rng.normal(size=480_000) + 1j * rng.normal(size=480_000))
    x[240_000:384_000] += 0.2
    mended = joined(through(x.astype(np.complex64)))
    assert abs(np.mean(mended[300_000:380_000])) == pytest.approx(0.2, abs=0.005)


def test_impulses_do_not_make_an_image() -> None:
    x = air(15.0)
    rng = np.random.default_rng(3)
    x[rng.integers(0, len(x), 60)] += 20.0 * np.exp(2j * np.pi * rng.random(60)).astype(np.complex64)
    front = FrontEnd(RATE_HZ)
    through(x, front=front)
    assert abs(front.image) < 0.004


def test_block_sizes_do_not_matter() -> None:
    y = air(3.0) + np.complex64(SPIKE)
    one, other = through(y, (len(y),)), through(y, (1, 700, 5, 4096, 33))
    assert np.array_equal(joined(one), joined(other))
    assert [e for e in one if isinstance(e, Levels)] == [e for e in other if isinstance(e, Levels)]


def test_clipping_is_reported() -> None:
    x = 2.2 * air(3.0)
    limit = 32767 / 32768
    clipped = (np.clip(x.real, -1, limit) + 1j * np.clip(x.imag, -1, limit)).astype(np.complex64)
    assert np.mean((abs(x.real) >= limit) | (abs(x.imag) >= limit)) == 0.0
    assert [e.clipped_share for e in through(clipped) if isinstance(e, Levels)] == [0.0, 0.0, 0.0]
    x = 9.0 * air(3.0)
    clipped = (np.clip(x.real, -1, limit) + 1j * np.clip(x.imag, -1, limit)).astype(np.complex64)
    truth = float(np.mean((abs(x.real) >= limit) | (abs(x.imag) >= limit)))
    for front in (FrontEnd(RATE_HZ, limit * (1 - 1e-6)), FrontEnd(RATE_HZ)):
        levels = [e for e in through(clipped, front=front) if isinstance(e, Levels)]
        assert np.mean([e.clipped_share for e in levels]) == pytest.approx(truth, rel=0.1)
        assert max(e.peak_dbfs for e in levels) == pytest.approx(0.0, abs=0.01)


class Broken:
    """A source with a hole and a retuning."""

    sample_rate_hz, center_hz, duration_s = RATE_HZ, 7e6, 3.0

    def events(self):  # type: ignore[no-untyped-def]
        x = air(3.0)
        yield Block(0, RATE_HZ, 7e6, x[:30_001])
        yield Gap(30_001 / RATE_HZ, 31_001 / RATE_HZ, DROPPED)
        yield Block(31_001, RATE_HZ, 7e6, x[30_001:40_000])
        yield Block(41_000, RATE_HZ, 7.1e6, x[40_000:])


def test_nothing_is_lost_around_gaps_and_retuning() -> None:
    events = list(Corrected(Broken()).events())
    blocks = [event for event in events if isinstance(event, Block)]
    assert sum(len(block.samples) for block in blocks) == 72_000
    reached = 0
    for event in events:
        if isinstance(event, Gap):
            reached += 1_000
        elif isinstance(event, Block):
            assert event.first_sample == reached
            reached += len(event.samples)
    assert {block.center_hz for block in blocks if block.first_sample >= 41_000} == {7.1e6}
    assert [event.dropped_samples for event in events if isinstance(event, Levels)][-1] == 1_000


def test_audio_passes_unchanged() -> None:
    x = air(2.0)
    front = FrontEnd(RATE_HZ)
    events = [*front.feed(Block(0, RATE_HZ, 7e6, x, audio=True)), *front.flush()]
    assert np.array_equal(joined(events), x)
    assert all(event.audio for event in events if isinstance(event, Block))
