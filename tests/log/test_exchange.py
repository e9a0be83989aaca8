"""Logs in and out: nothing lost, nothing twice, confirmations taken over, refusals reported."""

from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from hearmark.errors import HearmarkError
from hearmark.log.adi import write_adi
from hearmark.log.adif import Field, Fields, Record
from hearmark.log.contact import LOTW
from hearmark.log.entities import Entities
from hearmark.log.exchange import ImportReport, export_file, import_file, merge, read_items
from hearmark.log.filters import make_filter
from hearmark.log.store import Store

MADE = datetime(2026, 3, 21, tzinfo=UTC)
PLAIN = {"CALL": "T0ST", "QSO_DATE": "20260321", "TIME_ON": "183000", "BAND": "20m", "MODE": "CW"}


def fields(**given: str) -> Fields:
    return tuple(Field(name, text) for name, text in {**PLAIN, **given}.items() if text)


def load(store: Store, entities: Entities, *records: Fields) -> ImportReport:
    path = store.path.with_suffix(".adi")
    path.write_bytes(b"".join(write_adi(records, (), MADE, "1")))
    return import_file(store, path, entities)


def all_fields(path: Path) -> list[Fields]:
    return [item.fields for item in read_items(path) if isinstance(item, Record)]


names = st.one_of(
    st.sampled_from(["COMMENT", "NAME", "QTH", "Notes", "APP_SOME_Thing", "MY_SHOE_SIZE", "rst_sent"]),
    st.from_regex(r"[A-Za-z][A-Za-z0-9_]{0,12}", fullmatch=True),
).filter(
    lambda name: name.upper() not in {*PLAIN, "EOR", "EOH", "FREQ", "FREQ_RX", "BAND_RX", "SUBMODE", "USERDEF", "APP"}
)
texts = st.text(st.characters(exclude_categories=["Cs", "Cc"]) | st.sampled_from("\r\n"), max_size=25)
extras = st.dictionaries(names, texts, max_size=5).filter(lambda d: len({name.upper() for name in d}) == len(d))


@st.composite
def logs(draw: st.DrawFn) -> list[Fields]:
    """Logs of contacts that differ in the second of their start, with fields of all kinds."""
    found = []
    for second in draw(st.sets(st.integers(0, 86_399), max_size=8)):
        call = draw(st.from_regex(r"[A-Z]{1,2}[0-9][A-Z]{1,3}(/P)?", fullmatch=True))
        time = f"{second // 3600:02d}{second // 60 % 60:02d}{second % 60:02d}"
        said = {**PLAIN, "CALL": call, "TIME_ON": time, "BAND": draw(st.sampled_from(["20m", "17M", "70cm"]))}
        order = draw(st.permutations([*said.items(), *draw(extras).items()]))
        found.append(tuple(Field(name, text) for name, text in order))
    return found


@settings(max_examples=60, derandomize=True, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(logs(), st.sampled_from(["adi", "adx"]))
def test_export_of_an_import_is_the_same_and_importing_it_again_changes_nothing(
    tmp_path: Path, entities: Entities, log: list[Fields], form: str
) -> None:
    path, out = tmp_path / "in.adi", tmp_path / f"out.{form}"
    path.write_bytes(b"".join(write_adi(log, (), MADE, "1")))
    store_path = tmp_path / "fresh.db"
    for file in tmp_path.glob("fresh.db*"):
        file.unlink()
    with Store(store_path, backup=False) as store:
        if not log:
            with pytest.raises(HearmarkError, match="holds no contacts"):
                import_file(store, path, entities)
            return
        assert import_file(store, path, entities).added == len(log)
        export_file(store, out)
        assert all_fields(out) == log
        for again in (path, out):
            report = import_file(store, again, entities)
            assert (report.added, report.completed, report.unchanged) == (0, 0, len(log))


def test_confirmation_completes_a_contact(store: Store, entities: Entities) -> None:
    load(store, entities, fields(COMMENT="mine", LOTW_QSL_RCVD="N"))
    report = load(store, entities, fields(TIME_ON="1830", COMMENT="theirs", LOTW_QSL_RCVD="Y", CQZ="31"))
    assert (report.added, report.completed, len(report.remarks)) == (0, 1, 1)
    assert "says otherwise of COMMENT" in report.remarks[0][2]
    (kept,) = store.find()
    assert (kept.text("COMMENT"), kept.text("TIME_ON"), kept.confirmed, kept.cq_zone) == ("mine", "183000", LOTW, 31)
    again = load(store, entities, fields(TIME_ON="1830", COMMENT="theirs", LOTW_QSL_RCVD="Y", CQZ="31"))
    assert (again.added, again.completed, again.unchanged) == (0, 0, 1)
    assert load(store, entities, fields(COMMENT="mine", LOTW_QSL_RCVD="N")).unchanged == 1, "a confirmation stays"


def test_two_contacts_in_one_minute_stay_two(store: Store, entities: Entities) -> None:
    twice = (fields(TIME_ON="183010"), fields(TIME_ON="183050"))
    assert load(store, entities, *twice).added == 2
    assert load(store, entities, *twice).unchanged == 2


def test_other_band_mode_call_or_station_is_another_contact(store: Store, entities: Entities) -> None:
    load(store, entities, fields(STATION_CALLSIGN="N0AA"))
    others = ({"BAND": "17m"}, {"MODE": "FT8"}, {"CALL": "T1ST"}, {"STATION_CALLSIGN": "N0BB"}, {"TIME_ON": "183100"})
    for other in others:
        assert load(store, entities, fields(**{"STATION_CALLSIGN": "N0AA", **other})).added == 1


def test_refusals_name_line_call_and_reason_and_the_rest_is_kept(store: Store, entities: Entities) -> None:
    report = load(store, entities, fields(), fields(CALL="T1ST", QSO_DATE="20261340"), fields(CALL="T2ST"))
    assert (report.read, report.added) == (3, 2)
    (bad,) = report.refused
    assert (bad.call, bad.why) == ("T1ST", 'QSO_DATE "20261340" is no date like 20260321')
    lines = store.path.with_suffix(".adi").read_bytes().split(b"\n")
    assert lines[bad.line - 1].strip() == b"<CALL:4>T1ST"


def test_import_larger_than_one_transaction(store: Store, entities: Entities) -> None:
    many = [fields(CALL=f"T{n % 10}{chr(65 + n // 10 % 26)}{chr(65 + n // 260)}") for n in range(4500)]
    assert load(store, entities, *many).added == 4500
    assert load(store, entities, *many).unchanged == 4500
    assert [found.call for found in store.in_file_order()] == [found[0].value for found in many]


def test_definitions_of_other_programs_come_back_where_they_are_used(
    store: Store, entities: Entities, tmp_path: Path
) -> None:
    path, out = tmp_path / "in.adi", tmp_path / "out.adx"
    head = b"<USERDEF1:12:N>SHOE,{20:50}<USERDEF2:7:E>X,{A,B}<EOH>"
    path.write_bytes(head + b"".join(write_adi([fields(SHOE="43")], (), MADE, "1")).split(b"<EOH>")[1])
    import_file(store, path, entities)
    export_file(store, out, make_filter(call="T0ST"))
    text = out.read_text()
    assert '<USERDEF FIELDID="1" TYPE="N" RANGE="{20:50}">SHOE</USERDEF>' in text
    assert "{A,B}" not in text, "a definition that no exported contact uses"
    assert '<USERDEF FIELDNAME="SHOE">43</USERDEF>' in text


def test_entity_of_the_record_goes_before_the_tables(store: Store, entities: Entities) -> None:
    load(store, entities, fields(CALL="K1AA", DXCC="24"), fields(CALL="K1AB"), fields(CALL="K1AC", DXCC="0"))
    found = {contact.call: contact for contact in store.find()}
    assert (found["K1AA"].entity, found["K1AA"].cq_zone, found["K1AA"].continent) == (24, 38, "AF")
    assert (found["K1AB"].entity, found["K1AB"].cq_zone) == (291, 5)
    assert (found["K1AC"].entity, found["K1AC"].cq_zone) == (0, 0)


@pytest.mark.parametrize("content", [b"", b"just text", b"<EOH>", b"\x00" * 50])
def test_file_without_a_record_is_one_sentence(
    store: Store, entities: Entities, tmp_path: Path, content: bytes
) -> None:
    path = tmp_path / "in.adi"
    path.write_bytes(content)
    with pytest.raises(HearmarkError, match="holds no contacts; is it an ADIF file"):
        import_file(store, path, entities)


def test_file_that_is_not_there_is_one_sentence(store: Store, entities: Entities, tmp_path: Path) -> None:
    with pytest.raises(HearmarkError, match="Cannot read"):
        import_file(store, tmp_path / "nothing.adi", entities)


def test_export_that_cannot_be_written_leaves_nothing(store: Store, entities: Entities, tmp_path: Path) -> None:
    load(store, entities, fields())
    with pytest.raises(HearmarkError, match="Cannot write"):
        export_file(store, tmp_path / "nosuch" / "out.adi")


def test_the_same_said_otherwise_is_no_conflict() -> None:
    mine = fields(TIME_ON="183005", BAND="20m", FREQ="14.025", DXCC="24")
    merged, kept = merge(mine, fields(TIME_ON="1830", BAND="20M", FREQ="14.02500", DXCC="024"))
    assert (merged, kept) == (mine, [])
    assert merge(mine, fields(TIME_ON="183006"))[1] == ["TIME_ON"]


def test_merge_keeps_ours_and_says_so() -> None:
    merged, kept = merge(fields(COMMENT="a"), fields(COMMENT="b", QTH="x", NAME=""))
    assert kept == ["COMMENT"]
    assert merged == (*fields(COMMENT="a"), Field("QTH", "x"))


@settings(max_examples=40, derandomize=True, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=200), st.integers(0, 200))
def test_damaged_files_never_stop_the_import(tmp_path: Path, entities: Entities, junk: bytes, place: int) -> None:
    good = b"".join(write_adi([fields(CALL=f"T{n}ST") for n in range(4)], (), MADE, "1"))
    path = tmp_path / "in.adi"
    path.write_bytes(good[:place] + junk + good[place:])
    for file in tmp_path.glob("fuzz.db*"):
        file.unlink()
    with Store(tmp_path / "fuzz.db", backup=False) as store:
        # The first of four records is whole unless the damage lies in it, and at least two are behind any damage
        report = import_file(store, path, entities)
        assert report.added >= 2
        assert report.added + report.unchanged + report.completed + len(report.refused) == report.read
