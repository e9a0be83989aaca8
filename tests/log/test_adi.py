"""ADI: lengths in bytes and characters, encodings as they occur, broken records named and the others kept."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hearmark.errors import HearmarkError
from hearmark.log.adi import read_adi, write_adi
from hearmark.log.adif import Definition, Field, Header, Record, Refused

GOOD = b"<CALL:4>T0ST<QSO_DATE:8>20260321<TIME_ON:4>1830<BAND:3>20m<MODE:2>CW"


def records(data: bytes, encoding: str | None = None) -> list[Record]:
    return [item for item in read_adi(data, encoding) if isinstance(item, Record)]


def refused(data: bytes) -> list[Refused]:
    return [item for item in read_adi(data) if isinstance(item, Refused)]


def test_fields_keep_order_spelling_and_type() -> None:
    (record,) = records(b"<call:4>T0ST <My_Thing:1:N>5\n<APP_X_Y:2:E>ab<eor>")
    assert record.fields == (Field("call", "T0ST"), Field("My_Thing", "5", "N"), Field("APP_X_Y", "ab", "E"))


def test_header_is_told_by_its_end_even_if_the_file_begins_with_a_tag() -> None:
    items = list(read_adi(b"<ADIF_VER:5>3.1.6<EOH>" + GOOD + b"<EOR>"))
    assert isinstance(items[0], Header)
    assert items[0].fields == (Field("ADIF_VER", "3.1.6"),)
    assert isinstance(items[1], Record)


def test_eor_within_a_value_does_not_end_the_record() -> None:
    text = "about the <eor> marker"
    (record,) = records(GOOD + f"<COMMENT:{len(text)}>{text}<EOR>".encode())
    assert record.fields[-1].value == text


@pytest.mark.parametrize(
    ("raw", "length", "text"),
    [
        ("Åsa Öberg".encode(), 11, "Åsa Öberg"),
        ("Åsa Öberg".encode(), 9, "Åsa Öberg"),
        ("Åsa Öberg".encode("cp1252"), 9, "Åsa Öberg"),
        ("北海道".encode(), 9, "北海道"),
        ("北海道".encode(), 3, "北海道"),
    ],
    ids=["bytes", "characters", "windows", "wide bytes", "wide characters"],
)
def test_length_in_bytes_or_characters(raw: bytes, length: int, text: str) -> None:
    (record,) = records(GOOD + f"<NAME:{length}>".encode() + raw + b"\r\n<QTH:2>xy<EOR>")
    assert record.fields[-2:] == (Field("NAME", text), Field("QTH", "xy"))


def test_given_encoding_counts_its_own_characters() -> None:
    raw = "Иван".encode("cp1251")
    (record,) = records(GOOD + b"<NAME:4>" + raw + b"<EOR>", "cp1251")
    assert record.fields[-1].value == "Иван"


def test_utf_16_file_is_read() -> None:
    text = (GOOD + b"<NAME:5>").decode() + "José!" + "<EOR>"
    (record,) = records(text.encode("utf-16"))
    assert record.fields[-1] == Field("NAME", "José!")


def test_unknown_encoding_is_one_sentence() -> None:
    with pytest.raises(HearmarkError, match='The encoding "nosuch" is not known'):
        list(read_adi(GOOD, "nosuch"))


@pytest.mark.parametrize(
    ("broken", "why"),
    [
        (b"<CALL:3>T0ST<BAND:3>20m<EOR>", "the length 3 of CALL does not fit"),
        (b"<CALL:40>T0ST<BAND:3>20m<EOR>\n", "the length 40 of CALL does not fit"),
        (b"<CALL:4>T0ST<BAND:x>20m<EOR>", "<BAND:x> gives no length"),
        (b"<CALL:4>T0ST<BAND:-3>20m<EOR>", "<BAND:-3> gives no length"),
        (b"<CALL:>T0ST<BAND:3>20m<EOR>", "<CALL:> gives no length"),
    ],
)
def test_broken_record_is_named_with_its_line_and_the_others_are_kept(broken: bytes, why: str) -> None:
    data = b"head<EOH>\n" + GOOD + b"<EOR>\n" + broken + b"\n" + GOOD + b"<EOR>\n"
    assert [record.line for record in records(data)] == [2, data.count(b"\n")]
    (bad,) = refused(data)
    assert why in bad.why
    assert bad.line == 3


def test_file_that_ends_within_a_record() -> None:
    (bad,) = refused(GOOD + b"<EOR>\r\n" + GOOD)
    assert (bad.line, bad.why, bad.call) == (2, "the file ends before <EOR>", "T0ST")
    (bad,) = refused(GOOD + b"<EOR>\n<CALL:9>T0S")
    assert "the file ends" in bad.why


def test_talk_between_fields_is_remarked_not_lost_in_silence() -> None:
    (record,) = records(b"<CALL:4>T0ST this was fun<BAND:3>20m<EOR>\nclosing words")
    assert record.fields == (Field("CALL", "T0ST"), Field("BAND", "20m"))
    assert "this was fun" in record.remarks[0]


def test_web_address_in_the_header_is_no_broken_field() -> None:
    assert not refused(b"see <http://example.org> <EOH>" + GOOD + b"<EOR>")


names = st.from_regex(r"[A-Z][A-Z0-9_]{0,15}", fullmatch=True).filter(lambda n: n not in ("EOR", "EOH"))
kinds = st.sampled_from(["", "", "", "N", "S", "E"])
texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=30)


@settings(max_examples=300, derandomize=True)
@given(st.lists(st.lists(st.builds(Field, names, texts, kinds), min_size=1, max_size=6), max_size=5))
def test_what_is_written_is_read_back(fields: list[list[Field]]) -> None:
    from datetime import UTC, datetime

    made = datetime(2026, 3, 21, tzinfo=UTC)
    known = (Definition("MY_OWN", "E", "{A,B}"),)
    data = b"".join(write_adi([tuple(found) for found in fields], known, made, "1"))
    assert [record.fields for record in records(data)] == [tuple(found) for found in fields]


@settings(max_examples=400, derandomize=True)
@given(st.data())
def test_damage_never_stops_the_reader_and_never_reaches_records_behind(data: st.DataObject) -> None:
    begin = data.draw(st.integers(0, len(GOOD)))
    end = data.draw(st.integers(begin, len(GOOD)))
    junk = data.draw(st.binary(max_size=20))
    broken = GOOD[:begin] + junk + GOOD[end:] + b"<EOR>\n"
    found = records(b"<EOH>\n" + GOOD + b"<EOR>\n" + broken + (GOOD + b"<EOR>\n") * 3)
    whole = records(GOOD + b"<EOR>")[0].fields
    assert found[0].fields == whole
    assert [record.fields for record in found[-2:]] == [whole, whole]


@settings(max_examples=300, derandomize=True)
@given(st.binary(max_size=400))
def test_any_bytes_at_all_are_read_without_an_error(data: bytes) -> None:
    for item in read_adi(data):
        assert isinstance(item, (Header, Record, Refused))
