"""A radio that shows the suppressed carrier in Morse."""

from hearmark.events import Plan
from hearmark.radio.counted import CountedRadio
from hearmark.radio.moves import Moves
from hearmark.radio.port import Dials
from hearmark.radio.simulated import SimulatedRadio

PLAN = Plan(7_005e3, 7_006e3, 7_008e3, "cw")


def test_carriers_are_set_and_read_through_its_dial() -> None:
    radio = SimulatedRadio(Dials(14e6, 14e6, False, "usb", "usb"))
    counted = CountedRadio(radio, 600.0, lambda: True)
    outcome = Moves(counted).set(PLAN, 7_007e3)
    assert outcome.ok
    assert (outcome.dials.receive_hz, outcome.dials.transmit_hz) == (7_005e3, 7_007e3)
    assert (radio.dials.dial_hz, radio.dials.other_hz, radio.dials.mode) == (7_004.4e3, 7_006.4e3, "cw")


def test_other_modes_are_left_alone() -> None:
    radio = SimulatedRadio(Dials(14e6, 14e6, False, "usb", "usb"))
    counted = CountedRadio(radio, 600.0, lambda: False)
    assert Moves(counted).set(Plan(14.2e6, 14.205e6, 14.21e6, "usb"), 14.207e6).ok
    assert (radio.dials.dial_hz, radio.dials.other_hz) == (14.2e6, 14.207e6)
    assert counted.read() == radio.read()


def test_it_is_a_whole_port() -> None:
    radio = SimulatedRadio()
    counted = CountedRadio(radio, 600.0, lambda: True)
    counted.set_rit(100.0)
    counted.set_xit(200.0)
    counted.set_lock(True)
    assert (radio.dials.rit_hz, radio.dials.xit_hz, radio.dials.locked) == (100.0, 200.0, True)
    assert counted.abilities == radio.abilities
    assert counted.keyed() is False
    assert counted.signal_db() == radio.signal_db()
    counted.close()
