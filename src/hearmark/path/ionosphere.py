"""The ionosphere above points, hour by hour: PyIRI's maps (CCIR or URSI coefficients) for a day and a solar index."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from hearmark.path.magnetic import field
from hearmark.path.sun import zenith_deg

FloatArray = npt.NDArray[np.float64]
_STRIP = 262_144
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


def _months(when: datetime) -> tuple[tuple[int, float], tuple[int, float]]:
    """The two months whose middles lie about the day, with their weights."""
    middle = datetime(when.year, when.month, 15, tzinfo=UTC)
    other = middle + timedelta(days=30 if when >= middle else -30)
    weight = min(abs((when - middle).total_seconds()) / (30.44 * 86_400.0), 1.0)
    return (when.month, 1.0 - weight), (other.month, weight)


def _keys(orders: npt.NDArray[np.int_]) -> list[tuple[int, int, int]]:
    """The function of place of each coefficient of a map: power of sin(modip), harmonic, cosine 0 or sine 1."""
    return [
        (power, harmonic, part)
        for harmonic, powers in enumerate(orders)
        for power in range(powers)
        for part in ((0, 1) if harmonic else (0,))
    ]


def _functions(
    keys: dict[tuple[int, int, int], int], latitude_deg: FloatArray, longitude_deg: FloatArray, modip_deg: FloatArray
) -> FloatArray:
    """The functions of place of Jones, Graham and Leftin (ESSA Tech. Rep. ERL 107-ITS 75, 1969; from memory) as PyIRI
    has them, (keys, P), each made from the one before: all maps share them, and nothing is raised to a power."""
    sine = np.sin(np.radians(modip_deg))
    step = np.cos(np.radians(latitude_deg)) * np.exp(1j * np.radians(longitude_deg))
    out = np.empty((len(keys), len(sine)))
    harmonics = [np.ones(len(sine), dtype=np.complex128)]
    for _ in range(max(harmonic for _, harmonic, _ in keys)):
        harmonics.append(harmonics[-1] * step)
    for (power, harmonic, part), row in sorted(keys.items()):
        if power == 0:
            out[row] = harmonics[harmonic].imag if part else harmonics[harmonic].real
        else:
            np.multiply(out[keys[power - 1, harmonic, part]], sine, out=out[row])
    return out


def _product(left: FloatArray, right: FloatArray) -> FloatArray:
    """The matrix product in strips so narrow that OpenBLAS takes no threads for them: where other work is going on,
    waiting for the last of them costs twice what they save."""
    out = np.empty((len(left), right.shape[1]))
    step = max(_STRIP // left.size, 8)
    for begin in range(0, right.shape[1], step):
        out[:, begin : begin + step] = left @ right[:, begin : begin + step]
    return out


def ionosphere(
    latitude_deg: npt.ArrayLike,
    longitude_deg: npt.ArrayLike,
    times: list[datetime],
    sunspots: float,
    coefficients: str = "CCIR",
    middle: datetime | None = None,
) -> Ionosphere:
    """Medians over points and times.

    `latitude_deg`, `longitude_deg`: shape (points,). `times`: UTC, at most some days long; months are interpolated to
    the middle one, or to `middle`. `sunspots`: 12-month smoothed number; foF2 follows the ionospheric index that PyIRI
    derives from it, M(3000) the number itself. `coefficients`: "CCIR" or "URSI", for foF2.
    """
    from PyIRI import igrf_library as igrf
    from PyIRI import main_library as iri

    lat = np.ascontiguousarray(latitude_deg, dtype=np.float64)
    lon = np.ascontiguousarray(longitude_deg, dtype=np.float64)
    middle = middle or times[len(times) // 2]
    hours = np.array([t.hour + t.minute / 60.0 + t.second / 3600.0 for t in times])
    year = middle.year + (middle.month - 0.5) / 12.0
    dip, field_nt, low_nt = field(year, lat, lon)
    modip = np.asarray(igrf.inc2modip(dip, lat))
    sunspots = float(np.clip(sunspots, 0.0, LARGEST_SUNSPOT_NUMBER))
    index = float(iri.R12_2_IG12(sunspots, version=1))
    geo = iri.highest_power_of_extension()
    kinds = {coefficients: "F0F2"} | {name: name for name in ("M3000", "Es_median", "Es_lower", "Es_upper")}
    orders = {name: _keys(geo["QM"][kind]) for name, kind in kinds.items()}
    keys = {key: row for row, key in enumerate(sorted({key for own in orders.values() for key in own}))}
    drive = {coefficients: (index, 0.0, 100.0), "M3000": (sunspots, 0.0, 100.0)}
    over_time = np.zeros((len(kinds), len(hours), len(keys)))
    for row, (name, kind) in enumerate(kinds.items()):
        # foEs was mapped for sunspot numbers 10 and 180 (Leftin, Ostrow and Preston, ESSA Tech. Rep. ERL 73-ITS 63)
        at, solar_low, solar_high = drive.get(name, (sunspots, 10.0, 180.0))
        share = (at - solar_low) / (solar_high - solar_low)
        months = [(weight, _coefficients(month)[name]) for month, weight in _months(middle) if weight > 0.0]
        both = sum((weight * values for weight, values in months), np.zeros(()))
        now = iri.set_diurnal_functions(geo["nj"][kind], hours).T @ (
            (1.0 - share) * both[..., 0] + share * both[..., 1]
        )
        over_time[row][:, [keys[key] for key in orders[name]]] = now
    whole = _product(over_time.reshape(-1, len(keys)), _functions(keys, lat, lon, modip))
    maps = {name: part.T for name, part in zip(kinds, whole.reshape(len(kinds), len(hours), -1), strict=True)}
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
