"""SNR of a station, over noise in 2500 Hz."""

import numpy as np
import pytest

from hearmark.events import Mode
from hearmark.pileup.strength import Strength
from hearmark.simulate import keying
from hearmark.spectrum.transform import Transform

RATE = 12_000
SECONDS = 5.0


def steps(samples: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Bins and power over noise (unit density) of steps of 32 ms."""
    transform = Transform(RATE, 0.0, 0.0, -5_900.0, 5_900.0)
    power = transform.feed(samples.astype(np.complex64)).power
    power = power[: len(power) // 4 * 4]
    return transform.grid.frequency_hz, power.reshape(-1, 4, power.shape[1]).mean(axis=1)


def noise(seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    n = round(SECONDS * RATE)
    return (rng.standard_normal(n) + 1j * rng.standard_normal(n)) * np.sqrt(RATE / 2)


def measured(mode: Mode, signal: np.ndarray, frequency_hz: float, seed: int = 1) -> float | None:
    bins_hz, ratio = steps(noise(seed) + signal)
    strength = Strength(bins_hz, mode)
    strength.add(0.0, ratio)
    return strength.snr_db(frequency_hz, 0.5, 4.5)


@pytest.mark.parametrize("snr_db", [0.0, 10.0, 25.0])
@pytest.mark.parametrize("wpm", [18.0, 32.0])
def test_morse_is_measured_while_keyed(snr_db: float, wpm: float) -> None:
    n = round(SECONDS * RATE)
    key = np.zeros(n)
    for down, up in keying.ideal("K7ABC K7ABC K7ABC K7ABC", wpm):
        key[round(down * RATE) : round(up * RATE)] = 1.0
    signal = key * np.sqrt(2_500 * 10 ** (snr_db / 10)) * np.exp(2j * np.pi * 1_003.0 * np.arange(n) / RATE)
    assert measured("cw", signal, 1_003.0) == pytest.approx(snr_db, abs=1.5)


@pytest.mark.parametrize(("mode", "side"), [("usb", 1.0), ("lsb", -1.0)])
def test_voice_is_measured_while_talking(mode: Mode, side: float) -> None:
    rng = np.random.default_rng(5)
    n = round(SECONDS * RATE)
    spectrum = np.fft.fft(rng.standard_normal(n) + 1j * rng.standard_normal(n))
    f_hz = np.fft.fftfreq(n, 1 / RATE)
    signal = np.fft.ifft(np.where((side * (f_hz - 500.0) > 300) & (side * (f_hz - 500.0) < 2_700), spectrum, 0))
    talking = (np.arange(n) // (RATE // 4)) % 4 < 3
    signal *= np.sqrt(2_500 * 10.0 / np.mean(np.abs(signal) ** 2)) * talking
    assert measured(mode, signal, 500.0) == pytest.approx(10.0, abs=1.5)


def test_nobody_and_too_short_a_time_have_no_snr() -> None:
    bins_hz, ratio = steps(noise(2) * 0.5)
    strength = Strength(bins_hz, "usb")
    strength.add(0.0, ratio)
    assert strength.snr_db(500.0, 0.5, 4.5) is None
    assert strength.snr_db(500.0, 0.5, 0.6) is None
    assert strength.snr_db(9_000.0, 0.5, 4.5) is None
