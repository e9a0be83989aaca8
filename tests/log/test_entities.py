"""Calls and their parts; dated prefixes; the user's own rules."""

from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hearmark.data import table
from hearmark.errors import HearmarkError
from hearmark.log.adif import Field
from hearmark.log.calls import parts_of
from hearmark.log.contact import read_contact
from hearmark.log.entities import Entities, entities, expand
from hearmark.log.own import entity_code, read_exceptions, read_wanted

DAY = date(2026, 3, 21)


def entity(call: str, day: date = DAY) -> int | None:
    found = Entities().lookup(call, day)
    return None if found is None else found.entity


# Common practice, no source, but for what stands before the call: CEPT Recommendation T/R 61-01.
@pytest.mark.parametrize(
    ("call", "code"),
    [
        ("DL1ABC", 230), ("F/DL1ABC", 227), ("F/DL1ABC/P", 227), ("DL1ABC/P", 230), ("DL1ABC/QRP", 230),
        ("G2CCC/MM", 0), ("G2CCC/AM", 0), ("MM/G2CCC", 279), ("MM0AAA", 279), ("M0AAA/M", 223), ("2E0AAA", 223),
        ("KH6AA/4", 291), ("W1AA/KH6", 110), ("KL7/W1AA", 6), ("KG4AA", 105), ("KG4AAA", 291), ("AL7AA", 6),
        ("OH2AA/0", 5), ("EA5AA/8", 29), ("VE3AA/W4", 291), ("VP2E/K1AA", 12), ("FR/T/F6AA", 276),
        ("FR/TA1AA", 453), ("FO/M0AAA", 175), ("VP6/DL1AA", 172),
        ("VP6D", 513), ("3Y0AA", 24), ("3D2AA/R", 460), ("3D2AA", 176),
        ("FT4XA", 131), ("FT5WA", 41), ("HK0AA", 216), ("CE0ZAA", 125), ("PY0FAA", 56), ("PY0TA", 273),
        ("4U1ITU", 117), ("4U1UN", 289), ("4U7AAA", None), ("GB100XX", 223), ("R1AA", 54), ("RA0AA", 15),
        ("UA2FAA", 126), ("9M2AA", 299), ("9M6AA", 46), ("BV1AA", 386), ("BY1AA", 318), ("JD1AAA", 192),
        ("1B1AA", None), ("Q5AAA", None), ("R/DL1AA", 54), ("RM2DA", 54), ("RK2FA", 126), ("RA2AA", 126), ("R2AA", 54),
        ("U2FA", 126), ("AX9NA", 189), ("VI9XA", 35), ("AX2AA", 150), ("OH0MAA", 5), ("OJ0AA", 167),
    ],
)  # fmt: skip
def test_entity_of_a_call(call: str, code: int | None) -> None:
    assert entity(call) == code


@pytest.mark.parametrize("text", ["", "ABC", "599", "T0 ST", "T0ST//P", "/P", "É1AB", "A" * 40 + "1", "<CALL>"])
def test_what_is_no_call(text: str) -> None:
    assert parts_of(text) is None
    assert Entities().lookup(text, DAY) is None


@pytest.mark.parametrize(
    ("call", "before", "then", "after"),
    [
        # Days of the ADIF entity list and its comments, as far as they are there; else from memory
        ("Z6AA", 0, date(2018, 1, 21), 522),
        ("Z8AA", 466, date(2011, 7, 14), 521),
        ("PJ2AA", 85, date(2010, 10, 10), 517),
        ("PJ7AA", 255, date(2010, 10, 10), 518),
        ("Y25AA", 229, date(1990, 10, 3), 230),
        ("OK1AA", 218, date(1993, 1, 1), 503),
    ],
)
def test_prefix_that_changed_its_meaning(call: str, before: int, then: date, after: int) -> None:
    if call == "Y25AA":
        assert entity(call, date(1990, 10, 2)) == before
        return
    assert entity(call, date.fromordinal(then.toordinal() - 1)) == before
    assert entity(call, then) == after


def test_zones_by_call_area() -> None:
    looked = Entities()
    for call, zones in {"W6AA": (3, 6), "K1AA": (5, 8), "VE7AA": (3, 2), "VK6AA": (29, 58), "UA0YAA": (23, 32)}.items():
        found = looked.lookup(call, DAY)
        assert found is not None
        assert (found.cq_zone, found.itu_zone) == zones


def test_tables_are_whole() -> None:
    current = [entity for entity in entities().values() if not entity.deleted]
    assert len(current) == 340
    for found in entities().values():
        place = found.place
        assert place.continent in ("NA", "SA", "EU", "AF", "AS", "OC", "AN")
        assert 1 <= place.cq_zone <= 40
        assert 1 <= place.itu_zone <= 90
        assert place.latitude_deg is not None
        assert abs(place.latitude_deg) <= 90
        assert place.longitude_deg is not None
        assert abs(place.longitude_deg) <= 180
        assert found.prefixes or found.deleted


def test_no_prefix_means_two_entities_at_once() -> None:
    """Of rules that hold always, no two of the same prefix may differ in entity."""
    means: dict[str, set[int]] = {}
    for found in entities().values():
        for pattern in found.prefixes:
            for start in expand(pattern):
                means.setdefault(start, set()).add(found.code)
    for row in table("call_areas.csv"):
        if not row["since"] and not row["until"]:
            for start in expand(row["pattern"]):
                means.setdefault(start, set()).add(int(row["code"]))
    assert {start: codes for start, codes in means.items() if len(codes) > 1} == {}


calls = st.from_regex(r"[A-Z]{1,2}[0-9][A-Z]{1,3}|[0-9][A-Z][0-9][A-Z]{1,3}", fullmatch=True)


@settings(max_examples=500, derandomize=True)
@given(calls, st.sampled_from(["/P", "/M", "/QRP", "/P/QRP", "/B"]))
def test_entity_is_stable_under_case_and_manner(call: str, manner: str) -> None:
    looked = Entities()
    plain = looked.lookup(call, DAY)
    assert looked.lookup(call.lower(), DAY) == plain
    assert looked.lookup(f"  {call} ", DAY) == plain
    if not (call.startswith("3D2") or call in ("FO5QS", "SV2ASP", "SV2RSG")):
        assert looked.lookup(call + manner, DAY) == plain


@settings(max_examples=300, derandomize=True)
@given(calls, st.sampled_from(["DL", "KH6", "VK9X", "EA8", "VP2M", "JD1", "FT4X"]))
def test_prefix_before_the_call_decides_and_ships_belong_nowhere(call: str, prefix: str) -> None:
    looked = Entities()
    assert looked.lookup(f"{prefix}/{call}", DAY) == looked.lookup(prefix + ("1AA" if prefix == "DL" else "AA"), DAY)
    for at_sea in (f"{call}/MM", f"{prefix}/{call}/MM", f"{call}/AM"):
        found = looked.lookup(at_sea, DAY)
        assert found is not None
        assert found.entity == 0


def test_own_exceptions_win_while_they_hold(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text(
        '[[exception]]\ncall = "T0ST"\nentity = 24\nsince = 2026-03-01\nuntil = 2026-03-31\n'
        '[[exception]]\ncall = "K9*"\nentity = "VP8"\ncq_zone = 13\n'
    )
    looked = Entities(read_exceptions(path))
    assert [looked.lookup("T0ST/P", day) is not None for day in (date(2026, 2, 28), DAY, date(2026, 4, 1))] == [
        False, True, False,
    ]  # fmt: skip
    found = looked.lookup("K9ABC", DAY)
    assert found is not None
    assert (found.entity, found.cq_zone) == (141, 13)
    given = {"CALL": "K9AB", "QSO_DATE": "20260321", "TIME_ON": "1200", "BAND": "20m", "MODE": "CW", "DXCC": "291"}
    contact = looked.complete(read_contact(tuple(Field(*field) for field in given.items())))
    assert contact.entity == 141, "the user's word goes before the record's"


def test_own_exceptions_as_csv(tmp_path: Path) -> None:
    path = tmp_path / "own.csv"
    path.write_text("# mine\ncall,entity,since,until\nT0ST,24,,\n")
    found = Entities(read_exceptions(path)).lookup("t0st", DAY)
    assert found is not None
    assert found.name == "Bouvet"


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("call,entity\n,24\n", "row 2: call is missing"),
        ("call,entity\nT0ST,9999\n", "9999 is no entity code"),
        ("call,entity\nT0ST,Q9\n", "neither an entity code nor a known prefix"),
        ("call,entity,since\nT0ST,24,soon\n", 'since "soon" is no date'),
    ],
)
def test_fault_in_own_file_is_named(tmp_path: Path, text: str, why: str) -> None:
    path = tmp_path / "own.csv"
    path.write_text(text)
    with pytest.raises(HearmarkError, match=why):
        read_exceptions(path)


def test_wanted_list(tmp_path: Path) -> None:
    path = tmp_path / "wanted.csv"
    path.write_text("what,value,bands,modes\nentity,3Y0J,20m 17m,cw\ncq_zone,2,,\ncall,t0st,,\n")
    entries = read_wanted(path)
    assert [(e.what, e.value, e.bands, e.modes) for e in entries] == [
        ("entity", "24", ("20m", "17m"), ("cw",)), ("cq_zone", "2", (), ()), ("call", "T0ST", (), ()),
    ]  # fmt: skip
    path.write_text("what,value,bands\nentity,24,21m\n")
    with pytest.raises(HearmarkError, match='"21m" in bands'):
        read_wanted(path)


@pytest.mark.parametrize(
    ("text", "code"),
    [("141", 141), ("VP8", 141), ("FALKLAND", 141), ("bouvet", 24), ("F", 227), ("BRITISH VIRGIN", 65)],
)
def test_entity_by_code_prefix_or_name(text: str, code: int) -> None:
    assert entity_code(text, "--entity") == code


@pytest.mark.parametrize(("text", "said"), [("KOREA", "may be Republic of Korea"), ("ATLANTIS", "is no entity")])
def test_a_name_that_tells_no_single_entity(text: str, said: str) -> None:
    with pytest.raises(HearmarkError, match=said):
        entity_code(text, "--entity")
