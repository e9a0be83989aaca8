"""What part of the spectrum a transmission takes, from the frequency on the dial.

Single sideband: audio of 100 to 2900 Hz, 2.8 kHz wide (2K80J3E of 47 CFR 97.303(h)), the suppressed carrier counted as
part of it. Morse: 150 Hz around the carrier (150HA1A of the same rule). AM: 3 kHz to each side. FM: 5 kHz deviation,
3 kHz audio, 16 kHz in all by Carson's rule. The widths are of the usual settings (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

from hearmark.errors import HearmarkError
from hearmark.events import PlanMode


@dataclass(frozen=True, slots=True)
class Occupied:
    """Edges relative to the frequency on the dial, and the necessary bandwidth, in hertz; `kind` as in the tables."""

    low_hz: float
    high_hz: float
    bandwidth_hz: float
    kind: str


OCCUPIED: dict[PlanMode, Occupied] = {
    "cw": Occupied(-75.0, 75.0, 150.0, "cw"),
    "usb": Occupied(0.0, 2_900.0, 2_800.0, "phone"),
    "lsb": Occupied(-2_900.0, 0.0, 2_800.0, "phone"),
    "am": Occupied(-3_000.0, 3_000.0, 6_000.0, "phone"),
    "fm": Occupied(-8_000.0, 8_000.0, 16_000.0, "phone"),
}


def occupied(mode: PlanMode, bandwidth_hz: float | None = None) -> Occupied:
    """The part of the spectrum that `mode` takes; `bandwidth_hz` overrides the usual width.

    Raises HearmarkError for a width that is no width.
    """
    usual = OCCUPIED[mode]
    if bandwidth_hz is None:
        return usual
    if not 1.0 <= bandwidth_hz <= 1e6:
        raise HearmarkError(f"An occupied bandwidth of {bandwidth_hz:g} Hz cannot be; give 1 to 1000000 Hz.")
    if mode in ("usb", "lsb"):
        far = bandwidth_hz + 100.0
        return Occupied(0.0 if mode == "usb" else -far, far if mode == "usb" else 0.0, bandwidth_hz, usual.kind)
    return Occupied(-bandwidth_hz / 2.0, bandwidth_hz / 2.0, bandwidth_hz, usual.kind)
