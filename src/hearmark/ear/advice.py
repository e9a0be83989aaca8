"""Where to call: the chance of being picked on the next call, for each frequency, and one steady recommendation.

chance = he listens there x he hears us x we are the one he picks out of those who call there x we may call there.

He picks whom he hears best; strengths at his end are normal in decibels with a standard deviation of 8 dB (common
practice, no source), so with n others in his passband and our mean strength equal to
theirs the chance is 1 in n + 1 (the largest of n + 1 independent equal draws).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import ndtr

from hearmark.ear.cue import Cued
from hearmark.errors import HearmarkError
from hearmark.events import Advice, Allowed, Ear, FloatArray, Mode

SPREAD_DB = 8.0
STEADY_GAIN, STEADY_CHANCE = 0.05, 0.005
"""A move must raise the chance by this share of it, and by this much, to be worth it."""
SPREAD_POWER = 1.0
"""Spread: places are drawn by this power of their chance."""
AS_GOOD = 0.9
"""A place with this share of the best chance is as good: in simulated pile-ups the chance is level in his passband."""
HEARD_DB, SOFT_DB = 6.0, 2.0
"""Activity this far over the floor counts as half a caller; softness of that edge."""
PREFERS = 1.25
"""The same about his dial is wider by this factor: where he answers scatters about it."""
IN_THE_WAY = 2.0
"""One on our own frequency is in our way as so many somewhere in his passband would be."""
BESIDE = 0.3
"""He picks among all in his passband; those close to our own frequency count so much more, each."""
COVERED_UNKNOWN, CROWD_UNKNOWN = 1.0, 20.0
"""Where the crowd is not measured: others in our way, and how many they are in all."""
ON_THE_SPOT, BESIDE_IT, FLOCK_REACH = 0.035, 0.04, 0.45
"""Share of the crowd that goes exactly to the last answered one, and about there (spread in passbands)."""
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(15)


@dataclass(frozen=True, slots=True)
class Manner:
    """What depends on the mode. Common practice, no source."""

    passband_hz: float
    """What he hears at one setting."""
    reach_hz: float
    """He prefers who is near the middle: standard deviation of that, about where he answered (not about his dial)."""
    cover_hz: float
    """Another is in our way the less the farther off: by a factor e each so many hertz."""
    caller_hz: float
    """Width of one caller in the measured activity."""
    above_hz: float
    """The middle of that over the carrier: 0 in Morse, in voice above the suppressed carrier (below in LSB)."""
    dx_guard_hz: float
    exchange_guard_hz: float
    apart_hz: float
    round_hz: float


MANNERS = {
    "cw": Manner(400.0, 150.0, 70.0, 100.0, 0.0, 1_000.0, 250.0, 800.0, 10.0),
    "voice": Manner(2_200.0, 300.0, 500.0, 900.0, 600.0, 3_000.0, 2_000.0, 2_000.0, 50.0),
}


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What is known beside the belief.

    `activity_hz`, `activity_db`: measured power over the floor where callers send, shape (k,), ascending; None: not
    measured. `running_hz`: frequencies of exchanges that are going on. `last_hz`: where the last one was answered,
    since many go there; None: not known. `own_db`: our strength at the DX over that of the median caller; `hears_us`:
    chance that he takes us in one turn when nobody is in our way and he listens there. `allowed` None: not known.
    """

    mode: Mode
    dx_hz: float
    allowed: Allowed | None = None
    activity_hz: FloatArray | None = None
    activity_db: FloatArray | None = None
    running_hz: tuple[float, ...] = ()
    last_hz: float | None = None
    own_db: float = 0.0
    hears_us: float = 0.5

    @property
    def manner(self) -> Manner:
        """Widths and distances for this mode."""
        return MANNERS["cw" if self.mode == "cw" else "voice"]


@dataclass(frozen=True, slots=True)
class Recommendation:
    """Where to call. `transmit_hz` None: nowhere now, `why` says why. `frequency_hz`, `chance`: the whole picture."""

    transmit_hz: float | None
    success_per_call: float | None
    alternative_hz: float | None
    why: str
    frequency_hz: FloatArray
    chance: FloatArray


def rivals(frequency_hz: FloatArray, around: Surroundings) -> FloatArray:
    """Expected number of others in his passband if he listens on each frequency, shape (n,); 3 where not measured."""
    if around.activity_hz is None or around.activity_db is None:
        return np.full(len(frequency_hz), 3.0)
    carrier_hz, count = callers(around)
    return np.asarray(_hears(frequency_hz, carrier_hz, around.manner.passband_hz) @ count)


def covered(frequency_hz: FloatArray, around: Surroundings) -> FloatArray:
    """Others in the way of a call on each frequency, each weighed by how near he is; shape (n,).

    Beside those measured there are those to come: where one was answered others go, most of them exactly there.
    """
    manner = around.manner
    if around.activity_hz is None or around.activity_db is None:
        near, everybody = np.full(len(frequency_hz), COVERED_UNKNOWN), CROWD_UNKNOWN
    else:
        carrier_hz, count = callers(around)
        near, everybody = IN_THE_WAY * _covers(frequency_hz, carrier_hz, manner.cover_hz) @ count, float(count.sum())
    if around.last_hz is not None:
        away_hz = np.abs(frequency_hz - around.last_hz)
        on_it = ON_THE_SPOT * np.exp(-away_hz / manner.cover_hz)
        wide_hz = FLOCK_REACH * manner.passband_hz
        share = manner.cover_hz / (1.25 * wide_hz)
        near = near + IN_THE_WAY * everybody * (on_it + BESIDE_IT * share * np.exp(-0.5 * (away_hz / wide_hz) ** 2))
    return np.asarray(near)


def callers(around: Surroundings) -> tuple[FloatArray, FloatArray]:
    """Where callers' carriers are and how many callers each bin stands for, shape (k,) each."""
    if around.activity_hz is None or around.activity_db is None:
        raise HearmarkError("Who calls is not measured.")
    activity_hz = np.asarray(around.activity_hz, dtype=np.float64)
    level_db = np.asarray(around.activity_db, dtype=np.float64)
    if activity_hz.shape != level_db.shape or activity_hz.ndim != 1 or len(activity_hz) < 2:
        raise HearmarkError("Activity needs two arrays of one equal length of at least 2: frequency and level in dB.")
    above_hz = -around.manner.above_hz if around.mode == "lsb" else around.manner.above_hz
    return activity_hz - above_hz, busy(level_db) * np.gradient(activity_hz) / around.manner.caller_hz


def busy(level_db: FloatArray) -> FloatArray:
    """How surely somebody calls, 0 to 1, from the power over the floor; shape of `level_db`."""
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip((level_db - HEARD_DB) / SOFT_DB, -50.0, 50.0))))


def chances(ear: Ear, around: Surroundings) -> FloatArray:
    """Chance of being picked on the next call, for each frequency of the ear, shape (n,)."""
    frequency_hz = ear.frequency_hz
    step_hz = frequency_hz[1] - frequency_hz[0]
    near = _prefers(frequency_hz, frequency_hz, around.manner.reach_hz)
    stronger = ndtr(around.own_db / SPREAD_DB + _NODES)
    there = np.zeros(len(frequency_hz)) if around.activity_hz is None else rivals(frequency_hz, around)
    beside = (1.0 if around.activity_hz is None else BESIDE) * covered(frequency_hz, around)
    listens = near @ (ear.density_per_hz[:, None] * step_hz * np.power(stronger, there[:, None]))
    wins = (np.power(stronger, beside[:, None]) * listens) @ _WEIGHTS / _WEIGHTS.sum()
    return np.asarray(np.minimum(wins, 1.0) * around.hears_us * may_send(frequency_hz, around))


def chosen(others: FloatArray, own_db: float) -> FloatArray:
    """Chance of being the strongest among `others` callers (any number, need not be whole), shape of `others`."""
    stronger = ndtr(own_db / SPREAD_DB + _NODES)
    return np.asarray(np.power(stronger[None, :], np.asarray(others)[:, None]) @ _WEIGHTS / _WEIGHTS.sum())


def may_send(frequency_hz: FloatArray, around: Surroundings) -> FloatArray:
    """1 where we may call, 0 elsewhere: the licence where known, distance from the DX and from running exchanges."""
    free = np.abs(frequency_hz - around.dx_hz) >= around.manner.dx_guard_hz
    for running_hz in around.running_hz:
        free &= np.abs(frequency_hz - running_hz) >= around.manner.exchange_guard_hz
    if around.allowed is not None and around.allowed.known:
        lawful = np.zeros(len(frequency_hz), dtype=bool)
        for low_hz, high_hz in around.allowed.intervals_hz:
            lawful |= (frequency_hz >= low_hz) & (frequency_hz <= high_hz)
        free &= lawful
    return np.asarray(free, dtype=np.float64)


def recommend(
    ear: Ear,
    around: Surroundings,
    held_hz: float | None = None,
    own_place: float | None = None,
    spread: bool = False,
    chance: FloatArray | None = None,
) -> Recommendation:
    """The best place to call; `held_hz`, the place recommended before, is kept unless another is clearly better.

    `own_place`, 0 to 1 and each station's own, so that not all who are advised call on one spot: a place drawn by it
    from those about the best that are as good; with `spread` from all, the likelier the better. A station is drawn
    anew only when its place has become poor. `chance`: what `chances` gave for the same ear and surroundings.
    """
    chance = chances(ear, around) if chance is None else chance
    frequency_hz = ear.frequency_hz
    best = int(np.argmax(chance))
    if chance[best] <= 0.0:
        return Recommendation(None, None, None, _nowhere(frequency_hz, around), frequency_hz, chance)
    transmit_hz = _rounded(float(frequency_hz[best]), around)
    if own_place is not None:
        drawn = np.cumsum(chance**SPREAD_POWER if spread else _as_good(chance, best))
        best = int(np.searchsorted(drawn, min(own_place, 0.999_999) * drawn[-1], "right"))
        transmit_hz = _rounded(float(frequency_hz[best]), around)
    success = float(chance[best])
    if held_hz is not None and frequency_hz[0] <= held_hz <= frequency_hz[-1]:
        held = float(np.interp(held_hz, frequency_hz, chance)) * float(may_send(np.array([held_hz]), around)[0])
        if held > 0.0 and success < max(held * (1.0 + STEADY_GAIN), held + STEADY_CHANCE):
            transmit_hz, success = held_hz, held
    far = np.where(np.abs(frequency_hz - transmit_hz) >= around.manner.apart_hz, chance, 0.0)
    other = int(np.argmax(far))
    alternative_hz = _rounded(float(frequency_hz[other]), around) if far[other] > 0.0 else None
    why = _why(ear, around, transmit_hz)
    return Recommendation(transmit_hz, success, alternative_hz, why, frequency_hz, chance)


def _as_good(chance: FloatArray, best: int) -> FloatArray:
    """1 on the places about the best, without a gap, that are as good; else 0."""
    poor = np.flatnonzero(chance < AS_GOOD * chance[best])
    first = int(poor[poor < best].max(initial=-1)) + 1
    last = int(poor[poor > best].min(initial=len(chance)))
    level = np.zeros(len(chance))
    level[first:last] = 1.0
    return level


def advice(time_s: float, place: Recommendation, cued: Cued) -> Advice:
    """Recommendation and cue as the event. While calling or moving the reason is of the place, else of the cue."""
    why = f"{cued.why}; {place.why}" if cued.cue in ("call", "move") else cued.why
    return Advice(
        time_s=time_s,
        cue=cued.cue,
        transmit_hz=place.transmit_hz,
        success_per_call=place.success_per_call,
        why=why,
        alternative_hz=place.alternative_hz,
        cue_probability=cued.probability,
    )


def _hears(frequency_hz: FloatArray, other_hz: FloatArray, width_hz: float) -> FloatArray:
    """How well a receiver on each frequency hears each other one, shape (n, k); kept, since grids come again."""
    return _pairs("hears", np.asarray(frequency_hz).tobytes(), np.asarray(other_hz).tobytes(), width_hz)


def _covers(frequency_hz: FloatArray, other_hz: FloatArray, width_hz: float) -> FloatArray:
    """How much each other one is in the way of a call on each frequency, shape (n, k)."""
    return _pairs("covers", np.asarray(frequency_hz).tobytes(), np.asarray(other_hz).tobytes(), width_hz)


def _prefers(frequency_hz: FloatArray, other_hz: FloatArray, width_hz: float) -> FloatArray:
    """How well he takes a call on each frequency who answered on each other one, shape (n, k)."""
    return _pairs("prefers", np.asarray(frequency_hz).tobytes(), np.asarray(other_hz).tobytes(), width_hz)


@lru_cache(maxsize=24)
def _pairs(kind: str, frequency: bytes, other: bytes, width_hz: float) -> FloatArray:
    offset_hz = np.frombuffer(frequency)[:, None] - np.frombuffer(other)[None, :]
    if kind == "hears":
        return _passband(offset_hz, width_hz)
    if kind == "covers":
        return np.asarray(np.exp(-np.abs(offset_hz) / width_hz))
    return np.asarray(PREFERS * np.exp(-0.5 * (offset_hz / width_hz) ** 2))


def _passband(offset_hz: FloatArray, width_hz: float) -> FloatArray:
    """How well a receiver `width_hz` wide hears `offset_hz` from its centre, 0 to 1 (flat, with soft edges)."""
    return np.asarray(1.0 / (1.0 + (2.0 * offset_hz / width_hz) ** 8))


def _rounded(frequency_hz: float, around: Surroundings) -> float:
    """To the step of a hand on the dial, where that stays allowed."""
    rounded = round(frequency_hz / around.manner.round_hz) * around.manner.round_hz
    return rounded if may_send(np.array([rounded]), around)[0] else frequency_hz


def _nowhere(frequency_hz: FloatArray, around: Surroundings) -> str:
    guard_khz = around.manner.dx_guard_hz / 1000.0
    if around.allowed is not None and around.allowed.known and not around.allowed.intervals_hz:
        return f"nowhere to call: {around.allowed.why}"
    reason = "outside what you may use, " if around.allowed is not None and around.allowed.known else ""
    return (
        f"nowhere to call: every place where he may listen is {reason}closer than {guard_khz:g} kHz to him, "
        "or on a running exchange"
    )


def _why(ear: Ear, around: Surroundings, transmit_hz: float) -> str:
    if around.activity_hz is None:
        crowd = "how many call there is not measured"
    else:
        count = float(rivals(np.array([transmit_hz]), around)[0])
        crowd = "hardly anybody calls there" if count < 0.7 else f"about {count:.0f} others call there"
        crowd = "about one other calls there" if 0.7 <= count < 1.5 else crowd
    unknown = around.allowed is None or not around.allowed.known
    caution = "; your licence is not known here: check that you may send there" if unknown else ""
    return f"{ear.habit}; {crowd}{_cut(ear, around)}{caution}"


def _cut(ear: Ear, around: Surroundings) -> str:
    """Says so when the licence takes a part of where he may listen."""
    may = around.allowed
    if may is None or not may.known:
        return ""
    lawful = np.zeros(len(ear.frequency_hz), dtype=bool)
    for low_hz, high_hz in may.intervals_hz:
        lawful |= (ear.frequency_hz >= low_hz) & (ear.frequency_hz <= high_hz)
    return "" if lawful.all() else "; his window is cut to what you may use"
