"""From a frequency in the sample stream to the figure that the radio's dial must show.

A mark has to be right to 50 Hz, which at 21 MHz is 2.4 parts per million; neither a wideband receiver nor
a radio is that good by itself. But both hear the DX. Tuned to him, the radio's dial says where he is on
its own scale; his frequency in the stream says where he is on the stream's. Only the difference between
the DX and the answer, a few kilohertz, is then taken from the stream: an error of 20 ppm of 10 kHz is 0.2 Hz.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from hearmark.errors import HearmarkError
from hearmark.events import Mode

WORST_PPM = 150.0
"""Radios and receivers further apart than this are taken not to be on the same station."""


@dataclass(frozen=True, slots=True)
class DialConvention:
    """What the radio's dial shows in CW; in voice it always shows the suppressed carrier.

    "carrier": the carrier that is sent, and received as a tone of the pitch. "suppressed": the beat
    oscillator, one pitch below the carrier with an upper sideband, one above with a lower. (Both are
    common practice, no source; the radio's manual says which.)
    """

    shows: Literal["carrier", "suppressed"] = "carrier"
    cw_sideband: Literal["usb", "lsb"] = "usb"
    pitch_hz: float = 600.0

    def dial_hz(self, frequency_hz: float, mode: Mode) -> float:
        """Dial for a CW carrier, or for the suppressed carrier of a voice."""
        return frequency_hz - self._above_hz(mode)

    def frequency_hz(self, dial_hz: float, mode: Mode) -> float:
        """CW carrier, or suppressed carrier of a voice, for a dial."""
        return dial_hz + self._above_hz(mode)

    def _above_hz(self, mode: Mode) -> float:
        """How far the carrier lies above the dial."""
        if mode != "cw" or self.shows == "carrier":
            return 0.0
        return self.pitch_hz if self.cw_sideband == "usb" else -self.pitch_hz


@dataclass(frozen=True, slots=True)
class Calibration:
    """One station on two scales: the DX in the stream and on the radio (its carrier, not its dial)."""

    stream_hz: float
    radio_hz: float

    @property
    def offset_hz(self) -> float:
        """What to add to a stream frequency near the DX to have it on the radio's scale."""
        return self.radio_hz - self.stream_hz

    @property
    def ppm(self) -> float:
        """The offset in parts per million."""
        return 1e6 * self.offset_hz / self.stream_hz


def calibrate(dx_stream_hz: float, dial_hz: float, mode: Mode, convention: DialConvention) -> Calibration:
    """Compare the DX in the stream with the radio's dial while it is tuned to him, RIT off.

    In CW he must be heard at the radio's own pitch. Raises HearmarkError if the two are so far
    apart that the radio cannot be on the same station.
    """
    found = Calibration(dx_stream_hz, convention.frequency_hz(dial_hz, mode))
    if dx_stream_hz <= 0.0 or dial_hz <= 0.0 or abs(found.ppm) > WORST_PPM:
        raise HearmarkError(
            f"The radio is on {found.radio_hz / 1000:.2f} kHz, the DX on {dx_stream_hz / 1000:.2f} kHz of the stream; "
            "tune the radio to the DX with RIT off, then calibrate again."
        )
    return found


def transmit_dial_hz(
    target_stream_hz: float, calibration: Calibration, mode: Mode, convention: DialConvention
) -> float:
    """The transmit dial that puts us on a frequency of the stream: the radio's own DX plus the offset from him."""
    return convention.dial_hz(target_stream_hz + calibration.offset_hz, mode)
