"""Each classic slip has its warning, and our own peeks have none."""

from dataclasses import replace

import pytest

from hearmark.duplex.privileges import allowed, table
from hearmark.events import Plan
from hearmark.radio.guard import KINDS, Facts, Guard, warnings
from hearmark.radio.port import Dials

DX = 18_143_500.0
PLAN = Plan(DX, DX + 5_000.0, DX + 10_000.0, "usb")
RIGHT = Dials(DX, DX + 7_500.0, True, "usb", "usb", 0.0, 0.0, False, False, "USB")
SET = Facts(PLAN, RIGHT, allowed(table("us-extra"), "usb", DX))


def test_a_radio_that_is_set_right_is_left_in_peace() -> None:
    assert warnings(SET) == {}


@pytest.mark.parametrize(
    ("change", "kinds", "words"),
    [
        ({"dial_hz": DX + 200.0}, ["receive moved"], "Receive stands +0.20 kHz from the DX"),
        ({"rit_hz": -300.0}, ["receive moved"], "Receive stands -0.30 kHz"),
        ({"split": False}, ["on the DX", "split off", "outside window"], "0 Hz from the DX, on top of him"),
        ({"other_hz": DX + 1_000.0}, ["on the DX", "outside window"], "1000 Hz from the DX"),
        ({"other_hz": DX + 12_000.0}, ["outside window"], "he listens 18148.50 to 18153.50 kHz"),
        ({"xit_hz": 5_000.0}, ["outside window"], "You would send on 18156.00 kHz"),
        ({"other_hz": 18_167e3}, ["outside privileges", "outside window"], "18167.00 to 18169.90 kHz, outside"),
        ({"mode": "lsb"}, ["wrong mode"], "You hear in LSB and the plan says USB."),
        ({"mode": None, "mode_name": "PKTUSB"}, ["wrong mode"], "You hear in PKTUSB and the plan says USB."),
        ({"other_mode": "cw"}, ["wrong mode"], "You would send in CW and the plan says USB."),
    ],
)
def test_each_slip(change: dict[str, object], kinds: list[str], words: str) -> None:
    found = warnings(replace(SET, dials=replace(RIGHT, **change)))  # type: ignore[arg-type]
    assert list(found) == kinds
    assert words in next(iter(found.values()))


def test_key_while_he_sends_but_not_with_full_duplex() -> None:
    keyed = replace(SET, dials=replace(RIGHT, keyed=True), dx_sends=True)
    assert list(warnings(keyed)) == ["key while he sends"]
    assert warnings(replace(keyed, dx_sends=False)) == {}
    assert warnings(replace(keyed, plan=replace(PLAN, duplex="full"))) == {}


def test_peeks_are_silent_where_they_look_and_only_there() -> None:
    peeking = replace(SET, dials=replace(RIGHT, dial_hz=DX + 6_000.0), peek_hz=DX + 6_000.0)
    assert warnings(peeking) == {}
    assert list(warnings(replace(peeking, peek_hz=DX + 7_000.0))) == ["receive moved"]
    assert "split off" in warnings(replace(peeking, dials=replace(peeking.dials or RIGHT, split=False)))


def test_a_shift_does_what_split_does() -> None:
    by_xit = Dials(DX, None, False, "usb", None, 0.0, 7_500.0, False, False)
    assert warnings(replace(SET, dials=by_xit)) == {}


def test_unknown_is_not_warned_of_as_if_it_were_known() -> None:
    silent = Dials(DX, None, True, "usb", None, None, None, None, None)
    assert warnings(replace(SET, dials=silent)) == {}
    assert warnings(Facts(None, RIGHT)) == {}


def test_simplex_on_the_dx_is_no_slip() -> None:
    plan = Plan(DX, DX, DX, "usb", "simplex", "simplex")
    assert warnings(Facts(plan, replace(RIGHT, split=False))) == {}


def test_a_lost_radio_is_told() -> None:
    assert warnings(Facts(PLAN, None, lost="The radio has hung up.")) == {
        "radio lost": "The radio has hung up. Look at the radio itself before you send."
    }


def test_each_warning_is_told_once_and_taken_back() -> None:
    guard = Guard()
    off = replace(SET, dials=replace(RIGHT, dial_hz=DX + 500.0))
    assert guard.look(SET, 1.0) == []
    assert [(w.kind, w.active, w.time_s) for w in guard.look(off, 2.0)] == [("receive moved", True, 2.0)]
    assert guard.look(off, 3.0) == []
    assert guard.look(replace(off, busy=True), 3.5) == []
    assert [(w.kind, w.active) for w in guard.look(SET, 4.0)] == [("receive moved", False)]
    assert guard.active == {}


def test_gravest_comes_first() -> None:
    everything = Dials(DX + 500.0, DX + 100.0, True, "lsb", "cw", 0.0, 0.0, False, True)
    found = list(warnings(Facts(PLAN, everything, allowed(table("us-technician"), "usb"), dx_sends=True)))
    assert found == [kind for kind in KINDS if kind in found]
    assert found[0] == "key while he sends"
