"""The licence through the whole engine: no advice outside it at any moment, and the reason says that it was cut."""

import pytest

from hearmark.duplex.privileges import allowed, table
from hearmark.engine import Engine, EngineConfig
from hearmark.events import Advice, Allowed, Ear, Event
from hearmark.listening import invented
from hearmark.simulate.render import SimulatedSource


def advice_under(may: Allowed | None) -> tuple[list[Advice], list[Ear], float, float]:
    """All advice on an invented pile-up of one minute; the beliefs; the window."""
    session = invented("easy", "cw", 8, None, 60.0)
    scenario = session.scenario
    low_hz, high_hz = scenario.window_low_hz, scenario.window_high_hz
    engine = Engine(EngineConfig(scenario.dx_hz, "cw", low_hz, high_hz))
    events: list[Event] = engine.feed(may) if may is not None else []
    for event in SimulatedSource(session, 24_000.0, round((scenario.dx_hz + high_hz) / 2)).events():
        events += engine.feed(event)
    events += engine.finish()
    advised = [event for event in events if isinstance(event, Advice)]
    return advised, [event for event in events if isinstance(event, Ear)], low_hz, high_hz


def test_half_the_window_is_outside() -> None:
    _, _, low_hz, high_hz = advice_under(None)
    edge_hz = (low_hz + high_hz) / 2
    advised, ears, _, _ = advice_under(Allowed(((edge_hz, high_hz + 5e3),), True, "invented licence"))
    places = [one.transmit_hz for one in advised if one.transmit_hz is not None]
    others = [one.alternative_hz for one in advised if one.alternative_hz is not None]
    assert places
    assert min(places + others) >= edge_hz
    assert any("his window is cut to what you may use" in one.why for one in advised)
    assert ears[-1].frequency_hz[0] < edge_hz  # the belief itself stays whole


@pytest.mark.parametrize(
    "may", [Allowed((), True, "invented licence"), allowed(table("us-technician"), "cw", 14_023e3)]
)
def test_nothing_allowed_means_no_place(may: Allowed) -> None:
    advised, _, _, _ = advice_under(may)
    assert advised
    assert all(one.transmit_hz is None for one in advised)
    assert any("nowhere to call" in one.why or "no place to call" in one.why for one in advised)
