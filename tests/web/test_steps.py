"""Steps of the arrow keys, quick too: not over the DX, not on from a refused place, not unasked out of his window."""

from collections.abc import Callable
from typing import Any

import pytest
from conftest import reads, until
from script import DX_HZ

from hearmark.radio.guard import BESIDE_HZ
from hearmark.radio.order import CLEAR_HZ
from hearmark.web.server import Server

MIDDLE_S = 20 * 12 + 8.7
MODEL = "globalThis.hearmark.model"
PRESS = """([key, shift, times, repeat]) => { for (let n = 0; n < times; n += 1) document.dispatchEvent(
  new KeyboardEvent('keydown', {key, shiftKey: shift, repeat, bubbles: true})); }"""


@pytest.fixture
def page(serve: Callable[..., Server], new_page: Callable[..., Any]) -> Any:
    return new_page(serve(start_s=MIDDLE_S).url)


def press(page: Any, key: str, times: int = 1, *, shift: bool = True, repeat: bool = False) -> None:
    """So quickly that the program has not answered in between."""
    page.evaluate(PRESS, [key, shift, times, repeat])


def stands(page: Any, offset_hz: float) -> None:
    until(page, f"{MODEL}.transmitHz === {DX_HZ + offset_hz}")


def test_quick_steps_stop_at_the_edge_of_his_window_and_beside_the_dx(page: Any) -> None:
    press(page, "ArrowLeft", 2)
    stands(page, 5000)
    reads(page, "#notice", "Here ends where he listens (+5.0 to +10.0 kHz)")
    press(page, "ArrowLeft", 3, repeat=True)
    page.wait_for_timeout(300)
    stands(page, 5000)
    press(page, "ArrowLeft", 20)
    stands(page, 2700)
    reads(page, "#notice", "would cover him")
    press(page, "ArrowLeft", 20, shift=False)
    page.wait_for_timeout(300)
    stands(page, 2700)
    # Back into it and out at the other edge, by a press of its own
    press(page, "ArrowRight", 6)
    stands(page, 8700)
    press(page, "ArrowRight", 2)
    stands(page, 10_000)
    press(page, "ArrowRight", shift=False)
    stands(page, 10_100)


def test_steps_below_the_dx_stop_there_as_well(page: Any) -> None:
    page.evaluate(f"globalThis.hearmark.link.ask({{verb: 'transmit', frequency_hz: {DX_HZ - 5000}}})")
    stands(page, -5000)
    press(page, "ArrowRight", 12)
    stands(page, -2700)
    press(page, "ArrowRight", 12)
    page.wait_for_timeout(300)
    stands(page, -2700)


def test_what_the_licence_refuses_is_no_base_for_the_next_step(page: Any) -> None:
    allowed = f"{{known: true, why: '', intervals_hz: [[{DX_HZ}, {DX_HZ + 7000}], [{DX_HZ + 9000}, {DX_HZ + 9900}]]}}"
    page.evaluate(f"{MODEL}.allowed = {allowed}")
    asked = page.evaluate(
        f"""() => {{ const {{ link, controls }} = globalThis.hearmark, asked = [];
        link.ask = (action) => asked.push(action.frequency_hz - {DX_HZ});
        for (let n = 0; n < 4; n += 1) controls.send(1000);
        return asked; }}"""
    )
    assert asked == [7800] * 4, "never over the gap to where it would be taken"


def test_the_page_and_the_program_keep_the_same_distances(page: Any) -> None:
    found = page.evaluate(
        """async () => { const { clearHz, nearHz } = await import("/static/places.js");
        return ["cw", "usb"].map((mode) => [clearHz({mode}), nearHz({mode})]); }"""
    )
    assert found == [[CLEAR_HZ[kind], BESIDE_HZ[kind]] for kind in ("cw", "voice")]


def test_a_move_that_was_made_leaves_no_refusal_standing(page: Any) -> None:
    notice = "document.getElementById('notice')"
    page.keyboard.press("n")
    page.keyboard.type("-9")
    page.keyboard.press("Enter")
    until(page, f"{notice}.classList.contains('shown') && {notice}.textContent.includes('Enter once more')")
    page.keyboard.press("Enter")
    stands(page, -9000)
    until(page, f"!{notice}.classList.contains('shown')", 2.0)
    # What is said with the move itself stays
    page.evaluate(f"globalThis.hearmark.link.ask({{verb: 'transmit', frequency_hz: {DX_HZ + 5500}}})")
    stands(page, 5500)
    press(page, "ArrowLeft")
    stands(page, 5000)
    page.wait_for_timeout(300)
    assert page.evaluate(f"{notice}.classList.contains('shown')")
    assert "Here ends" in page.inner_text("#notice")
