"""Copies of the store beside it: one a day at most, old ones let go."""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing, suppress
from datetime import datetime, timedelta
from pathlib import Path

from hearmark.errors import HearmarkError

KEPT = 7
"""The newest copies that are kept; of older ones, the last of each month for a year."""
EVERY = timedelta(days=1)
_STAMP = "%Y%m%dT%H%M%S"


def folder(store: Path) -> Path:
    """Where the copies of this store lie."""
    return store.with_name(store.name + ".backups")


def copies(store: Path) -> list[tuple[datetime, Path]]:
    """All copies with their times (UTC, naive), oldest first."""
    form = re.compile(re.escape(store.stem) + r"-(\d{8}T\d{6})\.db")
    place = folder(store)
    found = []
    for path in place.iterdir() if place.is_dir() else ():
        match = form.fullmatch(path.name)
        if match:
            found.append((datetime.strptime(match[1], _STAMP), path))
    return sorted(found)


def is_due(store: Path, now: datetime) -> bool:
    """True if the newest copy is a day old or more, or there is none."""
    taken = copies(store)
    return not taken or not timedelta(0) <= now - taken[-1][0] < EVERY


def take(store: Path, now: datetime) -> Path:
    """A whole copy of the store as it is at one instant, checked, put in its place by renaming.

    Raises HearmarkError if it cannot be written; nothing of it is left then.
    """
    target = folder(store) / f"{store.stem}-{now.strftime(_STAMP)}.db"
    half = target.with_suffix(".part")
    try:
        target.parent.mkdir(exist_ok=True)
        with closing(sqlite3.connect(store)) as source, closing(sqlite3.connect(half)) as copy:
            source.backup(copy)
            # A copy of its own stands alone: no write-ahead log beside it
            copy.execute("PRAGMA journal_mode=DELETE")
            sound = copy.execute("PRAGMA quick_check").fetchone()[0] == "ok"
        if not sound:
            raise HearmarkError(f"The copy of {store} is damaged and was not kept; look at the store with its backups.")
        half.replace(target)
    except (OSError, sqlite3.Error) as error:
        with suppress(OSError):
            half.unlink()
        raise HearmarkError(f"No backup of {store} could be made ({error}); free some space beside it.") from error
    return target


def rotate(store: Path) -> None:
    """Lets go of what is neither among the newest nor the last of one of the last twelve months."""
    taken = copies(store)
    monthly: dict[str, Path] = {}
    for moment, path in taken:
        monthly[f"{moment:%Y%m}"] = path
    kept = {path for _, path in taken[-KEPT:]} | set(list(monthly.values())[-12:])
    for _, path in taken:
        if path not in kept:
            path.unlink(missing_ok=True)
