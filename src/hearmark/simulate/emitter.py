"""The transmitter of one operator: how it keys, and how true it is to frequency.

Ranges are common practice, no source: rise times of 3 to 8 ms, a few rigs that click, a few that chirp.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numba
import numpy as np
import numpy.typing as npt

from hearmark.events import ComplexArray

CW_RATE_HZ = 4000.0
SPEECH_RATE_HZ = 8000.0


@dataclass(frozen=True, slots=True)
class Emitter:
    """`rise_s`: length of the raised-cosine edges. `offset_hz`, `drift_hz_per_s`: error of the carrier, and its change
    during a transmission. `chirp_hz`: how far the carrier starts off at each key-down, settling within `settle_s`.
    `tilt_db`: response to speech at 2700 Hz over that at 300 Hz; `bump_db` at `bump_hz`: the microphone's resonance."""

    rise_s: float
    offset_hz: float = 0.0
    drift_hz_per_s: float = 0.0
    chirp_hz: float = 0.0
    settle_s: float = 0.01
    tilt_db: float = 0.0
    bump_hz: float = 1500.0
    bump_db: float = 0.0

    def response(self, f_hz: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """Gain for speech over audio frequency."""
        octaves = np.log(np.clip(np.abs(f_hz), 200.0, 3000.0) / 900.0) / math.log(9.0)
        bump = self.bump_db * np.exp(-(((np.abs(f_hz) - self.bump_hz) / 300.0) ** 2))
        return np.asarray(10 ** ((self.tilt_db * octaves + bump) / 20))


@lru_cache(maxsize=4096)
def emitter(seed: int, station: int, fist: int) -> Emitter:
    """The transmitter of one station; the same arguments give the same one."""
    rng = np.random.default_rng([seed, station, fist, 77])
    clicks, chirps, drifts = rng.uniform(size=3) < (0.08, 0.10, 0.20)
    return Emitter(
        rise_s=float(rng.uniform(0.001, 0.002) if clicks else rng.uniform(0.003, 0.008)),
        offset_hz=float(np.clip(rng.normal(0.0, 2.0), -5.0, 5.0)),
        drift_hz_per_s=float(rng.uniform(-0.5, 0.5)) if drifts else 0.0,
        chirp_hz=float(rng.uniform(-12.0, 12.0)) if chirps else 0.0,
        settle_s=float(rng.uniform(0.005, 0.02)),
        tilt_db=float(np.clip(rng.normal(0.0, 3.0), -6.0, 6.0)),
        bump_hz=float(rng.uniform(500.0, 2400.0)),
        bump_db=float(rng.uniform(-4.0, 6.0)),
    )


def keyed_envelope(
    keying_s: npt.NDArray[np.float64], offset_s: float, length_s: float, who: Emitter, rate_hz: float
) -> ComplexArray:
    """Keyed carrier about 0 Hz, complex64, mean power 1 while keyed; its first sample is `offset_s` after the start.

    Edges are centred on the key times, so that half amplitude falls on them.
    """
    keying = np.ascontiguousarray(keying_s, dtype=np.float64).reshape(-1, 2)
    count = math.ceil((length_s - offset_s + 0.01) * rate_hz)
    out = _keyed(keying, offset_s, count, who.rise_s, who.chirp_hz, who.settle_s, rate_hz)
    # Each edge costs an eighth of its length in energy against a hard one.
    on_s = np.diff(keying, axis=1)[:, 0]
    rise_s = np.minimum(who.rise_s, on_s)
    share = float(np.sum(on_s - rise_s / 4.0) / max(np.sum(on_s), 1e-9)) if len(keying) else 1.0
    return np.asarray(out * np.float32(1.0 / math.sqrt(max(share, 0.1))))


@numba.njit(cache=True, nogil=True)
def _keyed(
    keying: npt.NDArray[np.float64],
    offset_s: float,
    count: int,
    rise_s: float,
    chirp_hz: float,
    settle_s: float,
    rate_hz: float,
) -> npt.NDArray[np.complex64]:
    out = np.zeros(count, np.complex64)
    for e in range(len(keying)):
        down, up = keying[e, 0], keying[e, 1]
        rise = min(rise_s, up - down)
        if rise <= 0.0:
            continue
        first = max(0, math.ceil((down - rise / 2 - offset_s) * rate_hz))
        last = min(count, math.floor((up + rise / 2 - offset_s) * rate_hz) + 1)
        for k in range(first, last):
            t = offset_s + k / rate_hz
            x = min(1.0, min((t - down) / rise + 0.5, (up - t) / rise + 0.5))
            if x <= 0.0:
                continue
            a = 0.5 - 0.5 * math.cos(math.pi * x)
            # Chirp f exp(-t/settle): its phase, so that the settled carrier keeps its own.
            phase = 0.0
            if chirp_hz != 0.0:
                since = max(0.0, t - down)
                phase = -2.0 * math.pi * chirp_hz * settle_s * math.exp(-since / settle_s)
            out[k] += a * complex(math.cos(phase), math.sin(phase))
    return out
