"""The cue: what it says while paused, to a screen reader, and of places."""

from collections.abc import Callable
from typing import Any

import pytest
from conftest import until

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
    assert page.inner_text("#cue-live") == "paused. Paused: nothing new is heard. P goes on."
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
