"""A call and what stands before and behind its strokes: who it is, from where, and how.

By the customs of portable operation (CEPT T/R 61-01: the visited country's prefix stands first; a prefix behind the
call and a single figure for another call area are common practice, no source).
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

AT_SEA, IN_THE_AIR = "MM", "AM"
_MANNERS = frozenset(
    (
        "A",
        "B",
        "L",
        "M",
        "N",
        "P",
        "R",
        "S",
        "T",
        "X",
        "LH",
        "LS",
        "LV",
        "AM",
        "MM",
        "PM",
        "QRP",
        "QRPP",
        "QRO",
        "LGT",
        "BCN",
        "JOTA",
        "LT",
    )
)
"""What may stand behind a call without saying where it is."""
_AREA = re.compile(r"(.*)\d([A-Z]+)")
_WHOLE = re.compile(r"[A-Z0-9]{1,3}[0-9][A-Z0-9]*[A-Z]")
_FORM = re.compile(r"(?=[A-Z0-9/]*[A-Z])(?=[A-Z0-9/]*\d)[A-Z0-9]+(?:/[A-Z0-9]+)*")
_OF_THE_STATES = re.compile(r"[KNW]|A[A-L]")


@dataclass(frozen=True, slots=True)
class CallParts:
    """`home`: the call as licensed. `where`: the text whose prefix tells the place. `manner`: M, P, MM and so on."""

    home: str
    where: str
    manner: str = ""

    @property
    def nowhere(self) -> bool:
        """True on a ship or an aircraft, which belong to no entity."""
        return self.manner in (AT_SEA, IN_THE_AIR)


def parts_of(call: str, is_prefix: Callable[[str], bool] = lambda _: False) -> CallParts | None:
    """The parts of a call in any case; None if it is none: letters, figures and strokes, at least one figure.

    `is_prefix` tells prefixes that look like calls, such as VP2E, from calls.
    """
    text = call.strip().upper()
    if len(text) > 32 or not _FORM.fullmatch(text):
        return None
    if "/" not in text:
        return CallParts(text, text)
    pieces = text.split("/")
    manner = ""
    while len(pieces) > 1 and pieces[-1] in _MANNERS:
        # Of several the one that says most about the place counts
        manner = pieces[-1] if pieces[-1] in (AT_SEA, IN_THE_AIR) or not manner else manner
        pieces.pop()
    place = _home(pieces, is_prefix)
    home = pieces[place]
    if place:
        return CallParts(home, "/".join(pieces[:place]), manner)
    behind = pieces[1] if len(pieces) > 1 else ""
    if len(behind) == 1 and behind.isdigit():
        return CallParts(home, _moved(home, behind), manner)
    if behind and len(behind) <= 4 and not behind.isdigit():
        return CallParts(home, behind, manner)
    return CallParts(home, home, manner)


def _home(pieces: list[str], is_prefix: Callable[[str], bool]) -> int:
    """Which of the pieces is the call: a whole one that is no prefix, the longest, of equals the last."""
    rank = [(bool(_WHOLE.fullmatch(p)) and not is_prefix(p), bool(_WHOLE.fullmatch(p)), len(p)) for p in pieces]
    return max(range(len(pieces)), key=lambda place: (rank[place], place))


def _moved(home: str, figure: str) -> str:
    """The call as it would read in another call area: W1AW/4 counts like W4AW, KL7AA/3 like W3AA."""
    match = _AREA.fullmatch(home)
    if match is None:
        return home
    if _OF_THE_STATES.match(home):
        return f"W{figure}{match[2]}"
    return match[1] + figure + match[2]
