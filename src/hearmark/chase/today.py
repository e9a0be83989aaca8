"""Today's chances: for each announced operation, what it would bring and when the path is open, band by band."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from hearmark.chase.paths import Paths
from hearmark.chase.ranking import PathChance
from hearmark.chase.watch import Operation
from hearmark.chase.worth import worth
from hearmark.duplex.bands import EDGES_HZ
from hearmark.log.entities import NOWHERE, Entities, Place
from hearmark.log.modes import GROUPS
from hearmark.log.needs import LEVELS, Level, Worked

USUAL_BANDS = ("160m", "80m", "40m", "30m", "20m", "17m", "15m", "12m", "10m", "6m")


@dataclass(frozen=True, slots=True)
class Chance:
    """One operation on one band. `level`: the most wanted of the entity's slots there. `hours`: chance by hour."""

    call: str
    place: Place | None
    band: str
    group: str
    level: Level
    worth: float
    start: datetime
    hours: tuple[float | None, ...]
    notes: str

    @property
    def best_hour(self) -> int | None:
        """Hours from `start` to the best one; None if no path is known."""
        known = [(chance, -hour) for hour, chance in enumerate(self.hours) if chance is not None]
        return -max(known)[1] if known else None

    @property
    def best(self) -> float | None:
        """The greatest chance."""
        return max((chance for chance in self.hours if chance is not None), default=None)

    @property
    def score(self) -> float:
        """Chance times worth; a path that is not known counts half."""
        return self.worth * (0.5 if self.best is None else self.best)


def chances(
    operations: Iterable[Operation], known: Entities, worked: Worked, path: PathChance | None, now: datetime,
    hours: int = 24,
) -> list[Chance]:  # fmt: skip
    """All operations that are on within these hours, best first; only bands and modes that would bring something."""
    start = now.replace(minute=0, second=0, microsecond=0)
    times = [start + timedelta(hours=hour) for hour in range(hours)]
    wanted: list[tuple[Operation, Place | None, str, str, Level, float]] = []
    for operation in operations:
        if not any(operation.is_on(moment.date()) for moment in times):
            continue
        place = operation.place(known, now.date())
        for band in operation.bands or USUAL_BANDS:
            levels = []
            for group in operation.modes or GROUPS:
                needs = worked.needs(place, operation.locator, band, group)
                level: Level = min((need.level for need in needs), key=LEVELS.index, default="new")
                levels.append((worth(needs), group, level))
            value, group, level = max(levels, key=lambda entry: entry[0])
            wanted.append((operation, place, band, group, level, value))
    table = _hours(wanted, times, path)
    found = [
        Chance(operation.call, place, band, group, level, value, start, row, operation.notes)
        for (operation, place, band, group, level, value), row in zip(wanted, table, strict=True)
    ]
    return sorted(found, key=lambda chance: (-chance.score, chance.call))


def _hours(
    wanted: Sequence[tuple[Operation, Place | None, str, str, Level, float]], times: Sequence[datetime],
    path: PathChance | None,
) -> list[tuple[float | None, ...]]:  # fmt: skip
    table: list[list[float | None]] = [[None] * len(times) for _ in wanted]
    if path is None:
        return [tuple(row) for row in table]
    asked = [(place or NOWHERE, sum(EDGES_HZ[band]) / 2, group) for _, place, band, group, *_ in wanted]
    if isinstance(path, Paths):
        path.prepare(asked, times)
    for hour, moment in enumerate(times):
        for number, chance in enumerate(path(asked, moment)):
            on = wanted[number][0].is_on(moment.date())
            table[number][hour] = chance if on else 0.0
    return [tuple(row) for row in table]
