"""Logs in and out: a file of either form into the store, contacts of the store into a file.

A record that is in the log already changes nothing. One of the same contact that says more (a confirmation, a zone)
completes it: what the log lacks is added, a confirmation that came is taken over, all else stays as it was logged.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy import Connection

from hearmark.errors import HearmarkError
from hearmark.files import write_pieces
from hearmark.log.adi import read_adi, write_adi
from hearmark.log.adif import Definition, Field, Fields, Header, Item, Record, Refused, definitions, used, value
from hearmark.log.adx import read_adx, unwritable, write_adx
from hearmark.log.contact import Contact, digest_of, fields_from, read_contact
from hearmark.log.entities import Entities
from hearmark.log.filters import Filter
from hearmark.log.schema import contacts
from hearmark.log.store import Store, add_definitions, add_rows, change_row

BATCH = 800
"""Contacts in one transaction: short enough that a contact logged meanwhile need not wait."""
LARGEST_BYTES = 2_000_000_000
_UPGRADING = re.compile(r"(QSL|LOTW_QSL|EQSL_QSL|DCL_QSL)_RCVD|CREDIT_GRANTED")
_RECEIVED = ("Y", "V")
_LOOK_BYTES = 1 << 16
"""So far into a file its form is looked for."""
_ADI_TAG = re.compile(rb"<([a-z]\w*:\d+(:[a-z])?|eoh|eor)>", re.IGNORECASE)


@dataclass(slots=True)
class ImportReport:
    """What came of an import. `completed`: contacts of the log that learnt something new."""

    read: int = 0
    added: int = 0
    unchanged: int = 0
    completed: int = 0
    refused: list[Refused] = field(default_factory=list)
    remarks: list[tuple[int, str, str]] = field(default_factory=list)


def read_items(
    path: Path, encoding: str | None = None, advance: Callable[[float], None] | None = None
) -> Iterator[Item]:
    """The items of a file of either form, told apart by what it begins with, not by its name."""
    if size_of(path) > LARGEST_BYTES:
        raise HearmarkError(f"{path} is larger than {LARGEST_BYTES / 1e9:g} GB; split it.")
    try:
        data = path.read_bytes()
    except OSError as error:
        raise HearmarkError(f"Cannot read {path}: {error.strerror}; give an ADIF file.") from error
    if _is_xml(data):
        return read_adx(data, advance)
    return read_adi(data, encoding, advance)


def _is_xml(data: bytes) -> bool:
    start = data[:400].replace(b"\0", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n").lower()
    return start.startswith((b"<?xml", b"<adx", b"<!doctype", b"<!--"))


def _refuse_over_other(path: Path, adx: bool) -> None:
    """Raises if there is a file that is no log of this form and would be lost; an empty one is nothing to lose."""
    try:
        with path.open("rb") as file:
            start = file.read(_LOOK_BYTES)
    except OSError:
        return  # nothing there; what cannot be written is told by who writes
    plain = start.replace(b"\0", b"")
    same = b"<adx" in plain.lower() if _is_xml(start) else _ADI_TAG.search(plain) is not None
    if start and (_is_xml(start) != adx or not same):
        form = "ADX" if adx else "ADI"
        raise HearmarkError(f"{path} is there already and is no {form} log, and would be lost; give another name.")


def size_of(path: Path) -> int:
    """Bytes of a file to be read; raises HearmarkError if it is not there."""
    try:
        return path.stat().st_size
    except OSError as error:
        raise HearmarkError(f"Cannot read {path}: {error.strerror}; give an ADIF file.") from error


def import_file(
    store: Store, path: Path, entities: Entities, encoding: str | None = None,
    advance: Callable[[float], None] | None = None,
) -> ImportReport:  # fmt: skip
    """Takes a file into the log. Good records are kept whatever the others are like.

    Raises HearmarkError if the file cannot be read or holds no record at all; the log is as it was then.
    """
    report = ImportReport()
    with store.reading() as connection:
        known = _Known(connection)
    batch = _Batch(known, entities, report)
    for item in read_items(path, encoding, advance):
        if isinstance(item, Header):
            batch.definitions.extend(definitions(item.fields))
            continue
        report.read += 1
        if isinstance(item, Refused):
            report.refused.append(item)
            continue
        contact = _contact(item, entities, report)
        if contact is not None:
            batch.take(item.line, contact)
        if batch.waiting >= BATCH:
            batch.write(store)
    if not report.read:
        raise HearmarkError(f"{path} holds no contacts; is it an ADIF file?")
    batch.write(store)
    return report


def _contact(record: Record, entities: Entities, report: ImportReport) -> Contact | None:
    try:
        contact = read_contact(record.fields)
    except HearmarkError as error:
        report.refused.append(Refused(record.line, str(error), value(record.fields, "CALL")))
        return None
    for remark in (*record.remarks, *contact.remarks):
        report.remarks.append((record.line, contact.call, remark))
    return entities.complete(contact)


Key = tuple[str, str, str, int]


@dataclass(frozen=True, slots=True)
class _Seen:
    """What tells a contact of the log from others with the same call, band and kind of mode in the same minute."""

    id: int
    start_s: int
    own_call: str

    def is_of(self, contact: Contact) -> bool:
        """One contact: begun at the same second, or one of the two logs knows no seconds; by the same station."""
        timely = self.start_s == contact.start_s or self.start_s % 60 == 0 or contact.start_s % 60 == 0
        return timely and (self.own_call == contact.own_call or not self.own_call or not contact.own_call)


class _Known:
    """What the log holds, by content and by what makes two records one contact."""

    def __init__(self, connection: Connection) -> None:
        c = contacts.c
        self.digests: set[bytes] = set()
        self.by_key: dict[Key, list[_Seen]] = {}
        self.last = 0
        query = sa.select(c.id, c.digest, c.call, c.start_s, c.band, c.mode_group, c.own_call).order_by(c.id)
        for row in connection.execute(query):
            self.digests.add(row.digest)
            key = (row.call, row.band, row.mode_group, row.start_s // 60)
            self.by_key.setdefault(key, []).append(_Seen(row.id, row.start_s, row.own_call))
            self.last = row.id

    def number(self, contact: Contact) -> int | None:
        """The number of this contact in the log; of several that might be it, the one nearest in time."""
        key = (contact.call, contact.band, contact.group, contact.start_s // 60)
        same = [seen for seen in self.by_key.get(key, ()) if seen.is_of(contact)]
        return min(same, key=lambda seen: abs(seen.start_s - contact.start_s)).id if same else None


class _Batch:
    """Contacts on their way into the log."""

    def __init__(self, known: _Known, entities: Entities, report: ImportReport) -> None:
        self.known, self.entities, self.report = known, entities, report
        self.definitions: list[Definition] = []
        self.new: list[Contact] = []
        self.completing: list[tuple[int, int, Contact]] = []

    @property
    def waiting(self) -> int:
        return len(self.new) + len(self.completing)

    def take(self, line: int, contact: Contact) -> None:
        digest = contact.digest
        if digest in self.known.digests:
            self.report.unchanged += 1
            return
        self.known.digests.add(digest)
        number = self.known.number(contact)
        if number is None:
            self.new.append(contact)
        else:
            self.completing.append((line, number, contact))

    def write(self, store: Store) -> None:
        """One transaction. What another process logged meanwhile is met again here, by content."""
        with store.writing() as connection:
            add_definitions(connection, self.definitions)
            query = sa.select(contacts.c.digest).where(contacts.c.id > self.known.last)
            there = set(connection.execute(query).scalars())
            fresh = [contact for contact in self.new if contact.digest not in there]
            numbers = add_rows(connection, fresh)
            done = [self._complete(connection, *entry) for entry in self.completing]
            last = connection.execute(sa.select(sa.func.max(contacts.c.id))).scalar() or 0
        # Counted only now that it is on the disk
        self.known.last = max(last, *numbers) if numbers else last
        self.report.added += len(fresh)
        self.report.completed += sum(done)
        self.report.unchanged += len(self.new) - len(fresh) + len(done) - sum(done)
        self.new, self.completing, self.definitions = [], [], []

    def _complete(self, connection: Connection, line: int, number: int, contact: Contact) -> bool:
        """Puts what is new of `contact` under an old number; whether there was anything."""
        row = connection.execute(sa.select(contacts.c.fields).where(contacts.c.id == number)).first()
        if row is None:
            return False
        old = fields_from(row.fields)
        merged, kept = merge(old, contact.fields)
        if kept:
            names = ", ".join(kept[:6])
            self.report.remarks.append((line, contact.call, f"in the log already, which says otherwise of {names}"))
        if digest_of(merged) == digest_of(old):
            return False
        change_row(connection, number, self.entities.complete(read_contact(merged)))
        return True


def merge(old: Fields, new: Fields) -> tuple[Fields, list[str]]:
    """The fields of one contact from what the log says and what a second record says.

    Comes back with the names of the fields in which the log's value was kept against another one.
    """
    place = {entry.name.upper(): index for index, entry in reversed(list(enumerate(old))) if entry.value}
    result, kept = list(old), []
    for entry in new:
        name = entry.name.upper()
        if not entry.value:
            continue
        if name not in place:
            place[name] = len(result)
            result.append(entry)
            continue
        mine = result[place[name]]
        if _same(name, mine.value.strip(), entry.value.strip()):
            continue
        if _UPGRADING.fullmatch(name) and _is_news(name, mine, entry):
            result[place[name]] = Field(mine.name, entry.value, mine.kind)
        else:
            kept.append(name)
    return tuple(result), kept


def _same(name: str, mine: str, other: str) -> bool:
    """The same said otherwise: other case, a time without seconds, a figure with noughts behind it."""
    if mine.casefold() == other.casefold():
        return True
    if name in ("TIME_ON", "TIME_OFF"):
        return mine[:4] == other[:4] and 4 in (len(mine), len(other))
    try:
        return float(mine) == float(other)
    except ValueError:
        return False


def _is_news(name: str, mine: Field, entry: Field) -> bool:
    if name == "CREDIT_GRANTED":
        return set(mine.value.split(",")) < set(entry.value.split(","))
    return entry.value.strip().upper() in _RECEIVED and mine.value.strip().upper() not in _RECEIVED


def export_file(
    store: Store, path: Path, wanted: Filter | None = None, made: datetime | None = None,
    advance: Callable[[float], None] | None = None,
) -> tuple[int, int]:  # fmt: skip
    """Writes contacts in the order in which they came; ADX if the name ends in .adx, else ADI.

    The number written comes back, and how many hold characters that XML cannot carry. Raises HearmarkError over a file
    that is no log of that form, and for one call that was never worked; nothing is written then.
    """
    adx = path.suffix.lower() == ".adx"
    _refuse_over_other(path, adx)
    if wanted is not None and wanted.call and next(store.in_file_order(wanted), None) is None:
        raise HearmarkError(f"There is no contact with {wanted.call} to write; nothing was written.")
    made = made or datetime.now(UTC)
    names: set[str] = set()
    total = spoilt = 0

    def records() -> Iterator[Fields]:
        nonlocal total, spoilt
        for contact in store.in_file_order(wanted):
            total += 1
            spoilt += adx and unwritable(contact.fields)
            if advance is not None and total % 1000 == 0:
                advance(total)
            yield contact.fields

    known = store.field_definitions()
    if known and wanted is not None:
        # Only a look through the records tells which of the definitions are in use
        for contact in store.in_file_order(wanted):
            names.update(entry.name.upper() for entry in contact.fields)
        known = used(known, names)
    write = write_adx if adx else write_adi
    write_pieces(path, write(records(), known, made, version("hearmark")))
    return total, spoilt
