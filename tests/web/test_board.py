"""The page of whom to chase: pasted spots, a node, the ranked list, and who may put anything into it."""

import http.client
import json
import socket
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from conftest import until

from hearmark.chase.node import Node
from hearmark.chase.watch import Operation
from hearmark.log.store import Store
from hearmark.settings import settings_from
from hearmark.web.board import Board
from hearmark.web.logbook import Entry, Logbook
from hearmark.web.server import LARGEST_PASTE, Server

NOW = datetime(2026, 3, 21, 18, 30, tzinfo=UTC)
SPOTS = "DX de N0AA: 18143.5 VP8AA up 5-10 1828Z\nnonsense\nDX de N0AB: 14025.0 3Y0J up 2 1820Z\nDX de broken\n"


def test_pasted_spots_are_ranked_and_old_ones_forgotten() -> None:
    board = Board()
    assert board.paste(SPOTS, NOW) == {"spots": 2, "lines_not_read": [4]}
    assert [row["call"] for row in board.rows(NOW)["rows"]] == ["VP8AA", "3Y0J"]
    assert board.rows(NOW + timedelta(hours=3))["rows"] == []


def test_contact_of_this_session_is_a_duplicate_at_once(tmp_path: Path) -> None:
    with Store(tmp_path / "log.db", backup=False) as store:
        logbook = Logbook(store, settings_from({}), call="VP8AA")
        board = Board(logbook=logbook)
        board.paste(SPOTS, NOW)
        assert not board.rows(NOW)["rows"][0]["duplicate"]
        logbook.log(Entry(), 18_143_500.0, 18_148_500.0, "usb", 1.0)
        rows = {row["call"]: row for row in board.rows(NOW)["rows"]}
        assert rows["VP8AA"]["duplicate"]
        assert rows["VP8AA"]["score"] < rows["3Y0J"]["score"]


def test_node_feeds_the_list() -> None:
    listener = socket.create_server(("127.0.0.1", 0))

    def serve() -> None:
        link, _ = listener.accept()
        with link:
            link.sendall(f"DX de N0AA: 18143.5 VP8AA up {datetime.now(UTC):%H%M}Z\r\n".encode())
            time.sleep(0.5)

    threading.Thread(target=serve, daemon=True).start()
    board = Board(node=Node(f"127.0.0.1:{listener.getsockname()[1]}"))
    end = time.monotonic() + 10
    while not board.rows()["rows"] and time.monotonic() < end:
        time.sleep(0.02)
    answer = board.rows()
    assert [row["call"] for row in answer["rows"]] == ["VP8AA"]
    assert answer["node"]["spots"] == 1
    board.stop()
    listener.close()


def post(server: Server, body: bytes, origin: str | None) -> tuple[int, dict[str, Any]]:
    link = http.client.HTTPConnection("127.0.0.1", server.port, timeout=10)
    link.request("POST", "/chase/paste", body, {} if origin is None else {"Origin": origin})
    reply = link.getresponse()
    found = reply.status, json.loads(reply.read())
    link.close()
    return found


def test_only_pages_of_this_server_may_put_spots_in(serve: Callable[..., Server]) -> None:
    server = serve()
    own = f"http://127.0.0.1:{server.port}"
    assert post(server, SPOTS.encode(), own) == (200, {"spots": 2, "lines_not_read": [4]})
    for other in (None, "http://example.org", "null"):
        assert post(server, SPOTS.encode(), other)[0] == 403
    assert post(server, b"x" * (LARGEST_PASTE + 1), own)[0] == 413
    assert post(server, b"\xff\x00\n" * 50, own)[0] == 200


def test_page_takes_pasted_spots_and_shows_why(serve: Callable[..., Server], new_page: Callable[..., Any]) -> None:
    server = serve()
    page = new_page(server.url)
    assert page.evaluate("document.querySelector('#views a[target=hearmark-chase]').href").endswith("/chase")
    page.goto(server.url + "chase")
    until(page, "document.getElementById('state').textContent.includes('everything is needed')")
    page.fill("#lines", "18143.5 VP8AA up 5-10\nDX de broken\n14025 3Y0J <b>up</b> 2")
    page.click("#paste button")
    until(page, "document.querySelectorAll('#rows tbody tr').length === 2")
    text = page.evaluate("document.getElementById('rows').innerText")
    assert "Falkland Is. never worked" in text
    assert "listens 18148.5 to 18153.5" in text
    assert page.evaluate("document.getElementById('lines').value") == "DX de broken", "to be mended"


def test_announced_operations_are_shown_band_by_band() -> None:
    operations = (Operation("VP8AA", bands=("20m", "17m")), Operation("3Y0J", until=NOW.date() - timedelta(days=3)))
    told = Board(operations=operations).today(NOW)
    assert told["announced"] == 2
    assert {(one["call"], one["band"], one["level"]) for one in told["chances"]} == {
        ("VP8AA", "20m", "new"), ("VP8AA", "17m", "new"),
    }  # fmt: skip
    assert Board().today(NOW) == {"announced": 0, "chances": []}


def test_page_says_when_nothing_is_announced(serve: Callable[..., Server], new_page: Callable[..., Any]) -> None:
    server = serve()
    page = new_page(server.url)
    page.goto(server.url + "chase")
    until(page, "document.getElementById('today-none').textContent.startsWith('Nothing is announced here')")
    assert not page.is_visible("#today")
