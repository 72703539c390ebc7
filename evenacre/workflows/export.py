"""The plan of a season as task data for the machine: jobs, their rates, and the zip of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, ClassVar

from evenacre.errors import InputError
from evenacre.io.common.suggestions import choice, listed
from evenacre.io.result_folder.ownership import EXPORT, write_account
from evenacre.io.taskdata.write.prescriptions import PlannedTask, write_tasks
from evenacre.io.writers.file_names import REPORT
from evenacre.language import tr
from evenacre.model import OperationPlan, PlannedRate, Season
from evenacre.model.finding import Finding
from evenacre.planning.season.zone_rates import planned_rates
from evenacre.processes.generation_time import generation_time
from evenacre.processes.interrupts import committing
from evenacre.processes.written import Written
from evenacre.reports.pages.export import export_page
from evenacre.reports.sentences.findings import sentences
from evenacre.reports.sentences.season import planned_rate_lines
from evenacre.reports.tables.accounts import export_account
from evenacre.reports.tables.export import rate_rows
from evenacre.units.display import UnitSystem, unit_system
from evenacre.units.parsing import Dimension, parse_quantity
from evenacre.workflows.result import FolderResult
from evenacre.workflows.typed.export_options import ExportOptions

TASK_DATA = "taskdata.zip"
Jobs = list[tuple[OperationPlan, tuple[PlannedRate, ...]]]
"""Operations, each with the rates planned for it."""


def planned_jobs(season: Season, file: str, options: ExportOptions) -> tuple[Jobs, list[Finding]]:
    """Choose operations of a season and plan their rates.

    Parameters
    ----------
    season : Season
    file : str
        Where it was read, for complaints.
    options : ExportOptions
        Which jobs, and their rates.

    Returns
    -------
    list of (OperationPlan, tuple of PlannedRate)
    list of Finding
        Of the fields in them.

    Raises
    ------
    InputError
        When a name or a rate makes no sense.
    """
    needs = () if options.one_rate else season.needs
    rates, findings = planned_rates(season.operations, needs)
    every = list(zip(season.operations, rates, strict=True))
    jobs = _chosen(every, file, options.field or (), options.operation or ())
    if options.zone_rate or options.product:
        jobs = _with_zone_rates(jobs, options.zone_rate or (), options.product)
    names = dict.fromkeys(job.field.name for job, _ in jobs)
    return jobs, [finding for name in names for finding in findings[name]]


@dataclass(frozen=True, repr=False)
class MachinePlan(FolderResult):
    """Jobs of a season and their rates, as task data for the machine.

    Attributes
    ----------
    season : Season
    jobs : list of (OperationPlan, tuple of PlannedRate)
    findings : tuple of Finding
        Of the fields in them.
    """

    account: ClassVar[str] = EXPORT
    season: Season
    jobs: Jobs
    findings: tuple[Finding, ...]

    @property
    def _units(self) -> UnitSystem:
        return unit_system(self.season.units)

    @property
    def _warnings(self) -> list[str]:
        return [*self.season.warnings, *sentences(self.findings, "warning")]

    def _lines(self) -> tuple[str, ...]:
        said = planned_rate_lines(self.jobs, self._units)
        return (*said, *(tr("warning: {said}", said=text) for text in self._warnings))

    def _summary(self) -> dict[str, Any]:
        return export_account(
            self.jobs,
            farm=self.season.farm,
            generated=generation_time().isoformat(timespec="seconds"),
            inputs=self.season.inputs,
            warnings=self._warnings,
        )

    def _fill(self, stage: Path) -> dict[str, Any]:
        write_tasks(stage / TASK_DATA, _tasks(self.jobs), farm=self.season.farm)
        page = export_page(
            [(job.field.name, job.name) for job, _ in self.jobs],
            list(rate_rows(self.jobs)),
            self._units,
            file=TASK_DATA,
            farm=self.season.farm,
            inputs=self.season.inputs,
            warnings=self._warnings,
        )
        (stage / REPORT).write_text(page, encoding="utf-8", newline="\n")
        return write_account(stage, EXPORT, self.summary)


def _tasks(jobs: Jobs) -> list[PlannedTask]:
    return [PlannedTask(job.name, job.field, rates) for job, rates in jobs]


def write_jobs(out: Path, jobs: Jobs, *, farm: str, written: Written) -> None:
    """Write jobs as a zip of ISO 11783-10 task data.

    Raises
    ------
    InputError
        When it cannot be written.
    """
    with committing():
        write_tasks(out, _tasks(jobs), farm=farm)
        written.places.append(out)


def _chosen(jobs: Jobs, file: str, fields: Sequence[str], operations: Sequence[str]) -> Jobs:
    """Jobs of the fields and operations that are named."""
    for words, known, kind in (
        (fields, [job.field.name for job, _ in jobs], "field with an operation"),
        (operations, [job.name for job, _ in jobs], "operation"),
    ):
        for word in words:
            if word not in known:
                remedy = choice(word, dict.fromkeys(known))
                raise InputError.at(
                    file, "", tr('There is no {kind} "{word}" in it.', kind=kind, word=word), remedy
                )
    found = [
        (job, rates)
        for job, rates in jobs
        if (not fields or job.field.name in fields) and (not operations or job.name in operations)
    ]
    if not found:
        names = listed(dict.fromkeys(job.name for job, _ in jobs if job.field.name in fields))
        remedy = f"There are {names}."
        raise InputError.at(file, "", tr("That field has no such operation."), remedy)
    return found


def _with_zone_rates(jobs: Jobs, texts: Sequence[str], product: str | None) -> Jobs:
    """Let typed rates of zones stand over those that were worked out."""
    if not texts:
        what, remedy = tr("It goes with --zone-rate."), tr('Add --zone-rate "ZONE=RATE".')
        raise InputError.at("--product", "", what, remedy)
    if len(jobs) > 1:
        what, remedy = tr("Several jobs were chosen."), tr("Name one with --field and --operation.")
        raise InputError.at("--zone-rate", "", what, remedy)
    ((job, rates),) = jobs
    names = [application.product.name for application in job.applications]
    if product is None and len(names) != 1:
        what = tr("The operation has {count} products.", count=len(names) or "no")
        raise InputError.at("--zone-rate", "", what, tr("Name one with --product."))
    name = product or names[0]
    if name not in names:
        what = tr('The operation has no product "{name}".', name=name)
        raise InputError.at("--product", "", what, choice(name, names))
    by_name = {rate.product: rate for rate in rates}
    before = by_name.get(name, PlannedRate(name))
    by_name[name] = replace(before, by_zone={**before.by_zone, **typed_rates(texts)})
    return [(job, tuple(by_name.values()))]


def typed_rates(texts: Sequence[str]) -> dict[str, float]:
    """Rates of zones as typed, kg/m2.

    Raises
    ------
    InputError
        When one is no zone and rate.
    """
    typed: dict[str, float] = {}
    for text in texts:
        zone, equals, amount = text.rpartition("=")
        if not equals:
            what = tr('"{said}" is no zone and rate.', said=text)
            raise InputError.at("--zone-rate", "", what, tr('Write it as "ridge=120 lb/ac".'))
        typed[zone.strip()] = parse_quantity(
            amount.strip(), Dimension.MASS_PER_AREA, file="--zone-rate", place=zone.strip()
        )
    return typed
