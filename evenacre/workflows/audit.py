"""From a season to its audit, and to the folder of it: read, audit, report, write."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np

from evenacre.io.season.plan_json import read_plan
from evenacre.io.tickets.load_tickets import stray_fills
from evenacre.io.writers.results import write_outputs
from evenacre.io.writers.track_layer import track_layer
from evenacre.model import PlannedSeeding, Season
from evenacre.model.audit_result import AuditResult
from evenacre.model.outputs import Deliverables, OperationFiles
from evenacre.planning.interseeding.comparison import PlannedDone, compare
from evenacre.planning.loads.stock_balance import Balance, season_balances
from evenacre.planning.season.nutrients import AuditedJob
from evenacre.planning.season.season_totals import Ledger, ledger
from evenacre.processes.generation_time import generation_time
from evenacre.processes.written import Written
from evenacre.reports.figure_text import operation_slugs
from evenacre.reports.maps.stored_layers import join_layers, rasters
from evenacre.reports.pages.audit import (
    RenderedOperation,
    document,
    render_planned_done,
    render_season,
)
from evenacre.reports.quantities import Display
from evenacre.reports.sentences.audit import FIRST, card
from evenacre.reports.sentences.findings import sentences
from evenacre.reports.sentences.plan_against_done import planned_done_lines
from evenacre.reports.sentences.season import season_card
from evenacre.reports.tables.accounts import summary
from evenacre.reports.tables.audit import audit_frames, fix_list
from evenacre.reports.tables.intervals import interval_frames
from evenacre.reports.tables.loads import load_frames
from evenacre.reports.tables.plan_against_done import planned_done_frame
from evenacre.reports.tables.season import season_frames
from evenacre.units.display import UnitSystem, unit_system
from evenacre.workflows.finished import FinishedWork
from evenacre.workflows.operations import Audited, Progress, asked_of, audit_operations, drawn
from evenacre.workflows.result import FolderResult, Outcome, write_result


@dataclass(frozen=True, repr=False)
class Audit(FolderResult):
    """A season, or one job of it, held against the ground.

    The layers are GeoDataFrames in EPSG:4326 with all operations in them; columns ``field`` and
    ``operation`` tell which. Areas are m2, lengths m, times s since 1970.

    Attributes
    ----------
    season : Season
        What was read.
    audited : tuple of Audited
    planned : PlannedSeeding or None
        A plan of interseeding that the work is held against.
    remarks : tuple of str
        On what was taken from earlier runs.
    geoparquet : bool
        Whether the folder gets the tracks and the chief layers as GeoParquet too.

    Examples
    --------
    >>> skips = ev.audit("season.toml").skips
    >>> len(skips), skips.crs.to_epsg()
    (1, 4326)
    """

    season: Season
    audited: tuple[Audited, ...]
    planned: PlannedSeeding | None = None
    remarks: tuple[str, ...] = ()
    geoparquet: bool = False

    @property
    def operations(self) -> tuple[AuditResult, ...]:
        """Each operation by itself, in the order of the season."""
        return tuple(a.result for a in self.audited)

    @property
    def warnings(self) -> tuple[str, ...]:
        """What looked suspicious and was used all the same."""
        own = (w for r in self.operations for w in sentences(r.findings, "warning"))
        return (*self.season.warnings, *own, *sentences(self._ledger.findings, "warning"))

    @cached_property
    def layers(self) -> dict[str, gpd.GeoDataFrame]:
        """Every layer by its name in ``layers.gpkg``."""
        return join_layers([a.layers for a in self.audited])

    @property
    def skips(self) -> gpd.GeoDataFrame:
        """Ground missed that is worth going back for, numbered as in the fix list."""
        return self.layers["skips"]

    @property
    def passes(self) -> gpd.GeoDataFrame:
        """The passes driven, as lines with their times, lengths and speeds."""
        return self.layers["passes"]

    @property
    def cover(self) -> gpd.GeoDataFrame:
        """Ground by how often it was covered: 1, 2, or 3 for three times or more."""
        return self.layers["cover"]

    @property
    def zones(self) -> gpd.GeoDataFrame:
        """Zones with their area and, for each product, ``applied_kg_PRODUCT``."""
        return self.layers["zones"]

    @cached_property
    def tracks(self) -> gpd.GeoDataFrame:
        """The records of the logs as points; columns carry their units."""
        layer = track_layer([track for a in self.audited for track in a.tracks])
        counts = [sum(map(len, a.tracks)) for a in self.audited]
        for place, name in enumerate(("field", "operation")):
            told = [getattr(result, name) for result in self.operations]
            layer.insert(place, name, np.repeat(told, counts))
        return layer

    def _headline(self) -> str:
        more = len(self.audited) - 1
        return self.lines[0] + (f" And {more} more operations." if more else "")

    def _lines(self) -> tuple[str, ...]:
        units, currency = unit_system(self.season.units), self.season.currency
        lines = [line for a in self.audited for line in _operation_lines(a, units, currency)]
        lines += _season_lines(self._ledger, self._balances, units, currency)
        lines += planned_done_lines(self._compared, units) if self._compared else ()
        lines += [f"warning: {text}" for text in self.season.warnings]
        return tuple(lines)

    def _summary(self) -> dict[str, Any]:
        return summary(
            self.operations,
            farm=self.season.farm,
            inputs=self.season.inputs,
            warnings=self.season.warnings,
            generated=generation_time().isoformat(timespec="seconds"),
            currency=self.season.currency,
            ledger=self._ledger,
            loads=[a.loads for a in self.audited],
            balances=self._balances,
            planned_done=self._compared,
        )

    def _fill(self, stage: Path) -> dict[str, Any]:
        return write_outputs(stage, self._deliverables())

    @cached_property
    def _ledger(self) -> Ledger:
        plans = zip(self.season.operations, self.operations, strict=True)
        jobs = [AuditedJob(plan, result) for plan, result in plans]
        return ledger(jobs, self.season.needs, self.season.products)

    @cached_property
    def _balances(self) -> tuple[Balance, ...]:
        strays = stray_fills(p.ticket_file for p in self.season.operations if p.ticket_file)
        return season_balances([a.loads for a in self.audited], self.season.products, strays)

    @cached_property
    def _compared(self) -> PlannedDone | None:
        return compare(self.planned, self.operations) if self.planned else None

    def _rendered(self) -> list[RenderedOperation]:
        """What is drawn of each operation, now where that has not been done."""
        ready = (
            a if a.rendered else drawn(a, asked)
            for a, asked in zip(self.audited, asked_of(self.season), strict=True)
        )
        return [a.rendered for a in ready if a.rendered]

    def _deliverables(self) -> Deliverables:
        season, results = self.season, self.operations
        units, currency = unit_system(season.units), season.currency
        display = Display(units, currency)
        compared, rendered = self._compared, self._rendered()
        loads = [a.loads for a in self.audited]
        part = render_season(self._ledger, units, currency=currency, balances=self._balances)
        return Deliverables(
            summary=self.summary,
            report=document(
                rendered,
                farm=season.farm,
                inputs=season.inputs,
                warnings=season.warnings,
                season=part,
                planned_done=render_planned_done(compared, units) if compared else None,
            ),
            layers=self.layers,
            tables={
                **audit_frames(results, display),
                **season_frames(self._ledger, display),
                **load_frames(loads, self._balances, display),
                **interval_frames(self.figures, display),
                **({"planned_done": planned_done_frame(compared, display)} if compared else {}),
            },
            fix_list=fix_list(results, units),
            operations=tuple(
                OperationFiles(slug, rasters(result), pages.maps)
                for slug, result, pages in zip(
                    operation_slugs(results), results, rendered, strict=True
                )
            ),
            tracks=self.tracks if self.geoparquet else None,
        )


def run_audit(
    season: Season,
    *,
    planned: PlannedSeeding | None = None,
    jobs: int = 1,
    draw: bool = True,
    keep_tracks: bool = False,
    finished: FinishedWork | None = None,
    fresh: bool = False,
    progress: Progress = lambda _stage, _done: None,
) -> Audit:
    """Audit every operation of a season.

    Parameters
    ----------
    season : Season
    planned : PlannedSeeding, optional
        A plan of interseeding, to be held against what was done.
    jobs : int
        Processes to share the operations among.
    draw : bool
        Draw maps at once, in the process that audits; else when the folder is written.
    keep_tracks : bool
        Keep the logs.
    finished : FinishedWork, optional
        What earlier runs finished, and where to keep what is finished now.
    fresh : bool
        Compute every operation, those too that an earlier run finished.
    progress : callable, optional
        Told the stage at work and how many operations are done.

    Raises
    ------
    InputError
        With the complaints of every operation that could not be audited.
    """
    if planned is not None:
        season = replace(season, inputs=(*season.inputs, planned.file))
    season, done, remarks = audit_operations(
        season,
        jobs=jobs,
        draw=draw,
        keep_tracks=keep_tracks,
        finished=finished or FinishedWork(None),
        fresh=fresh,
        progress=progress,
    )
    return Audit(season, tuple(done), planned, remarks)


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

    Examples
    --------
    >>> season = ev.load_season(Path("season.toml"))
    >>> outcome = ev.audit_season(season, Path("audited"))
    >>> outcome.lines[0]
    'Home Field, Spring fertilizer: 1.99 ac of 2.01 ac covered.'
    """
    planned = read_plan(plan_file) if plan_file is not None else None

    def job() -> Audit:
        done = run_audit(
            season,
            planned=planned,
            jobs=jobs,
            keep_tracks=geoparquet,
            finished=FinishedWork.open(),
            fresh=fresh,
            progress=progress,
        )
        progress("writing the report", len(done.audited))
        return replace(done, geoparquet=geoparquet)

    return write_result(Audit, out, job, written=written)


def _season_lines(
    book: Ledger, balances: Sequence[Balance], units: UnitSystem, currency: str
) -> Iterator[str]:
    answer = season_card(book, units, currency=currency, balances=balances)
    if answer or book.findings:
        yield f"The season: {answer.headline}." if answer else "The season:"
    if answer:
        yield from (f"  {sentence}" for _, sentence in answer.lines)
    yield from (f"  warning: {warning}" for warning in sentences(book.findings, "warning"))


def _operation_lines(audited: Audited, units: UnitSystem, currency: str) -> Iterator[str]:
    result = audited.result
    answer = card(result, units, currency=currency, loads=audited.loads.loads)
    yield f"{result.field}, {result.operation}: {answer.headline}."
    yield from (f"  {sentence}" for _, sentence in answer.lines)
    others = (finding for finding in result.findings if finding.code not in FIRST)
    yield from (f"  warning: {warning}" for warning in sentences(others, "warning"))
