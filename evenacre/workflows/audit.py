"""From a season to its audit, and to the folder of it: read, audit, report, write."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from evenacre.io.common.versions import versions
from evenacre.io.season.plan_json import read_plan
from evenacre.io.tickets.load_tickets import stray_fills
from evenacre.io.writers.file_names import handed_names, unrooted
from evenacre.io.writers.results import lay_down, write_outputs
from evenacre.io.writers.track_layer import track_layer
from evenacre.language import now_spoken, spoken, tr
from evenacre.model import PlannedSeeding, Season
from evenacre.model.audit_result import AuditResult, Grid
from evenacre.model.finding import reader_findings
from evenacre.model.outputs import Deliverables, OperationFiles, Part
from evenacre.planning.interseeding.comparison import PlannedDone, compare
from evenacre.planning.loads.stock_balance import Balance, season_balances
from evenacre.planning.season.nutrients import AuditedJob
from evenacre.planning.season.season_totals import Ledger, ledger, money
from evenacre.processes.generation_time import generation_time
from evenacre.processes.written import Written
from evenacre.reports.charts.plot import Chart
from evenacre.reports.charts.season import season_charts
from evenacre.reports.figure_text import operation_slugs
from evenacre.reports.maps.stored_layers import join_layers, rasters
from evenacre.reports.pages.audit import (
    RenderedOperation,
    chart_files,
    document,
    render_planned_done,
    render_season,
)
from evenacre.reports.pages.method import method_page
from evenacre.reports.paper.account import PaperJob, SeasonAccount
from evenacre.reports.paper.all_sheets import sheets
from evenacre.reports.paper.report import report
from evenacre.reports.quantities import Display
from evenacre.reports.sentences.audit import FIRST, card, job_line
from evenacre.reports.sentences.findings import sentences
from evenacre.reports.sentences.plan_against_done import planned_done_lines
from evenacre.reports.sentences.season import job_cost, season_card
from evenacre.reports.tables.accounts import summary
from evenacre.reports.tables.audit import audit_frames, fix_lists
from evenacre.reports.tables.intervals import interval_frames
from evenacre.reports.tables.loads import load_frames
from evenacre.reports.tables.method import Method, Version, findings_told, meanings, settings_used
from evenacre.reports.tables.plan_against_done import planned_done_frame
from evenacre.reports.tables.season import season_frames
from evenacre.reports.writers.as_frame import stacked
from evenacre.reports.writers.typeset import Paper, paper_size, typeset
from evenacre.units.display import UnitSystem, unit_system
from evenacre.workflows.finished import FinishedWork
from evenacre.workflows.operations import (
    Audited,
    Progress,
    asked_of,
    audit_operations,
    claims_of,
    drawn,
)
from evenacre.workflows.result import FolderResult, Outcome, write_as_it_comes
from evenacre.workflows.standing import claim_of_result, keep_standing, standing_result


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
    pdf : bool
        Whether it gets the report and sheets to hand over as PDF.
    only : tuple of Part or None
        The parts that it gets beside the summary; None: all.

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
    pdf: bool = False
    only: tuple[Part, ...] | None = None

    def wants(self, part: Part) -> bool:
        """Whether a part of the result was asked for."""
        also = part == "layers" and self.geoparquet
        return self.only is None or part in self.only or also

    @property
    def operations(self) -> tuple[AuditResult, ...]:
        """Each operation by itself, in the order of the season."""
        return tuple(a.result for a in self.audited)

    @property
    def warnings(self) -> tuple[str, ...]:
        """What looked suspicious and was used all the same."""
        with spoken(self.language):
            own = [w for r in self.operations for w in sentences(r.findings, "warning")]
            own += sentences(self._ledger.findings, "warning")
        return (*self.season.warnings, *own)

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
        return self.lines[0] + (tr(" And {more} more operations.", more=more) if more else "")

    def _lines(self) -> tuple[str, ...]:
        units, currency = unit_system(self.season.units), self.season.currency
        lines = [line for a in self.audited for line in _operation_lines(a, units, currency)]
        lines += _season_lines(self._ledger, self._balances, units, currency)
        lines += planned_done_lines(self._compared, units) if self._compared else ()
        lines += [tr("warning: {said}", said=text) for text in self.season.warnings]
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
        return ledger(self._jobs, self.season.needs, self.season.products)

    @cached_property
    def _jobs(self) -> tuple[AuditedJob, ...]:
        return tuple(map(AuditedJob, self.season.operations, self.operations))

    @cached_property
    def _balances(self) -> tuple[Balance, ...]:
        strays = stray_fills(p.ticket_file for p in self.season.operations if p.ticket_file)
        return season_balances([a.loads for a in self.audited], self.season.products, strays)

    @cached_property
    def _compared(self) -> PlannedDone | None:
        return compare(self.planned, self.operations) if self.planned else None

    def _rendered(self) -> list[RenderedOperation]:
        """What is drawn of each operation, now where that has not been done, if anything is."""
        if not _drawing(self.only):
            return []
        ready = (
            a if a.rendered else drawn(a, asked)
            for a, asked in zip(self.audited, asked_of(self.season), strict=True)
        )
        return [a.rendered for a in ready if a.rendered]

    def _deliverables(self) -> Deliverables:
        season, results = self.season, self.operations
        units, currency = unit_system(season.units), season.currency
        display = Display(units, currency)
        rendered = self._rendered()
        lists = fix_lists(results, units) if self.wants("fixes") else None
        return Deliverables(
            summary=self.summary,
            report=self._report(rendered) if self.wants("report") else None,
            method=(
                method_page(self._method(display), display, farm=season.farm)
                if self.wants("report")
                else None
            ),
            layers=self.layers if self.wants("layers") else None,
            tables=self._tables(display) if self.wants("tables") else None,
            fix_list=None if lists is None else stacked(lists),
            charts=chart_files(self._charts) if self.wants("maps") else {},
            operations=tuple(
                OperationFiles(
                    slug,
                    rasters(a.result) if self.wants("rasters") and not a.laid_down else {},
                    rendered[n].maps if self.wants("maps") else {},
                    rendered[n].charts if self.wants("maps") else {},
                    None if lists is None else lists[n],
                    a.laid_down,
                )
                for n, (slug, a) in enumerate(
                    zip(operation_slugs(results), self.audited, strict=True)
                )
            ),
            tracks=self.tracks if self.geoparquet else None,
            papers=self._set_on_paper() if self.pdf else {},
        )

    @cached_property
    def _charts(self) -> list[Chart]:
        units = unit_system(self.season.units)
        return season_charts(self.operations, self._ledger, units, self.season.currency)

    def _report(self, rendered: Sequence[RenderedOperation]) -> str:
        season, compared = self.season, self._compared
        units, currency = unit_system(season.units), season.currency
        return document(
            rendered,
            farm=season.farm,
            inputs=season.inputs,
            warnings=season.warnings,
            costs=[job_cost(money(job), currency) for job in self._jobs],
            season=render_season(
                self._ledger,
                units,
                currency=currency,
                balances=self._balances,
                charts=self._charts,
            ),
            planned_done=render_planned_done(compared, units) if compared else None,
        )

    def _tables(self, display: Display) -> dict[str, pd.DataFrame]:
        compared = self._compared
        return {
            **audit_frames(self.operations, display),
            **season_frames(self._ledger, display),
            **load_frames([a.loads for a in self.audited], self._balances, display),
            **interval_frames(self.figures, display),
            **({"planned_done": planned_done_frame(compared, display)} if compared else {}),
        }

    def _method(self, display: Display) -> Method:
        season, plan = self.season, self.planned
        asked = {"--geoparquet": self.geoparquet, "--pdf": self.pdf}
        command = (
            *("audit", *unrooted(season.origin, [file.path for file in season.inputs])),
            *("--units", season.units, "--language", now_spoken().tag),
            *(("--plan", plan.file.path) if plan else ()),
            *(flag for flag, on in asked.items() if on),
            *(() if self.only is None else ("--only", ",".join(("summary", *self.only)))),
        )
        of_season = [*reader_findings(season.warnings), *self._ledger.findings]
        return Method(
            command=command if season.origin else (),
            inputs=handed_names(season.inputs),
            settings=[*settings_used(self._jobs)],
            findings=findings_told(self.operations, of_season),
            versions=[Version(name, version) for name, version in versions().items()],
            figures=meanings(display),
        )

    @property
    def for_paper(self) -> SeasonAccount:
        """What the report and the sheets on paper are made of."""
        season = self.season
        display = Display(unit_system(season.units), season.currency)

        def told(job: AuditedJob, audited: Audited) -> PaperJob:
            result, loads = audited.result, audited.loads
            answer = card(result, display.units, currency=season.currency, loads=loads.loads)
            return PaperJob(job, loads, job_line(result, answer, display.units), display)

        return SeasonAccount(
            season.farm,
            [*map(told, self._jobs, self.audited)],
            self._ledger,
            display,
            handed_names(season.inputs),
            season.warnings,
            self._balances,
            season.handover,
        )

    def _set_on_paper(self) -> dict[str, bytes]:
        """The report and the sheets as PDF, by the names of their files."""
        season = self.season
        size = paper_size(season.units, season.currency, season.handover.paper)
        made = generation_time()
        with ThreadPoolExecutor() as pool:
            # A paper is set while the maps of the next are drawn.
            under_way = {
                name: pool.submit(copy_context().run, typeset, paper, size=size, made=made)
                for name, paper in _papers(self.for_paper, self._compared)
            }
            return {name: paper.result() for name, paper in under_way.items()}


def _papers(account: SeasonAccount, compared: PlannedDone | None) -> Iterator[tuple[str, Paper]]:
    yield from sheets(account)
    yield "report.pdf", report(account, compared)


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
    done_with: Callable[[Audited], Audited] = lambda audited: audited,
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
    done_with : callable, optional
        Given each operation as soon as it is there; gives what is to be kept of it.

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
        done_with=done_with,
    )
    return Audit(season, tuple(done), planned, remarks)


def audit_season(
    season: Season,
    out: Path,
    *,
    jobs: int = 1,
    geoparquet: bool = False,
    pdf: bool = False,
    only: Sequence[Part] | None = None,
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
    pdf : bool
        Write the report and sheets to hand over as PDF too.
    only : sequence of Part, optional
        Write these parts beside the summary, and compute no others; all when None.
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
    finished = FinishedWork.open()
    progress(tr("looking for finished operations"), 0)
    claims = claims_of(season, finished)
    shaped = (planned and planned.file, geoparquet, pdf, None if only is None else sorted(only))
    claim = claim_of_result(finished, claims, season, shaped)
    if claim is not None and not fresh:
        remarks = tuple(finished.remarks(claims, len(claims)))
        if stands := standing_result(claim, out, remarks):
            return stands

    def job(stage: Path) -> Audit:
        # Maps on paper, and what the ground still needs, are made of the grids.
        laid = None if pdf or planned or season.needs else _LaidDown(stage, only)
        done = run_audit(
            season,
            planned=planned,
            jobs=jobs,
            draw=_drawing(only),
            keep_tracks=geoparquet,
            finished=finished,
            fresh=fresh,
            progress=progress,
            done_with=laid or (lambda audited: audited),
        )
        progress(tr("writing the report"), len(done.audited))
        return replace(
            done, geoparquet=geoparquet, pdf=pdf, only=None if only is None else tuple(only)
        )

    outcome = write_as_it_comes(Audit, out, job, written=written)
    if claim is not None and all(one and one.kept() for one in claims):
        keep_standing(claim, outcome)
    return outcome


_DRAWN = ("unworkable", "swaths", "cover", "overlaps", "headland", "outside")
"""Layers in the plane that nothing but drawings asks for."""


class _LaidDown:
    """Lay down rasters and drawings of each operation in the stage, and keep the rest.

    Parameters
    ----------
    stage : Path
    only : sequence of Part or None
    """

    def __init__(self, stage: Path, only: Sequence[Part] | None) -> None:
        self._stage, self._only, self._count = stage, only, 0

    def __call__(self, audited: Audited) -> Audited:
        """What is to be kept of an operation."""
        result, rendered = audited.result, audited.rendered
        if rendered is None and _drawing(self._only):
            return audited  # it is yet to be drawn, from all there is
        self._count += 1
        name = f".{self._count}"  # no operation is called so
        wanted = ("rasters", "maps") if self._only is None else self._only
        maps, charts = (rendered.maps, rendered.charts) if rendered else ({}, {})
        files = OperationFiles(
            name,
            rasters(result) if "rasters" in wanted else {},
            maps if "maps" in wanted else {},
            charts if "maps" in wanted else {},
            None,
        )
        lay_down(self._stage / name, files)
        if rendered:
            rendered = replace(rendered, maps={}, charts={})
        products = tuple(
            replace(p, rate=_bare(p.rate), rate_ground=_no_rows(p.rate_ground))
            for p in result.products
        )
        layers = {n: _no_rows(f) if n in _DRAWN else f for n, f in result.layers.items()}
        grid = _bare(result.cover_grid)
        result = replace(result, cover_grid=grid, products=products, layers=layers, drive=None)
        return replace(audited, result=result, rendered=rendered, laid_down=name)


def _no_rows(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    return frame.iloc[:0].copy()


def _bare(grid: Grid) -> Grid:
    return replace(grid, values=np.zeros((0, 0)))


def _drawing(only: Collection[Part] | None) -> bool:
    """Whether anything is to be drawn for the parts that were asked for."""
    return only is None or not {"report", "maps"}.isdisjoint(only)


def _season_lines(
    book: Ledger, balances: Sequence[Balance], units: UnitSystem, currency: str
) -> Iterator[str]:
    answer = season_card(book, units, currency=currency, balances=balances)
    if answer or book.findings:
        yield (
            tr("The season: {headline}.", headline=answer.headline) if answer else tr("The season:")
        )
    if answer:
        yield from (f"  {sentence}" for _, sentence in answer.lines)
    yield from (
        f"  {tr('warning: {said}', said=text)}" for text in sentences(book.findings, "warning")
    )


def _operation_lines(audited: Audited, units: UnitSystem, currency: str) -> Iterator[str]:
    result = audited.result
    answer = card(result, units, currency=currency, loads=audited.loads.loads)
    yield f"{result.field}, {result.operation}: {answer.headline}."
    yield from (f"  {sentence}" for _, sentence in answer.lines)
    others = (finding for finding in result.findings if finding.code not in FIRST)
    yield from (f"  {tr('warning: {said}', said=text)}" for text in sentences(others, "warning"))
