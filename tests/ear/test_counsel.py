"""What the belief is told in the live chain: contacts found, contacts that went by, and what one receiver heard."""

import numpy as np
import pytest

from hearmark.ear.counsel import Counsel
from hearmark.events import Advice, Answer, Ear, Event, Note, Over, Plan, Working
from hearmark.pileup.exchange import Exchange

DX, LOW, HIGH = 14_023_000.0, 14_025_000.0, 14_029_000.0
PLAN = Plan(DX, LOW, HIGH, "cw")
STREAMS = np.arange(LOW, HIGH, 31.25)


def over(id: int, start_s: float, kind: str, sure: float = 0.9) -> Over:
    return Over(id, start_s, start_s + 2.0, DX, kind="answer" if kind == "answer" else "call", kind_probability=sure)


def told(counsel: Counsel, *overs: Over) -> list[Event]:
    return [event for one in overs for event in counsel.over_ends(one)]


def width(ear: Event) -> float:
    """Standard deviation of the belief, Hz."""
    assert isinstance(ear, Ear)
    share = ear.density_per_hz / ear.density_per_hz.sum()
    mean = float(share @ ear.frequency_hz)
    return float(np.sqrt(share @ (ear.frequency_hz - mean) ** 2))


def marked(counsel: Counsel, id: int, start_s: float) -> None:
    list(counsel.marked(Answer(id, start_s, None, start_s + 1.0, LOW + 1_500.0, 0.95), start_s + 1.0))


def test_a_contact_whose_answer_was_not_found_reaches_the_belief() -> None:
    counsel = Counsel(PLAN, STREAMS)
    marked(counsel, 1, 5.0)
    before = width(counsel.ear(10.0))
    events = told(counsel, over(1, 12.0, "answer"), over(2, 18.0, "call"))
    assert len(events) == 1
    assert width(events[0]) > before
    assert told(counsel, over(3, 24.0, "call")) == [], "one contact, told once"


def test_a_contact_that_was_found_is_no_miss() -> None:
    counsel = Counsel(PLAN, STREAMS)
    assert told(counsel, over(1, 2.0, "answer")) == []
    marked(counsel, 1, 4.5)
    assert told(counsel, over(2, 8.0, "call")) == []


def test_overs_that_may_have_been_anything_conclude_nothing() -> None:
    counsel = Counsel(PLAN, STREAMS)
    assert told(counsel, over(1, 2.0, "answer", 0.55), over(2, 8.0, "call")) == []


@pytest.mark.parametrize("dial_hz", [LOW + 1_000.0, LOW - 9_000.0])
def test_one_receiver_where_it_stood_in_vain_is_less_likely(dial_hz: float) -> None:
    counsel = Counsel(PLAN, STREAMS, one_receiver=True)
    assert counsel.peeks is not None
    counsel.peeks.dial(dial_hz, 0.0, 30.0)
    ear = told(counsel, over(1, 2.0, "answer"), over(2, 8.0, "call"))[0]
    assert isinstance(ear, Ear)
    heard = (ear.frequency_hz > dial_hz + 200.0) & (ear.frequency_hz < dial_hz + 1_200.0)
    inside = (ear.frequency_hz > LOW) & (ear.frequency_hz < HIGH)
    density = ear.density_per_hz
    if heard.any():
        assert density[heard].mean() < 0.97 * density[inside & ~heard].mean()
    else:
        assert density[inside].std() < 0.05 * density[inside].mean()


def test_who_has_gone_simplex_gets_no_call_in_the_window() -> None:
    counsel, exchange = Counsel(PLAN, STREAMS), Exchange(STREAMS, DX, "cw")

    def last() -> Advice:
        return list(counsel.closing(exchange, STREAMS, 60.0))[-1]

    counsel.works(Working(40.0, 0.97, "cw", 6))
    assert last().transmit_hz is not None
    counsel.works(Working(50.0, 0.02, "cw", 2))
    assert last().transmit_hz is not None, "two overs are too few"
    counsel.works(Working(60.0, 0.02, "cw", 6))
    assert last().transmit_hz is None
    assert "simplex" in last().why
    counsel.works(Working(70.0, 0.2, "cw", 6))
    assert counsel.simplex, "not back for a little doubt"
    counsel.works(Working(80.0, 0.6, "cw", 6))
    assert last().transmit_hz is not None


def test_simplex_by_the_operators_word_holds_until_he_names_a_window() -> None:
    counsel = Counsel(PLAN, STREAMS)
    list(counsel.told(Note(1.0, "simplex")))
    assert counsel.simplex
    exchange = Exchange(STREAMS, DX, "cw")
    said = [event for event in counsel.closing(exchange, STREAMS, 2.0) if isinstance(event, Advice)]
    assert [(one.cue, one.transmit_hz, one.success_per_call) for one in said] == [("listen", None, None)]
    assert "as you noted" in said[0].why
    counsel.works(Working(3.0, 0.99, "cw", 6))
    assert counsel.simplex, "his word counts more"
    list(counsel.told(Note(4.0, "what he says")))
    assert counsel.simplex, "words that are not understood change nothing"
    list(counsel.told(Note(5.0, "up 2 to 6 kHz")))
    assert not counsel.simplex


def test_a_plan_that_is_simplex_needs_no_telling() -> None:
    counsel = Counsel(Plan(DX, DX, DX, "cw", kind="simplex"), STREAMS)
    counsel.works(Working(60.0, 0.01, "cw", 6))
    assert not counsel.simplex
