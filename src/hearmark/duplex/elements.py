"""Orbital elements from a file that the user gives: TLE (two or three lines) or OMM (XML, CSV or JSON; CCSDS 502.0-B).

Elements go stale: their age is shown, and beyond a stated limit they are refused.
"""

from __future__ import annotations

import io
import json
import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hearmark.errors import HearmarkError

if TYPE_CHECKING:
    from sgp4.api import Satrec

OLDEST_DAYS = 30.0
"""Default limit. A low orbit drifts along its track by minutes within weeks, in times of strong drag within days."""
LARGEST = 32_000_000


@dataclass(frozen=True, slots=True)
class Elements:
    """One satellite's elements; `epoch` in UTC."""

    name: str
    number: int
    epoch: datetime
    model: Satrec

    def age_days(self, at: datetime) -> float:
        """Days from the epoch, either way."""
        return abs((at - self.epoch).total_seconds()) / 86_400.0

    def check_age(self, at: datetime, oldest_days: float = OLDEST_DAYS) -> None:
        """Raise HearmarkError if they are too old for this time."""
        age = self.age_days(at)
        if age > oldest_days:
            raise HearmarkError(
                f"The elements of {self.name} are {age:.0f} days away from {at:%Y-%m-%d}; more than {oldest_days:g} "
                "days are refused. Fetch fresh ones, or raise --oldest."
            )


def read_elements(path: Path) -> list[Elements]:
    """All satellites of a file. Raises HearmarkError with the line or field at fault."""
    try:
        if path.stat().st_size > LARGEST:
            raise HearmarkError(f"{path} is too large for a file of elements.")
        text = path.read_text(encoding="utf-8-sig", errors="replace")
    except OSError as error:
        raise HearmarkError(f"Cannot read the elements {path}: {error.strerror}; give a TLE or OMM file.") from error
    start = text.lstrip()[:1]
    if start == "<":
        found = list(_xml(text, path))
    elif start in ("[", "{"):
        found = list(_json(text, path))
    elif "MEAN_MOTION" in text.split("\n", 1)[0].upper():
        found = list(_csv(text, path))
    else:
        found = list(_tle(text, path))
    if not found:
        raise HearmarkError(f"{path} holds no elements; give a TLE or OMM file.")
    return found


def choose(all_of: list[Elements], name: str | None) -> list[Elements]:
    """Those whose name or number fits; all without a name. Raises HearmarkError when none does."""
    if name is None:
        return all_of
    wanted = name.strip().lower()
    exact = [one for one in all_of if wanted in (one.name.lower(), str(one.number))]
    found = exact or [one for one in all_of if wanted in one.name.lower()]
    if not found:
        some = ", ".join(one.name for one in all_of[:5])
        raise HearmarkError(f'No satellite "{name}" in the file; it holds {some}{" ..." if len(all_of) > 5 else ""}.')
    return found


def _tle(text: str, path: Path) -> Iterator[Elements]:
    from sgp4.api import WGS72, Satrec

    name = ""
    first = ""
    for count, raw in enumerate(text.splitlines(), 1):
        line = raw.rstrip()
        if not line or line.startswith("#"):
            continue
        if line.startswith("1 ") and len(line) >= 69:
            first = line[:69]
        elif line.startswith("2 ") and len(line) >= 69:
            if not first or first[2:7] != line[2:7]:
                raise HearmarkError(f"{path}, line {count}: the second line of a pair without its first.")
            for part in (first, line[:69]):
                if _checksum(part) != part[68]:
                    raise HearmarkError(f"{path}, line {count}: the checksum is wrong; the file is damaged.")
            try:
                model = Satrec.twoline2rv(first, line[:69], WGS72)
            except ValueError as error:
                raise HearmarkError(f"{path}, line {count}: these are no elements ({error}).") from error
            yield _made(name or f"{model.satnum}", model, f"{path}, line {count}")
            name = first = ""
        elif line[:2] in ("1 ", "2 ") and line[2:7].strip().isdigit():
            raise HearmarkError(f"{path}, line {count}: a line of elements has 69 characters, this one {len(line)}.")
        else:
            name = line.removeprefix("0 ").strip()


def _checksum(line: str) -> str:
    return str(sum(int(c) if c.isdigit() else c == "-" for c in line[:68]) % 10)


def _xml(text: str, path: Path) -> Iterator[Elements]:
    import xml.etree.ElementTree as Tree

    if "<!DOCTYPE" in text or "<!ENTITY" in text:
        raise HearmarkError(f"{path} defines entities; an OMM file does not need them.")
    try:
        root = Tree.fromstring(text)
    except Tree.ParseError as error:
        raise HearmarkError(f"{path} is not XML ({error}); give an OMM file.") from error
    for segment in root.iter("segment"):
        yield _omm({leaf.tag: (leaf.text or "").strip() for leaf in segment.iter() if len(leaf) == 0}, path)


def _csv(text: str, path: Path) -> Iterator[Elements]:
    import csv

    for row in csv.DictReader(io.StringIO(text)):
        yield _omm({str(key).strip().upper(): (value or "").strip() for key, value in row.items() if key}, path)


def _json(text: str, path: Path) -> Iterator[Elements]:
    try:
        content = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise HearmarkError(f"{path} is not JSON ({error}); give an OMM file.") from error
    for row in content if isinstance(content, list) else [content]:
        if not isinstance(row, dict):
            raise HearmarkError(f"{path} holds {row!r} where the elements of a satellite belong.")
        yield _omm({str(key).upper(): str(value) for key, value in row.items()}, path)


_DEFAULTS = {
    "CLASSIFICATION_TYPE": "U", "OBJECT_ID": "1900-001A", "EPHEMERIS_TYPE": "0", "ELEMENT_SET_NO": "0",
    "REV_AT_EPOCH": "0", "MEAN_MOTION_DDOT": "0", "MEAN_MOTION_DOT": "0",
}  # fmt: skip


def _omm(fields: dict[str, Any], path: Path) -> Elements:
    from sgp4 import omm
    from sgp4.api import Satrec

    given = _DEFAULTS | {key: value for key, value in fields.items() if value not in ("", "None")}
    model = Satrec()
    where = f"{path}, {given.get('OBJECT_NAME', 'a satellite')}"
    try:
        epoch = datetime.fromisoformat(given["EPOCH"].removesuffix("Z")).replace(tzinfo=None)
        omm.initialize(model, given | {"EPOCH": epoch.strftime("%Y-%m-%dT%H:%M:%S.%f")})
    except KeyError as error:
        raise HearmarkError(f"{where}: {error.args[0]} is missing.") from None
    except (ValueError, OverflowError) as error:
        raise HearmarkError(f"{where}: these are no elements ({error}).") from error
    return _made(str(given.get("OBJECT_NAME", model.satnum)), model, where)


def _made(name: str, model: Satrec, where: str) -> Elements:
    days = model.jdsatepoch - 2_440_587.5 + model.jdsatepochF
    sound = math.isfinite(days) and all(map(math.isfinite, (model.no_kozai, model.ecco, model.inclo, model.bstar)))
    if not sound or not 0.0 <= model.ecco < 1.0 or model.no_kozai <= 0.0:
        raise HearmarkError(f"{where}: these elements describe no orbit.")
    epoch = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(days=days)
    return Elements(name, int(model.satnum), epoch, model)
