"""Chances of the path for many places at once, each place worked out once for a whole UTC day and then remembered."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime, timedelta

import numpy as np
import numpy.typing as npt

from hearmark.log.entities import Place
from hearmark.path.bands import BANDS
from hearmark.path.chances import predict
from hearmark.path.conditions import Conditions, Equipment
from hearmark.path.places import Place as Point

NEEDED_DB_HZ = {"cw": 27.0, "phone": 43.0, "digital": 14.0}
"""Signal over noise density that serves. Morse: 0 dB in 500 Hz; speech: 9 dB in 2500 Hz (common practice, no source);
slow digital modes: -20 dB in 2500 Hz (from memory)."""
_EDGES_HZ = [(low_hz, high_hz) for low_hz, high_hz, _ in BANDS.values()]
_MIDDLE_HZ = [middle_hz for _, _, middle_hz in BANDS.values()]
_Key = tuple[float, float, date, str]


class Paths:
    """Chances from one place. `conditions`: what the sun does on a day."""

    def __init__(
        self, here: Point, conditions: Callable[[date], Conditions], own: Equipment, far: Equipment | None = None
    ) -> None:
        self.here, self._conditions, self._own, self._far = here, conditions, own, far or Equipment()
        self._days: dict[_Key, npt.NDArray[np.float64]] = {}

    def __call__(self, asked: Sequence[tuple[Place, float, str]], now: datetime) -> list[float | None]:
        """The chance, 0 to 1, for each place, frequency in hertz and group of modes; None outside the maps' bands."""
        moment = now.astimezone(UTC)
        keys = [_key(place, group, moment.date()) for place, _, group in asked]
        bands = [_band(frequency_hz) for _, frequency_hz, _ in asked]
        self.prepare([key for key, band in zip(keys, bands, strict=True) if band is not None])
        found: list[float | None] = []
        for key, band in zip(keys, bands, strict=True):
            day = None if key is None or band is None else self._days[key]
            if day is None or band is None:
                found.append(None)
                continue
            # Between the hours a straight line; the last hour of the day holds to its end
            hour, part = moment.hour, moment.minute / 60.0
            found.append(float(day[hour, band] * (1.0 - part) + day[min(hour + 1, 23), band] * part))
        return found

    def prepare(self, keys: Sequence[_Key | None]) -> None:
        """Works out what of these days is not known yet, all places of a day at once."""
        missing = {key for key in keys if key is not None and key not in self._days}
        if len(self._days) > 20_000:
            self._days.clear()
            missing = {key for key in keys if key is not None}
        for day, group in sorted({(key[2], key[3]) for key in missing}):
            here = sorted(key for key in missing if key[2:] == (day, group))
            start = datetime(day.year, day.month, day.day, tzinfo=UTC)
            times = [start + timedelta(hours=hour) for hour in range(24)]
            points = [Point(latitude_deg, longitude_deg) for latitude_deg, longitude_deg, *_ in here]
            result = predict(
                self.here, points, times, _MIDDLE_HZ, self._conditions(day), self._own, self._far, NEEDED_DB_HZ[group]
            )
            for number, key in enumerate(here):
                self._days[key] = result.probability[number]


def _key(place: Place, group: str, day: date) -> _Key | None:
    if place.latitude_deg is None or place.longitude_deg is None:
        return None
    return place.latitude_deg, place.longitude_deg, day, group


def _band(frequency_hz: float) -> int | None:
    for number, (low_hz, high_hz) in enumerate(_EDGES_HZ):
        if low_hz <= frequency_hz <= high_hz:
            return number
    return None
