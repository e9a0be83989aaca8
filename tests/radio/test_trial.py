"""Trying split: what is tried is put back, a DX is never stepped on, and a key-down in the middle is waited for."""

import socket
import sys
import threading
from pathlib import Path

import pytest

from hearmark.radio.port import Abilities, Dials, KeyDown, RadioLost
from hearmark.radio.simulated import SimulatedRadio
from hearmark.radio.trial import find_control, try_split

sys.path.append(str(Path(__file__).parent))

ON_HIM = Dials(18_143_500.0, 18_150_000.0, False, "usb", "usb", 0.0, 0.0, False, False)


class Clock:
    """Time that passes only when somebody sleeps."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        return self.now_s

    def sleep(self, seconds: float) -> None:
        self.now_s += seconds


def trying(radio: SimulatedRadio) -> object:
    clock = Clock()
    radio._clock, radio._sleep = clock, clock.sleep
    return try_split(radio, clock, clock.sleep)


@pytest.mark.parametrize("other", [True, False])
@pytest.mark.parametrize("split", [True, False])
def test_split_is_tried_and_everything_is_as_it_was(split: bool, other: bool) -> None:
    start = Dials(18_143_500.0, 18_150_000.0, split, "usb", "cw", 120.0, 0.0, True, False)
    radio = SimulatedRadio(start, Abilities(other=other))
    found = trying(radio)
    assert found.ok is True  # type: ignore[attr-defined]
    assert "tested and put back" in found.say  # type: ignore[attr-defined]
    assert radio.dials == start
    assert {taken.name for taken in radio.taken} == ({"other"} if split else {"other", "split"})
    assert len(radio.taken) == (2 if split else 4)


def test_split_that_is_on_is_never_switched_off() -> None:
    radio = SimulatedRadio(Dials(18_143_500.0, 18_150_000.0, True, "usb", "usb", 0.0, 0.0, False, False))
    trying(radio)
    assert all(taken.dials.split for taken in radio.taken)
    assert all(abs((taken.dials.transmit_hz or 0.0) - 18_143_500.0) > 2_700.0 for taken in radio.taken)


def test_the_transmit_side_stays_in_the_band() -> None:
    edge = Dials(18_143_500.0, 18_167_800.0, False, "usb", "usb", 0.0, 0.0, False, False)
    radio = SimulatedRadio(edge)
    trying(radio)
    assert [taken.value for taken in radio.taken if taken.name == "other"] == [18_166_800.0, 18_167_800.0]
    elsewhere = SimulatedRadio(Dials(18_143_500.0, 7_000_000.0, False, "usb", "usb", 0.0, 0.0, False, False))
    assert trying(elsewhere).ok is True  # type: ignore[attr-defined]
    assert elsewhere.taken[0].value == 18_142_500.0
    assert elsewhere.dials.other_hz == 7_000_000.0


def test_nothing_is_written_while_the_key_is_down() -> None:
    radio = SimulatedRadio(Dials(18_143_500.0, 18_150_000.0, False, "usb", "usb", 0.0, 0.0, False, True))
    with pytest.raises(KeyDown, match="Nothing was tried"):
        trying(radio)
    assert radio.taken == []


def test_a_key_down_in_the_middle_is_waited_for_and_then_all_is_put_back() -> None:
    radio = SimulatedRadio(ON_HIM)
    clock = Clock()

    def pressed(radio: SimulatedRadio, name: str) -> None:
        if name == "split" and radio.dials.split:
            radio.by_hand(keyed=True)

    def sleep(seconds: float) -> None:
        clock.sleep(seconds)
        if clock.now_s > 3.0:
            radio.by_hand(keyed=False)

    radio.on_command = pressed
    found = try_split(radio, clock, sleep)
    assert radio.dials == ON_HIM
    assert not any(taken.keyed for taken in radio.taken)
    assert found.ok is True
    assert clock.now_s > 3.0


def test_a_key_held_for_ever_is_told() -> None:
    radio = SimulatedRadio(ON_HIM)
    radio.on_command = lambda radio, name: radio.by_hand(keyed=True)
    found = trying(radio)
    assert found.ok is False  # type: ignore[attr-defined]
    assert "do not send: the radio was not put back" in found.say  # type: ignore[attr-defined]
    assert len(radio.taken) == 1


@pytest.mark.parametrize(("what", "how"), [("split", "ignores"), ("split", "refuses"), ("other", "ignores")])
def test_what_does_not_work_is_named_and_put_back(what: str, how: str) -> None:
    radio = SimulatedRadio(ON_HIM, **{how: frozenset({what})})  # type: ignore[arg-type]
    found = trying(radio)
    assert found.ok is False  # type: ignore[attr-defined]
    assert "split does not work" in found.say  # type: ignore[attr-defined]
    assert what in found.say  # type: ignore[attr-defined]
    assert radio.dials == ON_HIM


def test_a_radio_without_split_is_not_touched() -> None:
    radio = SimulatedRadio(ON_HIM, Abilities(split=False, rit=False))
    found = trying(radio)
    assert found.ok is None  # type: ignore[attr-defined]
    assert "cannot be set from here; XIT can, up to 9.99 kHz" in found.say  # type: ignore[attr-defined]
    assert radio.taken == []


def test_a_radio_that_does_not_tell_its_key_gets_a_caution() -> None:
    found = trying(SimulatedRadio(ON_HIM, Abilities(key=False)))
    assert found.ok is True  # type: ignore[attr-defined]
    assert "does not report its key" in found.say  # type: ignore[attr-defined]


def test_control_is_found_where_it_answers_and_nothing_else_is() -> None:
    from test_daemon import Server, well

    control = Server(lambda command: well(command))
    other = socket.create_server(("127.0.0.1", 0))
    said: list[bytes] = []

    def chat() -> None:
        client, _ = other.accept()
        with client:
            client.sendall(b"220 hello\r\n")
            said.append(client.recv(100))

    threading.Thread(target=chat, daemon=True).start()
    free = socket.create_server(("127.0.0.1", 0))
    nobody = free.getsockname()[1]
    free.close()
    ports = [nobody, other.getsockname()[1], control.port]
    assert find_control(ports) == [f"127.0.0.1:{control.port}"]
    assert all(b"ptt" not in line for line in said)


def test_a_radio_lost_in_the_middle_is_told_as_what_it_is() -> None:
    radio = SimulatedRadio(ON_HIM)
    radio.on_command = lambda radio, name: setattr(radio, "alive", False)
    with pytest.raises(RadioLost, match="Do not send before you have looked"):
        trying(radio)
