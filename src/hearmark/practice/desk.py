"""The learner's radio: two dials, split, lock, RIT, turned by hand. It belongs to nobody and sends nothing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from hearmark.errors import HearmarkError
from hearmark.events import Mode
from hearmark.radio.port import Dials
from hearmark.radio.simulated import SimulatedRadio

Dial = Literal["receive", "transmit"]
RIT_LIMIT_HZ = 1_000.0


@dataclass(frozen=True, slots=True)
class Found:
    """How the radio stands when the lesson begins."""

    receive_hz: float
    transmit_hz: float
    split: bool


class Desk:
    """Hands on the dials. Refusals are sentences for the learner, raised as HearmarkError."""

    def __init__(self, mode: Mode, found: Found, low_hz: float, high_hz: float, receivers: int) -> None:
        """`low_hz` to `high_hz`: as far as there is anything to hear."""
        start = Dials(found.receive_hz, found.transmit_hz, found.split, mode, mode, 0.0, 0.0, False, False)
        self.radio = SimulatedRadio(start)
        self.receivers = receivers
        self.peeking = False
        """One receiver listens on the transmit dial as long as the key is held."""
        self._low_hz, self._high_hz = low_hz, high_hz

    @property
    def dials(self) -> Dials:
        """As they stand."""
        return self.radio.dials

    @property
    def receive_hz(self) -> float:
        """Where the receiver hears now."""
        hz = self.dials.other_hz if self.peeking else self.dials.receive_hz
        return float(hz or 0.0)

    @property
    def transmit_hz(self) -> float:
        """Where a call would go out."""
        return float(self.dials.transmit_hz or 0.0)

    @property
    def ears_hz(self) -> tuple[float, float]:
        """What the left and the right ear hear."""
        if self.receivers == 2:
            return float(self.dials.receive_hz or 0.0), float(self.dials.other_hz or 0.0)
        return self.receive_hz, self.receive_hz

    def turn(self, dial: Dial, by_hz: float) -> None:
        """Turn one dial by some hertz."""
        now_hz = self.dials.dial_hz if dial == "receive" else self.dials.other_hz
        self.put(dial, float(now_hz or 0.0) + by_hz)

    def put(self, dial: Dial, hz: float) -> None:
        """Put one dial on a frequency."""
        if not self._low_hz <= hz <= self._high_hz:
            raise HearmarkError(
                f"There is nothing to hear beyond {self._low_hz / 1e3:.1f} to {self._high_hz / 1e3:.1f} kHz here: "
                "the dial stays where it was."
            )
        if dial == "transmit":
            self.radio.by_hand(other_hz=float(round(hz)))
            return
        if self.dials.locked:
            raise HearmarkError("The receive dial is locked: unlock it first.")
        self.radio.by_hand(dial_hz=float(round(hz)))

    def split(self, on: bool) -> None:
        """Whether sending follows the transmit dial."""
        self.radio.by_hand(split=on)

    def lock(self, on: bool) -> None:
        """Hold the receive dial."""
        self.radio.by_hand(locked=on)

    def rit(self, hz: float) -> None:
        """Shift of receive alone; 0 turns it off."""
        self.radio.by_hand(rit_hz=min(max(float(round(hz)), -RIT_LIMIT_HZ), RIT_LIMIT_HZ))

    def level(self) -> None:
        """Transmit dial to where the receive dial stands."""
        self.radio.by_hand(other_hz=self.dials.dial_hz)

    def exchange(self) -> None:
        """The two dials change places."""
        if self.dials.locked:
            raise HearmarkError("The receive dial is locked: unlock it first.")
        self.radio.by_hand(dial_hz=self.dials.other_hz, other_hz=self.dials.dial_hz)

    def peek(self, on: bool) -> None:
        """Listen on the transmit dial, or come back."""
        if on and self.receivers == 2:
            raise HearmarkError("You have two receivers here: your right ear is on the transmit dial already.")
        self.peeking = on
