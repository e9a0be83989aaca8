"""The state so far, for a page that opens late: the newest of each id, and the last of each kind."""

from __future__ import annotations

from collections import OrderedDict, deque
from typing import Any

from hearmark.events import Event, Row
from hearmark.web.frames import pack_row
from hearmark.web.wire import as_message

KEPT: dict[str, int] = {"Over": 120, "Turn": 120, "Emission": 400, "Answer": 200, "Gap": 60, "Warned": 60}
"""How many of each kind are kept, oldest let go first. Other kinds: the last one only."""
KEPT_ROWS = 900


class Story:
    """Grows by `feed`. Not thread-safe: its owner locks."""

    def __init__(self) -> None:
        self._many: dict[str, OrderedDict[object, dict[str, Any]]] = {kind: OrderedDict() for kind in KEPT}
        self._last: dict[str, dict[str, Any]] = {}
        self._rows: deque[bytes] = deque(maxlen=KEPT_ROWS)

    def feed(self, event: Event) -> dict[str, Any] | bytes | None:
        """Keeps the event; gives back what goes to the pages: a message, a binary frame, or nothing."""
        if isinstance(event, Row):
            frame = pack_row(event)
            self._rows.append(frame)
            return frame
        message = as_message(event)
        if message is None:
            return None
        kind = message["type"]
        if kind not in self._many:
            self._last[kind] = message
            return message
        kept = self._many[kind]
        kept[_key(message)] = message
        while len(kept) > KEPT[kind]:
            kept.popitem(last=False)
        return message

    def answer(self, answer_id: int) -> dict[str, Any] | None:
        """The newest state of this mark."""
        return self._many["Answer"].get(answer_id)

    def messages(self) -> list[dict[str, Any]]:
        """All that is kept, each kind in order."""
        return [*(m for kept in self._many.values() for m in kept.values()), *self._last.values()]

    def rows(self) -> list[bytes]:
        """The last spectrogram lines as frames, oldest first."""
        return list(self._rows)


def _key(message: dict[str, Any]) -> object:
    """What a later state of the same thing has in common with an earlier one."""
    if "id" in message:
        return message["id"]
    return message["start_s"] if "start_s" in message else (message["time_s"], message["kind"], message["active"])
