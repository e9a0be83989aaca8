"""Spots as the trade passes them, from a line of text to call, frequency, time and comment. Read only.

Three forms are read: "DX de N0AA: 18143.5 T0ST up 5-10 1234Z" as nodes send them; "18143.5 T0ST 21-Mar-2026 1234Z
up 5-10 <N0AA>" as nodes list them; and "18143.5 T0ST up 5-10" as people write them down.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

from hearmark.duplex.bands import band_name, usual_mode
from hearmark.events import Mode
from hearmark.log.calls import parts_of
from hearmark.log.modes import adif_mode, is_known_mode, mode_group

_FIGURE = r"(?P<figure>\d{1,9}(?:\.\d{1,6})?)"
_CALL = r"(?P<call>[A-Za-z0-9/]{3,20})"
_TIME = r"(?P<hour>[0-2]\d)(?P<minute>[0-5]\d)Z"
_FORMS = (
    re.compile(
        rf"DX de\s+(?P<by>[A-Za-z0-9/]{{1,20}}(?:-[A-Za-z0-9#]{{1,6}})?)\s*:?\s*{_FIGURE}\s+{_CALL}"
        rf"(?:\s+(?P<comment>.*?))?(?:\s*{_TIME}(?:\s+(?P<locator>[A-Ra-r]{{2}}\d\d))?)?\s*",
        re.IGNORECASE,
    ),
    re.compile(
        rf"{_FIGURE}\s+{_CALL}\s+(?P<day>\d{{1,2}}-[A-Za-z]{{3}}-\d{{4}})\s+{_TIME}\s*(?P<comment>.*?)"
        r"\s*(?:<(?P<by>[A-Za-z0-9/#-]{1,24})>)?\s*",
        re.IGNORECASE,
    ),
    re.compile(rf"{_FIGURE}\s+(?:(?:k|M)Hz\s+)?{_CALL}(?:\s+(?P<comment>.*?))?(?:\s+{_TIME})?\s*", re.IGNORECASE),
)
_AHEAD = timedelta(minutes=15)
_LONGEST_LINE = 500
FT8_KHZ = (1840, 3573, 5357, 7074, 10136, 14074, 18100, 21074, 24915, 28074, 50313)
"""Where FT8 is sent, up to 3 kHz above. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class SpotLine:
    """One report that a station is on the air. `at`: UTC; `by`: who says so, empty if it was written down."""

    call: str
    frequency_hz: float
    at: datetime
    by: str = ""
    comment: str = ""

    @property
    def band(self) -> str:
        """The band; empty outside all."""
        return band_name(self.frequency_hz)


def read_spot(line: str, now: datetime) -> SpotLine | None:
    """The spot in a line; None if there is none. A time without a day is the last such time before `now`."""
    text = _clean(line)
    for form in _FORMS:
        found = form.fullmatch(text)
        if not found:
            continue
        said = {name: value or "" for name, value in found.groupdict().items()}
        call, frequency_hz = said["call"].upper(), _hertz(said["figure"])
        if parts_of(call) is None or frequency_hz is None:
            return None
        at = _moment(said, now)
        if at is None:
            return None
        return SpotLine(call, frequency_hz, at, said.get("by", "").upper(), said["comment"].strip())
    return None


def read_spots(lines: Iterable[str], now: datetime) -> tuple[list[SpotLine], list[int]]:
    """All spots, and the numbers of the lines that look like one and cannot be read; other lines are passed over."""
    spots, strange = [], []
    for number, line in enumerate(lines, start=1):
        spot = read_spot(line, now)
        if spot is not None:
            spots.append(spot)
        elif re.match(r"\s*(DX de\s|\d+(\.\d+)?\s+\S)", line[:80], re.IGNORECASE):
            strange.append(number)
    return spots, strange


def mode_of(spot: SpotLine) -> str:
    """The mode by its ADIF name or cw, usb, lsb: the comment says it, else the custom of the frequency does."""
    words: list[str] = re.findall(r"[A-Za-z0-9]{2,8}", spot.comment.upper())
    for word in words:
        if word in ("USB", "LSB", "CW"):
            return word.lower()
        if word == "SSB":
            return "lsb" if spot.frequency_hz < 10e6 else "usb"
        if is_known_mode(word) and word not in ("DOMINO", "CHIP", "HELL", "THOR", "FAX", "ROS", "MT63"):
            return word
    khz = spot.frequency_hz / 1000
    if any(start <= khz <= start + 3 for start in FT8_KHZ):
        return "FT8"
    return usual_mode(spot.frequency_hz)


def plain_mode(mode: str, frequency_hz: float) -> Mode:
    """The mode as announcements need it: Morse or a sideband."""
    if mode in ("cw", "usb", "lsb"):
        return "cw" if mode == "cw" else "usb" if mode == "usb" else "lsb"
    return usual_mode(frequency_hz)


def group_of(mode: str) -> str:
    """Morse, phone or digital."""
    return mode_group(*adif_mode(mode))


def _clean(line: str) -> str:
    """Printable text with single spaces at most where there were tabs; overlong lines are cut."""
    return "".join(c if c.isprintable() else " " for c in line[:_LONGEST_LINE]).strip()


def _hertz(figure: str) -> float | None:
    """Kilohertz as spots have it; megahertz if only that lies in a band; None if the figure is beyond all radio."""
    value = float(figure)
    if not band_name(value * 1e3) and value * 1e6 < 300e9 and band_name(value * 1e6):
        return round(value * 1e6, 3)
    return round(value * 1e3, 3) if 0.0 < value * 1e3 < 300e9 else None


def _moment(said: dict[str, str], now: datetime) -> datetime | None:
    if not said.get("hour"):
        return now
    if int(said["hour"]) > 23:
        return None
    hour, minute = int(said["hour"]), int(said["minute"])
    if said.get("day"):
        try:
            day = datetime.strptime(said["day"].title(), "%d-%b-%Y").replace(tzinfo=UTC)
        except ValueError:
            return None
        return day.replace(hour=hour, minute=minute)
    at = now.astimezone(UTC).replace(hour=hour, minute=minute, second=0, microsecond=0)
    return at - timedelta(days=1) if at > now + _AHEAD else at


def newest(spots: Iterable[SpotLine]) -> list[SpotLine]:
    """Newest first; of spots that say the same in the same minute, one."""
    unique = {(spot.call, round(spot.frequency_hz), spot.at, spot.by): spot for spot in spots}
    return sorted(unique.values(), key=lambda spot: spot.at, reverse=True)


def at_latest(spot: SpotLine, now: datetime) -> SpotLine:
    """The spot with its time held at `now`, for clocks that run ahead."""
    return replace(spot, at=min(spot.at, now))
