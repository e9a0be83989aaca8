"""External noise of a place: man-made, galactic and, simplified, from thunderstorms (ITU-R P.372)."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
KT0_DBM_HZ = -173.975
"""Thermal noise density at 290 K, dBm in 1 Hz (Boltzmann constant, SI 2019)."""
MEDIANS = {
    "city": (76.8, 27.7),
    "residential": (72.5, 27.7),
    "rural": (67.2, 27.7),
    "quiet": (53.6, 28.6),
    "galactic": (52.0, 23.0),
}
"""Fam = c - d log10(f / MHz), dB over kT0 (ITU-R P.372, table of man-made noise; quiet: quiet rural)."""
DECILES_DB = {"city": (11.0, 6.7), "residential": (10.6, 5.3), "rural": (9.2, 4.6), "quiet": (9.2, 4.6)}
"""Upper and lower decile of the man-made noise over time, dB from the median (quiet: as rural)."""
PLACE_DECILE_DB = {"city": 8.4, "residential": 5.8, "rural": 6.8, "quiet": 6.8}
"""Either decile of its median from place to place of one kind (same table, from memory; quiet: as rural)."""


def median_db(kind: str, frequency_hz: npt.ArrayLike) -> FloatArray:
    """Median noise figure Fam of one kind, dB over kT0."""
    c, d = MEDIANS[kind]
    return np.asarray(c - d * np.log10(np.asarray(frequency_hz) / 1e6))


def thunder_db(
    frequency_hz: npt.ArrayLike, latitude_deg: npt.ArrayLike, zenith_deg: npt.ArrayLike, declination_deg: npt.ArrayLike
) -> FloatArray:
    """Atmospheric noise, dB over kT0: a coarse stand-in for the world maps of P.372, which are not in here.

    Level at 1 MHz by distance from the thunderstorm belt, which follows the sun, and by night and day; from memory of
    the maps' broad features, within perhaps 10 dB. Arguments broadcast.
    """
    away = np.abs(np.asarray(latitude_deg) - np.asarray(declination_deg))
    night_1mhz = np.interp(away, [0.0, 20.0, 40.0, 60.0, 80.0, 115.0], [88.0, 84.0, 74.0, 66.0, 58.0, 52.0])
    day_1mhz = np.interp(away, [0.0, 20.0, 40.0, 60.0, 80.0, 115.0], [64.0, 58.0, 42.0, 32.0, 26.0, 22.0])
    decades = np.log10(np.asarray(frequency_hz) / 1e6)
    night = night_1mhz - 35.0 * decades - 8.0 * decades**2
    day = day_1mhz - 18.0 * decades - 4.0 * decades**2
    dark = np.clip((np.asarray(zenith_deg) - 80.0) / 25.0, 0.0, 1.0)
    return np.asarray(dark * night + (1.0 - dark) * day)


def total_db(
    environment: str,
    frequency_hz: npt.ArrayLike,
    fof2_mhz: npt.ArrayLike,
    thunder: npt.ArrayLike,
    receiver_db: float = 10.0,
) -> FloatArray:
    """Median of all noise, dB over kT0; galactic noise reaches the ground only above the critical frequency."""
    frequency_hz = np.asarray(frequency_hz)
    galactic = median_db("galactic", frequency_hz) - 60.0 * (frequency_hz < np.asarray(fof2_mhz) * 1e6)
    parts = (median_db(environment, frequency_hz), galactic, np.asarray(thunder), np.asarray(receiver_db))
    return np.asarray(10.0 * np.log10(sum((10.0 ** (part / 10.0) for part in parts), np.zeros(()))))
