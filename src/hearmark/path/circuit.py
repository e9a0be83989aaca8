"""The circuit up to 9000 km: every mode by E and F2 with its loss, after ITU-R P.533 as far as its text can go here.

Arrays are (paths, times, frequencies); each mode is computed for all of them at once. Frequencies are the same for all
paths, shape (F,), or each path's own, shape (P, 1, F).
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from hearmark.path.antenna import Antenna
from hearmark.path.depth import ES_DEPTH, depth_factor
from hearmark.path.geodesic import POINTS, Route
from hearmark.path.hops import elevation_rad, incidence_rad, mirror_height_km, pierce_km, ray_km
from hearmark.path.ionosphere import Ionosphere
from hearmark.path.loss import (
    GROUND_DB,
    OTHER_LOSS_DB,
    absorption_db,
    absorption_index,
    auroral_db,
    geomagnetic_latitude_deg,
    winter_anomaly,
)
from hearmark.path.muf import F1_HOPS_KM, LONGEST_HOP_KM, f1_critical_mhz, f1_muf_mhz, f2_muf_mhz
from hearmark.path.sporadic import HEIGHT_KM as ES_KM
from hearmark.path.sporadic import LONGEST_HOP_KM as ES_LONGEST_KM
from hearmark.path.storm import auroral_extra_db, muf_factor

FloatArray = npt.NDArray[np.float64]
NEVER_DB = -400.0
MOST_HOPS = 6
E_KM = 110.0
F1_KM = 200.0
E_REACH_KM = 4000.0
LOWEST_ELEVATION_RAD = 0.0
SCREEN = 1.05
"""An E layer up to this many times its critical frequency, at the slant, hides the F2 layer (P.533)."""


@dataclass(frozen=True, slots=True)
class Mode:
    """One mode over all paths, times, frequencies.

    `name`: such as "2F2"; `gain_db`: received over transmitted power while reflected, antennas included, shape
    (P, T, F), NEVER_DB where the geometry forbids it; `muf_mhz`: (P, T), or foEs for sporadic E;
    `elevation_deg`: (P, T, F).
    """

    name: str
    layer: str
    hop_km: FloatArray
    gain_db: FloatArray
    muf_mhz: FloatArray
    elevation_deg: FloatArray


class Sky:
    """The ionosphere along some routes, read at any share of them.

    `points`: which of the POINTS of each route `ionosphere` holds, shape (P, K), ascending; all if left out.
    `zenith_deg`: the sun over all POINTS, shape (P, POINTS, T), where `ionosphere` holds only some.
    """

    def __init__(
        self,
        routes: list[Route],
        ionosphere: Ionosphere,
        sunspots: float,
        month: int,
        kp: float | None = None,
        points: npt.NDArray[np.int_] | None = None,
        zenith_deg: FloatArray | None = None,
    ) -> None:
        self.routes, self.sunspots, self.month = routes, sunspots, month
        self.length_km = np.array([r.distance_km for r in routes])
        held = POINTS if points is None else points.shape[1]
        layers = ("fof2_mhz", "m3000", "foe_mhz", "es_low_mhz", "es_mhz", "es_high_mhz", "zenith_deg")
        self._maps = {name: getattr(ionosphere, name).reshape(len(routes), held, -1) for name in layers}
        self._maps |= {
            name: np.asarray(getattr(ionosphere, name)).reshape(len(routes), held, 1)
            for name in ("gyro_mhz", "gyro_d_mhz")
        }
        lat = np.array([r.latitude_deg for r in routes])
        lon = np.array([r.longitude_deg for r in routes])
        self.latitude_deg, self.longitude_deg = lat, lon
        self.geomagnetic_deg = geomagnetic_latitude_deg(lat, lon)
        storm = muf_factor(kp, self.geomagnetic_deg, lat, month)
        self._column: npt.NDArray[np.int_] | None = None
        if points is not None:
            # a point that is not held leads to a column that is not there
            self._column = np.full((len(routes), POINTS), held)
            np.put_along_axis(self._column, points, np.arange(held)[None, :], axis=1)
            storm = np.take_along_axis(storm, points, axis=1)
        self._maps["fof2_mhz"] = self._maps["fof2_mhz"] * storm[..., None]
        self.storm_db = auroral_extra_db(kp, self.geomagnetic_deg).max(axis=1)
        if zenith_deg is not None:
            self._maps["zenith_deg"] = zenith_deg

    def take(self, rows: npt.NDArray[np.int_]) -> Sky:
        """The same over some of the routes, each as often as it is named."""
        out = copy(self)
        out.routes = [self.routes[row] for row in rows]
        out.length_km, out.storm_db = self.length_km[rows], self.storm_db[rows]
        out.latitude_deg, out.longitude_deg = self.latitude_deg[rows], self.longitude_deg[rows]
        out.geomagnetic_deg = self.geomagnetic_deg[rows]
        out._column = None if self._column is None else self._column[rows]
        out._maps = {name: values[rows] for name, values in self._maps.items()}
        return out

    def _map(self, name: str) -> FloatArray:
        """The values along the routes; what follows from the sun is worked out when it is first asked for."""
        if name not in self._maps:
            zenith = self._maps["zenith_deg"]
            if name == "fof1_mhz":
                self._maps[name] = f1_critical_mhz(zenith, self.geomagnetic_deg[..., None], self.sunspots)
            elif name == "absorption":
                # absorption is averaged where the sun is down as well: interpolate the index, not the angle
                index = absorption_index(zenith, self.sunspots)
                self._maps[name] = index * winter_anomaly(self.latitude_deg, self.month)[..., None]
        return np.asarray(self._maps[name])

    def at(self, name: str, share: FloatArray | float) -> FloatArray:
        """A quantity at a share 0..1 of each route: (P, T)."""
        where = np.clip(np.broadcast_to(np.asarray(share, dtype=np.float64), self.length_km.shape), 0.0, 1.0)
        position = where * (POINTS - 1)
        low = np.minimum(position.astype(int), POINTS - 2)
        weight = (position - low)[:, None]
        values, rows, high = self._map(name), np.arange(len(self.routes)), low + 1
        if self._column is not None and values.shape[1] != POINTS:
            low, high = self._column[rows, low], self._column[rows, high]
        return np.asarray(values[rows, low] * (1.0 - weight) + values[rows, high] * weight)


def modes(sky: Sky, frequency_hz: FloatArray, hours_utc: FloatArray, transmit: Antenna, receive: Antenna) -> list[Mode]:
    """All modes by E, F2 and sporadic E of up to MOST_HOPS hops. `hours_utc`: shape (T,)."""
    mhz = frequency_hz / 1e6
    common = OTHER_LOSS_DB + _auroral(sky, hours_utc)[..., None]
    out = []
    for hops in range(1, MOST_HOPS + 1):
        f2 = _f2(sky, hops, mhz, transmit, receive, common)
        out += [f2] if f2 else []
    for hops in (1, 2):
        f1 = _f1(sky, hops, mhz, transmit, receive, common)
        out += [f1] if f1 else []
    for hops in (1, 2, 3):
        for layer in ("E", "Es"):
            mode = _low(sky, hops, layer, mhz, transmit, receive, common)
            out += [mode] if mode else []
    return out


def _auroral(sky: Sky, hours_utc: FloatArray) -> FloatArray:
    """Mean over the control points, (P, T): the middle up to 2000 km, else also 1000 km from either end (P.533)."""
    lat, lon = sky.latitude_deg, sky.longitude_deg
    rows = np.arange(len(lat))
    far = (sky.length_km > 2500.0)[:, None]
    foot = 1000.0 / np.maximum(sky.length_km, 2000.0)
    total, count = np.zeros(()), np.zeros(())
    for share, counts in ((0.5 + 0.0 * foot, True), (foot, False), (1.0 - foot, False)):
        point = np.round(share * (POINTS - 1)).astype(int)
        local = (hours_utc[None, :] + lon[rows, point][:, None] / 15.0) % 24.0
        loss = auroral_db(sky.geomagnetic_deg[rows, point][:, None], local, lat[rows, point][:, None], sky.month, far)
        used = (sky.length_km > 2000.0)[:, None] | counts
        total, count = total + loss * used, count + used
    return np.asarray((total / count + sky.storm_db[:, None]) * (sky.length_km[:, None] > 150.0))


def _absorption(
    sky: Sky, hops: int, mhz: FloatArray, elevation: FloatArray, depth: FloatArray | None = None
) -> FloatArray:
    """All hops together, (P, T, F); the ray meets the D region at both feet of each hop."""
    typical = np.maximum(elevation_rad(sky.length_km / hops, 300.0), 0.0)
    foot = np.minimum(pierce_km(typical, 90.0) / np.maximum(sky.length_km, 1.0), 0.5 / hops)
    index, gyro = np.zeros(()), np.zeros(())
    for hop in range(hops):
        for share in (hop / hops + foot, (hop + 1) / hops - foot):
            index = index + sky.at("absorption", share) / (2 * hops)
            gyro = gyro + sky.at("gyro_d_mhz", share) / (2 * hops)
    one = absorption_db(mhz, elevation, np.asarray(index)[..., None], np.asarray(gyro)[..., None], depth)
    return hops * one


def _spread_db(sky: Sky, hops: int, mhz: FloatArray, elevation: FloatArray) -> FloatArray:
    """Basic free-space loss along the ray, (P, T, F)."""
    length_km = hops * ray_km((sky.length_km / hops)[:, None, None], elevation)
    return np.asarray(32.45 + 20.0 * np.log10(mhz) + 20.0 * np.log10(np.maximum(length_km, 1.0)))


def _antennas(transmit: Antenna, receive: Antenna, elevation: FloatArray, mhz: FloatArray) -> FloatArray:
    return transmit.gain_dbi(elevation, mhz * 1e6) + receive.gain_dbi(elevation, mhz * 1e6)


def _f2(sky: Sky, hops: int, mhz: FloatArray, transmit: Antenna, receive: Antenna, common: FloatArray) -> Mode | None:
    hop_km = sky.length_km / hops
    allowed = hop_km <= LONGEST_HOP_KM
    # a hop of some kilometres straight up and down many times is no mode
    allowed &= (hops == 1) | (hop_km > 60.0)
    if not allowed.any():
        return None
    middles = [(2 * hop + 1) / (2 * hops) for hop in range(hops)]
    at = {name: [sky.at(name, share) for share in middles] for name in ("fof2_mhz", "m3000", "foe_mhz", "gyro_mhz")}
    mufs = [
        f2_muf_mhz(hop_km[:, None], fof2, m3000, foe, gyro)
        for fof2, m3000, foe, gyro in zip(at["fof2_mhz"], at["m3000"], at["foe_mhz"], at["gyro_mhz"], strict=True)
    ]
    muf = np.min(mufs, axis=0)
    fof2, m3000, foe = (np.mean(at[name], axis=0)[..., None] for name in ("fof2_mhz", "m3000", "foe_mhz"))
    height = mirror_height_km(mhz, hop_km[:, None, None], fof2, foe, m3000, sky.sunspots)
    elevation = elevation_rad(hop_km[:, None, None], height)
    seen = elevation > LOWEST_ELEVATION_RAD
    elevation = np.maximum(elevation, 0.0)
    gain = (
        _antennas(transmit, receive, elevation, mhz)
        - _spread_db(sky, hops, mhz, elevation)
        - _absorption(sky, hops, mhz, elevation)
        - GROUND_DB * (hops - 1)
        - common
        - _hidden_db(np.max(at["foe_mhz"], axis=0)[..., None], elevation, mhz)
    )
    gain = np.where(seen & allowed[:, None, None], gain, NEVER_DB)
    return Mode(f"{hops}F2", "F2", hop_km, gain, muf, np.degrees(elevation))


def _f1(sky: Sky, hops: int, mhz: FloatArray, transmit: Antenna, receive: Antenna, common: FloatArray) -> Mode | None:
    """A mode by the F1 layer, which in summer can carry more than the F2 layer above it."""
    hop_km = sky.length_km / hops
    allowed = (hop_km >= F1_HOPS_KM[0]) & (hop_km <= F1_HOPS_KM[1])
    if not allowed.any():
        return None
    middles = [(2 * hop + 1) / (2 * hops) for hop in range(hops)]
    muf = np.min([f1_muf_mhz(hop_km[:, None], sky.at("fof1_mhz", share), sky.sunspots) for share in middles], axis=0)
    elevation = np.maximum(elevation_rad(hop_km, F1_KM), 0.0)[:, None, None]
    foe = np.max([sky.at("foe_mhz", share) for share in middles], axis=0)[..., None]
    gain = (
        _antennas(transmit, receive, elevation, mhz)
        - _spread_db(sky, hops, mhz, elevation)
        - _absorption(sky, hops, mhz, elevation)
        - GROUND_DB * (hops - 1)
        - common
        - _hidden_db(foe, elevation, mhz)
    )
    gain = np.where(allowed[:, None, None] & (muf > 0.0)[..., None], gain, NEVER_DB)
    return Mode(f"{hops}F1", "F1", hop_km, gain, np.maximum(muf, 0.1), np.degrees(elevation) + 0.0 * gain)


def _hidden_db(foe_mhz: FloatArray, elevation: FloatArray, mhz: FloatArray) -> FloatArray:
    """Loss behind an E layer; it varies by some per cent, so that it hides what is above little by little."""
    screen = SCREEN * foe_mhz / np.cos(incidence_rad(elevation, E_KM))
    return np.asarray(60.0 * np.clip((screen / mhz - 0.95) / 0.1, 0.0, 1.0))


def _low(
    sky: Sky, hops: int, layer: str, mhz: FloatArray, transmit: Antenna, receive: Antenna, common: FloatArray
) -> Mode | None:
    """A mode by the E layer or by sporadic E."""
    hop_km = sky.length_km / hops
    height = E_KM if layer == "E" else ES_KM
    reach = E_REACH_KM if layer == "E" else 2.0 * ES_LONGEST_KM
    allowed = (hop_km <= ES_LONGEST_KM) & (sky.length_km <= reach) & ((hops == 1) | (hop_km > 60.0))
    if not allowed.any():
        return None
    middles = [(2 * hop + 1) / (2 * hops) for hop in range(hops)]
    elevation = np.maximum(elevation_rad(hop_km, height), 0.0)[:, None, None]
    if layer == "E":
        slant = 1.0 / np.cos(incidence_rad(elevation[..., 0], height))
        muf = np.min([sky.at("foe_mhz", share) for share in middles], axis=0) * slant
        depth = depth_factor(mhz / muf[..., None])
    else:
        muf = np.min([sky.at("es_mhz", share) for share in middles], axis=0)
        depth = np.asarray(ES_DEPTH)
    gain = (
        _antennas(transmit, receive, elevation, mhz)
        - _spread_db(sky, hops, mhz, elevation)
        - _absorption(sky, hops, mhz, elevation, depth)
        - GROUND_DB * (hops - 1)
        - common
    )
    gain = np.where(allowed[:, None, None], gain, NEVER_DB)
    return Mode(f"{hops}{layer}", layer, hop_km, gain, muf, np.degrees(elevation) + 0.0 * gain)


def ground_wave_db(distance_km: FloatArray, frequency_hz: FloatArray) -> FloatArray:
    """Received over transmitted power of the ground wave between two verticals, (P, 1, F), over average ground.

    Sommerfeld's attenuation in Norton's form (Proc. IRE 1936/37; approximation as in Terman's handbook, from memory),
    and beyond 80 / cube root of MHz kilometres a loss that grows with the distance (common practice, no source).
    """
    mhz = frequency_hz / 1e6
    d = np.maximum(distance_km, 0.1)[:, None, None]
    wavelength_m = 299.792_458 / mhz
    x = 18_000.0 * 0.005 / mhz
    permittivity = 13.0
    b = np.arctan((permittivity + 1.0) / x)
    p = np.pi * d * 1000.0 / (wavelength_m * x) * np.cos(b)
    factor = (2.0 + 0.3 * p) / (2.0 + p + 0.6 * p**2) - np.sqrt(p / 2.0) * np.exp(-0.6 * p) * np.sin(b)
    free = 32.45 + 20.0 * np.log10(mhz) + 20.0 * np.log10(d)
    bend = np.maximum(d - 80.0 / np.cbrt(mhz), 0.0) * 0.0885 * np.cbrt(mhz)
    return np.asarray(-free + 20.0 * np.log10(np.maximum(np.abs(factor), 1e-6)) - bend)
