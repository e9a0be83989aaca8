"""A radio kept: guard, set, follow, peek; a loss and the return from it. One turn at a time, on a clock of its own."""

import time
from collections.abc import Callable

import pytest

from hearmark.duplex.privileges import allowed, table
from hearmark.events import Event, KeyState, Plan, RadioState, Warned
from hearmark.radio.keeper import WAITING, Keeper, Wish
from hearmark.radio.port import Dials, Port, RadioLost
from hearmark.radio.simulated import SimulatedRadio

DX = 18_143_500.0
PLAN = Plan(DX, DX + 5_000.0, DX + 10_000.0, "usb")
CALL = DX + 7_500.0


class Bench:
    """A keeper whose turns the test takes, its radio, what it said and what it answered."""

    def __init__(self, radio: SimulatedRadio | None = None, **options: bool) -> None:
        self.now_s = 100.0
        self.radio = radio or SimulatedRadio(Dials(DX, DX, False, "usb", "usb", 0.0, 0.0, False, False))
        self.events: list[Event] = []
        self.told: list[tuple[bool, str]] = []
        self.keeper = Keeper(self._connect, self.events.append, lambda: self.now_s, clock=lambda: self.now_s, **options)
        self.keeper.plan = PLAN

    def _connect(self) -> Port:
        if not self.radio.alive:
            raise RadioLost("No radio control answers.")
        return self.radio

    def turn(self, *wishes: Wish, seconds: float = 0.1) -> None:
        for wish in wishes:
            self.keeper.ask(wish)
        self.now_s += seconds
        self.keeper.step()

    def wish(self, verb: str, hz: float = 0.0, hold_s: float | None = None) -> Wish:
        return Wish(verb, hz, hold_s, told=lambda ok, why: self.told.append((ok, why)))  # type: ignore[arg-type]

    def warned(self) -> list[tuple[str, bool]]:
        return [(event.kind, event.active) for event in self.events if isinstance(event, Warned)]

    def set(self) -> None:
        self.turn(self.wish("set", CALL))
        assert self.told[-1][0], self.told
        self.events.clear()
        self.told.clear()


def test_set_shows_what_the_radio_says() -> None:
    bench = Bench()
    bench.turn()
    assert ("split off", True) in bench.warned()
    bench.turn(bench.wish("set", CALL))
    assert bench.told == [(True, "hears 18143.50, sends on 18151.00 kHz, as the radio shows")]
    status = bench.keeper.status()
    assert (status.is_set, status.hold, status.warnings) == (True, "", ())
    states = [event for event in bench.events if isinstance(event, RadioState)]
    assert (states[-1].receive_hz, states[-1].transmit_hz, states[-1].split) == (DX, CALL, True)
    assert ("split off", False) in bench.warned()


def test_a_hand_on_the_dial_is_seen_in_the_next_turn_and_put_back_on_one_key() -> None:
    bench = Bench()
    bench.set()
    bench.radio.by_hand(dial_hz=DX + 700.0)
    bench.turn()
    assert bench.warned() == [("receive moved", True)]
    assert bench.radio.dials.dial_hz == DX + 700.0
    bench.turn(bench.wish("back"))
    assert bench.radio.dials.dial_hz == DX
    assert bench.warned() == [("receive moved", True), ("receive moved", False)]


def test_it_may_be_put_back_by_itself_but_not_while_keyed() -> None:
    bench = Bench(put_back=True)
    bench.set()
    bench.radio.by_hand(dial_hz=DX + 700.0, keyed=True)
    bench.turn()
    assert bench.radio.dials.dial_hz == DX + 700.0
    bench.radio.by_hand(keyed=False)
    bench.turn()
    assert bench.radio.dials.dial_hz == DX


def test_key_goes_out_as_an_event() -> None:
    bench = Bench()
    bench.set()
    bench.radio.by_hand(keyed=True)
    bench.turn()
    bench.radio.by_hand(keyed=False)
    bench.turn()
    assert [event.keyed for event in bench.events if isinstance(event, KeyState)] == [True, False]


def test_peek_is_silent_and_ends_in_time() -> None:
    bench = Bench()
    bench.set()
    bench.turn(bench.wish("peek", DX + 6_000.0, 0.5))
    assert bench.radio.dials.receive_hz == DX + 6_000.0
    bench.turn()
    assert bench.warned() == []
    bench.turn(seconds=0.5)
    assert bench.radio.dials.receive_hz == DX
    assert bench.keeper.status().peek_hz is None
    assert bench.warned() == []


def test_peek_ends_for_his_over_a_key_down_or_a_hand_on_the_dial() -> None:
    bench = Bench()
    bench.set()
    bench.turn(bench.wish("peek", DX + 6_000.0, 5.0))
    bench.keeper.dx_sends = True
    bench.turn()
    assert bench.radio.dials.receive_hz == DX
    bench.keeper.dx_sends = False
    bench.turn(bench.wish("peek", DX + 6_000.0, 5.0))
    bench.radio.taken.clear()
    bench.radio.by_hand(keyed=True)
    bench.turn()
    assert bench.radio.taken == []
    bench.radio.by_hand(keyed=False)
    bench.turn()
    assert bench.radio.dials.receive_hz == DX
    bench.turn(bench.wish("peek", DX + 6_000.0, 5.0))
    bench.radio.by_hand(dial_hz=DX + 6_400.0)
    bench.radio.taken.clear()
    bench.turn()
    bench.turn(seconds=10.0)
    assert bench.radio.taken == []
    assert bench.keeper.status().peek_hz is None
    assert ("receive moved", True) in bench.warned()


def test_a_held_peek_does_not_yield_to_his_over_but_ends_at_last() -> None:
    bench = Bench()
    bench.set()
    bench.turn(Wish("peek", DX + 6_000.0, 20.0, yields=False))
    bench.keeper.dx_sends = True
    bench.turn()
    assert bench.radio.dials.receive_hz == DX + 6_000.0
    bench.turn(seconds=20.0)
    assert bench.radio.dials.receive_hz == DX


def test_a_peek_does_not_come_back_onto_the_dx_with_split_off() -> None:
    bench = Bench()
    bench.set()
    bench.turn(bench.wish("peek", DX + 6_000.0, 0.2))
    bench.radio.by_hand(split=False)
    bench.radio.taken.clear()
    bench.turn(seconds=1.0)
    bench.turn()
    assert bench.radio.taken == []
    assert "split is off" in bench.keeper.status().hold


def test_follow_needs_a_set_radio_and_keeps_to_the_licence() -> None:
    bench = Bench()
    bench.turn(bench.wish("follow", CALL))
    assert bench.told[-1] == (False, "The radio is not set to the plan yet: set it first, with T.")
    bench.set()
    bench.keeper.allowed = allowed(table("us-extra"), "usb", DX)
    bench.turn(bench.wish("follow", DX + 9_000.0))
    assert bench.radio.dials.other_hz == DX + 9_000.0
    bench.turn(bench.wish("follow", 18_167_000.0))
    assert not bench.told[-1][0]
    assert "outside what you may use" in bench.told[-1][1]
    bench.turn(bench.wish("set", 18_167_000.0))
    assert not bench.told[-1][0]
    assert bench.radio.dials.other_hz == DX + 9_000.0


def test_after_a_loss_nothing_is_written_before_the_plan_is_asked_for_again() -> None:
    bench = Bench()
    bench.set()
    bench.keeper.following = True
    bench.turn(bench.wish("peek", DX + 6_000.0, 0.5))
    bench.radio.alive = False
    bench.turn()
    status = bench.keeper.status()
    assert (status.connected, status.is_set, status.following, status.peek_hz) == (False, False, False, None)
    assert ("radio lost", True) in bench.warned()
    bench.turn(bench.wish("follow", CALL))
    assert not bench.told[-1][0]
    bench.radio.alive = True
    bench.radio.taken.clear()
    bench.radio.by_hand(dial_hz=7_000_000.0, split=False)
    for _ in range(30):
        bench.turn()
    assert bench.keeper.status().connected
    assert bench.radio.taken == []
    assert "set the plan again" in bench.keeper.status().hold
    bench.turn(bench.wish("follow", CALL))
    assert bench.told[-1] == (False, "The radio is not set to the plan yet: set it first, with T.")
    assert bench.radio.taken == []
    bench.turn(bench.wish("set", CALL))
    assert bench.told[-1][0]
    assert bench.radio.dials.transmit_hz == CALL


def test_keyed_requests_are_refused_in_words() -> None:
    bench = Bench()
    bench.set()
    bench.radio.by_hand(keyed=True)
    bench.radio.taken.clear()
    bench.turn(bench.wish("follow", CALL + 1_000.0))
    assert bench.told[-1] == (
        False, "Nothing was written: the transmitter is on. Try again when you have stopped sending."
    )  # fmt: skip
    assert bench.radio.taken == []


def test_too_many_requests_are_counted_and_told() -> None:
    bench = Bench()
    for _ in range(WAITING + 3):
        bench.keeper.ask(bench.wish("set", CALL))
    assert bench.keeper.status().dropped == 3
    assert len(bench.told) == 3


def test_lock_where_there_is_one() -> None:
    bench = Bench()
    bench.turn(bench.wish("lock"))
    assert bench.radio.dials.locked is True


@pytest.mark.parametrize("put_back", [False, True])
def test_the_thread_runs_and_ends(put_back: bool) -> None:
    radio = SimulatedRadio()
    told: list[tuple[bool, str]] = []
    done: Callable[[bool, str], None] = lambda ok, why: told.append((ok, why))  # noqa: E731
    keeper = Keeper(lambda: radio, lambda _: None, lambda: 0.0, put_back=put_back, poll_s=0.01)
    keeper.plan = PLAN
    keeper.start()
    keeper.ask(Wish("set", CALL, told=done))
    keeper.ask(Wish("peek", DX + 6_000.0, told=done))
    for _ in range(2_000):
        if len(told) == 2:
            break
        time.sleep(0.005)
    keeper.stop()
    assert [ok for ok, _ in told] == [True, True]
    assert radio.dials.receive_hz == DX
