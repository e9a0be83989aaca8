"""Processor time of the spectrum's stages per second of stream: one core, 60 keyed stations in 5 kHz.

Run with OMP_NUM_THREADS=1. Blocks of 32 ms, as the engine feeds them. Prints milliseconds per second of stream.
"""

from __future__ import annotations

import time

import numpy as np

from hearmark.spectrum.dxlevel import Sending
from hearmark.spectrum.emissions import EmissionTracker
from hearmark.spectrum.floor import Floor
from hearmark.spectrum.transform import Transform

BLOCK_S = 0.032
SECONDS = 20


def pileup(rate_hz: int, seconds: int) -> np.ndarray:
    """Noise of density 1, a station at 0 Hz and 60 from 1 to 6 kHz, keyed at random; complex64."""
    rng = np.random.default_rng(3)
    n = rate_hz * seconds
    samples = rng.standard_normal(2 * n, np.float32).view(np.complex64) * np.float32(np.sqrt(rate_hz / 2))
    edge = np.hanning(round(0.005 * rate_hz))
    edge /= edge.sum()
    for k in range(61):
        unit = round(rng.uniform(0.035, 0.06) * rate_hz)
        key = np.convolve(np.repeat(rng.random(n // unit + 1) < 0.5, unit)[:n], edge, "same").astype(np.float32)
        step = np.exp(2j * np.pi * (rng.uniform(1_000, 6_000) if k else 0.0) / rate_hz)
        carrier = np.cumprod(np.full(n, step, np.complex128)).astype(np.complex64)
        samples += carrier * key * np.float32(np.sqrt(2500 * 10 ** (rng.uniform(0, 20) / 10)))
    return samples


def measure(rate_hz: int, kept_hz: float, samples: np.ndarray) -> dict[str, float]:
    """Milliseconds of processor time per second of stream, by stage."""
    transform = Transform(rate_hz, 0, 0, -kept_hz / 2, kept_hz / 2)
    grid = transform.grid
    floor, tracker, sending, voice = Floor(grid), EmissionTracker(grid), Sending(grid, "cw"), Sending(grid, "usb")
    cost = dict.fromkeys(("transform", "floor", "emissions", "dx cw", "dx ssb"), 0.0)
    block = round(BLOCK_S * rate_hz)
    warm = 2 * rate_hz // block * block
    for k in range(0, len(samples), block):
        if k == warm:
            cost = dict.fromkeys(cost, 0.0)
        marks = [time.process_time()]
        frames = transform.feed(samples[k : k + block])
        marks.append(time.process_time())
        density = floor.feed(frames.power)
        marks.append(time.process_time())
        tracker.feed(frames, density)
        marks.append(time.process_time())
        sending.feed(frames, density)
        marks.append(time.process_time())
        voice.feed(frames, density)
        marks.append(time.process_time())
        for name, spent in zip(cost, np.diff(marks), strict=True):
            cost[name] += spent
    return {name: 1e3 * spent / ((len(samples) - warm) / rate_hz) for name, spent in cost.items()}


if __name__ == "__main__":
    heads = ("rate", "kept", "transform", "floor", "emissions", "dx cw", "dx ssb", "all, cw")
    print("{:>7} {:>7} {:>10} {:>7} {:>10} {:>7} {:>7} {:>8}  ms/s".format(*heads))
    for rate in (48_000, 192_000):
        samples = pileup(rate, SECONDS)
        for kept in (16_000.0, float(rate)):
            c = measure(rate, kept, samples)
            total = sum(c.values()) - c["dx ssb"]
            print(
                f"{rate:7} {kept:7.0f} {c['transform']:10.1f} {c['floor']:7.1f} {c['emissions']:10.1f} "
                f"{c['dx cw']:7.1f} {c['dx ssb']:7.1f} {total:8.1f}"
            )
