"""The published test file of ADIF 3.1.6 (adif.org.uk, 2025-09-15), its enumerations, and another reader of ADI."""

import csv
import re
from pathlib import Path

import adif_io
import pytest

from hearmark.duplex.bands import EDGES_HZ
from hearmark.log.adif import Header, Record, definitions
from hearmark.log.entities import Entities, entities
from hearmark.log.exchange import export_file, import_file, read_items
from hearmark.log.modes import is_known_mode
from hearmark.log.store import Store

PUBLISHED = Path(__file__).parent / "adif-3.1.6"
QSOS = PUBLISHED / "test-qsos.adi"
RECORDS = 6191
"""As the report at the end of the file says."""


def enumeration(name: str) -> list[dict[str, str]]:
    with (PUBLISHED / f"enumerations_{name}.csv").open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def test_every_field_of_the_published_file_is_read_as_its_own_report_counts_them() -> None:
    items = list(read_items(QSOS))
    counted: dict[str, int] = {}
    for item in items:
        assert isinstance(item, (Header, Record))
        for field in item.fields:
            counted[field.name.upper()] = counted.get(field.name.upper(), 0) + 1
    report = QSOS.read_text(encoding="ascii").split("Field details")[1].split("Call details")[0]
    stated = re.findall(r"Occurrences: +(\d+), Name: (\w+)", report)
    assert len(stated) > 150
    wrong = {name: number for number, name in stated if counted.get(name.upper(), 0) != int(number)}
    assert wrong == {}
    assert sum(isinstance(item, Record) for item in items) == RECORDS


@pytest.mark.parametrize("form", ["adi", "adx"])
def test_published_file_imports_whole_and_exports_to_the_same_content(tmp_path: Path, form: str) -> None:
    out = tmp_path / f"out.{form}"
    with Store(tmp_path / "log.db", backup=False) as store:
        report = import_file(store, QSOS, Entities())
        assert (report.read, report.added, report.refused) == (RECORDS, RECORDS, [])
        again = import_file(store, QSOS, Entities())
        assert (again.added, again.completed, again.unchanged) == (0, 0, RECORDS)
        assert export_file(store, out) == (RECORDS, 0)
    before, after = list(read_items(QSOS)), list(read_items(out))
    fields = [[item.fields for item in items if isinstance(item, Record)] for items in (before, after)]
    assert fields[0] == fields[1]
    heads = [definitions(item.fields) for items in (before, after) for item in items if isinstance(item, Header)]
    assert len(heads[0]) == 12
    assert heads[0] == heads[1]


def test_another_library_reads_what_we_write(tmp_path: Path) -> None:
    """adif-io (PyPI) reads ADI; it knows neither types nor ADX."""
    out = tmp_path / "out.adi"
    with Store(tmp_path / "log.db", backup=False) as store:
        import_file(store, QSOS, Entities())
        export_file(store, out)
    theirs, _ = adif_io.read_from_string(out.read_bytes().decode("ascii"))
    ours = [item for item in read_items(QSOS) if isinstance(item, Record)]
    assert len(theirs) == len(ours)
    for qso, record in zip(theirs, ours, strict=True):
        assert dict(qso) == {field.name.upper(): field.value for field in record.fields if field.value}


def test_bands_and_modes_are_those_of_the_enumerations() -> None:
    stated = {
        row["Band"]: (float(row["Lower Freq (MHz)"]) * 1e6, float(row["Upper Freq (MHz)"]) * 1e6)
        for row in enumeration("band")
    }
    assert stated.keys() == EDGES_HZ.keys()
    for name, edges in stated.items():
        assert EDGES_HZ[name] == pytest.approx(edges, abs=1.0)
    for row in enumeration("mode"):
        assert is_known_mode(row["Mode"])
    for row in enumeration("submode"):
        assert is_known_mode(row["Submode"].upper())


def test_entity_codes_are_those_of_the_enumeration() -> None:
    stated = {int(row["Entity Code"]): bool(row["Deleted"]) for row in enumeration("dxcc_entity_code")}
    current = {code for code, deleted in stated.items() if not deleted and code}
    assert {code for code, entity in entities().items() if not entity.deleted} == current
    for code, entity in entities().items():
        assert stated[code] == entity.deleted
