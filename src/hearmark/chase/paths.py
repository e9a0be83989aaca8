"""Chances of the path for many places at once, each worked out for the hours that are asked for and then remembered."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, date, datetime, timedelta
from threading import Lock, Thread
from typing import NamedTuple

from hearmark.log.entities import Place
from hearmark.path.bands import BANDS
from hearmark.path.conditions import Conditions, Equipment
from hearmark.path.places import Place as Point
from hearmark.path.reach import reach

NEEDED_DB_HZ = {"cw": 27.0, "phone": 43.0, "digital": 14.0}
"""Signal over noise density that serves. Morse: 0 dB in 500 Hz; speech: 9 dB in 2500 Hz (common practice, no source);
slow digital modes: -20 dB in 2500 Hz (from memory)."""
_BANDS = tuple(BANDS.values())
MOST_KEPT = 200_000
_AT_ONCE = 20_000
"""Pairs of a place and a band, times hours, in one call: what memory likes."""


class _Asked(NamedTuple):
    """One thing to know: a place, a band by its number, a group of modes."""

    latitude_deg: float
    longitude_deg: float
    band: int
    group: str


class Paths:
    """Chances from one place. `conditions`: what the sun does on a day. May be called from several threads."""

    def __init__(
        self, here: Point, conditions: Callable[[date], Conditions], own: Equipment, far: Equipment | None = None
    ) -> None:
        self.here, self._conditions, self._own, self._far = here, conditions, own, far or Equipment()
        self._known: dict[tuple[_Asked, datetime], float] = {}
        self._lock = Lock()

    def __call__(self, asked: Sequence[tuple[Place, float, str]], now: datetime) -> list[float | None]:
        """The chance, 0 to 1, for each place, frequency in hertz and group of modes; None outside the maps' bands.

        What is not known yet is worked out in one go, for the hours on either side of `now`.
        """
        moment = now.astimezone(UTC)
        wanted = [_asked(*one) for one in asked]
        with self._lock:
            self._work_out(wanted, _hours(moment))
            return [None if one is None else self._between(one, moment) for one in wanted]

    def prepare(self, asked: Sequence[tuple[Place, float, str]], moments: Iterable[datetime]) -> None:
        """Works out in one go for each UTC day what will be asked at these moments."""
        hours = sorted({hour for moment in moments for hour in _hours(moment.astimezone(UTC))})
        wanted = [_asked(*one) for one in asked]
        with self._lock:
            for day in sorted({hour.date() for hour in hours}):
                self._work_out(wanted, [hour for hour in hours if hour.date() == day])

    def warm(self, places: Iterable[Place], day: date) -> None:
        """Reads the tables of the ionosphere and finds the ways to these places: else a first list waits."""
        known = dict.fromkeys((place.latitude_deg, place.longitude_deg) for place in places)
        points = [Point(lat, lon) for lat, lon in known if lat is not None and lon is not None]
        if points:
            noon = datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
            bands, needed = [_BANDS[0][2]] * len(points), [NEEDED_DB_HZ["cw"]] * len(points)
            with self._lock:
                reach(self.here, points, bands, needed, [noon], self._conditions(day))
        # What is loaded by now stays: looking through all of it anew costs a list 90 ms, if it happens in the middle
        gc.collect()
        gc.freeze()

    def warm_beside(self, places: Iterable[Place], day: date) -> None:
        """The same in a thread of its own; a list that is asked for meanwhile waits for it."""
        Thread(target=self.warm, args=(tuple(places), day), name="hearmark-paths", daemon=True).start()

    def _between(self, one: _Asked, moment: datetime) -> float:
        """Between the hours a straight line; the last hour of the day holds to its end."""
        hours, part = _hours(moment), moment.minute / 60.0
        first, last = self._known[one, hours[0]], self._known[one, hours[-1]]
        return first * (1.0 - part) + last * part

    def _work_out(self, wanted: Sequence[_Asked | None], hours: Sequence[datetime]) -> None:
        """What is missing at these hours of one day."""
        if len(self._known) > MOST_KEPT:
            self._known.clear()
        # dict instead of set: the same order every time
        missing = [
            one
            for one in dict.fromkeys(wanted)
            if one is not None and any((one, hour) not in self._known for hour in hours)
        ]
        step = max(_AT_ONCE // max(len(hours), 1), 1)
        for begin in range(0, len(missing), step):
            part = missing[begin : begin + step]
            found = reach(
                self.here, [Point(one.latitude_deg, one.longitude_deg) for one in part],
                [_BANDS[one.band][2] for one in part], [NEEDED_DB_HZ[one.group] for one in part], hours,
                self._conditions(hours[0].date()), self._own, self._far,
            )  # fmt: skip
            for one, chances in zip(part, found.tolist(), strict=True):
                self._known.update(zip(((one, hour) for hour in hours), chances, strict=True))


def _hours(moment: datetime) -> list[datetime]:
    """The full hours on either side, within the day; one of them on the hour."""
    start = moment.replace(minute=0, second=0, microsecond=0)
    return [start] if moment.minute == 0 or start.hour == 23 else [start, start + timedelta(hours=1)]


def _asked(place: Place, frequency_hz: float, group: str) -> _Asked | None:
    if place.latitude_deg is None or place.longitude_deg is None:
        return None
    for number, (low_hz, high_hz, _) in enumerate(_BANDS):
        if low_hz <= frequency_hz <= high_hz:
            return _Asked(place.latitude_deg, place.longitude_deg, number, group)
    return None
