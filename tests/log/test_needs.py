"""What is needed: levels by band and kind of mode, confirmations that count, duplicates, lists as people read them."""

from datetime import date

import pytest

from hearmark.log.adif import Field
from hearmark.log.contact import Contact, read_contact
from hearmark.log.entities import Entities
from hearmark.log.needs import Worked, before, highest, worked
from hearmark.log.store import Store

DAY = date(2026, 3, 21)


def contact(call: str, band: str = "20m", mode: str = "CW", **more: str) -> Contact:
    said = {"CALL": call, "QSO_DATE": "20260321", "TIME_ON": "1830", "BAND": band, "MODE": mode, **more}
    return Entities().complete(read_contact(tuple(Field(name, text) for name, text in said.items())))


@pytest.fixture
def filled(store: Store) -> Store:
    store.add(contact("VP8AA", "20m", "CW", QSL_RCVD="Y", GRIDSQUARE="GD18"))
    store.add(contact("VP8AB", "17m", "SSB", EQSL_QSL_RCVD="Y"))
    store.add(contact("K1AA/P", "20m", "CW"))
    return store


@pytest.mark.parametrize(
    ("call", "band", "group", "level"),
    [
        ("VP8AC", "20m", "cw", "done"),
        ("VP8AC", "17m", "phone", "unconfirmed"),
        ("VP8AC", "20m", "phone", "slot"),
        ("VP8AC", "17m", "cw", "slot"),
        ("VP8AC", "20m", "digital", "mode"),
        ("VP8AC", "15m", "cw", "band"),
        ("3Y0J", "20m", "cw", "new"),
    ],
)
def test_levels_of_an_entity(filled: Store, call: str, band: str, group: str, level: str) -> None:
    needs = worked(filled).needs(Entities().lookup(call, DAY), "", band, group)
    assert next(need.level for need in needs if need.kind == "entity") == level


def test_ways_of_confirming_are_the_users_choice(filled: Store) -> None:
    assert worked(filled).level("entity", 141, "17m", "phone") == "unconfirmed"
    assert worked(filled, ["eqsl"]).level("entity", 141, "17m", "phone") == "done"
    assert worked(filled, ["eqsl"]).level("entity", 141, "20m", "cw") == "unconfirmed"


def test_zones_and_fields_count_too(filled: Store) -> None:
    found = {need.kind: need for need in worked(filled).needs(Entities().lookup("LU1AA", DAY), "FF96", "20m", "cw")}
    assert (found["cq_zone"].value, found["cq_zone"].level) == (13, "done")
    assert (found["field"].value, found["field"].level) == ("FF", "new")
    assert worked(filled).level("field", "GD", "20m", "cw") == "done"


def test_ship_is_no_entity_but_a_locator_counts(filled: Store) -> None:
    found = worked(filled).needs(Entities().lookup("K1AA/MM", DAY), "HH12", "20m", "cw")
    assert [(need.kind, need.value) for need in found] == [("field", "HH")]


def test_highest_is_the_rarest() -> None:
    empty = Worked()
    best = highest(empty.needs(Entities().lookup("VP8AA", DAY), "", "20m", "cw"))
    assert best is not None
    assert (best.kind, best.level) == ("entity", "new")
    assert highest(()) is None


def test_counting_one_more_is_the_same_as_counting_again(filled: Store) -> None:
    counted = worked(filled)
    new = contact("3Y0J", "15m", "FT8", LOTW_QSL_RCVD="Y", GRIDSQUARE="JD15")
    counted.add(filled.add(new))
    assert counted == worked(filled)


def test_earlier_contacts_with_a_station(filled: Store) -> None:
    found = before(filled, ["K1AA", "k1aa/p", "VP8AA", "T0ST", "VP2E/K1AA"], "20m", "cw")
    assert [found[call].same_slot for call in ("K1AA", "k1aa/p", "VP8AA")] == [True, True, True]
    assert found["T0ST"].count == 0
    assert found["VP2E/K1AA"].count == 0, "the same man elsewhere is another station"
    other = before(filled, ["K1AA"], "17m", "cw")["K1AA"]
    assert (other.count, other.same_slot, other.slots) == (1, False, (("20m", "cw"),))


def test_many_calls_at_once(filled: Store) -> None:
    calls = [f"K{n % 10}{chr(65 + n // 10 % 26)}{chr(65 + n // 260)}" for n in range(2000)]
    found = before(filled, calls, "20m", "cw")
    assert sum(history.same_slot for history in found.values()) == 1
