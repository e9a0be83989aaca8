"""How strong a station is: its mean power while it sends, over noise in 2500 Hz."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from hearmark.events import Mode
from hearmark.modes.network import Array
from hearmark.pileup.look import STEP_S
from hearmark.spectrum.transform import NOISE_BANDWIDTH_BINS

REFERENCE_HZ = 2_500.0
DEPTH_S = 12.0
_SPEECH_HZ = (300.0, 2_700.0)
_KEYED_SHARE = 0.25
"""The loudest quarter of the steps lies within dashes even at the slowest speeds."""
_TALK_SHARE = 0.6


class Strength:
    """Keeps the last seconds of power over noise. `frequency_hz`: of the bins."""

    def __init__(self, frequency_hz: npt.NDArray[np.float64], mode: Mode) -> None:
        self._frequency_hz, self._mode = frequency_hz, mode
        self._step_hz = float(frequency_hz[1] - frequency_hz[0])
        self._rows: Array = np.zeros((round(DEPTH_S / STEP_S), len(frequency_hz)), np.float32)
        self._time_s = np.full(len(self._rows), -np.inf)
        self._count = 0

    def add(self, start_s: float, ratio: Array) -> None:
        """Steps of 32 ms, (steps, bins); `start_s`: when the first one's window begins."""
        for k, row in enumerate(ratio):
            at = self._count % len(self._rows)
            self._rows[at], self._time_s[at] = row, start_s + k * STEP_S
            self._count += 1

    def snr_db(self, frequency_hz: float, start_s: float, stop_s: float | None) -> float | None:
        """SNR between two times of who sends on a carrier, or suppressed carrier; None if it was not heard then."""
        when = (self._time_s >= start_s) & (self._time_s < (stop_s if stop_s is not None else np.inf))
        if np.count_nonzero(when) < 8:
            return None
        if self._mode == "cw":
            near = np.abs(self._frequency_hz - frequency_hz) <= 1.5 * self._step_hz
            if not near.any():
                return None
            # a carrier between two bins loses at most 1.4 dB in the larger
            steps = self._rows[when][:, near].max(axis=1) * NOISE_BANDWIDTH_BINS * self._step_hz
            share, noise_hz = _KEYED_SHARE, NOISE_BANDWIDTH_BINS * self._step_hz
        else:
            above_hz = (self._frequency_hz - frequency_hz) * (-1.0 if self._mode == "lsb" else 1.0)
            voice = (above_hz > _SPEECH_HZ[0]) & (above_hz < _SPEECH_HZ[1])
            if np.count_nonzero(voice) * self._step_hz < 1_000.0:
                return None
            steps = self._rows[when][:, voice].sum(axis=1) * self._step_hz
            share, noise_hz = _TALK_SHARE, float(np.count_nonzero(voice)) * self._step_hz
        loud = np.sort(steps.astype(np.float64))[-max(1, round(share * len(steps))) :]
        signal_hz = float(loud.mean()) - noise_hz
        return None if signal_hz <= 0.0 else 10.0 * float(np.log10(signal_hz / REFERENCE_HZ))
