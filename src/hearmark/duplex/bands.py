"""Amateur bands at their widest, and the customs that go with them.

Names and edges stand in `data/bands.csv`, the band enumeration of ADIF 3.1.6 (adif.org.uk): the widest of the three ITU
regions. They say what is plausible, never what is allowed (see `privileges`).
"""

from __future__ import annotations

from dataclasses import dataclass

from hearmark.data import table
from hearmark.events import Mode


@dataclass(frozen=True, slots=True)
class Band:
    """One amateur band by its wavelength, edges in hertz."""

    name: str
    low_hz: float
    high_hz: float


BANDS = tuple(
    Band(row["band"], round(float(row["low_mhz"]) * 1e6, 1), round(float(row["high_mhz"]) * 1e6, 1))
    for row in table("bands.csv")
)
"""All bands, lowest first."""
EDGES_HZ = {band.name: (band.low_hz, band.high_hz) for band in BANDS}
"""Low and high edge by name, lowest band first."""

MORSE_ENDS_KHZ = (
    (1_810, 1_838), (3_500, 3_570), (7_000, 7_040), (10_100, 10_130), (14_000, 14_070), (18_068, 18_095),
    (21_000, 21_070), (24_890, 24_915), (28_000, 28_070), (50_000, 50_100),
)  # fmt: skip


def band_of(frequency_hz: float) -> Band | None:
    """The band that holds this frequency, edges included, the lower one where two touch; None between the bands."""
    for band in BANDS:
        if band.low_hz <= frequency_hz <= band.high_hz:
            return band
    return None


def band_name(frequency_hz: float) -> str:
    """The name of the band that holds this frequency; empty between the bands."""
    band = band_of(frequency_hz)
    return band.name if band else ""


def band_named(name: str) -> Band | None:
    """The band with this name, like 40m."""
    return next((band for band in BANDS if band.name == name.strip().lower()), None)


def usual_mode(frequency_hz: float) -> Mode:
    """By the custom of the bands: Morse at their lower ends, else voice, lower sideband below 10 MHz.

    The Morse ends follow the band plan of IARU Region 1 (values from memory); the sidebands are common practice, no
    source. On 60 m the custom, and in the United States the rule (47 CFR 97.307), is upper sideband.
    """
    if any(low_khz <= frequency_hz / 1000.0 < high_khz for low_khz, high_khz in MORSE_ENDS_KHZ):
        return "cw"
    return "lsb" if frequency_hz < 10e6 and not 5.06e6 <= frequency_hz <= 5.45e6 else "usb"
