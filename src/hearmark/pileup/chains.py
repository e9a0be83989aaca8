"""Who is who among the voices: the same voice at the same place in later turns is one chain.

A voice that is over is held against the chains so far by three things: its place (the dial as measured, without round
figures), its pitch, and how long after the DX's over it began, for people have their habits. All three vary; each gives
a ratio of chances, same against any other, and the likeliest chain takes it, or a new one begins. Two chains never talk
at the same time. The spreads were measured with simulated turns (`bench/voice_chains.py`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from hearmark.events import Emission

PLACE_HZ, FAR_HZ, FAR_SHARE = 8.0, 80.0, 0.08
"""Spread of a place from one turn to the next, and of the share of measurements that miss by more."""
PITCH, PITCH_OTHERS = 0.12, 0.35
"""Spread of one voice's pitch (natural logarithm), as measured in a turn, and that of all people."""
DELAY_S, DELAY_OTHERS_S = 0.6, 1.5
"""Spread of one caller's delay after an over, and of all callers'."""
CROWD_HZ = 3_000.0
"""A new voice stands anywhere within so much of a chain's place: the width of a window."""
NEW = 8.0
"""Odds that a voice is a new one, before anything is known of it, divided by those of each chain."""
AGE_S = 600.0
"""A chain that was not heard for so long is closed."""


@dataclass(slots=True)
class _Chain:
    number: int
    place_hz: float
    log_pitch: float | None
    delay_s: float | None
    stop_s: float
    count: int = 1


class Chains:
    """Tell it every voice that is over, and when the DX's overs end; it names the chain of each."""

    def __init__(self) -> None:
        self._chains: list[_Chain] = []
        self._next = 1
        self._over_s: float | None = None

    def over_ends(self, time_s: float) -> None:
        """An over of the DX is finished."""
        self._over_s = time_s

    def told(self, voice: Emission) -> Emission:
        """The same voice with its chain; one that goes on, or was taken back, stays as it is."""
        if voice.stop_s is None or voice.stop_s <= voice.start_s:
            return voice
        place_hz = voice.frequency_hz if voice.measured_hz is None else voice.measured_hz
        log_pitch = None if voice.pitch_hz is None else math.log(voice.pitch_hz)
        delay_s = None if self._over_s is None else voice.start_s - self._over_s
        if delay_s is not None and not -0.5 < delay_s < 10.0:
            delay_s = None
        self._chains = [c for c in self._chains if voice.start_s - c.stop_s < AGE_S]
        open_now = [c for c in self._chains if c.stop_s <= voice.start_s + 0.2]
        best = max(open_now, key=lambda c: _same(c, place_hz, log_pitch, delay_s), default=None)
        if best is None or _same(best, place_hz, log_pitch, delay_s) < math.log(NEW):
            best = _Chain(self._next, place_hz, log_pitch, delay_s, voice.stop_s)
            self._next += 1
            self._chains.append(best)
        else:
            _grow(best, place_hz, log_pitch, delay_s, voice.stop_s)
        return replace(voice, chain=best.number)


def _same(chain: _Chain, place_hz: float, log_pitch: float | None, delay_s: float | None) -> float:
    """Logarithm of the ratio of chances: this chain's voice again, against anybody's."""
    off_hz = place_hz - chain.place_hz
    near = (1.0 - FAR_SHARE) * _normal(off_hz, PLACE_HZ * math.sqrt(1.0 + 1.0 / chain.count))
    value = math.log((near + FAR_SHARE * _normal(off_hz, FAR_HZ)) * CROWD_HZ + 1e-12)
    if log_pitch is not None and chain.log_pitch is not None:
        off = log_pitch - chain.log_pitch
        same = 0.9 * _normal(off, PITCH * math.sqrt(1.0 + 1.0 / chain.count)) + 0.1 * _normal(off, PITCH_OTHERS)
        value += math.log(same / _normal(off, math.sqrt(2.0) * PITCH_OTHERS))
    if delay_s is not None and chain.delay_s is not None:
        off = delay_s - chain.delay_s
        same = 0.7 * _normal(off, DELAY_S) + 0.3 * _normal(off, DELAY_OTHERS_S)
        value += math.log((same + 1e-6) / (_normal(off, math.sqrt(2.0) * DELAY_OTHERS_S) + 1e-6))
    return value


def _grow(chain: _Chain, place_hz: float, log_pitch: float | None, delay_s: float | None, stop_s: float) -> None:
    """One more turn of it: means over at most the last eight."""
    chain.count = min(chain.count + 1, 8)
    off_hz = place_hz - chain.place_hz
    if abs(off_hz) < 3.0 * PLACE_HZ or chain.count == 2:
        chain.place_hz += off_hz / chain.count
    if log_pitch is not None:
        known = log_pitch if chain.log_pitch is None else chain.log_pitch
        chain.log_pitch = known + (log_pitch - known) / chain.count
    if delay_s is not None:
        known = delay_s if chain.delay_s is None else chain.delay_s
        chain.delay_s = known + (delay_s - known) / chain.count
    chain.stop_s = stop_s


def _normal(off: float, spread: float) -> float:
    return math.exp(-0.5 * (off / spread) ** 2) / (spread * 2.5066283)
