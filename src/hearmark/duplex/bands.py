"""Amateur bands at their widest, and the customs that go with them.

Edges are the widest of the three ITU regions, from the band enumeration of ADIF 3.1.6 (adif.org.uk); they say what is
plausible, never what is allowed (see `privileges`).
"""

from __future__ import annotations

from dataclasses import dataclass

from hearmark.events import Mode


@dataclass(frozen=True, slots=True)
class Band:
    """One amateur band by its wavelength, edges in hertz."""

    name: str
    low_hz: float
    high_hz: float


BANDS = tuple(
    Band(name, low_mhz * 1e6, high_mhz * 1e6)
    for name, low_mhz, high_mhz in (
        ("2190m", 0.1357, 0.1378), ("630m", 0.472, 0.479), ("160m", 1.8, 2.0), ("80m", 3.5, 4.0),
        ("60m", 5.06, 5.45), ("40m", 7.0, 7.3), ("30m", 10.1, 10.15), ("20m", 14.0, 14.35), ("17m", 18.068, 18.168),
        ("15m", 21.0, 21.45), ("12m", 24.89, 24.99), ("10m", 28.0, 29.7), ("8m", 40.0, 45.0), ("6m", 50.0, 54.0),
        ("5m", 54.000001, 69.9), ("4m", 70.0, 71.0), ("2m", 144.0, 148.0), ("1.25m", 222.0, 225.0),
        ("70cm", 420.0, 450.0), ("33cm", 902.0, 928.0), ("23cm", 1240.0, 1300.0), ("13cm", 2300.0, 2450.0),
        ("9cm", 3300.0, 3500.0), ("6cm", 5650.0, 5925.0), ("3cm", 10_000.0, 10_500.0), ("1.25cm", 24_000.0, 24_250.0),
        ("6mm", 47_000.0, 47_200.0), ("4mm", 75_500.0, 81_000.0), ("2.5mm", 119_980.0, 123_000.0),
        ("2mm", 134_000.0, 149_000.0), ("1mm", 241_000.0, 250_000.0),
    )
)  # fmt: skip

MORSE_ENDS_KHZ = (
    (1_810, 1_838), (3_500, 3_570), (7_000, 7_040), (10_100, 10_130), (14_000, 14_070), (18_068, 18_095),
    (21_000, 21_070), (24_890, 24_915), (28_000, 28_070), (50_000, 50_100),
)  # fmt: skip


def band_of(frequency_hz: float) -> Band | None:
    """The band that holds this frequency, edges included; None between the bands."""
    return next((band for band in BANDS if band.low_hz <= frequency_hz <= band.high_hz), None)


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
