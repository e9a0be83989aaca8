"""Whatever a receiver delivers, the engine goes on: what is told stays finite, and a call sent afterwards is read."""

import math
from collections.abc import Iterator
from dataclasses import fields

import numpy as np
import pytest

from hearmark.engine import Engine, EngineConfig
from hearmark.events import Block, Emission, Event, Row
from hearmark.simulate import keyers, talkers
from hearmark.simulate.keyers import Keyer
from hearmark.simulate.talkers import Talker

RATE, CENTER_HZ, DX_HZ = 12_000, 14_030_000.0, 14_026_000.0
FAULT_S, AFTER_S, END_S = (2.0, 4.0), 12.0, 17.0
CALLER_HZ = CENTER_HZ + 400.0


def hurt(samples: np.ndarray, how: str, rng: np.random.Generator) -> np.ndarray:
    """The same samples with a fault from `FAULT_S` on."""
    out = samples.copy()
    part = slice(round(FAULT_S[0] * RATE), round(FAULT_S[1] * RATE))
    size = part.stop - part.start
    match how:
        case "not a number":
            out[part][rng.random(size) < 0.1] = np.nan
        case "infinite":
            out[part.start : part.start + 40] = np.inf
            out[part.stop - 40 : part.stop] = complex(0.0, -np.inf)
        case "huge":
            out[part] = 3e38
        case "zeros":
            out[part] = 0.0
        case "full scale":
            out[part] = np.sign(rng.standard_normal(size)) + 1j * np.sign(rng.standard_normal(size))
        case "direct current":
            out[part] += 300.0 * np.abs(samples).mean()
        case "crackle":
            out[part][rng.random(size) < 0.02] *= 3_000.0
    return out


def blocks(samples: np.ndarray, size: int = RATE // 10, rate: int = RATE) -> Iterator[Block]:
    for first in range(0, len(samples), size):
        yield Block(first, float(rate), CENTER_HZ, samples[first : first + size])


def finite(event: Event) -> bool:
    """Is every figure in this event one?"""
    for entry in fields(event):
        value = getattr(event, entry.name)
        if isinstance(value, float) and not math.isfinite(value):
            return False
        if isinstance(value, np.ndarray) and value.dtype.kind == "f" and not np.isfinite(value).all():
            return False
    return True


@pytest.fixture(scope="module")
def morse() -> np.ndarray:
    """A caller before the fault and after it, 12 dB in 500 Hz, in white noise of a hundredth of full scale."""
    rng = np.random.default_rng(5)
    keyed = []
    for text, start_s in (("K7ABC", 0.3), ("KG2OP", AFTER_S)):
        keyed.append(Keyer(text, 25.0, CALLER_HZ, 12.0, keyers.hand(text, 25.0, start_s, rng)))
    samples, _ = keyers.band(keyed, END_S, RATE, CENTER_HZ, rng)
    return np.asarray(0.01 * samples / np.abs(samples).mean(), np.complex64)


FAULTS = ("not a number", "infinite", "huge", "zeros", "full scale", "direct current", "crackle")


@pytest.mark.parametrize("how", FAULTS)
def test_morse_is_read_again_after_a_fault(how: str, morse: np.ndarray) -> None:
    engine = Engine(EngineConfig(DX_HZ, "cw", CENTER_HZ - 1_500.0, CENTER_HZ + 2_500.0))
    stream = blocks(hurt(morse, how, np.random.default_rng(6)))
    events = [event for block in stream for event in engine.feed(block)] + engine.finish()
    assert all(finite(event) for event in events)
    found = {e.id: e for e in events if isinstance(e, Emission) and e.start_s > AFTER_S - 1.0}
    assert [e.call for e in found.values() if abs(e.frequency_hz - CALLER_HZ) < 20.0] == ["KG2OP"]


@pytest.mark.parametrize("how", FAULTS)
def test_a_voice_is_placed_again_after_a_fault(how: str) -> None:
    rng = np.random.default_rng(7)
    sent = [Talker("K7ABC KG2OP", "s03", CALLER_HZ, 12.0, AFTER_S, 2.0)]
    samples = talkers.band(sent, END_S, RATE, CENTER_HZ, rng)
    samples = np.asarray(0.01 * samples / np.abs(samples).mean(), np.complex64)
    engine = Engine(EngineConfig(DX_HZ, "usb", CENTER_HZ - 1_500.0, CENTER_HZ + 2_500.0))
    events = [event for block in blocks(hurt(samples, how, rng)) for event in engine.feed(block)] + engine.finish()
    assert all(finite(event) for event in events)
    found = {e.id: e for e in events if isinstance(e, Emission)}
    placed = [e for e in found.values() if AFTER_S - 0.5 < e.start_s < AFTER_S + 0.7 and e.stop_s != e.start_s]
    assert [e for e in placed if abs(e.frequency_hz - CALLER_HZ) < 100.0]


@pytest.mark.parametrize("mode", ["cw", "usb"])
@pytest.mark.parametrize("level", [0.0, 1e-30, 1.0], ids=["nothing", "next to nothing", "a constant"])
def test_where_there_is_no_noise_nothing_is_heard(mode: str, level: float) -> None:
    engine = Engine(EngineConfig(DX_HZ, mode, CENTER_HZ - 1_500.0, CENTER_HZ + 2_500.0))  # type: ignore[arg-type]
    samples = np.full(8 * RATE, level, np.complex64)
    events = [event for block in blocks(samples) for event in engine.feed(block)] + engine.finish()
    assert all(finite(event) for event in events)
    assert not [e for e in events if isinstance(e, Emission) and e.stop_s != e.start_s]


def test_one_sample_at_a_time_is_the_same(morse: np.ndarray) -> None:
    """Two seconds, sample by sample, with faults in them."""
    samples = hurt(morse, "not a number", np.random.default_rng(8))[round(1.5 * RATE) : round(3.0 * RATE)]
    told = []
    for size in (1, len(samples)):
        engine = Engine(EngineConfig(DX_HZ, "cw", CENTER_HZ - 1_500.0, CENTER_HZ + 2_500.0))
        events = [event for block in blocks(samples, size) for event in engine.feed(block)]
        told.append([repr(e) if not isinstance(e, Row) else e.power_db.tobytes() for e in events])
    assert told[0] == told[1]


@pytest.mark.parametrize("rate", [24_000, 48_000])
def test_another_rate_is_a_gap_and_then_heard_as_before(rate: int, morse: np.ndarray) -> None:
    """The receiver changes its rate for good before the second call; the bins are the same ones."""
    engine = Engine(EngineConfig(DX_HZ, "cw", CENTER_HZ - 1_500.0, CENTER_HZ + 2_500.0))
    cut = round(6.0 * RATE)
    events = [event for block in blocks(morse[:cut]) for event in engine.feed(block)]
    spectrum = np.fft.fft(morse)
    wide = np.zeros(len(morse) * rate // RATE, np.complex128)
    wide[: len(morse) // 2], wide[-(len(morse) // 2) :] = spectrum[: len(morse) // 2], spectrum[-(len(morse) // 2) :]
    fast = np.asarray(np.fft.ifft(wide) * (rate / RATE), np.complex64)
    fast += np.random.default_rng(9).standard_normal(2 * len(fast)).view(np.complex128).astype(np.complex64) * 1e-3
    for block in blocks(fast, rate // 10, rate):
        if block.start_s >= 6.0:
            events += engine.feed(block)
    found = {e.id: e for e in events if isinstance(e, Emission) and e.start_s > AFTER_S - 1.0}
    assert [e.call for e in found.values() if abs(e.frequency_hz - CALLER_HZ) < 20.0] == ["KG2OP"]


def test_a_rate_that_does_not_cover_the_dx_leaves_it_deaf_until_it_is_back(morse: np.ndarray) -> None:
    engine = Engine(EngineConfig(DX_HZ, "cw", CENTER_HZ - 1_500.0, CENTER_HZ + 2_500.0))
    rows: list[float] = []
    for block in blocks(morse[: 8 * RATE]):
        if 3.0 <= block.start_s < 5.0:
            block = Block(block.first_sample // 2, RATE / 2, CENTER_HZ, block.samples[::2])
        rows += [e.time_s for e in engine.feed(block) if isinstance(e, Row)]
    assert not [t for t in rows if 3.1 < t < 5.0]
    assert [t for t in rows if t > 5.2]
