import numpy as np
import pytest

from hearmark.spectrum.passband import Passband, steadied
from hearmark.spectrum.transform import Grid

BINS, STEP_HZ = 256, 15.625


def noise(frames: int, seed: int) -> np.ndarray:
    """Powers of noise, mean 1."""
    return np.random.default_rng(seed).exponential(1.0, (frames, BINS)).astype(np.float32)


def narrow(frames: int, seed: int, first: int = 40, stop: int = 72) -> np.ndarray:
    """Noise through a filter that holds the rest 80 dB down."""
    gain = np.full(BINS, 1e-8, np.float32)
    gain[first:stop] = 1.0
    return noise(frames, seed) * gain


def ratios(power: np.ndarray) -> tuple[int, np.ndarray]:
    band = Passband(Grid(0.0, STEP_HZ, BINS, 0, 0.008, 0.064))
    firsts, out = zip(*(band.feed(power[k : k + 12]) for k in range(0, len(power), 12)), strict=True)
    return firsts[-1], out[-1]


def test_a_narrow_filter_is_found_and_noise_in_it_is_noise() -> None:
    power = narrow(1200, 1)
    band = Passband(Grid(0.0, STEP_HZ, BINS, 0, 0.008, 0.064))
    parts = [band.feed(power[k : k + 12]) for k in range(0, len(power), 12)]
    first, last = parts[-1]
    assert 40 <= first <= 46
    assert 66 <= first + last.shape[1] <= 72
    later = np.concatenate([part for _, part in parts[50:]])
    assert 10 * np.log10(later.mean()) == pytest.approx(0.0, abs=1.5)


def test_without_a_filter_all_of_it_is_kept() -> None:
    first, last = ratios(noise(600, 2))
    assert (first, last.shape[1]) == (0, BINS)


def test_a_carrier_does_not_narrow_the_passband() -> None:
    power = noise(600, 3)
    power[:, 100:103] += 1e5
    first, last = ratios(power)
    assert (first, last.shape[1]) == (0, BINS)


def test_the_gain_of_the_receiver_does_not_show() -> None:
    """A gain control that falls by 30 dB for half a second leaves noise as it was, and a carrier above it."""
    power = narrow(1200, 4)
    power[:, 55] += 200.0
    gain = np.where(np.arange(1200) // 60 % 2, 1e-3, 1.0).astype(np.float32)
    _, calm = ratios(power)
    _, moved = ratios(power * gain[:, None])
    assert np.median(moved) == pytest.approx(np.median(calm), rel=0.25)
    assert moved.max() > 50.0


def test_steadied_keeps_what_stands_out_within_a_step() -> None:
    power = noise(8, 5)
    power[4:] *= 1e-4
    power[:, 7] = power.mean(axis=1) * 1000.0
    out = steadied(power)
    assert np.median(out[:4]) == pytest.approx(np.median(out[4:]), rel=0.2)
    assert out[:, 7].min() > 100.0
