"""The log on disk: one SQLite file with a write-ahead log, safe with several processes and threads.

When `add` returns, the contact is on the disk: each commit is followed by a sync (synchronous=FULL). A crash leaves
the state of the last commit. Reading never waits for writing.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Connection, Engine, Row, event
from sqlalchemy.dialects.sqlite import insert

from hearmark.errors import HearmarkError
from hearmark.log import backups
from hearmark.log.adif import Definition
from hearmark.log.contact import Contact, fields_from, fields_json
from hearmark.log.filters import Filter
from hearmark.log.schema import contacts, definitions

HEAD = "0001"
"""The newest migration."""
WAIT_S = 20.0
"""How long a writer waits for another before it gives up."""


class Store:
    """An open log. `path` is made if `create` and it is not there; close it, or use it in a `with`.

    Raises HearmarkError if the file is no log, is of a newer version, or cannot be written.
    """

    def __init__(self, path: Path, create: bool = True, backup: bool = True) -> None:
        self.path = path
        if not create and not path.exists():
            raise HearmarkError(f"There is no log {path}; import or add a contact first, or give another --store.")
        if path.is_dir() or not path.parent.is_dir():
            raise HearmarkError(f"Cannot keep a log in {path}; give a file name in a folder that exists.")
        self.engine = _engine(path)
        try:
            with trouble(path):
                self._migrate()
        except HearmarkError:
            self.engine.dispose()
            raise
        self.backup_trouble = ""
        if backup:
            self._back_up()

    def close(self) -> None:
        """Lets go of the file."""
        self.engine.dispose()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """One transaction: all of it or nothing is kept. Other writers wait for it."""
        with trouble(self.path), self.engine.begin() as connection:
            yield connection

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """One unchanging view of the log."""
        with trouble(self.path), self.engine.connect().execution_options(hearmark_reading=True) as connection:
            yield connection

    def add(self, contact: Contact) -> Contact:
        """Keeps a new contact; it is durable when this returns. The contact with its number comes back."""
        with self.writing() as connection:
            return replace(contact, id=add_rows(connection, [contact])[0])

    def get(self, number: int) -> Contact:
        """The contact under this number; HearmarkError if there is none."""
        with self.reading() as connection:
            row = connection.execute(sa.select(contacts).where(contacts.c.id == number)).first()
        if row is None:
            raise HearmarkError(
                f"There is no contact number {number} in {self.path}; `hearmark log list --json` has them."
            )
        return contact_from(row)

    def change(self, contact: Contact) -> None:
        """Puts new content under the number of this contact; durable when this returns."""
        with self.writing() as connection:
            change_row(connection, contact.id or 0, contact)

    def remove(self, number: int) -> None:
        """Takes a contact out; its number is not given again while younger ones are there."""
        with self.writing() as connection:
            connection.execute(sa.delete(contacts).where(contacts.c.id == number))

    def find(self, wanted: Filter | None = None, newest_first: bool = False) -> Iterator[Contact]:
        """Contacts in the order of time, read as they are asked for."""
        order = (contacts.c.start_s, contacts.c.id)
        query = sa.select(contacts).order_by(*(column.desc() for column in order) if newest_first else order)
        if wanted is not None:
            query = wanted.narrow(query)
        with self.reading() as connection:
            for row in connection.execution_options(yield_per=2000).execute(query):
                yield contact_from(row)

    def in_file_order(self, wanted: Filter | None = None) -> Iterator[Contact]:
        """Contacts in the order in which they came into the log."""
        query = sa.select(contacts).order_by(contacts.c.id)
        if wanted is not None:
            query = wanted.narrow(query)
        with self.reading() as connection:
            for row in connection.execution_options(yield_per=2000).execute(query):
                yield contact_from(row)

    def count(self) -> int:
        """How many contacts there are."""
        with self.reading() as connection:
            return int(connection.execute(sa.select(sa.func.count()).select_from(contacts)).scalar_one())

    def field_definitions(self) -> tuple[Definition, ...]:
        """Fields that authors of imported files defined."""
        with self.reading() as connection:
            rows = connection.execute(sa.select(definitions).order_by(sa.text("rowid")))
            return tuple(Definition(row.spelling, row.kind, row.limits) for row in rows)

    def _migrate(self) -> None:
        with self.engine.connect().execution_options(hearmark_reading=True) as connection:
            if _revision(connection) == HEAD:
                return
        had_contacts = False
        with self.engine.begin() as connection:
            revision = _revision(connection)
            names = sa.inspect(connection).get_table_names()
            if revision is None and names:
                raise HearmarkError(f"{self.path} is a database of something else; give another --store.")
            if revision is not None and revision > HEAD:
                raise HearmarkError(f"{self.path} was written by a newer Hearmark; use that, or another --store.")
            had_contacts = revision is not None and revision != HEAD
            if not had_contacts and revision != HEAD:
                upgrade(connection)
        if had_contacts:
            backups.take(self.path, datetime.now(UTC).replace(tzinfo=None))
            with self.engine.begin() as connection:
                if _revision(connection) != HEAD:
                    upgrade(connection)

    def _back_up(self) -> None:
        """A copy a day. A copy that fails must not keep a contact from being logged: it is reported only."""
        now = datetime.now(UTC).replace(tzinfo=None)
        try:
            if backups.is_due(self.path, now) and self.count():
                backups.take(self.path, now)
                backups.rotate(self.path)
        except (HearmarkError, OSError) as error:
            self.backup_trouble = str(error)


def upgrade(connection: Connection) -> None:
    """Brings the tables to the newest state, in the transaction of this connection."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", "hearmark.log:migrations")
    config.attributes["connection"] = connection
    command.upgrade(config, "head")


def add_rows(connection: Connection, found: Sequence[Contact]) -> list[int]:
    """Inserts contacts; their numbers."""
    first = connection.execute(sa.select(sa.func.coalesce(sa.func.max(contacts.c.id), 0))).scalar_one() + 1
    rows = [{"id": number, **row_from(contact)} for number, contact in enumerate(found, start=first)]
    if rows:
        connection.execute(sa.insert(contacts), rows)
    return [int(row["id"]) for row in rows]


def change_row(connection: Connection, number: int, contact: Contact) -> None:
    """Puts new content under an old number."""
    connection.execute(sa.update(contacts).where(contacts.c.id == number).values(row_from(contact)))


def add_definitions(connection: Connection, found: Iterable[Definition]) -> None:
    """Keeps field definitions; a name that is known stays as it is."""
    rows = [{"name": d.name.upper(), "spelling": d.name, "kind": d.kind, "limits": d.limits} for d in found]
    if rows:
        connection.execute(insert(definitions).on_conflict_do_nothing(), rows)


_COLUMNS = tuple(
    name
    for name in contacts.columns.keys()  # noqa: SIM118 - iterating gives columns, not their names
    if name not in ("id", "digest", "fields", "mode_group")
)


def row_from(contact: Contact) -> dict[str, Any]:
    """The columns of a contact, without its number."""
    row: dict[str, Any] = {name: getattr(contact, name) for name in _COLUMNS}
    row["mode_group"] = contact.group
    row["digest"] = contact.digest
    row["fields"] = fields_json(contact.fields)
    return row


def contact_from(row: Row[Any]) -> Contact:
    """A contact from its row."""
    values = {name: getattr(row, name) for name in _COLUMNS}
    return Contact(id=row.id, digest=row.digest, group=row.mode_group, fields=fields_from(row.fields), **values)


@contextmanager
def trouble(path: Path) -> Iterator[None]:
    """What SQLite and the disk say, as one sentence that tells what to do."""
    try:
        yield
    except (sa.exc.DBAPIError, sqlite3.Error) as error:
        text = str(getattr(error, "orig", error))
        if "locked" in text or "busy" in text:
            what = "another program has been writing to it for a long time; try again"
        elif "full" in text:
            what = "the disk is full, nothing was written; free some space and try again"
        elif "not a database" in text or "malformed" in text or "file is encrypted" in text:
            copies = backups.folder(path)
            what = "it is damaged or no log; " + (
                f"its copies are in {copies}" if backups.copies(path) else "give another --store"
            )
        elif "readonly" in text:
            what = "it may not be written; change its permissions or give another --store"
        else:
            what = f"{text}; nothing was written"
        raise HearmarkError(f"The log {path}: {what}.") from error


def _revision(connection: Connection) -> str | None:
    known = connection.execute(sa.text("select name from sqlite_master where name = 'alembic_version'")).first()
    if known is None:
        return None
    return connection.execute(sa.text("select version_num from alembic_version")).scalar()


def _set_journal(connection: Any) -> None:
    """Write-ahead log. While another process sets it too, SQLite says "locked" at once and does not wait by itself."""
    until = time.monotonic() + WAIT_S
    while True:
        try:
            connection.execute("PRAGMA journal_mode=WAL")
            return
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() > until:
                raise
            time.sleep(0.02)


def _engine(path: Path) -> Engine:
    engine = sa.create_engine(f"sqlite:///{path}", connect_args={"timeout": WAIT_S})

    @event.listens_for(engine, "connect")
    def _connect(connection: Any, _: Any) -> None:
        # The driver must not begin transactions by itself: the next hook does
        connection.isolation_level = None
        _set_journal(connection)
        connection.execute("PRAGMA synchronous=FULL")
        connection.execute("PRAGMA temp_store=MEMORY")
        connection.execute("PRAGMA cache_size=-65536")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        # A writer takes its place at once: two that read first and write later could never both end
        reading = connection.get_execution_options().get("hearmark_reading")
        connection.exec_driver_sql("BEGIN" if reading else "BEGIN IMMEDIATE")

    return engine
