"""Speech as an array: rate, length, band, level. All at 8 kHz unless a rate is given."""

from __future__ import annotations

import math

import numba
import numpy as np
import numpy.typing as npt

from hearmark.errors import HearmarkError

Audio = npt.NDArray[np.float32]
Gain = npt.NDArray[np.float64]

RATE_HZ = 8000


def band(f_hz: Gain, low_hz: float, high_hz: float, edge_hz: float = 80.0) -> Gain:
    """Gain over frequency: 1 inside `low_hz` to `high_hz`, raised-cosine down to 0 within `edge_hz` outside."""
    inside = np.clip(np.minimum(f_hz - low_hz, high_hz - f_hz) / edge_hz + 1.0, 0.0, 1.0)
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * inside))


def fast_size(count: int) -> int:
    """The next length that a Fourier transform likes: 2^n, 3 2^n or 5 2^n."""
    return min(m << max(0, (-(-count // m) - 1).bit_length()) for m in (1, 3, 5))


def scaled(audio: Audio, rate_hz: float, scale: float) -> Audio:
    """`audio` at `rate_hz` brought to 8 kHz and played `scale` times faster."""
    step = rate_hz * scale / RATE_HZ
    return audio if step == 1.0 else resampled(audio, step)


_KERNEL: Gain = np.sinc(np.arange(-12 * 256, 12 * 256 + 1) / 256) * np.kaiser(2 * 12 * 256 + 1, 7.0)
"""A windowed sinc of 12 zeros to each side, 256 entries from zero to zero."""


def resampled(audio: Audio, step: float) -> Audio:
    """`audio` at every `step`-th sample, between samples too; band-limited to the lower of the two rates."""
    return np.asarray(_interpolated(audio, step, _KERNEL))


@numba.njit(cache=True, nogil=True)
def _interpolated(audio: Audio, step: float, kernel: Gain) -> Audio:
    count = int(len(audio) / step)
    out = np.empty(count, np.float32)
    slow = 0.95 * min(1.0, 1.0 / step)
    reach = 12 / slow
    for k in range(count):
        t = k * step
        total = 0.0
        for m in range(max(0, math.ceil(t - reach)), min(len(audio), math.floor(t + reach) + 1)):
            total += audio[m] * kernel[round((m - t) * slow * 256) + 12 * 256]
        out[k] = total * slow
    return out


def trimmed(audio: Audio, share: float = 0.02, keep_s: float = 0.02) -> Audio:
    """Without the silence at both ends: where 10 ms of it stay below `share` of the loudest."""
    frame = RATE_HZ // 100
    count = len(audio) // frame
    if count == 0:
        return audio
    level = np.sqrt(np.mean(audio[: count * frame].reshape(count, frame) ** 2, axis=1))
    loud = np.flatnonzero(level > share * level.max())
    if len(loud) == 0:
        return audio[:0]
    keep = round(keep_s * RATE_HZ)
    return audio[max(0, loud[0] * frame - keep) : (loud[-1] + 1) * frame + keep]


def hurried(audio: Audio, factor: float) -> Audio:
    """`audio` in 1 / `factor` of the time at the same pitch, from overlapping 30 ms pieces (WSOLA)."""
    piece, reach = 240, 80
    hop = piece // 2
    count = int((len(audio) - piece - reach) / (hop * factor))
    if count < 2:
        return audio
    fade = np.hanning(piece + 1)[:piece].astype(np.float32)
    out = np.zeros((count + 1) * hop, np.float32)
    at = 0
    for k in range(count):
        if k:
            wanted = audio[at + hop : at + hop + piece]
            low = max(0, round(k * hop * factor) - reach)
            fit = np.correlate(audio[low : low + piece + 2 * reach], wanted, "valid")
            at = low + int(np.argmax(fit))
        out[k * hop : k * hop + piece] += fade * audio[at : at + piece]
    return out


@numba.njit(cache=True, nogil=True)
def _activity(audio: Audio, rate_hz: float, thresholds: npt.NDArray[np.float64]) -> npt.NDArray[np.int64]:
    counts = np.zeros(len(thresholds), np.int64)
    quiet = np.full(len(thresholds), 1 << 40, np.int64)
    g = np.exp(-1.0 / (0.03 * rate_hz))
    hang = int(0.2 * rate_hz)
    p = 0.0
    q = 0.0
    for k in range(len(audio)):
        p = g * p + (1 - g) * abs(audio[k])
        q = g * q + (1 - g) * p
        for j in range(len(thresholds)):
            if q >= thresholds[j]:
                quiet[j] = 0
                counts[j] += 1
            elif quiet[j] < hang:
                quiet[j] += 1
                counts[j] += 1
    return counts


def speech_power(audio: Audio, rate_hz: float) -> float:
    """Mean power while talking: the active speech level of ITU-T P.56, method B (constants from memory).

    Time constant 30 ms, hangover 0.2 s, margin 15.9 dB between level and threshold.
    """
    energy = float(np.sum(np.asarray(audio, dtype=np.float64) ** 2))
    peak = float(np.max(np.abs(audio), initial=0.0))
    if peak == 0.0:
        raise HearmarkError("Silence has no speech level; give audio with some speech in it.")
    thresholds = peak * 2.0 ** -np.arange(14.0, -1.0, -1.0)
    counts = _activity(np.asarray(audio, dtype=np.float32), rate_hz, thresholds)
    best = energy / max(int(counts[0]), 1)
    previous: tuple[float, float] | None = None
    for threshold, count in zip(thresholds, counts, strict=True):
        if count == 0:
            break
        level_db = 10 * np.log10(energy / count)
        margin = level_db - 20 * np.log10(threshold)
        if margin <= 15.9:
            if previous is None:
                return float(10 ** (level_db / 10))
            share = (previous[1] - 15.9) / (previous[1] - margin)
            return float(10 ** ((previous[0] + share * (level_db - previous[0])) / 10))
        previous = (level_db, margin)
        best = energy / count
    return float(best)
