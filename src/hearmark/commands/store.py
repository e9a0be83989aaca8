"""What every command of the log needs: its file, the entities, the options that choose among contacts."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from hearmark.errors import HearmarkError

if TYPE_CHECKING:
    from hearmark.log.entities import Entities
    from hearmark.log.filters import Filter
    from hearmark.log.store import Store
    from hearmark.settings import Settings
    from hearmark.web.logbook import Logbook

FILE = click.Path(path_type=Path)
Command = TypeVar("Command", bound=Callable[..., Any])


def common(command: Command) -> Command:
    """The options that every one of these commands has."""
    for option in (
        click.option("--settings", "settings_path", type=FILE, help="Settings file (TOML)."),
        click.option("--json", "as_json", is_flag=True, help="Print the same facts as JSON."),
        click.option("--store", type=FILE, help="The log file; from the settings if left out."),
    ):
        command = option(command)
    return command


def filtering(command: Command) -> Command:
    """The options that choose among contacts."""
    for option in (
        click.option("--until", help="Last UTC day, like 2026-03-21."),
        click.option("--since", help="First UTC day, like 2026-03-21."),
        click.option("--entity", help="Entity, by its name, a prefix or its ADIF code."),
        click.option("--mode", help="Mode or submode, or cw, phone, digital."),
        click.option("--band", help="Like 20m."),
        click.option("--call", help="Call; * stands for any letters."),
    ):
        command = option(command)
    return command


def log_path(store: Path | None, settings: Settings) -> Path | None:
    """The log that was named, or that of the settings."""
    return store or (Path(settings.log.store).expanduser() if settings.log.store else None)


def log_files(store: Path | None, settings: Settings) -> list[Path]:
    """The log and what the database keeps beside it: none of it may be written over."""
    path = log_path(store, settings)
    if path is None:
        return []
    real = path.resolve()
    return [path, *(real.with_name(real.name + ending) for ending in ("-wal", "-shm", "-journal"))]


def open_store(store: Path | None, settings: Settings, create: bool = False) -> Store:
    """The log that was named, or that of the settings, opened."""
    from hearmark.log.store import Store

    path = log_path(store, settings)
    if path is None:
        raise HearmarkError("Which log? Add --store FILE, or set store under [log] in the settings.")
    opened = Store(path, create=create)
    if opened.backup_trouble:
        click.echo(f"hearmark: {opened.backup_trouble}", err=True)
    return opened


def open_logbook(store: Path | None, settings: Settings, call: str) -> Logbook | None:
    """The page's way to the log; None if no log is named. It stays open as long as the program runs."""
    if store is None and not settings.log.store:
        return None
    from hearmark.web.logbook import Logbook

    logbook = Logbook(open_store(store, settings, create=True), settings, open_entities(settings))
    logbook.name(call)
    return logbook


def rehearsal_log() -> Path:
    """A log for the demo, gone with the program: what is invented must not get into a real one."""
    import atexit
    import shutil
    import tempfile

    folder = tempfile.mkdtemp(prefix="hearmark-demo-")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return Path(folder) / "demo-log.db"


def open_entities(settings: Settings) -> Entities:
    """The tables, and the user's own exceptions before them."""
    from hearmark.log.entities import Entities
    from hearmark.log.own import read_exceptions

    path = settings.log.exceptions
    return Entities(read_exceptions(Path(path).expanduser()) if path else ())


def chosen(options: dict[str, Any], limit: int | None = None) -> Filter:
    """The filter from the options of `filtering`."""
    from hearmark.log.filters import make_filter
    from hearmark.log.own import entity_code

    entity = options.get("entity")
    code = None if entity is None else entity_code(entity.strip().upper(), "--entity")
    names = ("call", "band", "mode", "since", "until")
    return make_filter(**{name: options.get(name) for name in names}, entity=code, limit=limit)


def moment(text: str | None) -> datetime:
    """A UTC time like "2026-03-21 18:30"; now if none is given."""
    if not text:
        return datetime.now(UTC)
    try:
        found = datetime.fromisoformat(text.replace("Z", "+00:00"))
    except ValueError:
        raise HearmarkError(f'"{text}" is no time; write it like "2026-03-21 18:30", in UTC.') from None
    return found.replace(tzinfo=UTC) if found.tzinfo is None else found.astimezone(UTC)
