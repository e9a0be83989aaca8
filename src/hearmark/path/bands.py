"""The amateur bands that the ionosphere carries, and what each mode needs to be read."""

from __future__ import annotations

BANDS: dict[str, tuple[float, float, float]] = {
    "160 m": (1.8e6, 2.0e6, 1.83e6),
    "80 m": (3.5e6, 4.0e6, 3.53e6),
    "60 m": (5.25e6, 5.45e6, 5.36e6),
    "40 m": (7.0e6, 7.3e6, 7.03e6),
    "30 m": (10.1e6, 10.15e6, 10.12e6),
    "20 m": (14.0e6, 14.35e6, 14.05e6),
    "17 m": (18.068e6, 18.168e6, 18.09e6),
    "15 m": (21.0e6, 21.45e6, 21.05e6),
    "12 m": (24.89e6, 24.99e6, 24.91e6),
    "10 m": (28.0e6, 29.7e6, 28.05e6),
}
"""Edges and a frequency that stands for the band, Hz: the widest allocation of any region (ADIF 3.1.6 band enumeration
for the edges; where within them one may send, the licence says)."""

NEEDS_DB_HZ = {"cw": 27.0, "ssb": 43.0}
"""Signal over noise density that serves, dB-Hz: Morse with 0 dB in 500 Hz; speech with 10 dB in 2000 Hz, just enough
for a trained ear (common practice, no source)."""


def band_of(frequency_hz: float) -> str | None:
    """Name of the band that holds the frequency; None outside."""
    for name, (low_hz, high_hz, _) in BANDS.items():
        if low_hz <= frequency_hz <= high_hz:
            return name
    return None


def name_of(frequency_hz: float) -> str:
    """Name of the band, or the frequency in MHz."""
    return band_of(frequency_hz) or f"{frequency_hz / 1e6:g} MHz"
