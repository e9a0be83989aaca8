"""Facts of sessions in the log's file, so that they can be compared over months."""

from __future__ import annotations

import json
from typing import Any

import sqlalchemy as sa
from sqlalchemy.dialects.sqlite import insert

from hearmark.log.schema import sessions
from hearmark.log.store import Store


def keep_session(store: Store, name: str, start_s: int, facts: dict[str, Any]) -> int:
    """Keeps the facts under a name; those of an earlier session of that name are replaced. Its number comes back."""
    row = {"name": name, "start_s": start_s, "facts": json.dumps(facts, separators=(",", ":"))}
    with store.writing() as connection:
        changed = insert(sessions).values(row)
        connection.execute(changed.on_conflict_do_update(index_elements=["name"], set_=row))
        return int(connection.execute(sa.select(sessions.c.id).where(sessions.c.name == name)).scalar_one())


def kept_sessions(store: Store) -> list[tuple[int, str, dict[str, Any]]]:
    """Number, name and facts of every session, oldest first."""
    with store.reading() as connection:
        query = sa.select(sessions).order_by(sessions.c.start_s, sessions.c.id)
        return [(row.id, row.name, json.loads(row.facts)) for row in connection.execute(query)]
