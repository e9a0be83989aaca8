"""Where others call and how loud, as a receiver beside our transmitter measures it: the engine's figures from events.

The engine keeps the mean power over the floor of each bin while the DX listens to all, turn by turn,
and hears nothing while we send. Here the same is computed from who sent when.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from hearmark.ear.bustle import LEAST_S, Bustle
from hearmark.events import FloatArray, Mode
from hearmark.simulate.session import Station, Transmission

STEP_HZ = 15.625
NOISE_HZ = 2_500.0
BIN_NOISE_HZ = 1.5 * STEP_HZ
"""Noise bandwidth of one bin under the engine's window."""
DUTY = {"cw": 0.45, "usb": 0.4, "lsb": 0.4}
"""Share of a transmission in which there is power; common practice, no source."""
VOICE_HZ = (300.0, 2_700.0)
MARGIN_HZ = 600.0


class Crowd:
    """Mean power over the floor around the window, from the turns that were heard."""

    def __init__(self, mode: Mode, low_hz: float, high_hz: float, stations: list[Station]) -> None:
        self._mode, self._stations = mode, stations
        reach_hz = MARGIN_HZ + (0.0 if mode == "cw" else VOICE_HZ[1])
        self.frequency_hz: FloatArray = np.arange(low_hz - reach_hz, high_hz + reach_hz, STEP_HZ)
        self._bustle = Bustle()
        self._shape = _line() if mode == "cw" else _speech(mode)
        self._sent: dict[tuple[int, float], Transmission] = {}
        self._turns: list[tuple[list[tuple[float, float]], list[Transmission]]] = []
        """Not learned from yet: most tactics never ask."""

    def takes(self, sent: Iterable[Transmission]) -> None:
        """What started, or was cut short, since last time; the DX's own overs are left out."""
        for one in sent:
            if one.station:
                self._sent[one.station, one.start_s] = one

    def turn(self, spans_s: list[tuple[float, float]]) -> None:
        """A turn is over, of which these spans were heard: learn from it, then forget who has ended."""
        self._turns.append((spans_s, list(self._sent.values())))
        end_s = spans_s[-1][1] if spans_s else 0.0
        self._sent = {key: one for key, one in self._sent.items() if one.stop_s > end_s}

    def _learn(self, spans_s: list[tuple[float, float]], sent: list[Transmission]) -> None:
        length_s = sum(stop_s - start_s for start_s, stop_s in spans_s)
        if length_s <= LEAST_S:
            return
        offsets, shape = self._shape
        count, low_hz = len(self.frequency_hz), self.frequency_hz[0]
        centres: list[int] = []
        powers: list[float] = []
        for one in sent:
            share = 0.0
            for start_s, stop_s in spans_s:
                share += max(0.0, min(one.stop_s, stop_s) - max(one.start_s, start_s))
            if share > 0.0:
                centres.append(round((one.frequency_hz - low_hz) / STEP_HZ))
                powers.append(10.0 ** (self._stations[one.station].snr_db / 10.0) * share / length_s)
        now: FloatArray = np.zeros(count)
        if centres:
            bins = np.add.outer(np.array(centres), offsets).ravel()
            power = np.multiply.outer(np.array(powers), shape).ravel()
            inside = (bins >= 0) & (bins < count)
            now = np.asarray(np.bincount(bins[inside], power[inside], count), dtype=np.float64)
        self._bustle = self._bustle.heard(now, length_s).turn_over()

    def loudest(self, start_s: float, stop_s: float, besides: int) -> Transmission | None:
        """The loudest station on the air in this span, other than `besides`."""
        there = [
            one
            for one in self._sent.values()
            if one.station != besides and one.stop_s > start_s and one.start_s < stop_s
        ]
        return max(there, key=lambda one: self._stations[one.station].snr_db, default=None)

    def lasting(self, start_s: float, stop_s: float, besides: int) -> list[float]:
        """Frequencies of those other than `besides` who send through the whole span."""
        return [
            one.frequency_hz
            for one in self._sent.values()
            if one.station != besides and one.start_s <= start_s and one.stop_s >= stop_s
        ]

    @property
    def activity_db(self) -> FloatArray | None:
        """Mean power over the floor in each bin of `frequency_hz`; None before the first turn."""
        for spans_s, sent in self._turns:
            self._learn(spans_s, sent)
        self._turns.clear()
        level = self._bustle.level
        return None if level is None else np.asarray(10.0 * np.log10(1.0 + level))


def _line() -> tuple[np.ndarray[tuple[int], np.dtype[np.int64]], FloatArray]:
    """A Morse carrier under a Hann window: bins from its own, and power over noise of the bin per unit of SNR."""
    offsets = np.arange(-2, 3)
    response = np.array([0.0, 0.25, 1.0, 0.25, 0.0])
    return offsets, response * DUTY["cw"] * NOISE_HZ / BIN_NOISE_HZ


def _speech(mode: Mode) -> tuple[np.ndarray[tuple[int], np.dtype[np.int64]], FloatArray]:
    """Speech on one side of its suppressed carrier, falling 9 dB an octave above 500 Hz (common practice)."""
    pitch_hz = np.arange(VOICE_HZ[0], VOICE_HZ[1], STEP_HZ)
    level = np.minimum(1.0, (pitch_hz / 500.0) ** -3.0)
    offsets = np.round(pitch_hz / STEP_HZ).astype(np.int64) * (1 if mode == "usb" else -1)
    return offsets, level / level.sum() * DUTY[mode] * NOISE_HZ / BIN_NOISE_HZ * 1.0
