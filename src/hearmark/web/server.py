"""The local web server: the page's own files, and one WebSocket. It listens on this machine only, if not told else."""

from __future__ import annotations

import errno
import ipaddress
import logging
import secrets
import socket
import threading
from collections.abc import Callable, Iterable, Sequence
from typing import Protocol

import uvicorn
from starlette.applications import Starlette
from starlette.routing import BaseRoute
from starlette.types import ASGIApp

from hearmark.errors import HearmarkError
from hearmark.web.door import Gatekeeper, asked_route, link_route, page_route, posted_route
from hearmark.web.live import LiveSession
from hearmark.web.relay import Relay

PORT = 4327
LARGEST_REQUEST = 4096
LARGEST_PASTE = 200_000
BACKLOG = 64

log = logging.getLogger(__name__)


class Session(Protocol):
    """What is begun and ended with the server."""

    def start(self) -> None:
        """Begin."""
        ...

    def stop(self) -> None:
        """End."""
        ...


def make_app(
    session: LiveSession | Relay, hosts: Iterable[str], more: Sequence[BaseRoute] = (), key: str = ""
) -> ASGIApp:
    """The application. `hosts`: the values of the Host header to answer to, such as "127.0.0.1:4327".

    `more`: pages of other rooms. `key`: what every request must bring; empty: nothing.
    """
    routes = [
        page_route("/", "index.html"),
        page_route("/path", "path.html"),
        asked_route("/path/forecast", lambda query: session.forecaster.answer(query)),
        page_route("/chase", "chase.html"),
        asked_route("/chase/list", lambda _: session.board.rows()),
        asked_route("/chase/today", lambda _: session.board.today()),
        posted_route("/chase/paste", lambda body: session.board.paste(body.decode("utf-8", "replace")), LARGEST_PASTE),
        *more,
        page_route("/static/{name}"),
        link_route("/link", session),
    ]
    return Gatekeeper(Starlette(routes=routes), hosts, key)


class Server:
    """A bound and running server; `url` says where, `door` what to open first.

    Stop it with `stop`, or use it in a `with`.
    """

    def __init__(
        self, session: LiveSession | Relay, host: str = "127.0.0.1", port: int = PORT, more: Sequence[BaseRoute] = ()
    ) -> None:
        self._begin(session, lambda hosts, key: make_app(session, hosts, more, key), host, port)

    def _begin(self, session: Session, make: Callable[[Iterable[str], str], ASGIApp], host: str, port: int) -> None:
        self.session = session
        self._socket = _bind(host, port)
        if not _is_loopback(host):
            log.warning(
                "Serving on %s: who has the key in the address below can listen, mark and move your transmit frequency."
                " It goes over the network unencrypted; use 127.0.0.1 unless you trust the whole network.",
                host,
            )
        self.port: int = self._socket.getsockname()[1]
        name = f"[{host}]" if ":" in host else host
        self.url = f"http://{name}:{self.port}/"
        at_home = _is_loopback(host)
        names = {name, "127.0.0.1", "localhost", "[::1]"} if at_home else {name}
        self.key = "" if at_home else secrets.token_urlsafe(24)
        app = make({f"{n}:{self.port}" for n in names}, self.key)
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

    def door(self, path: str = "") -> str:
        """The address to open, with the key if one is asked for."""
        return self.url + path + (f"?key={self.key}" if self.key else "")

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


def check_port(host: str, port: int) -> None:
    """Raise HearmarkError now, before a long preparation, if no page can be served there."""
    _bind(host, port).close()


def _bind(host: str, port: int) -> socket.socket:
    if host in ("", "0.0.0.0", "::"):
        raise HearmarkError(
            f"Give one address of this machine to serve on, not {host!r}: "
            "a page must be able to name the server it comes from."
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
        raise HearmarkError(f"Cannot serve the page on {host} port {port}: {_why_not(error)}.") from None
    return listener


def _why_not(error: OSError | OverflowError) -> str:
    """What stands against it and what to do, in words."""
    other = "choose another port with --port, or 0 for any"
    if isinstance(error, OverflowError):
        return f"ports go from 0 to 65535; {other}"
    if isinstance(error, socket.gaierror) or error.errno == errno.EADDRNOTAVAIL:
        return "this machine has no such address; give another with --host"
    if error.errno == errno.EADDRINUSE:
        return f"another program has it already; {other}"
    if error.errno == errno.EACCES:
        return f"the system keeps it for itself; {other}"
    return f"{error.strerror or error}; {other}"


def serve(
    session: LiveSession | Relay, host: str = "127.0.0.1", port: int = PORT, more: Sequence[BaseRoute] = ()
) -> None:
    """Serves a session's page until interrupted, and prints its address. Port 0 takes any free one."""
    server = Server(session, host, port, more)
    print(f"Hearmark listens: {server.door()}  (Ctrl+C ends it)", flush=True)
    server.run()
