"""The Morse reader: spectra around many carriers at once to characters, every 32 ms.

A small recurrent network, trained on made-up keying only (`training/keyed.py`, `training/reader.py`), looks at nine
bins of 15.6 Hz around each carrier and tells after each step which symbol, if any, was completed. It carries its doubt
through fades in its state instead of deciding element by element.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from hearmark.modes.network import Array, Network, compress
from hearmark.spectrum.transform import still_noise

HIDDEN = 80
CONTEXT_BINS = 4
STEP_FRAMES = 4
BLANK, SPACE = 0, 1
FORGET_STEPS = 32
"""A stream that was silent for a second (and the time its mean level takes to fall) is begun anew."""
REST_STEPS = 32
_SILENT, _SHARE = np.float32(0.45), np.float32(0.06)


@dataclass(frozen=True, slots=True)
class Reading:
    """Of `streams` carriers over `steps` steps: best symbol (steps, streams) int8, what the network knows of each
    (streams, steps, HIDDEN), and the probability of the best symbol (steps, streams)."""

    symbols: npt.NDArray[np.int8]
    hidden: Array
    sure: Array


class MorseReader:
    """Reads a fixed number of carriers side by side; state is kept from call to call.

    A stream that falls silent is begun anew, unless `lasting`.
    """

    def __init__(self, streams: int, lasting: bool = False) -> None:
        self._network = Network("hearmark.modes", "morse.onnx")
        self.streams = streams
        self._lasting = lasting
        self._rested = self._after_noise()
        self.forget()

    def forget(self) -> None:
        """Start anew, as after a gap."""
        self._first = np.zeros((1, self.streams, HIDDEN), np.float32)
        self._second = np.zeros((1, self.streams, HIDDEN), np.float32)
        self._level = np.zeros(self.streams, np.float32)
        self._silent = np.zeros(self.streams, np.int64)

    def read(self, features: Array) -> Reading:
        """`features`: (streams, steps, STEP_FRAMES * (2 * CONTEXT_BINS + 1)), see `features`."""
        if not self._lasting:
            self._forget_silent(features)
        logits, hidden, self._first, self._second = self._network.run(x=features, h1=self._first, h2=self._second)
        best = logits.argmax(axis=2)
        top = np.take_along_axis(logits, best[..., None], 2)[..., 0]
        sure = 1.0 / np.exp(logits - top[..., None]).sum(axis=2)
        return Reading(np.ascontiguousarray(best.T.astype(np.int8)), hidden, np.ascontiguousarray(sure.T))

    def _after_noise(self) -> tuple[Array, Array]:
        """What the network keeps after a second of mere noise."""
        power = still_noise(2 * CONTEXT_BINS + 1, REST_STEPS * STEP_FRAMES)
        seen = features(compress(power), np.array([CONTEXT_BINS]))
        nothing = np.zeros((1, 1, HIDDEN), np.float32)
        _, _, first, second = self._network.run(x=seen, h1=nothing, h2=nothing)
        return first[:, 0], second[:, 0]

    def _forget_silent(self, features: Array) -> None:
        """What the network keeps of a stream drifts while nobody sends there; it learnt to begin from nothing."""
        steps = features.shape[1]
        bins = features.reshape(self.streams, steps, STEP_FRAMES, -1)
        own = bins[..., CONTEXT_BINS - 1 : CONTEXT_BINS + 2].max(axis=3).mean(axis=2)
        for k in range(steps):
            self._level += _SHARE * (own[:, k] - self._level)
            self._silent = np.where(self._level < _SILENT, self._silent + 1, 0)
        over = self._silent >= FORGET_STEPS
        if over.any():
            self._first[:, over], self._second[:, over] = self._rested
            self._silent[over] = 0


def features(level: Array, centres: npt.NDArray[np.int64]) -> Array:
    """What the reader sees: `level` (frames, bins) compressed power, frames a multiple of STEP_FRAMES, bins with at
    least CONTEXT_BINS on each side of every centre. Returns (streams, steps, STEP_FRAMES * bins around)."""
    around = centres[:, None] + np.arange(-CONTEXT_BINS, CONTEXT_BINS + 1)
    seen = level[:, around]  # (frames, streams, 9)
    steps = len(level) // STEP_FRAMES
    shaped = seen.reshape(steps, STEP_FRAMES, len(centres), -1).transpose(2, 0, 1, 3)
    return np.ascontiguousarray(shaped.reshape(len(centres), steps, -1))
