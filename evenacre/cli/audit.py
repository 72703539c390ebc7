"""``evenacre audit``: a season, or one field from its options."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer

from evenacre.cli.options.progress import Fresh, Jobs, run, tell
from evenacre.cli.options.reading_options import (
    READING,
    BoundaryCrs,
    BoundaryLayer,
    BoundaryWhere,
    Columns,
    TimeZone,
    TracksCrs,
    TracksLayer,
)
from evenacre.cli.options.season_input import season_given
from evenacre.cli.options.shared import FOUND, AsJson, Quiet, Units, option, plain_errors


class FailOn(StrEnum):
    """Findings that may make the exit code 1."""

    SKIP = "skip"
    OUTSIDE = "outside"
    SETBACK = "setback"
    WINDOW = "window"
    WARNING = "warning"


FILES, DRILL, PRODUCT, TUNING = (
    "Field and log",
    "The drill",
    "What was placed",
    "Fine points",
)
_EXAMPLES = (
    "evenacre audit season.toml",
    "evenacre audit farm.zip",
    "evenacre audit --boundary F --tracks F --width 20ft",
)

Out = Annotated[
    Path | None,
    typer.Option("--out", help="Folder for the result; evenacre-out beside the season file."),
]


def audit(
    files: Annotated[
        list[Path] | None,
        typer.Argument(
            help="A season file (season.toml), ISO 11783-10 task data (a zip or folder), "
            "or further logs after --tracks."
        ),
    ] = None,
    boundary: Annotated[Path | None, option(FILES, "Field boundary; any map file.")] = None,
    tracks: Annotated[list[Path] | None, option(FILES, "Log of the drive; any number.")] = None,
    zones: Annotated[Path | None, option(FILES, "Zones to report amounts for.")] = None,
    unworkable: Annotated[Path | None, option(FILES, "Waterways, rock piles ...")] = None,
    setbacks: Annotated[Path | None, option(FILES, "Wells, ditches ... to keep off.")] = None,
    setback_distance: Annotated[str | None, option(FILES, 'How far: "100 ft".')] = None,
    blockages: Annotated[
        Path | None, option(FILES, "CSV of blockages: start, end and tower or rows.")
    ] = None,
    field_name: Annotated[str | None, option(FILES, "Name of the field.")] = None,
    operation_name: Annotated[str | None, option(FILES, "Name of the job.")] = None,
    date: Annotated[str | None, option(FILES, "Date of the job, 2026-04-14.")] = None,
    width: Annotated[str | None, option(DRILL, 'Working width: "20 ft".')] = None,
    rows: Annotated[int | None, option(DRILL, "Rows across the width.")] = None,
    row_spacing: Annotated[str | None, option(DRILL, 'Instead of rows: "7.5 in".')] = None,
    rows_per_tower: Annotated[int | None, option(DRILL, "Rows fed by one tower.")] = None,
    antenna_ahead: Annotated[
        str | None, option(DRILL, "Antenna ahead of the hitch pin (or of a mounted tool).")
    ] = None,
    antenna_left: Annotated[str | None, option(DRILL, "Antenna left of the middle.")] = None,
    hitch_to_axle: Annotated[
        list[str] | None, option(DRILL, "Pin to axle of each towed unit, front to back.")
    ] = None,
    tool_behind: Annotated[
        str | None, option(DRILL, "Openers behind the last axle (or behind the pin).")
    ] = None,
    delay: Annotated[str | None, option(DRILL, 'From meter to opener: "2.5 s".')] = None,
    product: Annotated[
        list[str] | None, option(PRODUCT, "Product; 11-52-0 gives its own analysis.")
    ] = None,
    rate: Annotated[list[str] | None, option(PRODUCT, 'Target rate: "150 lb/ac".')] = None,
    price: Annotated[list[str] | None, option(PRODUCT, 'Price: "840 USD/ton".')] = None,
    column: Columns = None,
    time_zone: TimeZone = None,
    tracks_layer: TracksLayer = None,
    tracks_crs: TracksCrs = None,
    boundary_layer: BoundaryLayer = None,
    boundary_where: BoundaryWhere = None,
    boundary_crs: BoundaryCrs = None,
    zones_layer: Annotated[str | None, option(READING, "Layer of the zones.")] = None,
    unworkable_layer: Annotated[
        str | None, option(READING, "Layer of the unworkable ground.")
    ] = None,
    setbacks_layer: Annotated[str | None, option(READING, "Layer of the setbacks.")] = None,
    zones_name_column: Annotated[
        str | None, option(READING, "Column with the zones' names.")
    ] = None,
    skip_min_width: Annotated[str | None, option(TUNING, "Narrowest skip listed.")] = None,
    skip_min_area: Annotated[str | None, option(TUNING, "Smallest skip listed.")] = None,
    headland_rounds: Annotated[int | None, option(TUNING, "Rounds along the boundary.")] = None,
    pass_to_pass: Annotated[str | None, option(TUNING, "Receiver error between passes.")] = None,
    within_pass: Annotated[str | None, option(TUNING, "Receiver error in a pass.")] = None,
    max_gap: Annotated[str | None, option(TUNING, "Silence that cuts the path.")] = None,
    smooth: Annotated[bool, option(TUNING, "Smooth receiver jitter.")] = True,
    fail_on: Annotated[
        list[FailOn] | None, typer.Option("--fail-on", help="Exit with 1 on such findings.")
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
    out: Out = None,
    units: Units = None,
    jobs: Jobs = 0,
    fresh: Fresh = False,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Audit a season, or one field from a boundary and a log."""
    with plain_errors() as written:
        single = {
            "boundary": boundary,
            "width": width,
            "rows": rows,
            "row_spacing": row_spacing,
            "products": product or [],
            "rates": rate or [],
            "prices": price or [],
            "zones": zones,
            "unworkable": unworkable,
            "setbacks": setbacks,
            "setback_distance": setback_distance,
            "columns": column or [],
            "boundary_layer": boundary_layer,
            "boundary_where": boundary_where or [],
            "boundary_crs": boundary_crs,
            "zones_layer": zones_layer,
            "unworkable_layer": unworkable_layer,
            "setbacks_layer": setbacks_layer,
            "zones_name_column": zones_name_column,
            "tracks_layer": tracks_layer,
            "tracks_crs": tracks_crs,
            "time_zone": time_zone,
            "blockages": blockages,
            "field_name": field_name,
            "operation_name": operation_name,
            "date": date,
            "implement": _given(
                rows_per_tower=rows_per_tower,
                antenna_ahead=antenna_ahead,
                antenna_left=antenna_left,
                tow=[{"hitch_to_axle": length} for length in hitch_to_axle or []] or None,
                tool_behind=tool_behind,
                delay=delay,
            ),
            "settings": _given(
                skip_min_width=skip_min_width,
                skip_min_area=skip_min_area,
                headland_rounds=headland_rounds,
                pass_to_pass=pass_to_pass,
                within_pass=within_pass,
                max_gap=max_gap,
                smooth=None if smooth else False,
            ),
        }
        season, home = season_given("audit", files or [], tracks or [], single, _EXAMPLES)
        folder = out or home / "evenacre-out"
        silent = quiet or as_json
        outcome = run(
            season,
            folder,
            units,
            jobs,
            written,
            quiet=silent,
            geoparquet=geoparquet,
            plan_file=plan,
            fresh=fresh,
        )
        tell(outcome, f"Open {folder / 'report.html'}", as_json=as_json, quiet=quiet)
        _fail_on(outcome.summary, fail_on or [])


def _given(**keys: Any) -> dict[str, Any]:
    return {key: value for key, value in keys.items() if value is not None}


def _fail_on(summary: dict[str, Any], wanted: list[FailOn]) -> None:
    operations = summary["operations"]
    compared = summary.get("planned_done", {"paddocks": [], "warnings": []})
    found = {
        FailOn.SKIP: any(o["skips"] for o in operations),
        FailOn.OUTSIDE: any(o["outside_area_m2"] > 0 for o in operations),
        FailOn.SETBACK: any(p["setbacks"] for o in operations for p in o["products"]),
        FailOn.WINDOW: any(
            p["standing"] == "not logged" or p["window"] in ("kept in part", "missed")
            for p in compared["paddocks"]
        ),
        FailOn.WARNING: any(a["warnings"] for a in (summary, compared, *operations)),
    }
    if any(found[finding] for finding in wanted):
        raise typer.Exit(FOUND)
