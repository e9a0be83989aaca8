"""The Morse reader: spectra around many carriers at once to characters, every 32 ms.

A small recurrent network, trained on made-up keying only (`training/keyed.py`, `training/reader.py`), looks at nine
bins of 15.6 Hz around each carrier and tells after each step which symbol, if any, was completed. It carries its doubt
through fades in its state instead of deciding element by element.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from hearmark.modes.copyist import Chances, Symbols, likeliest
from hearmark.modes.network import Array, Network, compress
from hearmark.spectrum.transform import HOP_S, still_noise

HIDDEN = 112
CONTEXT_BINS = 4
STEP_FRAMES = 4
BLANK, SPACE = 0, 1
SILENCE_S = 15.0
"""Of noise that a reader has heard when it starts."""


@dataclass(frozen=True, slots=True)
class Reading:
    """Of `streams` carriers over `steps` steps: best symbol (steps, streams) int8, what the network knows of each
    (streams, steps, HIDDEN), the probability of the best symbol (steps, streams), and the likeliest symbols with the
    logarithms of their chances, (streams, steps, KEPT) both."""

    symbols: npt.NDArray[np.int8]
    hidden: Array
    sure: Array
    likely: Symbols
    chances: Chances


class MorseReader:
    """Reads a fixed number of carriers side by side; state is kept from call to call."""

    def __init__(self, streams: int) -> None:
        self._network = Network("hearmark.modes", "morse.onnx")
        self.streams = streams
        zero = np.zeros((1, 1, HIDDEN), np.float32)
        steps = round(SILENCE_S / (STEP_FRAMES * HOP_S))
        noise = features(compress(still_noise(2 * CONTEXT_BINS + 1, steps * STEP_FRAMES)), np.array([CONTEXT_BINS]))
        self._idle: list[Array] = self._network.run(x=noise, h1=zero, h2=zero)[2:]
        self.forget()

    def forget(self, streams: npt.NDArray[np.int64] | None = None) -> None:
        """Start anew, all or these: in the state of who has heard noise for long, and expects any speed and level. From
        zeros, a reader that first hears the middle of a signal may stay deaf until long after it."""
        if streams is None:
            self._first, self._second = (np.tile(h, (1, self.streams, 1)) for h in self._idle)
        else:
            self._first[:, streams], self._second[:, streams] = self._idle

    @property
    def known(self) -> Array:
        """What the network knows of each stream, (streams, HIDDEN)."""
        return np.asarray(self._second[0])

    def read(self, features: Array, streams: npt.NDArray[np.int64] | None = None) -> Reading:
        """`features`: (streams, steps, STEP_FRAMES * (2 * CONTEXT_BINS + 1)), see `features`. With `streams`: of those
        alone, and so is the reading; the others' memory rests."""
        which = slice(None) if streams is None else streams
        logits, hidden, first, second = self._network.run(
            x=features, h1=self._first[:, which], h2=self._second[:, which]
        )
        self._first[:, which], self._second[:, which] = first, second
        likely, chances = likeliest(logits)
        symbols, sure = np.ascontiguousarray(likely[..., 0].T), np.exp(np.ascontiguousarray(chances[..., 0].T))
        return Reading(symbols, hidden, sure, likely, chances)


def features(level: Array, centres: npt.NDArray[np.int64]) -> Array:
    """What the reader sees: `level` (frames, bins) compressed power, frames a multiple of STEP_FRAMES, bins with at
    least CONTEXT_BINS on each side of every centre. Returns (streams, steps, STEP_FRAMES * bins around)."""
    around = centres[:, None] + np.arange(-CONTEXT_BINS, CONTEXT_BINS + 1)
    seen = level[:, around]  # (frames, streams, 9)
    steps = len(level) // STEP_FRAMES
    shaped = seen.reshape(steps, STEP_FRAMES, len(centres), -1).transpose(2, 0, 1, 3)
    return np.ascontiguousarray(shaped.reshape(len(centres), steps, -1))
