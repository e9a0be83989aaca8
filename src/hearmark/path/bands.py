"""The amateur bands that the ionosphere carries, and what each mode needs to be read."""

from __future__ import annotations

from hearmark.duplex.bands import EDGES_HZ

_STANDS_FOR_MHZ = {
    "160m": 1.83, "80m": 3.53, "60m": 5.36, "40m": 7.03, "30m": 10.12,
    "20m": 14.05, "17m": 18.09, "15m": 21.05, "12m": 24.91, "10m": 28.05,
}  # fmt: skip
BANDS: dict[str, tuple[float, float, float]] = {
    f"{name[:-1]} m": (*EDGES_HZ[name], middle_mhz * 1e6) for name, middle_mhz in _STANDS_FOR_MHZ.items()
}
"""Edges and a frequency that stands for the band, Hz; where within the edges one may send, the licence says."""

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
