"""Does the DX send: a second opinion beside the finder's, in voice always, in Morse from one receiver's audio.

The finders learnt on the whole window; with one slice on the DX they hear little of what they lean on, and now and then
take his silence, or a caller on his frequency, for him. A small network that knows nothing but his own spectrum
(`training/his.py`) is asked too.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from hearmark.modes.network import Array, Network
from hearmark.pileup.look import ANSWERS, CALLS, DUE, OPEN

WEIGHT = 0.6
"""Of his spectrum and of the finder alike: of the logarithms of the odds; chosen on development seeds."""


class His:
    """Feed his spectrum, step by step."""

    def __init__(self, kind: Literal["voice", "morse"]) -> None:
        self._network = Network("hearmark.pileup", f"his_{kind}.onnx")
        self.forget()

    def forget(self) -> None:
        """Start anew, as after a gap."""
        self._memory = self._network.memory(1)

    def weighed(self, state: Array, dx: Array) -> Array:
        """`state`, (steps, 4), with what his spectrum `dx`, (steps, 208 in voice, 76 in Morse), networks' scale,
        says of his sending."""
        sends, *memory = self._network.run(x=dx[None], **self._memory)
        self._memory = dict(zip(self._memory, memory, strict=True))
        before = np.clip(state[:, CALLS] + state[:, ANSWERS], 1e-4, 1.0 - 1e-4)
        odds = WEIGHT * (sends[0] + np.log(before / (1.0 - before)))
        after = 1.0 / (1.0 + np.exp(-np.clip(odds, -20.0, 20.0)))
        out = state + np.float32(1e-6)
        out[:, [CALLS, ANSWERS]] *= (after / before)[:, None]
        out[:, [OPEN, DUE]] *= ((1.0 - after) / (1.0 - before))[:, None]
        return np.asarray(out / out.sum(axis=1, keepdims=True), np.float32)
