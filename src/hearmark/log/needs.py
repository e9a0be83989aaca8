"""What is still needed, by entity, zone and locator field, and what a contact with a station would bring.

Worked and confirmed are counted by band and group of modes (Morse, phone, digital).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal

import sqlalchemy as sa

from hearmark.log.calls import parts_of
from hearmark.log.contact import CONFIRMED_BY, Contact
from hearmark.log.entities import NO_ENTITY, Place
from hearmark.log.schema import contacts
from hearmark.log.store import Store

Kind = Literal["entity", "cq_zone", "itu_zone", "field"]
Level = Literal["new", "band", "mode", "slot", "unconfirmed", "done"]
KINDS: tuple[Kind, ...] = ("entity", "cq_zone", "itu_zone", "field")
LEVELS: tuple[Level, ...] = ("new", "band", "mode", "slot", "unconfirmed", "done")
"""From the most wanted on: never worked; not on this band; not in this mode; on the band and in the mode, but not both
together; worked so but not confirmed; nothing left to want."""
USUAL_WAYS = ("paper", "lotw", "credit")
"""Ways of confirming that count if nothing else is said. Common practice, no source."""
WORKED, CONFIRMED = 1, 2
Slots = dict[tuple[str, str], int]


@dataclass(frozen=True, slots=True)
class Need:
    """What one contact would bring in one respect: kind "entity", value 24, level "new"."""

    kind: Kind
    value: int | str
    level: Level


@dataclass(slots=True)
class Worked:
    """The log in slots: for each kind and value, what of (band, group) is worked or confirmed."""

    slots: dict[Kind, dict[int | str, Slots]] = field(default_factory=lambda: {kind: {} for kind in KINDS})
    mask: int = 0

    def level(self, kind: Kind, value: int | str, band: str, group: str) -> Level:
        """What a contact on this band in this group of modes would bring."""
        found = self.slots[kind].get(value)
        if not found:
            return "new"
        state = found.get((band, group), 0)
        if state & CONFIRMED:
            return "done"
        if state:
            return "unconfirmed"
        if all(on != band for on, _ in found):
            return "band"
        return "slot" if any(how == group for _, how in found) else "mode"

    def needs(self, place: Place | None, locator: str, band: str, group: str) -> tuple[Need, ...]:
        """What a station at this place would bring, kind by kind; kinds that are not known are left out."""
        values: list[tuple[Kind, int | str]] = []
        if place is not None and place.entity != NO_ENTITY:
            values.append(("entity", place.entity))
        if place is not None:
            values += [("cq_zone", place.cq_zone), ("itu_zone", place.itu_zone)]
        values.append(("field", locator[:2].upper()))
        return tuple(Need(kind, value, self.level(kind, value, band, group)) for kind, value in values if value)

    def add(self, contact: Contact) -> None:
        """Counts one more contact, so that nothing need be read again after a key press."""
        state = WORKED | (CONFIRMED if contact.confirmed & self.mask else 0)
        values: Mapping[Kind, int | str | None] = {
            "entity": contact.entity,
            "cq_zone": contact.cq_zone,
            "itu_zone": contact.itu_zone,
            "field": contact.locator[:2],
        }
        for kind, value in values.items():
            if value:
                slots = self.slots[kind].setdefault(value, {})
                slots[contact.band, contact.group] = slots.get((contact.band, contact.group), 0) | state


def mask_of(ways: Iterable[str]) -> int:
    """The bits of `Contact.confirmed` for names like "paper" and "lotw"."""
    mask = 0
    for way in ways:
        mask |= CONFIRMED_BY[way]
    return mask


def worked(store: Store, ways: Iterable[str] = USUAL_WAYS) -> Worked:
    """Counts the whole log."""
    found = Worked(mask=mask_of(ways))
    c = contacts.c
    columns: dict[Kind, sa.ColumnElement[int | str]] = {
        "entity": c.entity,
        "cq_zone": c.cq_zone,
        "itu_zone": c.itu_zone,
        "field": sa.func.substr(c.locator, 1, 2),
    }
    with store.reading() as connection:
        for kind, column in columns.items():
            confirmed = sa.func.max(c.confirmed.op("&")(found.mask) != 0)
            query = sa.select(column, c.band, c.mode_group, confirmed).group_by(column, c.band, c.mode_group)
            into = found.slots[kind]
            for value, band, group, sure in connection.execute(query):
                if value:
                    into.setdefault(value, {})[band, group] = WORKED | (CONFIRMED if sure else 0)
    return found


def highest(needs: Iterable[Need]) -> Need | None:
    """The most wanted of these needs; entities before zones before fields."""
    return min(needs, key=lambda need: (LEVELS.index(need.level), KINDS.index(need.kind)), default=None)


@dataclass(frozen=True, slots=True)
class Before:
    """Earlier contacts with a station. `same_slot`: one on this band in this group of modes: a duplicate."""

    count: int
    same_slot: bool
    last_s: int | None
    slots: tuple[tuple[str, str], ...]


def before(store: Store, calls: Iterable[str], band: str, group: str) -> dict[str, Before]:
    """Earlier contacts with each of these calls; the home call counts the same with and without /P and the like."""
    return {call: found.get_for(band, group) for call, found in histories(store, calls).items()}


@dataclass(slots=True)
class History:
    """All slots in which a station was worked."""

    count: int = 0
    last_s: int | None = None
    slots: dict[tuple[str, str], None] = field(default_factory=dict)

    def get_for(self, band: str, group: str) -> Before:
        """What it means for a contact on this band in this group of modes."""
        return Before(self.count, (band, group) in self.slots, self.last_s, tuple(self.slots))


def slots_of(counted: Worked, store: Store, what: str, value: str) -> Slots:
    """What of one entry of the user's list is worked or confirmed, by (band, group); calls count as worked only."""
    if what == "call":
        return dict.fromkeys(histories(store, [value])[value].slots, WORKED)
    if what == "field":
        return counted.slots["field"].get(value[:2], {})
    kind: Kind = "entity" if what == "entity" else "cq_zone" if what == "cq_zone" else "itu_zone"
    return counted.slots[kind].get(int(value), {})


_AT_ONCE = 400
_BY_THE_WAY = ("/P", "/M", "/QRP", "/A")


def histories(store: Store, calls: Iterable[str]) -> dict[str, History]:
    """The history of each call, in few queries however many calls there are."""
    wanted: dict[str, list[str]] = {}
    for call in dict.fromkeys(calls):
        parts = parts_of(call)
        plain = call.upper() if parts is None or parts.where != parts.home else parts.home
        for form in (plain, *(plain + way for way in _BY_THE_WAY), call.upper()):
            if call not in wanted.setdefault(form, []):
                wanted[form].append(call)
    found = {call: History() for names in wanted.values() for call in names}
    forms = list(wanted)
    c = contacts.c
    with store.reading() as connection:
        for begin in range(0, len(forms), _AT_ONCE):
            query = sa.select(c.call, c.start_s, c.band, c.mode_group).where(
                c.call.in_(forms[begin : begin + _AT_ONCE])
            )
            for call, start_s, band, group in connection.execute(query.order_by(c.start_s)):
                for name in wanted[call]:
                    history = found[name]
                    history.count += 1
                    history.last_s = start_s
                    history.slots[band, group] = None
    return found
