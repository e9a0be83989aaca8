"""Small signals for the tests of this room: unit noise density, keyed carriers, speech-like noise."""

import numpy as np
from scipy.signal import firwin, lfilter

from hearmark.spectrum.floor import Floor
from hearmark.spectrum.transform import Frames, PowerArray, Transform

RATE = 12_000
WORD = ("-.-.", "--.-", "-..", ".", "--..", "----.", ".-", "-...", "-.-.", "-.-")


def noise(seconds: float, seed: int) -> np.ndarray:
    """White noise of density 1 per hertz."""
    rng = np.random.default_rng(seed)
    n = round(seconds * RATE)
    return ((rng.standard_normal(n) + 1j * rng.standard_normal(n)) * np.sqrt(RATE / 2)).astype(np.complex64)


def tone(seconds: float, hz: float, snr_db: float) -> np.ndarray:
    """A steady carrier of this SNR in 2500 Hz over unit noise density."""
    t = np.arange(round(seconds * RATE)) / RATE
    return np.sqrt(2500 * 10 ** (snr_db / 10)) * np.exp(2j * np.pi * hz * t)


def morse(start_s: float, unit_s: float, word: tuple[str, ...] = WORD) -> np.ndarray:
    """Key-down and key-up times of these characters, seconds, shape (n, 2)."""
    times, at = [], start_s
    for character in word:
        for element in character:
            length = unit_s * (3 if element == "-" else 1)
            times.append((at, at + length))
            at += length + unit_s
        at += 2 * unit_s
    return np.array(times)


def keyed(seconds: float, hz: float, snr_db: float, times: np.ndarray) -> np.ndarray:
    """A carrier keyed at `times` with edges of 5 ms."""
    key = np.zeros(round(seconds * RATE))
    for down, up in times:
        key[round(down * RATE) : round(up * RATE)] = 1.0
    edge = np.hanning(round(0.005 * RATE) + 2)
    return np.convolve(key, edge / edge.sum(), "same") * tone(seconds, hz, snr_db)


def voice(seconds: float, dial_hz: float, snr_db: float, spans: list[tuple[float, float]], seed: int) -> np.ndarray:
    """Speech-like: noise of 300 to 2700 Hz above the dial frequency, with a syllable rhythm, within `spans`."""
    rng = np.random.default_rng(seed)
    n = round(seconds * RATE)
    t = np.arange(n) / RATE
    raw = lfilter(firwin(257, 1_200, fs=RATE), 1, rng.standard_normal(n) + 1j * rng.standard_normal(n))
    knots = 0.15 + rng.random(round(seconds * 8) + 2) ** 2
    raw = raw * np.interp(t * 8, np.arange(len(knots)), knots) * np.exp(2j * np.pi * (dial_hz + 1_500) * t)
    raw *= np.sqrt(2500 * 10 ** (snr_db / 10) / np.mean(np.abs(raw) ** 2))
    return raw * np.any([(t >= a) & (t < b) for a, b in spans], axis=0)


def stream(samples: np.ndarray, align_hz: float = 0.0, block_s: float = 0.032) -> list[tuple[Frames, PowerArray]]:
    """Frames and the floor under them, block by block."""
    transform = Transform(RATE, 0.0, align_hz, -5_500.0, 5_500.0)
    floor = Floor(transform.grid)
    block = round(block_s * RATE)
    samples = samples.astype(np.complex64)
    out = []
    for k in range(0, len(samples), block):
        frames = transform.feed(samples[k : k + block])
        out.append((frames, floor.feed(frames.power).copy()))
    return out
