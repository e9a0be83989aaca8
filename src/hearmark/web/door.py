"""The door of the local server: what is handed out, and to whom.

Against pages of other sites: the Host header must name this server (DNS rebinding), a WebSocket and everything that
changes something must come from a page of this server (RFC 6455, section 10.2), and a content security policy (W3C
CSP Level 3) lets the page run nothing but its own files. Served to other machines, a key is asked for as well.
"""

from __future__ import annotations

import asyncio
import contextlib
import hmac
import mimetypes
from collections.abc import Awaitable, Callable, Iterable
from functools import cache
from http.cookies import CookieError, SimpleCookie
from importlib.resources import files
from string import Template
from typing import Any, Protocol
from urllib.parse import parse_qsl, urlencode

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from starlette.websockets import WebSocket, WebSocketDisconnect

from hearmark.errors import HearmarkError
from hearmark.web.fan import Tab
from hearmark.web.wire import EVENT_VERSION, as_text

LARGEST_BODY = 16_384
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "worker-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}
TYPES = {".html": "text/html", ".js": "text/javascript", ".css": "text/css", ".json": "application/json"}
HEAD = "head.html"
VIEWS = {
    "/chase": "Chase", "/path": "Path", "/": "On the air", "/after": "After", "/practice": "Practice",
    "/setup": "Set-up",
}  # fmt: skip
"""The views in the order of a session: before, on the air, after, and the two that stand beside it."""


@cache
def static_files() -> dict[str, tuple[bytes, str]]:
    """Every file of the page by name: bytes and media type. What is not in here is not served."""
    found = {}
    entries = {entry.name: entry for entry in files("hearmark.web").joinpath("static").iterdir() if entry.is_file()}
    head = Template(entries.pop(HEAD).read_text(encoding="utf-8"))
    for name, entry in entries.items():
        suffix = "." + name.rpartition(".")[2]
        kind = TYPES.get(suffix) or mimetypes.guess_type(name)[0] or "application/octet-stream"
        body = entry.read_bytes()
        found[name] = (_with_head(name.removesuffix(".html"), body, head) if suffix == ".html" else body, kind)
    return found


def _with_head(name: str, body: bytes, head: Template) -> bytes:
    """A page whole: what is the same on all of them stands in one file, the page itself begins at its <body>."""
    path = "/" if name == "index" else f"/{name}"
    title = "Hearmark" if path == "/" else f"{VIEWS[path]} \N{MIDDLE DOT} Hearmark"
    own = "" if path == "/" else f'<link rel="stylesheet" href="/static/{name}.css">\n'
    script = "main" if path == "/" else name
    # Each view has a tab of its own: the page one listens with goes on
    links = " ".join(
        f'<a href="{to}" '
        + ('aria-current="page"' if to == path else f'target="hearmark-{to.strip("/") or "air"}"')
        + f">{word}</a>"
        for to, word in VIEWS.items()
    )
    views = f'<nav id="views" aria-label="Views">{links}</nav>'
    made = head.substitute(title=title, own=own, script=script) + body.decode("utf-8").replace("<!-- views -->", views)
    return made.encode()


class Gatekeeper:
    """Lets through only requests that name this server, and WebSockets only from its own pages.

    `key`: asked for with every request, in the address once and as a cookie from then on; empty: nobody is asked.
    """

    def __init__(self, app: ASGIApp, hosts: Iterable[str], key: str = "") -> None:
        self.app = app
        self.hosts = frozenset(host.lower() for host in hosts)
        self.key = key

    def refuses(self, scope: Scope) -> str:
        """Why this request is refused, or nothing."""
        headers = scope["headers"]
        hosts = _values(scope, b"host")
        origins = _values(scope, b"origin")
        if len(hosts) != 1 or hosts[0].lower() not in self.hosts:
            return "This server answers only to its own address."
        ours = f"http://{hosts[0].lower()}"
        if scope["type"] == "websocket" and [origin.lower() for origin in origins] != [ours]:
            return "This connection is only for pages of this server."
        # Another site's page can post here as well; its origin gives it away
        if scope["type"] == "http" and scope["method"] not in ("GET", "HEAD") and origins != [ours]:
            return "This is only for pages of this server."
        if self.key and not any(_same(self.key, given) for given in _cookies(headers, self._cookie(hosts[0]))):
            return "This server wants its key: open the whole address that it printed when it was started."
        return ""

    def _cookie(self, host: str) -> str:
        """Browsers share cookies between the ports of a host: each server's has a name of its own."""
        return f"hearmark-{host.rpartition(':')[2]}"

    def _admits(self, scope: Scope) -> Response | None:
        """The answer to an address with the right key in it: the same without it, and the key as a cookie."""
        if not self.key or scope["type"] != "http" or scope["method"] != "GET":
            return None
        hosts = _values(scope, b"host")
        query = parse_qsl(scope["query_string"].decode("latin-1"), keep_blank_values=True)
        given = [value for name, value in query if name == "key"]
        if len(hosts) != 1 or hosts[0].lower() not in self.hosts or len(given) != 1 or not _same(self.key, given[0]):
            return None
        rest = urlencode([(name, value) for name, value in query if name != "key"])
        path = "/" + scope["path"].lstrip("/")
        answer = RedirectResponse(path + (f"?{rest}" if rest else ""), status_code=303)
        answer.set_cookie(self._cookie(hosts[0]), self.key, httponly=True, samesite="strict")
        return answer

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """ASGI."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        admitted = self._admits(scope)
        why = "" if admitted else self.refuses(scope)
        if why and scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": 1008, "reason": why})
            return
        app: ASGIApp = admitted or (JSONResponse({"trouble": why}, status_code=403) if why else self.app)

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                extra = [(name.encode(), value.encode()) for name, value in HEADERS.items()]
                message = {**message, "headers": [*message["headers"], *extra]}
            await send(message)

        await app(scope, receive, with_headers if scope["type"] == "http" else send)


def _values(scope: Scope, wanted: bytes) -> list[str]:
    return [value.decode("latin-1") for name, value in scope["headers"] if name == wanted]


def _cookies(headers: Iterable[tuple[bytes, bytes]], name: str) -> list[str]:
    found = []
    for header, value in headers:
        if header == b"cookie":
            jar: SimpleCookie = SimpleCookie()
            with contextlib.suppress(CookieError):
                jar.load(value.decode("latin-1"))
            found += [morsel.value for key, morsel in jar.items() if key == name]
    return found


def _same(key: str, given: str) -> bool:
    return hmac.compare_digest(key.encode(), given.encode("utf-8", "replace"))


class Linked(Protocol):
    """What a page talks to over its WebSocket."""

    def open(self, tab: Tab) -> None:
        """A page comes."""
        ...

    def close(self, tab: Tab) -> None:
        """A page goes."""
        ...

    def take(self, tab: Tab, text: str) -> None:
        """One text frame of a page; raises HearmarkError for the page to show."""
        ...


def page_route(path: str, name: str = "") -> Route:
    """Serves one file of the page by `name`, or the one that the path names."""
    served = static_files()

    async def page(request: Request) -> Response:
        wanted = request.path_params.get("name", name)
        if wanted not in served:
            return PlainTextResponse("There is no such file.", status_code=404)
        body, kind = served[wanted]
        return Response(body, media_type=kind)

    return Route(path, page)


def asked_route(path: str, answer: Callable[[dict[str, str]], Any]) -> Route:
    """JSON made from the query in a thread of its own; what is wrong with the query comes back as `trouble`."""

    async def asked(request: Request) -> Response:
        return await _told(answer, dict(request.query_params))

    return Route(path, asked)


def posted_route(path: str, answer: Callable[[bytes], Any], largest: int = LARGEST_BODY) -> Route:
    """JSON made from what is posted, at most `largest` bytes. Only pages of this server come so far."""

    async def posted(request: Request) -> Response:
        body = b""
        async for piece in request.stream():
            body += piece
            if len(body) > largest:
                return JSONResponse({"trouble": "That is too much at once; send less."}, status_code=413)
        return await _told(answer, body)

    return Route(path, posted, methods=["POST"])


async def _told(answer: Callable[[Any], Any], given: Any) -> Response:
    try:
        return JSONResponse(await run_in_threadpool(answer, given))
    except HearmarkError as error:
        return JSONResponse({"trouble": str(error)}, status_code=400)


def link_route(path: str, room: Linked) -> WebSocketRoute:
    """The WebSocket between a page and what it talks to."""
    return WebSocketRoute(path, _link(room))


def _link(room: Linked) -> Callable[[WebSocket], Awaitable[None]]:
    async def link(socket: WebSocket) -> None:
        await socket.accept()
        tab = Tab(asyncio.get_running_loop())
        room.open(tab)
        sending = asyncio.create_task(_send_all(socket, tab))
        try:
            while True:
                text = await socket.receive_text()
                try:
                    room.take(tab, text)
                except HearmarkError as error:
                    refused = {"version": EVENT_VERSION, "type": "refused", "verb": "", "why": str(error)}
                    tab.put("text", as_text(refused))
        except (WebSocketDisconnect, KeyError):
            pass
        finally:
            room.close(tab)
            sending.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await sending

    return link


async def _send_all(socket: WebSocket, tab: Tab) -> None:
    with contextlib.suppress(WebSocketDisconnect, RuntimeError):
        while True:
            for frame in await tab.take():
                if isinstance(frame, bytes):
                    await socket.send_bytes(frame)
                else:
                    await socket.send_text(frame)
