"""The pages of tables that are typed in row by row: which to choose, and the rows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from evenacre.desk import forms, rows
from evenacre.desk.asked import changed, desk_of, form_of, shown, soon
from evenacre.desk.season_pages import season_as_read, steps_left
from evenacre.desk.sheets import SHEETS
from evenacre.errors import ChangedElsewhereError, InputError
from evenacre.io.season.edit import digest_of
from evenacre.io.settings_book.book import BOOK_NAME, bring_book_back, earlier_books


async def _choice(request: Request) -> Response:
    """Which job, or plan, the rows are of."""
    sheet = SHEETS.get(request.path_params["sheet"])
    if sheet is None:
        raise HTTPException(404)
    if sheet.fixed:
        return RedirectResponse(f"/work/rows/{sheet.key}/0/0", 303)

    def answer() -> Response:
        farm = desk_of(request).farm
        raw, broken = season_as_read(farm)
        tables = [
            {
                "number": number,
                "name": rows.whose(table, sheet, number),
                "files": rows.files_named(table, sheet),
            }
            for number, table in enumerate(forms.tables_of(raw, sheet.kind))
        ]
        return shown(
            request,
            "sheets.html.j2",
            sheet=sheet,
            tables=tables,
            broken=broken,
            seen=digest_of(farm.season),
            **steps_left(farm),
        )

    return await run_in_threadpool(answer)


def _opened(request: Request) -> rows.OpenSheet:
    return rows.open_sheet(desk_of(request).farm, **request.path_params)


async def _rows(request: Request) -> Response:
    return await soon(request, lambda asked: _page(asked, _opened(asked)), "Reading the rows")


def _page(
    request: Request,
    opened: rows.OpenSheet,
    status: int = 200,
    typed: Sequence[rows.Row] | None = None,
    told: rows.Judged | None = None,
    notice: str = "",
) -> Response:
    """The rows of a file, or those that were typed where they could not be kept."""
    farm, stand = opened.farm, opened.rows if typed is None else typed
    draft = rows.draft_of(opened, stand)
    return shown(
        request,
        "rows.html.j2",
        status,
        opened=opened,
        rows=stand,
        next=1 + max((int(row.name[1:]) for row in (*opened.rows, *stand)), default=-1),
        told=told or (rows.judge(opened, stand, draft) if stand else rows.Judged()),
        is_kept=typed is None,
        offers=opened.offers(draft),
        seen=digest_of(farm.season),
        may_undo=bool(opened.sheet.fixed and earlier_books(farm.books)),
        notice=notice,
    )


async def _check(request: Request) -> Response:
    """What is to be said of the rows so far: by box and row, and of all of them."""
    form = await form_of(request)

    def answer() -> dict[str, Any]:
        opened = _opened(request)
        typed = rows.rows_typed(form, opened)
        told = rows.judge(opened, typed, rows.draft_of(opened, typed))
        looks = {f"{row}-look": text for row, text in told.looks.items()}
        return {**told.wrong, **looks, "told": told.told, "others": told.others}

    return JSONResponse(await run_in_threadpool(answer))


async def _save(request: Request) -> Response:
    return await changed(request, _saved)


def _saved(request: Request, form: Mapping[str, str]) -> Response:
    opened = _opened(request)
    typed = rows.rows_typed(form, opened)
    if form.get("whose", "") != opened.whose:
        what = "The season was changed since this page was opened, and it is of another job now."
        raise InputError.at(opened.sheet.title, "", what, "Choose the job again.")
    told = rows.judge(opened, typed, rows.draft_of(opened, typed))
    if told.wrong or told.others:
        return _page(request, opened, 400, typed, told)
    try:
        rows.keep(opened, told, form)
    except ChangedElsewhereError as error:
        if form.get("of", "") != opened.digest:
            typed = rows.with_those_of_now(opened, typed)
        return _page(request, opened, 409, typed, notice=str(error))
    return RedirectResponse(f"/work/rows/{opened.sheet.key}", 303)


async def _undo(request: Request) -> Response:
    """Bring the settings book before the last change back."""
    farm, form = desk_of(request).farm, await form_of(request)
    await run_in_threadpool(bring_book_back, farm.root / BOOK_NAME, form.get("of", ""), farm.books)
    return RedirectResponse(f"/work/rows/{_BOOK.key}/0/0", 303)


_BOOK = SHEETS["book"]
_FILE = "/work/rows/{key}/{number}/{at}"
ROUTES = [
    Route("/work/rows/{sheet}", _choice),
    Route(f"/work/rows/{_BOOK.key}/undo", _undo, methods=["POST"]),
    Route(_FILE, _rows),
    Route(_FILE, _save, methods=["POST"]),
    Route(f"{_FILE}/check", _check, methods=["POST"]),
]
