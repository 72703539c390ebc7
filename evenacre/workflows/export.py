"""The plan of a season as task data for the machine: jobs, their rates, and the zip of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from evenacre.errors import InputError
from evenacre.io.common.suggestions import choice, listed
from evenacre.io.taskdata.write.prescriptions import PlannedTask, write_tasks
from evenacre.model import OperationPlan, PlannedRate, Season
from evenacre.model.finding import Finding
from evenacre.planning.season.zone_rates import planned_rates
from evenacre.processes.interrupts import committing
from evenacre.processes.written import Written
from evenacre.units.parsing import Dimension, parse_quantity

Jobs = list[tuple[OperationPlan, tuple[PlannedRate, ...]]]
"""Operations, each with the rates planned for it."""


def planned_jobs(
    season: Season,
    file: str,
    *,
    fields: Sequence[str] = (),
    operations: Sequence[str] = (),
    one_rate: bool = False,
    zone_rates: Sequence[str] = (),
    product: str | None = None,
) -> tuple[Jobs, list[Finding]]:
    """Choose operations of a season and plan their rates.

    Parameters
    ----------
    season : Season
    file : str
        Where it was read, for complaints.
    fields, operations : sequence of str
        Names; all when empty.
    one_rate : bool
        The target rate everywhere, whatever zones need.
    zone_rates : sequence of str
        ``"ridge=120 lb/ac"``: over those that were worked out, of one job.
    product : str, optional
        Of the zone rates, where there are several.

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
    rates, findings = planned_rates(season.operations, () if one_rate else season.needs)
    jobs = _chosen(list(zip(season.operations, rates, strict=True)), file, fields, operations)
    if zone_rates or product:
        jobs = _with_zone_rates(jobs, zone_rates, product)
    names = dict.fromkeys(job.field.name for job, _ in jobs)
    return jobs, [finding for name in names for finding in findings[name]]


def write_jobs(out: Path, jobs: Jobs, *, farm: str, written: Written) -> None:
    """Write jobs as a zip of ISO 11783-10 task data.

    Raises
    ------
    InputError
        When it cannot be written.
    """
    tasks = [PlannedTask(job.name, job.field, rates) for job, rates in jobs]
    with committing():
        write_tasks(out, tasks, farm=farm)
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
                raise InputError.at(file, "", f'There is no {kind} "{word}" in it.', remedy)
    found = [
        (job, rates)
        for job, rates in jobs
        if (not fields or job.field.name in fields) and (not operations or job.name in operations)
    ]
    if not found:
        names = listed(dict.fromkeys(job.name for job, _ in jobs if job.field.name in fields))
        remedy = f"There are {names}."
        raise InputError.at(file, "", "That field has no such operation.", remedy)
    return found


def _with_zone_rates(jobs: Jobs, texts: Sequence[str], product: str | None) -> Jobs:
    """Let typed rates of zones stand over those that were worked out."""
    if not texts:
        what, remedy = "It goes with --zone-rate.", 'Add --zone-rate "ZONE=RATE".'
        raise InputError.at("--product", "", what, remedy)
    if len(jobs) > 1:
        what, remedy = "Several jobs were chosen.", "Name one with --field and --operation."
        raise InputError.at("--zone-rate", "", what, remedy)
    ((job, rates),) = jobs
    names = [application.product.name for application in job.applications]
    if product is None and len(names) != 1:
        what = f"The operation has {len(names) or 'no'} products."
        raise InputError.at("--zone-rate", "", what, "Name one with --product.")
    name = product or names[0]
    if name not in names:
        what = f'The operation has no product "{name}".'
        raise InputError.at("--product", "", what, choice(name, names))
    typed: dict[str, float] = {}
    for text in texts:
        zone, equals, amount = text.rpartition("=")
        if not equals:
            what = f'"{text}" is no zone and rate.'
            raise InputError.at("--zone-rate", "", what, 'Write it as "ridge=120 lb/ac".')
        typed[zone.strip()] = parse_quantity(
            amount.strip(), Dimension.MASS_PER_AREA, file="--zone-rate", place=zone.strip()
        )
    by_name = {rate.product: rate for rate in rates}
    before = by_name.get(name, PlannedRate(name))
    by_name[name] = replace(before, by_zone={**before.by_zone, **typed})
    return [(job, tuple(by_name.values()))]
