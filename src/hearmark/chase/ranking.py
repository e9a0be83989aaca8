"""One list of what is heard now, sorted by chance times worth, each row saying why."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from hearmark.chase.busted import busted
from hearmark.chase.spots import SpotLine, at_latest, group_of, mode_of, newest, plain_mode
from hearmark.chase.watch import Operation
from hearmark.chase.worth import DUPLICATE, LISTED, listed, reason, worth
from hearmark.duplex.announcement import Reading, readings
from hearmark.duplex.privileges import Table, allowed, cut, window_verdict
from hearmark.events import Allowed, PlanMode
from hearmark.log.entities import NOWHERE, Entities, Place
from hearmark.log.needs import History, Need, Worked
from hearmark.log.own import Wanted
from hearmark.units import percent

STAYS_S = 2700.0
"""Time after which a spotted station is still there with chance 1/e. Common practice, no source."""
UNKNOWN_PATH = 0.5
"""Chance of a path that nobody could compute."""
DOUBTED = 0.15
"""Chance that a call which looks misread is right all the same. Common practice, no source."""
UNLAWFUL = 0.02

PathChance = Callable[[Sequence[tuple[Place, float, str]], datetime], Sequence[float | None]]
"""Chances, 0 to 1, of being heard at places on frequencies in hertz in groups of modes at one moment; None where it is
not known."""


@dataclass(frozen=True, slots=True)
class Known:
    """What spots are joined with. What is left out is not spoken of."""

    entities: Entities
    worked: Worked
    histories: Mapping[str, History] = field(default_factory=dict)
    operations: tuple[Operation, ...] = ()
    wanted: tuple[Wanted, ...] = ()
    path: PathChance | None = None
    licence: Table | None = None


@dataclass(frozen=True, slots=True)
class Row:
    """One station on one band in one group of modes. `chance` and `worth` are 0 to 1, `score` their product.

    `reading`: the likeliest meaning of what the comment says of his listening; `lawful`: whether we may send there.
    `probably`: the call he more likely has, if this one looks misread.
    """

    call: str
    frequency_hz: float
    band: str
    mode: str
    group: str
    at: datetime
    people: int
    comment: str
    place: Place | None
    needs: tuple[Need, ...]
    duplicate: bool
    chance: float
    path: float | None
    worth: float
    reading: Reading | None
    lawful: bool | None
    probably: str
    announced: bool
    why: tuple[str, ...]

    @property
    def score(self) -> float:
        """Chance times worth."""
        return self.chance * self.worth


def rank(spots: Sequence[SpotLine], known: Known, now: datetime) -> list[Row]:
    """The list, best first. Spots of one station on one band in one group of modes become one row."""
    held = [at_latest(spot, now) for spot in newest(spots) if spot.band]
    meant = busted(held, _trust(known))
    modes = {id(spot): mode_of(spot) for spot in held}
    together: dict[tuple[str, str, str], list[SpotLine]] = defaultdict(list)
    for spot in held:
        together[spot.call, spot.band, group_of(modes[id(spot)])].append(spot)
    day = now.date()
    stations = [
        _Station(call, band, group, found, modes[id(found[0])], known.entities.lookup(call, day))
        for (call, band, group), found in together.items()
    ]
    paths = _paths(stations, known, now)
    may = _May(known.licence, now)
    rows = [
        _row(station, known, now, path, meant.get(station.call, ""), may)
        for station, path in zip(stations, paths, strict=True)
    ]
    return sorted(rows, key=lambda row: (-row.score, row.call, row.frequency_hz))


@dataclass(frozen=True, slots=True)
class _Station:
    call: str
    band: str
    group: str
    spots: list[SpotLine]
    mode: str
    place: Place | None


class _May:
    """Whether we may send where he listens; what the licence allows is worked out once for each mode."""

    def __init__(self, licence: Table | None, now: datetime) -> None:
        self.licence, self.day = licence, now.date()
        self._allowed: dict[PlanMode, Allowed] = {}

    def ask(self, reading: Reading) -> tuple[bool | None, bool]:
        """Whether the whole window is lawful (None: the licence is not known), and whether any part of it may be."""
        if self.licence is None:
            return None, True
        plan = reading.plan
        if plan.mode not in self._allowed:
            self._allowed[plan.mode] = allowed(self.licence, plan.mode, None, None, self.day)
        may = self._allowed[plan.mode]
        parts = cut(plan, may)
        inside = may.intervals_hz if may.known and plan.transmit_mode in (None, plan.mode) else None
        return window_verdict(self.licence, plan, parts, None, self.day, inside).lawful, bool(parts)


def _trust(known: Known) -> Callable[[str], float]:
    """An announced or an earlier worked call is likelier right than a new one that resembles it."""
    announced = {operation.call for operation in known.operations}

    def trust(call: str) -> float:
        history = known.histories.get(call)
        place = known.entities.lookup(call)
        return (
            2.0 * (call in announced) + 1.0 * (history is not None and history.count > 0) - 0.5 * (place is None)
        )  # fmt: skip

    return trust


def _paths(stations: Sequence[_Station], known: Known, now: datetime) -> Sequence[float | None]:
    asked = [(s.place or NOWHERE, s.spots[0].frequency_hz, s.group) for s in stations]
    return [None] * len(asked) if known.path is None else known.path(asked, now)


def _row(station: _Station, known: Known, now: datetime, path: float | None, probably: str, may: _May) -> Row:
    spot, place = station.spots[0], station.place
    band, group = station.band, station.group
    needs = known.worked.needs(place, "", band, group)
    history = known.histories.get(station.call)
    duplicate = history is not None and (band, group) in history.slots
    operation = next((o for o in known.operations if o.call == station.call and o.is_on(now.date())), None)
    on_list = any(listed(entry, station.call, place, "", band, group) for entry in known.wanted)
    value = worth(needs)
    if (on_list or operation) and not duplicate:
        value = max(value, LISTED)
    if duplicate:
        value *= DUPLICATE
    said, reading = _announcement(station)
    lawful, usable = may.ask(reading) if reading else (None, True)
    age_s = max((now - spot.at).total_seconds(), 0.0)
    chance = math.exp(-age_s / STAYS_S) * (UNKNOWN_PATH if path is None else path)
    chance *= (DOUBTED if probably else 1.0) * (1.0 if usable else UNLAWFUL)
    why = [
        f"looks like a misread {probably}" if probably else "",
        "worked before on this band in this kind of mode" if duplicate else reason(needs, place, band, group),
        "on your list" if on_list else "",
        "announced operation" if operation else "",
        "no known prefix" if place is None else "",
        _listens(reading, lawful, usable),
        "path not computed" if path is None else f"path {percent(path)}",
        f"{age_s / 60:.0f} min ago" if age_s >= 60 else "just now",
    ]
    return Row(
        call=station.call, frequency_hz=spot.frequency_hz, band=band, mode=station.mode, group=group, at=spot.at,
        people=len({s.by for s in station.spots}), comment=said or spot.comment, place=place, needs=needs,
        duplicate=duplicate, chance=chance, path=path, worth=value, reading=reading, lawful=lawful, probably=probably,
        announced=operation is not None, why=tuple(filter(None, why)),
    )  # fmt: skip


def _announcement(station: _Station) -> tuple[str, Reading | None]:
    """The newest comment that says where he listens, and what it most likely means."""
    for spot in station.spots:
        if not spot.comment:
            continue
        found = readings(spot.comment, spot.frequency_hz, plain_mode(station.mode, spot.frequency_hz))
        if found:
            return spot.comment, found[0]
    return "", None


def _listens(reading: Reading | None, lawful: bool | None, usable: bool) -> str:
    if reading is None:
        return ""
    plan = reading.plan
    low, high = plan.listen_low_hz / 1e3, plan.listen_high_hz / 1e3
    if plan.kind == "simplex":
        where = "listens where he sends"
    else:
        where = f"listens on {low:.1f}" if low == high else f"listens {low:.1f} to {high:.1f}"
    if not usable:
        return f"{where}, where you may not send"
    return f"{where}, not all of it yours" if lawful is False else where
