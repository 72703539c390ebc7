"""``evenacre export``: the plan of a season as task data for the machine."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from evenacre.cli.options.derived import option
from evenacre.cli.options.shared import Quiet, Units, plain_errors
from evenacre.cli.options.streams import complain, printing, say
from evenacre.errors import InputError

if TYPE_CHECKING:
    from evenacre.model import OperationPlan, PlannedRate

CHOICE, RATES = "Which jobs", "Rates"
_REMEDY = "Name another file, or say --replace."


def export(
    season: Annotated[Path, typer.Argument(help="The season file.")],
    out: Annotated[Path, typer.Option("--out", help="The zip to write.")],
    field: Annotated[list[str] | None, option(CHOICE, "Only this field; any number.")] = None,
    operation: Annotated[
        list[str] | None, option(CHOICE, "Only operations of this name; any number.")
    ] = None,
    one_rate: Annotated[
        bool, option(RATES, "Plan the target rate everywhere, whatever zones need.", "--one-rate")
    ] = False,
    zone_rate: Annotated[
        list[str] | None,
        option(RATES, 'Rate of a zone, "ridge=120 lb/ac"; any number, of one job on one field.'),
    ] = None,
    product: Annotated[
        str | None, option(RATES, "Product of --zone-rate, where there are several.")
    ] = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Write over a file that is not such a plan.")
    ] = False,
    units: Units = None,
    quiet: Quiet = False,
) -> None:
    """Write boundaries, zones and planned rates as ISO 11783-10 task data (version 4)."""
    with plain_errors() as written:
        from evenacre.io.season.load import load_season
        from evenacre.io.taskdata.write.elements import check_replaceable_zip
        from evenacre.io.taskdata.write.prescriptions import PlannedTask, write_tasks
        from evenacre.planning.season.zone_rates import planned_rates
        from evenacre.processes.interrupts import held
        from evenacre.reports.sentences.findings import sentences
        from evenacre.reports.sentences.planned_rates import planned_rate_lines
        from evenacre.units.display import unit_system

        if out.suffix.lower() != ".zip":
            raise InputError.at(out, "", "It does not end in .zip.", "Name a zip: --out plan.zip.")
        if out.is_symlink():
            out = out.resolve()
        if out.is_dir():
            raise InputError.at(out, "", "is a folder.", "Name a file: --out plan.zip.")
        if not replace:
            check_replaceable_zip(out, _REMEDY)
        plan = load_season(season, logs=False)
        rates, findings = planned_rates(plan.operations, () if one_rate else plan.needs)
        jobs = list(zip(plan.operations, rates, strict=True))
        jobs = _chosen(jobs, season.name, field or [], operation or [])
        if zone_rate or product:
            jobs = _with_zone_rates(jobs, zone_rate or [], product)
        tasks = [PlannedTask(job.name, job.field, rates) for job, rates in jobs]
        with held():
            write_tasks(out, tasks, farm=plan.farm)
            written.places.append(out)
        system = unit_system(units or plan.units)
        fields = dict.fromkeys(job.field.name for job, _ in jobs)
        with printing():
            told = [finding for name in fields for finding in findings[name]]
            for warning in sentences(told, "warning"):
                complain(f"warning: {warning}")
            if not quiet:
                for line in (*planned_rate_lines(jobs, system), f"Wrote {out}"):
                    say(line)


Jobs = list[tuple["OperationPlan", tuple["PlannedRate", ...]]]


def _chosen(jobs: Jobs, file: str, fields: list[str], operations: list[str]) -> Jobs:
    from evenacre.io.common.suggestions import choice, listed

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


def _with_zone_rates(jobs: Jobs, texts: list[str], product: str | None) -> Jobs:
    """Let typed rates of zones stand over those that were worked out."""
    from dataclasses import replace

    from evenacre.io.common.suggestions import choice
    from evenacre.model import PlannedRate
    from evenacre.units.parsing import Dimension, parse_quantity

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
