"""Nothing on the page lies over another thing: notices and warnings, figures of the axis, buttons and sheets."""

from collections.abc import Callable
from typing import Any

import pytest
from conftest import hold, until
from script import DX_HZ

from hearmark.web.server import Server

MIDDLE_S = 20 * 12 + 8.7
MODEL = "globalThis.hearmark.model"
SIZES = [(1280, 800), (1920, 1080), (1024, 768)]


@pytest.fixture
def page(serve: Callable[..., Server], new_page: Callable[..., Any]) -> Any:
    page = new_page(serve(start_s=MIDDLE_S).url)
    until(page, f"{MODEL}.advice?.cue === 'move'")
    hold(page)
    return page


@pytest.mark.parametrize("size", SIZES)
def test_a_notice_of_two_lines_lies_over_no_warning(page: Any, size: tuple[int, int]) -> None:
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.evaluate("globalThis.hearmark.controls.notify('Not moved: ' + 'so it is, '.repeat(14) + 'and Enter moves.')")
    box = "document.getElementById('%s').getBoundingClientRect().%s"
    assert page.evaluate(box % ("notice", "bottom")) <= page.evaluate(box % ("warning", "top"))


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("from_hz", [990, 12_990])
def test_the_unit_of_the_axis_stands_beside_its_first_figure(page: Any, size: tuple[int, int], from_hz: int) -> None:
    page.set_viewport_size({"width": size[0], "height": size[1]})
    drawn = page.evaluate(
        f"""() => {{ const model = {MODEL}, {{ context, scales }} = globalThis.hearmark.field, drawn = [];
        const draw = context.fillText.bind(context);
        context.fillText = (text, x, y) => {{ const wide = context.measureText(text).width;
          const left = {{ left: 0, center: wide / 2, right: wide }}[context.textAlign];
          drawn.push([text, x - left, x - left + wide, y]); draw(text, x, y); }};
        model.range = {{ low_hz: {DX_HZ + from_hz}, high_hz: {DX_HZ + from_hz + 2000} }};
        model.changed();
        return new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done(drawn)))); }}"""
    )
    unit = next(item for item in drawn if item[0] == "kHz")
    figures = [item for item in drawn if item[0] != "kHz" and item[3] == unit[3]]  # it may be drawn twice
    assert figures, "no figure beside it"
    assert all(left > unit[2] + 2 or right < unit[1] for _, left, right, _ in figures)


@pytest.mark.parametrize("size", SIZES)
def test_a_sheet_cuts_no_button_in_two(page: Any, size: tuple[int, int]) -> None:
    page.set_viewport_size({"width": size[0], "height": size[1]})
    cut = """(id) => { const edge = document.getElementById(id).getBoundingClientRect().left;
      return [...document.querySelectorAll("#controls button")].filter((one) => {
        const box = one.getBoundingClientRect();
        return box.left < edge && box.right > edge && getComputedStyle(one).opacity !== "0"; })
        .map((one) => one.textContent); }"""
    gone = "[...document.querySelectorAll('#controls button')].some((one) => getComputedStyle(one).opacity === '0')"
    for sheet in ("help", "say", "contact"):
        page.evaluate(f"document.getElementById('{sheet}').show()")
        assert page.evaluate(cut, sheet) == [], sheet
        page.keyboard.press("Escape")
        until(page, f"!document.getElementById('{sheet}').open")
        assert not page.evaluate(gone), "all are back"


def test_a_place_given_up_leaves_no_word_of_enter(page: Any) -> None:
    page.keyboard.press("n")
    page.keyboard.type("-9")
    page.keyboard.press("Enter")
    notice = "document.getElementById('notice')"
    until(page, f"{notice}.classList.contains('shown')")
    page.keyboard.press("Escape")
    assert not page.evaluate(f"{notice}.classList.contains('shown')"), "Enter would go where advised now"
