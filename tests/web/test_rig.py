"""The radio beside a session: from the page to the dials and back, with the guard in between."""

import asyncio
import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from conftest import hold, reads, until
from script import DX_HZ, VIEW, ScriptedEngine, stream

from hearmark.duplex.privileges import allowed, table
from hearmark.errors import HearmarkError
from hearmark.events import Advice, Allowed, Over, Plan, Warned
from hearmark.radio.port import Dials
from hearmark.radio.simulated import SimulatedRadio
from hearmark.web.actions import Action
from hearmark.web.fan import Tab
from hearmark.web.live import LiveSession
from hearmark.web.rig import Rig
from hearmark.web.server import Server

MODEL = "globalThis.hearmark.model"
PLAN = Plan(VIEW.dx_hz, VIEW.window_low_hz, VIEW.window_high_hz, "usb")


def may(plan: Plan) -> Allowed:
    return allowed(table("us-extra"), plan.mode, plan.listen_low_hz)


def fresh() -> tuple[SimulatedRadio, Rig]:
    radio = SimulatedRadio(Dials(DX_HZ, DX_HZ, False, "usb", "usb"))
    return radio, Rig(lambda: radio, PLAN, may)


def eventually(holds: Callable[[], object]) -> None:
    for _ in range(500):
        if holds():
            return
        time.sleep(0.01)
    pytest.fail("this did not come true in 5 s")


@pytest.fixture
def running() -> Iterator[tuple[SimulatedRadio, Rig]]:
    radio, rig = fresh()
    rig.start()
    yield radio, rig
    rig.stop()


def told() -> tuple[list[str], Callable[[bool, str], None]]:
    said: list[str] = []
    return said, lambda ok, why: said.append(f"{ok} {why}")


def test_set_goes_where_advised_if_that_is_lawful_and_else_to_the_middle(running: tuple[SimulatedRadio, Rig]) -> None:
    radio, rig = running
    said, back = told()
    rig.ask("set", None, back)
    eventually(lambda: said)
    assert radio.dials.transmit_hz == DX_HZ + 7_500.0
    rig.heard(Advice(1.0, "call", DX_HZ + 6_000.0, 0.5, ""))
    rig.ask("set", None, back)
    eventually(lambda: len(said) == 2)
    assert radio.dials.transmit_hz == DX_HZ + 6_000.0


def test_following_moves_transmit_only_when_switched_on(running: tuple[SimulatedRadio, Rig]) -> None:
    radio, rig = running
    with pytest.raises(HearmarkError, match="set it first, with T, then it can follow"):
        rig.following(True)
    said, back = told()
    rig.ask("set", None, back)
    eventually(lambda: said)
    rig.heard(Advice(1.0, "move", DX_HZ + 6_000.0, 0.5, ""))
    time.sleep(0.3)
    assert radio.dials.transmit_hz == DX_HZ + 7_500.0
    rig.following(True)
    eventually(lambda: radio.dials.transmit_hz == DX_HZ + 6_000.0)
    rig.heard(Advice(2.0, "move", DX_HZ + 8_000.0, 0.5, ""))
    eventually(lambda: radio.dials.transmit_hz == DX_HZ + 8_000.0)
    assert radio.dials.receive_hz == DX_HZ


def test_what_he_is_heard_to_say_is_offered_when_it_is_new() -> None:
    _, rig = fresh()
    rig.heard(Over(1, 0.0, 2.0, DX_HZ, text="QRZ UP"))
    rig.heard(Over(2, 0.0, 2.0, DX_HZ, text="TU UP 6"))
    assert rig.message()["offer"] is None
    rig.heard(Over(3, 0.0, 2.0, DX_HZ, text="TU UP 15"))
    assert rig.message()["offer"]["listen_low_hz"] == DX_HZ + 15_000.0
    assert rig.offered().listen_low_hz == DX_HZ + 15_000.0
    assert rig.keeper.plan == rig.plan
    with pytest.raises(HearmarkError, match="nothing new"):
        rig.offered()


def test_a_bare_up_is_nothing_new_in_a_window_above_him_however_narrow() -> None:
    _, rig = fresh()
    rig.say("up 6 to 7")
    rig.heard(Over(1, 0.0, 2.0, DX_HZ, text="CQ DE T92H UP"))
    assert rig.message()["offer"] is None
    rig.heard(Over(2, 0.0, 2.0, DX_HZ, text="CQ DE T92H DOWN"))
    assert rig.message()["offer"]["listen_high_hz"] < DX_HZ


def test_words_of_the_operator_change_plan_and_licence() -> None:
    _, rig = fresh()
    rig.say("down 5 to 10")
    assert (rig.plan.listen_low_hz, rig.plan.listen_high_hz) == (DX_HZ - 10_000.0, DX_HZ - 5_000.0)
    assert rig.message()["taken"] == "Taken as 18133.50 to 18138.50 kHz (100 %)."
    rig.say("listening for fours, up 3")
    assert rig.message()["taken"] == "Taken as 18146.50 kHz, for 4 (88 %); or 18146.50 to 18151.50."
    rig.say("down 5 no europe and asia")
    assert rig.message()["taken"] == "Taken as 18138.50 kHz, not for EU or AS (88 %); or 18133.50 to 18138.50."
    rig.say("simplex")
    assert rig.message()["taken"] == "Taken as simplex (100 %)."
    rig.say("up 30")
    with pytest.raises(HearmarkError, match="no part of the window may be used"):
        rig.ask("set", None, lambda ok, why: None)
    with pytest.raises(HearmarkError, match="does not say where he listens"):
        rig.say("hello")


@pytest.mark.parametrize(
    ("hz", "why"), [(7_100_000.0, "outside the band that he works on"), (18_200_000.0, "in no amateur band")]
)
def test_no_set_outside_the_band(hz: float, why: str) -> None:
    _, rig = fresh()
    with pytest.raises(HearmarkError, match=why):
        rig.ask("set", hz, lambda ok, why: None)


def test_a_session_tells_the_engine_what_is_allowed_and_what_the_radio_says() -> None:
    radio, rig = fresh()
    engine = ScriptedEngine()
    fed: list[Any] = []
    feed = engine.feed
    engine.feed = lambda event: (fed.append(event), feed(event))[1]  # type: ignore[method-assign,assignment]
    session = LiveSession(stream(0.0, 3.0), engine, VIEW, rig=rig)
    tab = Tab(asyncio.new_event_loop())
    session.start()
    eventually(lambda: any(isinstance(event, Warned) for event in fed))
    assert isinstance(fed[0], Allowed)
    session.ask(tab, Action("set"))
    eventually(lambda: radio.dials.split)
    session.ask(tab, Action("plan", text="5 to 8 up"))
    eventually(lambda: rig.plan.listen_high_hz == DX_HZ + 8_000.0)
    session.stop()


def test_without_a_radio_it_is_said() -> None:
    session = LiveSession(stream(0.0, 1.0), ScriptedEngine(), VIEW)
    with pytest.raises(HearmarkError, match="No radio is connected"):
        session._obey(None, Action("set"))


def test_page_sets_with_one_key_and_shows_guard_and_radio(new_page: Callable[..., Any]) -> None:
    radio, rig = fresh()
    with Server(LiveSession(stream(248.7), ScriptedEngine(), VIEW, rig=rig), port=0) as server:
        page = new_page(server.url)
        until(page, f"{MODEL}.radio?.warnings.length > 0")
        until(page, "document.getElementById('warning').classList.contains('shown')")
        reads(page, "#warning", "on top of him")
        reads(page, "#radio-text", "split off")
        page.keyboard.press("t")
        until(page, f"{MODEL}.radio.set && {MODEL}.radio.warnings.length === 0")
        until(page, "!document.getElementById('warning').classList.contains('shown')")
        assert radio.dials.split is True
        rings = page.evaluate("globalThis.hearmark.alarm.count")
        radio.by_hand(dial_hz=DX_HZ + 700.0)
        until(page, f"{MODEL}.radio.warnings.length === 1")
        until(page, f"globalThis.hearmark.alarm.count > {rings}")
        reads(page, "#warning", "Receive stands +0.70 kHz from the DX")
        page.keyboard.press("b")
        until(page, f"{MODEL}.radio.warnings.length === 0")
        assert radio.dials.receive_hz == DX_HZ
        page.keyboard.down("v")
        until(page, f"{MODEL}.radio.peek_hz !== null")
        page.keyboard.up("v")
        until(page, f"{MODEL}.radio.peek_hz === null && Math.abs({MODEL}.radio.receive_hz - {DX_HZ}) < 1")
        page.keyboard.press("w")
        page.keyboard.type("5 to 8 up")
        page.keyboard.press("Enter")
        until(page, f"{MODEL}.window.high_hz === {DX_HZ + 8000}")
        until(page, "document.getElementById('notice').innerText.startsWith('Taken as 18148.50 to 18151.50 kHz')")
        overflow = page.evaluate("document.documentElement.scrollWidth > innerWidth")
        assert not overflow
        radio.alive = False
        until(page, "document.getElementById('warning').innerText.includes('does not answer')")
        assert page.get_attribute("#radio", "data-sign") == "lost"


@pytest.mark.parametrize("size", [(1280, 800), (1920, 1080)])
def test_what_to_do_about_the_radio_stands_whole_and_names_the_key(
    new_page: Callable[..., Any], size: tuple[int, int]
) -> None:
    _, rig = fresh()
    with Server(LiveSession(stream(248.7), ScriptedEngine(), VIEW, rig=rig), port=0) as server:
        page = new_page(server.url)
        page.set_viewport_size({"width": size[0], "height": size[1]})
        until(page, f"{MODEL}.advice?.transmit_hz > 0")
        page.keyboard.press("Enter")
        until(page, "document.getElementById('notice').textContent.includes('set it first, with T')")
        page.keyboard.press("?")
        reads(page, "#help-radio", "first, then \u2190 \u2192 Enter N")
        page.keyboard.press("Escape")
        before = page.evaluate("document.getElementById('dx').getBoundingClientRect().top")
        page.evaluate(
            f"{MODEL}.radio = {{...{MODEL}.radio, hold: '', offer: {{"
            f" listen_low_hz: {DX_HZ + 1_000}, listen_high_hz: {DX_HZ + 3_500}, why: ''}}}}; {MODEL}.changed()"
        )
        reads(page, "#radio-hold", "he says +1.0 to +3.5: T sets it")
        # An ellipsis may stand although the rounded widths are equal
        room = """(() => { const e = document.getElementById("radio-hold"), r = document.createRange();
            r.selectNodeContents(e);
            const right = r.getBoundingClientRect().right;
            return [e, e.parentElement].map((b) => b.getBoundingClientRect().right - right); })()"""
        assert all(pixels > -0.01 for pixels in page.evaluate(room))
        text = "document.getElementById('radio-text')"
        assert page.evaluate(f"{text}.scrollWidth <= {text}.clientWidth"), "nor do the dials have to give way"
        assert page.evaluate("document.getElementById('dx').getBoundingClientRect().top") == before
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_no_call_is_shown_while_it_would_cover_the_dx(new_page: Callable[..., Any]) -> None:
    radio, rig = fresh()
    with Server(LiveSession(stream(250.2), ScriptedEngine(), VIEW, rig=rig), port=0) as server:
        page = new_page(server.url)
        until(page, f"{MODEL}.advice?.cue === 'call' && {MODEL}.radio?.warnings.length > 0")
        hold(page)
        until(page, "document.getElementById('cue').dataset.cue === 'wait'")
        reads(page, "#cue-why", "on top of him")
        page.keyboard.press("t")
        until(page, "document.getElementById('cue').dataset.cue === 'call'")
        assert radio.dials.split is True


def test_page_without_a_radio_has_no_radio_buttons(new_page: Callable[..., Any]) -> None:
    with Server(LiveSession(stream(248.7), ScriptedEngine(), VIEW), port=0) as server:
        page = new_page(server.url)
        until(page, f"{MODEL}.advice !== null")
        assert page.is_hidden("button[data-key='t']")
        assert page.is_hidden("#radio")
