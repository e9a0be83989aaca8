"""Texts of a second hearing: what is likely weighs, letters carry their doubt, a fade is doubt."""

import pytest

from hearmark.modes.rehearing import Heard
from hearmark.pileup.again import calls_again, copy_of, leftover, weighed


def heard(texts: dict[str, float], least_db: float = 18.0) -> Heard:
    order = sorted(texts, key=lambda text: -texts[text])
    return Heard(tuple(order), tuple(texts[text] for text in order), least_db, 20.0, 25.0)


def calls(what: Heard) -> dict[str, float]:
    texts = weighed(what)
    return {c.call: c.probability for c in calls_again(texts, what, copy_of(texts, 3, 80))}


def test_a_call_is_likelier_than_what_is_none_and_no_filter() -> None:
    assert weighed(heard({"K7ABC": -3.0, "3=7ABC": -1.0}))[0][0] == "K7ABC"
    assert weighed(heard({"K7ABC": -30.0, "3=7ABC": -1.0}))[0][0] == "3=7ABC"
    assert weighed(heard({"QRZ? TU": -1.0, "QRZ? TA": -3.0}))[0][0] == "QRZ? TU"
    assert sum(p for _, p in weighed(heard({"K7ABC": -3.0, "3=7ABC": -1.0, "EE7ABC": -2.0}))) == pytest.approx(1.0)


def test_letters_that_all_texts_share_are_sure_and_others_in_doubt() -> None:
    copy = copy_of(weighed(heard({"KG2OP": 0.0, "KG2OW": -0.5})), 3, 80)
    assert copy.text == "KG2OP"
    assert min(copy.sure[:4]) > 0.95
    assert copy.sure[4] < 0.8
    assert list(copy.step) == sorted(copy.step)
    assert 3 < copy.step[0] < copy.step[-1] == 80


def test_a_clear_call_is_told_and_one_in_doubt_is_not() -> None:
    assert calls(heard({"KG2OP": 0.0, "KG2OW": -12.0}))["KG2OP"] > 0.95
    doubt = calls(heard({"KG2OP": 0.0, "KG2OW": -0.3}))
    assert 0.3 < doubt["KG2OP"] < 0.8
    assert doubt["KG2OW"] < doubt["KG2OP"]


def test_what_faded_is_in_doubt() -> None:
    sure, faded = (calls(heard({"KG2OP": 0.0, "KG2OW": -4.0}, least_db=db))["KG2OP"] for db in (18.0, 3.0))
    assert faded < sure - 0.05


@pytest.mark.parametrize("text", ["TU 5NN", "73 EE", "TEST"])
def test_no_call_where_none_was_sent(text: str) -> None:
    assert calls(heard({text: 0.0})) == {}


def test_letters_that_mean_nothing_beside_a_call_are_doubt_in_it() -> None:
    clear, torn = calls(heard({"JR8MM 5NN": 0.0})), calls(heard({"JR8MM R": 0.0}))
    assert clear["JR8MM"] > 0.9
    assert torn["JR8MM"] < clear["JR8MM"] - 0.04
    assert leftover("JR8MM TU", "JR8MM") == 0
    assert leftover("JR8MM XQ", "JR8MM") == 2
