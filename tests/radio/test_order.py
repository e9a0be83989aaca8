"""At no instant of Set, Follow or Peek may a key-down fall on the DX: tried after every single command."""

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hearmark.errors import HearmarkError
from hearmark.events import Mode, Plan
from hearmark.radio.moves import Moves
from hearmark.radio.order import clearance_hz, covers, order
from hearmark.radio.port import Abilities, Dials, KeyDown
from hearmark.radio.simulated import SimulatedRadio

DX = 18_143_500.0
PLAN = Plan(DX, DX + 5_000.0, DX + 10_000.0, "usb")
CALL = DX + 7_500.0
PLACES = (DX, DX + 7_500.0, DX - 7_500.0, 14_200_000.0)
SHIFTS = (0.0, 7_500.0, -7_500.0)


def key_downs(radio: SimulatedRadio, plan: Plan) -> list[str]:
    """Commands after which a key-down would have covered the DX."""
    return [
        f"{taken.name} {taken.value}"
        for taken in radio.taken
        if taken.dials.transmit_hz is None or abs(taken.dials.transmit_hz - plan.receive_hz) < clearance_hz(plan)
    ]


@pytest.mark.parametrize(
    ("dial_hz", "other_hz", "split", "rit_hz", "xit_hz", "mode"),
    list(product(PLACES, PLACES, (False, True), SHIFTS, SHIFTS, ("usb", "cw"))),
)
def test_set_from_anywhere(
    dial_hz: float, other_hz: float, split: bool, rit_hz: float, xit_hz: float, mode: Mode
) -> None:
    start = Dials(dial_hz, other_hz, split, mode, mode, rit_hz, xit_hz, False, False)
    radio = SimulatedRadio(start)
    outcome = Moves(radio).set(PLAN, CALL)
    assert outcome.ok, outcome
    now = radio.dials
    assert (now.receive_hz, now.transmit_hz, now.split, now.mode, now.other_mode) == (DX, CALL, True, "usb", "usb")
    assert key_downs(radio, PLAN) == []
    assert order(start, PLAN, CALL, radio.abilities).hold == ""


@settings(max_examples=300, deadline=None, derandomize=True)
@given(
    st.floats(DX - 50e3, DX + 50e3), st.floats(DX - 50e3, DX + 50e3), st.booleans(), st.floats(-9_990, 9_990),
    st.floats(-9_990, 9_990), st.sampled_from(["cw", "usb", "lsb"]), st.floats(0.3e3, 20e3), st.booleans(),
)  # fmt: skip
def test_set_from_any_state_to_any_split(
    dial_hz: float, other_hz: float, split: bool, rit_hz: float, xit_hz: float, mode: Mode, up_hz: float, down: bool
) -> None:
    call_hz = DX - up_hz if down else DX + up_hz
    plan = Plan(DX, call_hz, call_hz, mode)
    radio = SimulatedRadio(Dials(dial_hz, other_hz, split, mode, mode, rit_hz, xit_hz, False, False))
    outcome = Moves(radio).set(plan, call_hz)
    assert outcome.ok, outcome
    assert key_downs(radio, plan) == []


@pytest.mark.parametrize(("xit", "rit"), [(True, True), (False, True), (True, False)])
@pytest.mark.parametrize("dial_hz", PLACES)
@pytest.mark.parametrize("shift_hz", SHIFTS)
def test_radios_without_split_are_set_by_their_shift(xit: bool, rit: bool, dial_hz: float, shift_hz: float) -> None:
    has = Abilities(split=False, xit=xit, rit=rit)
    radio = SimulatedRadio(Dials(dial_hz, None, False, "usb", None, shift_hz, shift_hz, False, False), has)
    outcome = Moves(radio).set(PLAN, CALL)
    assert outcome.ok, outcome
    assert (radio.dials.receive_hz, radio.dials.transmit_hz) == (DX, CALL)
    assert key_downs(radio, PLAN) == []
    assert Moves(radio).follow(PLAN, CALL - 1_000.0).ok
    assert (radio.dials.receive_hz, radio.dials.transmit_hz) == (DX, CALL - 1_000.0)
    assert key_downs(radio, PLAN) == []


def test_a_radio_without_any_of_these_is_told_so() -> None:
    radio = SimulatedRadio(abilities=Abilities(split=False, rit=False, xit=False))
    with pytest.raises(HearmarkError, match="no split, no RIT and no XIT"):
        Moves(radio).set(PLAN, CALL)
    with pytest.raises(HearmarkError, match=r"reaches 5 kHz: the plan needs 7\.50 kHz"):
        Moves(SimulatedRadio(abilities=Abilities(split=False, limit_hz=5_000.0))).set(PLAN, CALL)
    assert radio.taken == []


def test_a_radio_that_cannot_reach_its_transmit_side_says_do_not_send_until_it_is_right() -> None:
    said: list[str] = []
    start = Dials(DX, None, False, "usb", None, 0.0, 0.0, False, False)
    radio = SimulatedRadio(start, Abilities(other=False))
    radio.by_hand(other_hz=DX)
    outcome = Moves(radio, said.append).set(PLAN, CALL)
    assert outcome.ok
    assert said[0].startswith("do not send: the radio's transmit side stands on the DX or is not known")
    assert said[-1] == ""
    assert radio.taken[-1].name == "dial"
    assert (radio.dials.receive_hz, radio.dials.transmit_hz) == (DX, CALL)


@pytest.mark.parametrize("name", ["other", "split", "dial", "mode", "other mode"])
@pytest.mark.parametrize("how", ["refuses", "ignores"])
def test_a_command_that_fails_ends_the_set_and_nothing_lands_on_the_dx(name: str, how: str) -> None:
    said: list[str] = []
    start = Dials(DX, DX, False, "cw", "cw", 0.0, 0.0, False, False)
    clock = Clock()
    options = {how: frozenset({name})}
    radio = SimulatedRadio(start, clock=clock, sleep=clock.sleep, **options)  # type: ignore[arg-type]
    outcome = Moves(radio, said.append, clock, clock.sleep).set(PLAN, CALL)
    assert not outcome.ok
    assert said[-1].lower().startswith("do not send: the radio")
    wrong = key_downs(radio, PLAN)
    if name == "dial":
        assert len(radio.taken) <= 1  # it could not be moved off the DX at all: nothing else was touched
    else:
        assert wrong == []


class Clock:
    """Time that passes only when somebody waits."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        return self.now_s

    def sleep(self, seconds: float) -> None:
        self.now_s += seconds


def test_follow_moves_only_the_transmit_side() -> None:
    radio = SimulatedRadio()
    moves = Moves(radio)
    with pytest.raises(HearmarkError, match="not set to the plan"):
        moves.follow(PLAN, CALL)
    moves.set(PLAN, CALL)
    radio.taken.clear()
    assert moves.follow(PLAN, CALL + 500.0).ok
    assert [taken.name for taken in radio.taken] == ["other"]
    with pytest.raises(HearmarkError, match="1000 Hz from the DX our signal would cover him; keep 2700 Hz"):
        moves.follow(PLAN, DX + 1_000.0)
    radio.by_hand(split=False)
    with pytest.raises(HearmarkError, match="set it first, with T"):
        moves.follow(PLAN, CALL)
    assert len(radio.taken) == 1


def test_follow_does_not_land_on_the_dx_by_a_forgotten_xit() -> None:
    radio = SimulatedRadio()
    moves = Moves(radio)
    moves.set(PLAN, CALL)
    radio.by_hand(xit_hz=-8_000.0)
    radio.taken.clear()
    with pytest.raises(HearmarkError, match="with XIT as it stands our signal would cover the DX"):
        moves.follow(PLAN, DX + 8_000.0)
    assert radio.taken == []
    assert moves.set(PLAN, DX + 8_000.0).ok
    assert radio.dials.transmit_hz == DX + 8_000.0


def test_peek_moves_only_the_receive_side_and_comes_back() -> None:
    radio = SimulatedRadio()
    moves = Moves(radio)
    moves.set(PLAN, CALL)
    radio.taken.clear()
    assert moves.peek(PLAN, DX + 6_000.0).ok
    assert (radio.dials.receive_hz, radio.dials.transmit_hz) == (DX + 6_000.0, CALL)
    assert moves.back(PLAN).ok
    assert radio.dials.receive_hz == DX
    assert [taken.name for taken in radio.taken] == ["dial", "dial"]
    assert key_downs(radio, PLAN) == []


def test_peek_and_the_way_back_are_refused_when_split_is_off() -> None:
    radio = SimulatedRadio()
    moves = Moves(radio)
    moves.set(PLAN, CALL)
    moves.peek(PLAN, DX + 6_000.0)
    radio.by_hand(split=False)
    radio.taken.clear()
    with pytest.raises(HearmarkError, match="split is off"):
        moves.back(PLAN)
    with pytest.raises(HearmarkError, match="split is off"):
        moves.peek(PLAN, DX + 7_000.0)
    assert radio.taken == []


@pytest.mark.parametrize("after", range(6))
def test_nothing_is_written_while_keyed(after: int) -> None:
    """The key goes down after any of the commands: not one more is written until it is up."""
    radio = SimulatedRadio(Dials(DX, DX, False, "cw", "cw", 0.0, 0.0, False, False))
    if after == 0:
        radio.by_hand(keyed=True)

    def press(at: SimulatedRadio, _: str) -> None:
        if len(at.taken) == after:
            at.by_hand(keyed=True)

    radio.on_command = press
    with pytest.raises(KeyDown, match="Nothing was written: the transmitter is on"):
        Moves(radio).set(PLAN, CALL)
    assert len(radio.taken) == after
    assert key_downs(radio, PLAN) == []
    assert not any(taken.keyed for taken in radio.taken)
    for move in (
        lambda m: m.follow(PLAN, CALL),
        lambda m: m.peek(PLAN, CALL),
        lambda m: m.back(PLAN),
        lambda m: m.lock(True),
    ):
        with pytest.raises(KeyDown):
            move(Moves(radio))
    assert len(radio.taken) == after


def test_a_radio_that_shows_late_is_waited_for() -> None:
    clock = Clock()
    radio = SimulatedRadio(lag_s=0.01, late_s=0.1, clock=clock, sleep=clock.sleep)
    assert Moves(radio, clock=clock, sleep=clock.sleep).set(PLAN, CALL).ok
    assert key_downs(radio, PLAN) == []


def test_simplex_is_simplex() -> None:
    plan = Plan(7_005e3, 7_005e3, 7_005e3, "cw", "simplex", "simplex")
    radio = SimulatedRadio(Dials(14e6, 14.01e6, True, "usb", "usb", 100.0, 100.0, False, False))
    assert Moves(radio).set(plan, 7_005e3).ok
    assert (radio.dials.transmit_hz, radio.dials.receive_hz, radio.dials.split) == (7_005e3, 7_005e3, False)
    assert not covers(plan, 7_005e3)
    assert covers(PLAN, DX + 100.0)


def test_other_mode_of_its_own() -> None:
    plan = Plan(145_900e3, 435_100e3, 435_100e3, "usb", "full", "satellite", transmit_mode="lsb")
    radio = SimulatedRadio()
    assert Moves(radio).set(plan, 435_100e3).ok
    assert (radio.dials.mode, radio.dials.other_mode) == ("usb", "lsb")
