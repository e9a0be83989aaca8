"""What the finders see at every step of 32 ms: where the answered station may be, and what the exchange is at."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from hearmark.modes.network import Array

STEP_S = 0.032
LATE_STEPS = 96
"""How long ago that is which the second belief of voice looks back at: 3.1 s. As in `training/voice_finder.py`."""
OPEN, CALLS, ANSWERS, DUE = 0, 1, 2, 3
"""States of the exchange: nobody was answered and the DX listens; the DX sends to all; he sends to one; a reply is
due."""


@dataclass(frozen=True, slots=True)
class Look:
    """`place`: probability of each stream to be the answered station's, the last column "nobody", (steps, streams + 1).
    `state`: probability of the four states, (steps, 4). `active`: is anybody sending there, (steps, streams).
    `dx_level`: level at the DX, networks' scale, (steps,). `symbols`: Morse symbols of every stream and, last, of the
    DX, (steps, streams + 1); None in voice. `report`: if he sends to one, or a reply of one is due: probability that he
    gives (has given) his report, rather than asks for the rest of a call, (steps,); None in Morse, where it is read.
    `late`: in voice, as `place`, for `LATE_STEPS` ago: by now it shows who fell silent then and who talked on.
    """

    place: Array
    state: Array
    active: npt.NDArray[np.bool_]
    dx_level: Array
    symbols: npt.NDArray[np.int8] | None = None
    report: Array | None = None
    late: Array | None = None


def softmax(logits: Array) -> Array:
    """Probabilities along the last axis."""
    e = np.exp(logits - logits.max(axis=-1, keepdims=True))
    return np.asarray(e / e.sum(axis=-1, keepdims=True), np.float32)
