"""Whether the crowd gathers where we are sent."""

from dataclasses import replace

import numpy as np

from hearmark.ear.advice import Surroundings
from hearmark.ear.herd import Herd, own_place
from hearmark.events import FloatArray

DX, LOW = 14_023_000.0, 14_025_000.0
GRID: FloatArray = np.arange(LOW - 500.0, LOW + 5_500.0, 15.625)


def around(*callers_hz: float) -> Surroundings:
    """Morse callers 30 dB over the floor on these places."""
    level = np.zeros(len(GRID))
    for caller_hz in callers_hz:
        level[np.abs(GRID - caller_hz) < 40.0] = 30.0
    return replace(Surroundings("cw", DX), activity_hz=GRID, activity_db=level)


def test_a_crowd_that_is_everywhere_follows_nobody() -> None:
    herd = Herd()
    rng = np.random.default_rng(1)
    for turn in range(30):
        herd = herd.seen(LOW + 150.0 * turn, around(*(LOW + 5_000.0 * rng.random(25))))
    assert not herd.follows
    assert 0.0 < herd.share < 0.2


def test_a_crowd_that_gathers_where_we_are_sent_is_noticed_and_remembered() -> None:
    herd = Herd()
    places = [LOW + 1_000.0, LOW + 3_500.0, LOW + 2_000.0]
    for place_hz in places:
        herd = herd.seen(place_hz, around(place_hz - 60.0, place_hz, place_hz + 110.0, LOW + 4_800.0))
    assert herd.follows
    assert herd.seen(LOW + 100.0, around(LOW + 4_000.0)).follows


def test_silence_and_what_is_not_measured_tell_nothing() -> None:
    assert Herd(0.1).seen(LOW, Surroundings("cw", DX)) == Herd(0.1)
    assert not Herd().seen(LOW, around()).follows


def test_each_call_has_a_place_of_its_own() -> None:
    places = [own_place(f"Q1{a}{b}") for a in "ABCDEFGH" for b in "ABCDEFGH"]
    drawn = np.sort([place for place in places if place is not None])
    assert len(drawn) == len(places)
    assert 0.0 <= drawn[0] < 0.1
    assert 0.9 < drawn[-1] < 1.0
    assert own_place("Q1AB") == own_place("Q1AB")
    assert own_place("") is None
