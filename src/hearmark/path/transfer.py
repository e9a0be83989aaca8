"""Received over transmitted power of whole circuits, over days that differ in MUF and in sporadic E."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
import numpy.typing as npt

from hearmark.path.antenna import Antenna
from hearmark.path.circuit import NEVER_DB, Mode, Sky, ground_wave_db, modes
from hearmark.path.conditions import Conditions
from hearmark.path.geodesic import Route
from hearmark.path.ionosphere import ionosphere
from hearmark.path.longhaul import ALONE_KM, BEGINS_KM, LongHaul
from hearmark.path.loss import above_muf_db
from hearmark.path.reliability import NORMAL, es_scale, muf_scale
from hearmark.path.sporadic import reflection_db

FloatArray = npt.NDArray[np.float64]
FLAT_EARTH_KM = 500.0
"""Beyond it the ground wave is not worth a thought at these powers."""
_TINY = 1e-40


@dataclass(frozen=True, slots=True)
class Transfer:
    """`parts_db`: shape (days, routes, times, frequencies), equally likely days. Strongest mode on the median day:
    `mode` indexes `mode_names`, `elevation_deg` its elevation. `muf_mhz`: (routes, times). `fof2_here_mhz`,
    `fof2_there_mhz`: (routes, times)."""

    parts_db: FloatArray
    mode: npt.NDArray[np.int_]
    mode_names: tuple[str, ...]
    elevation_deg: FloatArray
    muf_mhz: FloatArray
    fof2_here_mhz: FloatArray
    fof2_there_mhz: FloatArray


def skies(routes: list[Route], times: list[datetime], conditions: Conditions) -> tuple[Sky, Sky]:
    """The ionosphere along the routes at the times, and over the whole day of the middle one."""
    middle = times[len(times) // 2]
    start = middle.replace(hour=0, minute=0, second=0, microsecond=0)
    hours = [start + timedelta(hours=h) for h in range(24)]
    lat = np.concatenate([r.latitude_deg for r in routes])
    lon = np.concatenate([r.longitude_deg for r in routes])
    sunspots = conditions.effective_sunspots

    def sky(moments: list[datetime]) -> Sky:
        maps = ionosphere(lat, lon, moments, sunspots, conditions.coefficients)
        return Sky(routes, maps, sunspots, middle.month, conditions.kp)

    now = sky(times)
    return now, (now if times == hours else sky(hours))


def transfer(
    routes: list[Route],
    times: list[datetime],
    frequency_hz: FloatArray,
    conditions: Conditions,
    transmit: Antenna,
    receive: Antenna,
) -> Transfer:
    """All routes, times (UTC) and frequencies at once."""
    sky, day = skies(routes, times, conditions)
    hours = np.array([t.astimezone(UTC).hour + t.minute / 60.0 for t in times])
    found = modes(sky, frequency_hz, hours, transmit, receive)
    parts = hop_parts_db(sky, found, frequency_hz, transmit, receive)
    muf = _lowest_muf(found, sky)
    share = haul_share(sky.length_km)
    far = np.flatnonzero(share > 0.0)
    if far.size:
        haul = LongHaul(sky, day, frequency_hz, transmit, receive)
        part = share[far, None, None]
        parts[:, far] = (1.0 - part) * parts[:, far] + part * haul_parts_db(haul, sky)[:, far]
        muf[far] = haul.muf_mhz[far]
    strongest, elevation = _strongest(found, frequency_hz / 1e6, sky.length_km[:, None, None])
    return Transfer(
        parts + conditions.level_db, strongest, tuple(m.name for m in found), elevation, muf,
        sky.at("fof2_mhz", 0.0), sky.at("fof2_mhz", 1.0),
    )  # fmt: skip


def haul_share(length_km: FloatArray) -> FloatArray:
    """How much the method for far circuits counts: nothing up to 7000 km, alone from 9000 km."""
    return np.asarray(np.clip((length_km - BEGINS_KM) / (ALONE_KM - BEGINS_KM), 0.0, 1.0))


def hop_parts_db(
    sky: Sky, found: list[Mode], frequency_hz: FloatArray, transmit: Antenna, receive: Antenna
) -> FloatArray:
    """All modes and the ground wave together on equally likely days: (days, P, T, F)."""
    zenith = sky.at("zenith_deg", 0.5)
    shape = (*zenith.shape, frequency_hz.shape[-1])
    mhz = frequency_hz / 1e6
    steady = _ground(sky, frequency_hz, transmit, receive, shape)
    for mode in found:
        if mode.layer == "E":
            steady = steady + _power(mode.gain_db - above_muf_db(mhz / mode.muf_mhz[..., None], "E"))
    path_km = sky.length_km[:, None, None]
    by_f2 = np.array([np.broadcast_to(_f2(found, mhz, muf_scale(zenith, z), path_km), shape) for z in NORMAL])
    low, median, high = (sky.at(name, 0.5) for name in ("es_low_mhz", "es_mhz", "es_high_mhz"))
    by_es = np.array([np.broadcast_to(_es(found, mhz, es_scale(low, median, high, z)), shape) for z in NORMAL])
    parts = 10.0 * np.log10(by_f2[:, None] + by_es[None, :] + steady + _TINY)
    return np.asarray(parts.reshape(-1, *shape))


def haul_parts_db(haul: LongHaul, sky: Sky) -> FloatArray:
    """The same by the method for far circuits, to which sporadic E is nothing: (days, P, T, F)."""
    zenith = sky.at("zenith_deg", 0.5)
    return np.repeat([haul.gain_db(muf_scale(zenith, z)) for z in NORMAL], len(NORMAL), axis=0)


def _power(db: FloatArray) -> FloatArray:
    return np.asarray(10.0 ** (np.maximum(db, NEVER_DB) / 10.0))


def _f2(found: list[Mode], mhz: FloatArray, scale: FloatArray, path_km: FloatArray) -> FloatArray:
    total = np.zeros(())
    for mode in found:
        if mode.layer in ("F1", "F2"):
            total = total + _power(mode.gain_db - above_muf_db(mhz / (mode.muf_mhz * scale)[..., None], "F2", path_km))
    return total


def _es(found: list[Mode], mhz: FloatArray, scale: FloatArray) -> FloatArray:
    total = np.zeros(())
    for mode in found:
        if mode.layer == "Es":
            hops = round(float(mode.name[:-2]))
            one = reflection_db(mhz, (mode.muf_mhz * scale)[..., None], mode.hop_km[:, None, None])
            total = total + _power(mode.gain_db - hops * one)
    return total


def _ground(
    sky: Sky, frequency_hz: FloatArray, transmit: Antenna, receive: Antenna, shape: tuple[int, ...]
) -> FloatArray:
    """The ground wave's power; horizontal antennas take part by their feeders and masts only, 15 dB down each
    (common practice, no source)."""
    down = sum(15.0 for antenna in (transmit, receive) if antenna.kind in ("dipole", "beam"))
    gain = ground_wave_db(sky.length_km, frequency_hz) - down
    near = np.less(sky.length_km, FLAT_EARTH_KM)[:, None, None]
    return np.broadcast_to(_power(np.where(near, gain, NEVER_DB)), shape)


def _lowest_muf(found: list[Mode], sky: Sky) -> FloatArray:
    """Basic MUF of the lowest-order F2 mode that the geometry allows, or of the E layer where that is higher."""
    best = np.zeros((len(sky.length_km), sky.at("fof2_mhz", 0.5).shape[1]))
    for mode in reversed(found):
        possible = (mode.gain_db.max(axis=(1, 2)) > NEVER_DB)[:, None]
        if mode.layer in ("F1", "F2", "E"):
            best = np.where(possible, np.maximum(mode.muf_mhz, best), best)
    return best


def _strongest(found: list[Mode], mhz: FloatArray, path_km: FloatArray) -> tuple[npt.NDArray[np.int_], FloatArray]:
    best = np.full(found[0].gain_db.shape, -np.inf)
    index, elevation = np.zeros(best.shape, dtype=int), np.zeros(best.shape)
    for number, mode in enumerate(found):
        if mode.layer == "Es":
            lost = round(float(mode.name[:-2])) * reflection_db(
                mhz, mode.muf_mhz[..., None], mode.hop_km[:, None, None]
            )
        else:
            lost = above_muf_db(mhz / mode.muf_mhz[..., None], mode.layer, path_km)
        level = mode.gain_db - lost
        better = level > best
        best, index = np.where(better, level, best), np.where(better, number, index)
        elevation = np.where(better, mode.elevation_deg, elevation)
    return index, elevation
