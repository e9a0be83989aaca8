"""What a contact would be worth, 0 to 1, from what it would bring. The weights are common practice, no source."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from hearmark.log.entities import Place
from hearmark.log.needs import KINDS, Kind, Level, Need
from hearmark.log.own import Wanted

BY_LEVEL: dict[Level, float] = {
    "new": 1.0, "band": 0.5, "mode": 0.35, "slot": 0.2, "unconfirmed": 0.12, "done": 0.0,
}  # fmt: skip
BY_KIND: dict[Kind, float] = {"entity": 1.0, "cq_zone": 0.7, "itu_zone": 0.4, "field": 0.4}
LISTED = 0.9
"""Worth of what stands on the user's own list, or is an announced operation that was not worked."""
LEAST = 0.01
DUPLICATE = 0.1
"""By so much less is a station worth that was worked in this slot already: only a confirmation can come of it."""
_WORDS: dict[Level, str] = {
    "new": "never worked",
    "band": "not on {band}",
    "mode": "not in {group}",
    "slot": "not in {group} on {band}",
    "unconfirmed": "not confirmed",
}
_NAMES: dict[Kind, str] = {"entity": "", "cq_zone": "CQ zone ", "itu_zone": "ITU zone ", "field": "field "}
_GROUPS = {"cw": "Morse", "phone": "phone", "digital": "digital modes"}


def worth(needs: Iterable[Need]) -> float:
    """The greatest worth among the needs; each further one adds a little."""
    values = sorted((BY_LEVEL[need.level] * BY_KIND[need.kind] for need in needs), reverse=True)
    return min(1.0, max(LEAST, values[0] + 0.1 * sum(values[1:]))) if values else LEAST


def reason(needs: Sequence[Need], place: Place | None, band: str, group: str) -> str:
    """The one or two weightiest needs in words; empty if nothing is needed."""
    wanted = [need for need in needs if need.level != "done"]
    wanted.sort(key=lambda need: (-BY_LEVEL[need.level] * BY_KIND[need.kind], KINDS.index(need.kind)))
    said = []
    for need in wanted[:2]:
        name = place.name if need.kind == "entity" and place else f"{_NAMES[need.kind]}{need.value}"
        said.append(f"{name} {_WORDS[need.level].format(band=band, group=_GROUPS.get(group, group))}")
    return "; ".join(said)


def listed(entry: Wanted, call: str, place: Place | None, locator: str, band: str, group: str) -> bool:
    """True if this entry of the user's list wants this station here."""
    if (entry.bands and band not in entry.bands) or (entry.modes and group not in entry.modes):
        return False
    if entry.what == "call":
        return call == entry.value or entry.value in call.split("/")
    if entry.what == "field":
        return bool(locator) and locator.upper().startswith(entry.value)
    if place is None:
        return False
    value = {"entity": place.entity, "cq_zone": place.cq_zone, "itu_zone": place.itu_zone}[entry.what]
    return str(value) == entry.value
