"""Which contacts are meant: by date, band, mode, call, entity."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from sqlalchemy import Select, or_

from hearmark.duplex.bands import EDGES_HZ
from hearmark.errors import HearmarkError
from hearmark.log.modes import GROUPS
from hearmark.log.schema import contacts


@dataclass(frozen=True, slots=True)
class Filter:
    """All that is given must hold. `call` may have * for any letters; days are UTC, both included."""

    call: str = ""
    band: str = ""
    mode: str = ""
    since: date | None = None
    until: date | None = None
    entity: int | None = None
    limit: int | None = None

    def narrow(self, query: Select[Any]) -> Select[Any]:
        """The query for only these contacts."""
        column = contacts.c
        if self.call:
            pattern = self.call.upper()
            # GLOB knows more signs than the star; a call has none of them
            plain = "".join(c for c in pattern if c.isalnum() or c in "/*")
            query = query.where(column.call.op("GLOB")(plain) if "*" in plain else column.call == plain)
        if self.band:
            query = query.where(column.band == self.band.lower())
        if self.mode:
            name = self.mode.upper()
            same = or_(column.mode == name, column.submode == name)
            query = query.where(or_(same, column.mode_group == name.lower()) if name.lower() in GROUPS else same)
        if self.since:
            query = query.where(column.start_s >= _midnight_s(self.since))
        if self.until:
            query = query.where(column.start_s < _midnight_s(self.until + timedelta(days=1)))
        if self.entity is not None:
            query = query.where(column.entity == self.entity)
        return query.limit(self.limit) if self.limit is not None else query


def make_filter(
    call: str | None = None, band: str | None = None, mode: str | None = None,
    since: str | None = None, until: str | None = None, entity: int | None = None, limit: int | None = None,
) -> Filter:  # fmt: skip
    """A filter from what a person gave. Raises HearmarkError that names the part at fault."""
    if band and band.lower() not in EDGES_HZ:
        raise HearmarkError(f'"{band}" is no band; give one like 20m, or leave it out.')
    if limit is not None and limit < 0:
        raise HearmarkError(f"--limit {limit} is less than none; give 0 or more.")
    return Filter(call or "", band or "", mode or "", day(since), day(until), entity, limit)


def day(text: str | None) -> date | None:
    """A UTC day from text like 2026-03-21 or 20260321."""
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise HearmarkError(f'"{text}" is no date; write it like 2026-03-21.') from None


def _midnight_s(moment: date) -> int:
    return int(datetime.combine(moment, time(), UTC).timestamp())
