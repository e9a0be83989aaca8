"""What an ADIF file consists of, whatever its form: fields, records, what was refused and what was noticed.

Source: ADIF Specification 3.1.6, adif.org.uk. Field names do not depend on case; they are kept as they were
written, and so are fields that nobody here knows.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

VERSION = "3.1.6"
PROGRAM = "HEARMARK"


class Field(NamedTuple):
    """One data specifier. `kind`: the data type indicator if the file gave one, like "N" or "E"."""

    name: str
    value: str
    kind: str = ""


Fields = tuple[Field, ...]


@dataclass(frozen=True, slots=True)
class Header:
    """The fields before the first record."""

    fields: Fields


@dataclass(frozen=True, slots=True)
class Record:
    """One contact as it stands in the file, from line `line` on."""

    line: int
    fields: Fields
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Refused:
    """What could not be taken, where it stands, and why."""

    line: int
    why: str
    call: str = ""


@dataclass(frozen=True, slots=True)
class Definition:
    """A field that the file's author defined: its name, type indicator, and enumeration or range as "{...}"."""

    name: str
    kind: str = ""
    limits: str = ""


Item = Header | Record | Refused


def value(fields: Iterable[Field], name: str) -> str:
    """The first non-empty value of this name (upper case), stripped; empty if there is none."""
    for field in fields:
        if field.value and field.name.upper() == name:
            return field.value.strip()
    return ""


def definitions(header: Sequence[Field]) -> tuple[Definition, ...]:
    """The user-defined fields that a header of either form declares (USERDEFn, ADIF III.B.1)."""
    found = []
    for field in header:
        if field.name.upper().startswith("USERDEF") and field.name[7:].isdigit():
            name, _, limits = field.value.partition(",")
            if name.strip():
                found.append(Definition(name.strip(), field.kind, limits.strip()))
    return tuple(found)


def used(known: Iterable[Definition], names: Iterable[str]) -> tuple[Definition, ...]:
    """Those definitions that the given field names need, each name once."""
    wanted = {name.upper() for name in names}
    found: dict[str, Definition] = {}
    for definition in known:
        if definition.name.upper() in wanted:
            found.setdefault(definition.name.upper(), definition)
    return tuple(found.values())
