"""What goes over the wire: text frames, and what a page may ask."""

import json

import numpy as np
import pytest

from hearmark.errors import HearmarkError
from hearmark.events import Advice, Block, Ear, Over
from hearmark.web.actions import Action, read_action
from hearmark.web.story import KEPT, Story
from hearmark.web.wire import EAR_POINTS, as_message, as_text


def test_event_becomes_its_fields_with_type_and_version() -> None:
    message = as_message(Over(3, 1.0, None, 18_143_500.0, "TU UP", "call", 0.9))
    assert message is not None
    assert json.loads(as_text(message)) == {
        "version": 1, "type": "Over", "id": 3, "start_s": 1.0, "stop_s": None, "frequency_hz": 18_143_500.0,
        "text": "TU UP", "kind": "call", "kind_probability": 0.9, "snr_db": None, "sure": [],
    }  # fmt: skip


def test_numbers_that_json_lacks_become_null() -> None:
    message = as_message(Advice(1.0, "call", float("nan"), np.float64(0.25), "because"))  # type: ignore[arg-type]
    assert message is not None
    assert '"transmit_hz":null,"success_per_call":0.25' in as_text(message)


def test_samples_are_never_text() -> None:
    assert as_message(Block(0, 1.0, 0.0, np.zeros(1, np.complex64))) is None


@pytest.mark.parametrize("count", [2, 400, 401, 2003])
def test_belief_is_thinned_without_losing_any_of_it(count: int) -> None:
    grid = np.linspace(1000.0, 2000.0, count)
    step = grid[1] - grid[0]
    density = np.random.default_rng(1).random(count)
    density /= density.sum() * step
    message = as_message(Ear(0.0, grid, density, "stay"))
    assert message is not None
    thin = np.array(message["density_per_hz"])
    places = message["low_hz"] + message["step_hz"] * np.arange(len(thin))
    assert len(thin) <= EAR_POINTS
    assert thin.sum() * message["step_hz"] == pytest.approx(1.0, abs=2e-3)
    assert (thin * places).sum() * message["step_hz"] == pytest.approx((density * grid).sum() * step, abs=5.0)


@pytest.mark.parametrize(
    ("text", "action"),
    [
        ('{"verb":"mark","frequency_hz":18150000,"time_s":3}', Action("mark", 18_150_000.0, time_s=3.0)),
        ('{"verb":"unmark","answer":7}', Action("unmark", answer=7)),
        ('{"verb":"pause","on":true}', Action("pause", on=True)),
        ('{"verb":"replay"}', Action("replay")),
    ],
)
def test_actions_are_read(text: str, action: Action) -> None:
    assert read_action(text) == action


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("{", "not JSON"),
        ("[" * 3000, "not JSON"),
        ("[1]", "does not know"),
        ('{"verb":"key"}', "asked for 'key', which this program does not know"),
        ('{"verb":["mark"]}', "does not know"),
        ('{"verb":"mark"}', "'mark' needs 'frequency_hz'"),
        ('{"verb":"spot","frequency_hz":"18"}', "must be a number, but got '18'"),
        ('{"verb":"spot","frequency_hz":true}', "must be a number, but got True"),
        ('{"verb":"spot","frequency_hz":NaN}', "must be a number, but got nan"),
        ('{"verb":"transmit","frequency_hz":-5}', "between 0 and 3e"),
        ('{"verb":"sound","on":1}', "needs 'on', true or false, but got 1"),
        ('{"verb":"unmark","answer":true}', "the number of a mark, but got True"),
    ],
)
def test_what_is_no_action_is_refused_in_one_sentence(text: str, sentence: str) -> None:
    with pytest.raises(HearmarkError) as caught:
        read_action(text)
    assert sentence in str(caught.value)


def test_story_keeps_the_newest_of_each_id_and_only_so_many() -> None:
    story = Story()
    for n in range(KEPT["Over"] + 5):
        story.feed(Over(n, float(n), None, 1.0))
    story.feed(Over(KEPT["Over"], 0.0, 9.0, 1.0))
    story.feed(Advice(1.0, "wait", None, None, "a"))
    story.feed(Advice(2.0, "call", None, None, "b"))
    overs = [m for m in story.messages() if m["type"] == "Over"]
    assert len(overs) == KEPT["Over"]
    assert [m["stop_s"] for m in overs if m["id"] == KEPT["Over"]] == [9.0]
    assert [m["why"] for m in story.messages() if m["type"] == "Advice"] == ["b"]
