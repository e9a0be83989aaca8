"""Whose carrier stands on his frequency: his own, or that of a caller who calls there.

Nobody meets a carrier to the hertz. His is known from his overs before; a run of Morse some hertz beside it is somebody
else, however well it follows on what he sent. The carrier is the peak of the mean spectrum of half a second, between
bins by a parabola through the logarithms of three.
"""

from __future__ import annotations

import math
from collections import deque

import numpy as np
import numpy.typing as npt

from hearmark.modes.network import Array

APART_HZ = 5.0
"""A carrier so far from his is not his."""
LONG_STEPS = 16
SHORT_STEPS = 5
STRONG = 6.0
"""Least mean power over noise of a carrier that can be measured."""
CERTAIN_STEPS = 8
"""A carrier counts as somebody else's after so many steps."""
CLEAR_STEPS = 8
"""And no longer once nothing was heard of it for so many."""
OVERS = 9
MOVED_STEPS, MOVED_SENT_STEPS = 1000, 90
"""He has moved if nothing was heard on his carrier for the first (32 s) and the second of sending beside it."""
REACH_HZ = 62.0
_KEPT = 64


class Tone:
    """Feed the spectrum of every step; `stranger` tells since how many steps somebody else sends on his frequency."""

    def __init__(self, dx_hz: float) -> None:
        self._dx_hz = dx_hz
        self._inside = slice(0, 0)
        self._offset_hz: npt.NDArray[np.float64] = np.zeros(0)
        self._rows: Array = np.zeros((_KEPT, 0), np.float32)
        self._count = 0
        self._now_hz: float | None = None
        self._over: list[float] = []
        self._known: deque[float] = deque(maxlen=OVERS)
        self.his_hz: float | None = None
        """His carrier, in hertz from where he is said to be; None before his first over has ended."""
        self._beside, self._clear = 0, 0
        self._missed, self._other = 0, 0

    def add(self, frequency_hz: npt.NDArray[np.float64], row: Array) -> None:
        """Power over noise of the next step, (bins,)."""
        if not self._count:
            inside = np.flatnonzero(np.abs(frequency_hz - self._dx_hz) <= REACH_HZ)
            if len(inside) < 3:
                return
            self._inside = slice(int(inside[0]), int(inside[-1]) + 1)
            self._offset_hz = frequency_hz[self._inside] - self._dx_hz
            self._rows = np.zeros((_KEPT, len(inside)), np.float32)
        self._rows[:-1] = self._rows[1:]
        self._rows[-1] = row[self._inside]
        self._count += 1
        self._missed += 1
        now_hz = self._now_hz = self._carrier_hz(0, LONG_STEPS)
        his_hz = self.his_hz
        if his_hz is not None and now_hz is not None and abs(now_hz - his_hz) > APART_HZ:
            self._beside, self._clear = self._beside + 1, 0
            return
        self._clear += 1
        if self._beside < CERTAIN_STEPS or self._clear >= CLEAR_STEPS:
            self._beside = 0

    def sends(self) -> None:
        """He sends in the newest step, as far as all but the carrier tells."""
        now_hz = self._now_hz
        if now_hz is None:
            return
        if self._beside == 0:
            self._over.append(now_hz)
            self._missed = self._other = 0
            return
        self._other += 1
        if self._missed > MOVED_STEPS and self._other > MOVED_SENT_STEPS:
            self._known.clear()
            self.his_hz = None
            self._beside = self._missed = self._other = 0

    def stops(self) -> None:
        """His over has ended: what was measured of his carrier counts from now on."""
        if len(self._over) >= LONG_STEPS:
            self._known.append(float(np.median(self._over)))
            self.his_hz = float(np.median(self._known))
        self._over.clear()

    @property
    def stranger(self) -> int:
        """For how many of the newest steps somebody else has been sending on his frequency; 0: nobody is."""
        his_hz = self.his_hz
        if self._beside < CERTAIN_STEPS or his_hz is None:
            return 0
        back = 0
        while back + SHORT_STEPS <= min(self._count, _KEPT):
            then_hz = self._carrier_hz(back, SHORT_STEPS)
            if then_hz is not None and abs(then_hz - his_hz) <= APART_HZ:
                return back
            back += 1
        return back

    def _carrier_hz(self, back: int, steps: int) -> float | None:
        """Offset of the carrier over `steps` that ended `back` ago."""
        power = np.add.reduce(self._rows[_KEPT - back - steps : _KEPT - back])
        k = int(power[1:-1].argmax()) + 1
        if power[k] < STRONG * steps:
            return None
        a, b, c = (math.log(max(float(p), 1e-6)) for p in power[k - 1 : k + 2])
        bend = a - 2 * b + c
        shift = max(-0.6, min(0.6, 0.5 * (a - c) / bend)) if bend < 0 else 0.0
        return float(self._offset_hz[k] + shift * (self._offset_hz[1] - self._offset_hz[0]))
