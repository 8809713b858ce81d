"""Who may ask: the Host header against rebound names, a token where others could reach the page, GET and HEAD only,
no other site's page."""

from __future__ import annotations

import hmac
import ipaddress
from collections.abc import Collection
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

COOKIE = "brakebeat_token"
LOOPBACK_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})
_HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
}


def host_name(value: str) -> str:
    """The name in a Host header, lower case, without port and brackets; empty where it is malformed."""
    name, port = value.strip().lower(), ""
    if name.startswith("["):
        name, closed, rest = name[1:].partition("]")
        if not closed or (rest and not rest.startswith(":")):
            return ""
        port = rest[1:]
    elif ":" in name:
        name, _, port = name.partition(":")
    return name if not port or (port.isascii() and port.isdecimal()) else ""


def is_loopback(host: str) -> bool:
    """Whether listening on ``host`` lets nobody in from outside."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host.lower() == "localhost"


class Guard:
    """An ASGI middleware.

    token: None where only this computer can reach the page. names: further names it may be called by; with a
    token every plain IP address is one, since a rebound name needs a name.
    """

    def __init__(self, app: ASGIApp, token: str | None = None, names: Collection[str] = ()) -> None:
        self._app = app
        self._token = token
        self._names = LOOPBACK_NAMES | {name.lower() for name in names}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let the request through, or say why not."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            # Nothing here speaks any other protocol.
            await send({"type": "websocket.close", "code": 1008})
            return
        headers = Headers(scope=scope)
        asked = _query_token(scope)
        refusal = self._refusal(scope["method"], headers, asked)

        async def send_guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                out = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    out[name] = value
                if refusal is None and asked and self._token is not None:
                    out.append("Set-Cookie", f"{COOKIE}={asked}; HttpOnly; SameSite=Strict; Path=/")
            await send(message)

        await (refusal or self._app)(scope, receive, send_guarded)

    def _refusal(self, method: str, headers: Headers, asked: str) -> PlainTextResponse | None:
        if not self._may_be_called(headers.getlist("host")):
            return PlainTextResponse("not my name; see --host-name", 421)
        if _from_another_page(headers):
            return PlainTextResponse("not for other pages", 403)
        if method not in ("GET", "HEAD"):
            return PlainTextResponse("this page only shows", 405, {"Allow": "GET, HEAD"})
        if self._token is not None:
            given = asked or _cookie_token(headers)
            if not hmac.compare_digest(given.encode(), self._token.encode()):
                return PlainTextResponse("open the page by the address with the token that was printed", 403)
        return None

    def _may_be_called(self, hosts: list[str]) -> bool:
        name = host_name(hosts[0]) if len(hosts) == 1 else ""
        if name in self._names:
            return True
        if self._token is None:
            return False
        try:
            ipaddress.ip_address(name)
        except ValueError:
            return False
        return True


def _from_another_page(headers: Headers) -> bool:
    """Whether another site's page asks on its own (Fetch Metadata, W3C): following a link to here is fine."""
    asked_by = headers.get("sec-fetch-site", "none")
    return asked_by not in ("none", "same-origin") and headers.get("sec-fetch-mode") != "navigate"


def _query_token(scope: Scope) -> str:
    query = parse_qs(scope.get("query_string", b"").decode("latin-1"), max_num_fields=None)
    return query.get("token", [""])[0]


def _cookie_token(headers: Headers) -> str:
    try:
        morsel = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
    except CookieError:
        return ""
    return morsel.value if morsel else ""
