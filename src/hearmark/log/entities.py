"""From a call to its entity, continent, CQ and ITU zone and place, as it was on a day.

The tables `data/entities.csv` and `data/call_areas.csv` say what a prefix means; the longest that fits counts, a whole
call before any prefix, and what the user says before the tables.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from functools import cache

from hearmark.data import table
from hearmark.log.calls import CallParts, parts_of
from hearmark.log.contact import Contact

NO_ENTITY = 0
"""ADIF's code for a station that is known to be in none."""
_LETTERS, _FIGURES = "ABCDEFGHIJKLMNOPQRSTUVWXYZ", "0123456789"
_SIGN = re.compile(r"\[([A-Z0-9-]+)\]|(.)")
_LONGEST = 12


@dataclass(frozen=True, slots=True)
class Place:
    """What a call tells. Zones 0 and positions None: not known."""

    entity: int
    name: str
    continent: str
    cq_zone: int
    itu_zone: int
    latitude_deg: float | None
    longitude_deg: float | None


@dataclass(frozen=True, slots=True)
class Rule:
    """What a prefix means on days from `since` to `until`, both included."""

    place: Place
    since: date | None = None
    until: date | None = None

    def holds(self, day: date) -> bool:
        """True on this day."""
        return (self.since is None or self.since <= day) and (self.until is None or day <= self.until)


@dataclass(frozen=True, slots=True)
class UserRule:
    """A call of the user's, or the start of calls with * behind it, and what it means from when to when."""

    call: str
    rule: Rule


@dataclass(frozen=True, slots=True)
class Entity:
    """One entity of the table. `prefixes` as the table writes them."""

    code: int
    name: str
    place: Place
    deleted: bool
    prefixes: tuple[str, ...]


@cache
def entities() -> dict[int, Entity]:
    """All entities of the table by code."""
    found = {}
    for row in table("entities.csv"):
        code = int(row["code"])
        prefixes = tuple(row["prefixes"].split())
        place = Place(
            code, row["name"], row["continent"], int(row["cq_zone"]), int(row["itu_zone"]),
            float(row["latitude_deg"]), float(row["longitude_deg"]),
        )  # fmt: skip
        found[code] = Entity(code, row["name"], place, bool(row["deleted"]), prefixes)
    return found


NOWHERE = Place(NO_ENTITY, "no entity", "", 0, 0, None, None)


class Entities:
    """Looks calls up, the user's own rules first."""

    def __init__(self, own: Iterable[UserRule] = ()) -> None:
        self._starts, self._wholes = _compiled()
        own = tuple(own)
        self._own = {rule.call: [r.rule for r in own if r.call == rule.call] for rule in own}
        self._own_starts = sorted((call[:-1] for call in self._own if call.endswith("*")), key=len, reverse=True)
        self._memory: dict[tuple[str, int], Place | None] = {}

    def lookup(self, call: str, day: date | None = None) -> Place | None:
        """What the call tells on a day (UTC; today if None). None: nothing is known, or it is no call."""
        day = day or datetime.now(UTC).date()
        key = (call, day.toordinal())
        if key not in self._memory:
            if len(self._memory) > 300_000:
                self._memory.clear()
            self._memory[key] = self._look(call.strip().upper(), day)
        return self._memory[key]

    def said_by_user(self, call: str, day: date) -> Place | None:
        """What the user's own rules say of this call."""
        if not self._own:
            return None
        starts = (start + "*" for start in self._own_starts if call.startswith(start))
        for name in itertools.chain((call,), starts):
            for rule in self._own.get(name, ()):
                if rule.holds(day):
                    return rule.place
        return None

    def complete(self, contact: Contact) -> Contact:
        """The contact with entity, continent and zones: the user's rules, else its own fields, else the tables."""
        day = contact.day
        own = self.said_by_user(contact.call, day)
        place = own or self.lookup(contact.call, day)
        if own is None and contact.entity is not None and (place is None or place.entity != contact.entity):
            # The record knows better where he was; the zones of his prefix are then not his
            known = entities().get(contact.entity)
            place = known.place if known else NOWHERE if contact.entity == NO_ENTITY else None
        if place is None:
            return contact
        if own is not None:
            return replace(
                contact, entity=own.entity, continent=own.continent, cq_zone=own.cq_zone, itu_zone=own.itu_zone
            )
        return replace(
            contact,
            entity=place.entity if contact.entity is None else contact.entity,
            continent=contact.continent or place.continent,
            cq_zone=contact.cq_zone or place.cq_zone,
            itu_zone=contact.itu_zone or place.itu_zone,
        )

    def _look(self, call: str, day: date) -> Place | None:
        parts = parts_of(call, self._starts.__contains__)
        if parts is None:
            return None
        own = self.said_by_user(call, day) or self.said_by_user(parts.home, day)
        if own is not None:
            return own
        if parts.nowhere:
            return NOWHERE
        found = self._whole(call, day) or (self._start(call, day, "/") if "/" in call else None)
        return found or self._by_parts(parts, day)

    def _by_parts(self, parts: CallParts, day: date) -> Place | None:
        found = self._whole(parts.where, day) or self._start(parts.where, day)
        if found is None and parts.where != parts.home:
            # What stood beside the call was no prefix
            found = self._whole(parts.home, day) or self._start(parts.home, day)
        return found

    def _whole(self, text: str, day: date) -> Place | None:
        for length in range(min(len(text), 4), 0, -1):
            for pattern, rule in self._wholes.get(text[:length], ()):
                if pattern.fullmatch(text) and rule.holds(day):
                    return rule.place
        return None

    def _start(self, text: str, day: date, must_hold: str = "") -> Place | None:
        always = None
        for length in range(min(len(text), _LONGEST), 0, -1):
            start = text[:length]
            if must_hold and (must_hold not in start or text[length : length + 1] not in ("", must_hold)):
                # FR/T/F6AAA is on another island than FR, FR/TA1AA is not
                continue
            for rule in self._starts.get(start, ()):
                if not rule.holds(day):
                    continue
                # What held for some time only goes before what holds always, though that be longer
                if rule.since or rule.until:
                    return rule.place
                always = always or rule.place
        return always


def expand(pattern: str) -> list[str]:
    """Every prefix that a pattern of the tables stands for: "K[AB]#" is 20 of them."""
    choices = []
    for among, sign in _SIGN.findall(pattern):
        if among:
            choices.append(_among(among))
        else:
            choices.append({"@": _LETTERS, "#": _FIGURES}.get(sign, sign))
    return ["".join(letters) for letters in itertools.product(*choices)]


def _among(text: str) -> str:
    """The signs of "A-CX": A, B, C and X."""
    signs = re.sub(r"(.)-(.)", lambda m: "".join(chr(c) for c in range(ord(m[1]), ord(m[2]) + 1)), text)
    return "".join(dict.fromkeys(signs))


_Starts = dict[str, list[Rule]]
_Wholes = dict[str, list[tuple[re.Pattern[str], Rule]]]


@cache
def _compiled() -> tuple[_Starts, _Wholes]:
    starts: _Starts = {}
    wholes: _Wholes = {}

    def put(pattern: str, rule: Rule) -> None:
        if pattern.endswith("$"):
            head = re.split(r"[\[@#$]", pattern)[0][:4]
            form = pattern[:-1].replace("@", "[A-Z]").replace("#", "[0-9]")
            wholes.setdefault(head, []).append((re.compile(form), rule))
            return
        for start in expand(pattern):
            starts.setdefault(start, []).append(rule)

    for row in table("call_areas.csv"):
        put(row["pattern"], _area_rule(row))
    for entity in entities().values():
        for pattern in entity.prefixes:
            put(pattern, Rule(entity.place))
    return starts, wholes


def places() -> list[Place]:
    """Every place that a call can tell by the tables, each once."""
    starts, wholes = _compiled()
    rules = itertools.chain(itertools.chain.from_iterable(starts.values()), (r for w in wholes.values() for _, r in w))
    return list(dict.fromkeys(rule.place for rule in rules))


def _area_rule(row: dict[str, str]) -> Rule:
    since = date.fromisoformat(row["since"]) if row["since"] else None
    until = date.fromisoformat(row["until"]) if row["until"] else None
    if not row["code"]:
        return Rule(NOWHERE, since, until)
    whole = entities()[int(row["code"])].place
    place = replace(
        whole,
        continent=row["continent"] or whole.continent,
        cq_zone=int(row["cq_zone"]),
        itu_zone=int(row["itu_zone"]),
        latitude_deg=float(row["latitude_deg"]),
        longitude_deg=float(row["longitude_deg"]),
    )
    return Rule(place, since, until)
