"""The last minute of looks, and what can be measured in it: when somebody sent, exactly where, what text."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from hearmark.modes.network import Array
from hearmark.pileup.look import STEP_S

DEPTH = 2048
"""Steps kept: 65 s."""
SPECTRA = 160
"""Steps of spectrum kept: 5 s."""
_GAP_STEPS = 14
_EMPTY: npt.NDArray[np.int8] = np.zeros(0, np.int8)


class Edges(NamedTuple):
    """How the level of the DX (networks' scale) tells where an over begins and ends.

    It must lie `least` above what is under him and `share` of the way up to his own; `noise`: what noise alone seldom
    passes; `back_s`: how far a beginning may lie before the moment in which it was noticed; `shortest_s`: nothing that
    is sent is shorter: two dits close many a contact, a word takes longer.
    """

    least: float
    share: float
    noise: float
    back_s: float
    shortest_s: float


MORSE_EDGES = Edges(0.25, 0.45, 0.75, 1.2, 0.12)
VOICE_EDGES = Edges(0.15, 0.37, -1.0, 0.22, 0.3)
"""Words end softly, a band's mean wavers less than one carrier's level, and others lie in his band before he begins."""
_QUIET = 0.25, 0.45


class Memory:
    """A ring of steps. Times are those at which a step's window begins."""

    def __init__(self, streams: int, edges: Edges) -> None:
        self._count, self._edges = 0, edges
        self._time = np.zeros(DEPTH)
        self._active = np.zeros((DEPTH, streams), bool)
        self._dx = np.zeros(DEPTH, np.float32)
        self._place = np.zeros((256, streams), np.float32)
        self._symbols = np.zeros((DEPTH, streams + 1), np.int8)
        self._spectra: Array | None = None
        self._spectrum_hz: npt.NDArray[np.float64] = np.zeros(0)
        self._spectrum_count = 0

    def add(
        self, time_s: float, active: npt.NDArray[np.bool_], dx_level: float, place: Array,
        symbols: npt.NDArray[np.int8] | None,
    ) -> None:  # fmt: skip
        """One more step."""
        k = self._count % DEPTH
        self._time[k], self._active[k], self._dx[k] = time_s, active, dx_level
        self._place[self._count % 256] = place[:-1]
        if symbols is not None:
            self._symbols[k] = symbols
        self._count += 1

    def add_spectra(self, frequency_hz: npt.NDArray[np.float64], ratio: Array) -> None:
        """Power over noise of the same steps, (steps, bins)."""
        if self._spectra is None:
            self._spectra, self._spectrum_hz = np.zeros((SPECTRA, ratio.shape[1]), np.float32), frequency_hz
        for row in ratio:
            self._spectra[self._spectrum_count % SPECTRA] = row
            self._spectrum_count += 1

    def spectrum(self, back: int) -> tuple[npt.NDArray[np.float64], Array] | None:
        """Frequencies, and power over noise of the step `back` before the newest; None if none was given."""
        if self._spectra is None or back >= min(self._spectrum_count, SPECTRA):
            return None
        return self._spectrum_hz, self._spectra[(self._spectrum_count - 1 - back) % SPECTRA]

    def not_his(self, steps: int) -> None:
        """What stood on his frequency in the newest steps was not his: his level was as low as it ever was."""
        newest = np.arange(max(0, self._count - steps), self._count) % DEPTH
        self._dx[newest] = self._dx[self._steps(self._time[(self._count - 1) % DEPTH] - 20.0)].min()

    @property
    def active_now(self) -> npt.NDArray[np.bool_]:
        """Which streams are sending in the newest step."""
        return np.asarray(self._active[(self._count - 1) % DEPTH])

    def _steps(self, start_s: float, stop_s: float | None = None) -> npt.NDArray[np.int64]:
        """Ring indices of the steps in start_s..stop_s, oldest first."""
        first = max(0, self._count - DEPTH)
        newest = self._time[(self._count - 1) % DEPTH] if self._count else 0.0
        back = int(np.ceil((newest - start_s) / STEP_S)) + 1
        begin = max(first, self._count - max(back, 0))
        end = self._count
        if stop_s is not None:
            end = max(begin, self._count - max(0, int(np.floor((newest - stop_s) / STEP_S + 1e-6))))
        return np.arange(begin, end) % DEPTH

    def symbols(self, start_s: float, stop_s: float | None, stream: int) -> npt.NDArray[np.int8]:
        """Morse symbols of one stream (-1: the DX) from start_s on."""
        return np.asarray(self._symbols[self._steps(start_s, stop_s), stream])

    def places(self, start_s: float, stop_s: float) -> Array:
        """Belief in each stream, (steps, streams), of at most the last 8 s."""
        steps = len(self._steps(start_s, stop_s))
        kept = np.arange(max(0, self._count - min(steps, 256)), self._count) % 256
        return np.asarray(self._place[kept])

    def sending(self, stream: int, over_s: float, now_s: float) -> tuple[float | None, float | None]:
        """When the first transmission on `stream` began that did not begin before the over's end at `over_s` (None:
        nothing such), and, if over, when it ended. Who was sending all along does not reply."""
        index = self._steps(over_s - 1.0, now_s)
        active = self._active[index, max(0, stream - 1) : stream + 2].any(axis=1)
        heard = np.nonzero(active)[0]
        if len(heard) < 2:
            return None, None
        breaks = np.nonzero(np.diff(heard) > _GAP_STEPS)[0]
        firsts = np.concatenate([heard[:1], heard[breaks + 1]])
        lasts = np.concatenate([heard[breaks], heard[-1:]])
        for first, last in zip(firsts, lasts, strict=True):
            begin = float(self._time[index[first]])
            if begin < over_s - 0.45 or last - first < 2:
                continue
            stop = float(self._time[index[last]]) + STEP_S if len(index) - 1 - last > _GAP_STEPS else None
            return begin + 0.04, stop
        return None, None

    def dx_rise(self, now_s: float, not_before_s: float | None) -> float:
        """Where the level of the DX rose, looking back from now."""
        earliest = now_s - self._edges.back_s
        if not_before_s is not None:
            earliest = max(earliest, not_before_s + 0.05)
        index = self._steps(earliest, now_s)
        high = np.nonzero(self._dx[index] > self._threshold(index, *self._edges[:2]))[0]
        if not len(high):
            return now_s
        breaks = np.nonzero(np.diff(high) > 12)[0]
        return float(self._time[index[high[breaks[-1] + 1] if len(breaks) else high[0]]]) + 0.05

    def dx_fall(self, now_s: float, start_s: float) -> float:
        """Where the level of the DX fell for the last time, looking back from now."""
        index = self._steps(max(start_s, now_s - 3.0), now_s)
        high = np.nonzero(self._dx[index] > self._threshold(index, *self._edges[:2]))[0]
        return float(self._time[index[high[-1]]]) + 0.05 if len(high) else now_s

    def dx_quiet_s(self) -> float:
        """For how long, up to 3 s, the level of the DX has been low."""
        if not self._count:
            return 0.0
        index = self._steps(self._time[(self._count - 1) % DEPTH] - 3.0)
        high = np.nonzero(self._dx[index] > self._threshold(index, *_QUIET))[0]
        return (len(index) - 1 - int(high[-1])) * STEP_S if len(high) else 3.0

    def _threshold(self, index: npt.NDArray[np.int64], least: float, share: float) -> float:
        """Between what lies under him and his own level (networks' scale): `share` of the way, at least `least`."""
        recent = self._dx[self._steps(self._time[(self._count - 1) % DEPTH] - 20.0)]
        if not len(index):
            return float("inf")
        low, top = np.quantile(recent, [0.1, 0.98])
        highest = float(self._dx[index].max())
        noise = min(self._edges.noise, low + 0.8 * (highest - low))
        return float(max(low + least, low + share * (min(highest, float(top)) - low), noise))

    def power(
        self, start_s: float, stop_s: float, low_hz: float, high_hz: float
    ) -> tuple[npt.NDArray[np.float64], Array]:
        """Frequencies and mean power over noise between two times and two frequencies."""
        if self._spectra is None:
            return np.zeros(0), np.zeros(0, np.float32)
        steps = max(1, min(len(self._steps(start_s, stop_s)), SPECTRA, self._spectrum_count))
        rows = np.arange(self._spectrum_count - steps, self._spectrum_count) % SPECTRA
        kept = (self._spectrum_hz >= low_hz) & (self._spectrum_hz <= high_hz)
        return self._spectrum_hz[kept], self._spectra[rows][:, kept].mean(axis=0)


def refined_hz(memory: Memory, near_hz: float, start_s: float, stop_s: float) -> float:
    """The carrier near a stream's centre: the peak of the mean spectrum, between bins by its two neighbours."""
    frequency, power = memory.power(start_s, stop_s, near_hz - 40.0, near_hz + 40.0)
    if len(power) < 3:
        return near_hz
    k = int(np.argmax(power[1:-1])) + 1
    a, b, c = (np.log(max(float(p), 1e-6)) for p in power[k - 1 : k + 2])
    bend = a - 2 * b + c
    shift = float(np.clip(0.5 * (a - c) / bend, -0.6, 0.6)) if bend < 0 else 0.0
    return float(frequency[k] + shift * (frequency[1] - frequency[0]))
