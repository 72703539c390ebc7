"""The desk's routes: each asks for something, or shows it."""

from __future__ import annotations

import re
from collections.abc import AsyncIterator, Mapping, Sequence
from contextlib import asynccontextmanager
from itertools import groupby
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import (
    JSONResponse,
    RedirectResponse,
    Response,
    StreamingResponse,
)
from starlette.routing import Route
from starlette.types import ASGIApp, Receive, Scope, Send

from evenacre.desk import (
    column_pages,
    compare_pages,
    drill_pages,
    forms,
    ground,
    phone_pages,
    question_pages,
    result_pages,
    row_pages,
    season_pages,
    work,
    work_pages,
)
from evenacre.desk.asked import (
    Desk,
    changed,
    desk_of,
    form_of,
    gather_again,
    look_again,
    shown,
    soon,
    waited_for,
)
from evenacre.desk.bring import Delivery, check_room, clear_incoming
from evenacre.desk.gate import ALIVE, CLOSE, ENTRANCE, Gate, is_key, own_door
from evenacre.desk.pages import served
from evenacre.desk.sheets import SHEETS, sheets_of
from evenacre.desk.tasks import TASKS
from evenacre.errors import ChangedElsewhereError, InputError
from evenacre.io.season.edit import Step, digest_of, step
from evenacre.reports.figure_text import day

_FROM_WHERE_JOBS_BEGIN = {"/bring", "/work", *(f"/work/{key}" for key in TASKS)}
_FROM_WHERE_STEPS_ARE_TAKEN = {"/ground", *(f"/work/rows/{key}" for key in SHEETS)}
_STEPS: dict[str, Step] = {"undo": "undo", "redo": "redo"}
_SAID = {
    400: "What was sent cannot be understood.",
    413: "That is more than a form can hold.",
    403: "The desk does not do that.",
    404: "There is nothing at this address.",
    405: "That cannot be asked at this address.",
}


def make_app(desk: Desk) -> ASGIApp:
    """Put the desk of a farm together, its gate before it."""

    @asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        clear_incoming(desk.farm)
        if desk.network.address:
            await desk.network.serve(app)
        desk.begin(ground.get_ready, desk)
        yield
        desk.closing.set()
        await desk.network.close()
        desk.board.close()

    routes = [
        Route(ENTRANCE, _enter, methods=["GET"]),
        Route(ALIVE, _alive, methods=["GET"]),
        Route("/", _farm),
        Route("/overview", _overview),
        Route("/events", _events),
        Route("/bring", _bring),
        Route("/bring/begin", _begin, methods=["POST"]),
        Route("/bring/{delivery}/file", _take, methods=["PUT"]),
        Route("/bring/{delivery}/end", _end, methods=["POST"]),
        Route("/bring/{delivery}/drop", _drop, methods=["POST"]),
        *question_pages.ROUTES,
        Route("/season", _season),
        Route("/season/restore", _restore, methods=["POST"]),
        Route("/season/step", _step, methods=["POST"]),
        Route("/season/{kind}/{number}", _table),
        Route("/season/{kind}/{number}", _save, methods=["POST"]),
        Route("/season/{kind}/{number}/check", _check, methods=["POST"]),
        Route("/season/{kind}/{number}/drop", _drop_table, methods=["POST"]),
        *drill_pages.ROUTES,
        *column_pages.ROUTES,
        Route("/gather", _gather, methods=["POST"]),
        Route("/look", _look, methods=["POST"]),
        Route("/audit", _audit, methods=["POST"]),
        *work_pages.ROUTES,
        *row_pages.ROUTES,
        Route("/stop", _stop, methods=["POST"]),
        *ground.routes(),
        *result_pages.ROUTES,
        *compare_pages.ROUTES,
        Route(CLOSE, _close, methods=["POST"]),
        *phone_pages.ROUTES,
        Route("/ready/{asks_for}", waited_for),
        Route("/assets/{name}", _asset),
    ]
    handlers: dict[Any, Any] = {
        HTTPException: _not_there,
        InputError: _refused,
        ClientDisconnect: _gone,
        Exception: _fault,
    }
    app = Starlette(
        routes=routes,
        exception_handlers=handlers,
        lifespan=lifespan,
        middleware=[Middleware(_AtHome)],
    )
    app.state.desk = desk
    return Gate(app, own_door(desk.port, desk.key))


class _AtHome:
    """Does nothing while a link leads from the desk's own places out of the farm's folder."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request."""
        if scope["type"] == "http" and not scope["path"].startswith(("/assets/", CLOSE)):
            request = Request(scope)
            try:
                desk_of(request).farm.refuse_links()
            except InputError as error:
                await (await _refused(request, error))(scope, receive, send)
                return
        await self.app(scope, receive, send)


async def _enter(request: Request) -> Response:
    """Turn the key of the first address into a cookie."""
    desk = desk_of(request)
    if not is_key(request.query_params.get("key", ""), desk.key):
        raise HTTPException(403)
    overview = desk.farm.recall(work.OVERVIEW) or work.NOTHING_SEEN
    if await run_in_threadpool(work.is_left, desk.farm):
        if desk.board.job.state != "running":  # it may be what is at work
            gather_again(desk)
    elif _is_new(await run_in_threadpool(digest_of, desk.farm.season), overview):
        look_again(desk)
    answer = RedirectResponse("/", 303)
    answer.set_cookie(request.scope["door"].cookie, desk.key, httponly=True, samesite="strict")
    return answer


def _is_new(seen: str, overview: Mapping[str, Any]) -> bool:
    """Whether the season was changed since it was last looked over."""
    return bool(seen) and overview.get("season") != seen


async def _alive(request: Request) -> Response:
    """Tell a second start, which knows the key, whose desk this is."""
    desk = desk_of(request)
    if not is_key(request.query_params.get("key", ""), desk.key):
        raise HTTPException(404)
    return JSONResponse({"desk": str(desk.farm.root)})


async def _farm(request: Request) -> Response:
    return await run_in_threadpool(_farm_page, request)


def _farm_page(request: Request) -> Response:
    """The farm as it is known."""
    desk = desk_of(request)
    seen = digest_of(desk.farm.season)
    overview = desk.farm.recall(work.OVERVIEW) or work.NOTHING_SEEN
    raw, broken = season_pages.season_as_read(desk.farm)
    operations = [
        {
            "of_drill": [],
            **one,
            "number": number,
            "drill": season_pages.drill_of(raw, one["field"], one["name"]),
        }
        for number, one in enumerate(overview.get("operations", []))
    ]
    days = [
        (day(date), list(those))
        for date, those in groupby(
            sorted(operations, key=lambda one: one["date"]), key=lambda one: one["date"]
        )
    ]
    return shown(
        request,
        "farm.html.j2",
        seen=seen,
        is_new=_is_new(seen, overview),
        overview=overview,
        to_mend=season_pages.to_mend(desk.farm, raw),
        broken=broken,
        now=question_pages.round_of(desk.farm),
        days=days,
        pdf=bool(desk.farm.recall(work.PDF)),
        is_left=work.is_left(desk.farm),
        job=desk.board.job,
    )


async def _overview(request: Request) -> Response:
    """What the map shows."""
    return JSONResponse(desk_of(request).farm.recall(work.OVERVIEW) or work.NOTHING_SEEN)


async def _events(request: Request) -> Response:
    """The job at work, told whenever it goes on."""

    async def told() -> AsyncIterator[str]:
        async for state in desk_of(request).board.watched():
            yield f"data: {state}\n\n" if state else ": \n\n"

    return StreamingResponse(told(), media_type="text/event-stream")


async def _bring(request: Request) -> Response:
    return await soon(request, _bring_page, "Looking at the files")


def _bring_page(request: Request) -> Response:
    desk = desk_of(request)
    farm = desk.farm
    overview = farm.recall(work.OVERVIEW) or work.NOTHING_SEEN
    raw, _ = season_pages.season_as_read(farm)
    return shown(
        request,
        "bring.html.j2",
        came=farm.recall(work.GATHERED),
        is_left=work.is_left(farm),
        job=desk.board.job,
        jobs=overview.get("operations", []),
        seen=digest_of(farm.season),
        logs_left=column_pages.logs_left(farm, raw),
        names=column_pages.names_of(raw),
    )


async def _begin(request: Request) -> Response:
    desk = desk_of(request)
    try:
        total = int((await form_of(request)).get("bytes", ""))
    except ValueError:
        raise HTTPException(400) from None
    await run_in_threadpool(check_room, desk.farm, total)
    delivery = Delivery(desk.farm, total)
    desk.deliveries[delivery.id] = delivery
    return JSONResponse({"delivery": delivery.id})


async def _take(request: Request) -> Response:
    delivery = _delivery(request)
    name = request.query_params.get("name", "")
    return JSONResponse({"taken": await delivery.take(name, request.stream())})


async def _end(request: Request) -> Response:
    """Put what came in its place and have the season gathered; the answer says what came."""
    desk, delivery = desk_of(request), _delivery(request)
    del desk.deliveries[delivery.id]
    told = await run_in_threadpool(delivery.finish)
    gather_again(desk)
    return JSONResponse({"told": told})


async def _drop(request: Request) -> Response:
    desk, delivery = desk_of(request), _delivery(request)
    del desk.deliveries[delivery.id]
    await run_in_threadpool(delivery.drop)
    return JSONResponse({})


def _delivery(request: Request) -> Delivery:
    found = desk_of(request).deliveries.get(request.path_params["delivery"])
    if found is None:
        raise HTTPException(404)
    return found


async def _gather(request: Request) -> Response:
    """Gather what was brought, where that was stopped or broke off."""
    gather_again(desk_of(request))
    return RedirectResponse("/", 303)


async def _look(request: Request) -> Response:
    """Look the season over anew, as it was changed here or elsewhere."""
    desk = desk_of(request)
    look_again(desk)
    return RedirectResponse("/", 303)


async def _audit(request: Request) -> Response:
    desk = desk_of(request)
    form = await form_of(request)
    numbers = [int(name[3:]) for name in form if re.fullmatch(r"job\d{1,5}", name)]
    overview = desk.farm.recall(work.OVERVIEW) or work.NOTHING_SEEN
    if form.get("seen") != overview.get("season"):
        what = "The season was looked over anew since this page was opened."
        raise InputError.at("Audit", "", what, "Look at the jobs again, and tick those you mean.")
    known = overview["operations"]
    ticked = [known[number] for number in numbers if number < len(known)]
    if not ticked:
        raise InputError.at("Audit", "", "No job is ticked.", "Tick at least one.")
    # All of them are the season, whatever else was added to it meanwhile.
    chosen = [(one["field"], one["name"]) for one in ticked] if len(ticked) < len(known) else []
    pdf = form.get("pdf") == "yes"
    await run_in_threadpool(desk.farm.remember, work.PDF, pdf)
    desk.board.start("Audit", work.audit, desk.farm, chosen, pdf)
    return RedirectResponse("/", 303)


async def _stop(request: Request) -> Response:
    desk_of(request).board.stop()
    back = request.query_params.get("back", "")
    return RedirectResponse(back if back in _FROM_WHERE_JOBS_BEGIN else "/", 303)


async def _season(request: Request) -> Response:
    return await run_in_threadpool(_season_page, request)


def _season_page(request: Request) -> Response:
    farm = desk_of(request).farm
    raw, broken = season_pages.season_as_read(farm)
    return shown(
        request,
        "season.html.j2",
        seen=digest_of(farm.season),
        broken=broken,
        to_mend=season_pages.to_mend(farm, raw),
        kinds=season_pages.listed(raw),
        versions=season_pages.version_names(farm),
        **season_pages.steps_left(farm),
    )


async def _table(request: Request) -> Response:
    return await soon(request, _table_page, "Reading the season")


def _table_page(
    request: Request,
    status: int = 200,
    table: Mapping[str, Any] | None = None,
    troubles: Mapping[str, str] | None = None,
    notice: str = "",
) -> Response:
    """A table's form, with what was typed where that could not be kept."""
    farm = desk_of(request).farm
    place = season_pages.place_of(farm, **request.path_params)
    if table is None and place.number is not None:
        troubles = season_pages.standing_troubles(farm, place)
    filled = forms.boxes(
        place.kind,
        place.table if table is None else table,
        place.raw,
        season_pages.files_of(farm),
    )
    named = _names_in(filled)
    is_drill = place.kind.key == drill_pages.KEY
    return shown(
        request,
        drill_pages.TEMPLATE if is_drill else "table.html.j2",
        status,
        **(drill_pages.beside(farm, place, table or place.table) if is_drill else {}),
        place=place,
        sheets=[] if place.number is None else sheets_of(place.kind),
        boxes=filled,
        seen=digest_of(farm.season),
        is_kept=table is None,
        troubles=troubles or {},
        others=[text for name, text in (troubles or {}).items() if name not in named],
        notice=notice,
    )


def _names_in(filled: Sequence[forms.Box]) -> set[str]:
    return {name for box in filled for name in (box.name, *_names_in(box.inner))}


async def _save(request: Request) -> Response:
    return await changed(request, _saved)


def _saved(request: Request, form: Mapping[str, str]) -> Response:
    farm = desk_of(request).farm
    place = season_pages.place_of(farm, **request.path_params)
    table, troubles = season_pages.troubles_of(farm, place, form)
    if troubles:
        return _table_page(request, 400, table, troubles)
    try:
        season_pages.save(farm, place, table, form.get("seen", ""))
    except ChangedElsewhereError as error:
        return _table_page(request, 409, table, notice=str(error))
    return RedirectResponse("/season", 303)


async def _check(request: Request) -> Response:
    """What is wrong with a form so far, by box."""
    form, farm = await form_of(request), desk_of(request).farm

    def check() -> dict[str, str]:
        place = season_pages.place_of(
            farm, request.path_params["kind"], request.path_params["number"]
        )
        return season_pages.troubles_of(farm, place, form)[1]

    return JSONResponse(await run_in_threadpool(check))


async def _drop_table(request: Request) -> Response:
    return await changed(request, _dropped)


def _dropped(request: Request, form: Mapping[str, str]) -> Response:
    farm = desk_of(request).farm
    place = season_pages.place_of(farm, **request.path_params)
    season_pages.drop(farm, place, form.get("seen", ""))
    return RedirectResponse("/season", 303)


async def _restore(request: Request) -> Response:
    return await changed(request, _restored)


def _restored(request: Request, form: Mapping[str, str]) -> Response:
    farm = desk_of(request).farm
    season_pages.bring_back(farm, form.get("version", ""), form.get("seen", ""))
    return RedirectResponse("/season", 303)


async def _step(request: Request) -> Response:
    return await changed(request, _stepped)


def _stepped(request: Request, form: Mapping[str, str]) -> Response:
    """Undo the last change, or redo it."""
    which, farm = _STEPS.get(form.get("step", "")), desk_of(request).farm
    if which is None:
        raise HTTPException(404)
    step(farm.season, form.get("seen", ""), which, farm.versions)
    back = form.get("back", "")
    return RedirectResponse(back if back in _FROM_WHERE_STEPS_ARE_TAKEN else "/season", 303)


async def _close(request: Request) -> Response:
    desk_of(request).close()
    return shown(request, "closed.html.j2")


async def _asset(request: Request) -> Response:
    found = served(request.path_params["name"])
    if found is None:
        raise HTTPException(404)
    return Response(found[0], media_type=found[1])


async def _gone(_request: Request, _error: Exception) -> Response:
    return Response(status_code=400)  # nobody is there to read it


async def _not_there(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 404
    return shown(request, "trouble.html.j2", status, told=[_SAID.get(status, _SAID[404])])


async def _refused(request: Request, error: Exception) -> Response:
    """What is wrong with what was given, for the script that asked or as a page."""
    told = [str(problem) for problem in error.problems] if isinstance(error, InputError) else []
    if request.url.path.startswith("/bring/"):
        return JSONResponse({"told": " ".join(told)}, 400)
    return shown(request, "trouble.html.j2", 400, told=told)


async def _fault(request: Request, error: Exception) -> Response:
    told = [
        f"A fault of Evenacre ({type(error).__name__}), not of your files; nothing was lost. What "
        "it says stands in the window that the desk was opened from; please report it."
    ]
    return shown(request, "trouble.html.j2", 500, told=told)
