"""The page of paths in a real browser, and the answers behind it."""

import re
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx
import pytest
from conftest import reads, until
from script import VIEW, stream

from hearmark.errors import HearmarkError
from hearmark.events import Answer, Event, Over
from hearmark.path.antenna import station_antenna
from hearmark.settings import Station, settings_from
from hearmark.web.forecast import Forecaster
from hearmark.web.live import LiveSession
from hearmark.web.server import Server

Serve = Callable[..., Server]
NOW = datetime(2026, 3, 21, 15, 20, tzinfo=UTC)
AXE = Path(__file__).parents[2] / "node_modules/axe-core/axe.min.js"


@pytest.fixture
def page(serve: Serve, chromium: Any) -> Any:
    forecaster = Forecaster(Station(locator="JO50"))
    # the first answer reads maps and libraries, which on a busy machine takes longer than a page should be waited for
    forecaster.answer({"to": "QF56", "flux": "140"}, NOW)
    server = serve(forecaster=forecaster)
    context = chromium.new_context(viewport={"width": 1280, "height": 900}, bypass_csp=True)
    page = context.new_page()
    page.goto(server.url + "path?to=QF56&flux=140")
    until(page, "document.body.dataset.shown !== undefined")
    yield page
    context.close()


def test_the_page_shows_lines_map_table_and_a_sentence(page: Any) -> None:
    assert page.evaluate("document.querySelectorAll('#hours .chance').length") == 10
    assert page.evaluate("document.querySelectorAll('#best tbody tr').length") == 10
    assert page.evaluate("document.querySelectorAll('#map .end').length") == 2
    assert page.evaluate("document.querySelector('#map .land').getAttribute('d').length") > 10_000
    assert page.inner_text("#now").startswith("Now: ")
    assert re.search(r"16266 km, point to 75°", page.inner_text("#way"))


def test_all_can_be_done_by_keyboard(page: Any) -> None:
    page.focus("input[name=to]")
    page.keyboard.press("Control+A")
    page.keyboard.type("nowhere land")
    page.keyboard.press("Enter")
    until(page, "document.getElementById('trouble').textContent !== ''")
    reads(page, "#trouble", "no known place")
    page.keyboard.press("Control+A")
    page.keyboard.type("JA1")
    page.keyboard.press("Enter")
    until(page, "document.getElementById('way').textContent.includes('Japan')")
    assert page.inner_text("#trouble") == ""


def test_the_live_page_leads_there_by_key_and_by_link(serve: Serve, new_page: Callable[..., Any]) -> None:
    page = new_page(serve().url)
    with page.context.expect_page() as opened:
        page.keyboard.press("h")
    assert opened.value.url.endswith("/path")
    assert page.get_attribute("#views a[target=hearmark-path]", "href") == "/path"


@pytest.mark.skipif(not AXE.is_file(), reason="axe-core is not installed (npm ci)")
def test_no_fault_of_accessibility_is_found(page: Any) -> None:
    page.add_script_tag(path=str(AXE))
    found = page.evaluate("axe.run().then((r) => r.violations.map((v) => v.id + ': ' + v.help))")
    assert found == []


def test_the_server_answers_with_facts_or_with_one_sentence(serve: Serve) -> None:
    url = serve(forecaster=Forecaster(Station(locator="JO50"))).url
    facts = httpx.get(url + "path/forecast?to=FN31&flux=140", timeout=30.0)
    assert facts.status_code == 200
    assert len(facts.json()["hours"]) == 250
    for query, why in (
        ("", "Give his place"), ("to=FN31&power=-1", "power"), ("to=FN31&antenna=/etc/passwd", "Name a kind"),
        ("to=FN31&noise=loud", "environment"), ("to=FN31&flux=many", "flux"), ("to=FN31&need=all", "cw or ssb"),
    ):  # fmt: skip
        refused = httpx.get(url + "path/forecast?" + query, timeout=30.0)
        assert refused.status_code == 400
        assert why in refused.json()["trouble"]


def test_what_is_heard_corrects_if_wished() -> None:
    forecaster = Forecaster(Station(locator="JO50"))
    query = {"to": "FN31", "flux": "140"}
    plain = forecaster.answer(query, NOW)
    assert plain["learnt"] is None
    nothing = forecaster.answer({**query, "heard": "1"}, NOW)
    assert nothing["learnt"]["stations"] == 0
    forecaster.hear(Over(1, 0.0, 4.0, 14.023e6, snr_db=25.0))
    forecaster.hear(Answer(2, 5.0, 6.0, 5.5, 14.025e6, 0.9, "JA1ZZZ", 20.0))
    strong = forecaster.answer({**query, "heard": "1"}, NOW)
    assert strong["learnt"]["stations"] == 2
    assert strong["learnt"]["level_db"] > 0.0
    assert [h["probability_before"] for h in strong["hours"]] == [h["probability"] for h in plain["hours"]]
    assert sum(h["probability"] for h in strong["hours"]) > sum(h["probability"] for h in plain["hours"])


class HearsTheDx:
    """An engine that hears one over of the DX and nothing else."""

    def __init__(self) -> None:
        self.done = False

    def feed(self, event: Event) -> list[Event]:
        first, self.done = not self.done, True
        return [Over(1, 0.0, 4.0, 14.023e6, snr_db=25.0)] if first else []


def test_the_live_session_tells_what_the_engine_hears() -> None:
    forecaster = Forecaster(Station(locator="JO50"))
    session = LiveSession(stream(0.0, 1.0), HearsTheDx(), VIEW, paced=False, forecaster=forecaster)
    session.start()
    assert session.join(30.0)
    assert forecaster.answer({"to": "FN31", "heard": "1"})["learnt"]["stations"] == 1


def test_without_a_place_of_ones_own_it_says_so() -> None:
    with pytest.raises(HearmarkError, match="your own place"):
        Forecaster().answer({"to": "FN31"}, NOW)


def test_the_antenna_of_the_set_up_is_the_default_of_the_page() -> None:
    given = settings_from({"antenna": [{"name": "low wire", "height_m": 4.0}]})
    forecaster = Forecaster(Station(locator="JO50"), station_antenna(given))
    assert forecaster.answer({"to": "FN31"}, NOW)["own"]["antenna"] == "low wire, 2.15 dBi, 4 m up"
    named = forecaster.answer({"to": "FN31", "antenna": "usual"}, NOW)
    assert named["own"]["antenna"] == "vertical or dipole 10 m up"
    unsaid = Forecaster(Station(locator="JO50"), station_antenna(settings_from({})))
    assert unsaid.answer({"to": "FN31"}, NOW)["own"]["antenna"] == "vertical or dipole 10 m up"
