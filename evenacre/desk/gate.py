"""Who may ask the desk for anything: the page that it opened itself, and phones with the PIN."""

from __future__ import annotations

import hmac
import re
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

ENTRANCE = "/enter"
ALIVE = "/alive"
"""Asked by a second start, with the key in the query; neither needs the cookie."""
PIN = "/pin"
"""Where a phone types it."""
PHONE = "/phone"
"""Where the machine itself opens the network, and closes it."""
CLOSE = "/close"

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
    "Cache-Control": "no-store",
}
# Browsers heed it, and complain where they do not, by whether they trust the address.
_ON_OWN_MACHINE = {"Cross-Origin-Opener-Policy": "same-origin"}
_READING = {"GET", "HEAD"}
_ALLOWED = {*_READING, "POST", "PUT"}
_TURNED_AWAY = (
    "This page belongs to a desk that was opened elsewhere, or was closed since. Open the desk "
    "again from its icon, or with: evenacre desk\n"
)


@dataclass(frozen=True)
class Door:
    """A way in, with an address of its own.

    Attributes
    ----------
    host : str
        Of the address that is listened on.
    port : int
    key : str
        What the cookie has to hold.
    for_guests : bool
        Phones come this way: a PIN gets them the key, and what is between the desk and its own
        machine is shut to them.
    """

    host: str
    port: int
    key: str
    for_guests: bool = False

    @property
    def cookie(self) -> str:
        """Name of the cookie; two desks on one machine have the same host, so the port is in it."""
        return f"evenacre-desk-{self.port}"

    @property
    def hosts(self) -> set[str]:
        """What a browser calls the desk that came this way."""
        names = {self.host} if self.for_guests else {self.host, "localhost"}
        return {f"{name}:{self.port}" for name in names} | (names if self.port == 80 else set())

    def is_open(self, path: str) -> bool:
        """Tell what is answered without the cookie."""
        if self.for_guests:
            return path == PIN or re.fullmatch(r"/assets/[\w.-]+", path) is not None
        return path in (ENTRANCE, ALIVE)

    def is_shut(self, path: str) -> bool:
        """Tell what is not answered this way even with it."""
        if self.for_guests:
            return path in (ENTRANCE, ALIVE, CLOSE) or (path + "/").startswith(f"{PHONE}/")
        return path == PIN


def own_door(port: int, key: str) -> Door:
    """The way in from this machine itself."""
    return Door("127.0.0.1", port, key)


def is_key(given: str, key: str) -> bool:
    """Compare without telling by the time it takes."""
    return hmac.compare_digest(given.encode(errors="replace"), key.encode())


def is_guest(scope: Scope) -> bool:
    """Tell whether a request came from the network."""
    return bool(scope["door"].for_guests)


class Gate:
    """Turns away whoever may not ask, and says on each answer what a page may do.

    Parameters
    ----------
    app : ASGI application
    door : Door
        The way in that it keeps.
    """

    def __init__(self, app: ASGIApp, door: Door) -> None:
        self.app = app
        self._door = door
        self._headers = _HEADERS if door.for_guests else _HEADERS | _ON_OWN_MACHINE

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in self._headers.items():
                    headers.setdefault(name, value)
            await send(message)

        if (refused := self._refused(scope)) is not None:
            await refused(scope, receive, guarded)
            return
        await self.app({**scope, "door": self._door}, receive, guarded)

    def _refused(self, scope: Scope) -> Response | None:
        headers, path = Headers(scope=scope), scope["path"]
        host, origin = headers.get("host", ""), headers.get("origin")
        is_reading = scope["method"] in _READING
        if scope["method"] not in _ALLOWED:
            return PlainTextResponse("That cannot be asked of the desk.\n", 405)
        # A name that leads here but is not ours is somebody else's page that found the address.
        if host not in self._door.hosts or (origin is not None and origin != f"http://{host}"):
            return PlainTextResponse("The desk answers its own page only.\n", 403)
        if not is_reading and origin is None:
            return PlainTextResponse("The desk answers its own page only.\n", 403)
        if self._door.is_open(path):
            return None
        if not self._has_cookie(headers):
            if self._door.for_guests and is_reading:
                return RedirectResponse(PIN, 303)
            return PlainTextResponse(_TURNED_AWAY, 403)
        if self._door.is_shut(path):
            return PlainTextResponse("That is done at the desk's own machine.\n", 403)
        return None

    def _has_cookie(self, headers: Headers) -> bool:
        try:
            jar = SimpleCookie(headers.get("cookie", ""))
        except CookieError:
            return False
        held = jar.get(self._door.cookie)
        return held is not None and is_key(held.value, self._door.key)
