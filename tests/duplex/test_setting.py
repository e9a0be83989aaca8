"""How a plan is set on each kind of radio."""

import pytest

from hearmark.duplex.setting import Incremental, middle_hz, ways
from hearmark.events import Plan

PLAN = Plan(18_143_500.0, 18_148_500.0, 18_153_500.0, "usb")


def test_every_kind_of_radio_is_told_and_impossible_ones_say_why() -> None:
    found = {way.kind: way for way in ways(PLAN, 18_151_000.0)}
    assert set(found) == {"second receiver", "two VFOs", "XIT", "RIT", "offset display", "one dial"}
    assert found["XIT"].steps[1] == "XIT +7.50 kHz and on"
    assert found["RIT"].steps[1:3] == ("dial on 18151.00 kHz", "RIT -7.50 kHz and on: hears 18143.50 kHz")
    assert found["offset display"].steps[0] == "split offset +7.50 kHz"
    assert not found["one dial"].possible
    assert "do not send before" in found["one dial"].why_not


def test_transmit_side_comes_first_and_receive_last() -> None:
    steps = next(way for way in ways(PLAN, 18_151_000.0) if way.kind == "two VFOs").steps
    assert [step.split()[0] for step in steps[:3]] == ["VFO", "split", "VFO"]
    assert steps[0].startswith("VFO B on 18151.00")


def test_reach_and_step_of_incremental_tuning() -> None:
    found = {way.kind: way for way in ways(PLAN, 18_151_000.0, Incremental(limit_hz=5_000.0))}
    assert found["RIT"].why_not == "RIT reaches 5 kHz at most, and the plan needs 7.50 kHz"
    stepped = {way.kind: way for way in ways(PLAN, 18_151_004.0, Incremental(step_hz=10.0))}
    assert stepped["XIT"].off_hz == -4.0


def test_two_modes_need_two_vfos() -> None:
    plan = Plan(14e6, 14.1e6, 14.1e6, "usb", transmit_mode="cw")
    possible = {way.kind: way.possible for way in ways(plan, 14.1e6)}
    assert possible == {
        "second receiver": True, "two VFOs": True, "XIT": False, "RIT": False, "offset display": False,
        "one dial": False,
    }  # fmt: skip


def test_simplex_is_one_dial() -> None:
    simplex = Plan(7_005e3, 7_005e3, 7_005e3, "cw", "simplex", "simplex")
    assert [way.kind for way in ways(simplex, middle_hz(simplex))] == ["one dial"]


@pytest.mark.parametrize(
    ("low", "high", "middle"), [(18e6, 18.01e6, 18.005e6), (18_000_003.0, 18_000_004.0, 18_000_003.5)]
)
def test_the_middle_lies_inside(low: float, high: float, middle: float) -> None:
    assert middle_hz(Plan(17.9e6, low, high, "usb")) == middle
