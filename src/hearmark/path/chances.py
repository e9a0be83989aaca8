"""Chances over many places, moments and frequencies at once: the function behind every table and picture.

chances = predict(here, places, times, frequency_hz, Conditions(sunspots=120))
chances.probability[place, time, frequency]
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
import numpy.typing as npt

from hearmark.errors import HearmarkError
from hearmark.path import noise
from hearmark.path.conditions import DEFAULT_REQUIRED_DB_HZ, Conditions, Equipment
from hearmark.path.geodesic import Route, routes
from hearmark.path.longhaul import ALONE_KM, BEGINS_KM
from hearmark.path.places import Place
from hearmark.path.reliability import DAY_LOWER_DB, DAY_UPPER_DB, DECILE, MODEL_RMS_DB, Spread
from hearmark.path.sun import subsolar_deg, zenith_deg
from hearmark.path.transfer import transfer

FloatArray = npt.NDArray[np.float64]
DBM_OF_WATT = 30.0
HOPELESS_DB = -180.0
"""Received over transmitted power that nobody hears: then the short path is named."""
LONG_MARGIN_DB = (15.0, 6.0)
"""By so much the long path must be better to be named, where the short one is 7000 km and less, and from 9000 km on:
the method beyond 9000 km is another one than below, and kinder near the MUF (own judgement, no source)."""


@dataclass(frozen=True, slots=True)
class Chances:
    """Arrays of shape (places, times, frequencies) unless said otherwise.

    `snr_db_hz`: median signal over noise density at the far end; `heard_db_hz`: the same here, of his signal.
    `probability`: chance that ours reaches the required level there, so 0.5 where `snr_db_hz` is the required one;
    days differ, places of one kind of noise too, and the method errs: all three are in it. `probability_both`: in both
    directions. `probability_low`, `probability_high`: the share of the days (P.842), had the method erred by its rms
    against us or for us. `long`: whether the long path is the better one. `mode`: index into
    `mode_names` of the strongest mode (empty name: beyond 9000 km modes are not told apart). `muf_mhz`,
    `long_muf_mhz`: shape (places, times), median basic MUF on the short and on the long path.
    """

    short_routes: tuple[Route, ...]
    long_routes: tuple[Route, ...]
    times: tuple[datetime, ...]
    frequency_hz: FloatArray
    required_db_hz: float
    snr_db_hz: FloatArray
    heard_db_hz: FloatArray
    probability: FloatArray
    probability_both: FloatArray
    probability_low: FloatArray
    probability_high: FloatArray
    long: npt.NDArray[np.bool_]
    mode: npt.NDArray[np.int_]
    mode_names: tuple[str, ...]
    elevation_deg: FloatArray
    muf_mhz: FloatArray
    long_muf_mhz: FloatArray


def predict(
    here: Place,
    places: Sequence[Place],
    times: Sequence[datetime],
    frequency_hz: npt.ArrayLike,
    conditions: Conditions,
    own: Equipment | None = None,
    far: Equipment | None = None,
    required_db_hz: float = DEFAULT_REQUIRED_DB_HZ,
) -> Chances:
    """Chances from `here` to every place. `times`: UTC, within some days, for the maps are read for the middle one.

    Raises HearmarkError for frequencies that the ionosphere's maps say nothing about.
    """
    own, far = own or Equipment(), far or Equipment()
    frequency = checked(places, times, frequency_hz)
    moments = [t.astimezone(UTC) for t in times]
    count = len(places)
    ways = routes(here, places)
    found = transfer(ways, moments, frequency, conditions, own.antenna, far.antenna)
    noise_there = noise_dbm_hz(far, list(places), moments, frequency, found.fof2_there_mhz[:count])
    noise_here = noise_dbm_hz(own, [here], moments, frequency, found.fof2_here_mhz[:1])
    out_db = DBM_OF_WATT + 10.0 * np.log10(own.power_w) - noise_there
    back_db = DBM_OF_WATT + 10.0 * np.log10(far.power_w) - noise_here
    # both ways share the ionosphere's day: the chance of both is nearly the chance of the weaker
    level = np.median(found.parts_db, axis=0)
    long = long_is_better(level[:count], level[count:], np.array([r.distance_km for r in ways[:count]]))
    parts = np.where(long, found.parts_db[:, count:], found.parts_db[:, :count])
    out, back = (spread(parts + db, end.environment) for db, end in ((out_db, far), (back_db, own)))
    probability = out.probability(required_db_hz)
    days = over_days(parts + out_db, far.environment)
    far_away = np.array([r.distance_km > ALONE_KM for r in ways])[:, None, None]
    nameless = np.where(long, far_away[count:], far_away[:count])
    return Chances(
        tuple(ways[:count]), tuple(ways[count:]), tuple(moments), frequency, required_db_hz,
        snr_db_hz=out.median_db(), heard_db_hz=back.median_db(), probability=probability,
        probability_both=np.minimum(probability, back.probability(required_db_hz)),
        # far from a half an error beyond the rms would tell more than the rms: the line stays within its band
        probability_low=np.minimum(days.probability(required_db_hz, -MODEL_RMS_DB), probability),
        probability_high=np.maximum(days.probability(required_db_hz, MODEL_RMS_DB), probability),
        long=long,
        mode=np.where(nameless, len(found.mode_names), np.where(long, found.mode[count:], found.mode[:count])),
        mode_names=(*found.mode_names, ""),
        elevation_deg=np.where(long, found.elevation_deg[count:], found.elevation_deg[:count]),
        muf_mhz=found.muf_mhz[:count],
        long_muf_mhz=found.muf_mhz[count:],
    )  # fmt: skip


def checked(places: Sequence[Place], times: Sequence[datetime], frequency_hz: npt.ArrayLike) -> FloatArray:
    """The frequencies as an array. Raises HearmarkError for what cannot be predicted."""
    frequency = np.atleast_1d(np.asarray(frequency_hz, dtype=np.float64))
    if frequency.size == 0 or not (frequency.min() >= 1.5e6 and frequency.max() <= 60e6):
        raise HearmarkError("Paths are predicted from 1.5 to 60 MHz; give frequencies in that range.")
    if not places or not times:
        raise HearmarkError("Nothing to predict: give at least one place and one moment.")
    return frequency


def long_is_better(short_db: FloatArray, long_db: FloatArray, short_km: FloatArray) -> npt.NDArray[np.bool_]:
    """Whether the long path is the one to name, by the median levels (P, T, F) of both."""
    margin_db = np.interp(short_km, [BEGINS_KM, ALONE_KM], LONG_MARGIN_DB)[:, None, None]
    return np.asarray(long_db > np.maximum(short_db + margin_db, HOPELESS_DB))


def over_days(parts_db: FloatArray, environment: str) -> Spread:
    """Level and noise vary from day to day without each other (P.842)."""
    noise_up_db, noise_down_db = noise.DECILES_DB[environment]
    upper = np.hypot(DAY_UPPER_DB, noise_down_db) / DECILE
    lower = np.hypot(DAY_LOWER_DB, noise_up_db) / DECILE
    return Spread(parts_db, float(upper), float(lower))


def spread(parts_db: FloatArray, environment: str) -> Spread:
    """What is to be expected of one day at one place: besides the days, the noise differs between places of one kind,
    and the method errs. Without these two a chance says more than is known."""
    days = over_days(parts_db, environment)
    unknown = np.hypot(MODEL_RMS_DB, noise.PLACE_DECILE_DB[environment] / DECILE)
    return Spread(parts_db, float(np.hypot(days.upper_db, unknown)), float(np.hypot(days.lower_db, unknown)))


def noise_dbm_hz(
    end: Equipment, places: list[Place], times: list[datetime], frequency_hz: FloatArray, fof2_mhz: FloatArray
) -> FloatArray:
    """Noise density at the places, dBm in 1 Hz: (places, times, frequencies)."""
    lat = np.array([p.latitude_deg for p in places])
    zenith = zenith_deg(lat, np.array([p.longitude_deg for p in places]), times)
    declination = subsolar_deg(times)[0]
    thunder = noise.thunder_db(frequency_hz, lat[:, None, None], zenith[..., None], declination[:, None])
    return noise.KT0_DBM_HZ + noise.total_db(end.environment, frequency_hz, fof2_mhz[..., None], thunder)
