"""The desk's routes: each asks for something, or shows it."""

from __future__ import annotations

import re
import urllib.parse
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from itertools import groupby
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import (
    FileResponse,
    JSONResponse,
    RedirectResponse,
    Response,
    StreamingResponse,
)
from starlette.routing import Route
from starlette.types import ASGIApp

from evenacre.desk import forms, season_pages, work
from evenacre.desk.answers import OpenQuestion, open_questions, put_answer, trouble_with
from evenacre.desk.bring import Delivery, check_room, clear_incoming
from evenacre.desk.farm import Farm
from evenacre.desk.gate import ALIVE, ENTRANCE, Gate, cookie_name, is_key
from evenacre.desk.jobs import Board
from evenacre.desk.pages import page, served
from evenacre.desk.results import file_of, result_at, results_of
from evenacre.errors import InputError
from evenacre.io.season.edit import ChangedElsewhereError, change_season, digest_of

# A report is made of names from other people's files, so it gets an origin of its own: nothing in
# it could ask the desk for anything.
REPORT_POLICY = (
    "sandbox allow-scripts allow-popups allow-modals allow-downloads "
    "allow-top-navigation-to-custom-protocols; default-src 'none'; img-src data:; "
    "style-src 'unsafe-inline'; script-src 'unsafe-inline'; frame-ancestors 'self'"
)
_MOST_FORM_BYTES = 1 << 20
_MOST_BOXES = 20_000
_SAID = {
    400: "What was sent cannot be understood.",
    413: "That is more than a form can hold.",
    403: "The desk does not do that.",
    404: "There is nothing at this address.",
    405: "That cannot be asked at this address.",
}


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
    """

    farm: Farm
    key: str
    port: int
    close: Callable[[], None]
    board: Board = field(default_factory=Board)
    deliveries: dict[str, Delivery] = field(default_factory=dict)


def make_app(desk: Desk) -> ASGIApp:
    """Put the desk of a farm together, its gate before it."""

    @asynccontextmanager
    async def lifespan(_app: Starlette) -> AsyncIterator[None]:
        clear_incoming(desk.farm)
        yield
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
        Route("/answer", _answer, methods=["POST"]),
        Route("/season", _season),
        Route("/season/restore", _restore, methods=["POST"]),
        Route("/season/{kind}/{number}", _table),
        Route("/season/{kind}/{number}", _save, methods=["POST"]),
        Route("/season/{kind}/{number}/check", _check, methods=["POST"]),
        Route("/season/{kind}/{number}/drop", _drop_table, methods=["POST"]),
        Route("/look", _look, methods=["POST"]),
        Route("/audit", _audit, methods=["POST"]),
        Route("/stop", _stop, methods=["POST"]),
        Route("/results", _results),
        Route("/results/{place:path}/file/{name:path}", _result_file),
        Route("/results/{place:path}/open", _result),
        Route("/close", _close, methods=["POST"]),
        Route("/assets/{name}", _asset),
    ]
    handlers: dict[Any, Any] = {
        HTTPException: _not_there,
        InputError: _refused,
        ClientDisconnect: _gone,
        Exception: _fault,
    }
    app = Starlette(routes=routes, exception_handlers=handlers, lifespan=lifespan)
    app.state.desk = desk
    return Gate(app, key=desk.key, port=desk.port)


def _desk(request: Request) -> Desk:
    desk: Desk = request.app.state.desk
    return desk


def _shown(request: Request, template: str, status: int = 200, **content: Any) -> Response:
    farm = _desk(request).farm
    return page(template, status, farm=farm, here=request.url.path, **content)


async def _enter(request: Request) -> Response:
    """Turn the key of the first address into a cookie."""
    desk = _desk(request)
    if not is_key(request.query_params.get("key", ""), desk.key):
        raise HTTPException(403)
    answer = RedirectResponse("/", 303)
    answer.set_cookie(cookie_name(desk.port), desk.key, httponly=True, samesite="strict")
    return answer


async def _alive(request: Request) -> Response:
    """Tell a second start, which knows the key, whose desk this is."""
    desk = _desk(request)
    if not is_key(request.query_params.get("key", ""), desk.key):
        raise HTTPException(404)
    return JSONResponse({"desk": str(desk.farm.root)})


async def _farm(request: Request) -> Response:
    return await run_in_threadpool(_farm_page, request)


def _farm_page(
    request: Request, status: int = 200, answers: Mapping[str, str] | None = None, **more: Any
) -> Response:
    """The farm as it is known, with what was answered and is not right."""
    desk = _desk(request)
    seen = digest_of(desk.farm.season)
    overview = desk.farm.recall(work.OVERVIEW) or work.NOTHING_SEEN
    raw, broken = season_pages.season_as_read(desk.farm)
    asked = (desk.farm.recall(work.GATHERED) or {}).get("asked")
    operations = [
        {**one, "number": number} for number, one in enumerate(overview.get("operations", []))
    ]
    days = [
        (day, list(those))
        for day, those in groupby(
            sorted(operations, key=lambda one: one["date"]), key=lambda one: one["date"]
        )
    ]
    content = {
        "seen": seen,
        "is_new": bool(seen) and overview.get("season") != seen,
        "overview": overview,
        "broken": broken,
        "questions": open_questions(asked, raw),
        "days": days,
        "job": desk.board.job,
        "answers": answers or {},
        "troubles": {},
        "notice": "",
    }
    return _shown(request, "farm.html.j2", status, **{**content, **more})


async def _overview(request: Request) -> Response:
    """What the map shows."""
    return JSONResponse(_desk(request).farm.recall(work.OVERVIEW) or work.NOTHING_SEEN)


async def _events(request: Request) -> Response:
    """The job at work, told whenever it goes on."""

    async def told() -> AsyncIterator[str]:
        async for state in _desk(request).board.watched():
            yield f"data: {state}\n\n" if state else ": \n\n"

    return StreamingResponse(told(), media_type="text/event-stream")


async def _bring(request: Request) -> Response:
    desk = _desk(request)
    came = desk.farm.recall(work.GATHERED)
    return _shown(request, "bring.html.j2", came=came, job=desk.board.job)


async def _begin(request: Request) -> Response:
    desk = _desk(request)
    try:
        total = int((await _form(request)).get("bytes", ""))
    except ValueError:
        raise HTTPException(400) from None
    await run_in_threadpool(check_room, desk.farm, total)
    delivery = Delivery(desk.farm)
    desk.deliveries[delivery.id] = delivery
    return JSONResponse({"delivery": delivery.id})


async def _take(request: Request) -> Response:
    delivery = _delivery(request)
    name = request.query_params.get("name", "")
    return JSONResponse({"taken": await delivery.take(name, request.stream())})


async def _end(request: Request) -> Response:
    """Put what came in its place and have the season gathered; the answer says what came."""
    desk, delivery = _desk(request), _delivery(request)
    del desk.deliveries[delivery.id]
    told = await run_in_threadpool(delivery.finish)
    desk.board.start_in_turn("Looking at what came", work.gather, desk.farm)
    return JSONResponse({"told": told})


async def _drop(request: Request) -> Response:
    desk, delivery = _desk(request), _delivery(request)
    del desk.deliveries[delivery.id]
    await run_in_threadpool(delivery.drop)
    return JSONResponse({})


def _delivery(request: Request) -> Delivery:
    found = _desk(request).deliveries.get(request.path_params["delivery"])
    if found is None:
        raise HTTPException(404)
    return found


async def _answer(request: Request) -> Response:
    return await _changed(request, _answered)


def _answered(request: Request, form: Mapping[str, str]) -> Response:
    """Write the answers into the season; those that are wrong are asked for again."""
    farm = _desk(request).farm
    raw, _ = season_pages.season_as_read(farm)
    asked = (farm.recall(work.GATHERED) or {}).get("asked")
    given: list[tuple[OpenQuestion, str]] = [
        (question, text)
        for question in open_questions(asked, raw)
        if question.label and (text := form.get(question.key, "").strip())
    ]
    wrong = {q.key: trouble for q, text in given if (trouble := trouble_with(q, text))}
    if wrong:
        return _farm_page(request, 400, form, troubles=wrong)

    def put(document: Any) -> None:
        for question, text in given:
            put_answer(question, text, document)

    try:
        change_season(farm.season, form.get("seen", ""), put, farm.versions)
    except ChangedElsewhereError as error:
        return _farm_page(request, 409, form, notice=str(error))
    return RedirectResponse("/", 303)


async def _changed(
    request: Request, change: Callable[[Request, Mapping[str, str]], Response]
) -> Response:
    """Change the season by a form, and look it over unless the form is asked for again."""
    answer = await run_in_threadpool(change, request, await _form(request))
    if answer.status_code == 303:
        _look_again(_desk(request))
    return answer


def _look_again(desk: Desk) -> None:
    """Look the season over once it is changed."""
    desk.board.start_in_turn("Looking the season over", work.look, desk.farm)


async def _look(request: Request) -> Response:
    """Look the season over anew, as it was changed here or elsewhere."""
    desk = _desk(request)
    _look_again(desk)
    return RedirectResponse("/", 303)


async def _audit(request: Request) -> Response:
    desk = _desk(request)
    form = await _form(request)
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
    desk.board.start("Audit", work.audit, desk.farm, chosen)
    return RedirectResponse("/", 303)


async def _stop(request: Request) -> Response:
    _desk(request).board.stop()
    return RedirectResponse("/", 303)


async def _season(request: Request) -> Response:
    return await run_in_threadpool(_season_page, request)


def _season_page(request: Request) -> Response:
    farm = _desk(request).farm
    raw, broken = season_pages.season_as_read(farm)
    return _shown(
        request,
        "season.html.j2",
        seen=digest_of(farm.season),
        broken=broken,
        kinds=season_pages.listed(raw),
        versions=season_pages.version_names(farm),
    )


async def _table(request: Request) -> Response:
    return await run_in_threadpool(_table_page, request)


def _table_page(
    request: Request,
    status: int = 200,
    table: Mapping[str, Any] | None = None,
    troubles: Mapping[str, str] | None = None,
    notice: str = "",
) -> Response:
    """A table's form, with what was typed where that could not be kept."""
    farm = _desk(request).farm
    place = season_pages.place_of(farm, **request.path_params)
    filled = forms.boxes(
        place.kind,
        place.table if table is None else table,
        place.raw,
        season_pages.files_of(farm),
    )
    named = _names_in(filled)
    return _shown(
        request,
        "table.html.j2",
        status,
        place=place,
        boxes=filled,
        seen=digest_of(farm.season),
        troubles=troubles or {},
        others=[text for name, text in (troubles or {}).items() if name not in named],
        notice=notice,
    )


def _names_in(filled: Sequence[forms.Box]) -> set[str]:
    return {name for box in filled for name in (box.name, *_names_in(box.inner))}


async def _save(request: Request) -> Response:
    return await _changed(request, _saved)


def _saved(request: Request, form: Mapping[str, str]) -> Response:
    farm = _desk(request).farm
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
    form, farm = await _form(request), _desk(request).farm

    def check() -> dict[str, str]:
        place = season_pages.place_of(
            farm, request.path_params["kind"], request.path_params["number"]
        )
        return season_pages.troubles_of(farm, place, form)[1]

    return JSONResponse(await run_in_threadpool(check))


async def _drop_table(request: Request) -> Response:
    return await _changed(request, _dropped)


def _dropped(request: Request, form: Mapping[str, str]) -> Response:
    farm = _desk(request).farm
    place = season_pages.place_of(farm, **request.path_params)
    season_pages.drop(farm, place, form.get("seen", ""))
    return RedirectResponse("/season", 303)


async def _restore(request: Request) -> Response:
    return await _changed(request, _restored)


def _restored(request: Request, form: Mapping[str, str]) -> Response:
    farm = _desk(request).farm
    season_pages.bring_back(farm, form.get("version", ""), form.get("seen", ""))
    return RedirectResponse("/season", 303)


async def _results(request: Request) -> Response:
    found = await run_in_threadpool(results_of, _desk(request).farm)
    days = [(day, list(those)) for day, those in groupby(found, key=lambda one: one.day)]
    return _shown(request, "results.html.j2", days=days)


async def _result(request: Request) -> Response:
    place = request.path_params["place"]
    result = await run_in_threadpool(result_at, _desk(request).farm, place)
    if result is None:
        raise HTTPException(404)
    return _shown(request, "result.html.j2", result=result, home=f"/results/{_quoted(place)}")


async def _result_file(request: Request) -> Response:
    farm, name = _desk(request).farm, request.path_params["name"]
    result = await run_in_threadpool(result_at, farm, request.path_params["place"])
    path = file_of(farm, result, name) if result is not None else None
    if path is None:
        raise HTTPException(404)
    if path.suffix == ".html":
        return FileResponse(path, headers={"Content-Security-Policy": REPORT_POLICY})
    return FileResponse(path, filename=path.name)


async def _close(request: Request) -> Response:
    _desk(request).close()
    return _shown(request, "closed.html.j2")


async def _asset(request: Request) -> Response:
    found = served(request.path_params["name"])
    if found is None:
        raise HTTPException(404)
    return Response(found[0], media_type=found[1])


async def _form(request: Request) -> dict[str, str]:
    """The boxes of a form, by name."""
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


async def _gone(_request: Request, _error: Exception) -> Response:
    return Response(status_code=400)  # nobody is there to read it


async def _not_there(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 404
    return _shown(request, "trouble.html.j2", status, told=[_SAID.get(status, _SAID[404])])


async def _refused(request: Request, error: Exception) -> Response:
    """What is wrong with what was given, for the script that asked or as a page."""
    told = [str(problem) for problem in error.problems] if isinstance(error, InputError) else []
    if request.url.path.startswith("/bring/"):
        return JSONResponse({"told": " ".join(told)}, 400)
    return _shown(request, "trouble.html.j2", 400, told=told)


async def _fault(request: Request, error: Exception) -> Response:
    told = [
        f"A fault of Evenacre ({type(error).__name__}), not of your files; nothing was lost. What "
        "it says stands in the window that the desk was opened from; please report it."
    ]
    return _shown(request, "trouble.html.j2", 500, told=told)


def _quoted(place: str) -> str:
    return urllib.parse.quote(place)
