"""``evenacre export``: the plan of a season as task data for the machine."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from evenacre.cli.options.derived import option
from evenacre.cli.options.shared import Quiet, Units, plain_errors
from evenacre.cli.options.streams import complain, printing, say
from evenacre.errors import InputError

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
        from evenacre.reports.sentences.findings import sentences
        from evenacre.reports.sentences.season import planned_rate_lines
        from evenacre.units.display import unit_system
        from evenacre.workflows.export import planned_jobs, write_jobs

        if out.suffix.lower() != ".zip":
            raise InputError.at(out, "", "It does not end in .zip.", "Name a zip: --out plan.zip.")
        if out.is_symlink():
            out = out.resolve()
        if out.is_dir():
            raise InputError.at(out, "", "is a folder.", "Name a file: --out plan.zip.")
        if not replace:
            check_replaceable_zip(out, _REMEDY)
        plan = load_season(season, logs=False)
        jobs, findings = planned_jobs(
            plan,
            season.name,
            fields=field or (),
            operations=operation or (),
            one_rate=one_rate,
            zone_rates=zone_rate or (),
            product=product,
        )
        write_jobs(out, jobs, farm=plan.farm, written=written)
        system = unit_system(units or plan.units)
        with printing():
            for warning in sentences(findings, "warning"):
                complain(f"warning: {warning}")
            if not quiet:
                for line in (*planned_rate_lines(jobs, system), f"Wrote {out}"):
                    say(line)
