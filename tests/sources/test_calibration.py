"""Stream to dial, with clocks that are wrong and both conventions of CW dials."""

from typing import Literal

import pytest

from hearmark.errors import HearmarkError
from hearmark.events import Mode
from hearmark.sources.calibration import DialConvention, calibrate, transmit_dial_hz

DX_HZ, TARGET_HZ = 21_025_000.0, 21_031_200.0
"""On the air, by a perfect clock."""
CONVENTIONS = [
    DialConvention("carrier"),
    DialConvention("suppressed", "usb", 600.0),
    DialConvention("suppressed", "lsb", 700.0),
]


class Radio:
    """A radio whose reference is off, so that all its oscillators are: what it sends for what its dial shows."""

    def __init__(self, convention: DialConvention, ppm: float) -> None:
        self.convention, self.scale = convention, 1 + 1e-6 * ppm

    def sends_hz(self, dial_hz: float, mode: Mode) -> float:
        shift_hz = 0.0
        if mode == "cw" and self.convention.shows == "suppressed":
            shift_hz = self.convention.pitch_hz * (1 if self.convention.cw_sideband == "usb" else -1)
        return (dial_hz + shift_hz) * self.scale

    def tuned_to(self, on_air_hz: float, mode: Mode) -> float:
        """The dial that an operator finds by ear: where sending would land on the station."""
        return on_air_hz / self.scale - (self.sends_hz(0.0, mode) / self.scale)


@pytest.mark.parametrize("convention", CONVENTIONS)
@pytest.mark.parametrize("mode", ["cw", "usb", "lsb"])
@pytest.mark.parametrize(("stream_ppm", "radio_ppm"), [(0.0, 0.0), (20.0, 0.0), (-20.0, 3.0), (20.0, -20.0)])
def test_our_signal_lands_on_the_answer(
    convention: DialConvention, mode: Mode, stream_ppm: float, radio_ppm: float
) -> None:
    radio = Radio(convention, radio_ppm)
    in_stream = 1 - 1e-6 * stream_ppm
    calibration = calibrate(DX_HZ * in_stream, radio.tuned_to(DX_HZ, mode), mode, convention)
    dial_hz = transmit_dial_hz(TARGET_HZ * in_stream, calibration, mode, convention)
    assert radio.sends_hz(dial_hz, mode) == pytest.approx(TARGET_HZ, abs=0.5)


def test_without_calibration_the_same_clocks_miss() -> None:
    assert abs(TARGET_HZ * (1 - 20e-6) - TARGET_HZ) > 400.0


@pytest.mark.parametrize(
    ("shows", "sideband", "dial_hz"),
    [("carrier", "usb", 21_025_000.0), ("suppressed", "usb", 21_024_400.0), ("suppressed", "lsb", 21_025_600.0)],
)
def test_dials_in_cw(shows: Literal["carrier", "suppressed"], sideband: Literal["usb", "lsb"], dial_hz: float) -> None:
    convention = DialConvention(shows, sideband, 600.0)
    assert convention.dial_hz(DX_HZ, "cw") == dial_hz
    assert convention.frequency_hz(dial_hz, "cw") == DX_HZ
    assert convention.dial_hz(DX_HZ, "usb") == DX_HZ


def test_a_radio_on_another_station_is_refused() -> None:
    with pytest.raises(HearmarkError, match="tune the radio to the DX with RIT off"):
        calibrate(DX_HZ, DX_HZ + 5_000.0, "cw", DialConvention())


def test_a_misread_centre_is_no_harm() -> None:
    calibration = calibrate(DX_HZ - 500.0, DX_HZ, "usb", DialConvention())
    assert transmit_dial_hz(TARGET_HZ - 500.0, calibration, "usb", DialConvention()) == pytest.approx(TARGET_HZ)
    assert calibration.ppm == pytest.approx(23.8, abs=0.1)
