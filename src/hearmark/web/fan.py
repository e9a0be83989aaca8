"""From one worker thread to any number of browser tabs, through bounded queues that drop the oldest and count it."""

from __future__ import annotations

import asyncio
import threading
from collections import deque
from collections.abc import Callable
from typing import Literal

Lane = Literal["sound", "text", "row"]
LANES: tuple[Lane, ...] = ("sound", "text", "row")
"""In the order in which they are sent: sound cannot wait, the picture can."""
DEPTH: dict[Lane, int] = {"sound": 25, "text": 500, "row": 1200}


class Tab:
    """The queues of one open page. Put from any thread, taken in the event loop of the page's connection."""

    def __init__(self, loop: asyncio.AbstractEventLoop) -> None:
        self._loop = loop
        self._lock = threading.Lock()
        self._lanes: dict[Lane, deque[str | bytes]] = {lane: deque() for lane in LANES}
        self._ready = asyncio.Event()
        self.dropped: dict[Lane, int] = dict.fromkeys(LANES, 0)
        self.stale = False
        """True when text was dropped: the page has missed events, and needs a fresh snapshot."""

    def put(self, lane: Lane, frame: str | bytes) -> None:
        """Adds a frame, in place of the oldest one when the lane is full. Never waits."""
        with self._lock:
            queue = self._lanes[lane]
            if len(queue) >= DEPTH[lane]:
                queue.popleft()
                self.dropped[lane] += 1
                self.stale = self.stale or lane == "text"
            queue.append(frame)
        self._wake()

    def replace(self, frame: str) -> None:
        """Empties the text lane and puts a snapshot, which says all that the lane would have said."""
        with self._lock:
            self._lanes["text"].clear()
            self._lanes["text"].append(frame)
            self.stale = False
        self._wake()

    def clear(self) -> None:
        """Lets go of all that waits: it is of a session that is over."""
        with self._lock:
            for lane in self._lanes.values():
                lane.clear()
            self.stale = False

    def _wake(self) -> None:
        # The loop may be closed already while its page is on the way out.
        if not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._ready.set)

    def drain(self) -> list[str | bytes]:
        """All that waits, by urgency; may be nothing."""
        with self._lock:
            frames = [frame for lane in LANES for frame in self._lanes[lane]]
            for queue in self._lanes.values():
                queue.clear()
        return frames

    async def take(self) -> list[str | bytes]:
        """All that waits, by urgency; waits until there is something."""
        while True:
            self._ready.clear()
            frames = self.drain()
            if frames:
                return frames
            await self._ready.wait()


class Fan:
    """All open pages.

    `story_lock` joins keeping an event and sending it into one step; methods that end in `_locked`
    are called while holding it.
    """

    def __init__(self) -> None:
        self.story_lock = threading.RLock()
        self._tabs: list[Tab] = []
        self._gone: dict[Lane, int] = dict.fromkeys(LANES, 0)

    def open(self, tab: Tab, greeting: Callable[[], list[tuple[Lane, str | bytes]]]) -> None:
        """Adds a page. What `greeting` makes comes first, with nothing lost or doubled in between."""
        with self.story_lock:
            for lane, frame in greeting():
                tab.put(lane, frame)
            self._tabs.append(tab)

    def close(self, tab: Tab) -> None:
        """Removes a page and keeps count of what it missed."""
        with self.story_lock:
            if tab in self._tabs:
                self._tabs.remove(tab)
                for lane in LANES:
                    self._gone[lane] += tab.dropped[lane]

    def put(self, lane: Lane, frame: str | bytes) -> None:
        """Sends one frame to every page."""
        with self.story_lock:
            self.put_locked(lane, frame)

    def put_locked(self, lane: Lane, frame: str | bytes) -> None:
        """The same, for a caller that holds the lock."""
        for tab in self._tabs:
            tab.put(lane, frame)

    def refresh(self, snapshot: Callable[[], str]) -> None:
        """Gives a fresh snapshot to every page that has missed events."""
        with self.story_lock:
            stale = [tab for tab in self._tabs if tab.stale]
            if stale:
                frame = snapshot()
                for tab in stale:
                    tab.replace(frame)

    def dropped_locked(self) -> dict[Lane, int]:
        """Frames that some page was too slow for, since the start."""
        return {lane: self._gone[lane] + sum(tab.dropped[lane] for tab in self._tabs) for lane in LANES}

    def __len__(self) -> int:
        return len(self._tabs)
