"""What the DX makes of what his receiver lets through: fading, interference, copy.

A model of an operator, not of a receiver; its constants are common practice, no source.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence


class Fade:
    """Slow fading of one path: three rotating components, mean power 1, seeded."""

    def __init__(self, rng: random.Random, rate_hz: float = 0.15) -> None:
        self._turning = [
            (share, rng.gauss(0.0, rate_hz) * math.tau, rng.uniform(0.0, math.tau)) for share in (0.75, 0.5, 0.4)
        ]
        self._power = sum(share * share for share, _, _ in self._turning)

    def power(self, time_s: float) -> float:
        """Power gain at `time_s`, from 0.01 upwards."""
        real = imaginary = 0.0
        for share, rate, phase in self._turning:
            angle = rate * time_s + phase
            real += share * math.cos(angle)
            imaginary += share * math.sin(angle)
        return max(abs(complex(real, imaginary)) ** 2 / self._power, 0.01)


def overlap_s(start_s: float, stop_s: float, other_start_s: float, other_stop_s: float) -> float:
    """Seconds that two spans have in common."""
    return max(0.0, min(stop_s, other_stop_s) - max(start_s, other_start_s))


def masking(offset_hz: float, morse: bool) -> float:
    """Share of the power of a signal `offset_hz` away that covers the wanted one; in Morse the ear parts pitches."""
    if morse:
        return math.exp(-((offset_hz / 45.0) ** 2)) + 0.008
    return float(max(0.0, 1.0 - abs(offset_hz) / 2400.0) ** 1.5)


def clarity_db(power: float, interference: Sequence[float], morse: bool) -> float:
    """Signal over noise and interference in dB, as the ear hears it; powers over noise in 2500 Hz."""
    noise = 0.04 if morse else 1.0
    return 10.0 * math.log10(power / (noise + sum(interference)))


def readable(clarity: float, morse: bool, skill_db: float) -> float:
    """Probability that one character (one spelling word) is copied."""
    # far outside his filter the clarity may be -1000 dB and less: no exponential of it
    return 0.5 + 0.5 * math.tanh((clarity + skill_db - (4.0 if morse else 0.0)) / 3.6)


def copied(call: str, known: str, probability: float, times: int, rng: random.Random) -> str:
    """The call as copied so far: `known` (with "." for what is missing) and what was heard of `times` repeats."""
    missing = (1.0 - probability) ** max(times, 1)
    base = known if len(known) == len(call) else "." * len(call)
    return "".join(
        have if have != "." or rng.random() < missing else letter for have, letter in zip(base, call, strict=True)
    )


def part(copy: str, rng: random.Random) -> str:
    """The longest run of copied characters, at least two, else nothing."""
    runs = [run for run in copy.split(".") if len(run) >= 2]
    return max(runs, key=lambda run: (len(run), rng.random())) if runs else ""
