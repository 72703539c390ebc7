"""Audit operations one by one: here, in worker processes, or as an earlier run left them."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import astuple, dataclass, replace
from functools import partial
from typing import NamedTuple

import geopandas as gpd

from evenacre.coverage.audit import audit_operation
from evenacre.errors import InputError, Problem
from evenacre.io.season.load_operation import load_operation
from evenacre.io.writers.file_names import unique_slugs
from evenacre.language import now_spoken, tr
from evenacre.model import Operation, OperationPlan, Season, Track
from evenacre.model.audit_result import AuditResult
from evenacre.planning.going_back.judge import judged
from evenacre.planning.loads.stock_balance import OperationLoads, operation_load_book
from evenacre.processes import workers
from evenacre.reports.maps.stored_layers import operation_layers
from evenacre.reports.pages.audit import RenderedOperation, render_operation
from evenacre.reports.sentences.findings import refusals_in_words
from evenacre.units.display import unit_system
from evenacre.workflows.finished import Claim, FinishedWork

Progress = Callable[[str, int], None]
"""Told the stage at work and how many operations are done."""


@dataclass(frozen=True)
class Audited:
    """One operation, audited; drawn, and with its logs, where that was asked for."""

    result: AuditResult
    rendered: RenderedOperation | None
    layers: dict[str, gpd.GeoDataFrame]
    loads: OperationLoads
    tracks: tuple[Track, ...] = ()
    laid_down: str = ""  # folder of the stage that its rasters and drawings already lie in


@dataclass(frozen=True)
class Asked:
    """What shapes the result of an operation, beside its plan.

    Attributes
    ----------
    key : str
        Letters and digits, unlike any other operation's.
    units : str
        Name of the unit system of the report.
    currency : str
    language : str
        Tag of the language of the report.
    """

    key: str
    units: str
    currency: str
    language: str


def audit_plan(
    plan: OperationPlan,
    asked: Asked,
    draw: bool = True,
    keep_tracks: bool = False,
    claim: Claim | None = None,
    say: Callable[[str], None] = lambda _stage: None,
) -> Audited:
    """Read, audit and draw one operation; runs in any process.

    Parameters
    ----------
    plan : OperationPlan
    asked : Asked
    draw : bool
        Draw its maps and its part of the report.
    keep_tracks : bool
        Hand the logs back too.
    claim : Claim, optional
        Keeps the operation for later runs at once.
    say : callable, optional
        Told each stage as it begins.
    """
    operation, result, loads = computed(plan, say)
    audited = Audited(result, None, operation_layers(result), loads)
    if draw:
        say(tr("drawing the maps"))
        audited = drawn(audited, asked)
    if claim is not None:
        claim.keep(audited)
    return replace(audited, tracks=operation.tracks) if keep_tracks else audited


def computed(
    plan: OperationPlan, say: Callable[[str], None] = lambda _stage: None
) -> tuple[Operation, AuditResult, OperationLoads]:
    """Read and audit one operation; nothing is laid out for people or files yet."""
    say(tr("reading the log"))
    operation = load_operation(plan)
    with refusals_in_words():
        result = audit_operation(operation, say)
    loads = operation_load_book(operation, result)
    result = judged(replace(result, findings=(*result.findings, *loads.findings)), operation)
    return operation, result, loads


def drawn(audited: Audited, asked: Asked) -> Audited:
    """Draw an operation's maps and its part of the report."""
    rendered = render_operation(
        audited.result,
        unit_system(asked.units),
        key=asked.key,
        currency=asked.currency,
        loads=audited.loads,
    )
    return replace(audited, rendered=rendered)


def audit_operations(
    season: Season,
    *,
    jobs: int,
    draw: bool,
    keep_tracks: bool,
    finished: FinishedWork,
    fresh: bool,
    progress: Progress,
    done_with: Callable[[Audited], Audited] = lambda audited: audited,
) -> tuple[Season, list[Audited], tuple[str, ...]]:
    """Audit the operations in order, gathering the complaints of all of them.

    ``done_with`` is given each as soon as it is there, and gives what is to be kept of it.

    Returns
    -------
    Season
        With the operations that were audited, all unless it may be audited in parts.
    list of Audited
    tuple of str
        Remarks on what was taken from earlier runs.
    """
    progress(tr("looking for finished operations"), 0)
    work = [
        _Work(plan, asked, draw, keep_tracks, claim)
        for plan, asked, claim in zip(
            season.operations, asked_of(season), claims_of(season, finished), strict=True
        )
    ]
    found = (None if fresh else _finished(task) for task in work)
    audited = [None if one is None else done_with(one) for one in found]
    missing = [i for i, one in enumerate(audited) if one is None]
    taken = len(work) - len(missing)
    problems: list[Problem] = []
    with _calls([work[i] for i in missing], jobs, lambda stage: progress(stage, taken)) as calls:
        for done, (i, call) in enumerate(zip(missing, calls, strict=True), start=taken):
            if len(calls) > 1:
                progress(f"{season.operations[i].field.name}, {season.operations[i].name}", done)
            try:
                audited[i] = done_with(call())
            except InputError as error:
                problems.extend(error.problems)
    whole = [a for a in audited if a is not None]
    if problems and not (season.in_parts and whole):
        raise InputError(problems)
    left_out = tuple(tr("{problem} It was left out.", problem=problem) for problem in problems)
    kept = tuple(p for p, a in zip(season.operations, audited, strict=True) if a is not None)
    season = replace(season, operations=kept, warnings=(*season.warnings, *left_out))
    remarks = finished.remarks([task.claim for task in work], taken)
    return season, whole, tuple(remarks)


def claims_of(season: Season, finished: FinishedWork) -> list[Claim | None]:
    """Name each operation of a season by all that its result hangs on."""
    both = zip(season.operations, asked_of(season), strict=True)
    return [finished.claim(plan, *astuple(asked)) for plan, asked in both]


def asked_of(season: Season) -> list[Asked]:
    """What shapes the result of each operation of a season.

    Keys are made of names, so that an operation keeps its own whichever others are beside it.
    """
    names = [f"{plan.field.name}\0{plan.name}" for plan in season.operations]
    keys = unique_slugs(f"op{hashlib.sha256(name.encode()).hexdigest()[:10]}" for name in names)
    plain = (key.replace("-", "x") for key in keys)
    told = now_spoken().tag
    return [Asked(key, season.units, season.currency, told) for key in plain]


class _Work(NamedTuple):
    """What :func:`audit_plan` is called with."""

    plan: OperationPlan
    asked: Asked
    draw: bool
    keep_tracks: bool
    claim: Claim | None


def _finished(work: _Work) -> Audited | None:
    """Return an operation as an earlier run finished it, its logs read anew if asked for."""
    claim = work.claim
    found = claim.take(Audited) if claim else None
    if claim is None or found is None or not work.keep_tracks:
        return found
    try:
        found = replace(found, tracks=load_operation(work.plan).tracks)
    except InputError:  # a file was changed just now: its audit will tell
        return None
    return found if claim.holds() else None


def _calls(
    work: Sequence[_Work], jobs: int, say: Callable[[str], None]
) -> AbstractContextManager[list[Callable[[], Audited]]]:
    """One call per operation, run here or already under way in a worker process."""
    if len(work) == 1:
        return nullcontext([partial(audit_plan, *work[0], say)])
    return workers.shared(audit_plan, work, min(jobs, len(work)))
