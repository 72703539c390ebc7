"""What every route needs: the desk that is asked, a page as the answer, a form that was sent."""

from __future__ import annotations

import asyncio
import secrets
import urllib.parse
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from threading import Event, Thread
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from evenacre.desk import work
from evenacre.desk.bring import Delivery
from evenacre.desk.farm import Farm
from evenacre.desk.gate import is_guest
from evenacre.desk.jobs import Board
from evenacre.desk.network import Network
from evenacre.desk.pages import page
from evenacre.io.season.edit import parse_ahead

_MOST_FORM_BYTES = 1 << 20
_MOST_BOXES = 20_000
_PATIENCE_S = 0.12
_MOST_WAITING = 50


@dataclass
class Desk:
    """What the routes share.

    Attributes
    ----------
    farm : Farm
    key : str
        What whoever may ask has to know.
    port : int
    close : callable
        Ends the server.
    board : Board
        The job at work.
    deliveries : dict of str to Delivery
        Files on their way in.
    network : Network
        The way in for phones.
    waiting : dict of str to (str, future)
        Pages that take long, with their addresses, by what a page that waits for one asks for.
    ready : set of str
        Addresses of those that were waited for.
    closing : Event
    """

    farm: Farm
    key: str
    port: int
    close: Callable[[], None]
    board: Board = field(default_factory=Board)
    deliveries: dict[str, Delivery] = field(default_factory=dict)
    network: Network = field(default_factory=Network)
    waiting: dict[str, tuple[str, asyncio.Future[Response]]] = field(default_factory=dict)
    ready: set[str] = field(default_factory=set)
    closing: Event = field(default_factory=Event)

    def begin(self, work: Callable[..., None], *args: object) -> None:
        """Do in a thread what spares waiting later; nobody who closes the desk waits for it."""
        Thread(target=work, args=args, daemon=True).start()


def desk_of(request: Request) -> Desk:
    """The desk that is asked."""
    desk: Desk = request.app.state.desk
    return desk


def shown(request: Request, template: str, status: int = 200, **content: Any) -> Response:
    """Answer with a page."""
    desk = desk_of(request)
    about = {"farm": desk.farm, "here": request.url.path, "is_guest": is_guest(request.scope)}
    return page(template, status, network=desk.network, **about, **content)


async def soon(
    request: Request, make: Callable[[Request], Response], what: str, **headers: str
) -> Response:
    """Answer with a page, or where that takes long, at once with one that waits for it.

    Parameters
    ----------
    what : str
        What takes long, for people: "Reading the maps".
    **headers
        Of the page that waits.
    """
    desk, address = desk_of(request), f"{request.url.path}?{request.url.query}"
    making = asyncio.ensure_future(run_in_threadpool(make, request))
    patience_s = None if address in desk.ready else _PATIENCE_S
    desk.ready.discard(address)
    done, _ = await asyncio.wait({making}, timeout=patience_s)
    if done:
        return making.result()
    making.add_done_callback(lambda made: made.cancelled() or made.exception())  # told when asked
    asks_for = secrets.token_urlsafe(12)
    while len(desk.waiting) >= _MOST_WAITING:
        del desk.waiting[next(iter(desk.waiting))]
    desk.waiting[asks_for] = address, making
    answer = shown(request, "waits.html.j2", what=what, asks_for=asks_for)
    answer.headers.update(headers)
    return answer


async def waited_for(request: Request) -> Response:
    """Tell when a page that takes long can be had."""
    desk = desk_of(request)
    address, making = desk.waiting.pop(request.path_params["asks_for"], ("", None))
    if making is None:
        raise HTTPException(404)
    with suppress(Exception):  # it comes again with the page itself
        await making
    desk.ready.add(address)
    return JSONResponse({})


async def form_of(request: Request) -> dict[str, str]:
    """The boxes of a form that was sent, by name."""
    content = bytearray()
    async for block in request.stream():
        content += block
        if len(content) > _MOST_FORM_BYTES:
            raise HTTPException(413)
    try:
        pairs = urllib.parse.parse_qsl(
            content.decode(), keep_blank_values=True, max_num_fields=_MOST_BOXES
        )
    except ValueError:
        raise HTTPException(400) from None
    return dict(pairs)


async def changed(
    request: Request, change: Callable[[Request, Mapping[str, str]], Response]
) -> Response:
    """Change the season by a form, and look it over unless the form is asked for again."""
    answer = await run_in_threadpool(change, request, await form_of(request))
    if answer.status_code == 303:
        desk = desk_of(request)
        look_again(desk)
        desk.begin(parse_ahead, desk.farm.season)
    return answer


def gather_again(desk: Desk) -> None:
    """Gather what was brought."""
    desk.board.start_in_turn("Looking at what came", work.gather, desk.farm)


def look_again(desk: Desk) -> None:
    """Look the season over once it is changed."""
    desk.board.start_in_turn("Looking the season over", work.look, desk.farm)
