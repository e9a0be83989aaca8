"""The memory of looks, and what is measured in it."""

import numpy as np
import pytest

from hearmark.modes.alphabet import ALPHABET, text_of
from hearmark.pileup.look import STEP_S
from hearmark.pileup.place import DEPTH, MORSE_EDGES, SPECTRA, Memory, refined_hz

STREAMS = 5


def fill(
    memory: Memory, steps: int, active: dict[int, tuple[float, float]], dx: tuple[float, float] | None = None,
    text: str = "", first_s: float = 0.0,
) -> None:  # fmt: skip
    """Steps in which some streams send between two times, and the DX at level 3 between two."""
    for k in range(steps):
        time_s = first_s + k * STEP_S
        on = np.array([s in active and active[s][0] <= time_s < active[s][1] for s in range(STREAMS)])
        level = 3.0 if dx and dx[0] <= time_s < dx[1] else 0.1
        symbols = np.zeros(STREAMS + 1, np.int8)
        if k % 10 == 0 and k // 10 < len(text):
            symbols[-1] = ALPHABET.index(text[k // 10]) + 1
        memory.add(time_s, on, level, np.eye(STREAMS + 1, dtype=np.float32)[-1], symbols)


def test_when_somebody_began_and_stopped() -> None:
    memory = Memory(STREAMS, MORSE_EDGES)
    fill(memory, 300, {2: (4.0, 6.0)})
    begun, ended = memory.sending(2, 3.5, 299 * STEP_S)
    assert begun == pytest.approx(4.0, abs=2.5 * STEP_S)
    assert ended == pytest.approx(6.0, abs=2.5 * STEP_S)
    assert memory.sending(4, 3.5, 299 * STEP_S) == (None, None)


def test_who_was_sending_all_along_does_not_reply() -> None:
    memory = Memory(STREAMS, MORSE_EDGES)
    fill(memory, 300, {2: (1.0, 5.0)})
    assert memory.sending(2, 3.5, 299 * STEP_S) == (None, None)


def test_who_still_sends_has_not_ended() -> None:
    memory = Memory(STREAMS, MORSE_EDGES)
    fill(memory, 200, {2: (4.0, 60.0)})
    begun, ended = memory.sending(2, 3.8, 199 * STEP_S)
    assert begun == pytest.approx(4.0, abs=2.5 * STEP_S)
    assert ended is None


def test_edges_of_the_dx() -> None:
    memory = Memory(STREAMS, MORSE_EDGES)
    fill(memory, 100, {}, (2.5, 60.0))
    assert memory.dx_rise(99 * STEP_S, None) == pytest.approx(2.5, abs=3 * STEP_S)
    fill(memory, 60, {}, (0.0, 4.0), first_s=100 * STEP_S)
    assert memory.dx_fall(159 * STEP_S, 2.5) == pytest.approx(4.0, abs=3 * STEP_S)


def test_text_between_two_times_even_after_the_ring_has_gone_round() -> None:
    memory = Memory(STREAMS, MORSE_EDGES)
    fill(memory, DEPTH + 500, {})
    start_s = (DEPTH + 500) * STEP_S
    fill(memory, 60, {}, text="TU UP", first_s=start_s)
    assert text_of(memory.symbols(start_s - 0.01, None, -1)) == "TU UP"
    assert text_of(memory.symbols(start_s + 25 * STEP_S, None, -1)) == "UP"


def test_a_carrier_between_two_bins_is_refined() -> None:
    memory = Memory(STREAMS, MORSE_EDGES)
    frequency_hz = 14e6 + 15.625 * np.arange(64)
    line_hz = float(frequency_hz[30]) + 5.0
    shape = np.exp(-(((frequency_hz - line_hz) / 12.0) ** 2)) * 50.0 + 1.0
    for k in range(SPECTRA):
        memory.add(k * STEP_S, np.zeros(STREAMS, bool), 0.0, np.zeros(STREAMS + 1, np.float32), None)
        memory.add_spectra(frequency_hz, shape[None].astype(np.float32))
    assert refined_hz(memory, float(frequency_hz[31]), 1.0, 5.0) == pytest.approx(line_hz, abs=1.5)


def test_without_spectra_the_stream_itself_is_the_place() -> None:
    memory = Memory(STREAMS, MORSE_EDGES)
    assert refined_hz(memory, 14_001_000.0, 0.0, 1.0) == 14_001_000.0
