"""The page that shows two audits of a field side by side."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response, StreamingResponse
from starlette.routing import Route

from evenacre.desk import handed
from evenacre.desk.asked import desk_of, shown, soon
from evenacre.desk.farm import Farm
from evenacre.desk.gate import POLICY
from evenacre.desk.result_pages import READING, REPORT_POLICY, saved_as
from evenacre.desk.results import AUDIT, ShownResult, result_at, results_of
from evenacre.desk.season_pages import language_of, units_of
from evenacre.language import date_text, spoken
from evenacre.reports.figure_text import day

_IN_A_FRAME = {
    "Content-Security-Policy": POLICY.replace("frame-ancestors 'none'", "frame-ancestors 'self'")
}
_PLACE = re.compile(r"(?P<place>.{1,400}):(?P<number>\d{1,5})", re.DOTALL)


@dataclass(frozen=True)
class AuditedJob:
    """An operation of an audit that may be chosen.

    Attributes
    ----------
    key : str
        The audit's place and its own among the audit's operations.
    field : str
    told : str
        What tells it from others of the field.
    """

    key: str
    field: str
    told: str


def audited_jobs(farm: Farm) -> dict[str, list[AuditedJob]]:
    """Every operation of every audit, by field; the newest audit first."""
    found: dict[str, list[AuditedJob]] = {}
    for result in results_of(farm):
        for number, (field, job, date) in enumerate(result.operations):
            audited = f"audited {date_text(result.made)} {result.made:%H:%M}"
            told = f"{job}, {day(date) or 'no day'}, {audited}"
            one = AuditedJob(f"{result.place}:{number}", field, told)
            found.setdefault(field, []).append(one)
    return dict(sorted(found.items()))


async def _compare(request: Request) -> Response:
    """Choose two, and see them."""
    return await soon(request, _compare_page, READING)


def _compare_page(request: Request) -> Response:
    jobs = audited_jobs(desk_of(request).farm)
    chosen = [request.query_params.get(name, "") for name in ("one", "other")]
    known = {job.key: job for those in jobs.values() for job in those}
    both = [known[key] for key in chosen if key in known]
    return shown(
        request,
        "compare.html.j2",
        jobs=jobs,
        chosen=chosen if len(both) == 2 else _offered(jobs, both),
        both=both if len(both) == 2 else [],
        same=len(both) == 2 and chosen[0] == chosen[1],
    )


def _offered(jobs: Mapping[str, Sequence[AuditedJob]], about: Sequence[AuditedJob]) -> list[str]:
    """Two to begin with: the one that was asked about and the one before it on its field."""
    several = [those for those in jobs.values() if len(those) > 1] or [*jobs.values()]
    if not several:
        return ["", ""]
    those = jobs[about[0].field] if about else several[0]
    at = those.index(about[0]) if about else 0
    before = those[at + 1] if at + 1 < len(those) else those[0]
    return [before.key, those[at].key]


async def _page(request: Request) -> Response:
    """The comparison by itself: it is made of names from files, as a report is."""
    return await soon(request, _compared_page, "Comparing the two audits", **_IN_A_FRAME)


def _compared_page(request: Request) -> Response:
    text, _ = _compared(request)
    return HTMLResponse(text, headers={"Content-Security-Policy": REPORT_POLICY})


async def _zip(request: Request) -> Response:
    """The comparison and what it was made of in one file."""
    text, two = await run_in_threadpool(_compared, request)
    return StreamingResponse(
        handed.zipped_comparison(desk_of(request).farm, text, two),
        media_type="application/zip",
        headers=saved_as("comparison.zip"),
    )


def _compared(request: Request) -> tuple[str, list[ShownResult]]:
    """Compare two audits, unless they were just compared."""
    from evenacre.workflows.compare import compare_audits

    farm = desk_of(request).farm
    units, language = units_of(farm), language_of(farm)
    results: list[ShownResult] = []
    places: list[tuple[Path, int]] = []
    for name in ("one", "other"):
        place, number = _place(request.query_params.get(name, ""))
        result = result_at(farm, place)
        if result is None or result.kind != AUDIT:
            raise HTTPException(404)
        results.append(result)
        places.append((farm.root / place, number))
    key = (*places, *(_stamps(folder) for folder, _ in places), units, language)
    with spoken(language):
        text: str = farm.memory.of(
            "comparison", key, lambda: compare_audits(places[0], places[1], units)
        )
    return text, list(dict.fromkeys(results))


def _stamps(folder: Path) -> tuple[tuple[str, int, int], ...]:
    """Size and time of what lies in an audit's folder."""
    with os.scandir(folder) as there:
        found = [(one.name, one.stat(follow_symlinks=False)) for one in there]
    return tuple(sorted((name, status.st_size, status.st_mtime_ns) for name, status in found))


def _place(key: str) -> tuple[str, int]:
    found = _PLACE.fullmatch(key)
    if found is None:
        raise HTTPException(404)
    return found["place"], int(found["number"])


ROUTES = [
    Route("/results/compare", _compare),
    Route("/results/compare/page", _page),
    Route("/results/compare/all.zip", _zip),
]
