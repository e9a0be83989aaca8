"""How a window is written, and what its open ends mean."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hearmark.duplex.window import window_offsets_hz
from hearmark.errors import HearmarkError


@pytest.mark.parametrize(
    ("text", "low_hz", "high_hz"),
    [
        ("up 5-10", 5000.0, 10000.0),
        ("up 5 to 10", 5000.0, 10000.0),
        ("UP  5 – 10 kHz", 5000.0, 10000.0),
        ("5 to 10 up", 5000.0, 10000.0),
        ("up 10-5", 5000.0, 10000.0),
        ("down 5-10", -10000.0, -5000.0),
        ("up 1.5-2.25", 1500.0, 2250.0),
        ("up", 5000.0, 10000.0),
        ("up 5", 4000.0, 8000.0),
        ("down 2", -5000.0, -1000.0),
        ("five up", 4000.0, 8000.0),
        ("up five to ten", 5000.0, 10000.0),
        ("split", 5000.0, 10000.0),
    ],
)
def test_voice(text: str, low_hz: float, high_hz: float) -> None:
    assert window_offsets_hz(text) == (low_hz, high_hz)
    assert window_offsets_hz(text, "usb") == (low_hz, high_hz)


@pytest.mark.parametrize(("text", "expected"), [("up", (1000.0, 3000.0)), ("up 1", (500.0, 2500.0))])
def test_cw(text: str, expected: tuple[float, float]) -> None:
    assert window_offsets_hz(text, "cw") == expected


@pytest.mark.parametrize("text", ["", "five", "hello", "599", "14", "tnx 73", "listening"])
def test_other_words_are_refused_with_examples(text: str) -> None:
    with pytest.raises(HearmarkError, match=r'is not understood; write it like "up 5-10"'):
        window_offsets_hz(text)


@pytest.mark.parametrize("text", ["up 0-0.2", "up 5-500 kHz", "down 150"])
def test_impossible_ranges_are_refused(text: str) -> None:
    with pytest.raises(HearmarkError, match="must have a width"):
        window_offsets_hz(text)


def test_a_refusal_says_on_which_side() -> None:
    with pytest.raises(HearmarkError, match=r"reaches from -199 to -203 kHz"):
        window_offsets_hz("down 200")


def test_whole_frequencies_need_the_dx() -> None:
    assert window_offsets_hz("listening 148 to 155", "usb", 18_143_500.0) == (4500.0, 11500.0)


def test_simplex_is_no_window() -> None:
    with pytest.raises(HearmarkError, match="no window to watch"):
        window_offsets_hz("simplex")


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.text(alphabet="up down0123456789.-to", max_size=14))
def test_any_words_give_a_window_or_a_sentence(text: str) -> None:
    try:
        low_hz, high_hz = window_offsets_hz(text)
    except HearmarkError:
        return
    assert low_hz < high_hz
