"""Does everybody go where we are sent? Then the advice must spread people, or all call on one spot and nobody is heard.

When every caller of a simulated pile-up goes where one advice is best, the DX works less than half as many an hour
(docs/study.md). A single follower is better off on the best place. So the best place is advised until the crowd is
seen to gather on it; from then on each station takes one of its own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from zlib import crc32

import numpy as np

from hearmark.ear.advice import HEARD_DB, Surroundings, callers

GATHERS = 0.2
"""Share of all that is heard in the window, within a passband about the advised place. In simulated pile-ups of 40 that
follow nothing it is at most 0.19, where all follow it is 0.27 in the median."""
LEAST = 0.5
"""So many callers' worth of activity there must be to judge by."""
MEMORY = 0.25


@dataclass(frozen=True, slots=True)
class Herd:
    """`share` of the crowd about the advised places of late; `follows`: it was more than can be chance, once."""

    share: float = 0.0
    follows: bool = False

    def seen(self, advised_hz: float, around: Surroundings) -> Herd:
        """After a turn in which calls on `advised_hz` were advised; `around` with the activity measured in it."""
        if around.activity_hz is None or around.activity_db is None:
            return self
        carrier_hz, count = callers(around)
        count = np.where(np.asarray(around.activity_db) >= HEARD_DB, count, 0.0)
        total = float(count.sum())
        if total < LEAST:
            return replace(self, share=(1.0 - MEMORY) * self.share)
        near = float(count[np.abs(carrier_hz - advised_hz) <= 0.5 * around.manner.passband_hz].sum()) / total
        share = self.share + MEMORY * (near - self.share)
        return Herd(share, self.follows or share > GATHERS)


def own_place(call: str) -> float | None:
    """A number from 0 to 1 of each call's own, ever the same; None without a call."""
    return crc32(call.encode()) / 2.0**32 if call else None
