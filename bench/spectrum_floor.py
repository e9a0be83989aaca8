"""Bias of the noise floor under what a pile-up does to it, in dB. Seeded; prints a table.

Floor of 1.0, 24 kHz kept of 48 kHz; the crowd lies in the middle 5 kHz, and the worst and mean bias are read
there once a second, after the first 6 s. Crowds take no turns: real ones pause while the DX sends.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.signal import firwin, lfilter

from hearmark.spectrum.floor import Floor
from hearmark.spectrum.transform import Transform

RATE = 48_000
Signal = np.ndarray


def noise(seconds: float, rng: np.random.Generator) -> Signal:
    """White noise of density 1 per hertz."""
    n = round(seconds * RATE)
    return (rng.standard_normal(n) + 1j * rng.standard_normal(n)).astype(np.complex64) * np.float32(np.sqrt(RATE / 2))


def keyed(seconds: float, unit_s: float, rng: np.random.Generator) -> Signal:
    """A random Morse-like envelope with 5 ms raised-cosine edges."""
    n, parts = round(seconds * RATE), []
    total = 0
    while total < n:
        on, off = unit_s * rng.choice([1, 3]), unit_s * rng.choice([1, 3, 7], p=[0.65, 0.3, 0.05])
        parts += [np.ones(round(on * RATE), np.float32), np.zeros(round(off * RATE), np.float32)]
        total += len(parts[-1]) + len(parts[-2])
    edge = np.hanning(round(0.005 * RATE))
    return np.roll(lfilter(edge / edge.sum(), 1, np.concatenate(parts)[:n]), int(rng.integers(n))).astype(np.float32)


def tone(hz: float, n: int) -> Signal:
    return np.exp(2j * np.pi * hz / RATE * np.arange(n)).astype(np.complex64)


def amplitude(snr_db: float) -> float:
    """Of a signal with this SNR in 2500 Hz over the unit floor."""
    return float(np.sqrt(2500 * 10 ** (snr_db / 10)))


def callers(seconds: float, count: int, rng: np.random.Generator) -> Signal:
    x = np.zeros(round(seconds * RATE), np.complex64)
    for _ in range(count):
        hz, snr = rng.uniform(-2500, 2500), rng.uniform(5, 25)
        x += amplitude(snr) * keyed(seconds, 1.2 / rng.uniform(20, 35), rng) * tone(hz, len(x))
    return x


def voices(seconds: float, count: int, rng: np.random.Generator) -> Signal:
    """Speech-like: noise of 300-2700 Hz with a syllable envelope, each on its own dial frequency."""
    n = round(seconds * RATE)
    x = np.zeros(n, np.complex64)
    band = firwin(401, 1_200, fs=RATE)
    for _ in range(count):
        raw = lfilter(band, 1, noise(seconds, rng))
        knots = rng.random(round(seconds * 8) + 2) ** 2 * (rng.random(round(seconds * 8) + 2) > 0.25)
        envelope = np.interp(np.arange(n) / RATE * 8, np.arange(len(knots)), knots)
        raw *= envelope
        raw *= amplitude(rng.uniform(5, 25)) / np.sqrt(np.mean(np.abs(raw) ** 2))
        x += (raw * tone(rng.uniform(-2500, 2500), n)).astype(np.complex64)
    return x


def measure(x: Signal, truth_db: Callable[[float], float] = lambda _: 0.0, settle_s: float = 6.0) -> np.ndarray:
    """Bias in dB, shape (readings, bins inside the middle 5 kHz)."""
    transform = Transform(RATE, 0, 0, -12_000, 12_000)
    floor, rows = Floor(transform.grid), []
    middle = transform.grid.span(-2500, 2500)
    for k in range(0, len(x), RATE):
        frames = transform.feed(x[k : k + RATE])
        density = floor.feed(frames.power)
        if k / RATE >= settle_s:
            rows.append(10 * np.log10(density[middle]) - truth_db((k + RATE) / RATE))
    return np.array(rows)


def table() -> list[tuple[str, float, float, float]]:
    """(case, mean bias, lowest, highest) in dB."""
    rng = np.random.default_rng(11)
    base = noise(40, rng)
    t = np.arange(len(base)) / RATE
    turn = (t % 8 < 5).astype(np.float32)  # five seconds of calling, three of listening
    burst = np.where((t > 15) & (t < 16), 10**1.5, 1.0).astype(np.float32)
    step = np.where(t > 15, 10**0.3, 1.0).astype(np.float32)
    drift = (10 ** (np.clip(t - 5, 0, 30) / 60)).astype(np.float32)
    late = (t > 4).astype(np.float32)
    crowd, talk = callers(40, 80, rng), voices(40, 30, rng)
    carrier = sum((amplitude(30) * tone(hz, len(base)) for hz in (-900, 0, 1300)), np.zeros_like(base))
    cases: list[tuple[str, np.ndarray]] = [
        ("quiet noise", measure(base)),
        ("quiet noise, after 1 s", measure(base, settle_s=0)[:2]),
        ("three steady carriers, 30 dB", measure(base + carrier)),
        ("80 CW callers in 5 kHz, turns", measure(base + crowd * turn)),
        ("80 CW callers in 5 kHz, no pause", measure(base + crowd)),
        ("30 voices in 5 kHz, turns", measure(base + talk * turn)),
        ("30 voices in 5 kHz, no pause", measure(base + talk)),
        ("30 voices, no pause, from 4 s on", measure(base + talk * late)),
        ("crash of 30 dB for 1 s", measure(base * burst)[9:12]),
        ("6 dB up: 3 s later", measure(base * step, lambda s: 6.0 if s > 15 else 0.0)[11:12]),
        ("6 dB up: 7 s later", measure(base * step, lambda s: 6.0 if s > 15 else 0.0)[15:16]),
        ("6 dB down: 2 s later", measure(base / step, lambda s: -6.0 if s > 15 else 0.0)[10:11]),
        ("10 dB up in 30 s", measure(base * drift, lambda s: (min(s, 35) - 5) / 3)[4:]),
        ("10 dB down in 30 s", measure(base / drift, lambda s: -(min(s, 35) - 5) / 3)[4:]),
    ]
    return [(name, float(b.mean()), float(b.min()), float(b.max())) for name, b in cases]


if __name__ == "__main__":
    print(f"{'case':36} {'mean':>7} {'lowest':>7} {'highest':>7}  dB")
    for name, mean, low, high in table():
        print(f"{name:36} {mean:7.2f} {low:7.2f} {high:7.2f}")
