"""Runs the page beside a session, in the same event loop."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import secrets
import socket
from collections.abc import AsyncIterator, Collection, Iterator

import uvicorn

from brakebeat.errors import InputError
from brakebeat.page.app import create_app
from brakebeat.page.guard import is_loopback
from brakebeat.page.hub import Hub


class _Server(uvicorn.Server):
    """Leaves the signals to the command, which also has a board to let go of."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


def new_token() -> str:
    """A token that nobody guesses (128 bits)."""
    return secrets.token_urlsafe(16)


@contextlib.asynccontextmanager
async def page(
    hub: Hub, host: str = "127.0.0.1", port: int = 8080, names: Collection[str] = (), token: str | None = None
) -> AsyncIterator[str]:
    """The page is up while this is open; gives its address, the token in it where there has to be one.

    Raises:
        InputError: nobody can listen there.
    """
    if not is_loopback(host) and token is None:
        token = new_token()
    if token is not None:
        # What the printed address may have in it.
        names = {*names, socket.gethostname(), f"{socket.gethostname()}.local"}
    listening = _listen(host, port)
    config = uvicorn.Config(
        create_app(hub, token, names),
        log_level="error",
        access_log=False,
        lifespan="off",
        ws="none",
        server_header=False,
        timeout_graceful_shutdown=1,
        limit_concurrency=100,
    )
    server = _Server(config)
    task = asyncio.create_task(server.serve([listening]))
    try:
        yield _address(listening, token)
    finally:
        hub.close()
        server.should_exit = True
        await task
        listening.close()


def _listen(host: str, port: int) -> socket.socket:
    try:
        family, kind, number, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        listening = socket.socket(family, kind, number)
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(address)
        # From here on who connects waits; nobody is turned away before the server runs.
        listening.listen(100)
    except (OSError, OverflowError) as error:
        # A name that is none, and an address of another computer, are no matter of ports.
        foreign = isinstance(error, socket.gaierror) or getattr(error, "errno", 0) == errno.EADDRNOTAVAIL
        mend = "name an address of this computer, or 0.0.0.0" if foreign else "try another --page-port"
        raise InputError(f"--host {host} --page-port {port}: cannot listen there ({error}); {mend}") from None
    listening.setblocking(False)
    return listening


def _address(listening: socket.socket, token: str | None) -> str:
    host, port = listening.getsockname()[:2]
    if host in ("0.0.0.0", "::"):
        host = socket.gethostname()
    elif ":" in host:
        host = f"[{host}]"
    return f"http://{host}:{port}/" + (f"?token={token}" if token else "")
