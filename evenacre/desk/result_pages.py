"""The pages of results: listed by day, opened, and handed on."""

from __future__ import annotations

import urllib.parse
from itertools import groupby

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response, StreamingResponse
from starlette.routing import Route

from evenacre.desk import handed
from evenacre.desk.asked import desk_of, shown, soon
from evenacre.desk.results import AUDIT, ShownResult, file_of, result_at, results_of
from evenacre.io.writers.file_names import slug

# A report is made of names from other people's files, so it gets an origin of its own: nothing in
# it could ask the desk for anything.
REPORT_POLICY = (
    "sandbox allow-scripts allow-popups allow-modals allow-downloads "
    "allow-top-navigation-to-custom-protocols; default-src 'none'; img-src data:; "
    "style-src 'unsafe-inline'; script-src 'unsafe-inline'; frame-ancestors 'self'"
)

READING = "Reading the results"
"""Said while that takes long."""


async def _results(request: Request) -> Response:
    return await soon(request, _results_page, READING)


def _results_page(request: Request) -> Response:
    found = results_of(desk_of(request).farm)
    days = [(day, list(those)) for day, those in groupby(found, key=lambda one: one.day)]
    audits = sum(len(one.jobs) for one in found if one.kind == AUDIT)
    return shown(request, "results.html.j2", days=days, can_compare=audits > 1)


async def _result(request: Request) -> Response:
    return await soon(request, _result_page, READING)


def _result_page(request: Request) -> Response:
    result = _found(request)
    phone = handed.for_phone(desk_of(request).farm, result)
    home = f"/results/{urllib.parse.quote(result.place)}"
    return shown(request, "result.html.j2", result=result, home=home, phone=[*phone], audit=AUDIT)


async def _file(request: Request) -> Response:
    farm, name = desk_of(request).farm, request.path_params["name"]
    result = await _asked(request)
    path = await run_in_threadpool(file_of, farm, result, name)
    if path is None:
        raise HTTPException(404)
    if path.suffix == ".html":
        return FileResponse(path, headers={"Content-Security-Policy": REPORT_POLICY})
    if path.suffix == ".png":
        return FileResponse(path)
    return FileResponse(path, filename=path.name)


async def _zip(request: Request) -> Response:
    """All of it in one file, packed while it is sent."""
    farm, result = desk_of(request).farm, await _asked(request)
    name = f"{slug(result.place.rpartition('/')[2])}.zip"
    return StreamingResponse(
        handed.zipped(farm, result), media_type="application/zip", headers=saved_as(name)
    )


async def _pdf(request: Request) -> Response:
    """Its maps, one on a page."""
    farm, result = desk_of(request).farm, await _asked(request)
    made = await run_in_threadpool(handed.maps_to_print, farm, result)
    if made is None:
        raise HTTPException(404)
    name = f"{slug(result.place.rpartition('/')[2])}-maps.pdf"
    return Response(made, media_type="application/pdf", headers=saved_as(name))


async def _phone(request: Request) -> Response:
    """The places or passes of one job, for an app on a phone."""
    farm, result = desk_of(request).farm, await _asked(request)
    found = await run_in_threadpool(handed.for_phone, farm, result)
    job = request.query_params.get("job", "")
    if job not in found:
        raise HTTPException(404)
    return Response(
        found[job], media_type="application/gpx+xml", headers=saved_as(f"{slug(job)}.gpx")
    )


async def _asked(request: Request) -> ShownResult:
    return await run_in_threadpool(_found, request)


def _found(request: Request) -> ShownResult:
    result = result_at(desk_of(request).farm, request.path_params["place"])
    if result is None:
        raise HTTPException(404)
    return result


def saved_as(name: str) -> dict[str, str]:
    """Headers of what is saved under a name instead of shown."""
    return {"Content-Disposition": f'attachment; filename="{name}"'}


ROUTES = [
    Route("/results", _results),
    Route("/results/{place:path}/file/{name:path}", _file),
    Route("/results/{place:path}/open", _result),
    Route("/results/{place:path}/zip", _zip),
    Route("/results/{place:path}/pdf", _pdf),
    Route("/results/{place:path}/phone", _phone),
]
