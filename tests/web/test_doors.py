"""Every page, every answer and every socket behind the same door: Host, Origin, method, size, key, policy."""

import contextlib
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from script import VIEW, ScriptedEngine, stream
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import connect

from hearmark.practice.lesson import levels
from hearmark.practice.room import Room
from hearmark.practice.served import PracticeServer
from hearmark.practice.served import routes as practice_routes
from hearmark.session import SessionRecord
from hearmark.settings import Settings
from hearmark.web.after import After
from hearmark.web.after import routes as after_routes
from hearmark.web.door import LARGEST_BODY, VIEWS
from hearmark.web.live import LiveSession
from hearmark.web.server import LARGEST_REQUEST, Server
from hearmark.web.setup import SetUp
from hearmark.web.setup import routes as setup_routes

ASKED = ("/path/forecast?from=JO50&to=JO51", "/chase/list", "/chase/today", "/setup/form", "/after/facts")
POSTED = ("/chase/paste", "/setup/check", "/setup/find", "/setup/save")
SOCKETS = ("/link", "/practice/link")
FOREIGN = (
    "http://evil.example",
    "null",
    "https://127.0.0.1:{port}",
    "http://localhost:{port}",
    "http://127.0.0.1:1",
    "",
)


def whole(path: Path, room: Room, host: str = "127.0.0.1") -> Server:
    """A server with all that `hearmark listen` serves."""
    setup = SetUp(Settings(), path / "settings.toml", find=lambda: [])
    more = [*practice_routes(room), *setup_routes(setup), *after_routes(After(SessionRecord(VIEW.dx_hz, VIEW.mode)))]
    return Server(LiveSession(stream(), ScriptedEngine(), VIEW), host, 0, more)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("doors")


@pytest.fixture(scope="module")
def server(folder: Path) -> Iterator[Server]:
    room = Room(levels(), alone=False)
    room.start()
    with whole(folder, room) as running:
        yield running
    room.stop()


@pytest.fixture(scope="module")
def wide(folder: Path) -> Iterator[Server]:
    """A server that takes its address for one that others reach."""
    room = Room(levels(), alone=False)
    room.start()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("hearmark.web.server._is_loopback", lambda host: False)
        made = whole(folder, room)
    with made as running:
        yield running
    room.stop()


def status_of(server: Server, path: str, **headers: str) -> int:
    """What a WebSocket is answered with; 101: it is open."""
    origin = headers.pop("origin", f"http://127.0.0.1:{server.port}")
    try:
        with connect(
            f"ws://127.0.0.1:{server.port}{path}",
            origin=origin or None,
            additional_headers=headers,  # type: ignore[arg-type]
        ) as link:
            json.loads(link.recv(timeout=5))
            return 101
    except InvalidStatus as error:
        return error.response.status_code


@pytest.mark.parametrize("path", [*VIEWS, *ASKED, "/static/main.js", "/static/coast.json", "/nowhere"])
def test_every_answer_carries_the_policy(server: Server, path: str) -> None:
    answer = httpx.get(server.url.rstrip("/") + path, timeout=30.0)
    assert answer.status_code == (404 if path == "/nowhere" else 200)
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "form-action 'none'" in policy
    assert "unsafe" not in policy
    assert "*" not in policy
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["cross-origin-resource-policy"] == "same-origin"
    assert answer.headers["cache-control"] == "no-store"
    assert "access-control-allow-origin" not in answer.headers


@pytest.mark.parametrize("view", VIEWS)
def test_no_page_has_script_or_style_of_its_own_in_it(server: Server, view: str) -> None:
    text = httpx.get(server.url.rstrip("/") + view).text
    assert "<script>" not in text
    assert " style=" not in text
    assert " onclick=" not in text
    assert "http://" not in text
    assert "https://" not in text
    assert text.count("aria-current") == 1
    assert text.startswith("<!doctype html>")


@pytest.mark.parametrize("path", [*VIEWS, *ASKED, "/static/main.js"])
@pytest.mark.parametrize("host", ["evil.example", "evil.example:{port}", "127.0.0.1", "127.0.0.1:{port}.evil.example"])
def test_another_name_is_refused_everywhere(server: Server, path: str, host: str) -> None:
    answer = httpx.get(server.url.rstrip("/") + path, headers={"host": host.format(port=server.port)})
    assert answer.status_code == 403
    assert "its own address" in answer.json()["trouble"]


@pytest.mark.parametrize("path", POSTED)
def test_only_our_own_pages_may_post(server: Server, path: str, folder: Path) -> None:
    url = server.url.rstrip("/") + path
    ours = f"http://127.0.0.1:{server.port}"
    for origin in FOREIGN:
        headers = {"origin": origin.format(port=server.port)} if origin else {}
        answer = httpx.post(url, content=b'{"part": "call", "values": {}}', headers=headers)
        assert answer.status_code == 403, origin
        assert "only for pages of this server" in answer.json()["trouble"]
    assert not (folder / "settings.toml").exists()
    assert httpx.post(url, content=b'{"part": "call", "values": {}}', headers={"origin": ours}).status_code == 200
    (folder / "settings.toml").unlink(missing_ok=True)
    assert httpx.get(url).status_code == 405
    assert httpx.put(url, content=b"", headers={"origin": ours}).status_code == 405
    assert httpx.request("DELETE", url, headers={"origin": "http://evil.example"}).status_code == 403


@pytest.mark.parametrize("path", POSTED)
def test_what_is_posted_is_bounded(server: Server, path: str) -> None:
    url, headers = server.url.rstrip("/") + path, {"origin": f"http://127.0.0.1:{server.port}"}
    largest = 200_000 if path == "/chase/paste" else LARGEST_BODY
    assert httpx.post(url, content=b" " * (largest + 1), headers=headers).status_code == 413

    def endless() -> Iterator[bytes]:
        for _ in range(1000):
            yield b" " * 10_000

    # To be hung up on while still sending is an answer as well
    with contextlib.suppress(httpx.HTTPError):
        assert httpx.post(url, content=endless(), headers=headers).status_code == 413
    assert httpx.get(server.url).status_code == 200


@pytest.mark.parametrize("path", SOCKETS)
def test_a_socket_is_only_for_our_own_pages(server: Server, path: str) -> None:
    assert status_of(server, path) == 101
    for origin in FOREIGN:
        assert status_of(server, path, origin=origin.format(port=server.port)) == 403, origin
    assert status_of(server, path, origin="http://evil.example", host="evil.example") in (400, 403)


@pytest.mark.parametrize("path", SOCKETS)
def test_what_comes_over_a_socket_is_bounded(server: Server, path: str) -> None:
    ours = f"http://127.0.0.1:{server.port}"
    with connect(f"ws://127.0.0.1:{server.port}{path}", origin=ours, max_size=None) as link:  # type: ignore[arg-type]
        link.send("x" * (LARGEST_REQUEST + 1))
        with contextlib.suppress(ConnectionClosed):
            while True:
                link.recv(timeout=10)
        assert link.close_code == 1009
    assert status_of(server, path) == 101


@pytest.mark.parametrize(
    "path",
    [
        "/static/head.html",
        "/static/../door.py",
        "/static/%2e%2e/door.py",
        "/setup/../../etc/passwd",
        "/after/%2e%2e/server.py",
    ],
)
def test_nothing_but_the_files_of_the_page_is_handed_out(server: Server, path: str) -> None:
    with httpx.Client() as client:
        request = client.build_request("GET", server.url)
        request.url = request.url.copy_with(raw_path=path.encode())
        assert client.send(request).status_code == 404


def test_bound_wider_a_key_is_wanted_for_everything(wide: Server) -> None:
    assert len(wide.key) >= 32
    base = wide.url.rstrip("/")
    for path in (*VIEWS, *ASKED, "/static/main.js", "/nowhere"):
        for cookie in ({}, {f"hearmark-{wide.port}": "wrong"}, {f"hearmark-{wide.port}": ""}, {"other": wide.key}):
            answer = httpx.get(base + path, headers={"cookie": "; ".join(f"{k}={v}" for k, v in cookie.items())})
            assert answer.status_code == 403, path
            assert "wants its key" in answer.json()["trouble"]
    assert httpx.get(base + "/?key=wrong").status_code == 403
    assert httpx.get(base + "/?key=").status_code == 403
    assert httpx.get(base + f"/?key={wide.key}", headers={"host": "evil.example"}).status_code == 403
    for path in SOCKETS:
        assert status_of(wide, path) == 403
        assert status_of(wide, path, cookie=f"hearmark-{wide.port}=wrong") == 403
    ours = {"origin": f"http://127.0.0.1:{wide.port}"}
    assert httpx.post(base + "/setup/save", content=b"{}", headers=ours).status_code == 403


def test_the_address_with_the_key_lets_in_and_hides_the_key(wide: Server) -> None:
    first = httpx.get(wide.door() + "&to=JO50")
    assert first.status_code == 303
    assert first.headers["location"] == "/?to=JO50"
    cookie = first.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    held = {"cookie": cookie.split(";")[0]}
    for path in (*VIEWS, *ASKED):
        assert httpx.get(wide.url.rstrip("/") + path, headers=held, timeout=30.0).status_code == 200
    for path in SOCKETS:
        assert status_of(wide, path, **held) == 101
        assert status_of(wide, path, origin="http://evil.example", **held) == 403
    elsewhere = httpx.get(wide.url + f"//evil.example/?key={wide.key}")
    assert elsewhere.headers["location"].startswith("/evil.example")


def test_at_home_there_is_no_key(server: Server) -> None:
    assert server.key == ""
    assert server.door() == server.url


def test_a_browser_comes_in_with_the_key_and_stays_in(wide: Server, chromium: Any) -> None:
    page = chromium.new_context().new_page()
    page.goto(wide.door())
    assert "key" not in page.url
    for _ in range(100):
        if page.evaluate("globalThis.hearmark?.model.link === 'open'"):
            break
        page.wait_for_timeout(100)
    else:
        pytest.fail("The page did not get its link.")
    page.context.close()


def test_practice_alone_has_the_same_door(monkeypatch: pytest.MonkeyPatch) -> None:
    with PracticeServer(Room(levels()), port=0) as server:
        assert httpx.get(server.url + "practice", headers={"host": "evil.example"}).status_code == 403
        assert "default-src 'none'" in httpx.get(server.url + "practice").headers["content-security-policy"]
        assert status_of(server, "/practice/link") == 101
        assert status_of(server, "/practice/link", origin="http://evil.example") == 403
    monkeypatch.setattr("hearmark.web.server._is_loopback", lambda host: False)
    with PracticeServer(Room(levels()), port=0) as server:
        assert httpx.get(server.url + "practice").status_code == 403
        assert status_of(server, "/practice/link") == 403


def test_a_page_of_another_site_cannot_reach_in(server: Server, chromium: Any) -> None:
    """A real browser on another origin: nothing is read, nothing is posted, no socket opens, no frame shows."""
    from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
    from threading import Thread

    class Other(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.send_header("content-type", "text/html")
            self.end_headers()
            self.wfile.write(b"<!doctype html><title>other</title><p>other")

        def log_message(self, *_: Any) -> None: ...

    other = ThreadingHTTPServer(("127.0.0.1", 0), Other)
    Thread(target=other.serve_forever, daemon=True).start()
    page = chromium.new_context().new_page()
    page.goto(f"http://127.0.0.1:{other.server_port}/")
    outcome = page.evaluate(
        """async (ours) => {
          const tried = async (what) => { try { return await what(); } catch (error) { return "barred"; } };
          const socket = (path) => new Promise((done) => {
            const link = new WebSocket(ours.replace("http", "ws") + path);
            link.onopen = () => done("open"); link.onerror = () => done("barred"); });
          const frame = await new Promise((done) => {
            const box = document.createElement("iframe"); box.src = ours + "setup";
            box.onload = () => {
              try { done(box.contentDocument === null ? "barred" : "read"); } catch { done("barred"); } };
            document.body.append(box); });
          const post = { method: "POST", body: '{"values":{"station.call":"N0ZZ"}}' };
          return [
            await tried(async () => (await fetch(ours + "setup/form")).text()),
            await tried(async () => (await fetch(ours + "setup/save", post)).text()),
            await tried(async () => (await fetch(ours + "setup/save", { ...post, mode: "no-cors" })).type),
            await socket("link"), await socket("practice/link"), frame];
        }""",
        server.url,
    )
    assert outcome == ["barred", "barred", "barred", "barred", "barred", "barred"]
    assert httpx.get(server.url + "setup/form").json()["values"]["station.call"] == ""
    page.context.close()
    other.shutdown()
