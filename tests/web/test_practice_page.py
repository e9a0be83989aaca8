"""Practice in a real browser: a whole lesson by keyboard, that everyone can use it, and that nothing jumps.

With HEARMARK_PICTURES=1 the picture of docs/practice.md is made anew.
"""

import os
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from conftest import reads, small, until

from hearmark.practice.lesson import lesson_from, levels
from hearmark.practice.room import Room
from hearmark.practice.served import PracticeServer

Open = Callable[..., Any]
ROOT = Path(__file__).parents[2]
AXE = ROOT / "node_modules/axe-core/axe.min.js"
MODEL = "globalThis.hearmark.model"
LESSON = f"{MODEL}.lesson"
SMALL = lesson_from(
    {
        "title": "One who calls beside you", "text": "Listen to him.\n\nThen call once, and listen.", "window": "up 1",
        "callers": 1, "sloppiness": 0.0, "channel": "flat", "own_snr_db": 30, "callers_snr_db": 5, "says": "figure",
        "aids": ["words"], "minutes": 4, "seed": 2,
    },
    "small.toml",
)  # fmt: skip


@pytest.fixture
def serve_room() -> Iterator[Callable[..., PracticeServer]]:
    running: list[PracticeServer] = []

    def start(lessons: Any = None) -> PracticeServer:
        server = PracticeServer(Room(lessons or levels(), "Q9TST"), port=0)
        server.start()
        running.append(server)
        return server

    yield start
    for server in running:
        server.stop()


def settle(page: Any) -> None:
    page.evaluate("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")


def begin(page: Any) -> None:
    """The lesson that is offered first, by keyboard."""
    until(page, "document.activeElement.name === 'level'")
    page.keyboard.press("Enter")
    until(page, "document.body.dataset.stage === 'lesson'")


def wait(come: Callable[[], bool], page: Any, limit_s: float = 90.0) -> None:
    end = time.monotonic() + limit_s
    while not come():
        assert time.monotonic() < end, f"This did not come in {limit_s:g} s."
        page.wait_for_timeout(20)


def test_a_whole_lesson_by_keyboard_to_a_logged_contact(serve_room: Any, new_page: Open) -> None:
    server = serve_room({"small": SMALL})
    room = server.session
    page = new_page(server.url)
    assert page.url.endswith("/practice")
    begin(page)
    practice = room.practice
    page.keyboard.press("x")
    until(page, f"{LESSON}.radio.split")
    page.keyboard.press("t")
    page.keyboard.type("+0,9")
    page.keyboard.press("Enter")
    for _ in range(5):
        page.keyboard.press("ArrowRight")
    until(page, f"{LESSON}.radio.transmit_hz === {practice.scenario.dx_hz + 1000}")
    until(page, "globalThis.hearmark.sound.report?.played > 0")

    def his_turn_is_over() -> bool:
        last = practice.overs[-1] if practice.overs else None
        return last is not None and room._heard_s > last.stop_s + 0.3

    def may_call() -> bool:
        return his_turn_is_over() and practice.overs[-1].role in ("cq", "confirm")

    def mine() -> bool:
        return bool(practice.overs) and practice.overs[-1].to_us and practice.overs[-1].role in ("answer", "again")

    while practice.state == "running":
        wait(lambda: may_call() or mine(), page)
        if not mine():
            page.keyboard.press(" ")
            until(page, f"{LESSON}.sending?.what === 'call'", 3.0)
            assert "SENDING" in page.inner_text("#key").upper()
            reads(page, "#key-text", "Q9TST")
            called_s = practice.now_s
            wait(lambda s=called_s: mine() or practice.overs[-1].start_s > s, page)  # type: ignore[misc]
        if mine():
            wait(his_turn_is_over, page)
            page.keyboard.press("Enter")
            told = practice.now_s
            wait(lambda s=told: practice.overs[-1].start_s > s, page)  # type: ignore[misc]
    assert practice.state == "worked"
    until(page, "document.activeElement.id === 'log-call'")
    page.keyboard.type(practice.dx_call.lower())
    page.keyboard.press("Enter")
    until(page, f"{MODEL}.stage === 'over'")
    settle(page)
    shown = page.inner_text("#sheet")
    assert "Contact after" in shown
    assert f"{practice.dx_call}, copied right" in shown
    assert "No faults." in shown
    until(page, f"typeof {LESSON}.sheet.others.tail_ender_s === 'number'")
    until(page, f"{LESSON}.sheet.others.program_s !== 'pending'", 60.0)
    assert page.evaluate("globalThis.hearmark.sound.report.played") > 12_000
    page.keyboard.press("l")
    until(page, "document.body.dataset.stage === 'choose'")
    assert page.evaluate("document.activeElement.name") == "level"


def test_a_fault_is_named_on_the_page(serve_room: Any, new_page: Open) -> None:
    page = new_page(serve_room().url)
    begin(page)
    page.keyboard.press(" ")
    until(page, "document.getElementById('fault').classList.contains('shown')")
    settle(page)
    reads(page, "#faults", "Split was off")
    reads(page, "#faults", "You called on his frequency")
    assert page.inner_text("#fault") == page.evaluate(f"{LESSON}.faults.at(-1).say")
    assert f"{page.evaluate(f'{LESSON}.fault_count')} faults" in page.inner_text("#tally")
    page.keyboard.press("Escape")
    until(page, f"{MODEL}.stage === 'over'")
    settle(page)
    reads(page, "#sheet-faults", "called on his frequency")
    page.keyboard.press("r")
    until(page, f"{MODEL}.stage === 'lesson' && {LESSON}.fault_count === 0")


PLACES = """() => "text faults canvas hear-figure send-figure split key words controls".split(" ").map((id) => {
  const box = document.getElementById(id).getBoundingClientRect(); return [id, box.left, box.top, box.height]; })"""


def test_nothing_jumps_overflows_or_hides(serve_room: Any, new_page: Open) -> None:
    page = new_page(serve_room().url)
    begin(page)
    settle(page)
    before = page.evaluate(PLACES)
    page.keyboard.press("x")
    page.keyboard.press("k")
    page.keyboard.press("t")
    page.keyboard.type("+5")
    page.keyboard.press("Enter")
    page.keyboard.press("Shift+.")
    page.keyboard.press(" ")
    until(page, f"{LESSON}.fault_count > 0 && {LESSON}.radio.transmit_hz === {LESSON}.dx_hz + 5000")
    state = "state: 'worked', words: 'A LONG OVER ' + 'TU UP 5 '.repeat(40)"
    page.evaluate(f"{MODEL}.lesson = {{...{LESSON}, {state}}}; {MODEL}.changed()")
    settle(page)
    assert page.evaluate(PLACES) == before
    for size in ((1280, 720), (1024, 768)):
        page.set_viewport_size({"width": size[0], "height": size[1]})
        settle(page)
        assert page.evaluate("document.documentElement.scrollHeight <= innerHeight")
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        outside = page.evaluate(
            """() => [...document.querySelectorAll("#controls button, #switches li, .figure, header p")].filter((one) =>
              one.offsetParent
              && (one.getBoundingClientRect().right > innerWidth || one.scrollWidth > one.clientWidth + 1))
              .map((one) => one.textContent)"""
        )
        assert outside == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious(serve_room: Any, new_page: Open, scheme: str) -> None:
    if not AXE.exists():
        pytest.skip("axe-core is not installed (npm install)")
    page = new_page(serve_room().url, color_scheme=scheme)
    page.evaluate(AXE.read_text(encoding="utf-8"))

    def serious(where: str) -> list[Any]:
        run = "async (where) => (await axe.run(where)).violations.map((v) => [v.impact, v.id, v.nodes[0].html])"
        return [v for v in page.evaluate(run, where) if v[0] in ("serious", "critical")]

    settle(page)
    assert serious("html") == []
    begin(page)
    page.keyboard.press(" ")
    until(page, f"{LESSON}.fault_count > 0")
    settle(page)
    assert serious("html") == []
    page.keyboard.press("?")
    assert serious("#help") == []
    page.keyboard.press("Escape")
    until(page, "!document.getElementById('help').open")
    page.keyboard.press("Escape")
    until(page, f"{MODEL}.stage === 'over'")
    settle(page)
    assert serious("html") == []


def test_a_key_counts_in_the_frame_in_which_a_sheet_closes(serve_room: Any, new_page: Open) -> None:
    page = new_page(serve_room().url)
    begin(page)
    page.keyboard.press("?")
    until(page, "document.getElementById('help').open")
    was_on = page.evaluate(
        "(() => { const box = document.getElementById('keys-on'); box.focus(); document.getElementById('help').close();"
        " const still = document.activeElement; box.dispatchEvent(new KeyboardEvent('keydown', {key: 'Escape', bubbles:"
        " true})); return still.id; })()"
    )
    assert was_on == "keys-on", "the focus leaves a closed sheet at once: then this test shows nothing"
    until(page, f"{MODEL}.stage === 'over'")


def test_a_finger_can_turn_both_dials_and_send(serve_room: Any, new_page: Open) -> None:
    page = new_page(serve_room().url, has_touch=True)
    page.tap("input[value='one-call']")
    page.tap("#begin")
    until(page, "document.body.dataset.stage === 'lesson'")
    for dial, name, moved in (("receive", "dial_hz", -20), ("transmit", "other_hz", 200)):
        page.tap(f".turn[data-dial='{dial}'] button:nth-child({2 if moved < 0 else 4})")
        until(page, f"{LESSON}.radio.{name} === {LESSON}.dx_hz + {moved}")
    page.tap("button[data-key='x']")
    page.tap("button[data-key=' ']")
    until(page, f"{LESSON}.radio.split && {LESSON}.calls === 1")
    assert page.evaluate("document.activeElement === document.body")


def test_help_sheet_names_every_key(serve_room: Any, new_page: Open) -> None:
    page = new_page(serve_room().url)
    begin(page)
    page.keyboard.press("?")
    until(page, "document.getElementById('help').open")
    shown = page.inner_text("#help-keys").split()
    assert set(page.evaluate("globalThis.hearmark.commands.map((c) => c.shown)")) <= set(shown)
    page.keyboard.press(" ")
    page.keyboard.press("Escape")
    assert page.evaluate(f"{LESSON}.calls") == 0


def test_picture_for_the_docs(serve_room: Any, new_page: Open, tmp_path: Path) -> None:
    """What a lesson looks like with all aids shown, half a minute in."""
    page = new_page(serve_room().url, color_scheme="light")
    page.click("input[value='one-call']")
    page.click("#begin")
    until(page, "document.body.dataset.stage === 'lesson'")
    page.keyboard.press("x")
    page.keyboard.press("t")
    page.keyboard.type("+1.2")
    page.keyboard.press("Enter")
    until(page, f"{MODEL}.lastMark() !== null", 60.0)
    page.wait_for_timeout(1500)
    path = (ROOT / "docs" if os.environ.get("HEARMARK_PICTURES") else tmp_path) / "practice.png"
    page.screenshot(path=str(path))
    assert path.stat().st_size > 20_000
    if os.environ.get("HEARMARK_PICTURES"):
        small(path)
