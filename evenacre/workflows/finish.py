"""How a job under way comes out even: from its tracks so far, or from figures alone.

Figures alone are answered at once, so what only tracks need is imported where it is used.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from evenacre.errors import InputError
from evenacre.io.result_folder.ownership import SUMMARY, write_account
from evenacre.io.writers.file_names import REPORT
from evenacre.language import tr
from evenacre.reports.quantities import Display
from evenacre.reports.sentences.findings import refusals_in_words, sentences
from evenacre.reports.sentences.finish import (
    FinishReport,
    even_sentence,
    finish_lines,
    so_far_lines,
)
from evenacre.reports.tables.finish import FINISH, RATE_SO_FAR
from evenacre.reports.writers.as_json import record
from evenacre.units.display import UnitSystem
from evenacre.workflows.result import FolderResult, Result

if TYPE_CHECKING:
    import geopandas as gpd

    from evenacre.model import OperationPlan, PastSetting, Product, Season
    from evenacre.model.audit_result import AuditResult
    from evenacre.planning.finish.finish_job import FinishJob
    from evenacre.planning.finish.rate_to_finish import Finish
    from evenacre.planning.finish.so_far import Change, SoFar
    from evenacre.planning.loads.loads import Amount
    from evenacre.workflows.typed.finish_options import FinishOptions


@dataclass(frozen=True, repr=False)
class ComeOutEven(FolderResult):
    """The rate that ends the load with the field, and where it runs out at the present one.

    Attributes
    ----------
    finish : Finish
        The figures.
    product : Product
    units : UnitSystem
        Of the words and the map.
    job, result : FinishJob and AuditResult, or None
        What the tracks so far tell; None where there are none.
    so_far, change : SoFar and Change, or None
        What the cart's own loss so far tells, and what it makes of the meter's setting.
    warnings : tuple of str
        Of the settings book.

    Examples
    --------
    >>> ev.finish(area="18 ac", left="1900 lb", rate="110 lb/ac").finish.verdict
    'runs out'
    """

    kind: ClassVar[str] = "evenacre/summary/finish"
    finish: Finish
    product: Product
    units: UnitSystem
    job: FinishJob | None = None
    result: AuditResult | None = None
    so_far: SoFar | None = None
    change: Change | None = None
    warnings: tuple[str, ...] = ()

    @cached_property
    def remaining(self) -> gpd.GeoDataFrame:
        """Ground still to do, passes to come, and where the load runs out; EPSG:4326.

        Columns ``kind``, ``pass``, ``fed`` (whether the load reaches), ``area_m2`` and
        ``length_m``. Empty where there are no tracks.
        """
        if self.result is None or self.job is None:
            import geopandas as gpd

            return gpd.GeoDataFrame({"kind": []}, geometry=[], crs="EPSG:4326")
        from evenacre.reports.maps.finish import finish_features

        return finish_features(self.result, self.job)

    @property
    def passes(self) -> gpd.GeoDataFrame:
        """The passes to come, EPSG:4326."""
        from evenacre.reports.maps.finish import PASS

        return self.remaining[self.remaining["kind"] == PASS]

    @cached_property
    def _report(self) -> FinishReport:
        if self.result is None or self.job is None:
            return FinishReport(self.finish, self.product, so_far=self.so_far, change=self.change)
        from evenacre.reports.maps.finish import run_out_spot

        about, spot = self.result, run_out_spot(self.result, self.job)
        return FinishReport(self.finish, self.product, about.field, about.operation, self.job, spot)

    def _headline(self) -> str:
        said = [line.strip() for line in self.lines]
        finish = self.finish
        if finish.no_ground or finish.empty or finish.verdict == "even":  # said first
            return said[0 if self.result is None else 1]
        return even_sentence(FINISH.texts(self._report, Display(self.units)))

    def _lines(self) -> tuple[str, ...]:
        told = FINISH.texts(self._report, Display(self.units))
        lines = [*finish_lines(self._report, told, self.units)]
        if self.result is None:
            return (*lines, *(tr("warning: {said}", said=text) for text in self.warnings))
        title = f"{self.result.field}, {self.result.operation}: {self.product.name}"
        lines += [
            tr("warning: {said}", said=text) for text in sentences(self.result.findings, "warning")
        ]
        return (title, *(f"  {line}" for line in lines))

    def _summary(self) -> dict[str, Any]:
        account = record(FINISH, self._report)
        account["warnings"] += self.warnings
        if self.result is not None:
            warnings = sentences(self.result.findings, "warning")
            account["warnings"] = [*warnings, *account["warnings"]]
        return account

    def _fill(self, stage: Path) -> dict[str, Any]:
        from evenacre.reports.pages.finish import finish_page

        png = None
        if self.result is not None and self.job is not None:
            from evenacre.io.writers.vector_layers import write_geojson
            from evenacre.reports.maps.finish import finish_map

            write_geojson(stage / "finish.geojson", self.remaining)
            png = finish_map(self.result, self.job, self.units)
            (stage / "finish.png").write_bytes(png)
        headline, said = self._headline(), [line.strip() for line in self.lines]
        title = said[0] if self.result is not None else self.product.name
        told = [text for text in said if text not in (headline, title)]
        warning = tr("warning: {said}", said="")
        page = finish_page(
            title,
            headline,
            [text for text in told if not text.startswith(warning)],
            [text.removeprefix(warning) for text in told if text.startswith(warning)],
            png,
        )
        (stage / REPORT).write_text(page, encoding="utf-8", newline="\n")
        return write_account(stage, SUMMARY, self.summary)


@dataclass(frozen=True, repr=False)
class RateSoFar(Result):
    """What the drill put on so far, where nobody asks how to end.

    Attributes
    ----------
    so_far : SoFar
    change : Change or None
        What the rate wanted makes of the setting.
    units : UnitSystem
        Of the words.
    warnings : tuple of str
        Of the settings book.

    Examples
    --------
    >>> told = ev.finish(started="1250 lb", done="25 ac", left="625 lb", overlap="0 %")
    >>> told.change is None, float(round(told.so_far.rate_kg_per_m2, 6))
    (True, 0.002802)
    """

    so_far: SoFar
    change: Change | None
    units: UnitSystem
    warnings: tuple[str, ...] = ()

    def _lines(self) -> tuple[str, ...]:
        said = so_far_lines(self.so_far, self.change, self.units)
        return (*said, *(tr("warning: {said}", said=text) for text in self.warnings))

    def _summary(self) -> dict[str, Any]:
        return {**record(RATE_SO_FAR, self), "warnings": list(self.warnings)}


def typed_answer(
    options: FinishOptions,
    units: UnitSystem,
    past: Sequence[PastSetting] = (),
    warnings: Sequence[str] = (),
) -> ComeOutEven | RateSoFar:
    """What figures alone tell: how to come out even or, where nobody asks, the rate so far.

    ``past`` and ``warnings`` are lines of the settings book and what could not be read of it.
    They are told only where a rate so far is.

    Raises
    ------
    InputError
        When what is left is not given, or a figure makes no sense.
    """
    options.check()
    warned = tuple(warnings) if options.done is not None else ()
    if options.area is None:
        return RateSoFar(*options.typed_so_far(past), units, warned)
    finish, product, done, change = options.typed_finish(past)
    return ComeOutEven(finish, product, units, so_far=done, change=change, warnings=warned)


def run_finish(
    plan: OperationPlan,
    units: UnitSystem,
    *,
    product: str | None = None,
    left: Amount | None = None,
    rate_kg_per_m2: float | None = None,
) -> ComeOutEven:
    """Audit the tracks so far, and look ahead.

    Parameters
    ----------
    plan : OperationPlan
    units : UnitSystem
    product : str, optional
        Needed when the operation places several.
    left : Amount, optional
        Mass left; from the load tickets when None.
    rate_kg_per_m2 : float, optional
        The present rate; what the log or the target tells when None.

    Raises
    ------
    InputError
        When a file cannot be used, or the product or what is left of it cannot be told.
    """
    from evenacre.coverage.audit import audit_operation
    from evenacre.io.season.load_operation import load_operation
    from evenacre.planning.finish.finish_job import finish_job

    operation = load_operation(plan)
    with refusals_in_words():
        result = audit_operation(operation)
        job = finish_job(
            operation, result, product=product, left=left, rate_kg_per_m2=rate_kg_per_m2
        )
    return ComeOutEven(job.finish, job.product, units, job, result)


def finish_operation(plan: OperationPlan, options: FinishOptions, units: UnitSystem) -> ComeOutEven:
    """Audit the tracks so far of an operation, and look ahead by what was typed.

    Raises
    ------
    InputError
        As :func:`run_finish`, or when a figure makes no sense.
    """
    from evenacre.planning.finish.finish_job import full_cart_kg

    options.check()
    return run_finish(
        options.applied_to(plan),
        units,
        product=options.product,
        left=options.amount_left(full_cart_kg(plan, options.product)),
        rate_kg_per_m2=options.rate_kg_per_m2,
    )


def chosen_operation(
    season: Season, source: str, operation: str | None, field: str | None
) -> OperationPlan:
    """The one operation of a season that is meant.

    Parameters
    ----------
    season : Season
    source : str
        Where it was read, for the complaint.
    operation, field : str, optional
        Their names.

    Raises
    ------
    InputError
        When none fits, or several.
    """
    found = [
        plan
        for plan in season.operations
        if operation in (None, plan.name) and field in (None, plan.field.name)
    ]
    if len(found) == 1:
        return found[0]
    names = ", ".join(f'"{p.name}" on "{p.field.name}"' for p in (found or season.operations)[:8])
    raise InputError.at(
        source,
        "",
        tr("Several operations fit.") if found else tr("No operation of that name is in it."),
        tr("Name one with --operation, and --field if need be: {names}.", names=names),
    )
