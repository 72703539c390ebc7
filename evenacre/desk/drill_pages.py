"""The page of a drill: its form, its drawing, and what the logs tell of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from evenacre.desk import forms, season_pages
from evenacre.desk.asked import desk_of, form_of, shown
from evenacre.desk.farm import Farm
from evenacre.desk.rig import rig_of
from evenacre.desk.rig_drawing import drawing
from evenacre.desk.told import ask_logs, told_of
from evenacre.units.display import US, unit_system

KEY, TEMPLATE = "implement", "drill.html.j2"
# Pixels, until the page says how large it is.
_WIDE, _HIGH = 620, 620
_LEAST, _MOST = 240, 1200


def beside(farm: Farm, place: season_pages.Place, table: Mapping[str, Any]) -> dict[str, Any]:
    """What stands beside the form of a drill."""
    name = str(place.table.get("name", "")).strip()
    return {
        **_drawn(place, table, _WIDE, _HIGH),
        "told": told_of(farm, name),
        "may_ask": place.number is not None,
    }


def _drawn(
    place: season_pages.Place, table: Mapping[str, Any], wide: int, high: int
) -> dict[str, Any]:
    units = unit_system(u) if (u := place.raw.get("units")) in ("us", "metric") else US
    rig = rig_of(table, units)
    return {"rig": rig, "svg": Markup(drawing(rig, units, wide, high))}


async def _drawing(request: Request) -> Response:
    """The drawing of a form as it stands."""
    farm, given = desk_of(request).farm, await form_of(request)
    wide, high = (_pixels(request, name) for name in ("wide", "high"))

    def answer() -> Response:
        place = season_pages.place_of(farm, KEY, request.path_params["number"])
        table = forms.table_of(place.kind, given, place.table)
        return shown(request, "rig.html.j2", **_drawn(place, table, wide, high))

    return await run_in_threadpool(answer)


def _pixels(request: Request, name: str) -> int:
    text = request.query_params.get(name, "")
    if not (text.isascii() and text.isdecimal() and len(text) < 6):
        raise HTTPException(400)
    return min(max(int(text), _LEAST), _MOST)


async def _ask(request: Request) -> Response:
    """Have the logs asked."""
    desk, number = desk_of(request), request.path_params["number"]
    place = await run_in_threadpool(season_pages.place_of, desk.farm, KEY, number)
    if place.number is None:
        raise HTTPException(404)
    name = str(place.table.get("name", "")).strip()
    desk.board.start_in_turn(f"Asking the logs of {name}", ask_logs, desk.farm, name)
    return RedirectResponse(f"/season/{KEY}/{number}", 303)


async def _told(request: Request) -> Response:
    """What they told, for the page that waits for it."""
    farm = desk_of(request).farm

    def answer() -> Response:
        place = season_pages.place_of(farm, KEY, request.path_params["number"])
        name = str(place.table.get("name", "")).strip()
        return shown(request, "told.html.j2", told=told_of(farm, name))

    return await run_in_threadpool(answer)


_HOME = f"/season/{KEY}/{{number}}"
ROUTES = [
    Route(f"{_HOME}/drawing", _drawing, methods=["POST"]),
    Route(f"{_HOME}/ask", _ask, methods=["POST"]),
    Route(f"{_HOME}/told", _told),
]
