"""The suppressed carrier of a voice by the harmonics of its pitch, pooled over time.

Voiced speech has lines at every multiple of its pitch above the suppressed carrier. At one moment the carrier is known
but for multiples of the pitch (R. Gülzow, U. Heute, H. J. Kolb, "SSB-carrier mismatch detection from speech
characteristics: extension beyond the range of uniqueness", EUSIPCO 2002, from memory); as the pitch moves, only the
true one stays. So for each carrier that may be it, and each moment, the best comb over all pitches is taken, and the
scores of all moments are added.
"""

from __future__ import annotations

import numba
import numpy as np
import numpy.typing as npt

from hearmark.modes.network import Array

PITCH_HZ = np.arange(75.0, 320.0, 3.0)
"""Pitches looked for: low men to high women and children (common practice, no source)."""
SPEECH_HZ = (250.0, 2_300.0)
"""Harmonics looked for, above the carrier."""
SMOOTH_BINS = 6
VOICED = 2.0
"""From this score on a frame is a voiced one; of noise one in a hundred reaches it."""
SHARPNESS = 3.0
"""How much the best pitch counts above the others."""


def lines(ratio: Array) -> Array:
    """What stands out of a smoothed spectrum: power over noise (frames, bins) to logarithms, same shape."""
    level = np.log(ratio + np.float32(1.0))
    width = 2 * SMOOTH_BINS + 1
    total = np.cumsum(np.pad(level, ((0, 0), (SMOOTH_BINS + 1, SMOOTH_BINS)), mode="edge"), axis=1, dtype=np.float64)
    return np.asarray(level - (total[:, width:] - total[:, :-width]) / width, np.float32)


def carrier_scores(
    standing: Array, low_hz: float, step_hz: float, carriers_hz: npt.NDArray[np.float64], lower: bool = False
) -> npt.NDArray[np.float64]:
    """How well each suppressed carrier fits the lines of some frames, summed over them: (carriers,).

    `standing`: from `lines`, (frames, bins), bin 0 at `low_hz`, bins `step_hz` apart; `lower`: lower sideband.
    """
    return np.asarray(
        _combs(standing, low_hz, step_hz, carriers_hz, PITCH_HZ, *SPEECH_HZ, SHARPNESS, -1.0 if lower else 1.0)
    )


def pitch_hz(standing: Array, low_hz: float, step_hz: float, carrier_hz: float, lower: bool = False) -> float | None:
    """Pitch of the voice above a suppressed carrier, see `carrier_scores`: the median over the half of the frames in
    which its harmonics stand out most. None if they hardly do."""
    multiple = np.arange(1, 40)
    scores = np.full((len(standing), len(PITCH_HZ)), -1e9)
    for j, pitch in enumerate(PITCH_HZ):
        hz = multiple * pitch
        hz = hz[(hz >= SPEECH_HZ[0]) & (hz < SPEECH_HZ[1])]
        at = (carrier_hz + (-hz if lower else hz) - low_hz) / step_hz
        k = np.floor(at).astype(int)
        inside = (k >= 0) & (k < standing.shape[1] - 1)
        if np.count_nonzero(inside) < 3:
            continue
        k, part = k[inside], (at - k)[inside].astype(np.float32)
        level = standing[:, k] * (1 - part) + standing[:, k + 1] * part
        scores[:, j] = level.sum(axis=1) / np.sqrt(len(k))
    best = scores.max(axis=1)
    voiced = best > max(VOICED, float(np.median(best)))
    if np.count_nonzero(voiced) < 4:
        return None
    return float(np.median(PITCH_HZ[scores[voiced].argmax(axis=1)]))


@numba.njit(cache=True)
def _combs(standing, low_hz, step_hz, carriers, pitches, first_hz, last_hz, sharpness, side):  # type: ignore[no-untyped-def]
    frames, bins = standing.shape
    out = np.zeros(len(carriers))
    score = np.zeros(len(pitches))
    for t in range(frames):
        for i in range(len(carriers)):
            best = -1e9
            for j in range(len(pitches)):
                pitch = pitches[j]
                f = np.ceil(first_hz / pitch) * pitch
                total = 0.0
                count = 0
                while f < last_hz:
                    position = (carriers[i] + side * f - low_hz) / step_hz
                    k = int(np.floor(position))
                    if 0 <= k < bins - 1:
                        part = position - k
                        total += standing[t, k] * (1.0 - part) + standing[t, k + 1] * part
                    count += 1
                    f += pitch
                score[j] = total / np.sqrt(count)
                best = max(best, score[j])
            every = 0.0
            for j in range(len(pitches)):
                every += np.exp(sharpness * (score[j] - best))
            out[i] += best + np.log(every) / sharpness
    return out


def warm() -> None:
    """Compile the loops."""
    carrier_scores(np.zeros((1, 8), np.float32), 0.0, 15.6, np.zeros(1))
