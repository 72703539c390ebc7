"""Who may ask the desk for anything: only the page that it opened itself, on this machine."""

from __future__ import annotations

import hmac
from http.cookies import CookieError, SimpleCookie

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

ENTRANCE = "/enter"
ALIVE = "/alive"
"""Asked by a second start, with the key in the query; neither needs the cookie."""

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; frame-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)
_HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    # Forms tell their origin only where something may be told.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
}
_READING = {"GET", "HEAD"}
_ALLOWED = {*_READING, "POST", "PUT"}
_TURNED_AWAY = (
    "This page belongs to a desk that was opened elsewhere, or was closed since. Open the desk "
    "again from its icon, or with: evenacre desk\n"
)


def cookie_name(port: int) -> str:
    """Name of the cookie; two desks on one machine have the same host, so the port is in it."""
    return f"evenacre-desk-{port}"


def is_key(given: str, key: str) -> bool:
    """Compare without telling by the time it takes."""
    return hmac.compare_digest(given.encode(), key.encode())


class Gate:
    """Turns away whoever is not the desk's own page, and says on each answer what a page may do.

    Parameters
    ----------
    app : ASGI application
    key : str
        What the cookie has to hold.
    port : int
        Served on the loopback address.
    """

    def __init__(self, app: ASGIApp, *, key: str, port: int) -> None:
        self._app = app
        self._key = key
        self._port = port
        self._hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        if (refused := self._refused(scope)) is not None:
            await refused(scope, receive, guarded)
            return
        await self._app(scope, receive, guarded)

    def _refused(self, scope: Scope) -> PlainTextResponse | None:
        headers = Headers(scope=scope)
        host, origin = headers.get("host", ""), headers.get("origin")
        if scope["method"] not in _ALLOWED:
            return PlainTextResponse("That cannot be asked of the desk.\n", 405)
        # A name that leads here but is not ours is somebody else's page that found the address.
        if host not in self._hosts or (origin is not None and origin != f"http://{host}"):
            return PlainTextResponse("The desk answers its own page only.\n", 403)
        if scope["method"] not in _READING and origin is None:
            return PlainTextResponse("The desk answers its own page only.\n", 403)
        if scope["path"] in (ENTRANCE, ALIVE) or self._has_cookie(headers):
            return None
        return PlainTextResponse(_TURNED_AWAY, 403)

    def _has_cookie(self, headers: Headers) -> bool:
        try:
            jar = SimpleCookie(headers.get("cookie", ""))
        except CookieError:
            return False
        held = jar.get(cookie_name(self._port))
        return held is not None and is_key(held.value, self._key)
