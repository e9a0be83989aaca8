import random
import re

import pytest

from hearmark.simulate import calls, hearing, keying, texts
from hearmark.simulate.phrases import MORSE, VOICE


def test_every_phrase_can_be_sent() -> None:
    for table, morse in ((MORSE, True), (VOICE, False)):
        for phrases, weights in table.values():
            assert len(phrases) == len(weights) == len(set(phrases))
            for phrase in phrases:
                text = phrase.format(c="K1ABC", d="T9X", u="UP 5", p="1AB", e="BC")
                if morse:
                    assert keying.length_s(text, 25.0) > 0
                else:
                    assert phrase == phrase.lower()
    assert set(MORSE) == set(VOICE)


def test_by_the_book_without_sloppiness() -> None:
    talk = texts.Talk("cw", 0.0, random.Random(1))
    assert {talk.say("answer", "K1ABC") for _ in range(20)} == {"K1ABC 5NN"}
    voice = texts.Talk("usb", 0.0, random.Random(1))
    assert voice.say("answer", "K1ABC") == "kilo one alfa bravo charlie five nine"


def test_variety_with_sloppiness() -> None:
    said = {texts.Talk("cw", 1.0, random.Random(seed)).say("reply", "K1ABC") for seed in range(300)}
    assert len(said) > 15
    words = {texts.Talk("usb", 1.0, random.Random(seed)).spell("K") for seed in range(200)}
    assert len(words) > 2


def test_a_person_keeps_to_his_phrases() -> None:
    talk = texts.Talk("cw", 0.5, random.Random(4))
    said = [talk.say("reply", "K1ABC") for _ in range(200)]
    assert max(said.count(one) for one in set(said)) > 120


@pytest.mark.parametrize(
    ("low_khz", "high_khz", "style", "phrase"),
    [
        (5, 10, 0.6, "up five to ten"),
        (5, 10, 0.4, "up five"),
        (-10, -5, 0.6, "down five to ten"),
        (5, 10, 0.1, "up"),
        (0, 0, 0.6, ""),
    ],
)
def test_up_phrase(low_khz: float, high_khz: float, style: float, phrase: str) -> None:
    dx_hz = 18_143_500.0
    assert texts.up_phrase("usb", dx_hz, dx_hz + low_khz * 1e3, dx_hz + high_khz * 1e3, style) == phrase


def test_calls_have_the_form_of_calls() -> None:
    rng = random.Random(2)
    drawn = [calls.caller(rng) for _ in range(3000)]
    assert all(re.fullmatch(r"[A-Z0-9]{1,2}\d{1,3}[A-Z]{1,3}(/[A-Z0-9]+)?", call) for call, _ in drawn)
    assert len({call for call, _ in drawn}) > 2900
    assert {region for _, region in drawn} == {"EU", "NA", "SA", "AS", "OC", "AF"}


def test_near_calls_differ_in_one_character() -> None:
    rng = random.Random(3)
    for _ in range(200):
        call, _ = calls.caller(rng)
        other = calls.near(call, rng, morse=True)
        assert len(other) == len(call)
        assert sum(a != b for a, b in zip(call, other, strict=True)) <= 1


def test_copy_gets_better_with_repeats() -> None:
    rng = random.Random(5)
    once = sum("." in hearing.copied("K1ABC", "", 0.7, 1, rng) for _ in range(400))
    thrice = sum("." in hearing.copied("K1ABC", "", 0.7, 3, rng) for _ in range(400))
    assert thrice < 0.5 * once
    assert hearing.copied("K1ABC", "K1...", 0.0, 1, rng) == "K1..."
    assert hearing.part("K1..C", rng) == "K1"
    assert hearing.part("K.A.C", rng) == ""


def test_what_lies_far_outside_his_filter_is_not_readable() -> None:
    assert hearing.readable(-1291.0, False, 3.0) == 0.0
    assert hearing.readable(900.0, True, 3.0) == 1.0
    assert hearing.readable(4.0, True, 0.0) == 0.5
