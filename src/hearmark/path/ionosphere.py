"""The ionosphere above points, hour by hour: PyIRI's maps (CCIR or URSI coefficients) for a day and a solar index."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from hearmark.path.sun import zenith_deg

FloatArray = npt.NDArray[np.float64]
LARGEST_SUNSPOT_NUMBER = 240.0
"""Where the ionospheric index that follows from the sunspot number stops growing."""


@dataclass(frozen=True, slots=True)
class Ionosphere:
    """Monthly medians above points at times. Shapes (points, times); MHz, km, degrees. `modip_deg`, `gyro_mhz`,
    `gyro_d_mhz`, `dip_latitude_deg`: (points,); gyrofrequency at 300 km and at 100 km.

    `es_low_mhz`, `es_mhz`, `es_high_mhz`: foEs exceeded on 90, 50 and 10 % of the days.
    """

    fof2_mhz: FloatArray
    m3000: FloatArray
    hmf2_km: FloatArray
    foe_mhz: FloatArray
    es_low_mhz: FloatArray
    es_mhz: FloatArray
    es_high_mhz: FloatArray
    zenith_deg: FloatArray
    modip_deg: FloatArray
    dip_latitude_deg: FloatArray
    gyro_mhz: FloatArray
    gyro_d_mhz: FloatArray


def sunspot_number(solar_flux: float) -> float:
    """12-month sunspot number from the 10.7 cm flux: R = 33.52 sqrt(85.12 + F) - 408.99 (ITU-R P.371; from memory)."""
    return float(max(33.52 * np.sqrt(85.12 + solar_flux) - 408.99, 0.0))


def solar_flux(sunspots: float) -> float:
    """The inverse of `sunspot_number`: F = 63.7 + 0.728 R + 0.00089 R^2 (ITU-R P.371; from memory)."""
    return float(((sunspots + 408.99) / 33.52) ** 2 - 85.12)


@lru_cache(maxsize=12)
def _coefficients(month: int) -> dict[str, FloatArray]:
    import PyIRI
    from PyIRI import main_library as iri

    ccir, ursi, m3000, median, low, high = iri.read_ccir_ursi_coeff(month, PyIRI.coeff_dir, output_deciles=True)
    read = {"CCIR": ccir, "URSI": ursi, "M3000": m3000, "Es_median": median, "Es_lower": low, "Es_upper": high}
    return {name: np.asarray(array, dtype=np.float64) for name, array in read.items()}


@lru_cache(maxsize=4)
def _field(year: float, latitude: bytes, longitude: bytes, height_km: float) -> tuple[FloatArray, FloatArray]:
    """Dip in degrees and total field in nT (IGRF 13)."""
    import PyIRI
    from PyIRI import igrf_library as igrf

    lat, lon = np.frombuffer(latitude), np.frombuffer(longitude)
    out = igrf.inclination(PyIRI.coeff_dir, year, lon, lat, height_km, only_inc=False)
    return np.asarray(out[0]), np.asarray(out[6])


def _months(when: datetime) -> tuple[tuple[int, float], tuple[int, float]]:
    """The two months whose middles lie about the day, with their weights."""
    middle = datetime(when.year, when.month, 15, tzinfo=UTC)
    other = middle + timedelta(days=30 if when >= middle else -30)
    weight = min(abs((when - middle).total_seconds()) / (30.44 * 86_400.0), 1.0)
    return (when.month, 1.0 - weight), (other.month, weight)


def ionosphere(
    latitude_deg: npt.ArrayLike,
    longitude_deg: npt.ArrayLike,
    times: list[datetime],
    sunspots: float,
    coefficients: str = "CCIR",
) -> Ionosphere:
    """Medians over points and times.

    `latitude_deg`, `longitude_deg`: shape (points,). `times`: UTC, at most some days long; months are interpolated to
    the middle one. `sunspots`: 12-month smoothed number; foF2 follows the ionospheric index that PyIRI derives from it,
    M(3000) the number itself. `coefficients`: "CCIR" or "URSI", for foF2.
    """
    from PyIRI import igrf_library as igrf
    from PyIRI import main_library as iri

    lat = np.ascontiguousarray(latitude_deg, dtype=np.float64)
    lon = np.ascontiguousarray(longitude_deg, dtype=np.float64)
    middle = times[len(times) // 2]
    hours = np.array([t.hour + t.minute / 60.0 + t.second / 3600.0 for t in times])
    year = middle.year + (middle.month - 0.5) / 12.0
    dip, field_nt = _field(year, lat.tobytes(), lon.tobytes(), 300.0)
    low_nt = _field(year, lat.tobytes(), lon.tobytes(), 100.0)[1]
    modip = np.asarray(igrf.inc2modip(dip, lat))
    sunspots = float(np.clip(sunspots, 0.0, LARGEST_SUNSPOT_NUMBER))
    index = float(iri.R12_2_IG12(sunspots, version=1))
    geo, size = iri.highest_power_of_extension(), {"CCIR": "F0F2", "URSI": "F0F2"}
    drive = {"CCIR": (index, 0.0, 100.0), "URSI": (index, 0.0, 100.0), "M3000": (sunspots, 0.0, 100.0)}
    maps: dict[str, Any] = {}
    for name in (coefficients, "M3000", "Es_median", "Es_lower", "Es_upper"):
        kind = size.get(name, name)
        over_time = iri.set_diurnal_functions(geo["nj"][kind], hours).T
        over_place = iri.set_global_functions(geo["QM"][kind], geo["nk"][kind], lon, lat, modip)
        # foEs was mapped for sunspot numbers 10 and 180 (Leftin, Ostrow and Preston, ESSA Tech. Rep. ERL 73-ITS 63)
        at, solar_low, solar_high = drive.get(name, (sunspots, 10.0, 180.0))
        share = (at - solar_low) / (solar_high - solar_low)
        total = np.zeros((len(lat), len(hours)))
        for month, weight in _months(middle):
            if weight > 0.0:
                both = _coefficients(month)[name]
                total += weight * (over_time @ ((1.0 - share) * both[..., 0] + share * both[..., 1]) @ over_place).T
        maps[name] = total
    zenith = zenith_deg(lat, lon, times)
    fof2 = np.maximum(maps[coefficients], 1.0)
    m3000 = np.clip(maps["M3000"], 1.5, 4.5)
    foe = np.zeros_like(fof2)
    for month, weight in _months(middle):
        foe += weight * iri.foE(month, iri.solzen_effective(zenith).T, lat, solar_flux(sunspots)).T
    es = {name: np.maximum(maps[name], 0.5) for name in ("Es_lower", "Es_median", "Es_upper")}
    gyro = 2.799_249e-5
    return Ionosphere(
        fof2_mhz=fof2, m3000=m3000, hmf2_km=_peak_height_km(m3000, fof2 / foe, modip, sunspots), foe_mhz=foe,
        es_low_mhz=np.minimum(es["Es_lower"], es["Es_median"]), es_mhz=es["Es_median"],
        es_high_mhz=np.maximum(es["Es_upper"], es["Es_median"]), zenith_deg=zenith, modip_deg=modip,
        dip_latitude_deg=np.asarray(igrf.inc2magnetic_dip_latitude(dip)),
        gyro_mhz=gyro * field_nt, gyro_d_mhz=gyro * low_nt,
    )  # fmt: skip


def _peak_height_km(m3000: FloatArray, ratio: FloatArray, modip_deg: FloatArray, sunspots: float) -> FloatArray:
    """hmF2 after Bilitza, Sheikh and Eyfrig (1979), the way PyIRI gives it, for one sunspot number instead of two."""
    activity = min(sunspots, 150.0)
    f1 = 0.00232 * activity + 0.222
    f2 = 1.0 - activity / 150.0 * np.exp(-((modip_deg[:, None] / 40.0) ** 2))
    f3 = 1.2 - 0.0116 * np.exp(activity / 41.84)
    f4 = 0.096 * (activity - 25.0) / 150.0
    return np.asarray(1490.0 / (m3000 + f1 * f2 / (np.maximum(ratio, 1.7) - f3) + f4) - 176.0)
