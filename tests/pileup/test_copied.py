"""Calls in copied text, with a probability."""

import pytest

from hearmark.modes.alphabet import ALPHABET, UNITS
from hearmark.modes.copyist import Copy
from hearmark.pileup.copied import allocated, calls_in, partials_in


def copy(text: str, sure: float | dict[int, float] = 0.99, gap_units: float = 7.0) -> Copy:
    """As sent at 27 WPM, with this gap in the place of spaces."""
    each = [sure if isinstance(sure, float) else sure.get(k, 0.99) for k in range(len(text))]
    units, steps = 0.0, []
    for letter in text:
        units += gap_units - 3.0 if letter == " " else UNITS[ALPHABET.index(letter)] + 3.0
        steps.append(round(units * 1.2 / 27.0 / 0.032))
    return Copy(text, tuple(each), tuple(steps))


@pytest.mark.parametrize(
    ("text", "call"),
    [
        ("K7ABC", "K7ABC"),
        ("K7ABC 5NN", "K7ABC"),
        ("DE KG2OP KG2OP", "KG2OP"),
        ("TUKG2OP5NN", "KG2OP"),
        ("KG2OPKG2OP", "KG2OP"),
        ("KG2OP K", "KG2OP"),
        ("EA8MT MT", "EA8MT"),
        ("EB7CW EB", "EB7CW"),
        ("KG2OP?", "KG2OP"),
        ("F/KG2OP/P UP", "F/KG2OP/P"),
    ],
)
def test_the_likeliest_call(text: str, call: str) -> None:
    found = calls_in(copy(text))
    assert found[0].call == call
    assert found[0].probability > 0.6


@pytest.mark.parametrize(
    ("text", "torn", "whole"),
    [
        ("AC3FA W", "AC3FAW", "AC3FA"),
        ("VK1J VM", "VK1JVM", "VK1J"),
        ("BG1Z R", "BG1ZR", "BG1Z"),
    ],
)
def test_a_call_torn_apart_by_a_slow_hand_is_told_from_two_words_by_the_gap(text: str, torn: str, whole: str) -> None:
    assert calls_in(copy(text, gap_units=3.8))[0].call == torn
    assert calls_in(copy(text, gap_units=8.0))[0].call == whole


def test_the_first_letter_of_a_call_may_stand_apart() -> None:
    assert calls_in(copy("D L8NJB 5NN", gap_units=4.5))[0].call == "DL8NJB"


@pytest.mark.parametrize("text", ["", "TU UP", "5NN 599", "CQ CQ", "73 EE", "TEST", "KG2"])
def test_no_call(text: str) -> None:
    assert calls_in(copy(text)) == ()


def test_doubt_in_a_letter_is_doubt_in_the_call() -> None:
    sure = [calls_in(copy("KG2OP", {3: p}))[0].probability for p in (0.99, 0.8, 0.5)]
    assert sure[0] > 0.95
    assert sure == sorted(sure, reverse=True)
    assert sure[2] < 0.95


def test_sent_twice_is_surer() -> None:
    doubt = {1: 0.6, 7: 0.6}
    once, twice = calls_in(copy("KG2OP", doubt)), calls_in(copy("KG2OP KG2OP", doubt))
    assert twice[0].probability > once[0].probability


def test_of_two_that_differ_in_a_letter_the_surer_takes_from_the_other() -> None:
    found = calls_in(copy("KG2OP KG2OR", {10: 0.5}))
    assert [c.call for c in found] == ["KG2OP", "KG2OR"]
    assert found[1].probability < 0.5


def test_while_it_is_sent_a_call_may_go_on() -> None:
    assert calls_in(copy("KG2OP"), ended=False)[0].probability < calls_in(copy("KG2OP"))[0].probability


def test_a_call_of_dots_alone_is_more_likely_a_noise() -> None:
    dots, others = (calls_in(copy(text))[0].probability for text in ("I5EEE", "I5ETE"))
    assert dots < 0.7 < 0.9 < others


def test_a_call_outside_all_series_is_less_likely_and_never_left_out() -> None:
    given, none = calls_in(copy("KG2OP"))[0], calls_in(copy("XG2OP"))[0]
    assert allocated("KG2OP")
    assert allocated("5B4XY")
    assert allocated("E7/KG2OP")
    assert not allocated("X52OP")
    assert not allocated("Z1ILG")
    (rare,) = calls_in(copy("X52OP"))
    assert 0.3 < rare.probability < given.probability
    assert none.probability > 0.9


@pytest.mark.parametrize(
    ("text", "pieces"), [("KG2?", ("KG2",)), ("2OP 5NN", ("2OP",)), ("KG2OP 5NN", ()), ("TU 73 UP 5", ()), ("599K", ())]
)
def test_pieces_of_calls(text: str, pieces: tuple[str, ...]) -> None:
    assert partials_in(copy(text)) == pieces


def test_a_report_after_two_letters_makes_no_call_however_short_the_gap() -> None:
    assert all(found.probability < 0.7 for found in calls_in(copy("EE DR 5NN", gap_units=3.0)))
    assert calls_in(copy("DR5NN", gap_units=3.0))[0].call == "DR5NN"
