"""Is the DX sending? Told from the power around his frequency alone, within a tenth of a second.

`Sending` is one object for both modes; `_Morse` and `_Voice` turn a frame into what it weighs: is this frame
his, and with what features. The rest is common: an over begins with the first frames that are his, ends after
a silence longer than his own pauses, and is withdrawn when its features (exact carrier, level) are not his.
What is his is learnt from the session: he sends more than anybody else there.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

import numba
import numpy as np
import numpy.typing as npt

from hearmark.errors import HearmarkError
from hearmark.events import Mode
from hearmark.spectrum.transform import Frames, Grid, PowerArray

LEAST_HANG_S = 0.45
MOST_HANG_S = 0.65
FIRST_HANG_S = 0.65
GAP_MARGIN = 1.3
VOICE_HANG_S = 0.6
LEAST_VOICE_HANG_S = 0.35
WINDOW_FRAMES = 24
"""Frames of his that are judged together: some five Morse elements."""
FIT = 14.0
"""Sum of two squared deviations, in standard deviations, beyond which a window is somebody else's."""
MOST_LEVEL = 6.0
"""What the level adds to that at the most: everybody fades."""
MOST_SCATTER = 0.35
LEARN_WINDOWS = 8
LEAST_OVER_S = 0.1
RESUMED_S = 0.75
"""Who begins again this soon after stopping only paused."""


@dataclass(frozen=True, slots=True)
class Own:
    """One frame: is somebody there, is it he, at what carrier (bins from zero) and level (dB over the floor)."""

    there: bool
    his: bool
    offset: float
    level_db: float


class _Profile:
    """Medians and spreads of carrier and level, learnt from windows of frames."""

    def __init__(self, least: tuple[float, float]) -> None:
        self._least = np.array(least)
        self._windows: deque[tuple[float, float]] = deque(maxlen=64)
        self.heard = 0  # windows ever
        self.centre = np.zeros(2)
        self.spread = np.ones(2)

    @property
    def known(self) -> bool:
        return len(self._windows) >= LEARN_WINDOWS

    def learn(self, offset: float, level_db: float) -> None:
        self._windows.append((offset, level_db))
        self.heard += 1
        values = np.array(self._windows)
        self.centre = np.median(values, axis=0)
        self.spread = np.maximum(1.48 * np.median(np.abs(values - self.centre), axis=0), self._least)

    def distance(self, offset: float, level_db: float) -> float:
        carrier, level = ((np.array([offset, level_db]) - self.centre) / self.spread) ** 2
        return float(carrier + min(level, MOST_LEVEL))


class _Morse:
    """One keyed carrier near bin zero."""

    reach = 28
    least_spread = (0.12, 3.0)
    start_frames = 3

    def __init__(self, grid: Grid) -> None:
        self._carriers = np.zeros(81)  # key-down time by carrier, tenths of a bin from -4 to 4
        self._prior = np.exp(-0.5 * (np.linspace(-4, 4, 81) / 1.2) ** 2)
        self._carrier = 0.0
        self._spread = 0.4
        self._level_db = 0.0
        self._marks = 0
        self._noise_bandwidth_hz = grid.noise_bandwidth_hz

    def frame(self, ratio: PowerArray, sending: bool) -> Own:
        """`ratio`: power over the floor in the bins -28..28 around his, float32, shape (57,)."""
        known = self._marks > 20
        offset, value, beside = _carrier(ratio, self._carrier, 1.2 if known else 2.6)
        least_db = 9.0 if sending else 11.0
        level_db = 10 * math.log10(max(value, 1e-3))
        if known:
            least_db = max(least_db, self._level_db - (20.0 if sending else 14.0))
        if level_db < least_db or value < 5 * beside:
            return Own(False, False, offset, level_db)
        tolerance = (0.3 + 2.5 * self._spread if known else 2.0) + 0.8 / math.sqrt(value)
        self._carriers[round(10 * min(max(offset, -4.0), 4.0)) + 40] += 1.0
        return Own(True, abs(offset - self._carrier) < tolerance, offset, level_db)

    def learn(self, frames: list[Own]) -> None:
        self._carriers *= 0.996
        smooth = np.convolve(self._carriers, np.exp(-0.5 * (np.arange(-5, 6) / 2.0) ** 2), "same")
        best = int(np.argmax(smooth * self._prior))
        near = slice(max(best - 8, 0), best + 9)
        place = np.linspace(-4, 4, 81)
        weight = self._carriers[near] + 1e-9
        self._carrier = float(np.sum(weight * place[near]) / np.sum(weight))
        variance = float(np.sum(weight * (place[near] - self._carrier) ** 2) / np.sum(weight))
        self._spread = float(np.clip(np.sqrt(variance), 0.05, 0.3))
        level = float(np.quantile([f.level_db for f in frames], 0.7))
        self._marks += len(frames)
        self._level_db += (level - self._level_db) * max(0.1, len(frames) / self._marks)


class _Voice:
    """Speech in one sideband of the dial frequency."""

    least_spread = (0.5, 2.5)
    start_frames = 6

    def __init__(self, grid: Grid, mode: Mode) -> None:
        self.reach = int(np.ceil(6000.0 / grid.step_hz))
        side = 1 if mode == "usb" else -1
        hz = side * grid.step_hz * np.arange(-self.reach, self.reach + 1)
        self._inside = np.flatnonzero((hz >= 300) & (hz <= 2700))
        self._guards = [np.flatnonzero((hz >= 3300) & (hz <= 4800)), np.flatnonzero((hz >= -2000) & (hz <= -500))]
        self._steady = np.ones(len(self._inside))
        self._recent = np.zeros(8)
        self._level_db = 0.0
        self._count = 0
        self._hop_s = grid.hop_s
        self._width = len(self._inside)

    def frame(self, ratio: PowerArray, sending: bool) -> Own:
        """`ratio`: power over the floor in the bins around his dial frequency, shape (2 * reach + 1,)."""
        inside = ratio[self._inside].astype(np.float64)
        # what never pauses is a carrier, not speech: rises 3 dB a second, falls at once
        self._steady = np.maximum(np.minimum(self._steady * 1.0055, 0.9 * self._steady + 0.1 * inside), 1.0)
        beside = min((float(np.mean(ratio[g])) for g in self._guards if len(g)), default=1.0)
        # a crash or splatter rises on both sides as well; its colour varies by some decibels, hence the power
        excess = float(np.mean(np.minimum(inside / self._steady, 1e4))) / max(beside, 1.0) ** 1.6 - 1.0
        self._recent[:-1] = self._recent[1:]
        self._recent[-1] = excess
        smooth = float(np.mean(self._recent))
        level_db = 10 * math.log10(max(smooth, 1e-3))
        least_db = -6.0 if sending else -4.0
        if self._count > 60:
            least_db = max(least_db, self._level_db - (20.0 if sending else 14.0))
        his = level_db > least_db
        return Own(his, his, 0.0, level_db)

    def learn(self, frames: list[Own]) -> None:
        level = float(np.quantile([f.level_db for f in frames], 0.7))
        self._count += len(frames)
        self._level_db += (level - self._level_db) * max(0.1, len(frames) / self._count)


class Sending:
    """The DX's overs, by level: changes of state with the times when they happened, a little later than they did.

    `feed` returns (time_s, sending) pairs: (t, True) an over began at t, (t, False) it stopped at t. A stop at the
    same time as the start withdraws that over. `probability` is the belief, this frame, that he sends (0 to 1).
    """

    def __init__(self, grid: Grid, mode: Mode) -> None:
        self._model: _Morse | _Voice = _Morse(grid) if mode == "cw" else _Voice(grid, mode)
        reach = self._model.reach
        if grid.zero < 4 or grid.zero >= grid.bins - 4:
            raise HearmarkError("The DX's frequency lies outside the range of the spectrum: widen it to include him.")
        self._grid = grid
        self._bins = np.clip(np.arange(grid.zero - reach, grid.zero + reach + 1), 0, grid.bins - 1)
        self._profile = _Profile(self._model.least_spread)
        self.hang_s = FIRST_HANG_S if mode == "cw" else VOICE_HANG_S
        self._hangs_s = (LEAST_HANG_S, MOST_HANG_S) if mode == "cw" else (LEAST_VOICE_HANG_S, VOICE_HANG_S)
        self._pauses: deque[float] = deque(maxlen=60)
        self._next_s: float | None = None
        self._stop_s = -10.0
        self.probability = 0.0
        self._reset()

    def _reset(self) -> None:
        self._state = "off"
        self._start_s = self._last_s = self._there_s = 0.0
        self._strikes = 0  # judgements in a row that it is somebody else
        self._count = 0  # frames of this over in which somebody was there
        self._window: deque[tuple[float, Own]] = deque(maxlen=WINDOW_FRAMES)
        self._recent: deque[tuple[float, Own]] = deque()

    def _paused(self, pause_s: float) -> None:
        self._pauses.append(pause_s)
        self._set_hang()

    def _set_hang(self) -> None:
        """Silence that ends an over: longer than nearly all of his recent pauses."""
        if len(self._pauses) >= 6 or self._profile.heard >= 40:
            longest_s = float(np.quantile(self._pauses, 0.95)) if self._pauses else 0.0
            self.hang_s = min(max(GAP_MARGIN * longest_s, self._hangs_s[0]), self._hangs_s[1])

    def feed(self, frames: Frames, floor: PowerArray) -> list[tuple[float, bool]]:
        """Take frames and the noise density under them, shape (bins,); return the changes they reveal."""
        if frames.grid != self._grid or floor.shape != (self._grid.bins,):
            raise HearmarkError(f"The DX's level is read from another set of bins than these {frames.grid.bins}.")
        out: list[tuple[float, bool]] = []
        if not len(frames):
            return out
        hop_s = self._grid.hop_s
        if self._next_s is not None and abs(frames.start_s - self._next_s) > hop_s / 2:
            out += self._finish()
        self._next_s = frames.start_s + len(frames) * hop_s
        ratio = frames.power[:, self._bins] / np.maximum(floor[self._bins], np.float32(1e-30))
        for k in range(len(frames)):
            out += self._frame(frames.start_s + k * hop_s, ratio[k])
        return out

    def _frame(self, now_s: float, ratio: PowerArray) -> list[tuple[float, bool]]:
        own = self._model.frame(ratio, self._state != "off")
        out: list[tuple[float, bool]] = []
        hop_s = self._grid.hop_s
        if own.there:
            self._recent.append((now_s, own))
        while self._recent and self._recent[0][0] < now_s - 12 * hop_s:
            self._recent.popleft()
        if self._state == "off":
            if own.his and sum(o.his for _, o in self._recent) >= self._model.start_frames:
                out.append(self._begin(now_s))
        elif own.there:
            if own.his:
                if now_s - self._last_s > 0.15:
                    self._paused(now_s - self._last_s)
                self._last_s = now_s
            self._there_s = now_s
            self._window.append((now_s, own))
            self._count += 1
            if self._count % 8 == 0 and len(self._window) == WINDOW_FRAMES:
                out += self._judge()
            if self._count % WINDOW_FRAMES == 0:
                self._learn()
        elif now_s - (self._last_s if self._state == "on" else self._there_s) > self.hang_s:
            out += self._finish()
        self._believe(now_s)
        return out

    def _begin(self, now_s: float) -> tuple[float, bool]:
        self._start_s = next(t for t, o in self._recent if o.his) - self._grid.hop_s / 2
        if 0 < self._start_s - self._stop_s < RESUMED_S:
            self._paused(self._start_s - self._stop_s)
        self._state = "on"
        self._last_s = self._there_s = now_s
        self._window.clear()
        self._window.extend(self._recent)
        self._count = len(self._window)
        return self._start_s, True

    def _features(self) -> tuple[float, float]:
        offsets = sorted(o.offset for _, o in self._window)
        levels = sorted(o.level_db for _, o in self._window)
        return offsets[len(offsets) // 2], levels[int(0.7 * len(levels))]

    def _scatter(self) -> float:
        """Middle half of the carriers in the window, bins wide: large where two carriers beat."""
        offsets = sorted(o.offset for _, o in self._window)
        return offsets[3 * len(offsets) // 4] - offsets[len(offsets) // 4]

    def _learn(self) -> None:
        self._model.learn([o for _, o in self._window])
        self._profile.learn(*self._features())
        self._set_hang()

    def _judge(self) -> list[tuple[float, bool]]:
        if not self._profile.known:
            return []
        distance = self._profile.distance(*self._features())
        if self._state == "other" and distance < FIT / 2:
            self._state = "on"
            self._start_s = self._window[0][0] - self._grid.hop_s / 2
            self._last_s = self._there_s
            return [(self._start_s, True)]
        odd = distance > FIT and self._scatter() < MOST_SCATTER
        self._strikes = self._strikes + 1 if odd else 0
        if self._state == "on" and self._strikes > (1 if self._count >= 2 * WINDOW_FRAMES else 0):
            self._state = "other"
            if self._count < 3 * WINDOW_FRAMES // 2:
                return [(self._start_s, False)]
            # he stopped, and somebody went on: at the longest pause within this window
            times = [t for t, _ in self._window]
            stop_s = times[int(np.argmax(np.diff(times)))] + self._grid.hop_s / 2
            return [(max(stop_s, self._start_s), False)]
        return []

    def _finish(self) -> list[tuple[float, bool]]:
        out: list[tuple[float, bool]] = []
        if self._state == "on":
            stop_s = self._last_s + self._grid.hop_s / 2
            odd = self._profile.known and self._profile.distance(*self._features()) > FIT
            if stop_s - self._start_s < LEAST_OVER_S or (odd and self._count < WINDOW_FRAMES):
                stop_s = self._start_s
            else:
                self._stop_s = stop_s
            out.append((stop_s, False))
        self._reset()
        return out

    def _believe(self, now_s: float) -> None:
        if self._state == "on":
            quiet = (now_s - self._last_s) / self.hang_s
            self.probability = 0.97 - 0.85 * min(max(quiet - 0.25, 0.0) / 0.75, 1.0)
        elif self._state == "other":
            self.probability = 0.1
        else:
            self.probability = 0.02 + 0.4 * min(len(self._recent) / self._model.start_frames, 1.0)


@numba.njit(cache=True)
def _carrier(ratio: npt.NDArray[np.float32], expected: float, within: float) -> tuple[float, float, float]:
    """(bins from the middle, power over the floor, power of the quieter side) of the local maximum near `expected`.

    Of several within reach the strongest counts; power 0 if there is none.
    """
    middle = len(ratio) // 2
    place, value = expected, 0.0
    for b in range(middle - 4, middle + 5):
        p = ratio[b]
        if p <= value or p < ratio[b - 1] or p < ratio[b + 1]:
            continue
        left = np.log(ratio[b - 1] + 1e-9)
        mid = np.log(p + 1e-9)
        right = np.log(ratio[b + 1] + 1e-9)
        bend = left - 2 * mid + right
        offset = b - middle + (0.5 * (left - right) / bend if bend < 0 else 0.0)
        if abs(offset - expected) <= within:
            place, value = offset, p
    low = 0.0
    high = 0.0
    for d in range(8, 24):
        low += ratio[middle - d]
        high += ratio[middle + d]
    return place, float(value), max(min(low, high) / 16, 1.0)
