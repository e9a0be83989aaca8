"""The scoring rules, one by one, on marks and contacts set out by hand."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hearmark.events import Answer
from hearmark.simulate.scoring import best_recall, score, trial, verdicts
from hearmark.simulate.session import Contact

FIRST = Contact(3, "ZZ1AB", 18_149_000.0, 9.0, ((10.0, 12.5), (15.0, 17.0)), True)
SECOND = Contact(5, "ZZ2CD", 18_150_400.0, 29.0, ((30.0, 32.0),), True)
CALLED = Contact(6, "ZZ3EF", 18_151_000.0, 39.0, ((40.0, 42.0),), False)
CONTACTS = (FIRST, SECOND, CALLED)


def mark(start_s: float, frequency_hz: float, confidence: float = 0.9, id: int = 1) -> Answer:
    return Answer(id, start_s, start_s + 2.0, start_s + 1.5, frequency_hz, confidence)


def judged(*answers: Answer) -> list[str]:
    numbered = [replace(answer, id=i) for i, answer in enumerate(answers)]
    return [verdict.judgement for verdict in verdicts(trial(numbered, CONTACTS, "cw"))]


@pytest.mark.parametrize(
    ("answer", "expected"),
    [
        (mark(10.2, 18_149_030.0), "right"),
        (mark(10.2, 18_149_051.0), "wrong"),
        (mark(14.4, 18_149_000.0), "again"),
        (mark(6.1, 18_149_000.0), "right"),
        (mark(5.9, 18_149_000.0), "wrong"),
        (mark(15.0, 18_149_000.0), "again"),
        (mark(19.2, 18_149_000.0), "wrong"),
        (mark(40.0, 18_151_000.0), "not worked"),
        (mark(40.0, 18_151_100.0), "wrong"),
        (replace(mark(10.2, 18_149_000.0), retracted_at_s=14.0), "taken back"),
    ],
)
def test_one_mark(answer: Answer, expected: str) -> None:
    assert judged(answer) == [expected]


def test_an_unsure_mark_does_not_count() -> None:
    assert judged(mark(10.0, 18_149_000.0, 0.49)) == []


def test_each_contact_is_found_once() -> None:
    assert judged(mark(10.0, 18_149_000.0), mark(10.4, 18_149_010.0)) == ["right", "again"]


def test_voice_allows_150_hz() -> None:
    assert verdicts(trial([mark(10.0, 18_149_140.0)], CONTACTS, "usb"))[0].judgement == "right"


def test_figures() -> None:
    answers = [mark(10.0, 18_149_000.0, id=1), mark(31.0, 18_149_000.0, id=2), mark(40.0, 18_151_000.0, id=3)]
    result = score(trial(answers, CONTACTS, "cw"))
    assert (result.recall, result.precision) == (0.5, 0.5)
    assert result.median_delay_s == pytest.approx(1.5)


def test_no_marks_have_no_precision() -> None:
    result = score(trial([], CONTACTS, "cw"))
    assert (result.recall, result.precision, result.median_delay_s) == (0.0, None, None)


def test_several_trials_are_pooled() -> None:
    one = trial([mark(10.0, 18_149_000.0)], CONTACTS, "cw")
    assert score([one, one]).recall == 0.5
    assert score([one, one]).completed == 4


def test_best_recall_moves_the_threshold() -> None:
    answers = [
        mark(10.0, 18_149_000.0, 0.9, 1),
        mark(20.0, 18_149_000.0, 0.6, 2),
        mark(30.0, 18_150_400.0, 0.55, 3),
        mark(50.0, 18_150_400.0, 0.52, 4),
    ]
    of = trial(answers, CONTACTS, "cw")
    assert best_recall(of, 0.9) == (0.5, 0.9)
    assert best_recall(of, 0.6) == (1.0, 0.55)
    assert best_recall(trial(answers[1:2], CONTACTS, "cw"), 0.5) is None


marks = st.lists(
    st.builds(
        mark,
        st.floats(0, 60),
        st.sampled_from([18_149_000.0, 18_149_040.0, 18_150_400.0, 18_151_000.0, 18_140_000.0]),
        st.floats(0, 1),
        st.integers(0, 20),
    ),
    max_size=12,
)


@settings(max_examples=60, deadline=None)
@given(marks)
def test_figures_stay_in_bounds_and_more_certainty_never_adds_marks(answers: list[Answer]) -> None:
    of = trial(answers, CONTACTS, "cw")
    low, high = score(of, 0.3), score(of, 0.7)
    assert low.right <= low.completed == 2
    assert high.right + high.wrong <= len(verdicts(of, 0.3))
    assert len(low.delays_s) == low.right
