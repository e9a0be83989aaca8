"""Audio of one receiver on one grid: what is where the dial was, and still noise elsewhere."""

from collections.abc import Iterator

import numpy as np
import pytest

from hearmark.events import Block, Mode
from hearmark.spectrum.batches import BATCH_FRAMES, Batch
from hearmark.spectrum.slices import MIDDLE, Slices
from hearmark.spectrum.transform import still_noise

RATE = 8_000
DX_HZ = 14_023_000.0
LOW_HZ, HIGH_HZ = DX_HZ - 500.0, DX_HZ + 6_000.0


def blocks(plan: list[tuple[float, float]], size: int, tone_hz: float = 700.0) -> Iterator[Block]:
    """(seconds, dial) one after the other: noise and a tone of audio, in blocks of at most `size`."""
    rng = np.random.default_rng(3)
    at = 0
    for seconds, dial_hz in plan:
        n = round(seconds * RATE)
        t = np.arange(at, at + n) / RATE
        samples = rng.standard_normal(n) + 1j * rng.standard_normal(n) + 20 * np.exp(2j * np.pi * tone_hz * t)
        for k in range(0, n, size):
            yield Block(at + k, RATE, dial_hz, samples[k : k + size].astype(np.complex64), audio=True)
        at += n


def heard(stream: Iterator[Block], mode: Mode = "cw") -> tuple[Slices, list[Batch]]:
    slices: Slices | None = None
    out: list[Batch] = []
    for block in stream:
        slices = slices or Slices(block, mode, DX_HZ, LOW_HZ, HIGH_HZ)
        out += slices.feed(block)
    assert slices is not None
    return slices, out


PLAN = [(2.0, DX_HZ - 600.0), (2.013, DX_HZ + 2_000.0), (1.0, DX_HZ + 50_000.0), (2.0, DX_HZ - 600.0)]


@pytest.mark.parametrize("size", [97, 1_000, 10**9])
def test_batches_follow_without_holes_whatever_the_blocks(size: int) -> None:
    slices, batches = heard(blocks(PLAN, size))
    other = heard(blocks(PLAN, 640))[1]
    assert np.allclose(np.diff([b.start_s for b in batches]), BATCH_FRAMES * slices.grid.hop_s)
    assert len(batches) >= 71
    count = min(len(batches), len(other))
    assert all(np.array_equal(a.ratio, b.ratio) for a, b in zip(batches[:count], other[:count], strict=True))


def test_what_is_heard_is_in_its_place_and_the_rest_is_still() -> None:
    slices, batches = heard(blocks(PLAN, 640))
    f_hz = slices.grid.frequency_hz
    first = np.concatenate([b.ratio for b in batches if 0.5 < b.start_s < 1.8])
    second = np.concatenate([b.ratio for b in batches if 2.5 < b.start_s < 3.8])
    nowhere = np.concatenate([b.ratio for b in batches if 4.2 < b.start_s < 4.8])
    assert f_hz[np.argmax(first.mean(axis=0))] == pytest.approx(DX_HZ + 100.0, abs=16.0)
    assert f_hz[np.argmax(second.mean(axis=0))] == pytest.approx(DX_HZ + 2_700.0, abs=16.0)
    assert first[:, f_hz > DX_HZ + 3_600.0].mean() == pytest.approx(1.0, abs=0.1)
    assert nowhere.mean() == pytest.approx(1.0, abs=0.1)
    assert nowhere.max() < 20.0


def test_in_voice_the_rest_is_the_middle_of_noise() -> None:
    slices, batches = heard(blocks(PLAN, 640), "usb")
    far = slices.grid.frequency_hz > DX_HZ + 3_600.0
    assert np.all(batches[5].ratio[:, far] == MIDDLE)


def test_lower_sideband_lies_below_the_dial() -> None:
    slices, batches = heard(blocks([(2.0, DX_HZ + 3_000.0)], 640, tone_hz=-700.0), "lsb")
    f_hz = slices.grid.frequency_hz
    assert f_hz[np.argmax(batches[10].ratio.mean(axis=0))] == pytest.approx(DX_HZ + 2_300.0, abs=16.0)
    assert np.all(batches[10].ratio[:, f_hz > DX_HZ + 3_020.0] == MIDDLE)


def test_after_a_rest_the_clock_is_that_of_the_samples() -> None:
    slices, _ = heard(blocks([(1.0, DX_HZ)], 640))
    slices.rest()
    block = next(blocks([(1.0, DX_HZ)], 10**9))
    later = list(slices.feed(Block(10 * RATE, RATE, DX_HZ, block.samples, audio=True)))
    assert later[0].start_s == pytest.approx(10.032)


def test_still_noise_is_noise_of_mean_one() -> None:
    power = still_noise(200, 1_000)
    assert power.shape == (1_000, 200)
    assert power.mean() == pytest.approx(1.0, abs=0.02)
    assert power.std() == pytest.approx(1.0, abs=0.1)  # exponential: as large as the mean
    assert np.array_equal(power, still_noise(200, 1_000))
