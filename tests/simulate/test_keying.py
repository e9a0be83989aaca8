import numpy as np
import pytest

from hearmark.errors import HearmarkError
from hearmark.simulate import keying


def test_length_is_the_last_key_up_for_every_hand() -> None:
    for seed in range(40):
        times = keying.key("DE K1ABC 5NN", 27.0, seed, take=seed)
        assert times[-1, 1] == pytest.approx(keying.length_s("DE K1ABC 5NN", 27.0, seed), rel=1e-9)


def test_key_times_rise() -> None:
    for seed in range(60):
        flat = keying.key("UA0XYZ UA0XYZ 599 BK", 33.0, seed, take=1).ravel()
        assert np.all(np.diff(flat) > 0)


def test_same_seeds_same_keying_and_other_take_another() -> None:
    jittery = next(seed for seed in range(1, 99) if keying.fist(seed).dot_jitter > 0.05)
    first = keying.key("TEST 5NN", 25.0, jittery, take=3)
    np.testing.assert_array_equal(first, keying.key("TEST 5NN", 25.0, jittery, take=3))
    assert not np.allclose(first, keying.key("TEST 5NN", 25.0, jittery, take=4))


def test_hands_differ_as_people_do() -> None:
    hands = [keying.fist(seed) for seed in range(1, 2001)]
    ratios = np.array([hand.dash_units for hand in hands])
    assert ratios.min() < 2.7
    assert ratios.max() > 3.5
    assert 0.1 < np.mean([hand == keying.MACHINE for hand in hands]) < 0.3
    assert np.mean([hand.dot_jitter > 0.06 for hand in hands]) > 0.08
    assert np.mean([hand.run_together > 0 for hand in hands]) > 0.05


def test_measured_jitter_is_that_of_the_hand() -> None:
    seed = next(seed for seed in range(1, 999) if keying.fist(seed).dot_jitter > 0.1)
    times = keying.key("H" * 400, 25.0, seed)
    marks = times[:, 1] - times[:, 0]
    assert np.std(marks) / np.mean(marks) == pytest.approx(keying.fist(seed).dot_jitter, rel=0.15)


def test_cut_keeps_the_beginning() -> None:
    whole = keying.key("DE K1ABC K1ABC", 25.0, 7, take=2)
    text, times = keying.cut("DE K1ABC K1ABC", 25.0, 7, 2, 0.0, 2.0)
    assert "DE K1ABC K1ABC".startswith(text)
    assert 0 < len(text) < 14
    np.testing.assert_array_equal(times, whole[: len(times)])
    assert times[-1, 1] <= 2.0


def test_cut_leaves_at_least_one_character() -> None:
    text, times = keying.cut("K1ABC", 25.0, 0, 0, 0.0, 0.0)
    assert text == "K"
    assert len(times) == 3


def test_cut_finishes_the_character_under_way() -> None:
    times = keying.key("K1ABC", 25.0, 0)
    under_way_s = float(times[4, 0])
    text, kept = keying.cut("K1ABC", 25.0, 0, 0, under_way_s, under_way_s)
    assert text == "K1"
    assert kept[-1, 1] > under_way_s


def test_bad_input_is_told() -> None:
    with pytest.raises(HearmarkError, match="no code for '#'"):
        keying.key("A#", 25.0, 0)
    with pytest.raises(HearmarkError, match="give 1 to 200"):
        keying.key("A", 0.0, 0)
