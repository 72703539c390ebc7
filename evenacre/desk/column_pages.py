"""The page of a job's logs: what their columns are, and which field they are of."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from evenacre.desk import columns, forms, season_pages, work
from evenacre.desk.asked import changed, desk_of, shown, soon
from evenacre.desk.farm import Farm
from evenacre.errors import ChangedElsewhereError, InputError
from evenacre.io.season.edit import change_season, digest_of
from evenacre.io.untrusted.kinds import PROSE, SENTENCES, SHEETS, TABLES

_LIKE_LOGS = TABLES | PROSE | SENTENCES | SHEETS
_LONGEST_NAME = 200
_NUMBER = re.compile(r"\d{1,5}")


@dataclass(frozen=True)
class _Job:
    """A job as it was looked over, and its place in the season.

    Attributes
    ----------
    seen : str
        Digest of the season that was looked over.
    known : mapping
        What was seen of it.
    number : int
        Of its table.
    raw : mapping
        The whole season.
    """

    seen: str
    known: Mapping[str, Any]
    number: int
    raw: Mapping[str, Any]

    @property
    def table(self) -> Mapping[str, Any]:
        return forms.tables_of(self.raw, forms.KINDS["operation"])[self.number]

    @property
    def said(self) -> dict[str, str]:
        """What the season says of the columns."""
        told = self.table.get("columns", {})
        return {str(k): str(v) for k, v in told.items()} if isinstance(told, Mapping) else {}


def _job(farm: Farm, address: str) -> _Job:
    overview = farm.recall(work.OVERVIEW) or work.NOTHING_SEEN
    operations = overview.get("operations", [])
    if not _NUMBER.fullmatch(address) or int(address) >= len(operations):
        raise HTTPException(404)
    known = operations[int(address)]
    raw, _ = season_pages.season_as_read(farm)
    for number, table in enumerate(forms.tables_of(raw, forms.KINDS["operation"])):
        names = (str(table.get("field")).strip(), str(table.get("name")).strip())
        if names == (known["field"], known["name"]):
            return _Job(overview["season"], known, number, raw)
    raise HTTPException(404)


def names_of(raw: Mapping[str, Any]) -> dict[str, list[str]]:
    """Fields and drills of a season."""
    return {
        key: [
            str(t["name"]).strip() for t in forms.tables_of(raw, forms.KINDS[key]) if t.get("name")
        ]
        for key in ("field", "implement")
    }


async def _columns(request: Request) -> Response:
    return await soon(request, _page, "Reading the columns")


def _page(
    request: Request,
    status: int = 200,
    given: Mapping[str, str] | None = None,
    troubles: Mapping[str, str] | None = None,
    notice: str = "",
) -> Response:
    """The logs of a job, with what was said of them where that could not be kept."""
    farm = desk_of(request).farm
    job = _job(farm, request.path_params["number"])
    products = job.known["products"]
    files = [
        {**file, "choices": columns.choices(file, products), "number": number}
        for number, file in enumerate(job.known.get("columns", []))
    ]
    return shown(
        request,
        "columns.html.j2",
        status,
        job=job.known,
        seen=job.seen,
        is_new=digest_of(farm.season) != job.seen,
        logs=columns.log_names(job.table),
        fields=names_of(job.raw)["field"],
        files=files,
        units=columns.unit_choices(),
        role_of=columns.role_of,
        in_words=columns.in_words,
        given=given or {},
        troubles=troubles or {},
        notice=notice,
    )


async def _save(request: Request) -> Response:
    return await changed(request, _saved)


def _saved(request: Request, form: Mapping[str, str]) -> Response:
    """Write what somebody says of a file's columns into the season."""
    farm = desk_of(request).farm
    job = _job(farm, request.path_params["number"])
    files = job.known.get("columns", [])
    number = form.get("file", "")
    if not _NUMBER.fullmatch(number) or int(number) >= len(files):
        raise HTTPException(404)
    file = files[int(number)]
    said = [
        (
            form.get(f"f{number}-{n}-role", columns.role_of(one)),
            form.get(f"f{number}-{n}-unit", one["unit"]),
        )
        for n, one in enumerate(file["columns"])
    ]
    others = [one for one in files if one is not file]
    told = columns.corrected(file, others, said, job.said)
    if told.troubles:
        troubles = {f"f{number}-{n}": text for n, text in told.troubles.items()}
        return _page(request, 400, form, troubles)
    kind = forms.KINDS["operation"]
    table = {**job.table, "columns": told.columns}
    if not told.columns:
        del table["columns"]

    def put(document: Any) -> None:
        forms.put_table(kind, table, document, job.number)

    return _written(request, form, put)


async def _move(request: Request) -> Response:
    return await changed(request, _moved)


def _moved(request: Request, form: Mapping[str, str]) -> Response:
    """Let a log belong to another field."""
    farm = desk_of(request).farm
    job = _job(farm, request.path_params["number"])
    log, field = form.get("log", ""), form.get("field", "")
    if not _NUMBER.fullmatch(log) or int(log) >= len(columns.logs_of(job.table)):
        raise HTTPException(404)
    fields = names_of(job.raw)["field"]
    if not field:
        field = columns.own_field(columns.logs_of(job.table)[int(log)], fields)
    elif field not in fields:
        raise HTTPException(404)
    if field == job.known["field"]:
        return RedirectResponse("/", 303)

    def put(document: Any) -> None:
        columns.moved_log(document, job.number, int(log), field)

    return _written(request, form, put)


def logs_left(farm: Farm, raw: Mapping[str, Any]) -> list[str]:
    """Files that were brought and that no job has for a log, those of text and sheets first."""
    jobs = forms.tables_of(raw, forms.KINDS["operation"])
    named = {log for job in jobs for log in columns.logs_of(job)}
    home = f"{farm.brought.name}/"
    files = season_pages.files_of(farm)
    left = [name for name in files if name.startswith(home) and name not in named]
    return sorted(left, key=lambda name: PurePosixPath(name).suffix.lower() not in _LIKE_LOGS)


async def _take(request: Request) -> Response:
    return await changed(request, _taken)


def _taken(request: Request, form: Mapping[str, str]) -> Response:
    """Take a file that was not understood for a log."""
    farm = desk_of(request).farm
    raw, _ = season_pages.season_as_read(farm)
    log = form.get("log", "")
    field, drill = (form.get(key, "").strip()[:_LONGEST_NAME] for key in ("field", "drill"))
    if log not in logs_left(farm, raw):
        raise HTTPException(404)
    if not (field and drill):
        what = "A log needs a field and a drill."
        raise InputError.at(log, "", what, "Name both; they need not be known yet.")

    def put(document: Any) -> None:
        columns.taken_log(document, log, field, drill)

    change_season(farm.season, form.get("seen", ""), put, farm.versions)
    return RedirectResponse("/", 303)


def _written(request: Request, form: Mapping[str, str], put: Any) -> Response:
    farm = desk_of(request).farm
    try:
        change_season(farm.season, form.get("seen", ""), put, farm.versions)
    except ChangedElsewhereError as error:
        return _page(request, 409, form, notice=str(error))
    return RedirectResponse("/", 303)


ROUTES = [
    Route("/columns/take", _take, methods=["POST"]),
    Route("/columns/{number}", _columns),
    Route("/columns/{number}", _save, methods=["POST"]),
    Route("/columns/{number}/move", _move, methods=["POST"]),
]
