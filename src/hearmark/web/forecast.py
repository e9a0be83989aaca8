"""What the page of paths asks for: chances over the coming 24 h, corrected by what is heard if that is wished."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from threading import Lock
from typing import Any

from hearmark.errors import HearmarkError
from hearmark.events import Answer, Event, Over
from hearmark.log.whereabouts import find_place, place_of_call
from hearmark.path import solar
from hearmark.path.antenna import Antenna, read_antenna
from hearmark.path.bands import BANDS, NEEDS_DB_HZ
from hearmark.path.chances import Chances, predict
from hearmark.path.conditions import Conditions, Equipment
from hearmark.path.heard import Learnt, Listener, learn
from hearmark.path.noise import DECILES_DB
from hearmark.path.outlook import document, now_sentence
from hearmark.path.places import Place
from hearmark.path.sun import subsolar_deg
from hearmark.settings import Station

REMEMBERED = 500
"""So many overs and answers are kept for the correction, the latest."""


class Forecaster:
    """Keeps what was heard; answers the page. May be called from several threads."""

    def __init__(self, station: Station | None = None, antenna: Antenna | None = None) -> None:
        self.station = station or Station()
        self.antenna = antenna or Antenna()
        self._start: datetime | None = None
        self._events: dict[tuple[str, int], Event] = {}
        self._lock = Lock()

    def begin(self) -> None:
        """Forgets what was heard: another session begins."""
        with self._lock:
            self._start = None
            self._events.clear()

    def hear(self, event: Event) -> None:
        """Take one event of the engine."""
        with self._lock:
            if self._start is None:
                self._start = datetime.now(UTC)
            if isinstance(event, (Over, Answer)) and event.snr_db is not None:
                self._events.pop((type(event).__name__, event.id), None)
                self._events[type(event).__name__, event.id] = event
                while len(self._events) > REMEMBERED:
                    del self._events[next(iter(self._events))]

    def answer(self, query: Mapping[str, str], now: datetime | None = None) -> dict[str, Any]:
        """The facts for one page. Raises HearmarkError that says what to mend."""
        now = now or datetime.now(UTC)
        here = self._place(query.get("from") or self.station.locator, "your own place")
        there = self._place(query.get("to", ""), "his place")
        conditions = Conditions(self._activity(query, now), _number(query, "kp", 0.0, 9.0, None))
        own = Equipment(
            _number(query, "power", 0.001, 1e7, self.station.power_w) or self.station.power_w,
            self._antenna(query.get("antenna", "")), _noise(query.get("noise", "residential")),
        )  # fmt: skip
        need = NEEDS_DB_HZ.get(query.get("need", "cw"))
        if need is None:
            raise HearmarkError("Say cw or ssb for what is needed.")
        times = [now.replace(minute=0, second=0, microsecond=0) + timedelta(hours=h) for h in range(25)]
        bands = [middle for _, _, middle in BANDS.values()]
        before = predict(here, [there], times, bands, conditions, own, Equipment(), need)
        learnt = self._learn(here, there, conditions, own) if query.get("heard") else None
        used = conditions if learnt is None else learnt.conditions
        after = before if learnt is None else predict(here, [there], times, bands, used, own, Equipment(), need)
        facts = document(after, used, own, Equipment())
        for row, chance in zip(facts["hours"], before.probability[0].ravel(), strict=True):
            row["probability_before"] = round(float(chance), 4)
        return {
            **facts, "now": now.strftime("%Y-%m-%dT%H:%M:%SZ"), "now_sentence": now_sentence(after, 0, now),
            "learnt": None if learnt is None else learnt.facts(), "map": _map(after, now),
        }  # fmt: skip

    def _learn(self, here: Place, there: Place, conditions: Conditions, own: Equipment) -> Learnt:
        with self._lock:
            start, events = self._start or datetime.now(UTC), list(self._events.values())
        listener = Listener(start, there, place_of_call)
        for event in events:
            listener.feed(event)
        return learn(here, listener.heard(), conditions, own)

    def _antenna(self, text: str) -> Antenna:
        """The kind that is named; the station's own if none is."""
        return read_antenna_kind(text) if text.strip() else self.antenna

    def _place(self, text: str, whose: str) -> Place:
        if not text.strip():
            raise HearmarkError(f"Give {whose}: a locator like JO50ab, LAT,LON, or a call.")
        place = find_place(text)
        if place is None:
            raise HearmarkError(f"{text!r} is no known place; give a locator like JO50ab, LAT,LON, or a call.")
        return place

    @staticmethod
    def _activity(query: Mapping[str, str], now: datetime) -> float:
        flux = _number(query, "flux", 60.0, 400.0, None)
        return solar.from_table(now.date()) if flux is None else solar.from_flux(flux)


def read_antenna_kind(text: str) -> Antenna:
    """A named antenna; a page may not make the program read files."""
    if "/" in text or "\\" in text or "." in text.partition(":")[0]:
        raise HearmarkError("Name a kind of antenna here; tables of one's own go to the command line.")
    return read_antenna(text)


def _noise(text: str) -> str:
    if text not in DECILES_DB:
        raise HearmarkError(f"{text!r} is no noise environment; give {', '.join(DECILES_DB)}.")
    return text


def _number(query: Mapping[str, str], name: str, low: float, high: float, default: float | None) -> float | None:
    text = query.get(name, "").strip()
    if not text:
        return default
    try:
        value = float(text)
    except ValueError:
        value = low - 1.0
    if not low <= value <= high:
        raise HearmarkError(f"{name} {text!r} is out of range; give {low:g} to {high:g}.")
    return value


def _map(chances: Chances, now: datetime) -> dict[str, Any]:
    sun_lat, sun_lon = subsolar_deg([now])
    ways = {"short": chances.short_routes[0], "long": chances.long_routes[0]}
    lines = {
        name: [[round(float(a), 2), round(float(b), 2)] for a, b in zip(r.latitude_deg, r.longitude_deg, strict=True)]
        for name, r in ways.items()
    }
    return {**lines, "sun": [round(float(sun_lat[0]), 3), round(float(sun_lon[0]), 3)]}
