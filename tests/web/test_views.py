"""Every view full of data, as the docs show it: light, dark, on a tablet; nothing overflows, axe finds nothing.

With HEARMARK_PICTURES=1 the pictures of the docs are made anew; HEARMARK_LOOK=FOLDER keeps them all.
"""

import os
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from conftest import AXE, hold, no_serious_fault, small, until
from script import DX_HZ, VIEW, ScriptedEngine, script, stream

from hearmark.commands.chase import open_board
from hearmark.duplex.privileges import allowed, table
from hearmark.events import Allowed, Plan
from hearmark.log.store import Store
from hearmark.practice.lesson import levels
from hearmark.practice.room import Room
from hearmark.practice.served import routes as practice_routes
from hearmark.radio.port import Dials
from hearmark.radio.simulated import SimulatedRadio
from hearmark.session import SessionRecord
from hearmark.settings import settings_from
from hearmark.web import after, setup
from hearmark.web.forecast import Forecaster
from hearmark.web.live import LiveSession
from hearmark.web.logbook import Entry, Logbook
from hearmark.web.rig import Rig
from hearmark.web.server import Server

ROOT = Path(__file__).parents[2]
MODEL = "globalThis.hearmark.model"
MIDDLE_S = 20 * 12 + 8.7
PLAN = Plan(VIEW.dx_hz, VIEW.window_low_hz, VIEW.window_high_hz, "usb")
STATION = {"call": "N0QSX", "locator": "EN34lj", "licence": "us-extra"}
SETTINGS = settings_from({"station": STATION})
WATCH = "call,since,until,bands,modes\nVK9QTH,2026-01-01,,40m 20m 15m,CW\nZS8QRV,,,20m 17m,\n"
SIZES = {"desk": (1280, 720), "tablet": (1024, 768)}
SPOTS = """DX de N0AA: 18143.5 VP8QRX up 5-10
DX de N0AB: 14025.0 3Y0QSX up 2
DX de N0AC: 21295.0 ZS8QRV up 5
DX de N0AD: 7008.0 VK9QTH up 1
DX de N0AE: 28490.0 W1QST
DX de N0AF: 10112.0 ZL9QSX up 1-3"""


def may(plan: Plan) -> Allowed:
    return allowed(table("us-extra"), plan.mode, plan.listen_low_hz)


def close(board: Any, room: Room) -> None:
    board.stop()
    room.stop()


@pytest.fixture(scope="module")
def views(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """Everything that `hearmark listen` serves, around the scripted pile-up."""
    folder = tmp_path_factory.mktemp("views")
    record = SessionRecord(VIEW.dx_hz, VIEW.mode, (VIEW.window_low_hz, VIEW.window_high_hz))
    for _, event in script(20):
        record.feed(event)
    radio = SimulatedRadio(Dials(DX_HZ, DX_HZ + 6800, True, "usb", "usb"))
    with Store(folder / "my.db", backup=False) as store:
        begun = datetime.now(UTC)
        book = Logbook(store, SETTINGS, call="VP8QRX")
        for call, hz in (("ZS8QRV", 21_295e3), ("3Y0QSX", 10_105e3), ("VP8QRT", 24_945e3)):
            book.log(Entry(call=call, sent="59", received="59"), hz, hz + 3000, "usb", 60.0)
        book.name("VP8QRX")
        (folder / "watch.csv").write_text(WATCH, encoding="utf-8")
        board = open_board(settings_from({"station": STATION, "log": {"watch": str(folder / "watch.csv")}}), book)
        board.paste(SPOTS)
        room = Room(levels(), "N0QSX", alone=False)
        room.start()
        more = [
            *practice_routes(room),
            *setup.routes(
                setup.SetUp(
                    SETTINGS,
                    Path("~/.config/hearmark/settings.toml"),
                    find=lambda: ["127.0.0.1:4532"],
                    hear=lambda *_: "Heard now.",
                )
            ),
            *after.routes(after.After(record, book, begun)),
        ]
        session = LiveSession(
            stream(MIDDLE_S), ScriptedEngine(), VIEW, rig=Rig(lambda: radio, PLAN, may), logbook=book,
            forecaster=Forecaster(SETTINGS.station), board=board,
        )  # fmt: skip
        with Server(session, port=0, more=more) as server:
            yield server
        close(board, room)


def air(page: Any) -> None:
    until(page, f"globalThis.hearmark && {MODEL}.advice?.cue === 'move'")
    hold(page)
    until(page, f"{MODEL}.radio?.connected")


def chase(page: Any) -> None:
    until(page, "document.querySelectorAll('#rows tbody tr').length === 6", 60.0)
    until(page, "document.querySelectorAll('#today tbody tr').length === 5", 60.0)


def path(page: Any) -> None:
    page.fill("input[name=to]", "VP8QRX")
    page.keyboard.press("Enter")
    until(page, "document.body.dataset.shown !== undefined", 60.0)


def afterwards(page: Any) -> None:
    until(page, "document.body.dataset.shown === 'now'")


def practice(page: Any) -> None:
    until(page, "globalThis.hearmark?.model.link === 'open' && document.activeElement.name === 'level'")


def station(page: Any) -> None:
    until(page, "document.body.dataset.ready === 'true'")
    page.fill("[name='radio.address']", "simulated")
    page.click("#all")
    until(page, "document.querySelector('[data-part=receiver] .found').dataset.ok === 'true'")
    page.evaluate("scrollTo(0, 0)")


VIEWS = {
    "page": ("", air), "chase": ("chase", chase), "path": ("path", path), "after": ("after", afterwards),
    "practice-lessons": ("practice", practice), "setup": ("setup", station),
}  # fmt: skip


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("view", VIEWS)
def test_a_view_full_of_data(views: Server, chromium: Any, tmp_path: Path, view: str, scheme: str, size: str) -> None:
    where, ready = VIEWS[view]
    width, height = SIZES[size]
    context = chromium.new_context(viewport={"width": width, "height": height}, color_scheme=scheme)
    page = context.new_page()
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.set_default_timeout(30_000)
    page.goto(views.url + where)
    ready(page)
    page.wait_for_timeout(400)
    in_docs = size == "desk" and scheme == "light" and os.environ.get("HEARMARK_PICTURES")
    look = os.environ.get("HEARMARK_LOOK")
    kept = ROOT / "docs" / f"{view}.png" if in_docs else Path(look or tmp_path) / f"{view}-{scheme}-{size}.png"
    page.screenshot(path=str(kept))
    assert kept.stat().st_size > 20_000
    if in_docs:
        small(kept)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    if view in ("page", "practice-lessons"):
        assert page.evaluate("document.documentElement.scrollHeight <= innerHeight")
    hidden = page.evaluate(
        """() => [...document.querySelectorAll("button, nav a, #own *, #cue-chance, th, td, label, h1, h2, h3")]
          .filter((one) => one.offsetParent).filter((one) => {
            const box = one.getBoundingClientRect();
            const cut = one.matches("button, nav a") && one.scrollWidth > one.clientWidth + 1;
            return box.right > innerWidth + 1 || box.left < -1 || cut; })
          .map((one) => one.textContent)"""
    )
    assert hidden == []
    if size == "desk" and AXE.is_file():
        no_serious_fault(page)
    assert errors == []
    context.close()


def test_every_view_leads_to_every_other_by_keyboard(views: Server, chromium: Any) -> None:
    context = chromium.new_context(viewport={"width": 1280, "height": 720})
    for where, _ in VIEWS.values():
        page = context.new_page()
        page.goto(views.url + where)
        links = page.evaluate(
            "[...document.querySelectorAll('#views a')].map((a) => [a.getAttribute('href'), a.textContent])"
        )
        assert links == [["/chase", "Chase"], ["/path", "Path"], ["/", "On the air"], ["/after", "After"],
                         ["/practice", "Practice"], ["/setup", "Set-up"]]  # fmt: skip
        assert page.evaluate("document.querySelector('#views [aria-current]').getAttribute('href')") == f"/{where}"
        page.close()
    context.close()
