"""Where a station is: coordinates and Maidenhead locators."""

from __future__ import annotations

import re
from dataclasses import dataclass

from hearmark.errors import HearmarkError

LOCATOR = re.compile(r"[A-R]{2}(?:[0-9]{2}(?:[A-X]{2}(?:[0-9]{2}(?:[A-X]{2})?)?)?)?", re.IGNORECASE)
"""Maidenhead locator of 2 to 10 characters: field, square, subsquare, extended square, extended subsquare (IARU Region
1; from memory)."""
_BASES = (18, 10, 24, 10, 24)
_FIRST = "A0A0A"


@dataclass(frozen=True, slots=True)
class Place:
    """A point on the WGS 84 ellipsoid: latitude and longitude in degrees, north and east positive."""

    latitude_deg: float
    longitude_deg: float
    name: str = ""

    def __str__(self) -> str:
        if self.name:
            return self.name
        ns, ew = "NS"[self.latitude_deg < 0], "EW"[self.longitude_deg < 0]
        return f"{abs(self.latitude_deg):.2f} {ns} {abs(self.longitude_deg):.2f} {ew}"


def place_from_locator(locator: str) -> Place:
    """The middle of the locator's area. Raises HearmarkError if it is none."""
    text = locator.strip().upper()
    if not LOCATOR.fullmatch(text):
        raise HearmarkError(f"{locator!r} is no Maidenhead locator; give one like JO50 or JO50ab.")
    step = 20.0 * 18
    longitude = latitude = 0.0
    for pair, (base, first) in enumerate(zip(_BASES, _FIRST, strict=True)):
        if 2 * pair >= len(text):
            break
        step /= base
        longitude += step * (ord(text[2 * pair]) - ord(first))
        latitude += step / 2 * (ord(text[2 * pair + 1]) - ord(first))
    return Place(latitude - 90.0 + step / 4, longitude - 180.0 + step / 2, text[:4] + text[4:6].lower() + text[6:])


def locator_of(place: Place, characters: int = 6) -> str:
    """Maidenhead locator of 2, 4, 6, 8 or 10 characters that holds the place."""
    longitude = min((place.longitude_deg + 180.0) % 360.0, 360.0 - 1e-9)
    latitude = min(place.latitude_deg + 90.0, 180.0 - 1e-9)
    step, out = 20.0 * 18, ""
    for base, first in list(zip(_BASES, _FIRST, strict=True))[: characters // 2]:
        step /= base
        # a coordinate such as 8.05 divided by 1/12 must not fall below a line that it lies on
        east, north = int(longitude / step + 1e-9), int(latitude / (step / 2) + 1e-9)
        east, north = min(east, base - 1), min(north, base - 1)
        longitude, latitude = max(longitude - east * step, 0.0), max(latitude - north * step / 2, 0.0)
        out += chr(ord(first) + east) + chr(ord(first) + north)
    return out[:4] + out[4:6].lower() + out[6:]


def place_from_coordinates(text: str) -> Place | None:
    """A place from "LAT,LON" in degrees, north and east positive; None if it is not written so.

    Raises HearmarkError if it is, but no such place exists.
    """
    parts = text.split(",")
    if len(parts) != 2:
        return None
    try:
        latitude, longitude = (float(part) for part in parts)
    except ValueError:
        return None
    if not (-90.0 <= latitude <= 90.0 and -360.0 <= longitude <= 360.0):
        raise HearmarkError(f"{text!r} is no place; give latitude -90 to 90 and longitude -180 to 180, like 50.1,8.7.")
    return Place(latitude, (longitude + 180.0) % 360.0 - 180.0)


def read_place(text: str) -> Place | None:
    """A place from coordinates or a locator of four characters and more; None if it is written as neither."""
    place = place_from_coordinates(text)
    if place is None and len(text.strip()) >= 4 and LOCATOR.fullmatch(text.strip()):
        place = place_from_locator(text)
    return place
