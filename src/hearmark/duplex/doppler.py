"""Both ends of a satellite contact: transponders, Doppler, what to tune, and steps to the radio with a dead band.

A receiver hears f (1 - v/c) of a transmitter that recedes with v, to first order; what is left out, v²/2c², is 0.2 Hz
at 435 MHz. The frequency at the satellite is what a transponder turns.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy.typing as npt

from hearmark.duplex.orbit import LIGHT_KM_S
from hearmark.errors import HearmarkError
from hearmark.events import Plan, PlanMode

Held = Literal["satellite", "downlink", "uplink"]
"""What stays constant: the frequency at the satellite (both dials move), our receive dial, or our transmit dial."""


@dataclass(frozen=True, slots=True)
class Transponder:
    """Uplink and downlink at the satellite, in hertz. One channel: low equals high. `inverting`: top goes to bottom."""

    uplink_low_hz: float
    uplink_high_hz: float
    downlink_low_hz: float
    downlink_high_hz: float
    inverting: bool = False
    uplink_mode: PlanMode = "fm"
    downlink_mode: PlanMode = "fm"
    tone: str = ""

    def __post_init__(self) -> None:
        widths = (self.uplink_high_hz - self.uplink_low_hz, self.downlink_high_hz - self.downlink_low_hz)
        if min(self.uplink_low_hz, self.downlink_low_hz) <= 0.0 or min(widths) < 0.0:
            raise HearmarkError("A transponder needs frequencies above 0, the lower before the higher.")
        if abs(widths[0] - widths[1]) > 1.0:
            raise HearmarkError(
                f"A transponder's two passbands must be equally wide, but the uplink has {widths[0]:.0f} Hz and the "
                f"downlink {widths[1]:.0f} Hz."
            )

    def down_hz(self, up_hz: float) -> float:
        """Where a signal that arrives at `up_hz` leaves. Raises HearmarkError outside the passband."""
        if not self.uplink_low_hz - 1.0 <= up_hz <= self.uplink_high_hz + 1.0:
            raise HearmarkError(
                f"{up_hz / 1e6:.4f} MHz at the satellite lies outside the uplink, "
                f"{self.uplink_low_hz / 1e6:.4f} to {self.uplink_high_hz / 1e6:.4f} MHz."
            )
        into = up_hz - self.uplink_low_hz
        return self.downlink_high_hz - into if self.inverting else self.downlink_low_hz + into

    def up_hz(self, down_hz: float) -> float:
        """Where a signal must arrive to leave at `down_hz`."""
        if not self.downlink_low_hz - 1.0 <= down_hz <= self.downlink_high_hz + 1.0:
            raise HearmarkError(
                f"{down_hz / 1e6:.4f} MHz at the satellite lies outside the downlink, "
                f"{self.downlink_low_hz / 1e6:.4f} to {self.downlink_high_hz / 1e6:.4f} MHz."
            )
        into = self.downlink_high_hz - down_hz if self.inverting else down_hz - self.downlink_low_hz
        return self.uplink_low_hz + into

    @property
    def middle_hz(self) -> float:
        """Middle of the downlink."""
        return (self.downlink_low_hz + self.downlink_high_hz) / 2.0


@dataclass(frozen=True, slots=True)
class Tuning:
    """Our two dials, and the two frequencies at the satellite."""

    receive_hz: float
    transmit_hz: float
    downlink_hz: float
    uplink_hz: float


def factor(rate_km_s: float) -> float:
    """Received over sent frequency of a path that grows by `rate_km_s`."""
    return 1.0 - rate_km_s / LIGHT_KM_S


def tuning(through: Transponder, rate_km_s: float, held: Held, hz: float | None = None) -> Tuning:
    """Both dials at a moment. `hz`: what is held, downlink at the satellite or our own dial; else the middle."""
    shift = factor(rate_km_s)
    if held == "uplink":
        up_hz = (hz if hz is not None else through.up_hz(through.middle_hz)) * shift
        down_hz = through.down_hz(up_hz)
    else:
        down_hz = through.middle_hz if hz is None else hz / (shift if held == "downlink" else 1.0)
        up_hz = through.up_hz(down_hz)
    return Tuning(down_hz * shift, up_hz / shift, down_hz, up_hz)


def plan(through: Transponder, now: Tuning) -> Plan:
    """As a plan: full duplex, so that we hear our own downlink."""
    return Plan(
        now.receive_hz, now.transmit_hz, now.transmit_hz, through.downlink_mode, "full", "satellite",
        through.uplink_mode, through.tone,
    )  # fmt: skip


def steps(
    through: Transponder, rates_km_s: npt.ArrayLike, held: Held, hz: float | None = None, dead_band_hz: float = 50.0
) -> Iterator[tuple[int, Tuning]]:
    """Index and tuning of each moment at which a dial must move: when it is more than `dead_band_hz` off.

    Both dials move together then, so that the satellite's frequency stays where it is.
    """
    if not dead_band_hz > 0.0:
        raise HearmarkError(f"A dead band of {dead_band_hz:g} Hz cannot be; give some hertz, like 50.")
    last: Tuning | None = None
    for index, rate in enumerate(_plain(rates_km_s)):
        now = tuning(through, rate, held, hz)
        off_hz = (
            dead_band_hz + 1.0
            if last is None
            else max(abs(now.receive_hz - last.receive_hz), abs(now.transmit_hz - last.transmit_hz))
        )
        if off_hz > dead_band_hz:
            last = now
            yield index, now


def _plain(values: npt.ArrayLike) -> list[float]:
    """An array or a list as plain numbers."""
    import numpy as np

    return [float(value) for value in np.atleast_1d(np.asarray(values, dtype=np.float64))]
