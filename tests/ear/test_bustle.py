"""Where callers send: the last turn counts, and one of which little was heard counts less."""

import numpy as np
import pytest

from hearmark.ear.bustle import CROWD_S, LEAST_S, Bustle

LOUD, STILL = np.array([4.0, 0.0]), np.array([0.0, 2.0])


def test_the_first_turn_is_known_while_it_goes_on_and_is_the_mean_of_what_was_heard() -> None:
    bustle = Bustle()
    assert bustle.level is None
    bustle = bustle.heard(LOUD, 1.0).heard(STILL, 3.0)
    assert bustle.level == pytest.approx([1.0, 1.5])
    assert bustle.turn_over().level == pytest.approx([1.0, 1.5])


def test_a_turn_that_goes_on_does_not_change_what_the_last_one_told() -> None:
    bustle = Bustle().heard(LOUD, 4.0).turn_over().heard(STILL, 4.0)
    assert bustle.level == pytest.approx(LOUD)


def test_a_long_turn_replaces_what_was_before_and_a_short_one_by_its_length() -> None:
    before = Bustle().heard(LOUD, 4.0).turn_over()
    after = before.heard(STILL, 20.0 * CROWD_S).turn_over()
    assert after.level == pytest.approx(STILL, abs=1e-6)
    part = before.heard(STILL, CROWD_S * np.log(2.0)).turn_over()
    assert part.level == pytest.approx(0.5 * (LOUD + STILL))


def test_a_turn_of_which_nothing_was_heard_tells_nothing_yet() -> None:
    before = Bustle().heard(LOUD, 4.0).turn_over()
    short = before.heard(STILL, 0.5 * LEAST_S).turn_over()
    assert short.level == pytest.approx(LOUD)
    assert short.heard(STILL, 4.0).turn_over().level == pytest.approx(STILL, abs=1e-3)
