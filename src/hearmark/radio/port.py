"""What every radio looks like from here: a few calls to set and read dials. There is no call that transmits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from hearmark.errors import HearmarkError
from hearmark.events import PlanMode, RadioState

MODES: tuple[PlanMode, ...] = ("cw", "usb", "lsb", "am", "fm")


class RadioLost(HearmarkError):
    """The connection is gone or the radio does not answer in time."""


class RadioRefused(HearmarkError):
    """The radio does not do what was asked."""


class KeyDown(HearmarkError):
    """The operator transmits: nothing is written."""


@dataclass(frozen=True, slots=True)
class Abilities:
    """What this radio has. `other`: its transmit side can be set while split is off, without selecting it.

    `key`: it reports its key. `limit_hz`, `step_hz`: of RIT and XIT.
    """

    split: bool = True
    rit: bool = True
    xit: bool = True
    lock: bool = True
    key: bool = True
    other: bool = True
    limit_hz: float = 9_990.0
    step_hz: float = 10.0


@dataclass(frozen=True, slots=True)
class Dials:
    """What the radio says. None: it cannot say. `other_hz` is the transmit side's dial while split is on.

    `dial_hz` is the main dial without RIT. A radio that has no split says `split` False. Frequencies in hertz, as the
    radio counts them.
    """

    dial_hz: float | None = None
    other_hz: float | None = None
    split: bool | None = None
    mode: PlanMode | None = None
    other_mode: PlanMode | None = None
    rit_hz: float | None = None
    xit_hz: float | None = None
    locked: bool | None = None
    keyed: bool | None = None
    mode_name: str = ""
    """The mode as the radio names it, also where it is none of ours."""

    @property
    def receive_hz(self) -> float | None:
        """Where it hears."""
        return None if self.dial_hz is None else self.dial_hz + (self.rit_hz or 0.0)

    @property
    def transmit_hz(self) -> float | None:
        """Where a key-down would fall; None when the radio does not say enough."""
        if self.split is None:
            return None
        base_hz = self.other_hz if self.split else self.dial_hz
        return None if base_hz is None else base_hz + (self.xit_hz or 0.0)

    @property
    def transmit_mode(self) -> PlanMode | None:
        """The mode of a key-down."""
        return self.other_mode if self.split and self.other_mode is not None else self.mode

    def state(self, time_s: float) -> RadioState:
        """As the event."""
        return RadioState(
            time_s, self.receive_hz, self.transmit_hz, self.split, self.mode or self.mode_name or None,
            self.rit_hz, self.xit_hz, self.locked,
        )  # fmt: skip


class Port(Protocol):
    """One radio. Setting returns when the radio has taken the command; reading it back is the caller's part.

    Each call raises RadioLost when the radio does not answer and RadioRefused when it does not do it.
    """

    @property
    def abilities(self) -> Abilities:
        """What it has."""
        ...

    def read(self) -> Dials:
        """All dials now."""
        ...

    def keyed(self) -> bool | None:
        """Whether the operator transmits; None: it cannot say."""
        ...

    def set_dial(self, hz: float) -> None:
        """Main dial: receive, and transmit while split is off."""
        ...

    def set_other(self, hz: float) -> None:
        """Dial of the transmit side."""
        ...

    def set_split(self, on: bool) -> None:
        """Whether transmit follows the other dial."""
        ...

    def set_mode(self, mode: PlanMode) -> None:
        """Mode of the main dial."""
        ...

    def set_other_mode(self, mode: PlanMode) -> None:
        """Mode of the transmit side."""
        ...

    def set_rit(self, hz: float) -> None:
        """Shift of receive; 0 turns it off."""
        ...

    def set_xit(self, hz: float) -> None:
        """Shift of transmit; 0 turns it off."""
        ...

    def set_lock(self, on: bool) -> None:
        """Lock of the dial."""
        ...

    def signal_db(self) -> float | None:
        """Received level over S9 in dB; None: it cannot say."""
        ...

    def close(self) -> None:
        """Let go of the radio, leaving it as it is."""
        ...
