"""Morse codes and timing against Recommendation ITU-R M.1677-1 (2009), Annex 1, part I."""

import numpy as np
import pytest

from hearmark.simulate import keying

# ITU-R M.1677-1, part I, section 2: "a dash is equal to three dots; the space between the signals forming the same
# letter is equal to one dot; between two letters three dots; between two words seven dots".
DASH, INSIDE, LETTERS, WORDS = 3, 1, 3, 7


def units(text: str, wpm: float = 24.0) -> tuple[np.ndarray, np.ndarray]:
    times = keying.ideal(text, wpm) / (1.2 / wpm)
    return times[:, 1] - times[:, 0], times[1:, 0] - times[:-1, 1]


def test_dash_is_three_dots() -> None:
    marks, gaps = units("A")
    np.testing.assert_allclose(marks, [1, DASH], rtol=1e-9)
    np.testing.assert_allclose(gaps, [INSIDE], rtol=1e-9)


def test_spaces_between_letters_and_words() -> None:
    _, gaps = units("EE E")
    np.testing.assert_allclose(gaps, [LETTERS, WORDS], rtol=1e-9)


@pytest.mark.parametrize("wpm", [12.0, 25.0, 40.0])
def test_paris_is_fifty_units(wpm: float) -> None:
    """The word PARIS with the space after it is 50 units (facts of the trade; follows from the ratios above)."""
    times = keying.ideal("PARIS PARIS", wpm)
    second = times[len(times) // 2, 0]
    assert second == pytest.approx(60.0 / wpm, rel=1e-9)


@pytest.mark.parametrize(
    ("character", "code"),
    [  # ITU-R M.1677-1, part I, section 1.1
        ("C", "-.-."), ("F", "..-."), ("J", ".---"), ("L", ".-.."), ("P", ".--."), ("Q", "--.-"), ("X", "-..-"),
        ("Y", "-.--"), ("Z", "--.."), ("É", "..-.."), ("0", "-----"), ("3", "...--"), ("7", "--..."),
        ("?", "..--.."), ("/", "-..-."), ("=", "-...-"), ("+", ".-.-."), (",", "--..--"), ("@", ".--.-."),
    ],
)  # fmt: skip
def test_codes(character: str, code: str) -> None:
    marks, _ = units(character)
    assert "".join("-" if mark > 2 else "." for mark in marks) == code


def test_signals_run_together() -> None:
    """Invitation to transmit, wait, end of work: -.-  .-...  ...-.- (section 1.1.3)."""
    for signal, code in (("K", "-.-"), ("<AS>", ".-..."), ("<SK>", "...-.-"), ("<KN>", "-.--.")):
        marks, gaps = units(signal)
        assert "".join("-" if mark > 2 else "." for mark in marks) == code
        np.testing.assert_allclose(gaps, INSIDE, rtol=1e-9)
