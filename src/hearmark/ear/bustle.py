"""Where callers send: the mean of the last turn, as the receiver beside our transmitter hears it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hearmark.events import FloatArray

CROWD_S = 0.4
"""Of a turn heard for much longer than this only that turn counts; of a shorter one so much less. With a longer memory
those who have left still seem to call, and the place that a DX finds quiet looks busy."""
LEAST_S = 0.2
"""A turn of which less was heard tells nothing."""


@dataclass(frozen=True, slots=True)
class Bustle:
    """Power over the floor in each bin, shape (k,). `before`: at the end of the last turn; None: no turn was heard.
    `mean`, `length_s`: of the turn that goes on, and how long of it was heard."""

    before: FloatArray | None = None
    mean: FloatArray | None = None
    length_s: float = 0.0

    def heard(self, level: FloatArray, length_s: float) -> Bustle:
        """`level` (k,) for `length_s` more of this turn."""
        if self.mean is None:
            return Bustle(self.before, np.asarray(level, dtype=np.float64), length_s)
        total_s = self.length_s + length_s
        return Bustle(self.before, self.mean + length_s / total_s * (level - self.mean), total_s)

    def turn_over(self) -> Bustle:
        """The turn has ended."""
        return self if self.length_s <= LEAST_S else Bustle(self._joined())

    @property
    def level(self) -> FloatArray | None:
        """What is known of the last whole turn; in the first turn, of that one. None: nothing yet."""
        return self.mean if self.before is None else self.before

    def _joined(self) -> FloatArray | None:
        if self.before is None or self.mean is None:
            return self.level
        share = 1.0 - float(np.exp(-self.length_s / CROWD_S))
        return np.asarray(self.before + share * (self.mean - self.before))
