"""From a season to a result folder: read, audit, report, write."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from multiprocessing import active_children, get_context
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np

from evenacre.coverage.audit import audit_operation
from evenacre.errors import InputError, Problem
from evenacre.io.result_folder.staging import staged_folder
from evenacre.io.season.load_operation import load_operation
from evenacre.io.season.plan_json import read_plan
from evenacre.io.tickets.load_tickets import stray_fills
from evenacre.io.writers.results import write_outputs
from evenacre.io.writers.track_layer import track_layer
from evenacre.model import OperationPlan, Season, Track
from evenacre.model.audit_result import AuditResult
from evenacre.model.outputs import Deliverables, OperationFiles
from evenacre.planning.interseeding.compare_to_audit import compare
from evenacre.planning.interseeding.comparison import PlannedDone
from evenacre.planning.loads.stock_balance import (
    Balance,
    OperationLoads,
    operation_load_book,
    season_balances,
)
from evenacre.planning.season.nutrients import AuditedJob
from evenacre.planning.season.season_totals import Ledger, ledger
from evenacre.processes import workers
from evenacre.processes.generation_time import generation_time
from evenacre.processes.written import Written
from evenacre.reports.column import Display
from evenacre.reports.figure_text import operation_slugs
from evenacre.reports.maps.stored_layers import join_layers, operation_layers, rasters
from evenacre.reports.pages.audit import (
    RenderedOperation,
    document,
    render_operation,
    render_planned_done,
    render_season,
)
from evenacre.reports.sentences.audit import card
from evenacre.reports.sentences.findings import refusals_in_words, sentences
from evenacre.reports.sentences.plan_against_done import planned_done_lines
from evenacre.reports.sentences.season import season_card
from evenacre.reports.tables.audit import audit_frames, fix_list
from evenacre.reports.tables.loads import load_frames
from evenacre.reports.tables.plan_against_done import planned_done_frame
from evenacre.reports.tables.season import season_frames
from evenacre.reports.tables.summary import summary
from evenacre.units.display import UnitSystem, unit_system
from evenacre.workflows.finished import Claim, FinishedWork

Progress = Callable[[str, int], None]
"""Told the stage at work and how many operations are done."""


@dataclass(frozen=True)
class Audited:
    """One operation, audited and drawn; its logs too where they were asked for."""

    result: AuditResult
    rendered: RenderedOperation
    layers: dict[str, gpd.GeoDataFrame]
    loads: OperationLoads
    tracks: tuple[Track, ...] = ()


@dataclass(frozen=True)
class Outcome:
    """A finished audit.

    Attributes
    ----------
    summary : dict
        As in ``summary.json``.
    lines : tuple of str
        The account in plain words, for a terminal.
    remarks : tuple of str
        About the run rather than the ground; no part of the result.
    """

    summary: dict[str, Any]
    lines: tuple[str, ...]
    remarks: tuple[str, ...] = ()


def audit_plan(
    plan: OperationPlan,
    key: str,
    units: str,
    currency: str,
    keep_tracks: bool = False,
    say: Callable[[str], None] = lambda _stage: None,
) -> Audited:
    """Read, audit and draw one operation; runs in any process.

    Parameters
    ----------
    plan : OperationPlan
    key : str
        Letters and digits, unlike any other operation's.
    units : str
        Name of the unit system of the report.
    currency : str
    keep_tracks : bool
        Hand the logs back too.
    say : callable, optional
        Told each stage as it begins.
    """
    say("reading the log")
    operation = load_operation(plan)
    with refusals_in_words():
        result = audit_operation(operation, say)
    loads = operation_load_book(operation, result)
    result = replace(result, findings=(*result.findings, *loads.findings))
    say("drawing the maps")
    rendered = render_operation(result, unit_system(units), key=key, currency=currency, loads=loads)
    tracks = operation.tracks if keep_tracks else ()
    return Audited(result, rendered, operation_layers(result), loads, tracks)


def audit_and_keep(
    plan: OperationPlan,
    key: str,
    units: str,
    currency: str,
    keep_tracks: bool,
    claim: Claim | None,
    say: Callable[[str], None] = lambda _stage: None,
) -> Audited:
    """Audit as :func:`audit_plan` does and keep the operation for later runs at once."""
    audited = audit_plan(plan, key, units, currency, keep_tracks, say)
    if claim is not None:
        claim.keep(replace(audited, tracks=()))
    return audited


def audit_season(
    season: Season,
    out: Path,
    *,
    jobs: int = 1,
    geoparquet: bool = False,
    plan_file: Path | None = None,
    fresh: bool = False,
    progress: Progress = lambda _stage, _done: None,
    written: Written | None = None,
) -> Outcome:
    """Audit every operation of a season and write the result folder.

    Parameters
    ----------
    season : Season
    out : Path
        Written whole or not at all.
    jobs : int
        Processes to share the operations among.
    geoparquet : bool
        Write the tracks and the chief layers as GeoParquet too.
    plan_file : Path, optional
        ``plan.json`` of a plan of interseeding, to be held against what was done.
    fresh : bool
        Compute every operation, those too that an earlier run finished.
    progress : callable, optional
        Told the stage at work and how many operations are done.
    written : Written, optional
        Told what was written, and of files that were kept.

    Returns
    -------
    Outcome

    Raises
    ------
    InputError
        With the complaints of every operation that could not be audited, or of the plan.
    """
    units = unit_system(season.units)
    planned = read_plan(plan_file) if plan_file is not None else None
    if planned is not None:
        season = replace(season, inputs=(*season.inputs, planned.file))
    with staged_folder(out, written=written) as stage:
        audited, remarks = _audit_all(season, jobs, geoparquet, fresh, progress)
        progress("writing the report", len(audited))
        book = _ledger(season, audited)
        balances = _balances(season, audited)
        compared = compare(planned, [a.result for a in audited]) if planned else None
        delivered = _deliverables(season, audited, book, balances, compared, units)
        if geoparquet:
            delivered = replace(delivered, tracks=_track_layer(audited))
        account = write_outputs(stage, delivered)
    lines = [line for a in audited for line in _lines(a, units, season.currency)]
    lines += _season_lines(book, balances, units, season.currency)
    lines += planned_done_lines(compared, units) if compared else ()
    return Outcome(account, tuple(lines), remarks)


def _ledger(season: Season, audited: Sequence[Audited]) -> Ledger:
    jobs = [AuditedJob(plan, a.result) for plan, a in zip(season.operations, audited, strict=True)]
    return ledger(jobs, season.needs, season.products)


def _balances(season: Season, audited: Sequence[Audited]) -> tuple[Balance, ...]:
    strays = stray_fills(p.ticket_file for p in season.operations if p.ticket_file)
    return season_balances([a.loads for a in audited], season.products, strays)


def _season_lines(
    book: Ledger, balances: Sequence[Balance], units: UnitSystem, currency: str
) -> Iterator[str]:
    answer = season_card(book, units, currency=currency, balances=balances)
    if answer or book.findings:
        yield f"The season: {answer.headline}." if answer else "The season:"
    if answer:
        yield from (f"  {sentence}" for _, sentence in answer.lines)
    yield from (f"  warning: {warning}" for warning in sentences(book.findings, "warning"))


def _lines(audited: Audited, units: UnitSystem, currency: str) -> Iterator[str]:
    result = audited.result
    answer = card(result, units, currency=currency, loads=audited.loads.loads)
    yield f"{result.field}, {result.operation}: {answer.headline}."
    yield from (f"  {sentence}" for _, sentence in answer.lines)
    yield from (f"  warning: {warning}" for warning in sentences(result.findings, "warning"))


def _track_layer(audited: Sequence[Audited]) -> gpd.GeoDataFrame:
    """Records of every log as points, each with its field and operation."""
    layer = track_layer([track for a in audited for track in a.tracks])
    counts = [sum(map(len, a.tracks)) for a in audited]
    layer.insert(0, "field", np.repeat([a.result.field for a in audited], counts))
    layer.insert(1, "operation", np.repeat([a.result.operation for a in audited], counts))
    return layer


_Work = tuple[OperationPlan, str, str, str, bool, Claim | None]
"""What :func:`audit_and_keep` is called with."""


def _audit_all(
    season: Season, jobs: int, keep_tracks: bool, fresh: bool, progress: Progress
) -> tuple[list[Audited], tuple[str, ...]]:
    """Audit the operations in order, gathering the complaints of all of them.

    Returns
    -------
    list of Audited
    tuple of str
        Remarks on what was taken from earlier runs.
    """
    progress("looking for finished operations", 0)
    finished = FinishedWork.open()
    work: list[_Work] = []
    for i, plan in enumerate(season.operations, start=1):
        asked = f"op{i}", season.units, season.currency
        work.append((plan, *asked, keep_tracks, finished.claim(plan, *asked)))
    audited = [None if fresh else _finished(*args) for args in work]
    missing = [i for i, found in enumerate(audited) if found is None]
    taken = len(work) - len(missing)
    problems: list[Problem] = []
    with _calls([work[i] for i in missing], jobs, lambda stage: progress(stage, taken)) as calls:
        for done, (i, call) in enumerate(zip(missing, calls, strict=True), start=taken):
            if len(calls) > 1:
                progress(f"{season.operations[i].field.name}, {season.operations[i].name}", done)
            try:
                audited[i] = call()
            except InputError as error:
                problems.extend(error.problems)
    if problems:
        raise InputError(problems)
    remarks = finished.remarks([args[-1] for args in work], taken)
    return [a for a in audited if a is not None], tuple(remarks)


def _finished(
    plan: OperationPlan,
    _key: str,
    _units: str,
    _currency: str,
    keep_tracks: bool,
    claim: Claim | None,
) -> Audited | None:
    """Return an operation as an earlier run finished it, its logs read anew if asked for."""
    found = claim.take(Audited) if claim else None
    if claim is None or found is None or not keep_tracks:
        return found
    try:
        found = replace(found, tracks=load_operation(plan).tracks)
    except InputError:  # a file was changed just now: its audit will tell
        return None
    return found if claim.holds() else None


@contextmanager
def _calls(
    work: Sequence[_Work], jobs: int, say: Callable[[str], None]
) -> Iterator[list[Callable[[], Audited]]]:
    """One call per operation, run here or already under way in a worker process."""
    jobs = min(jobs, len(work))
    if jobs < 2:
        stages = (say,) if len(work) == 1 else ()
        yield [partial(audit_and_keep, *args, *stages) for args in work]
        return
    pool: ProcessPoolExecutor | None = None
    try:
        with workers.starting():
            pool = ProcessPoolExecutor(jobs, get_context("spawn"), initializer=workers.begin)
            started = [pool.submit(audit_and_keep, *args) for args in work]
        yield [future.result for future in started]
    except BaseException:
        for child in active_children():
            child.terminate()
        raise
    finally:
        if pool is not None:
            pool.shutdown(cancel_futures=True)


def _deliverables(
    season: Season,
    audited: list[Audited],
    book: Ledger,
    balances: Sequence[Balance],
    compared: PlannedDone | None,
    units: UnitSystem,
) -> Deliverables:
    results = [a.result for a in audited]
    loads = [a.loads for a in audited]
    slugs = operation_slugs(results)
    display = Display(units, season.currency)
    return Deliverables(
        summary=summary(
            results,
            farm=season.farm,
            inputs=season.inputs,
            warnings=season.warnings,
            generated=generation_time().isoformat(timespec="seconds"),
            currency=season.currency,
            ledger=book,
            loads=loads,
            balances=balances,
            planned_done=compared,
        ),
        report=document(
            [a.rendered for a in audited],
            farm=season.farm,
            inputs=season.inputs,
            warnings=season.warnings,
            season=render_season(book, units, currency=season.currency, balances=balances),
            planned_done=render_planned_done(compared, units) if compared else None,
        ),
        layers=join_layers([a.layers for a in audited]),
        tables={
            **audit_frames(results, display),
            **season_frames(book, display),
            **load_frames(loads, balances, display),
            **({"planned_done": planned_done_frame(compared, display)} if compared else {}),
        },
        fix_list=fix_list(results, units),
        operations=tuple(
            OperationFiles(slug, rasters(a.result), a.rendered.maps)
            for slug, a in zip(slugs, audited, strict=True)
        ),
    )
