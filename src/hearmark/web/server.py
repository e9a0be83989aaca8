"""The local web server: the page's own files, and one WebSocket. It listens on this machine only.

Against pages of other sites: the Host header must name this server (DNS rebinding), a WebSocket must
come from a page of this server (RFC 6455, section 10.2), and a content security policy (W3C CSP Level 3)
lets the page run nothing but its own files.
"""

from __future__ import annotations

import asyncio
import contextlib
import ipaddress
import logging
import mimetypes
import socket
import threading
from collections.abc import Awaitable, Callable, Iterable, Sequence
from importlib.resources import files
from typing import Protocol

import uvicorn
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import BaseRoute, Route, WebSocketRoute
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from starlette.websockets import WebSocket, WebSocketDisconnect

from hearmark.errors import HearmarkError
from hearmark.web.fan import Tab
from hearmark.web.live import LiveSession
from hearmark.web.wire import EVENT_VERSION, as_text

PORT = 4327
LARGEST_REQUEST = 4096
LARGEST_PASTE = 200_000
BACKLOG = 64
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

log = logging.getLogger(__name__)


def static_files() -> dict[str, tuple[bytes, str]]:
    """Every file of the page by name: bytes and media type. What is not in here is not served."""
    found = {}
    for entry in files("hearmark.web").joinpath("static").iterdir():
        suffix = "." + entry.name.rpartition(".")[2]
        kind = TYPES.get(suffix) or mimetypes.guess_type(entry.name)[0] or "application/octet-stream"
        if entry.is_file():
            found[entry.name] = (entry.read_bytes(), kind)
    return found


class Gatekeeper:
    """Lets through only requests that name this server, and WebSockets only from its own pages."""

    def __init__(self, app: ASGIApp, hosts: Iterable[str]) -> None:
        self.app = app
        self.hosts = frozenset(host.lower() for host in hosts)

    def refuses(self, scope: Scope) -> str:
        """Why this request is refused, or nothing."""
        headers = scope["headers"]
        hosts = [value.decode("latin-1").lower() for name, value in headers if name == b"host"]
        origins = [value.decode("latin-1").lower() for name, value in headers if name == b"origin"]
        if len(hosts) != 1 or hosts[0] not in self.hosts:
            return "This server answers only to its own address."
        if scope["type"] == "websocket" and origins != [f"http://{hosts[0]}"]:
            return "This connection is only for pages of this server."
        return ""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """ASGI."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        why = self.refuses(scope)
        if why and scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": 1008, "reason": why})
            return
        app: ASGIApp = PlainTextResponse(why, status_code=403) if why else self.app

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                extra = [(name.encode(), value.encode()) for name, value in HEADERS.items()]
                message = {**message, "headers": [*message["headers"], *extra]}
            await send(message)

        await app(scope, receive, with_headers if scope["type"] == "http" else send)


class Session(Protocol):
    """What is begun and ended with the server."""

    def start(self) -> None:
        """Begin."""
        ...

    def stop(self) -> None:
        """End."""
        ...


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


def make_app(session: LiveSession, hosts: Iterable[str], more: Sequence[BaseRoute] = ()) -> ASGIApp:
    """The application. `hosts`: the values of the Host header to answer to, such as "127.0.0.1:4327".

    `more`: pages of other rooms.
    """

    async def forecast(request: Request) -> Response:
        try:
            facts = await run_in_threadpool(session.forecaster.answer, dict(request.query_params))
        except HearmarkError as error:
            return JSONResponse({"why": str(error)}, status_code=400)
        return JSONResponse(facts)

    async def chase_list(request: Request) -> Response:
        try:
            return JSONResponse(await run_in_threadpool(session.board.rows))
        except HearmarkError as error:
            return JSONResponse({"trouble": str(error)}, status_code=400)

    async def chase_paste(request: Request) -> Response:
        # Another site's page can post here as well; its origin gives it away
        if request.headers.get("origin") != f"http://{request.headers.get('host')}":
            return JSONResponse({"trouble": "This is only for pages of this server."}, status_code=403)
        body = b""
        async for piece in request.stream():
            body += piece
            if len(body) > LARGEST_PASTE:
                return JSONResponse({"trouble": "That is too much at once; paste fewer lines."}, status_code=413)
        return JSONResponse(session.board.paste(body.decode("utf-8", errors="replace")))

    routes = [
        page_route("/", "index.html"),
        page_route("/path", "path.html"),
        Route("/path/forecast", forecast),
        page_route("/chase", "chase.html"),
        Route("/chase/list", chase_list),
        Route("/chase/paste", chase_paste, methods=["POST"]),
        *more,
        page_route("/static/{name}"),
        link_route("/link", session),
    ]
    return Gatekeeper(Starlette(routes=routes), hosts)


async def _send_all(socket: WebSocket, tab: Tab) -> None:
    with contextlib.suppress(WebSocketDisconnect, RuntimeError):
        while True:
            for frame in await tab.take():
                if isinstance(frame, bytes):
                    await socket.send_bytes(frame)
                else:
                    await socket.send_text(frame)


class Server:
    """A bound and running server; `url` says where. Stop it with `stop`, or use it in a `with`."""

    def __init__(
        self, session: LiveSession, host: str = "127.0.0.1", port: int = PORT, more: Sequence[BaseRoute] = ()
    ) -> None:
        self._begin(session, lambda hosts: make_app(session, hosts, more), host, port)

    def _begin(self, session: Session, make: Callable[[Iterable[str]], ASGIApp], host: str, port: int) -> None:
        self.session = session
        self._socket = _bind(host, port)
        self.port: int = self._socket.getsockname()[1]
        name = f"[{host}]" if ":" in host else host
        self.url = f"http://{name}:{self.port}/"
        names = {name, "127.0.0.1", "localhost", "[::1]"} if _is_loopback(host) else {name}
        app = make({f"{n}:{self.port}" for n in names})
        self._uvicorn = uvicorn.Server(
            uvicorn.Config(
                app,
                log_level="warning",
                lifespan="off",
                ws_max_size=LARGEST_REQUEST,
                ws_per_message_deflate=False,
                timeout_graceful_shutdown=2,
                server_header=False,
            )
        )
        self._thread: threading.Thread | None = None

    def run(self) -> None:
        """Serves until interrupted, in this thread."""
        self.session.start()
        try:
            self._uvicorn.run(sockets=[self._socket])
        finally:
            self.session.stop()

    def start(self) -> None:
        """Serves in a thread of its own."""
        self._thread = threading.Thread(
            target=self._uvicorn.run, kwargs={"sockets": [self._socket]}, name="hearmark-web", daemon=True
        )
        self._thread.start()
        self.session.start()

    def stop(self) -> None:
        """Ends server and session."""
        self._uvicorn.should_exit = True
        if self._thread is not None:
            self._thread.join(5.0)
        self._socket.close()
        self.session.stop()

    def __enter__(self) -> Server:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _bind(host: str, port: int) -> socket.socket:
    if host in ("", "0.0.0.0", "::"):
        raise HearmarkError(
            f"Give one address of this machine to serve on, not {host!r}: "
            "a page must be able to name the server it comes from."
        )
    if not _is_loopback(host):
        log.warning(
            "Serving on %s: anyone who reaches this address can listen, mark and move your transmit frequency. "
            "There is no password; use 127.0.0.1 unless you trust the whole network.",
            host,
        )
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
        # From here on a page may connect and wait, although the event loop has yet to begin.
        listener.listen(BACKLOG)
    except (OSError, OverflowError) as error:
        listener.close()
        raise HearmarkError(
            f"Cannot serve the page on {host} port {port} ({error}); choose another port with --port, or 0 for any."
        ) from None
    return listener


def serve(session: LiveSession, host: str = "127.0.0.1", port: int = PORT, more: Sequence[BaseRoute] = ()) -> None:
    """Serves a session's page until interrupted, and prints its address. Port 0 takes any free one."""
    server = Server(session, host, port, more)
    print(f"Hearmark listens: {server.url}  (Ctrl+C ends it)", flush=True)
    server.run()
