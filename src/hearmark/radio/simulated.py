"""A radio that is not there: two VFOs, lags, refusals, a hand on the dial, a key. For tests, demo and practice.

It keeps a record of every command with what a key-down at that moment would have done.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace

from hearmark.events import PlanMode
from hearmark.radio.port import Abilities, Dials, RadioLost, RadioRefused


@dataclass(frozen=True, slots=True)
class Taken:
    """One command that was taken: its name, its value, the dials just after it, whether the key was down."""

    name: str
    value: object
    dials: Dials
    keyed: bool


class SimulatedRadio:
    """A port. `lag_s`: from command to effect; `late_s`: from effect to what `read` says.

    `refuses`: names of commands that it answers with an error; `ignores`: that it takes and does not do.
    """

    def __init__(
        self,
        dials: Dials | None = None,
        abilities: Abilities | None = None,
        *,
        lag_s: float = 0.0,
        late_s: float = 0.0,
        refuses: frozenset[str] = frozenset(),
        ignores: frozenset[str] = frozenset(),
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._has = abilities or Abilities()
        start = dials or Dials(14_195_000.0, 14_195_000.0, False, "usb", "usb", 0.0, 0.0, False, False)
        self._now = replace(
            start,
            split=start.split if self._has.split else False,
            rit_hz=(start.rit_hz or 0.0) if self._has.rit else None,
            xit_hz=(start.xit_hz or 0.0) if self._has.xit else None,
            locked=bool(start.locked) if self._has.lock else None,
            keyed=bool(start.keyed),
        )
        self.lag_s, self.late_s = lag_s, late_s
        self.refuses, self.ignores = refuses, ignores
        self.alive = True
        self.taken: list[Taken] = []
        self.on_command: Callable[[SimulatedRadio, str], None] | None = None
        self._clock, self._sleep = clock, sleep
        self._shown: list[tuple[float, Dials]] = []
        self._guard = threading.RLock()

    # What the program may do

    @property
    def abilities(self) -> Abilities:
        """What it has."""
        return self._has

    def read(self) -> Dials:
        """All dials, as late as the radio reports them."""
        with self._guard:
            self._check()
            now_s = self._clock()
            said = self._now
            while self._shown and now_s - self._shown[0][0] >= self.late_s:
                self._shown.pop(0)
            if self._shown and self.late_s > 0.0:
                said = replace(self._shown[0][1], keyed=self._now.keyed)
            return said if self._has.key else replace(said, keyed=None)

    def keyed(self) -> bool | None:
        """The key."""
        with self._guard:
            self._check()
            return self._now.keyed if self._has.key else None

    def set_dial(self, hz: float) -> None:
        """Main dial."""
        self._take("dial", hz, dial_hz=float(round(hz)))

    def set_other(self, hz: float) -> None:
        """Transmit side; without the ability it does nothing while split is off."""
        if self._has.other or self._now.split:
            self._take("other", hz, other_hz=float(round(hz)))
        else:
            self._take("other", hz)

    def set_split(self, on: bool) -> None:
        """Split."""
        self._need("split", self._has.split)
        self._take("split", on, split=on)

    def set_mode(self, mode: PlanMode) -> None:
        """Mode of the main dial."""
        self._take("mode", mode, mode=mode)

    def set_other_mode(self, mode: PlanMode) -> None:
        """Mode of the transmit side."""
        self._take("other mode", mode, other_mode=mode)

    def set_rit(self, hz: float) -> None:
        """RIT."""
        self._need("rit", self._has.rit and abs(hz) <= self._has.limit_hz)
        self._take("rit", hz, rit_hz=float(hz))

    def set_xit(self, hz: float) -> None:
        """XIT."""
        self._need("xit", self._has.xit and abs(hz) <= self._has.limit_hz)
        self._take("xit", hz, xit_hz=float(hz))

    def set_lock(self, on: bool) -> None:
        """Lock."""
        self._need("lock", self._has.lock)
        self._take("lock", on, locked=on)

    def signal_db(self) -> float | None:
        """S-meter."""
        self._check()
        return -20.0

    def close(self) -> None:
        """Nothing to let go of."""

    # What the operator's hands do

    @property
    def dials(self) -> Dials:
        """The truth, not what is reported."""
        return self._now

    def by_hand(self, **dials: object) -> None:
        """A hand on the radio: `by_hand(dial_hz=14.2e6)`, `by_hand(split=False)`, `by_hand(keyed=True)`."""
        with self._guard:
            self._become(replace(self._now, **dials))  # type: ignore[arg-type]

    # Inside

    def _check(self) -> None:
        if not self.alive:
            raise RadioLost("The radio does not answer: check its power and the cable.")

    def _need(self, name: str, has: bool) -> None:
        self._check()
        if not has:
            raise RadioRefused(f"The radio refuses '{name}': it does not have that, or not so far.")

    def _take(self, name: str, value: object, **dials: object) -> None:
        with self._guard:
            self._check()
            if name in self.refuses:
                raise RadioRefused(f"The radio refuses '{name}'.")
            if self.lag_s:
                self._sleep(self.lag_s)
            if name not in self.ignores:
                self._become(replace(self._now, **dials))  # type: ignore[arg-type]
            self.taken.append(Taken(name, value, self._now, bool(self._now.keyed)))
            if self.on_command is not None:
                self.on_command(self, name)

    def _become(self, dials: Dials) -> None:
        if self.late_s > 0.0:
            self._shown.append((self._clock(), self._now))
        self._now = dials
