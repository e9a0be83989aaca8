import numpy as np
import pytest

from hearmark.errors import HearmarkError
from hearmark.spectrum.transform import Transform

RATE_HZ = 48_000.0


def noise(count: int, seed: int = 1) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return ((rng.standard_normal(count) + 1j * rng.standard_normal(count)) / np.sqrt(2)).astype(np.complex64)


def make(rate_hz: float = RATE_HZ, low_hz: float = 14_020e3, high_hz: float = 14_032e3) -> Transform:
    return Transform(rate_hz, 14_030e3, 14_023_123.4, low_hz, high_hz)


@pytest.mark.parametrize("sizes", [[1], [383, 385], [1536], [7, 5000, 64, 20_000]])
def test_block_sizes_do_not_matter(sizes: list[int]) -> None:
    samples = noise(12_000 if sizes == [1] else 40_000)
    whole = make().feed(samples)
    parts, transform, at, k = [], make(), 0, 0
    while at < len(samples):
        size = sizes[k % len(sizes)]
        parts.append(transform.feed(samples[at : at + size]))
        at, k = at + size, k + 1
    np.testing.assert_array_equal(np.concatenate([p.power for p in parts]), whole.power)
    np.testing.assert_allclose(np.concatenate([p.time_s for p in parts]), whole.time_s, atol=1e-9)
    assert [p.first for p in parts if len(p)] == sorted({p.first for p in parts if len(p)})


def test_white_noise_has_its_density_in_every_bin() -> None:
    frames = make().feed(noise(480_000))
    np.testing.assert_allclose(frames.power.mean(), 1 / RATE_HZ, rtol=0.01)
    # some 270 independent looks a bin: 6 % rms
    np.testing.assert_allclose(frames.power.mean(axis=0), 1 / RATE_HZ, rtol=0.35)


@pytest.mark.parametrize("rate_hz", [8_000.0, 44_100.0, 48_000.0, 192_000.0])
def test_the_dx_is_exactly_on_a_bin(rate_hz: float) -> None:
    """A carrier of unit power at the aligned frequency stands in bin zero as 1 / noise bandwidth, and nowhere else."""
    align_hz = 14_030e3 + 0.123456 * rate_hz
    transform = Transform(rate_hz, 14_030e3, align_hz, align_hz - 500, align_hz + 700)
    n = np.arange(round(rate_hz))
    frames = transform.feed(np.exp(2j * np.pi * 0.123456 * n).astype(np.complex64))
    grid = frames.grid
    assert grid.frequency_hz[grid.zero] == pytest.approx(align_hz, abs=1e-6)
    assert grid.step_hz == rate_hz / round(rate_hz * 0.064)
    np.testing.assert_allclose(frames.power[:, grid.zero] * grid.noise_bandwidth_hz, 1.0, rtol=1e-4)
    away = np.abs(np.arange(grid.bins) - grid.zero) >= 2
    assert frames.power[:, away].max() * grid.noise_bandwidth_hz < 1e-9


def test_time_is_the_centre_of_the_window() -> None:
    samples = np.zeros(48_000, np.complex64)
    samples[24_000] = 1.0
    frames = make().feed(samples)
    assert frames.time_s[np.argmax(frames.power.sum(axis=1))] == pytest.approx(0.5, abs=0.00401)
    assert frames.time_s[0] == pytest.approx(0.032)


def test_nothing_drifts_over_hours() -> None:
    """Ten hours in, the same samples give the same powers: no phase is carried."""
    samples = noise(20_000)
    fresh, old = make().feed(samples), make()
    old.feed(noise(5_000, seed=2))
    old.restart(36_000 * 48_000)
    late = old.feed(samples)
    np.testing.assert_array_equal(late.power, fresh.power)
    assert late.start_s == pytest.approx(36_000.032, abs=1e-9)


def test_the_band_wraps_and_is_clipped_to_what_was_sampled() -> None:
    grid = Transform(8_000.0, 1e6, 1e6, 0.9e6, 1.1e6).grid
    assert grid.frequency_hz[0] >= 1e6 - 4_000
    assert grid.frequency_hz[-1] <= 1e6 + 4_000
    assert grid.bins == 512
    assert grid.span(1e6 - 40, 1e6 + 40) == slice(grid.zero - 2, grid.zero + 3)
    assert grid.span(2e6, 3e6).stop - grid.span(2e6, 3e6).start == 0


def test_bad_ranges_are_explained() -> None:
    with pytest.raises(HearmarkError, match="lies outside the recording, which covers 14006000 to 14054000 Hz"):
        make(low_hz=15e6, high_hz=16e6)
    with pytest.raises(HearmarkError, match="give the lower edge first"):
        make(low_hz=2.0, high_hz=1.0)
    with pytest.raises(HearmarkError, match="at least 1000 Hz"):
        make(rate_hz=100.0)
    with pytest.raises(HearmarkError, match="one channel"):
        make().feed(np.zeros((4, 2), np.complex64))
