"""Opening the desk to the farm's own network, and coming in from there."""

from __future__ import annotations

import math

import segno
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from evenacre.desk.asked import desk_of, form_of, shown
from evenacre.desk.gate import PHONE, PIN
from evenacre.desk.network import own_addresses
from evenacre.desk.pages import page

_KEPT_S = 24 * 3600
_NOT_THIS_ONE = "That is not the PIN. It stands on the page Phone of the desk's own machine."


async def _phone(request: Request) -> Response:
    network = desk_of(request).network
    code = ""
    if network.address:
        # Dark on light whatever the page's colours are: cameras want it so.
        code = segno.make(network.address, error="m").svg_data_uri(
            border=4, dark="#000", light="#fff"
        )
    own = await run_in_threadpool(own_addresses)
    lost = network.door is not None and network.door.host not in {one.host for one in own}
    return shown(request, "phone.html.j2", own=own, code=code, lost=lost)


async def _open(request: Request) -> Response:
    desk = desk_of(request)
    host = (await form_of(request)).get("host", "")
    await desk.network.open(request.app, desk.port, host)
    return RedirectResponse(PHONE, 303)


async def _shut(request: Request) -> Response:
    await desk_of(request).network.close()
    return RedirectResponse(PHONE, 303)


async def _ask_pin(request: Request) -> Response:
    return _pin_page(request)


async def _take_pin(request: Request) -> Response:
    """Turn the PIN into a cookie."""
    network, door = desk_of(request).network, request.scope["door"]
    given = (await form_of(request)).get("pin", "")
    if not network.pin.fits(given):
        return _pin_page(request, 429 if network.pin.wait_s else 403, _NOT_THIS_ONE)
    answer = RedirectResponse("/", 303)
    answer.set_cookie(door.cookie, door.key, max_age=_KEPT_S, httponly=True, samesite="strict")
    return answer


def _pin_page(request: Request, status: int = 200, told: str = "") -> Response:
    minutes = math.ceil(desk_of(request).network.pin.wait_s / 60)
    return page("pin.html.j2", status, told=told, minutes=minutes)


ROUTES = [
    Route(PHONE, _phone, methods=["GET"]),
    Route(f"{PHONE}/open", _open, methods=["POST"]),
    Route(f"{PHONE}/close", _shut, methods=["POST"]),
    Route(PIN, _ask_pin, methods=["GET"]),
    Route(PIN, _take_pin, methods=["POST"]),
]
