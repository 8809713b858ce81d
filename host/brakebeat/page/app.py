"""The Starlette application: one page, its two files, and the stream of states."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Collection
from pathlib import Path

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from brakebeat.page.guard import Guard
from brakebeat.page.hub import Hub

# Fixed names only: no path of a request ever becomes a path on the disk.
_FILES = {
    "/": ("index.html", "text/html"),
    "/page.css": ("page.css", "text/css"),
    "/page.js": ("page.js", "text/javascript"),
    "/icon.svg": ("icon.svg", "image/svg+xml"),
}


def create_app(hub: Hub, token: str | None = None, names: Collection[str] = ()) -> Starlette:
    """The application; for ``token`` and ``names`` see ``Guard``."""
    folder = Path(__file__).with_name("static")
    routes = [
        Route(path, _file(folder / name, kind), methods=["GET"]) for path, (name, kind) in _FILES.items()
    ]

    async def events(request: Request) -> Response:
        return StreamingResponse(hub.messages(), media_type="text/event-stream")

    async def state(request: Request) -> Response:
        return JSONResponse(hub.state())

    routes += [
        Route("/events", events, methods=["GET"]),
        Route("/state", state, methods=["GET"]),
    ]
    return Starlette(routes=routes, middleware=[Middleware(Guard, token=token, names=names)])


def _file(path: Path, kind: str) -> Callable[[Request], Awaitable[Response]]:
    content = path.read_bytes()

    async def answer(request: Request) -> Response:
        return Response(content, media_type=f"{kind}; charset=utf-8")

    return answer
