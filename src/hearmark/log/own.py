"""Files of the user's own: exceptions from the tables of entities, and what he wants. TOML or CSV."""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import Any, TypeVar

from hearmark.duplex.bands import EDGES_HZ
from hearmark.errors import HearmarkError
from hearmark.log.entities import NO_ENTITY, NOWHERE, Entities, Place, Rule, UserRule, entities
from hearmark.log.modes import GROUPS

Row = dict[str, Any]
Made = TypeVar("Made")
SAME_COLUMN = {
    "from": "since", "start": "since", "to": "until", "end": "until", "band": "bands", "mode": "modes",
    "note": "notes", "comment": "notes", "grid": "locator",
}  # fmt: skip
WHAT = ("call", "entity", "cq_zone", "itu_zone", "field")
EXCEPTION = ("call", "entity", "cq_zone", "itu_zone", "continent", "since", "until", "notes")
WANTED = ("what", "value", "bands", "modes", "notes")


@dataclass(frozen=True, slots=True)
class Wanted:
    """One entry of the user's list: what is wanted, and on which bands and in which groups (empty: any)."""

    what: str
    value: str
    bands: tuple[str, ...] = ()
    modes: tuple[str, ...] = ()


def read_rows(path: Path, section: str) -> list[tuple[str, Row]]:
    """The rows of a CSV file with a line of names, or of [[section]] in a TOML file, each with where it stands."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise HearmarkError(f"Cannot read {path}: {error.strerror}; give a TOML or CSV file.") from error
    except UnicodeDecodeError as error:
        raise HearmarkError(f"{path} is not UTF-8 text ({error.reason} at byte {error.start}).") from error
    if path.suffix.lower() == ".toml":
        try:
            whole = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            raise HearmarkError(f"{path} is not TOML ({error}); mend that place.") from error
        found = whole.get(section, [])
        if (
            (whole and section not in whole)
            or not isinstance(found, list)
            or not all(isinstance(row, dict) for row in found)
        ):
            raise HearmarkError(f"{path} must hold [[{section}]] sections.")
        return [(f"{path}, [[{section}]] number {number}", row) for number, row in enumerate(found, start=1)]
    lines = [line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")]
    reader = csv.DictReader(lines, skipinitialspace=True, restkey="")
    rows = []
    for number, row in enumerate(reader, start=2):
        rows.append((f"{path}, row {number}", {(k or "").strip(): v for k, v in row.items() if k and v}))
    return rows


def known_columns(rows: list[tuple[str, Row]], names: tuple[str, ...]) -> list[tuple[str, Row]]:
    """The rows under the names of their columns; one that nobody knows would be passed over unseen: told."""
    found = []
    for where, row in rows:
        plain = {SAME_COLUMN.get(name.strip().lower(), name.strip().lower()): value for name, value in row.items()}
        for name in plain:
            if name and name not in names:
                raise HearmarkError(f'{where}: "{name}" is unknown; known are {", ".join(names)}.')
        found.append((where, plain))
    return found


def text_of(row: Row, name: str) -> str:
    """A value as text; empty if it is not given."""
    value = row.get(name)
    return "" if value is None else str(value).strip()


def day_of(row: Row, name: str, where: str) -> date | None:
    """A day like 2026-03-21."""
    value = row.get(name)
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, date):
        return value
    if not text_of(row, name):
        return None
    try:
        return date.fromisoformat(text_of(row, name))
    except ValueError:
        raise HearmarkError(f'{where}: {name} "{value}" is no date like 2026-03-21.') from None


def whole_of(row: Row, name: str, where: str) -> int | None:
    """A whole number."""
    text = text_of(row, name)
    if not text:
        return None
    if not text.isascii() or not text.isdigit():
        raise HearmarkError(f'{where}: {name} "{text}" is no whole number.')
    return int(text)


def words_of(row: Row, name: str) -> tuple[str, ...]:
    """A list, or words with spaces or commas between."""
    value = row.get(name)
    if isinstance(value, list):
        return tuple(str(word).strip().lower() for word in value)
    return tuple(word.lower() for word in text_of(row, name).replace(",", " ").replace(";", " ").split())


def check_words(words: tuple[str, ...], among: tuple[str, ...], where: str, name: str) -> tuple[str, ...]:
    """These words, all of which must be among the known ones."""
    for word in words:
        if word not in among:
            raise HearmarkError(f'{where}: "{word}" in {name} is none of {", ".join(among[:14])}.')
    return words


def bands_and_modes(row: Row, where: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The columns `bands` and `modes`."""
    bands = check_words(words_of(row, "bands"), tuple(EDGES_HZ), where, "bands")
    return bands, check_words(words_of(row, "modes"), GROUPS, where, "modes")


def entity_code(text: str, where: str) -> int:
    """An entity by its ADIF code, by a prefix or call that lies in it, or by the beginning of its name."""
    if text.isascii() and text.isdigit():
        code = int(text)
        if code != NO_ENTITY and code not in entities():
            raise HearmarkError(f"{where}: {code} is no entity code of ADIF.")
        return code
    if len(text) > 3 and not any(sign.isdigit() for sign in text):
        return _named(text, where)
    place = Entities().lookup(text if any(c.isdigit() for c in text) else text + "1")
    if place is None:
        raise HearmarkError(f'{where}: "{text}" is neither an entity code nor a known prefix.')
    return place.entity


def _named(text: str, where: str) -> int:
    """The one entity of today whose name is this, or begins so, or has a word that begins so."""
    name = text.casefold()
    today = {entity.code: entity.name.casefold() for entity in entities().values() if not entity.deleted}
    for fits in (str.__eq__, str.startswith, lambda whole, part: f" {part}" in whole):
        found = [code for code, whole in today.items() if fits(whole, name)]
        if len(found) == 1:
            return found[0]
        if found:
            names = ", ".join(entities()[code].name for code in found[:5])
            raise HearmarkError(f'{where}: "{text}" may be {names}; write the whole name, a prefix or the code.')
    raise HearmarkError(f'{where}: "{text}" is no entity; give its name, a prefix or its ADIF code.')


def read_exceptions(path: Path) -> tuple[UserRule, ...]:
    """The user's own rules: call (or START*), entity, and if given cq_zone, itu_zone, continent, since, until."""
    return _each(path, "exception", EXCEPTION, _exception)


def read_wanted(path: Path) -> tuple[Wanted, ...]:
    """The user's list: what (call, entity, cq_zone, itu_zone, field), value, and if given bands and modes."""
    return _each(path, "wanted", WANTED, _wanted)


def _each(path: Path, section: str, names: tuple[str, ...], make: Callable[[str, Row], Made]) -> tuple[Made, ...]:
    return tuple(make(where, row) for where, row in known_columns(read_rows(path, section), names))


def _exception(where: str, row: Row) -> UserRule:
    call = text_of(row, "call").upper()
    if not call or not set(call.rstrip("*")) <= set("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789/"):
        raise HearmarkError(f"{where}: call is missing or no call, or start of calls with * behind it.")
    code = entity_code(text_of(row, "entity") or "?", where)
    place: Place = entities()[code].place if code != NO_ENTITY else NOWHERE
    cq_zone, itu_zone = whole_of(row, "cq_zone", where), whole_of(row, "itu_zone", where)
    place = replace(
        place,
        cq_zone=place.cq_zone if cq_zone is None else cq_zone,
        itu_zone=place.itu_zone if itu_zone is None else itu_zone,
        continent=text_of(row, "continent").upper() or place.continent,
    )
    return UserRule(call, Rule(place, day_of(row, "since", where), day_of(row, "until", where)))


def _wanted(where: str, row: Row) -> Wanted:
    what, value = text_of(row, "what").lower(), text_of(row, "value").upper()
    if what not in WHAT or not value:
        raise HearmarkError(f"{where}: what must be one of {', '.join(WHAT)}, and value must be given.")
    if what == "entity":
        value = str(entity_code(value, where))
    elif what in ("cq_zone", "itu_zone"):
        value = str(whole_of(row, "value", where))
    return Wanted(what, value, *bands_and_modes(row, where))
