"""What the files leave open, asked one question at a time.

Answers are remembered as they come and go into the season together, when they were looked at.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from evenacre.desk import work
from evenacre.desk.answers import OpenQuestion, about, open_questions, put_answer, trouble_with
from evenacre.desk.asked import changed, desk_of, form_of, shown
from evenacre.desk.columns import in_words
from evenacre.desk.farm import Farm
from evenacre.desk.season_pages import season_as_read
from evenacre.errors import ChangedElsewhereError
from evenacre.io.season.edit import change_season, digest_of

ANSWERS = "answers"
"""Under this name the desk remembers answers that are not in the season yet."""
_LONGEST = 500
_MOST_COLUMNS = 8


@dataclass(frozen=True)
class Round:
    """All that is open, and what was answered so far.

    Attributes
    ----------
    questions : list of OpenQuestion
        What an audit waits for first.
    said : dict of str to str
        By the key of a question; empty of one that nobody knows.
    raw : mapping
        The season.
    """

    questions: list[OpenQuestion]
    said: dict[str, str]
    raw: Mapping[str, Any]

    @property
    def left(self) -> list[OpenQuestion]:
        """Questions that nobody came to yet."""
        return [one for one in self.questions if one.key not in self.said]

    @property
    def answered(self) -> list[tuple[OpenQuestion, str]]:
        """Answers that are not in the season yet."""
        return [(one, text) for one in self.questions if (text := self.said.get(one.key, ""))]

    @property
    def unknown(self) -> int:
        """How many nobody knows."""
        return sum(self.said.get(one.key) == "" for one in self.questions)

    def after(self, number: int) -> str:
        """Address of the page after a question."""
        later = [*self.questions[number + 1 :], *self.questions[:number]]
        following = next((one.key for one in later if one.key not in self.said), "end")
        return f"/ask/{following}"


def round_of(farm: Farm) -> Round:
    """What is open now."""
    raw, _ = season_as_read(farm)
    asked = (farm.recall(work.GATHERED) or {}).get("asked")
    return Round(open_questions(asked, raw), farm.recall(ANSWERS) or {}, raw)


async def _begin(request: Request) -> Response:
    """The first question that nobody came to yet."""
    now = await run_in_threadpool(round_of, desk_of(request).farm)
    first = now.left or now.questions
    return RedirectResponse(f"/ask/{first[0].key}" if first else "/", 303)


async def _ask(request: Request) -> Response:
    return await run_in_threadpool(_question_page, request)


def _question_page(
    request: Request, status: int = 200, typed: str | None = None, trouble: str = ""
) -> Response:
    """A question with the ground and the rows that it is about."""
    farm = desk_of(request).farm
    now = round_of(farm)
    number, question = _asked(now, request)
    overview = farm.recall(work.OVERVIEW) or work.NOTHING_SEEN
    jobs = about(question, now.raw)
    of_them = [
        number
        for number, one in enumerate(overview.get("operations", []))
        if (one["field"], one["name"]) in jobs
    ]
    logs = [log for n in of_them for log in overview["operations"][n].get("columns", [])]
    return shown(
        request,
        "question.html.j2",
        status,
        question=question,
        number=number + 1,
        count=len(now.questions),
        before=f"/ask/{now.questions[number - 1].key}" if number else "/",
        said=now.said.get(question.key),
        typed=now.said.get(question.key, "") if typed is None else typed,
        trouble=trouble,
        jobs=of_them,
        log=_sample(logs[0]) if logs else None,
    )


def _sample(log: Mapping[str, Any]) -> dict[str, Any]:
    """Some records of a log: of the columns that are used, or the first of them."""
    columns = log["columns"]
    used = [one for one in columns if one["roles"]] or columns
    return {
        "file": log["file"],
        "places": log["places"],
        "columns": [
            {
                "name": one["name"],
                "taken": in_words(one["roles"][0]) if one["roles"] else "",
                "cells": one["cells"],
            }
            for one in used[:_MOST_COLUMNS]
        ],
    }


async def _answer(request: Request) -> Response:
    form = await form_of(request)
    return await run_in_threadpool(_answered, request, form)


def _answered(request: Request, form: Mapping[str, str]) -> Response:
    """Remember an answer, or that nobody knows; what is wrong is asked for again."""
    farm = desk_of(request).farm
    now = round_of(farm)
    number, question = _asked(now, request)
    text = form.get("answer", "").strip()[:_LONGEST] if form.get("do") != "skip" else ""
    if question.label and form.get("do") != "skip":
        wrong = _trouble(question, text) or ("" if text else "Nothing is written yet.")
        if wrong:
            return _question_page(request, 400, text, wrong)
    open_now = {one.key for one in now.questions}
    said = {key: told for key, told in now.said.items() if key in open_now}
    said[question.key] = text
    farm.remember(ANSWERS, said)
    return RedirectResponse(Round(now.questions, said, now.raw).after(number), 303)


async def _check(request: Request) -> Response:
    """What is wrong with an answer so far."""
    form = await form_of(request)

    def check() -> dict[str, str]:
        _, question = _asked(round_of(desk_of(request).farm), request)
        wrong = _trouble(question, form.get("answer", "").strip()[:_LONGEST])
        return {"answer": wrong} if wrong else {}

    return JSONResponse(await run_in_threadpool(check))


def _trouble(question: OpenQuestion, text: str) -> str:
    return trouble_with(question, text) if text and question.label else ""


def _asked(now: Round, request: Request) -> tuple[int, OpenQuestion]:
    for number, question in enumerate(now.questions):
        if question.key == request.path_params["key"]:
            return number, question
    raise HTTPException(404)


async def _end(request: Request) -> Response:
    return await run_in_threadpool(_end_page, request)


def _end_page(request: Request, status: int = 200, notice: str = "") -> Response:
    """All answers together, to be kept."""
    farm = desk_of(request).farm
    now, seen = round_of(farm), digest_of(farm.season)
    return shown(request, "answers.html.j2", status, now=now, seen=seen, notice=notice)


async def _keep(request: Request) -> Response:
    return await changed(request, _kept)


def _kept(request: Request, form: Mapping[str, str]) -> Response:
    """Write the answers into the season."""
    farm = desk_of(request).farm
    now = round_of(farm)
    for question, text in now.answered:
        if _trouble(question, text):
            return RedirectResponse(f"/ask/{question.key}", 303)

    def put(document: Any) -> None:
        for question, text in now.answered:
            put_answer(question, text, document)

    try:
        change_season(farm.season, form.get("seen", ""), put, farm.versions)
    except ChangedElsewhereError as error:
        return _end_page(request, 409, str(error))
    farm.remember(ANSWERS, {key: text for key, text in now.said.items() if not text})
    return RedirectResponse("/", 303)


ROUTES = [
    Route("/ask", _begin),
    Route("/ask/end", _end),
    Route("/ask/end", _keep, methods=["POST"]),
    Route("/ask/{key}", _ask),
    Route("/ask/{key}", _answer, methods=["POST"]),
    Route("/ask/{key}/check", _check, methods=["POST"]),
]
