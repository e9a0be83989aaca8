"""Where a station is, from what one writes for it: a locator, coordinates, a call or prefix, an entity's name."""

from __future__ import annotations

import re
from functools import cache

from hearmark.log.entities import Entities, entities
from hearmark.path.places import Place, read_place

_SQUARE = re.compile(r"[A-Za-z]{2}[0-9]{2}")
"""Written like a locator: no prefix that is in use has two letters and two figures."""


@cache
def _table() -> Entities:
    return Entities()


def find_place(text: str) -> Place | None:
    """The place meant; the middle of the entity if a call, a prefix or a name is given. None: nothing is known."""
    place = read_place(text)
    if place is not None or _SQUARE.fullmatch(text.strip()):
        return place
    return place_of_call(text) or _named(text)


def place_of_call(call: str) -> Place | None:
    """The middle of the entity that a call tells, or a bare prefix such as that of any of its calls."""
    call = call.strip().upper()
    if not call.replace("/", "").isalnum():
        return None
    for text in (call, call + "1AA"):
        found = _table().lookup(text)
        if found is not None and found.latitude_deg is not None and found.longitude_deg is not None:
            return Place(found.latitude_deg, found.longitude_deg, found.name)
    return None


def _named(text: str) -> Place | None:
    name = text.strip().casefold()
    for entity in entities().values():
        place = entity.place
        if not entity.deleted and entity.name.casefold() == name and place.latitude_deg is not None:
            return Place(place.latitude_deg, place.longitude_deg or 0.0, entity.name)
    return None
