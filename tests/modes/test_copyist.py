"""From the reader's likeliest symbols to text with probabilities."""

import numpy as np
import pytest

from hearmark.modes.alphabet import ALPHABET, UNITS
from hearmark.modes.copyist import KEPT, Copyist, likeliest
from hearmark.simulate.keying import CODES

STEPS_BETWEEN = 8


def logits(text: str, doubt: dict[int, tuple[str, float]] | None = None) -> np.ndarray:
    """What a reader says that has each character in one step: (1, steps, symbols). `doubt`: at a place, another
    character with its probability."""
    out = np.full((1, (len(text) + 12) * STEPS_BETWEEN, len(ALPHABET) + 1), -12.0, np.float32)
    out[..., 0] = 0.0
    for k, letter in enumerate(text):
        row = out[0, (k + 1) * STEPS_BETWEEN]
        row[0] = -6.0
        row[ALPHABET.index(letter) + 1] = 0.0
        if doubt and k in doubt:
            other, p = doubt[k]
            row[ALPHABET.index(other) + 1] = np.log(p / (1 - p))
    return out


def copied(seen: np.ndarray, at_once: int = 10_000) -> Copyist:
    symbols, chances = likeliest(seen)
    copyist = Copyist()
    for k in range(0, symbols.shape[1], at_once):
        copyist.feed(symbols[0, k : k + at_once], chances[0, k : k + at_once])
    return copyist


def test_likeliest_are_the_best_symbols_in_order_with_their_log_chances() -> None:
    seen = np.random.default_rng(1).standard_normal((3, 5, len(ALPHABET) + 1)).astype(np.float32) * 3
    symbols, chances = likeliest(seen)
    assert symbols.shape == chances.shape == (3, 5, KEPT)
    log_p = seen - np.log(np.exp(seen).sum(axis=2, keepdims=True))
    assert np.array_equal(symbols, np.argsort(-log_p, axis=2)[..., :KEPT])
    assert np.allclose(chances, -np.sort(-log_p, axis=2)[..., :KEPT], atol=1e-4)


@pytest.mark.parametrize("text", ["K7ABC 5NN TU", "AA0OO NN9MM", "XQ7ZW PLM3K 88442", "E", "CQ CQ DE ZZ0DX UP 1/5"])
def test_what_is_clear_is_copied_as_it_stands(text: str) -> None:
    copy = copied(logits(text)).copy()
    assert copy.text == text
    assert min(copy.sure) > 0.9
    assert list(copy.step) == [(k + 1) * STEPS_BETWEEN for k in range(len(text))]


@pytest.mark.parametrize("at_once", [1, 7, 64])
def test_steps_may_come_in_any_pieces(at_once: int) -> None:
    seen = logits("K7ABC 5NN", {2: ("W", 0.4)}) + np.random.default_rng(2).standard_normal(
        (1, 21 * STEPS_BETWEEN, len(ALPHABET) + 1)
    ).astype(np.float32)
    assert copied(seen, at_once).copy() == copied(seen).copy()


def test_a_long_text_is_copied_to_its_end_and_its_beginning_stays() -> None:
    text = " ".join(["K7ABC 5NN TU UP"] * 40)
    assert copied(logits(text), 50).copy().text == text


def test_what_usually_follows_settles_a_doubt_and_overrules_nothing_clear() -> None:
    """5NN is what is sent after a call: at equal odds it is taken, but not against a letter that was heard well."""
    assert copied(logits("K7ABC 5NB TU", {8: ("N", 0.5)})).copy().text == "K7ABC 5NN TU"
    assert copied(logits("K7ABC 5NB TU", {8: ("N", 0.01)})).copy().text == "K7ABC 5NB TU"


def test_probability_of_a_character_in_doubt() -> None:
    copy = copied(logits("QXZ7J WK5PM", {7: ("C", 0.4)})).copy()
    assert copy.text[:7] == "QXZ7J W"
    assert 0.4 < copy.sure[7] < 0.9
    assert min(copy.sure[:6]) > 0.95


def test_nothing_gives_nothing() -> None:
    copy = copied(logits("")).copy()
    assert (copy.text, copy.sure, copy.step) == ("", (), ())


def test_lengths_of_characters_are_those_of_their_codes() -> None:
    """Recommendation ITU-R M.1677-1: dot 1, dash 3, gap inside a character 1."""
    for letter, units in zip(ALPHABET, UNITS, strict=True):
        code = {" ": "", "&": "-...-.-"}.get(letter, CODES.get(letter, ""))
        assert units == sum(1 if e == "." else 3 for e in code) + max(0, len(code) - 1)
