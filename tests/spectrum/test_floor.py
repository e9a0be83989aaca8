import numpy as np
import pytest
from scipy.signal import firwin2, lfilter

from hearmark.errors import HearmarkError
from hearmark.spectrum.floor import Floor
from hearmark.spectrum.transform import Transform

RATE = 24_000
WIDTH_HZ = 9_000.0


def noise(seconds: float, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    n = round(seconds * RATE)
    return ((rng.standard_normal(n) + 1j * rng.standard_normal(n)) * np.sqrt(RATE / 2)).astype(np.complex64)


def read_db(samples: np.ndarray, block: int = RATE // 2) -> tuple[np.ndarray, np.ndarray]:
    """Floor in dB twice a second, shape (readings, bins), and the bins' frequencies."""
    transform = Transform(RATE, 0, 0, -WIDTH_HZ, WIDTH_HZ)
    floor = Floor(transform.grid)
    rows = [floor.feed(transform.feed(samples[k : k + block]).power).copy() for k in range(0, len(samples), block)]
    return 10 * np.log10(np.array(rows)), transform.grid.frequency_hz


def crowd(seconds: float, seed: int, count: int) -> np.ndarray:
    """Keyed carriers of 5 to 25 dB SNR in 2500 Hz over 4 kHz, five seconds in every eight."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(seconds * RATE)) / RATE
    x = np.zeros(len(t), np.complex64)
    edge = np.hanning(round(0.005 * RATE)) / np.hanning(round(0.005 * RATE)).sum()
    for _ in range(count):
        unit = rng.uniform(0.035, 0.06)
        key = np.repeat(rng.random(round(seconds / unit) + 2) < 0.5, round(unit * RATE))[: len(t)]
        level = np.sqrt(2500 * 10 ** (rng.uniform(5, 25) / 10))
        x += (level * lfilter(edge, 1, key * (t % 8 < 5)) * np.exp(2j * np.pi * rng.uniform(-2e3, 2e3) * t)).astype(
            np.complex64
        )
    return x


def test_quiet_noise_reads_its_density() -> None:
    db, _ = read_db(noise(12, 1))
    assert np.abs(db[1].mean()) < 0.3  # after one second
    assert np.abs(db[12:].mean()) < 0.15
    assert np.abs(db[12:]).max() < 0.6


def test_block_sizes_do_not_matter_to_the_last_value() -> None:
    samples = noise(3, 2)
    np.testing.assert_array_equal(read_db(samples)[0][-1], read_db(samples, block=RATE // 10)[0][-1])


def test_a_pile_up_and_carriers_do_not_lift_it() -> None:
    t = np.arange(24 * RATE) / RATE
    carriers = sum(3_000 * np.exp(2j * np.pi * hz * t) for hz in (-1_500.0, 700.0))
    db, _ = read_db((noise(24, 3) + crowd(24, 4, 60) + carriers).astype(np.complex64))
    middle = db[14:, db.shape[1] // 2 - 128 : db.shape[1] // 2 + 128]
    assert -0.3 < middle.mean() < 1.5
    assert middle.max() < 3.0


def test_a_crash_passes_and_a_step_is_followed() -> None:
    t = np.arange(20 * RATE) / RATE
    gain = np.where((t > 7) & (t < 8), 10**1.5, 1.0) * np.where(t > 11, 10**0.3, 1.0)
    db, _ = read_db((noise(20, 5) * gain).astype(np.complex64))
    assert np.abs(db[14:22]).max() < 0.8  # during and after the crash
    np.testing.assert_allclose(db[36:].mean(axis=1), 6.0, atol=0.3)  # seven seconds after the step


def test_a_drift_of_ten_decibels_in_thirty_seconds_is_followed() -> None:
    t = np.arange(36 * RATE) / RATE
    db, _ = read_db((noise(36, 6) * 10 ** (t / 60)).astype(np.complex64), block=RATE)
    truth = (np.arange(36) + 1) / 3
    assert np.abs(db[6:].mean(axis=1) - truth[6:]).max() < 2.0


def test_the_edge_of_a_filter_is_kept() -> None:
    shape = firwin2(257, [0, 2_000, 2_400, RATE / 2], [1, 1, 0.03, 0.03], fs=RATE)
    db, hz = read_db(lfilter(shape, 1, noise(10, 7)).astype(np.complex64))
    last = db[-1]
    assert np.abs(last[np.abs(hz) < 1_600]).max() < 0.8
    assert np.abs(last[np.abs(hz) > 3_000] + 30.5).max() < 1.0


def test_silence_and_wrong_shapes() -> None:
    transform = Transform(RATE, 0, 0, -WIDTH_HZ, WIDTH_HZ)
    floor = Floor(transform.grid)
    assert np.all(np.isfinite(floor.feed(transform.feed(np.zeros(RATE, np.complex64)).power)))
    with pytest.raises(HearmarkError, match="was made for 1153 bins"):
        floor.feed(np.zeros((4, 7), np.float32))
    with pytest.raises(HearmarkError, match="at least 4 frequency bins"):
        Floor(Transform(RATE, 0, 0, -10, 10).grid)
