"""Announced operations: who will be on the air, where, when, on which bands. A TOML or CSV file of the user's."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

from hearmark.errors import HearmarkError
from hearmark.log.calls import parts_of
from hearmark.log.entities import Entities, Place, entities
from hearmark.log.own import Row, bands_and_modes, day_of, entity_code, known_columns, read_rows, text_of
from hearmark.settings import LOCATOR

COLUMNS = ("call", "entity", "locator", "since", "until", "bands", "modes", "notes")


@dataclass(frozen=True, slots=True)
class Operation:
    """One announced operation; days are UTC, both included; None: open. Empty bands and modes: any."""

    call: str
    entity: int | None = None
    locator: str = ""
    since: date | None = None
    until: date | None = None
    bands: tuple[str, ...] = ()
    modes: tuple[str, ...] = ()
    notes: str = ""

    def is_on(self, day: date) -> bool:
        """True on a day within its dates."""
        return (self.since is None or self.since <= day) and (self.until is None or day <= self.until)

    def place(self, known: Entities, day: date) -> Place | None:
        """Where it is: as announced, else by its call."""
        if self.entity is not None and self.entity in entities():
            by_call = known.lookup(self.call, day)
            return by_call if by_call and by_call.entity == self.entity else entities()[self.entity].place
        return known.lookup(self.call, day)


def read_watch(path: Path) -> tuple[Operation, ...]:
    """The operations of a file: call, and if given entity, locator, since, until, bands, modes, notes.

    Raises HearmarkError that names the row and what is wrong in it.
    """
    return tuple(_operation(where, row) for where, row in known_columns(read_rows(path, "operation"), COLUMNS))


def _operation(where: str, row: Row) -> Operation:
    call = text_of(row, "call").upper()
    if parts_of(call) is None:
        raise HearmarkError(f'{where}: call "{call}" is missing or no call.')
    locator = text_of(row, "locator")
    if locator and not LOCATOR.fullmatch(locator):
        raise HearmarkError(f'{where}: locator "{locator}" is no Maidenhead locator like JO50.')
    since, until = day_of(row, "since", where), day_of(row, "until", where)
    if since and until and until < since:
        raise HearmarkError(f"{where}: the operation would end on {until}, before it begins on {since}.")
    entity = text_of(row, "entity").upper()
    return Operation(
        call,
        entity_code(entity, where) if entity else None,
        locator,
        since,
        until,
        *bands_and_modes(row, where),
        notes=text_of(row, "notes"),
    )
