"""The page's list of whom to chase: spots from a node or pasted, ranked anew each time it is asked for."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from threading import Lock
from typing import Any

from hearmark.chase.document import chance_dict, row_dict
from hearmark.chase.node import MOST_SPOTS, Node
from hearmark.chase.ranking import Known, PathChance, rank
from hearmark.chase.spots import SpotLine, read_spots
from hearmark.chase.today import chances
from hearmark.chase.watch import Operation
from hearmark.duplex.privileges import Table
from hearmark.log.entities import Entities
from hearmark.log.needs import Worked, histories
from hearmark.log.own import Wanted
from hearmark.web.logbook import Logbook

FORGOTTEN = timedelta(hours=2)
SHOWN = 60
SHOWN_TODAY = 40


class Board:
    """Keeps spots of the last two hours. May be called from several threads."""

    def __init__(
        self,
        entities: Entities | None = None,
        logbook: Logbook | None = None,
        operations: Iterable[Operation] = (),
        wanted: Iterable[Wanted] = (),
        path: PathChance | None = None,
        licence: Table | None = None,
        node: Node | None = None,
    ) -> None:
        self._entities, self._logbook = entities or Entities(), logbook
        self._operations, self._wanted = tuple(operations), tuple(wanted)
        self._path, self._licence, self._node = path, licence, node
        self._spots: deque[SpotLine] = deque(maxlen=MOST_SPOTS)
        self._lock = Lock()
        if node is not None:
            node.start()

    def follow(self, logbook: Logbook | None) -> None:
        """Another log from now on."""
        with self._lock:
            self._logbook = logbook

    def stop(self) -> None:
        """Ends the link to the node."""
        if self._node is not None:
            self._node.stop()

    def paste(self, text: str, now: datetime | None = None) -> dict[str, Any]:
        """Takes the spots in a text; how many there were, and which lines could not be read."""
        found, strange = read_spots(text.splitlines(), now or datetime.now(UTC))
        with self._lock:
            self._spots.extend(found)
        return {"spots": len(found), "lines_not_read": strange}

    def today(self, now: datetime | None = None) -> dict[str, Any]:
        """Announced operations that are on in the coming 24 hours, band by band, the best first."""
        counted = Worked() if self._logbook is None else self._logbook.counted
        found = chances(self._operations, self._entities, counted, self._path, now or datetime.now(UTC))
        return {"announced": len(self._operations), "chances": [chance_dict(one) for one in found[:SHOWN_TODAY]]}

    def rows(self, now: datetime | None = None) -> dict[str, Any]:
        """The ranked list, the best first, and how the node is."""
        now = now or datetime.now(UTC)
        with self._lock:
            if self._node is not None:
                self._spots.extend(self._node.take())
            fresh = [spot for spot in self._spots if now - spot.at < FORGOTTEN]
            counted, earlier = Worked(), {}
            if self._logbook is not None:
                counted = self._logbook.counted
                earlier = histories(self._logbook.store, [spot.call for spot in fresh])
            known = Known(self._entities, counted, earlier, self._operations, self._wanted, self._path, self._licence)
            ranked = rank(fresh, known, now)
        state = None if self._node is None else self._node.state()
        return {
            "spots": len(fresh),
            "rows": [row_dict(row) for row in ranked[:SHOWN]],
            "node": None if state is None else {name: getattr(state, name) for name in state.__slots__},
            "log": self._logbook is not None,
            "paths": self._path is not None,
        }
