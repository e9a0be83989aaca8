"""ADX: the same content as ADI; broken documents are read as far as they go."""

from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hearmark.log.adif import Definition, Field, Header, Record, Refused, definitions
from hearmark.log.adx import read_adx, unwritable, write_adx

MADE = datetime(2026, 3, 21, tzinfo=UTC)
HEAD = '<?xml version="1.0" encoding="UTF-8"?><ADX><HEADER></HEADER><RECORDS>\n'


def records(data: bytes) -> list[Record]:
    return [item for item in read_adx(data) if isinstance(item, Record)]


def test_app_and_user_fields_have_the_names_they_have_in_adi() -> None:
    body = (
        '<RECORD><CALL>T0ST</CALL><APP PROGRAMID="Some_Log" FIELDNAME="WX" TYPE="S">fog</APP>'
        '<USERDEF FIELDNAME="SHOE">43</USERDEF></RECORD></RECORDS></ADX>'
    )
    (record,) = records((HEAD + body).encode())
    assert record.fields == (Field("CALL", "T0ST"), Field("APP_Some_Log_WX", "fog", "S"), Field("SHOE", "43"))


def test_definitions_pass_both_ways() -> None:
    known = (Definition("SHOE", "N", "{20:50}"), Definition("SIZE", "E", "{S,M,L}"), Definition("X"))
    items = list(read_adx(b"".join(write_adx([], known, MADE, "1"))))
    assert isinstance(items[0], Header)
    assert definitions(items[0].fields) == known


def test_other_encodings_are_those_the_document_names() -> None:
    text = '<?xml version="1.0" encoding="ISO-8859-1"?><ADX><RECORDS><RECORD><NAME>José</NAME></RECORD></RECORDS></ADX>'
    assert records(text.encode("latin-1"))[0].fields == (Field("NAME", "José"),)


def test_cut_document_keeps_what_came_before() -> None:
    data = (HEAD + "<RECORD><CALL>T0ST</CALL></RECORD>\n<RECORD><CALL>T0").encode()
    items = list(read_adx(data))
    assert [type(item) for item in items] == [Header, Record, Refused]
    assert isinstance(items[2], Refused)
    assert items[2].line == 3
    assert "no XML" in items[2].why


def test_document_type_declaration_is_refused() -> None:
    head = b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY e "x">]>'
    data = head + b"<ADX><RECORDS><RECORD><CALL>&e;</CALL></RECORD></RECORDS></ADX>"
    (item,) = read_adx(data)
    assert isinstance(item, Refused)
    assert "document type" in item.why


def test_field_inside_a_field_spoils_its_record_only() -> None:
    body = "<RECORD><CALL>A<B>c</B></CALL></RECORD>\n<RECORD><CALL>T0ST</CALL></RECORD></RECORDS></ADX>"
    items = [item for item in read_adx((HEAD + body).encode()) if not isinstance(item, Header)]
    assert isinstance(items[0], Refused)
    assert (items[0].line, "inside" in items[0].why) == (2, True)
    assert isinstance(items[1], Record)


names = st.from_regex(r"[A-Z][A-Z0-9_ ]{0,15}", fullmatch=True)
texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=30).filter(
    lambda text: not unwritable([Field("X", text)])
)


@settings(max_examples=300, derandomize=True)
@given(
    st.lists(st.lists(st.builds(Field, names, texts, st.sampled_from(["", "S"])), min_size=1, max_size=6), max_size=5)
)
def test_what_is_written_is_read_back(fields: list[list[Field]]) -> None:
    data = b"".join(write_adx([tuple(found) for found in fields], (Definition("MY_OWN"),), MADE, "1"))
    assert [record.fields for record in records(data)] == [tuple(found) for found in fields]


@pytest.mark.parametrize("text", ["\x00", "\x0b", "￾"])
def test_characters_that_xml_lacks_are_known(text: str) -> None:
    assert unwritable([Field("COMMENT", f"a{text}b")])


@settings(max_examples=200, derandomize=True)
@given(st.binary(max_size=300))
def test_any_bytes_at_all_are_read_without_an_error(data: bytes) -> None:
    for item in read_adx(HEAD.encode() + data):
        assert isinstance(item, (Header, Record, Refused))
