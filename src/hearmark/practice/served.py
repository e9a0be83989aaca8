"""The page of practice on the local server: beside the live page, or alone."""

from __future__ import annotations

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from hearmark.practice.room import Room
from hearmark.web.door import Gatekeeper, link_route, page_route
from hearmark.web.server import PORT, Server


def routes(room: Room) -> list[BaseRoute]:
    """The page and its link, for a server that has other pages too."""
    return [page_route("/practice", "practice.html"), link_route("/practice/link", room)]


class PracticeServer(Server):
    """A server of nothing but practice."""

    def __init__(self, room: Room, host: str = "127.0.0.1", port: int = PORT) -> None:
        async def home(_: Request) -> Response:
            return RedirectResponse("/practice")

        pages = [Route("/", home), *routes(room), page_route("/static/{name}")]
        self._begin(room, lambda hosts, key: Gatekeeper(Starlette(routes=pages), hosts, key), host, port)
