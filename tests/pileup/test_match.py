"""Whose call the DX sent: his letters against those of every stream."""

import numpy as np
import pytest

from hearmark.modes.alphabet import ALPHABET
from hearmark.pileup.match import KEPT_STEPS, WORD_STEPS, Matcher


def symbols(*texts: str, steps_per_letter: int = 6) -> np.ndarray:
    """Best symbols, (steps, streams), of texts sent side by side; blanks between letters."""
    longest = max(map(len, texts))
    out = np.zeros((longest * steps_per_letter, len(texts)), np.int8)
    for k, text in enumerate(texts):
        for at, letter in enumerate(text):
            out[at * steps_per_letter, k] = ALPHABET.index(letter) + 1
    return out


def quiet(steps: int, streams: int) -> np.ndarray:
    return np.zeros((steps, streams), np.int8)


def scores(calls: list[str], sent: str, matcher: Matcher | None = None) -> np.ndarray:
    """What each stream scores after its call and then the DX's text."""
    matcher = matcher or Matcher(len(calls))
    theirs = symbols(*calls)
    matcher.feed(theirs, np.zeros(len(theirs), np.int8))
    his = symbols(sent)[:, 0]
    return matcher.feed(quiet(len(his), len(calls)), his)[-1]


def test_the_whole_call_scores_its_length_and_others_nothing() -> None:
    found = scores(["K7ABCD", "W4XYZ", "JM5SCC"], "K7ABCD 5NN ")
    assert found[0] == pytest.approx(1.0)
    assert np.all(found[1:] == 0.0)


def test_a_wrong_letter_costs_one_and_a_half() -> None:
    assert scores(["K7ABCE"], "K7ABCD ")[0] == pytest.approx((6 - 1.5) / 6)


def test_a_part_of_a_call_points_at_all_who_have_it() -> None:
    found = scores(["K7ABC", "W7ABX", "JM5SCC"], "7AB ")
    assert found[0] == found[1] == pytest.approx(3 / 6)
    assert found[2] == 0.0
    asked = scores(["K7ABC", "W7ABX", "JM5SCC"], "7AB? ")
    assert asked[0] == asked[1] > 0.0 == asked[2]


def test_words_without_a_figure_or_a_real_letter_are_no_calls() -> None:
    assert np.all(scores(["TU UP", "5NN"], "TU UP ") == 0.0)
    assert np.all(scores(["K 5NN", "E5NN"], "5NN ") == 0.0)


def test_text_of_more_than_a_minute_ago_no_longer_counts() -> None:
    matcher = Matcher(1)
    theirs = symbols("K7ABCD")
    matcher.feed(theirs, np.zeros(len(theirs), np.int8))
    matcher.feed(quiet(KEPT_STEPS, 1), np.zeros(KEPT_STEPS, np.int8))
    his = symbols("K7ABCD ")[:, 0]
    assert matcher.feed(quiet(len(his), 1), his)[-1, 0] == 0.0


def test_the_call_is_sought_for_a_quarter_of_a_minute() -> None:
    matcher = Matcher(1)
    assert scores(["K7ABCD"], "K7ABCD ", matcher)[0] > 0.9
    silence = np.zeros(WORD_STEPS + 20, np.int8)
    assert matcher.feed(quiet(len(silence), 1), silence)[-1, 0] == 0.0


def test_pieces_of_any_length_score_alike() -> None:
    theirs = np.concatenate([symbols("K7ABCD", "W4XYZ "), quiet(40, 2)])
    his = np.concatenate([np.zeros(36, np.int8), symbols("W4XYZ  ")[:40, 0]])[: len(theirs)]
    whole = Matcher(2).feed(theirs, his)
    matcher = Matcher(2)
    parts = [matcher.feed(theirs[k : k + 7], his[k : k + 7]) for k in range(0, len(theirs), 7)]
    assert np.array_equal(whole, np.concatenate(parts))
    assert whole[-1, 1] > 0.7
