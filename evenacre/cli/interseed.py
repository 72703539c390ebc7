"""``evenacre interseed``: which grazed paddock to seed when, behind the herd."""

from __future__ import annotations

import os
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from evenacre.cli.options.progress import stages, tell
from evenacre.cli.options.shared import AsJson, Quiet, Units, fail_on_any, plain_errors

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
    fail_on: Annotated[
        list[PlanFailOn] | None,
        typer.Option(
            "--fail-on",
            help="Exit with 1 when forage or rest is short, a paddock is not seeded whole, or on "
            "warnings.",
        ),
    ] = None,
    from_today: Annotated[
        bool,
        typer.Option(
            "--from-today",
            help="Plan the rest from today on: what the logs of the season's operations show as "
            "seeded is done.",
        ),
    ] = False,
    from_day: Annotated[
        str | None, typer.Option("--from", help="The same from another day on: 2026-08-20.")
    ] = None,
    in_cart: Annotated[
        str | None,
        typer.Option(
            "--in-cart", help='Seed in the cart then: "40 lb"; as tickets tell, else none.'
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", help=f"Folder for the plan; {PLAN_FOLDER} beside the season file."),
    ] = None,
    units: Units = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Plan the interseeding of grazed paddocks: moves, windows, days, loads and passes."""
    with plain_errors() as written:
        from evenacre.errors import InputError
        from evenacre.io.season.load import load_season
        from evenacre.io.season.under_way import amount_in_cart, plan_begin

        folder = out or season.parent / PLAN_FOLDER
        if from_today and from_day is not None:
            what = "It does not go with --from-today."
            raise InputError.at("--from", "", what, "Give one of them.")
        asked: dict[str, Any] = {}
        if in_cart is not None:
            asked["in_cart_kg"] = amount_in_cart(in_cart, file="--in-cart")
        under_way = from_today or from_day is not None
        given = load_season(season, logs=under_way, must_hold="seeding")
        if under_way:
            asked["from_day"] = plan_begin(from_day, given.time_zone, file="--from")
        outcome = plan(given, folder, units, written, quiet=quiet or as_json, **asked)
        tell(outcome, f"Open {folder / 'report.html'}", as_json=as_json, quiet=quiet)
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
