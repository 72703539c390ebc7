"""The pages of the ground: what there is of it, and where it is drawn."""

from __future__ import annotations

import urllib.parse
from collections.abc import Mapping
from contextlib import suppress
from typing import Any, get_args

import shapely
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from evenacre.desk import season_pages, work
from evenacre.desk.asked import Desk, changed, desk_of, form_of, shown, soon
from evenacre.desk.drawing import (
    BOUNDARY,
    PARTS,
    Asked,
    Form,
    Judged,
    corners_text,
    judged,
    known_ground,
    latlon,
    latlon_rings,
    place_in,
    remarks_on,
    told_of,
)
from evenacre.desk.ground_changes import (
    cut,
    join,
    keep,
    mend_moves,
    stray_moves,
    take_out,
    take_out_paddock,
)
from evenacre.desk.results import results_of
from evenacre.errors import ChangedElsewhereError, InputError
from evenacre.geo.geodesy import geodesic_area_m2
from evenacre.io.season.edit import digest_of, parse_ahead
from evenacre.io.season.ground import Ground, Kind, Plot
from evenacre.units.display import in_both

_TAKES_LONG = "Reading the maps of the ground"
_BEFORE_IT_IS_ASKED_FOR_S = 1.0
_ONE_CORNER_DEG = 1e-8
_KINDS: dict[str, Kind] = {"field": "field", "paddock": "paddock"}
_FORMS: dict[str, Form] = {form: form for form in get_args(Form)}


def routes() -> list[Route]:
    """The routes of the ground."""
    return [
        Route("/ground", _ground),
        Route("/ground/shapes", _shapes),
        Route("/ground/place", _place, methods=["POST"]),
        Route("/ground/moves", _moves, methods=["POST"]),
        Route("/ground/plot", _plot),
        Route("/ground/join", _join, methods=["POST"]),
        Route("/ground/take-out", _take_out, methods=["POST"]),
        Route("/ground/draw", _draw),
        Route("/ground/draw", _keep, methods=["POST"]),
        Route("/ground/check", _check, methods=["POST"]),
    ]


def get_ready(desk: Desk) -> None:
    """Read results and ground before somebody asks, but not before the first page is there."""
    farm = desk.farm
    if not farm.season.exists() or desk.closing.wait(_BEFORE_IT_IS_ASKED_FOR_S):
        return
    with suppress(InputError, OSError):  # which the page will tell
        results_of(farm)
        parse_ahead(farm.season)
        known_ground(farm)
        remarks_on(farm)


def address_of(kind: str, name: str) -> str:
    """Address of a plot's page."""
    return f"/ground/plot?{urllib.parse.urlencode({'kind': kind, 'name': name})}"


# What there is


async def _ground(request: Request) -> Response:
    return await soon(request, _ground_page, _TAKES_LONG)


def _ground_page(request: Request) -> Response:
    farm = desk_of(request).farm
    _, broken = season_pages.season_as_read(farm)
    raw, ground = known_ground(farm)
    problems, _ = remarks_on(farm)
    plots: list[dict[str, Any]] = [
        {
            "plot": plot,
            "address": address_of(plot.kind, plot.name),
            "area": _area(plot),
            "is_wrong": any(_concerns(text, plot) for text in problems),
        }
        for plot in ground.plots
    ]
    return shown(
        request,
        "ground.html.j2",
        broken=broken,
        problems=problems,
        paddocks=[one for one in plots if one["plot"].kind == "paddock"],
        fields=[one for one in plots if one["plot"].kind == "field"],
        seen=digest_of(farm.season),
        **season_pages.steps_left(farm),
        **_mends(raw, ground),
    )


def _mends(raw: Mapping[str, Any], ground: Ground) -> dict[str, Any]:
    """Moves of paddocks that are gone, and the paddocks that they may name instead."""
    return {
        "stray": stray_moves(raw, ground),
        "may_be": [plot.name for plot in ground.plots if plot.kind == "paddock"],
    }


async def _shapes(request: Request) -> Response:
    """What the map shows, latitude first."""
    farm = desk_of(request).farm

    def answer() -> dict[str, Any]:
        raw, ground = known_ground(farm)
        overview = farm.recall(work.OVERVIEW) or work.NOTHING_SEEN
        return {
            "units": "metric" if raw.get("units") == "metric" else "us",
            "plots": [
                {
                    "kind": plot.kind,
                    "name": plot.name,
                    "address": address_of(plot.kind, plot.name),
                    "own": bool(plot.drawn_in),
                    "rings": latlon_rings(plot.outline),
                    "parts": [
                        {"key": key, "form": form_in(shape.geometry), "rings": rings}
                        for key, shapes in plot.parts.items()
                        for shape in shapes
                        for rings in [latlon_rings(shape.geometry)]
                    ],
                }
                for plot in ground.plots
            ],
            "drives": [line for one in overview["operations"] for line in one["lines"]],
        }

    return JSONResponse(await run_in_threadpool(answer))


def form_in(shape: Any) -> Form:
    """As what a shape is drawn."""
    kinds: dict[str, Form] = {"Point": "point", "LineString": "line"}
    return kinds.get(shape.geom_type.removeprefix("Multi"), "area")


async def _place(request: Request) -> Response:
    """A place as somebody wrote it."""
    try:
        lat, lon = place_in((await form_of(request)).get("place", "").strip())
    except InputError as error:
        problem = error.problems[0]
        return JSONResponse({"told": f"{problem.what} {problem.remedy}"}, 400)
    return JSONResponse({"place": [lat, lon]})


async def _moves(request: Request) -> Response:
    return await changed(request, _moves_mended)


def _moves_mended(request: Request, form: Mapping[str, str]) -> Response:
    """Let moves of a paddock that is gone name another one, or take them out."""
    farm = desk_of(request).farm
    raw, ground = known_ground(farm)
    name, other = form.get("stray", ""), form.get("other", "") if "rename" in form else ""
    is_there = not other or ground.plot("paddock", other) is not None
    if name not in stray_moves(raw, ground) or not is_there or ("rename" in form and not other):
        raise HTTPException(404)
    mend_moves(farm, name, other, form.get("seen", ""))
    return RedirectResponse(address_of("paddock", other) if other else "/ground", 303)


async def _plot(request: Request) -> Response:
    return await soon(request, _plot_page, _TAKES_LONG)


def _plot_page(request: Request) -> Response:
    farm = desk_of(request).farm
    raw, ground = known_ground(farm)
    plot = _plot_of(ground, request.query_params)
    problems, said = remarks_on(farm)
    parts = [
        (part, [_part_entry(plot, part.key, n) for n in range(len(plot.parts.get(part.key, ())))])
        for part in PARTS.values()
        if part is not BOUNDARY and plot.kind in part.kinds
    ]
    return shown(
        request,
        "plot.html.j2",
        plot=plot,
        area=_area(plot),
        problems=[text for text in problems if _concerns(text, plot)],
        remarks=said.get(("field", plot.name), []),
        parts=parts,
        neighbours=[
            one.name
            for one in ground.beside("paddock", plot.name)
            if plot.kind == "paddock" and one.kind == "paddock"
        ],
        seen=digest_of(farm.season),
        **season_pages.steps_left(farm),
        **_mends(raw, ground),
        draw=_draw_address,
    )


def _part_entry(plot: Plot, key: str, number: int) -> dict[str, Any]:
    shape = plot.parts[key][number]
    form = form_in(shape.geometry)
    label = shape.name or f"{PARTS[key].title}{f' {number + 1}' if number else ''}"
    address = _draw_address(plot, key, form, number)
    return {"label": label, "number": number, "form": form, "address": address}


def _draw_address(
    plot: Plot, key: str, form: str, number: int | None = None, *, cuts: bool = False
) -> str:
    query = {"kind": plot.kind, "name": plot.name, "part": key, "form": form}
    query |= {} if number is None else {"number": str(number)}
    query |= {"cuts": "yes"} if cuts else {}
    return f"/ground/draw?{urllib.parse.urlencode(query)}"


def _plot_of(ground: Ground, told: Mapping[str, str]) -> Plot:
    found = ground.plot(told.get("kind", ""), told.get("name", ""))
    if found is None:
        raise HTTPException(404)
    return found


def _area(plot: Plot) -> str:
    return in_both("area", geodesic_area_m2(plot.outline)) if plot.outline is not None else ""


def _concerns(problem: str, plot: Plot) -> bool:
    return f'{plot.kind} "{plot.name}"' in problem or (
        bool(plot.drawn_in) and problem.startswith(f"{plot.drawn_in}:")
    )


async def _join(request: Request) -> Response:
    return await changed(request, _joined)


def _joined(request: Request, form: Mapping[str, str]) -> Response:
    name = form.get("name", "")
    join(desk_of(request).farm, name, form.get("other", ""), form.get("seen", ""))
    return RedirectResponse(address_of("paddock", name), 303)


async def _take_out(request: Request) -> Response:
    return await changed(request, _taken_out)


def _taken_out(request: Request, form: Mapping[str, str]) -> Response:
    farm, seen = desk_of(request).farm, form.get("seen", "")
    plot = _plot_of(known_ground(farm)[1], form)
    if "part" in form:
        number = _number(form.get("number", ""))
        if number is None or number >= len(plot.parts.get(form["part"], ())):
            raise HTTPException(404)
        take_out(farm, plot.kind, plot.name, seen, form["part"], number)
        return RedirectResponse(address_of(plot.kind, plot.name), 303)
    if plot.kind == "field":
        raise HTTPException(404)
    take_out_paddock(farm, plot.name, seen)
    return RedirectResponse("/ground", 303)


# Where it is drawn


async def _draw(request: Request) -> Response:
    return await soon(request, _draw_page, _TAKES_LONG)


def _draw_page(
    request: Request,
    status: int = 200,
    given: Mapping[str, str] | None = None,
    told: Judged | None = None,
    notice: str = "",
) -> Response:
    """A drawing, with what was typed where that could not be kept."""
    farm = desk_of(request).farm
    _, ground = known_ground(farm)
    asked = _asked(ground, request.query_params)
    plot = ground.plot(asked.kind, asked.name) if asked.name else None
    begun = _as_drawn(plot, asked)
    texts = given or {
        "name": "",
        "corners": corners_text(begun),
        "said": _said_now(plot, asked),
        "called": _called_now(plot, asked),
        "moves": "",
        "sticks": "yes",
        "together": "yes",
    }
    return shown(
        request,
        "draw.html.j2",
        status,
        asked=asked,
        plot=plot,
        back=address_of(plot.kind, plot.name) if plot else "/ground",
        action=f"{request.url.path}?{request.url.query}",
        check=f"/ground/check?{request.url.query}",
        is_boundary=asked.part is BOUNDARY and not asked.cuts,
        texts=texts,
        told=told or Judged(),
        seen=digest_of(farm.season),
        notice=notice,
    )


def _asked(ground: Ground, told: Mapping[str, str]) -> Asked:
    """What an address asks to be drawn.

    Raises
    ------
    HTTPException
        When nothing can be drawn so.
    """
    kind, part = _KINDS.get(told.get("kind", "")), PARTS.get(told.get("part", "boundary"))
    name, cuts = told.get("name", ""), "cuts" in told
    if kind is None or part is None or kind not in part.kinds:
        raise HTTPException(404)
    form: Form | None = "line" if cuts else _FORMS.get(told.get("form", part.forms[0]))
    if form is None or (form not in part.forms and not cuts):
        raise HTTPException(404)
    number = None
    if name:
        plot = _plot_of(ground, {"kind": kind, "name": name})
        if "number" in told:
            number = _number(told["number"])
            if number is None or number >= len(plot.parts.get(part.key, ())):
                raise HTTPException(404)
    elif part is not BOUNDARY or cuts:
        raise HTTPException(404)
    return Asked(kind, name, part, form, number, cuts)


def _number(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 6 else None


def _as_drawn(plot: Plot | None, asked: Asked) -> Any:
    if plot is None or asked.cuts or (asked.part is not BOUNDARY and asked.number is None):
        return None
    number = asked.number or 0
    shape = plot.outline if asked.part is BOUNDARY else plot.parts[asked.part.key][number].geometry
    # Two corners in one place could not be told apart, and only one of them would be moved.
    return shape and shapely.remove_repeated_points(shape, _ONE_CORNER_DEG)


def _said_now(plot: Plot | None, asked: Asked) -> str:
    return str(told_of(plot, asked.part.key).get(asked.part.says, "")) if plot else ""


def _called_now(plot: Plot | None, asked: Asked) -> str:
    if plot is None or asked.number is None:
        return ""
    return plot.parts[asked.part.key][asked.number].name


async def _check(request: Request) -> Response:
    """What is to be said of a drawing so far."""
    form, farm = await form_of(request), desk_of(request).farm

    def answer() -> dict[str, Any]:
        _, ground = known_ground(farm)
        asked = _asked(ground, request.query_params)
        told = judged(ground, asked, form)
        return {
            "wrong": told.wrong,
            "notes": told.notes,
            "size": told.size,
            "drawn": latlon(told.drawn),
            "kept": latlon_rings(told.shape),
            "pieces": [latlon_rings(piece) for piece in told.pieces],
            "moved": [latlon_rings(shape) for shape in told.moved.values()],
        }

    return JSONResponse(await run_in_threadpool(answer))


async def _keep(request: Request) -> Response:
    return await changed(request, _kept)


def _kept(request: Request, form: Mapping[str, str]) -> Response:
    farm = desk_of(request).farm
    _, ground = known_ground(farm)
    asked = _asked(ground, request.query_params)
    told = judged(ground, asked, form)
    if told.wrong:
        return _draw_page(request, 400, form, told)
    try:
        if asked.cuts:
            cut(farm, asked, told, form.get("seen", ""))
            return RedirectResponse("/ground", 303)
        name = keep(farm, asked, form, told)
    except ChangedElsewhereError as error:
        return _draw_page(request, 409, form, told, str(error))
    return RedirectResponse(address_of(asked.kind, name), 303)
