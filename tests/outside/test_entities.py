"""Calls to entities, held against two published sources.

* ADIF 3.1.6's test file (adif.org.uk): 2,624 calls with the code of their entity, all current entities among them.
* ITU Radio Regulations, Appendix 42: the table of call sign series as the ITU publishes it, carried by the package
  callsign-regex (PyPI). Read from its spreadsheet by the standard library, since the package writes to the home folder.
"""

import zipfile
from collections import Counter, defaultdict
from importlib.metadata import files
from pathlib import Path
from xml.etree import ElementTree

import pytest

from hearmark.data import table
from hearmark.log.adif import Record, value
from hearmark.log.contact import read_contact
from hearmark.log.entities import Entities, entities, expand
from hearmark.log.exchange import read_items

QSOS = Path(__file__).parent / "adif-3.1.6" / "test-qsos.adi"
# These calls tell no entity by any rule: the operators' words did. A user would write an exception for them.
BY_WORD = {("UA3SYC/1", 61), ("VK9/VK3TKB", 147)}
# Series whose calls tell no entity by themselves: organisations, places that share a series, series not in use
NO_ENTITY_BY_SERIES = {
    "Mauritius (Republic of)", "United Nations", "International Civil Aviation Organization",
    "United States of America", "World Meteorological Organization", "Finland", "Sudan (Republic of the)",
    "Netherlands (Kingdom of the) - Bonaire, Sint Eustatius and Saba", "Netherlands (Kingdom of the) - Curaçao",
    "Netherlands (Kingdom of the) - Sint Maarten (Dutch part)", "Kiribati (Republic of)", "Norway", "France",
    "United Kingdom of Great Britain and Northern Ireland", "New Zealand",
}  # fmt: skip
SHEET = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"


def series() -> list[tuple[str, str, str]]:
    """(first, last, country) of each series."""
    (path,) = (file for file in files("callsign-regex") or () if file.suffix == ".xlsx")
    with zipfile.ZipFile(str(path.locate())) as book:
        texts = [
            "".join(part.text or "" for part in item.iter(f"{SHEET}t"))
            for item in ElementTree.fromstring(book.read("xl/sharedStrings.xml").decode("utf-8-sig"))
        ]
        sheet = ElementTree.fromstring(book.read("xl/worksheets/sheet1.xml").decode("utf-8-sig"))
    rows = []
    for row in list(sheet.iter(f"{SHEET}row"))[1:]:
        cells = [texts[int(cell.findtext(f"{SHEET}v") or 0)] for cell in row]
        first, _, last = cells[0].partition(" - ")
        rows.append((first, last, cells[1]))
    return rows


def in_series(first: str, last: str) -> list[str]:
    """The series' starts of three signs that callers could have: all of them."""
    return [first[:2] + chr(code) for code in range(ord(first[2]), ord(last[2]) + 1)]


@pytest.fixture(scope="module")
def known() -> Entities:
    return Entities()


def test_agrees_with_the_calls_and_codes_of_the_published_file(known: Entities) -> None:
    agrees, wrong, codes = 0, set(), set()
    for item in read_items(QSOS):
        if isinstance(item, Record) and value(item.fields, "DXCC"):
            contact = read_contact(item.fields)
            found = known.lookup(contact.call, contact.day)
            codes.add(contact.entity)
            if found is not None and found.entity == contact.entity:
                agrees += 1
            else:
                wrong.add((contact.call, contact.entity))
    assert wrong == BY_WORD
    assert agrees == 2621
    assert {code for code, entity in entities().items() if not entity.deleted} <= codes


def test_calls_that_were_taken_from_the_published_file_are_few() -> None:
    """Without these rows of the table the agreement above would be the lower; docs/log.md states both."""
    taken = [row for row in table("call_areas.csv") if "published test file" in row["why"]]
    assert len(taken) == 9


def test_series_table_is_the_whole_one() -> None:
    rows = series()
    assert len(rows) > 900
    assert ("JAA", "JAZ", "Japan") in rows


def test_every_series_tells_one_entity_and_its_country(known: Entities) -> None:
    """A series' country is that of most calls of the entity found. What differs is listed, and nothing else may."""
    countries: dict[int, Counter[str]] = defaultdict(Counter)
    silent: dict[str, list[str]] = defaultdict(list)
    found: list[tuple[str, str, int]] = []
    for first, last, country in series():
        for start in in_series(first, last):
            place = known.lookup(start + "1AA")
            if place is None or not place.entity:
                silent[country].append(start)
            else:
                countries[place.entity][country] += 1
                found.append((start, country, place.entity))
    usual = {code: count.most_common(1)[0][0] for code, count in countries.items()}
    differs = Counter((country, entities()[code].name) for _, country, code in found if usual[code] != country)
    assert differs == {}
    assert len(found) > 23_900
    assert set(silent) == NO_ENTITY_BY_SERIES


def test_prefixes_of_the_table_lie_in_allocated_series() -> None:
    allocated = {start for first, last, _ in series() for start in in_series(first, last)}
    starts = {start[:length] for start in allocated for length in (1, 2, 3)}
    outside = set()
    for entity in entities().values():
        for pattern in entity.prefixes:
            for prefix in expand(pattern.rstrip("$")):
                # A letter and a figure may be the start of a series (A2A) or of a call of a one-letter series (R2F)
                head = prefix[:1] if prefix[0] in "BFGIKMNRW" and not prefix[1:2].isalpha() else prefix[:3]
                head = head[:2] if head[2:].isdigit() else head
                if head.split("/")[0] not in starts:
                    outside.add(entity.name)
    # Calls that the ITU gave to nobody, in use all the same; Russian calls with U and a figure among them
    nobodys = {"Sovereign Military Order of Malta", "Spratly Is.", "Western Sahara", "Republic of Kosovo"}
    assert outside == nobodys | {"European Russia", "Asiatic Russia", "Kaliningrad"}
