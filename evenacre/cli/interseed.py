"""``evenacre interseed``: which grazed paddock to seed when, behind the herd."""

from __future__ import annotations

import os
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from evenacre.cli.options.progress import stages, tell
from evenacre.cli.options.shared import AsJson, Language, Quiet, Units, fail_on_any, plain_errors
from evenacre.language import speak, tr
from evenacre.workflows.typed.interseed_options import InterseedOptions

if TYPE_CHECKING:
    from evenacre.model import Season
    from evenacre.processes.written import Written
    from evenacre.workflows.result import Outcome

PLAN_FOLDER = "evenacre-plan"


class PlanFailOn(StrEnum):
    """Findings that may make the exit code 1."""

    FORAGE = "forage"
    UNSEEDED = "unseeded"
    WARNING = "warning"


def interseed(
    season: Annotated[Path, typer.Argument(help="The season file, with paddocks and seeding.")],
    options: InterseedOptions,
    fail_on: Annotated[
        list[PlanFailOn] | None,
        typer.Option(
            "--fail-on",
            help="Exit with 1 when forage or rest is short, a paddock is not seeded whole, or on "
            "warnings.",
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", help=f"Folder for the plan; {PLAN_FOLDER} beside the season file."),
    ] = None,
    units: Units = None,
    language: Language = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Plan the interseeding of grazed paddocks: moves, windows, days, loads and passes."""
    with plain_errors(language) as written:
        folder = out or season.parent / PLAN_FOLDER
        given, asked = options.read(season)
        speak(language or given.language)
        outcome = plan(given, folder, units, written, quiet=quiet or as_json, **asked)
        tell(outcome, tr("Open {file}", file=folder / "report.html"), as_json=as_json, quiet=quiet)
        account = outcome.summary
        found = {
            PlanFailOn.FORAGE: bool(account["herd"]["shortages"]),
            PlanFailOn.UNSEEDED: any(
                p["window"] is not None and not p["whole"] for p in account["paddocks"]
            ),
            PlanFailOn.WARNING: bool(account["warnings"]),
        }
        fail_on_any(fail_on, found)


def plan(
    season: Season, out: Path, units: str | None, written: Written, *, quiet: bool, **asked: Any
) -> Outcome:
    """Plan with the stage at work shown on standard error; ``asked`` is of a season under way."""
    from dataclasses import replace

    from evenacre.workflows.interseed import interseed_season

    if units is not None:
        season = replace(season, units=units)
    with stages("reading the paddocks", quiet=quiet) as say:
        cores = os.cpu_count() or 1
        return interseed_season(season, out, jobs=cores, say=say, written=written, **asked)
