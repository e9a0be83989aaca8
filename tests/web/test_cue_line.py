"""The cue: what it says while paused, to a screen reader, and of places."""

from collections.abc import Callable
from typing import Any

import pytest
from conftest import hold, until
from script import DX_HZ

from hearmark.web.server import Server

MIDDLE_S = 20 * 12 + 8.7
"""Just after the twenty-first answer: the cue is to move."""
MODEL = "globalThis.hearmark.model"


@pytest.fixture
def page(serve: Callable[..., Server], new_page: Callable[..., Any]) -> Any:
    page = new_page(serve(start_s=MIDDLE_S).url)
    until(page, f"{MODEL}.advice?.cue === 'move'")
    return page


def advise(page: Any, **changed: Any) -> None:
    """Other advice, drawn: what the program says meanwhile is not taken."""
    page.evaluate(
        f"""(changed) => {{ {MODEL}.advice = {{...{MODEL}.advice, ...changed}}; {MODEL}.changed();
        return new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done))); }}""",
        changed,
    )


@pytest.mark.parametrize("width", [1280, 1024])
def test_while_paused_nothing_says_to_call(page: Any, width: int) -> None:
    page.set_viewport_size({"width": width, "height": 720})
    page.keyboard.press("p")
    until(page, f"{MODEL}.status.state === 'paused'")
    advise(page, cue="call", why="he listens; he steps up", success_per_call=0.31)
    assert page.inner_text("#cue-word").lower() == "paused"
    assert page.get_attribute("#cue", "data-cue") == "paused"
    assert page.inner_text("#cue-chance") == ""
    assert page.inner_text("#own-target") == ""
    assert "call" not in page.inner_text("#cue").lower()
    assert page.inner_text("#cue-live") == "paused. Nothing new is heard. P goes on."
    fill = "getComputedStyle(document.getElementById('%s')).backgroundColor"
    assert page.evaluate(fill % "cue") != page.evaluate("getComputedStyle(document.body).color")
    ends = page.evaluate(
        """() => { const r = document.createRange(); r.selectNodeContents(document.getElementById("cue-word"));
        return [r.getBoundingClientRect().right, document.getElementById("cue-why").getBoundingClientRect().left]; }"""
    )
    assert ends[0] <= ends[1]
    # On resume it is what it is then
    page.keyboard.press("p")
    until(page, "!['paused', 'none'].includes(document.getElementById('cue').dataset.cue)")
    assert not page.inner_text("#cue-live").startswith("paused")


def test_a_screen_reader_is_told_what_is_so_and_not_each_figure(page: Any) -> None:
    hold(page)
    own = page.evaluate(f"{MODEL}.transmitHz")
    said: list[str] = []

    def told(why: str, away_hz: float, **more: Any) -> str:
        advise(page, cue="move", why=why, transmit_hz=own + away_hz, **more)
        text = page.inner_text("#cue-live")
        if not said or said[-1] != text:
            said.append(text)
        return str(text)

    assert told("he listens: move up 1.20 kHz, then call; he steps up", 1200).endswith("then call; he steps up")
    assert "he is sending: move up" in told("he is sending: move up 1.20 kHz meanwhile; he steps up", 1200)
    assert "move down" in told("he is sending: move down 0.80 kHz meanwhile; he steps up", -800)
    assert "Better place +6.0" in said[-1]
    before = len(said)
    for away_hz, success in ((-790, 0.31), (-810, 0.32), (-850, 0.3)):
        told(f"he is sending: move down {-away_hz / 1000:.2f} kHz meanwhile", away_hz, success_per_call=success)
    assert len(said) == before, "every figure is told"
    assert "Better place +5.0" in told("he is sending: move down 1.80 kHz meanwhile", -1800)
    # Its figure follows a little later than where we stand
    page.evaluate(f"{MODEL}.transmitHz = {own + 1000}")
    told("he is sending: move down 1.80 kHz meanwhile", -1800)
    assert "2.80 kHz" in told("he is sending: move down 2.80 kHz meanwhile", -1800)
    # Our own place alone
    page.evaluate(f"{MODEL}.transmitHz = {own - 3000}")
    assert "move up" in told("he is sending: move up 1.20 kHz meanwhile", -1800)
    page.evaluate(f"{MODEL}.transmitHz = {own - 1800}")
    advise(page, cue="wait", why="he is sending")
    assert page.inner_text("#cue-live") == "wait. he is sending"


def test_a_chance_says_of_which_place_it_is(page: Any) -> None:
    hold(page)
    for size in ((1280, 720), (1024, 768)):
        page.set_viewport_size({"width": size[0], "height": size[1]})
        for cue in ("wait", "listen", "call"):
            advise(page, cue=cue, transmit_hz=DX_HZ + 5350, success_per_call=0.17)
            assert page.inner_text("#cue-chance") == "17 % of calls at +5.3 get through."
        page.evaluate(f"{MODEL}.mode = 'cw'")
        for success, said in ((0.004, "under 1 %"), (0.17, "17 % of calls")):
            advise(page, transmit_hz=DX_HZ + 15_350, success_per_call=success)
            assert page.inner_text("#cue-chance") == f"{said} at +15.35 get through."
            fits = "(({scrollWidth: a, clientWidth: b}) => a <= b)(document.getElementById('cue-chance'))"
            assert page.evaluate(fits), size
        page.evaluate(f"{MODEL}.mode = 'usb'")


@pytest.mark.parametrize(("mode", "same_hz", "other_hz"), [("cw", 90, 130), ("usb", 290, 330)])
def test_advice_for_where_we_stand_is_no_better_place(page: Any, mode: str, same_hz: int, other_hz: int) -> None:
    hold(page)
    own = page.evaluate(f"({MODEL}.mode = '{mode}', {MODEL}.transmitHz)")
    advise(page, cue="call", why="he listens", transmit_hz=own - same_hz)
    assert page.inner_text("#own-target") == ""
    assert "Better" not in page.inner_text("#cue-live")
    advise(page, cue="call", why="he listens", transmit_hz=own - other_hz)
    assert page.inner_text("#own-target").startswith("better +")
