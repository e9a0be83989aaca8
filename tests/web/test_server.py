"""The server's door: who gets in, and what is handed out."""

import json
from collections.abc import Callable, Iterable

import httpx
import pytest
from script import VIEW, ScriptedEngine, stream
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect

from hearmark.errors import HearmarkError
from hearmark.web.door import static_files
from hearmark.web.live import LiveSession
from hearmark.web.server import Server

Serve = Callable[..., Server]


def test_page_and_its_files_are_served_with_a_strict_policy(serve: Serve) -> None:
    server = serve()
    page = httpx.get(server.url)
    assert page.status_code == 200
    policy = page.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert page.headers["x-content-type-options"] == "nosniff"
    assert "<script>" not in page.text
    assert " style=" not in page.text
    assert httpx.get(server.url + "static/main.js").headers["content-type"].startswith("text/javascript")


@pytest.mark.parametrize(
    "path",
    [
        "/static/../server.py",
        "/static/%2e%2e/server.py",
        "/static/..%2fserver.py",
        "/server.py",
        "/static/",
        "/static/none.js",
    ],
)
def test_nothing_outside_the_static_folder_is_served(serve: Serve, path: str) -> None:
    server = serve()
    with httpx.Client() as client:
        request = client.build_request("GET", server.url)
        request.url = request.url.copy_with(raw_path=path.encode())
        answer = client.send(request)
    assert answer.status_code == 404
    assert "Starlette" not in answer.text


@pytest.mark.parametrize("host", ["evil.example", "evil.example:{port}", "127.0.0.1", "127.0.0.1:1", ""])
def test_other_host_names_are_refused(serve: Serve, host: str) -> None:
    server = serve()
    answer = httpx.get(server.url, headers={"host": host.format(port=server.port)})
    assert answer.status_code in (400, 403)
    assert "module" not in answer.text


def socket_status(server: Server, origin: str | None, host: str | None = None) -> int:
    headers: Iterable[tuple[str, str]] = [("Host", host)] if host else []
    try:
        with connect(f"ws://127.0.0.1:{server.port}/link", origin=origin, additional_headers=headers) as link:  # type: ignore[arg-type]
            assert json.loads(link.recv(timeout=5))["type"] == "snapshot"
            return 101
    except InvalidStatus as error:
        return error.response.status_code


def test_websocket_is_only_for_our_own_pages(serve: Serve) -> None:
    server = serve()
    assert socket_status(server, f"http://127.0.0.1:{server.port}") == 101
    assert socket_status(server, None) == 403
    assert socket_status(server, "http://evil.example") == 403
    assert socket_status(server, "null") == 403
    assert socket_status(server, f"https://127.0.0.1:{server.port}") == 403
    assert socket_status(server, f"http://localhost:{server.port}") == 403


def test_two_pages_see_the_same_and_one_may_ask(serve: Serve) -> None:
    server = serve(duration_s=30.0)
    origin = f"http://127.0.0.1:{server.port}"
    address = f"ws://127.0.0.1:{server.port}/link"
    with connect(address, origin=origin) as one, connect(address, origin=origin) as two:  # type: ignore[arg-type]
        one.send('{"verb":"mark","frequency_hz":18150000}')
        one.send("nonsense")

        def until(link: object, kind: str) -> dict[str, object]:
            while True:
                frame = link.recv(timeout=5)  # type: ignore[attr-defined]
                if isinstance(frame, str) and (message := json.loads(frame))["type"] == kind:
                    return dict(message)

        assert "not JSON" in str(until(one, "refused")["why"])
        assert until(two, "Answer")["frequency_hz"] == 18_150_000.0


def test_port_in_use_is_one_clear_sentence(serve: Serve) -> None:
    server = serve()
    session = LiveSession(stream(), ScriptedEngine(), VIEW)
    with pytest.raises(HearmarkError, match=f"Cannot serve the page on 127.0.0.1 port {server.port}"):
        Server(session, port=server.port)
    with pytest.raises(HearmarkError, match="Give one address"):
        Server(session, host="0.0.0.0", port=0)


def test_every_static_file_has_a_media_type() -> None:
    assert {kind for _, kind in static_files().values()} <= {
        "text/html",
        "text/javascript",
        "text/css",
        "application/json",
    }
