"""The pages of tasks: plan, passes, come out even, calibrate, task data."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from contextlib import suppress
from datetime import datetime
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from evenacre.desk import forms, planned, work
from evenacre.desk.asked import Desk, desk_of, form_of, shown
from evenacre.desk.farm import Farm
from evenacre.desk.season_pages import season_as_read, units_of
from evenacre.desk.sheets import SHEETS
from evenacre.desk.tasks import TASKS, Task, in_boxes, of_options, troubles_of, values_of
from evenacre.errors import InputError
from evenacre.io.settings_book.book import BOOK_NAME
from evenacre.language import date_text
from evenacre.reports.figure_text import day

_WARNING, _CAUTION = "warning: ", "caution: "


async def _all(request: Request) -> Response:
    tasks, sheets = TASKS.values(), SHEETS.values()
    job = desk_of(request).board.job
    return shown(request, "works.html.j2", tasks=tasks, sheets=sheets, job=job)


async def _task(request: Request) -> Response:
    return await run_in_threadpool(_task_page, request)


def _task_page(
    request: Request,
    status: int = 200,
    typed: Mapping[str, str] | None = None,
    wrong: Mapping[str, str] | None = None,
    others: tuple[str, ...] = (),
    which: Sequence[Mapping[str, str]] = (),
) -> Response:
    """A task's form, with what was typed last unless it is to be empty; its last answer."""
    desk, task = desk_of(request), _asked(request)
    fresh = "new" in request.query_params
    if typed is None:
        typed = {} if fresh else desk.farm.recall(f"typed-{task.key}") or {}
    job = desk.board.job
    if wrong is None:
        failed = job.state == "failed" and job.title == task.title and not fresh
        wrong = job.wrong if failed else {}
    raw, broken = season_as_read(desk.farm)
    names = {name: _names(desk.farm, kind, raw) for name, kind in task.names.items()}
    asked_again = fresh or others or wrong or which
    folded = [ask.name for _, asks in task.groups for ask in asks]
    return shown(
        request,
        "work.html.j2",
        status,
        task=task,
        typed=typed,
        names=names,
        wrong=wrong,
        others=[*others, *broken],
        which=which,
        unfolded={name for name in folded if name in wrong or typed.get(name)},
        in_boxes=in_boxes,
        has_season=desk.farm.season.exists(),
        answer=None if asked_again else desk.farm.recall(f"answer-{task.key}"),
        job=job,
        job_about=task.title,
    )


async def _do(request: Request) -> Response:
    desk, task = desk_of(request), _asked(request)
    form = _with_job(await form_of(request))
    values, wrong = values_of(task, form)
    if wrong:
        return await run_in_threadpool(_task_page, request, 400, form, wrong)
    await run_in_threadpool(desk.farm.remember, f"typed-{task.key}", form)
    try:
        which = await run_in_threadpool(_which, desk.farm, task, values)
        if len(which) > 1:
            return await run_in_threadpool(_task_page, request, 200, form, {}, (), which)
        if not await run_in_threadpool(_answered, desk.farm, task, values):
            await run_in_threadpool(desk.farm.remember, f"answer-{task.key}", None)
            _begin(desk, task, values)
    except InputError as error:
        beside, others = troubles_of(error.problems, task)
        return await run_in_threadpool(_task_page, request, 400, form, beside, tuple(others))
    return RedirectResponse(f"/work/{task.key}", 303)


def _with_job(form: Mapping[str, str]) -> dict[str, str]:
    """A form, the job that was chosen of several put into its boxes."""
    told = {name: text for name, text in form.items() if name != "job"}
    with suppress(ValueError):
        match json.loads(form.get("job", "")):
            case [str(field), str(operation)]:
                told |= {"field": field, "operation": operation}
    return told


def _which(farm: Farm, task: Task, values: Mapping[str, Any]) -> list[dict[str, str]]:
    """Jobs of which one is to be chosen first; none where nothing is to be asked."""
    if not task.one_job or of_options(task, values).typed:
        return []
    raw, _ = season_as_read(farm)
    jobs = [
        {key: str(table.get(key, "")).strip() for key in ("field", "name", "date")}
        for table in forms.tables_of(raw, forms.KINDS["operation"])
    ]
    return [
        {**job, "date": day(job["date"]), "value": json.dumps([job["field"], job["name"]])}
        for job in jobs
        if values.get("field") in (None, job["field"])
        and values.get("operation") in (None, job["name"])
    ]


async def _check(request: Request) -> Response:
    """What is wrong with what is typed so far, by box; whatever needs no file but the season."""
    form, desk, task = await form_of(request), desk_of(request), _asked(request)

    def check() -> dict[str, str]:
        values, wrong = values_of(task, form)
        try:
            planned.check(desk.farm, task, values)
        except InputError as error:
            return troubles_of(error.problems, task)[0] | wrong
        return wrong

    return JSONResponse(await run_in_threadpool(check))


def _begin(desk: Desk, task: Task, values: Mapping[str, Any]) -> None:
    if not desk.farm.season.exists():
        raise InputError.at(task.title, "", "There is no season yet.", "Bring files first.")
    desk.board.start(task.title, planned.do, desk.farm, task.key, dict(values))


def _answered(farm: Farm, task: Task, values: Mapping[str, Any]) -> bool:
    """Answer at once and keep the answer, where that can be."""
    from evenacre.io.settings_book.book import read_book
    from evenacre.workflows.calibrate import run_calibrate
    from evenacre.workflows.finish import typed_answer

    book = farm.root / BOOK_NAME
    season = farm.season if farm.season.exists() else None
    options = of_options(task, values)
    if task.key == "calibrate":
        result: Any = run_calibrate(options, book=book, season=season)
    elif task.key == "finish" and options.typed:
        past = read_book(book) if book.is_file() else None
        result = typed_answer(
            options, units_of(farm), *((past.settings, past.warnings) if past else ())
        )
    else:
        return False
    said = [in_boxes(line.strip(), task) for line in result.lines]
    plain = [line for line in said if not line.startswith((_WARNING, _CAUTION))]
    headline, now = in_boxes(result.headline, task), datetime.now()
    kept = {
        "made": f"{now:%H:%M, %A}, {date_text(now)}",
        "headline": headline,
        "lines": [line for line in plain if line != headline],
        "warnings": [line.removeprefix(_WARNING) for line in said if line.startswith(_WARNING)],
        "cautions": [line.removeprefix(_CAUTION) for line in said if line.startswith(_CAUTION)],
    }
    farm.remember(f"answer-{task.key}", kept)
    return True


def _names(farm: Farm, kind: str, raw: Mapping[str, Any]) -> list[str]:
    """Names of a kind in the season, as it was last looked over where only that can tell."""
    overview = farm.recall(work.OVERVIEW) or work.NOTHING_SEEN
    if kind == "place" and overview.get("places"):
        return list(overview["places"])
    kinds = ("field", "paddock") if kind == "place" else (kind,)
    tables = (t for one in kinds for t in forms.tables_of(raw, forms.KINDS[one]))
    return list(dict.fromkeys(str(t["name"]) for t in tables if t.get("name")))


def _asked(request: Request) -> Task:
    found = TASKS.get(request.path_params["task"])
    if found is None:
        raise HTTPException(404)
    return found


ROUTES = [
    Route("/work", _all),
    Route("/work/{task}", _task),
    Route("/work/{task}", _do, methods=["POST"]),
    Route("/work/{task}/check", _check, methods=["POST"]),
]
