"""Calls and reports in text. Structure of calls: Radio Regulations, Article 19, Section III (from memory)."""

import pytest

from hearmark.pileup.calls import has_report, is_call, last_call


@pytest.mark.parametrize(
    "word", ["K7ABC", "KG2OP", "AE0UUK", "ZZ0DX", "5B4XY", "3DA0Q", "B1Z", "E7/K7ABC", "K7ABC/P", "K7ABC/MM"]
)
def test_calls(word: str) -> None:
    assert is_call(word)


@pytest.mark.parametrize(
    "word", ["", "5NN", "E5NN", "599", "ENN", "5N9", "TU", "UP", "K", "73", "K7", "QRZ", "K7ABC?", "1234"]
)
def test_other_words(word: str) -> None:
    assert not is_call(word)


@pytest.mark.parametrize(
    ("text", "call"),
    [("", None), ("TU UP", None), ("K7ABC DE ZZ0DX 5NN", "ZZ0DX"), ("K7ABC?", "K7ABC"), ("K7 ABC 5NN", None)],
)
def test_last_call(text: str, call: str | None) -> None:
    assert last_call(text) == call


@pytest.mark.parametrize("text", ["5NN", "K7ABC 5NN K", "599", "TU 5NN73", "5N", "ENN", "UR 579"])
def test_reports_whole_and_torn(text: str) -> None:
    assert has_report(text)


@pytest.mark.parametrize("text", ["", "TU UP", "K7ABC", "QRZ", "CQ DE ZZ0DX UP 5", "ANNA"])
def test_no_reports(text: str) -> None:
    assert not has_report(text)
