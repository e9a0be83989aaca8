"""A radio whose dial does not show the carrier in Morse: frequencies are counted from carrier to dial and back.

Some radios show in Morse the suppressed carrier, a pitch below (or above) the carrier that they hear as a tone and that
they send. The rest of the program knows carriers only.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from hearmark.events import PlanMode
from hearmark.radio.port import Abilities, Dials, Port


class CountedRadio:
    """A port around a port. `shift_hz`: from the dial to the carrier; `morse`: whether the plan in force is Morse.

    The shift counts for both dials as long as the plan is Morse, also while the radio is still in another mode: a step
    that sets the dial and one that sets the mode can then be read back each by itself.
    """

    def __init__(self, port: Port, shift_hz: float, morse: Callable[[], bool]) -> None:
        self._port, self._shift_hz, self._morse = port, shift_hz, morse

    @property
    def abilities(self) -> Abilities:
        """As the radio's."""
        return self._port.abilities

    @property
    def _now_hz(self) -> float:
        return self._shift_hz if self._morse() else 0.0

    def read(self) -> Dials:
        """All dials, as carriers."""
        dials = self._port.read()
        return replace(
            dials,
            dial_hz=None if dials.dial_hz is None else dials.dial_hz + self._now_hz,
            other_hz=None if dials.other_hz is None else dials.other_hz + self._now_hz,
        )

    def keyed(self) -> bool | None:
        """The key."""
        return self._port.keyed()

    def set_dial(self, hz: float) -> None:
        """Main dial to a carrier."""
        self._port.set_dial(hz - self._now_hz)

    def set_other(self, hz: float) -> None:
        """Transmit side to a carrier."""
        self._port.set_other(hz - self._now_hz)

    def set_split(self, on: bool) -> None:
        """Split."""
        self._port.set_split(on)

    def set_mode(self, mode: PlanMode) -> None:
        """Mode of the main dial."""
        self._port.set_mode(mode)

    def set_other_mode(self, mode: PlanMode) -> None:
        """Mode of the transmit side."""
        self._port.set_other_mode(mode)

    def set_rit(self, hz: float) -> None:
        """RIT, a difference: as it is."""
        self._port.set_rit(hz)

    def set_xit(self, hz: float) -> None:
        """XIT, a difference: as it is."""
        self._port.set_xit(hz)

    def set_lock(self, on: bool) -> None:
        """Lock."""
        self._port.set_lock(on)

    def signal_db(self) -> float | None:
        """Received level."""
        return self._port.signal_db()

    def close(self) -> None:
        """Let go."""
        self._port.close()
