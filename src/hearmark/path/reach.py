"""The chance of being heard, for many pairs of a place and a frequency, worked out for just these and nothing else.

The same method and the same figures as `chances.predict`, which gives everything about every place on every frequency.
Here the ionosphere is read only where the answer depends on it: a far circuit needs it above its ends and its middle.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import numpy as np
import numpy.typing as npt

from hearmark.path.antenna import Antenna
from hearmark.path.chances import DBM_OF_WATT, checked, long_is_better, noise_dbm_hz, spread
from hearmark.path.circuit import Sky, modes
from hearmark.path.conditions import Conditions, Equipment
from hearmark.path.geodesic import POINTS, Route, routes
from hearmark.path.ionosphere import ionosphere
from hearmark.path.longhaul import ALONE_KM, LongHaul, hops_of
from hearmark.path.places import Place
from hearmark.path.sun import zenith_deg
from hearmark.path.transfer import haul_parts_db, haul_share, hop_parts_db

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int_]


def reach(
    here: Place,
    places: Sequence[Place],
    frequency_hz: npt.ArrayLike,
    required_db_hz: npt.ArrayLike,
    times: Sequence[datetime],
    conditions: Conditions,
    own: Equipment | None = None,
    far: Equipment | None = None,
) -> FloatArray:
    """Chance that we reach the required signal over noise density: shape (pairs, times).

    `places`, `frequency_hz`, `required_db_hz`: one for each pair. `times`: UTC, all of one day; the maps are read for
    its noon, so that an answer does not depend on what else is asked. Raises HearmarkError as `predict` does.
    """
    own, far = own or Equipment(), far or Equipment()
    frequency = checked(places, times, frequency_hz)[:, None, None]
    required = np.asarray(required_db_hz, dtype=np.float64)[:, None, None]
    moments = [t.astimezone(UTC) for t in times]
    unique = list(dict.fromkeys(places))
    number = {place: row for row, place in enumerate(unique)}
    short = np.array([number[place] for place in places])
    ways = routes(here, unique)
    rows = np.concatenate((short, short + len(unique)))
    parts, fof2_there = _parts_db(
        ways, rows, np.concatenate((frequency, frequency)), moments, conditions, own.antenna, far.antenna
    )
    count = len(places)
    noise = noise_dbm_hz(far, list(places), moments, frequency, fof2_there[:count])
    level = np.median(parts, axis=0)
    short_km = np.array([ways[row].distance_km for row in short])
    better = long_is_better(level[:count], level[count:], short_km)
    chosen = np.where(better, parts[:, count:], parts[:, :count])
    out = spread(chosen + (DBM_OF_WATT + 10.0 * np.log10(own.power_w) - noise), far.environment)
    return out.probability(required)[..., 0]


def _parts_db(
    routes: list[Route], rows: IntArray, frequency_hz: FloatArray, times: list[datetime], conditions: Conditions,
    transmit: Antenna, receive: Antenna,
) -> tuple[FloatArray, FloatArray]:  # fmt: skip
    """Received over transmitted power on equally likely days, (days, rows, T, 1), and foF2 at the far end, (rows, T).

    `rows`: which route each row goes; `frequency_hz`: shape (rows, 1, 1).
    """
    noon = times[0].replace(hour=12, minute=0, second=0, microsecond=0)
    length_km = np.array([r.distance_km for r in routes])
    share = haul_share(length_km)
    parts = np.zeros((25, len(rows), len(times), 1))
    fof2 = np.zeros((len(rows), len(times)))
    near, far = np.flatnonzero(length_km <= ALONE_KM), np.flatnonzero(share > 0.0)
    if near.size:
        here = np.flatnonzero(np.isin(rows, near))
        sky = _sky([routes[n] for n in near], times, noon, conditions).take(np.searchsorted(near, rows[here]))
        hours = np.array([t.hour + t.minute / 60.0 for t in times])
        found = modes(sky, frequency_hz[here], hours, transmit, receive)
        parts[:, here] = hop_parts_db(sky, found, frequency_hz[here], transmit, receive)
        fof2[here] = sky.at("fof2_mhz", 1.0)
    if far.size:
        here = np.flatnonzero(np.isin(rows, far))
        taken = np.searchsorted(far, rows[here])
        some = [routes[n] for n in far]
        day = [noon + timedelta(hours=hour - 12) for hour in range(24)]
        sky = _sky(some, times, noon, conditions, _points(length_km[far], whole=True)).take(taken)
        whole = _sky(some, day, noon, conditions, _points(length_km[far], whole=False)).take(taken)
        haul = LongHaul(sky, whole, frequency_hz[here], transmit, receive)
        part = share[rows[here], None, None]
        parts[:, here] = (1.0 - part) * parts[:, here] + part * haul_parts_db(haul, sky)
        fof2[here] = sky.at("fof2_mhz", 1.0)
    return parts + conditions.level_db, fof2


def _points(length_km: FloatArray, whole: bool) -> IntArray:
    """Where a far circuit reads the ionosphere: above the middles of its first and last hop; `whole`: also above the
    middle of the circuit and its end. Ascending, each once: (P, K)."""
    half = hops_of(length_km)[1] / 2.0 / length_km
    shares = [half, 0.5 + 0.0 * half, 1.0 - half, 1.0 + 0.0 * half] if whole else [half, 1.0 - half]
    low = np.minimum((np.stack(shares, axis=1) * (POINTS - 1)).astype(int), POINTS - 2)
    return np.stack([low, low + 1], axis=-1).reshape(len(low), -1)


def _sky(
    routes: list[Route], times: list[datetime], noon: datetime, conditions: Conditions, points: IntArray | None = None
) -> Sky:
    lat, lon = np.array([r.latitude_deg for r in routes]), np.array([r.longitude_deg for r in routes])
    sunspots, month = conditions.effective_sunspots, noon.month
    if points is None:
        maps = ionosphere(lat.ravel(), lon.ravel(), times, sunspots, conditions.coefficients, noon)
        return Sky(routes, maps, sunspots, month, conditions.kp)
    some = [np.take_along_axis(values, points, axis=1).ravel() for values in (lat, lon)]
    maps = ionosphere(some[0], some[1], times, sunspots, conditions.coefficients, noon)
    zenith = None if len(times) == 24 and points.shape[1] == 4 else zenith_deg(lat, lon, times)
    return Sky(routes, maps, sunspots, month, conditions.kp, points, zenith)
