"""Ordinary contacts: two on one frequency, others beside."""

from itertools import pairwise

import pytest

from hearmark.errors import HearmarkError
from hearmark.simulate.ordinary import ordinary


def test_two_take_turns_on_one_frequency_and_others_keep_their_distance() -> None:
    session = ordinary("cw", 3, 90.0, 3)
    dx_hz = session.scenario.dx_hz
    own = [sent for sent in session.transmissions if sent.station in (0, 1)]
    assert {sent.station for sent in own} == {0, 1}
    assert all(abs(sent.frequency_hz - dx_hz) < 100.0 for sent in own)
    assert all(before.stop_s < after.start_s for before, after in pairwise(own))
    beside = [sent for sent in session.transmissions if sent.station > 1]
    assert {sent.station // 2 for sent in beside} == {1, 2, 3}
    assert all(250.0 < abs(sent.frequency_hz - dx_hz) <= 12_100.0 for sent in beside)
    assert session.contacts == ()


def test_the_same_seed_gives_the_same_contact() -> None:
    one, same, other = (ordinary("usb", seed, 60.0) for seed in (5, 5, 6))
    texts = [[(sent.start_s, sent.text) for sent in of.transmissions] for of in (one, same, other)]
    assert texts[0] == texts[1] != texts[2]


def test_too_many_beside_are_refused() -> None:
    with pytest.raises(HearmarkError, match="give 0 to 8"):
        ordinary("cw", 1, 60.0, 9)
