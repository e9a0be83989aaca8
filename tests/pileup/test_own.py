"""Our own call in what the DX sends."""

import numpy as np
import pytest

from hearmark.modes.alphabet import ALPHABET
from hearmark.modes.copyist import Chances, Symbols, likeliest
from hearmark.pileup.own import OwnEar, Spotter, likeness, probability

BETWEEN = 8


def seen(text: str, doubt: dict[int, tuple[str, float]] | None = None) -> tuple[Symbols, Chances]:
    """What the reader says of a text with one character every eighth step; `doubt`: another in its place, and how
    likely."""
    logits = np.full((1, (len(text) + 2) * BETWEEN, len(ALPHABET) + 1), -12.0, np.float32)
    logits[..., 0] = 0.0
    for k, letter in enumerate(text):
        row = logits[0, (k + 1) * BETWEEN]
        row[0], row[ALPHABET.index(letter) + 1] = -6.0, 0.0
        if doubt and k in doubt:
            other, p = doubt[k]
            row[ALPHABET.index(other) + 1] = np.log(p / (1 - p))
    symbols, chances = likeliest(logits)
    return symbols[0], chances[0]


def best(call: str, text: str, doubt: dict[int, tuple[str, float]] | None = None) -> float:
    return probability(float(Spotter(call).feed(*seen(text, doubt)).max()))


@pytest.mark.parametrize("text", ["K7ABC 5NN", "TU K7ABC", "CQ DE ZZ0DX K7ABC 599 K7ABC", "K7 ABC 5NN"])
def test_our_call_is_spotted_wherever_it_stands(text: str) -> None:
    assert best("K7ABC", text) > 0.9


@pytest.mark.parametrize("text", ["K7ABD 5NN", "K7AB 5NN", "W7ABC", "CBA7K", "5NN TU UP", "K7A BD C", "K7AC"])
def test_others_are_not_taken_for_it(text: str) -> None:
    assert best("K7ABC", text) < 0.1


def test_a_letter_in_doubt_does_not_hide_it() -> None:
    assert best("K7ABC", "K7WBC 5NN", {2: ("A", 0.2)}) > 0.8


def test_a_double_letter_needs_both() -> None:
    assert best("AA7OO", "AA7OO 5NN") > 0.9
    assert best("AA7OO", "AA7O 5NN") < 0.1


@pytest.mark.parametrize("size", [1, 3, 50])
def test_steps_may_come_in_any_pieces(size: int) -> None:
    symbols, chances = seen("CQ K7ABC 5NN")
    spotter = Spotter("K7ABC")
    parts = [spotter.feed(symbols[k : k + size], chances[k : k + size]) for k in range(0, len(symbols), size)]
    assert np.array_equal(np.concatenate(parts), Spotter("K7ABC").feed(symbols, chances))


def test_told_once_for_each_time_that_he_sends_it() -> None:
    symbols, chances = seen("K7ABC K7ABC 5NN")
    ear, told = OwnEar("k7abc"), []
    for k in range(0, len(symbols), 3):
        told += ear.feed(symbols[k : k + 3], chances[k : k + 3], (k + 3) * 0.032)
    assert [e.kind for e in told] == ["whole", "whole"]
    assert len({e.id for e in told}) == 2
    assert ear.heard(told[-1].time_s) == told[-1]
    assert ear.heard(told[-1].time_s + 1.0) is None


@pytest.mark.parametrize(
    ("said", "sure", "kind", "letters", "least", "most"),
    [
        ("7AB?", 0.99, "part", "·7AB·", 0.5, 0.8),
        ("BC?", 0.99, "part", "···BC", 0.4, 0.8),
        ("K7A 5NN", 0.99, "part", "K7A··", 0.2, 0.5),
        ("K7ABD 5NN", 0.99, "near", "K7AB·", 0.1, 0.5),
        ("K7ABD 5NN", 0.5, "near", "K7AB·", 0.4, 0.6),
        ("K7BC 5NN", 0.99, "near", "K7·BC", 0.1, 0.5),
        ("K7AABC 5NN", 0.99, "near", "K7ABC", 0.1, 0.5),
    ],
)
def test_what_is_like_our_call_is_shown_as_what_it_is(
    said: str, sure: float, kind: str, letters: str, least: float, most: float
) -> None:
    found = likeness("K7ABC", said, [sure] * len(said))
    assert found is not None
    assert (found.kind, found.letters) == (kind, letters)
    assert least <= found.probability <= most
    assert said.split()[0].rstrip("?") in found.why


@pytest.mark.parametrize("said", ["", "TU UP", "KG2OP 5NN", "5NN", "AB 5NN", "K7ABC 5NN", "K7 UP", "QRZ?"])
def test_what_is_not_like_it_is_not_shown(said: str) -> None:
    assert likeness("K7ABC", said, [0.99] * len(said)) is None


def test_a_near_call_that_is_calling_too_is_not_ours() -> None:
    found = likeness("K7ABC", "K7ABD 5NN", [0.5] * 9, {"K7ABD"})
    assert found is not None
    assert found.probability < 0.1
    assert found.why.endswith("not you")
