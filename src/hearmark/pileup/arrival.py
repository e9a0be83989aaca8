"""One receiver: was it there already when the dial came? Then it need not be the reply.

With all of the window in sight, who calls on while another is answered was heard before, and is left out. A receiver
that comes from elsewhere finds somebody sending and cannot know since when. In Morse the text tells: a reply has a
report, a caller sends his call. So a mark on what was there on arrival is doubtful until a report was read of it; what
begins after the dial stood there is taken as it is.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from hearmark.events import Answer
from hearmark.modes.alphabet import text_of
from hearmark.pileup.calls import has_report
from hearmark.pileup.place import Memory

ARRIVES_S = 0.22
"""What begins so soon after the dial came was there already: its key was up, or the filter and the gain settled."""
DOUBTFUL = 0.45
"""Below `marks.SURE`: no mark, but kept."""
KEPT = 40


class Arrival:
    """Follows the dial; `judged` gives each mark as it is to be told, `confirmed` those whose report came."""

    def __init__(self, frequency_hz: npt.NDArray[np.float64], memory: Memory) -> None:
        self._frequency_hz, self._memory = frequency_hz, memory
        self._dial_hz: float | None = None
        self._came_s = -np.inf
        self._doubted: dict[int, tuple[Answer, float]] = {}
        """Mark as the exchange has it, and since when its text counts."""
        self._cleared: set[int] = set()

    def dial(self, dial_hz: float, time_s: float) -> None:
        """Where the dial stands at `time_s`."""
        if dial_hz != self._dial_hz:
            if self._dial_hz is not None:
                self._came_s = time_s
            self._dial_hz = dial_hz

    def doubts(self, answer: int | None) -> bool:
        """Is this mark one that was there on arrival, without a report so far?"""
        return answer in self._doubted

    def judged(self, answer: Answer) -> Answer:
        """The mark as it is to be told."""
        if answer.by != "computation" or answer.retracted_at_s is not None or answer.id in self._cleared:
            self._doubted.pop(answer.id, None)
            return answer
        known = self._doubted.get(answer.id)
        came_s = self._came_s
        there = came_s - 1.0 < answer.start_s < came_s + ARRIVES_S and answer.marked_at_s >= came_s
        if known is None and not there:
            if answer.marked_at_s >= answer.start_s:  # it was heard to begin
                self._clear(answer.id)
            return answer
        since_s = came_s if known is None else known[1]
        if self._reports(answer.frequency_hz, since_s):
            self._clear(answer.id)
            return answer
        self._doubted[answer.id] = answer, since_s
        while len(self._doubted) > KEPT:
            del self._doubted[next(iter(self._doubted))]
        return replace(answer, confidence=min(answer.confidence, DOUBTFUL))

    def confirmed(self, now_s: float) -> list[Answer]:
        """Marks of which a report was read meanwhile."""
        out = []
        for answer, since_s in list(self._doubted.values()):
            if now_s - answer.start_s > 12.0:
                del self._doubted[answer.id]
            elif self._reports(answer.frequency_hz, since_s):
                self._clear(answer.id)
                out.append(replace(answer, marked_at_s=now_s))
        return out

    def _clear(self, answer: int) -> None:
        self._doubted.pop(answer, None)
        self._cleared.add(answer)
        while len(self._cleared) > 4 * KEPT:
            self._cleared.discard(min(self._cleared))

    def _reports(self, frequency_hz: float, since_s: float) -> bool:
        """Does a report stand in the text there since then?"""
        nearest = int(np.abs(self._frequency_hz - frequency_hz).argmin())
        beside = range(max(0, nearest - 1), min(len(self._frequency_hz), nearest + 2))
        return any(has_report(text_of(self._memory.symbols(since_s, None, k))) for k in beside)
