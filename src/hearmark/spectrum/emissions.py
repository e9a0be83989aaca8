"""CW emissions: who sends where, from when to when, how strong.

Every 32 ms the power over the floor, averaged over the last 0.19 s, is searched for peaks; a peak that no
known emission explains starts a candidate, and a peak near a candidate keeps it alive. The key itself is
followed frame by frame in the candidate's bin. A candidate becomes an emission when it is keyed: three marks,
none of them seconds long, of one level and at a steady frequency. Steady carriers are none. Of a voice a piece
now and then looks keyed: do not use this where people talk.
"""

from __future__ import annotations

import numba
import numpy as np
import numpy.typing as npt

from hearmark.errors import HearmarkError
from hearmark.events import Emission
from hearmark.spectrum import peaks
from hearmark.spectrum.transform import Frames, Grid, PowerArray

STEP_FRAMES = 4
SMOOTH_STEPS = 6
START_RATIO = 5.0
"""Smoothed power over the floor that starts a candidate (7 dB: an SNR of about -10 dB in 2500 Hz while keyed)."""
STAY_RATIO = 3.2
LEAST_BRIDGE_S = 0.8
MOST_BRIDGE_S = 1.2
BRIDGE_UNITS = 9.0
FADED_RATIO = 150.0
FADED_BRIDGE_S = 1.2
"""A candidate whose last marks stood less than this ratio over the floor may be in a fade: wait longer."""
WEAK_BRIDGE_S = 1.6
"""Something weaker than the marks so far is still heard there, he fades or another calls: so long it is his."""
STEADY_S = 4.0
STEADY_SHARE = 0.8
"""A carrier that is on for four seconds, or this share of the time after two, is none of Morse (some 45 % on)."""
REPORT_S = 1.0

_LOOK_BACK = STEP_FRAMES * SMOOTH_STEPS + STEP_FRAMES
_GATE_BINS = 2.0
_JITTER_BINS = 0.16
_LEAST_STRONG = 0.5
_LEAST_CLEAR = 0.5
_MARK_FRAMES = 60.0
_LEAST_FRAMES = 25
_DECAY = 10 ** (-0.6 * 0.008)  # 6 dB a second: the key-down level follows fading down
_MOST = 256
_LEVELS = 80

_bool, _int, _float = np.bool_, np.int64, np.float64
_candidate = np.dtype(
    [
        ("used", _bool), ("id", _int), ("position", _float), ("weight", _float), ("jitter", _float),
        ("clear", _float), ("level", _float), ("start", _int), ("last", _int), ("seen", _int), ("down", _bool),
        ("since", _int), ("marks", _int), ("marked", _int), ("loud", _int), ("strong", _int), ("unit", _float),
        ("confirmed", _bool), ("steady", _bool), ("reported", _int), ("histogram", np.int32, (_LEVELS,)),
    ]
)  # fmt: skip


class EmissionTracker:
    """Streaming finder of CW emissions; a frame stream that jumps ahead (a gap) ends all of them.

    An emission is reported when it is known to be keyed (after about three marks), again every second with
    the same id, and once with its `stop_s`. One that turns out to be a steady carrier is withdrawn: its last
    report has `stop_s` equal to `start_s`.
    """

    def __init__(self, grid: Grid) -> None:
        self._grid = grid
        self._mask = peaks.mask()
        self._table = np.zeros(_MOST, _candidate)
        self._next_id = 1
        self._pending: PowerArray = np.zeros((0, grid.bins), np.float32)
        self._origin_s = 0.0
        self._clear()

    def _clear(self) -> None:
        self._frame = 0
        self._recent = np.zeros((_LOOK_BACK, self._grid.bins), np.float32)

    def feed(self, frames: Frames, floor: PowerArray) -> list[Emission]:
        """Take frames and the noise density under them, shape (bins,); return what is new or changed."""
        if frames.grid != self._grid or floor.shape != (self._grid.bins,):
            raise HearmarkError(f"The emission tracker was made for another set of bins than these {frames.grid.bins}.")
        if not len(frames):
            return []
        out: list[Emission] = []
        expected_s = self._origin_s + (self._frame + len(self._pending)) * self._grid.hop_s
        if self._frame + len(self._pending) == 0:
            self._origin_s = frames.start_s
        elif abs(frames.start_s - expected_s) > self._grid.hop_s / 2:
            out = self._end_all()
            self._pending = self._pending[:0]
            self._clear()
            self._origin_s = frames.start_s
        ratio: PowerArray = (frames.power / np.maximum(floor, np.float32(1e-30))).astype(np.float32, copy=False)
        pending = np.concatenate([self._pending, ratio]) if len(self._pending) else ratio
        whole = len(pending) // STEP_FRAMES * STEP_FRAMES
        for k in range(0, whole, STEP_FRAMES):
            out += self._step(pending[k : k + STEP_FRAMES])
        self._pending = pending[whole:].copy()
        return out

    def _step(self, ratio: PowerArray) -> list[Emission]:
        self._recent[:-STEP_FRAMES] = self._recent[STEP_FRAMES:].copy()
        self._recent[-STEP_FRAMES:] = ratio
        # called from here and not from compiled code, whose cache would not notice a change in another module
        found = peaks.pick(self._recent[STEP_FRAMES:].mean(axis=0), STAY_RATIO, self._mask)
        changed, count, self._next_id = _advance(
            *found, self._recent, self._frame, self._table, self._next_id, self._grid.hop_s
        )
        self._frame += STEP_FRAMES
        return [self._emission(self._table[changed[k]]) for k in range(count)]

    def _end_all(self) -> list[Emission]:
        out = []
        for row in self._table[self._table["used"]]:
            row["used"] = False
            if row["confirmed"] and not row["steady"]:
                out.append(self._emission(row))
        self._table["used"] = False
        return out

    def _emission(self, row: np.void) -> Emission:
        grid = self._grid
        start_s = self._origin_s + (int(row["start"]) - 0.5) * grid.hop_s
        stop_s = None if row["used"] else self._origin_s + (int(row["last"]) + 0.5) * grid.hop_s
        return Emission(
            id=int(row["id"]),
            start_s=start_s,
            stop_s=start_s if row["steady"] else stop_s,
            frequency_hz=grid.low_hz + float(row["position"]) * grid.step_hz,
            kind="cw",
            snr_db=_snr_db(row["histogram"], float(row["position"]), grid),
            speed_wpm=None,
        )


def _snr_db(histogram: npt.NDArray[np.int32], position: float, grid: Grid) -> float:
    """SNR in 2500 Hz while the key is down, from a histogram of key-down frames in steps of 1 dB over the floor."""
    total = np.cumsum(histogram[::-1])
    top = _LEVELS - 1 - int(np.searchsorted(total, 0.1 * total[-1]))
    levels = np.arange(max(top - 5, 0), _LEVELS)
    power = 10 ** ((levels + 0.5) / 10)
    mean = float(np.sum(histogram[levels] * power)) / max(1, int(np.sum(histogram[levels])))
    off = position - round(position)
    response = np.sinc(off) / (1 - off * off)  # of the Hann window, beside the centre of its bin
    return float(10 * np.log10(max(mean - 1, 0.05) / response**2 * grid.noise_bandwidth_hz / 2500.0))


@numba.njit(cache=True)
def _key(c, n: int, value: float) -> None:  # type: ignore[no-untyped-def]
    """One frame of one candidate: follow the key."""
    c.level = max(c.level * _DECAY, value)
    if value > 0.25 * c.level:
        c.loud += 1
        if value > 0.5 * c.level:
            c.strong += 1
    up = max(0.25 * c.level, 6.0)
    if value > up:
        c.last = n
        if not c.down:
            c.down = True
            c.since = n
    elif c.down and value < max(0.15 * c.level, 4.0):
        c.down = False
        run = n - c.since
        if run >= 2:
            c.marks += 1
            c.marked += run
            c.unit += 0.25 * c.unit * 0.2 if run > c.unit else -0.75 * c.unit * 0.2
            c.unit = min(max(c.unit, 3.0), 15.0)
    if c.down:
        c.histogram[min(max(int(10 * np.log10(value + 1e-9)), 0), _LEVELS - 1)] += 1


@numba.njit(cache=True)
def _advance(  # type: ignore[no-untyped-def]
    position: npt.NDArray[np.float64],
    height: npt.NDArray[np.float32],
    clear: npt.NDArray[np.bool_],
    recent: npt.NDArray[np.float32],
    frame: int,
    table,
    next_id: int,
    hop_s: float,
):
    """Four frames further. Returns (rows that changed, how many, next id)."""
    look = len(recent)
    taken = np.zeros(len(position), np.bool_)
    changed = np.empty(len(table), np.int64)
    count = 0
    now = frame + STEP_FRAMES - 1
    for r in range(len(table)):
        c = table[r]
        if not c.used:
            continue
        best, nearest = -1, _GATE_BINS
        for k in range(len(position)):
            off = abs(position[k] - c.position)
            if not taken[k] and off < nearest:
                best, nearest = k, off
        b = round(c.position)
        for k in range(STEP_FRAMES):
            last = c.last
            _key(c, frame + k, recent[look - STEP_FRAMES + k, b])
            if best < 0:
                c.last = last
        if best >= 0:
            taken[best] = True
            c.seen = now
            w = min(height[best], 1000.0) ** 0.5
            off_bins = position[best] - c.position
            c.weight = 0.97 * c.weight + w
            c.position += w / c.weight * off_bins
            c.jitter += 0.1 * (off_bins * off_bins - c.jitter)
            c.clear += 0.1 * ((1.0 if clear[best] else 0.0) - c.clear)
        report = False
        age = now - c.start
        long = age > STEADY_S / 2 / hop_s and c.marked + (now - c.since if c.down else 0) > STEADY_SHARE * age
        steady = long or (c.down and now - c.since > STEADY_S / hop_s)
        if steady and not c.steady:
            c.steady = True
            report = c.confirmed
        if not c.confirmed and not c.steady:
            mean = c.marked / max(c.marks, 1)
            enough = c.marks >= 3 and c.last - c.start >= _LEAST_FRAMES
            pure = c.jitter < _JITTER_BINS**2 and c.clear > _LEAST_CLEAR and c.strong > _LEAST_STRONG * c.loud
            if enough and pure and mean < _MARK_FRAMES:
                c.confirmed = True
                report = True
        bridge = min(max(LEAST_BRIDGE_S, BRIDGE_UNITS * c.unit * hop_s), MOST_BRIDGE_S)
        if c.level * _DECAY ** (c.last - now) < FADED_RATIO:
            bridge = max(bridge, FADED_BRIDGE_S)
        if now - c.seen < STEP_FRAMES and now - c.last > STEP_FRAMES:
            bridge = max(bridge, WEAK_BRIDGE_S)
        if now - c.last > bridge / hop_s:
            c.used = False
            report = c.confirmed and not c.steady
        elif c.confirmed and not c.steady and now - c.reported >= REPORT_S / hop_s:
            report = True
        if report:
            if c.id == 0:
                c.id = next_id
                next_id += 1
            c.reported = now
            changed[count] = r
            count += 1
    told = np.zeros(len(table), np.bool_)
    for k in range(count):
        told[changed[k]] = True  # such a row is still to be read, even if its emission is over
    free = 0
    for k in range(len(position)):
        if taken[k] or not clear[k] or height[k] < START_RATIO:
            continue
        near = False
        for r in range(len(table)):
            if table[r].used and abs(table[r].position - position[k]) < _GATE_BINS:
                near = True
        while free < len(table) and (table[free].used or told[free]):
            free += 1
        if near or free == len(table):
            continue
        _begin(table[free], position[k], now, recent)
    return changed, count, next_id


@numba.njit(cache=True)
def _begin(c, position: float, now: int, recent: npt.NDArray[np.float32]) -> None:  # type: ignore[no-untyped-def]
    """A new candidate: its first marks lie in the frames just past."""
    look = len(recent)
    b = round(position)
    c.used, c.confirmed, c.steady, c.down = True, False, False, False
    c.id, c.marks, c.marked, c.since, c.reported = 0, 0, 0, 0, 0
    c.position, c.weight, c.jitter, c.unit, c.seen = position, 1.0, 0.0, 6.0, now
    c.histogram[:] = 0
    c.level, c.clear = 0.0, 1.0
    c.loud, c.strong = 0, 0
    for k in range(look):
        c.level = max(c.level, recent[k, b])
    c.start = now
    for k in range(look):
        if recent[k, b] > max(0.25 * c.level, 6.0):
            c.start = now - look + 1 + k
            break
    c.last = c.start
    for k in range(max(look - 1 - (now - c.start), 0), look):
        _key(c, now - look + 1 + k, recent[k, b])
