"""``evenacre audit``: a season, or one field from its options."""

from __future__ import annotations

import re
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, get_args

import typer

from evenacre.cli.options.derived import READING, SeasonKeys
from evenacre.cli.options.progress import Fresh, Jobs, run, tell
from evenacre.cli.options.season_input import SEASON_FILES, season_given
from evenacre.cli.options.shared import AsJson, Language, Quiet, Units, fail_on_any, plain_errors
from evenacre.cli.options.stick_input import season_of_stick
from evenacre.errors import InputError
from evenacre.language import speak, tr

if TYPE_CHECKING:
    from evenacre.model.outputs import Part


class AuditFailOn(StrEnum):
    """Findings that may make the exit code 1."""

    SKIP = "skip"
    OUTSIDE = "outside"
    SETBACK = "setback"
    WINDOW = "window"
    WARNING = "warning"


_KEYS = SeasonKeys(
    {
        "Field and log": "boundary tracks zones unworkable setbacks setback_distance blockages "
        "field_name operation_name date",
        "The drill": "width rows row_spacing rows_per_tower axle_to_antenna antenna_ahead "
        "antenna_left hitch_to_axle tool_behind delay",
        "What was placed": "product rate price",
        READING: "column time_zone tracks_layer tracks_crs boundary_layer boundary_where "
        "boundary_crs zones_layer unworkable_layer setbacks_layer zones_name_column",
        "Fine points": "skip_min_width skip_min_area headland_rounds pass_to_pass within_pass "
        "max_gap smooth",
    }
)


def audit(
    files: Annotated[list[Path] | None, typer.Argument(help=SEASON_FILES)] = None,
    task: Annotated[
        list[str] | None,
        typer.Option(
            "--task", help="Of task data take this task, by id or name. Repeat as needed."
        ),
    ] = None,
    fail_on: Annotated[
        list[AuditFailOn] | None, typer.Option("--fail-on", help="Exit with 1 on such findings.")
    ] = None,
    plan: Annotated[
        Path | None,
        typer.Option(
            "--plan", help="plan.json of `evenacre interseed`, to hold against what was done."
        ),
    ] = None,
    geoparquet: Annotated[
        bool, typer.Option("--geoparquet", help="Write tracks and results as GeoParquet too.")
    ] = False,
    pdf: Annotated[
        bool,
        typer.Option("--pdf", help="Write the report and sheets to hand over as PDF too."),
    ] = False,
    only: Annotated[
        str | None,
        typer.Option(
            "--only",
            help="Parts to write, by commas: summary (always), report, maps, layers, rasters, "
            "tables, fixes.",
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", help="Folder for the result; evenacre-out beside the season file."),
    ] = None,
    units: Units = None,
    language: Language = None,
    jobs: Jobs = 0,
    fresh: Fresh = False,
    as_json: AsJson = False,
    quiet: Quiet = False,
    **keys: Annotated[Any, _KEYS],
) -> None:
    """Audit a season, one field from a boundary and a log, or a folder of files of all kinds.

    Of a folder (or a zip of many files) the season file in it is used; without one it is gathered
    first, as `evenacre gather` does.
    """
    with plain_errors(language) as written:
        from evenacre.workflows.gather import is_to_be_gathered

        given = list(files or [])
        if len(given) == 1 and not task and is_to_be_gathered(given[0], keys):
            given = [season_of_stick(given[0], written, keys, quiet=quiet or as_json)]
            keys = {}
        season, home = season_given(
            "audit",
            given,
            keys,
            "evenacre audit season.toml",
            "evenacre audit farm.zip",
            "evenacre audit --boundary F --tracks F --width 20ft",
            tasks=task or (),
        )
        speak(language or season.language)
        folder, parts = out or home / "evenacre-out", _parts(only)
        outcome = run(
            season,
            folder,
            units,
            jobs,
            quiet=quiet or as_json,
            geoparquet=geoparquet,
            pdf=pdf,
            only=parts,
            plan_file=plan,
            fresh=fresh,
            written=written,
        )
        paged = parts is None or "report" in parts
        shown = folder / ("report.html" if paged else "summary.json")
        tell(outcome, tr("Open {file}", file=shown), as_json=as_json, quiet=quiet)
        fail_on_any(fail_on, _found(outcome.summary))


def _parts(only: str | None) -> tuple[Part, ...] | None:
    """Parts of a result by their names; the summary is there always, and may be all there is."""
    from evenacre.model.outputs import Part

    if only is None:
        return None
    asked = [part for part in re.split(r"[\s,]+", only.strip()) if part]
    known = get_args(Part)
    wrong = [part for part in asked if part not in (*known, "summary")]
    if wrong:
        what = f'"{wrong[0]}" is no part of a result.'
        raise InputError.at("--only", "", what, f"Use some of summary, {', '.join(known)}.")
    return tuple(part for part in known if part in asked)


def _found(summary: dict[str, Any]) -> dict[str, bool]:
    operations = summary["operations"]
    compared = summary.get("planned_done", {"paddocks": [], "warnings": []})
    return {
        AuditFailOn.SKIP: any(o["skips"] for o in operations),
        AuditFailOn.OUTSIDE: any(o["outside_area_m2"] > 0 for o in operations),
        AuditFailOn.SETBACK: any(p["setbacks"] for o in operations for p in o["products"]),
        AuditFailOn.WINDOW: any(
            p["standing"] == "not logged" or p["window"] in ("kept in part", "missed")
            for p in compared["paddocks"]
        ),
        AuditFailOn.WARNING: any(a["warnings"] for a in (summary, compared, *operations)),
    }
