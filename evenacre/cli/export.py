"""``evenacre export``: the plan of a season as task data for the machine."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from evenacre.cli.options.shared import Language, Quiet, Units, plain_errors
from evenacre.cli.options.streams import complain, printing, say
from evenacre.errors import InputError
from evenacre.language import speak, tr
from evenacre.workflows.typed.export_options import ExportOptions

_REMEDY = "Name another file, or say --replace."


def export(
    season: Annotated[Path, typer.Argument(help="The season file.")],
    out: Annotated[Path, typer.Option("--out", help="The zip to write.")],
    options: ExportOptions,
    replace: Annotated[
        bool, typer.Option("--replace", help="Write over a file that is not such a plan.")
    ] = False,
    units: Units = None,
    language: Language = None,
    quiet: Quiet = False,
) -> None:
    """Write boundaries, zones and planned rates as ISO 11783-10 task data (version 4)."""
    with plain_errors(language) as written:
        from evenacre.io.season.load import load_season
        from evenacre.io.taskdata.write.elements import check_replaceable_zip
        from evenacre.reports.sentences.findings import sentences
        from evenacre.reports.sentences.season import planned_rate_lines
        from evenacre.units.display import unit_system
        from evenacre.workflows.export import planned_jobs, write_jobs

        if out.suffix.lower() != ".zip":
            raise InputError.at(
                out, "", tr("It does not end in .zip."), tr("Name a zip: --out plan.zip.")
            )
        if out.is_symlink():
            out = out.resolve()
        if out.is_dir():
            raise InputError.at(out, "", tr("is a folder."), tr("Name a file: --out plan.zip."))
        if not replace:
            check_replaceable_zip(out, _REMEDY)
        plan = load_season(season, logs=False)
        speak(language or plan.language)
        jobs, findings = planned_jobs(plan, season.name, options)
        write_jobs(out, jobs, farm=plan.farm, written=written)
        system = unit_system(units or plan.units)
        with printing():
            for warning in sentences(findings, "warning"):
                complain(tr("warning: {said}", said=warning))
            if not quiet:
                for line in (*planned_rate_lines(jobs, system), tr("Wrote {file}", file=out)):
                    say(line)
