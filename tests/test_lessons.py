"""From the events of a session to facts, and from facts to lessons; the picture and the page of them."""

import json
import re

import numpy as np
import pytest

from hearmark.chart import session_html, session_png
from hearmark.events import Advice, Answer, Ear, KeyState, Over, RadioState, Turn
from hearmark.lessons import comparison, lessons, readable
from hearmark.session import Facts, SessionRecord, facts_of_review, forecast

DX_HZ = 14_023_000.0
GRID = np.arange(DX_HZ + 1000.0, DX_HZ + 3001.0, 10.0)


def ear(time_s: float, middle_hz: float, spread_hz: float = 60.0) -> Ear:
    hill = np.exp(-0.5 * ((GRID - middle_hz) / spread_hz) ** 2)
    return Ear(time_s, GRID, hill / hill.sum() / 10.0, "step")


def answer(number: int, hz: float, **more: object) -> Answer:
    start = 10.0 * number + 4.0
    return Answer(number, start, start + 2.0, start + 1.0, hz, 0.9, turn=number, **more)  # type: ignore[arg-type]


@pytest.fixture
def record() -> SessionRecord:
    """He steps up 100 Hz a turn; the ear knows, the advice is 40 Hz off, we stand still 500 Hz above the start."""
    made = SessionRecord(DX_HZ, "cw", (DX_HZ + 1000.0, DX_HZ + 3000.0))
    made.feed(RadioState(0.0, DX_HZ, DX_HZ + 1700.0, True, "cw"))
    for turn in range(8):
        t, he = 10.0 * turn, DX_HZ + 1200.0 + 100.0 * turn
        made.feed(Over(turn, t, t + 2.0, DX_HZ))
        made.feed(Turn(turn, t + 2.0, t + 6.0, turn))
        made.feed(ear(t + 2.0, he))
        made.feed(Advice(t + 2.0, "call", he + 40.0, 0.3, ""))
        made.feed(KeyState(t + 2.5, True))
        made.feed(KeyState(t + 3.5, False))
        made.feed(answer(turn, he))
        # What comes after the answer must not count as a forecast of it
        made.feed(ear(t + 7.0, DX_HZ + 2900.0))
    return made


def test_facts_hold_what_was_said_before_each_answer(record: SessionRecord) -> None:
    facts = record.facts("VP8AA", "2026-03-21T18:30:00Z")
    assert (len(facts["turns"]), len(facts["answers"]), len(facts["forecasts"]), len(facts["calls"])) == (8, 8, 8, 8)
    third = facts["forecasts"][3]
    assert third["peak_hz"] == pytest.approx(DX_HZ + 1500.0)
    assert third["advised_hz"] == DX_HZ + 1540.0
    assert third["own_hz"] == DX_HZ + 1700.0
    assert facts["calls"][0] == {"start_s": 2.5, "stop_s": 3.5, "frequency_hz": DX_HZ + 1700.0}
    assert json.loads(json.dumps(facts)) == facts


def test_lessons_count_each_rule(record: SessionRecord) -> None:
    found = lessons(record.facts("VP8AA", None, {"time_s": 76.0, "frequency_hz": DX_HZ + 1700.0, "call": "VP8AA"}))
    within = {name: rule["within_reach"] for name, rule in found["rules"].items()}
    # Within 100 Hz: we stood at +1700, he was at 1600 to 1800 there; the last place is always 100 Hz behind; the middle
    # is +2000
    assert within == {"advised": 8, "ear": 8, "own": 3, "last": 7, "step": 6, "middle": 1}
    assert found["rules"]["own"]["first_after_answers"] == 5
    assert (found["calls_made"], found["seconds_to_work"]) == (8, 73.5)
    assert found["faster"].startswith("Calling where advised was within reach of 8 of 8 answers, first at 0:04")
    assert found["ear"]["peak_within_reach"] == 1.0
    text = readable(found)
    assert "Worked at 1:16 after 8 calls in 1:13" in text
    assert "where you stood" in text


def test_forecast_is_in_bits_over_an_even_window() -> None:
    flat = Ear(0.0, GRID, np.full(len(GRID), 1.0 / len(GRID) / 10.0), "")
    even = forecast(flat, answer(0, DX_HZ + 2000.0), "cw", None, None)
    assert even is not None
    assert even.bits == pytest.approx(0.0, abs=1e-9)
    assert even.searched == 1.0
    # Eleven of 201 steps lie within 50 Hz: a belief that is sure gains log2(201/11) bits
    sure = forecast(ear(0.0, DX_HZ + 2000.0, 5.0), answer(0, DX_HZ + 2000.0), "cw", None, None)
    assert sure is not None
    assert sure.bits == pytest.approx(np.log2(201 / 11), abs=0.01)
    assert sure.searched == pytest.approx(1 / 201)
    wrong = forecast(ear(0.0, DX_HZ + 1100.0, 5.0), answer(0, DX_HZ + 2900.0), "cw", None, None)
    assert wrong is not None
    assert wrong.bits == pytest.approx(np.log2(0.1))


def test_marks_taken_back_do_not_count_and_revised_marks_count_once(record: SessionRecord) -> None:
    record.feed(answer(3, DX_HZ + 1510.0))
    record.feed(answer(7, DX_HZ + 1900.0, retracted_at_s=80.0))
    facts = record.facts()
    assert len(facts["answers"]) == 8
    assert len(facts["forecasts"]) == 8
    found = lessons(facts)
    assert (found["marks"], found["taken_back"], found["ear"]["forecasts"]) == (7, 1, 7)
    assert found["rules"]["ear"]["answers"] == 7
    text = readable(found)
    assert "7 marks, 1 more taken back." in text
    assert "Before 7 answers the hill held" in text
    assert re.findall(r"\d+ ?%", text) == ["1 %", "100 %"]
    facts["forecasts"].pop(0)
    assert "Before 6 of the 7 answers the hill held" in readable(lessons(facts))


def empty() -> Facts:
    return SessionRecord(DX_HZ, "usb").facts()


def test_empty_session_has_no_lessons_and_no_trouble() -> None:
    found = lessons(empty())
    assert (found["marks"], found["rules"]) == (0, {})
    assert found["faster"].startswith("No rule")
    assert "0 marks" in readable(found)
    assert session_png(empty()).startswith(b"\x89PNG")


def test_review_document_becomes_facts() -> None:
    content = {
        "recording": {"sample_rate_hz": 48e3, "center_hz": 14e6, "duration_s": 60.0},
        "dx": {
            "frequency_hz": DX_HZ,
            "mode": "cw",
            "overs": [{"start_s": 0.0, "stop_s": 2.0, "text": ""}, {"start_s": 6.0, "stop_s": 8.0, "text": ""}],
        },
        "answers": [
            {"start_s": 4.0, "frequency_hz": DX_HZ + 1500, "confidence": 0.9, "call": "K1AA"},
            {"start_s": 9.0, "frequency_hz": DX_HZ + 1550, "confidence": 0.8, "call": None},
            {"start_s": 9.5, "frequency_hz": DX_HZ + 2550, "confidence": 0.2, "call": None},
        ],
        "ear": None,
    }
    facts = facts_of_review(content)
    assert facts["turns"] == [[2.0, 6.0]]
    found = lessons(facts)
    assert found["marks"] == 2
    assert found["rules"]["last"]["within_reach"] == 1


def test_page_stands_alone_and_escapes(record: SessionRecord) -> None:
    page = session_html(record.facts("<VP8>"), "a & b")
    assert "a &amp; b" in page
    assert "&lt;VP8&gt;" in page
    assert "<VP8>" not in page
    assert "http" not in page.replace("data:image", "")
    assert page.count("<tr>") == 1 + 6 + 1 + 8


def test_sessions_side_by_side(record: SessionRecord) -> None:
    (row,) = comparison([(4, "one", lessons(record.facts("VP8AA")))])
    assert (row["session"], row["marks"], row["advised_within_reach"], row["own_within_reach"]) == (4, 8, 1.0, 0.375)
