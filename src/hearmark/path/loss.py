"""Losses of a hop besides distance: absorption below, the wave above its MUF, the auroral zone, the ground."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from hearmark.path.hops import incidence_rad

FloatArray = npt.NDArray[np.float64]
OTHER_LOSS_DB = 8.72
"""What the method leaves out otherwise: the median of measured minus computed levels (P.533's Lz; from memory)."""
GROUND_DB = 2.0
ABSORBING_KM = 100.0
FAR_KM = 3000.0


def absorption_index(zenith_deg: npt.ArrayLike, sunspots: float) -> FloatArray:
    """Strength of the D region, 1 with the sun overhead and no spots: (1 + 0.0037 R) cos(0.881 chi)^1.3 (Lucas and
    Haydon, ESSA, 1966), at night not below a fiftieth of the day's (P.533's floor)."""
    cosine = np.cos(np.radians(0.881 * np.clip(np.asarray(zenith_deg), 0.0, 102.0)))
    return np.asarray((1.0 + 0.0037 * sunspots) * np.maximum(np.maximum(cosine, 0.0) ** 1.3, 0.02))


def winter_anomaly(latitude_deg: npt.ArrayLike, month: int) -> FloatArray:
    """Factor on the absorption in local winter: 1.3 at 60 degrees in December (June), 1 below 30 and at the pole.

    P.533 has this shape in its method for long paths (from memory); half of it is taken for the months beside.
    """
    lat = np.asarray(latitude_deg, dtype=np.float64)
    north = {11: 0.5, 12: 1.0, 1: 1.0, 2: 0.5}.get(month, 0.0)
    south = {5: 0.5, 6: 1.0, 7: 1.0, 8: 0.5}.get(month, 0.0)
    shape = np.interp(np.abs(lat), [30.0, 60.0, 90.0], [0.0, 0.3, 0.0])
    return np.asarray(1.0 + shape * np.where(lat >= 0.0, north, south))


def absorption_db(
    frequency_mhz: FloatArray,
    elevation_rad: FloatArray,
    index: FloatArray,
    gyro_mhz: FloatArray,
    depth: FloatArray | None = None,
) -> FloatArray:
    """Loss of one hop, up and down through the D region (Lucas and Haydon, ESSA, 1966). Broadcasts.

    `index`: mean of `absorption_index` over where the ray passes; `gyro_mhz`: gyrofrequency at 100 km; `depth`: share
    of the whole absorption that the ray meets, if it turns back low. The formula's constant 10.2 stands for just that
    at low frequencies, and is left out where `depth` says it in its own right.
    """
    slant = 1.0 / np.cos(incidence_rad(elevation_rad, ABSORBING_KM))
    square = (frequency_mhz + gyro_mhz) ** 1.98
    whole = 677.2 * slant * index
    return np.asarray(whole / (square + 10.2) if depth is None else depth * whole / square)


def above_muf_db(ratio: FloatArray, layer: str, path_km: npt.ArrayLike = 0.0) -> FloatArray:
    """Loss of a mode at `ratio` = frequency / its basic MUF; nothing below 1 (P.533, section 5.2.2; from memory).

    F1 counts as F2, whose loss is another one on paths beyond 3000 km. Broadcasts.
    """
    over = np.maximum(ratio - 1.0, 0.0)
    if layer == "E":
        loss = np.minimum(46.0 * np.sqrt(over) + 5.0, 58.0)
    else:
        near, far = np.minimum(36.0 * np.sqrt(over) + 5.0, 60.0), np.minimum(70.0 * over + 8.0, 80.0)
        loss = np.where(np.asarray(path_km) > FAR_KM, far, near)
    return np.asarray(np.where(over > 0.0, loss, 0.0))


_HOURS = 8
_LATITUDES = (42.5, 47.5, 52.5, 57.5, 62.5, 67.5, 72.5, 77.5)
_AURORAL_DB = {
    ("winter", "near"): """
        0.4 0.3 1.1 0.1 0.1 0.6 0.7 0.3   0.9 0.6 2.2 0.2 0.2 1.2 1.5 0.6
        1.3 1.0 3.2 0.3 0.4 1.8 2.3 0.9   2.0 4.5 6.6 1.4 0.8 2.7 3.0 2.0
        7.0 16.0 14.0 3.6 2.0 6.8 9.8 6.6 6.2 15.6 12.8 2.3 1.5 4.6 7.0 5.0
        3.4 8.3 8.6 0.9 0.5 2.5 3.0 3.0   2.0 6.6 6.2 1.5 0.5 1.4 1.5 1.0""",
    ("equinox", "near"): """
        0.5 0.6 1.6 1.0 0.7 1.3 1.0 1.3   1.1 1.3 3.3 2.0 1.4 2.6 2.0 2.6
        1.7 2.0 5.0 3.0 2.2 4.0 3.0 4.0   2.4 4.4 7.5 5.0 2.6 4.8 5.5 6.1
        6.7 11.2 17.0 9.0 7.2 9.0 10.9 15.0  6.5 12.0 21.4 8.5 4.8 6.0 10.0 13.7
        3.3 11.0 11.6 5.1 2.6 4.0 6.0 7.0 1.4 2.5 7.4 3.8 1.0 2.4 2.4 3.3""",
    ("summer", "near"): """
        0.8 0.6 0.8 0.7 0.8 1.6 1.5 1.3   1.6 1.2 1.6 1.5 1.7 3.3 3.1 2.6
        2.5 1.8 2.4 2.3 2.6 5.0 4.6 4.0   3.2 2.7 4.0 3.0 3.0 6.5 6.7 5.0
        6.5 4.8 9.0 6.0 4.8 9.1 9.5 8.9   4.9 4.2 6.2 4.5 3.8 5.4 7.7 7.2
        2.4 3.0 2.8 3.0 2.7 4.2 4.8 4.5   2.2 2.7 1.2 2.3 2.2 3.8 4.2 3.8""",
    ("winter", "far"): """
        0.3 0.3 0.4 0.0 0.0 0.3 0.5 0.4   0.6 0.6 0.8 0.1 0.1 0.6 1.0 0.9
        0.9 1.0 1.3 0.1 0.1 1.0 1.5 1.4   1.6 2.4 2.7 0.6 0.4 1.7 1.8 3.5
        5.3 7.0 5.9 2.0 0.7 4.0 4.5 10.0  5.5 5.0 7.0 1.9 0.5 3.0 4.5 9.6
        2.5 4.5 4.3 0.8 0.3 1.6 2.0 4.8   1.5 2.7 2.5 0.8 0.0 0.9 0.8 1.6""",
    ("equinox", "far"): """
        0.3 0.3 0.6 0.6 0.4 1.0 0.9 0.6   0.6 0.6 1.2 1.3 0.8 2.0 1.8 1.3
        0.9 0.9 1.8 2.0 1.3 3.1 2.7 2.0   1.4 2.0 3.2 3.8 1.8 4.0 5.4 3.4
        3.9 5.2 7.6 9.0 5.0 7.5 10.0 7.9  3.7 5.6 7.7 8.1 3.5 5.0 9.5 7.3
        1.8 2.9 4.1 5.7 1.5 3.2 5.6 3.6   1.0 1.2 2.7 3.0 0.6 2.0 2.3 1.6""",
    ("summer", "far"): """
        0.7 0.8 0.7 0.3 0.7 0.4 1.4 0.8   1.4 1.6 1.4 0.6 1.4 0.8 2.9 1.6
        2.2 2.4 2.2 1.0 2.2 1.2 4.4 2.5   2.8 3.8 3.7 1.4 2.7 1.6 4.5 3.2
        5.5 8.5 7.6 2.6 4.2 3.2 5.5 5.7   4.4 6.3 5.9 1.9 3.3 1.7 4.4 4.5
        1.9 4.6 2.9 1.3 2.2 1.3 2.8 2.7   1.9 3.8 2.2 1.1 2.1 1.2 2.3 2.4""",
}
"""Auroral and other signal losses, dB (P.533, table 2; from memory): rows of geomagnetic latitude from 42.5 up, columns
of local time at the middle of the path from 01-04, 04-07, ... 22-01; near: up to 2500 km."""
AURORAL_DB = {key: np.array(text.split(), dtype=np.float64).reshape(8, 8) for key, text in _AURORAL_DB.items()}


def auroral_db(
    geomagnetic_deg: FloatArray, local_hour: FloatArray, latitude_deg: FloatArray, month: int, far: npt.ArrayLike
) -> FloatArray:
    """Loss near the auroral zone, once a path; nothing below 42.5 degrees geomagnetic. All arguments broadcast."""
    row = np.clip(np.round((np.abs(geomagnetic_deg) - 42.5) / 5.0), 0, 7).astype(int)
    column = (np.floor((local_hour - 1.0) / 3.0) % _HOURS).astype(int)
    winter = np.isin(month, (11, 12, 1, 2))
    summer = np.isin(month, (5, 6, 7, 8))
    south = latitude_deg < 0.0
    local_winter = np.where(south, summer, winter)
    local_summer = np.where(south, winter, summer)
    out = np.zeros(np.broadcast_shapes(row.shape, column.shape, south.shape, np.shape(far)))
    for season, here in (
        ("winter", local_winter),
        ("summer", local_summer),
        ("equinox", ~local_winter & ~local_summer),
    ):
        for reach, there in (("far", np.asarray(far)), ("near", ~np.asarray(far))):
            out = out + AURORAL_DB[season, reach][row, column] * (here & there)
    return np.asarray(out * (np.abs(geomagnetic_deg) >= 40.0))


def geomagnetic_latitude_deg(latitude_deg: FloatArray, longitude_deg: FloatArray) -> FloatArray:
    """Latitude in the field's dipole of 2020, pole at 80.7 N 72.7 W (IGRF 13; from memory); P.533 has that of 1955."""
    lat, pole = np.radians(latitude_deg), np.radians(80.7)
    east = np.radians(longitude_deg + 72.7)
    return np.asarray(np.degrees(np.arcsin(np.sin(lat) * np.sin(pole) + np.cos(lat) * np.cos(pole) * np.cos(east))))
