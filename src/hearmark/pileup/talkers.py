"""Voices, one by one: from when to when somebody talks, and on which dial.

Who talks is told by the voice finder's network, which learnt what speech looks like above every suppressed carrier and
what does not: carriers, keying, bursts. The dial is settled by the harmonics of the pitch (`modes.pitch`), with what
the network says of the lower edge and the shape of speech as a prior, and a slight one on round figures.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from hearmark.events import Emission
from hearmark.modes.network import Array
from hearmark.modes.pitch import carrier_scores, lines, pitch_hz
from hearmark.pileup.look import STEP_S

BEGIN, STAY = 0.75, 0.9
"""Expected number of talkers within two dials of a place, from which one begins, and above which he goes on."""
CONFIRM_STEPS = 6
BRIDGE_STEPS = 14
"""Pauses between words up to 0.45 s are bridged."""
REPORT_STEPS = 31
GATE = 5
"""A place within so many dials (310 Hz) of a talker is his."""
MEET = 2.0
"""Two talkers who come within so many dials (125 Hz) are one: the younger was beside him by mistake, or has stopped."""
LATE_S, LINGERS_S = 0.13, 0.10
"""The network tells of a voice so long after it began, and so long after it stopped (bench/voice_dials.py)."""
BIAS_HZ = 11.0
"""The middle of what the network believes lies so much below the suppressed carrier (measured)."""
WARM_STEPS = 20
"""The network's first steps after it began anew say nothing."""
BACK_STEPS, AHEAD_STEPS = 28, 8
"""Where a voice's level is looked at for its exact start: so far before the network's idea, and after."""
PAUSE_STEPS = 9
"""Quiet for longer than this (0.3 s) is no pause inside a voice that begins."""
RISE = 0.15
"""A voice is on where its level has risen by this share of the usual."""
LINE, MOVING = 0.7, 0.25
"""A bin that stands out of its neighbours by so much (natural logarithm) on average is a line; of speech at least this
share of the power lies elsewhere, of keying and carriers next to nothing."""
LEAST_MOVING = 0.2
"""And at least so much power over that of the noise: a voice of -7 dB in 2500 Hz."""
REACH_HZ, GRID_HZ = 190.0, 10.0
EDGE_HZ = 60.0
"""Spread of the network's place about the true one, as a prior for the harmonics."""
HARMONICS = 0.3
"""Weight of the harmonics' score, as the logarithm of a probability."""
ROUND = ((500.0, 0.25), (100.0, 0.25))
"""Of all dials this share stands on whole multiples of so many hertz (a guess); the rest anywhere."""
DEPTH = 128
"""Steps of level kept: 4 s."""
_BAND_HZ = (300.0, 2_600.0)
ROUND_SPREAD_HZ = 8.0
FRAMES_KEPT = 4
"""Every fourth frame, one a step, is looked at for harmonics."""


@dataclass(slots=True)
class _Talk:
    """One voice in the making."""

    id: int
    place: float
    start: int
    last: int
    steps: int = 1
    told: int = 0
    weight: float = 0.0
    centre: float = 0.0
    origin_hz: float = 0.0
    scores: npt.NDArray[np.float64] | None = None
    emission: Emission | None = None
    begun: float | None = None
    """Step, to fractions, at which its level rose."""
    met: bool = False
    """It came upon an older one."""


class Talkers:
    """Feed every look; gives emissions that are new, changed or over. `dial_hz`: evenly spaced, in order."""

    def __init__(self, dial_hz: npt.NDArray[np.float64], low_hz: float, step_hz: float, lower: bool = False) -> None:
        self._dial_hz = dial_hz
        self._step_hz = float(dial_hz[1] - dial_hz[0])
        self._low_hz, self._bin_hz, self._lower = low_hz, step_hz, lower
        self._next = 1
        self.forget()

    def forget(self) -> None:
        """After a gap."""
        self._step = 0
        self._talks: list[_Talk] = []
        self._levels: deque[Array] = deque(maxlen=DEPTH)

    def close(self, time_s: float) -> list[Emission]:
        """The stream breaks off: whoever talks is over."""
        out = [replace(t.emission, stop_s=max(t.emission.start_s, time_s)) for t in self._talks if t.emission]
        self.forget()
        return out

    def feed(self, talk: Array, ratio: Array, start_s: float) -> list[Emission]:
        """`talk`: log odds, (steps, dials); `ratio`: the same steps' frames, (4 steps, bins); `start_s`: when the first
        step's window begins."""
        out: list[Emission] = []
        chance = 1.0 / (1.0 + np.exp(-talk.astype(np.float64)))
        standing = lines(ratio[::FRAMES_KEPT]) if self._talks or chance.max() > 0.3 else None
        self._levels.extend(ratio.reshape(len(chance), -1, ratio.shape[1]).mean(axis=1))
        for k in range(len(chance)):
            self._ahead = len(chance) - 1 - k
            row = standing[k : k + 1] if standing is not None else None
            out += self._advance(chance[k], row, start_s + k * STEP_S)
        return out

    def _advance(self, chance: npt.NDArray[np.float64], standing: Array | None, time_s: float) -> list[Emission]:
        self._step += 1
        summed = np.convolve(chance, np.ones(5), "same")
        for talk in self._talks:
            low = max(0, round(talk.place) - 3)
            near = chance[low : round(talk.place) + 4]
            here = float(summed[low : round(talk.place) + 4].max(initial=0.0))
            if here < STAY:
                continue
            at = low + float(np.sum(near * np.arange(len(near))) / near.sum())
            talk.weight += here
            talk.centre += here * at
            talk.place += 0.15 * (at - talk.place)
            talk.last = self._step
            talk.steps += 1
            if standing is not None:
                self._listen(talk, standing)
        for k, talk in enumerate(self._talks):  # the oldest first
            talk.met = any(abs(talk.place - older.place) < MEET for older in self._talks[:k] if not older.met)
        self._begin(chance, summed)
        return self._report(time_s)

    def _listen(self, talk: _Talk, standing: Array) -> None:
        """One more frame's harmonics."""
        place_hz = self._hz(talk.centre / talk.weight)
        if talk.scores is None or abs(place_hz - talk.origin_hz) > REACH_HZ / 2:
            talk.origin_hz = place_hz
            talk.scores = np.zeros(2 * round(REACH_HZ / GRID_HZ) + 1)
        talk.scores += carrier_scores(standing, self._low_hz, self._bin_hz, self._carriers(talk), self._lower)

    @staticmethod
    def _carriers(talk: _Talk) -> npt.NDArray[np.float64]:
        half = round(REACH_HZ / GRID_HZ)
        return np.asarray(talk.origin_hz + GRID_HZ * np.arange(-half, half + 1))

    def _begin(self, chance: npt.NDArray[np.float64], summed: npt.NDArray[np.float64]) -> None:
        if self._step < WARM_STEPS:
            return
        order = np.argsort(-summed)
        for k in order[:12]:
            if summed[k] < BEGIN:
                return
            if all(abs(talk.place - k) > GATE for talk in self._talks):
                low = max(0, int(k) - 2)
                near = chance[low : int(k) + 3]
                place = low + float(np.sum(near * np.arange(len(near))) / near.sum())
                self._talks.append(_Talk(0, place, self._step, self._step, weight=1.0, centre=place))

    def _report(self, time_s: float) -> list[Emission]:
        out: list[Emission] = []
        for talk in list(self._talks):
            over = talk.met or self._step - talk.last > BRIDGE_STEPS
            if over:
                self._talks.remove(talk)
            waits = REPORT_STEPS if talk.emission is not None else CONFIRM_STEPS
            if not over and self._step - max(talk.told, talk.start - 1) < waits:
                continue
            talk.told = self._step
            told = self._told(talk, time_s, over)
            spoken = self._spoken(talk, told.frequency_hz)
            if talk.emission is None and (not spoken or talk.steps < CONFIRM_STEPS):
                continue
            if over and (not spoken or (talk.met and talk.steps < REPORT_STEPS)):
                told = replace(told, stop_s=told.start_s)  # taken back
            if talk.id == 0:
                talk.id, self._next = self._next, self._next + 1
            talk.emission = replace(told, id=talk.id)
            out.append(talk.emission)
        return out

    def _told(self, talk: _Talk, time_s: float, over: bool) -> Emission:
        measured_hz, dial_hz = self._dial(talk)
        if talk.begun is None or self._step - talk.start < AHEAD_STEPS:
            talk.begun = self._edge(talk.start - (LATE_S / STEP_S), dial_hz, talk, rises=True)
        start_s = time_s - (self._step - talk.begun) * STEP_S + 2 * STEP_S
        stop = talk.last - LINGERS_S / STEP_S
        if over:
            stop = self._edge(stop, dial_hz, talk, rises=False)
        stop_s = time_s - (self._step - stop) * STEP_S + 2 * STEP_S
        return Emission(
            talk.id, start_s, max(stop_s, start_s) if over else None, dial_hz, "voice", 0.0, measured_hz=measured_hz,
            pitch_hz=self._pitch(talk, measured_hz) if over else None,
        )  # fmt: skip

    def _pitch(self, talk: _Talk, dial_hz: float) -> float | None:
        """Its pitch, from what is kept of it."""
        newest = self._step + self._ahead
        at = np.arange(len(self._levels)) + newest - len(self._levels) + 1
        rows = [self._levels[k] for k in np.flatnonzero((at >= talk.start) & (at <= talk.last))]
        if len(rows) < CONFIRM_STEPS:
            return None
        return pitch_hz(lines(np.array(rows, np.float32)), self._low_hz, self._bin_hz, dial_hz, self._lower)

    def _spoken(self, talk: _Talk, dial_hz: float) -> bool:
        """Does what is heard above this dial move as speech does? Keying and carriers stay on their lines."""
        rows = self._heard(talk, dial_hz)
        if rows.shape[0] < 3 or rows.shape[1] < 20:
            return True
        line = np.convolve(lines(rows).mean(axis=0) > LINE, np.ones(5), "same") > 0
        power = rows.mean(axis=0) - 1.0  # noise cancels over many bins
        moving = float(power[~line].sum())
        return moving > MOVING * float(power.sum()) and moving > LEAST_MOVING * rows.shape[1]

    def _heard(self, talk: _Talk, dial_hz: float) -> Array:
        """Levels above a dial while its talker was on, as far as they are kept: (steps, bins)."""
        first, last = self._span(dial_hz)
        newest = self._step + self._ahead
        at = np.arange(len(self._levels)) + newest - len(self._levels) + 1
        rows = [self._levels[k] for k in np.flatnonzero((at >= talk.start) & (at <= talk.last))]
        return np.array(rows, np.float32)[:, first:last] if rows else np.zeros((0, 0), np.float32)

    def _span(self, dial_hz: float) -> tuple[int, int]:
        """Bins of the speech above a dial."""
        side = -1.0 if self._lower else 1.0
        ends = sorted((dial_hz + side * hz - self._low_hz) / self._bin_hz for hz in _BAND_HZ)
        return max(0, round(ends[0])), max(0, round(ends[1]))

    def _edge(self, near: float, dial_hz: float, talk: _Talk, rises: bool) -> float:
        """The step at which the level above a dial rose, or fell, about where the network says that somebody began, or
        stopped; what it says where others are heard all the time."""
        low, high = self._span(dial_hz)
        rows = [row[low:high] for row in self._levels]
        if high - low < 10 or not rows or not rows[0].size:
            return near
        level = np.array([row.mean() for row in rows]) - 1.0
        level = np.convolve(level, [0.25, 0.5, 0.25], "same")
        newest = self._step + self._ahead
        at = np.arange(len(level)) + newest - len(level) + 1
        on = (at >= talk.start) & (at <= talk.last)
        if np.count_nonzero(on) < 4:
            return near
        high_level = level > RISE * float(np.median(level[on]))
        loud = at[high_level & (at >= near - (BACK_STEPS if rises else AHEAD_STEPS)) & (at <= near + AHEAD_STEPS)]
        if not len(loud):
            return near
        if not rises:
            return float(loud[-1] + 1) if loud[-1] < near + AHEAD_STEPS - 0.5 else near
        breaks = np.flatnonzero(np.diff(loud) > PAUSE_STEPS)
        first = loud[breaks[breaks < np.searchsorted(loud, near)][-1] + 1] if (loud[breaks] < near).any() else loud[0]
        return float(first) if first > near - BACK_STEPS + 0.5 else near

    def _dial(self, talk: _Talk) -> tuple[float, float]:
        """The suppressed carrier without and with the prior on round figures."""
        place_hz = self._hz(talk.centre / talk.weight)
        if talk.scores is None:
            return place_hz, place_hz
        fine_hz = np.arange(-REACH_HZ, REACH_HZ + 1.0, 2.0) + talk.origin_hz
        carriers = self._carriers(talk)
        belief = HARMONICS * np.interp(fine_hz, carriers, talk.scores) - 0.5 * ((fine_hz - place_hz) / EDGE_HZ) ** 2
        k = int(np.argmax(belief))
        around = slice(max(0, k - 6), k + 7)
        weight = np.exp(belief[around] - belief[k])
        measured_hz = float(np.sum(weight * fine_hz[around]) / weight.sum())
        likely = belief + np.log(_round_figures(fine_hz))
        return measured_hz, float(fine_hz[int(np.argmax(likely))])

    def _hz(self, place: float) -> float:
        side = -1.0 if self._lower else 1.0
        return float(self._dial_hz[0] + place * self._step_hz + side * BIAS_HZ)


def _round_figures(hz: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """How likely people are to set a dial there, against anywhere, the mean over all being 1."""
    out = np.full(len(hz), 1.0 - sum(share for _, share in ROUND))
    for every_hz, share in ROUND:
        off_hz = hz - every_hz * np.round(hz / every_hz)
        bump = np.exp(-0.5 * (off_hz / ROUND_SPREAD_HZ) ** 2) / (ROUND_SPREAD_HZ * np.sqrt(2 * np.pi))
        out += share * every_hz * bump
    return np.asarray(out)
