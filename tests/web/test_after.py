"""The view After: honest when empty, right when full, and readable by everyone."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx
import pytest
from conftest import AXE, no_serious_fault, reads, until
from script import VIEW, ScriptedEngine, script, stream

from hearmark.log.sessions import keep_session
from hearmark.log.store import Store
from hearmark.session import SessionRecord
from hearmark.settings import settings_from
from hearmark.web.after import After, routes
from hearmark.web.live import LiveSession
from hearmark.web.logbook import Entry, Logbook
from hearmark.web.server import Server

SETTINGS = settings_from({"station": {"call": "N0ZZ", "locator": "EN34", "power_w": 50.0}})
EDGES = (VIEW.window_low_hz, VIEW.window_high_hz)
BEGUN = datetime.now(UTC)


def record(turns: int) -> SessionRecord:
    made = SessionRecord(VIEW.dx_hz, VIEW.mode, EDGES)
    for _, event in script(turns):
        made.feed(event)
    return made


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Logbook]:
    with Store(tmp_path / "log.db", backup=False) as store:
        yield Logbook(store, SETTINGS, call="VP8AAA")


@pytest.fixture
def serve_after() -> Iterator[Any]:
    running: list[Server] = []

    def start(after: After) -> Server:
        server = Server(LiveSession(stream(), ScriptedEngine(), VIEW), port=0, more=routes(after))
        server.start()
        running.append(server)
        return server

    yield start
    for server in running:
        server.stop()


def opened(server: Server, chromium: Any, **options: Any) -> Any:
    page = chromium.new_context(viewport={"width": 1280, "height": 720}, **options).new_page()
    page.set_default_timeout(15_000)
    page.goto(server.url + "after")
    until(page, "document.body.dataset.shown !== undefined")
    return page


def test_an_empty_session_says_that_it_is_empty(serve_after: Any, chromium: Any) -> None:
    page = opened(serve_after(After(SessionRecord(VIEW.dx_hz, VIEW.mode, EDGES))), chromium)
    shown = page.inner_text("main")
    assert "0 turns, 0 marks" in shown
    assert "nothing to measure the advice by" in shown
    assert "No answer was marked." in shown
    assert "No log is open" in shown
    assert page.evaluate("[...document.querySelectorAll('table')].every((table) => !table.offsetParent)")
    page.context.close()


def test_a_session_is_shown_with_what_was_told_and_how_it_held(serve_after: Any, chromium: Any, book: Logbook) -> None:
    made = record(12)
    book.log(Entry(call="VP8AAA", sent="59", received="57"), VIEW.dx_hz, VIEW.dx_hz + 6800, "usb", 130.0)
    after = After(made, book, BEGUN)
    facts = after.answer({})
    page = opened(serve_after(after), chromium)
    rows = page.evaluate(
        "[...document.querySelectorAll('#answers tbody tr')].map((r) => [...r.cells].map((c) => c.textContent))"
    )
    marks = facts["facts"]["answers"]
    assert [row[1].split(",")[0] for row in rows] == [mark["call"] for mark in marks]
    assert [float(row[2]) for row in rows] == [
        pytest.approx((mark["frequency_hz"] - VIEW.dx_hz) / 1e3, abs=0.006) for mark in marks
    ]
    assert sum("taken back" in row[1] for row in rows) == 1
    assert any(row[6].startswith("listen: He has answered somebody") for row in rows)
    rules = page.evaluate(
        "[...document.querySelectorAll('#rules tbody tr')].map((r) => [...r.cells].map((c) => c.textContent))"
    )
    told = {row[0]: (int(row[1]), int(row[2])) for row in rules}
    advised = facts["lessons"]["rules"]["advised"]
    assert told["where advised"] == (advised["within_reach"], advised["answers"])
    assert page.evaluate("document.querySelectorAll('#way .mark').length") == sum(
        m["retracted_at_s"] is None for m in marks
    )
    assert page.evaluate("document.querySelectorAll('#way .back').length") == 1
    contact = page.inner_text("#contacts tbody tr.now")
    assert "VP8AAA" in contact
    assert "Falkland" in contact
    assert "18\u2009150.30" in contact
    assert "59 / 57" in contact
    number = contact.split()[0]
    assert f"hearmark log remove {number} --store" in page.inner_text("#log-back")
    page.context.close()


def test_an_earlier_session_is_chosen_by_keyboard(serve_after: Any, chromium: Any, book: Logbook) -> None:
    keep_session(book.store, "2026-03-21 18:30 T0ST", 1_774_117_800, record(5).facts("T0ST"))
    page = opened(serve_after(After(record(12), book, BEGUN)), chromium)
    page.focus("#session")
    page.keyboard.press("ArrowDown")
    until(page, "document.body.dataset.shown === '1'")
    assert page.inner_text("#title") == "2026-03-21 18:30 T0ST"
    reads(page, "#words", "T0ST on 18143.50")
    page.context.close()


def test_a_session_that_is_not_there_is_one_sentence(serve_after: Any, book: Logbook) -> None:
    server = serve_after(After(record(2), book, BEGUN))
    for number in ("7", "1e9", "../x", "x" * 300):
        answer = httpx.get(server.url + "after/facts", params={"session": number})
        assert answer.status_code == 400
        assert "There is no session" in answer.json()["trouble"]


@pytest.mark.skipif(not AXE.is_file(), reason="axe-core is not installed (npm ci)")
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious(serve_after: Any, chromium: Any, book: Logbook, scheme: str) -> None:
    book.log(Entry(call="VP8AAA"), VIEW.dx_hz, VIEW.dx_hz + 6800, "usb", 130.0)
    page = opened(serve_after(After(record(12), book, BEGUN)), chromium, color_scheme=scheme)
    no_serious_fault(page)
    page.set_viewport_size({"width": 1024, "height": 768})
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.context.close()
