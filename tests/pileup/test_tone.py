"""Whose carrier stands on his frequency: tones of known frequency through a plain Hann spectrum."""

import numpy as np
import pytest

from hearmark.pileup.exchange import Exchange
from hearmark.pileup.look import ANSWERS, CALLS, OPEN, STEP_S, Look
from hearmark.pileup.tone import CERTAIN_STEPS, LONG_STEPS, MOVED_STEPS, Tone

DX_HZ = 14_023_000.0
STEP_HZ = 15.625
FREQUENCY_HZ = DX_HZ + STEP_HZ * np.arange(-12, 13)
WINDOW = np.hanning(65)[:64]


def rows(offset_hz: float | None, steps: int, snr_db: float = 20.0, seed: int = 1) -> np.ndarray:
    """Power over noise of a carrier `offset_hz` from the DX, or of noise alone, (steps, bins)."""
    rng = np.random.default_rng(seed)
    t = np.arange(64) / 1000.0
    out = np.zeros((steps, len(FREQUENCY_HZ)))
    for k in range(steps):
        for _ in range(4):
            x = (rng.normal(size=64) + 1j * rng.normal(size=64)) / 2**0.5
            if offset_hz is not None:
                x = x + 10 ** (snr_db / 20) * np.exp(2j * np.pi * (offset_hz * t + rng.random()))
            bins = np.exp(-2j * np.pi * np.outer(FREQUENCY_HZ - DX_HZ, t)) @ (x * WINDOW)
            out[k] += np.abs(bins) ** 2 / np.sum(WINDOW**2) / 4
    return out.astype(np.float32)


def hear(tone: Tone, offset_hz: float | None, steps: int, seed: int = 1) -> None:
    for row in rows(offset_hz, steps, seed=seed):
        tone.add(FREQUENCY_HZ, row)
        if offset_hz is not None:
            tone.sends()


def known(offset_hz: float = 2.0) -> Tone:
    """After one over of his."""
    tone = Tone(DX_HZ)
    hear(tone, offset_hz, 60)
    tone.stops()
    hear(tone, None, 30)
    return tone


def test_his_carrier_is_learnt_to_the_hertz() -> None:
    assert known(7.3).his_hz == pytest.approx(7.3, abs=1.0)


def test_nobody_is_a_stranger_before_his_first_over() -> None:
    tone = Tone(DX_HZ)
    hear(tone, 20.0, 60)
    assert tone.stranger == 0


@pytest.mark.parametrize("offset_hz", [-30.0, -10.0, 12.0, 22.0])
def test_a_caller_beside_his_carrier_is_a_stranger(offset_hz: float) -> None:
    tone = known()
    hear(tone, offset_hz, 30)
    assert tone.stranger == pytest.approx(60, abs=8)  # from his end on: the silence between is nobody's


def test_he_himself_and_noise_are_no_strangers() -> None:
    tone = known()
    hear(tone, 2.0, 60, seed=2)
    assert tone.stranger == 0
    hear(tone, None, 60, seed=3)
    assert tone.stranger == 0


def test_who_calls_right_after_him_is_told_within_half_a_second() -> None:
    tone = known()
    hear(tone, 2.0, 40, seed=2)
    hear(tone, 20.0, LONG_STEPS + CERTAIN_STEPS, seed=4)
    assert tone.stranger == pytest.approx(LONG_STEPS + CERTAIN_STEPS, abs=4)


def test_he_may_move_and_is_learnt_anew() -> None:
    tone = known()
    for k in range(4):
        hear(tone, 25.0, 60, seed=k)
        tone.stops()
        hear(tone, None, MOVED_STEPS // 3, seed=10 + k)
    hear(tone, 25.0, 60, seed=20)
    tone.stops()
    assert tone.his_hz == pytest.approx(25.0, abs=1.0)


def test_a_caller_on_his_frequency_does_not_lengthen_his_over() -> None:
    streams = DX_HZ + 1000.0 + 31.25 * np.arange(40)
    exchange, now_s, overs = Exchange(streams, DX_HZ, "cw"), 0.0, {}
    for offset_hz, state, steps, sends in (
        (None, OPEN, 60, False), (1.0, CALLS, 80, True), (None, OPEN, 60, False), (1.0, ANSWERS, 80, True),
        (None, OPEN, 12, True), (20.0, ANSWERS, 90, True), (None, OPEN, 60, False),
    ):  # fmt: skip
        spectra = rows(offset_hz, steps, seed=steps)
        for k in range(0, steps, 2):
            place = np.zeros((2, 41), np.float32)
            place[:, -1] = 1.0
            states = np.full((2, 4), 0.02, np.float32)
            states[:, state if offset_hz is not None or not sends else ANSWERS] = 0.94
            level = np.full(2, 3.0 if offset_hz is not None else 0.1, np.float32)
            exchange.memory.add_spectra(FREQUENCY_HZ, spectra[k : k + 2])
            look = Look(place, states, np.zeros((2, 40), bool), level, np.zeros((2, 41), np.int8))
            for event in exchange.feed(look, now_s, now_s + 2 * STEP_S):
                overs[type(event).__name__, event.id] = event
            now_s += 2 * STEP_S
    second = overs["Over", 2]
    assert second.start_s == pytest.approx(200 * STEP_S, abs=0.2)
    assert second.stop_s == pytest.approx(280 * STEP_S, abs=0.3)
    assert second.kind == "answer"
    assert ("Over", 3) not in overs
