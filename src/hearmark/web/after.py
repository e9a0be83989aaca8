"""The view After: what this session, or one that the log has kept, came to; and the contacts of the log."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from itertools import islice
from typing import Any

from starlette.routing import BaseRoute

from hearmark.errors import HearmarkError
from hearmark.lessons import RULES, lessons, reach_hz, readable
from hearmark.log.entities import entities
from hearmark.log.sessions import kept_sessions
from hearmark.session import Facts, SessionRecord
from hearmark.web.door import asked_route, page_route
from hearmark.web.logbook import Logbook

SHOWN_CONTACTS = 40
SHOWN_SESSIONS = 200


class After:
    """`record`: the session under way. `begun`: when it was. May be called from several threads."""

    def __init__(
        self,
        record: SessionRecord,
        logbook: Logbook | None = None,
        begun: datetime | None = None,
        clock: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        self._record, self._logbook = record, logbook
        self._begun = begun or clock()

    def follow(self, record: SessionRecord, logbook: Logbook | None, begun: datetime) -> None:
        """Another session is under way."""
        self._record, self._logbook, self._begun = record, logbook, begun

    def answer(self, query: dict[str, str]) -> dict[str, Any]:
        """The facts of one session, what they teach, and the log. Raises HearmarkError for a number that is none."""
        kept = [] if self._logbook is None else kept_sessions(self._logbook.store)[-SHOWN_SESSIONS:]
        wanted = query.get("session", "")
        if not wanted:
            facts, title = self._now(), "This session"
        else:
            found = next(((facts, name) for number, name, facts in kept if str(number) == wanted), None)
            if found is None:
                raise HearmarkError(f"There is no session {wanted[:20]!r} in the log; choose one of the list.")
            facts, title = found
        return {
            "title": title,
            "live": not wanted,
            "facts": facts,
            "lessons": lessons(facts),
            "words": [line for line in readable(lessons(facts)).splitlines() if not line.startswith("  ")],
            "rules": RULES,
            "reach_hz": reach_hz(facts),
            "sessions": [{"number": number, "name": name} for number, name, _ in reversed(kept)],
            **self._contacts(),
        }

    def _now(self) -> Facts:
        book = self._logbook
        call, worked = ("", None) if book is None else (book.call, book.worked)
        return self._record.facts(call, self._begun.strftime("%Y-%m-%dT%H:%M:%SZ"), worked)

    def _contacts(self) -> dict[str, Any]:
        if self._logbook is None:
            return {"log": None, "contacts": [], "count": 0}
        store, known = self._logbook.store, entities()
        rows = [
            {
                "number": contact.id,
                "start": datetime.fromtimestamp(contact.start_s, UTC).strftime("%Y-%m-%d %H:%M"),
                "call": contact.call,
                "band": contact.band,
                "mode": contact.submode or contact.mode,
                "freq_hz": contact.freq_hz,
                "freq_rx_hz": contact.freq_rx_hz,
                "sent": contact.text("RST_SENT"),
                "received": contact.text("RST_RCVD"),
                "place": known[contact.entity].name if contact.entity in known else "",
                "calls_made": contact.text("APP_HEARMARK_CALLS_MADE"),
                "now": contact.start_s >= int(self._begun.timestamp()),
            }
            for contact in islice(store.find(newest_first=True), SHOWN_CONTACTS)
        ]
        return {"log": str(store.path), "contacts": rows, "count": store.count()}


def routes(after: After) -> list[BaseRoute]:
    """The view and what it asks for."""
    return [page_route("/after", "after.html"), asked_route("/after/facts", after.answer)]
