"""What an audit found of one operation: the ground, the work, the passes and what was missed."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd

from evenacre.model.audit_result import AuditResult
from evenacre.reports import figure_text
from evenacre.reports import quantities as q
from evenacre.reports.column import (
    INTERVALS,
    PLACE,
    Column,
    Table,
    json_only,
    named,
    nested,
    several,
)
from evenacre.reports.sentences.findings import sentences
from evenacre.reports.sentences.fix_list import advice, stops, worth
from evenacre.reports.tables import audit_products as by_product
from evenacre.reports.tables.measure import MEASURED
from evenacre.reports.writers.as_frame import data_frame, stacked
from evenacre.reports.writers.as_html import PageTable, page_record, page_table
from evenacre.units.display import UnitSystem


def _error(key: str, name: str) -> Column:
    """Declare the standard uncertainty of an area."""
    return named(
        f"{key}_sigma_m2",
        None,
        f"{name} uncertainty",
        of=lambda r: r.uncertainty.get(f"{key}_area_m2"),
        json=False,
    )


def _boundary(rows: Sequence[AuditResult], display: q.Display) -> str:
    return (
        "Once, twice, three times or more and missed make up the ground to be worked. "
        "Overlap is what was covered twice or more; excess counts it once for every cover "
        "beyond the first. "
        f"The boundary holds {display.units.area.text(rows[0].boundary_area_m2, 4)}."
    )


_ON_PAGE_ALONE = "JSON and tables of data have it with the operation"
GROUND = Table(
    "ground",
    (
        named("boundary_area_m2", None, "boundary", why="a sentence below the page's table has it"),
        named("workable_area_m2", "Ground to be worked", "workable"),
        named("covered_area_m2", "Covered", "covered", shows=("covered_sigma_m2",)),
        _error("covered", "covered"),
        named("covered_once_m2", "— once"),
        named("covered_twice_m2", "— twice"),
        named("covered_more_m2", "— three times or more", "covered three or more"),
        named("overlap_area_m2", "Overlap", "overlap", shows=("overlap_sigma_m2",)),
        _error("overlap", "overlap"),
        named("excess_area_m2", "Excess", "excess"),
        named("skip_area_m2", "Missed", "missed", shows=("skip_sigma_m2",)),
        _error("skip", "missed"),
        named("outside_area_m2", "Worked outside the field", "outside"),
        named("headland_area_m2", "Headland", "headland"),
        named("headland_overlap_m2", "Overlap in the headland"),
        named("swept_area_m2", None, "swept", why="the page has covered and excess"),
    ),
    title="The ground",
    page="workable_area_m2 covered_area_m2 covered_once_m2 covered_twice_m2 covered_more_m2 "
    "skip_area_m2 overlap_area_m2 excess_area_m2 headland_area_m2 headland_overlap_m2 "
    "outside_area_m2",
    remark=_boundary,
    outputs=("page",),
    why=_ON_PAGE_ALONE,
)


_DRIVEN = replace(
    GROUND,
    page="workable_area_m2",
    remark=(
        "Driven is the way with the tool down times its width, within the two figures nine times "
        "in ten. How much of it was driven twice, and what lies between the passes, cannot be "
        "told from this log."
    ),
)


def _when(word: str) -> Callable[[q.Display], str]:
    return lambda d: f"{word} work ({d.zone or 'clock of the log'})"


def _moment(seconds: float, display: q.Display) -> str:
    return figure_text.day_and_clock(seconds, display.zone)


WORK = Table(
    "work",
    (
        named("passes=pass_count", quantity=q.COUNT),
        named("start_s", _when("First"), quantity=q.INSTANT, text=_moment),
        named("end_s", _when("Last"), quantity=q.INSTANT, text=_moment),
        named("width_m", "Working width"),
        named("worked_distance_m", "Distance worked", quantity=q.DISTANCE),
        named("worked_time_s", "Time working"),
        named("field_time_s", "Time in the field"),
        named(
            "idle_time_s",
            "Breaks over an hour, not counted",
            text=lambda s, _: figure_text.duration(s) if s else "none",
        ),
        named("mean_speed_mps", "Mean speed while working"),
        named("field_capacity_m2_per_s"),
        named("theoretical_capacity_m2_per_s", "Theoretical field capacity"),
        named("field_efficiency", quantity=q.SHARE),
    ),
    title="The work",
    page="passes worked_distance_m width_m mean_speed_mps worked_time_s field_time_s idle_time_s "
    "field_capacity_m2_per_s theoretical_capacity_m2_per_s field_efficiency start_s end_s",
    remark=(
        "Field capacity is ground covered per hour in the field; field efficiency is its "
        "share of what full width at the mean speed would cover. Turning, filling, stops "
        "and overlap take it down."
    ),
    outputs=("page",),
    why=_ON_PAGE_ALONE,
)
# Capacity and efficiency are of the ground covered.
_NO_COVER = replace(
    WORK,
    page="passes worked_distance_m width_m mean_speed_mps worked_time_s field_time_s idle_time_s "
    "start_s end_s",
    remark="",
)
_NO_TIMES = replace(WORK, page="passes worked_distance_m width_m", remark="")
_NO_DRIVE = replace(WORK, page="width_m", remark="")

_LABEL = q.worded(str, lambda number: number)
SKIPS = Table(
    "skips",
    (
        named("skip", None, "stop", _LABEL, json=False),
        *several("kind cause", None),
        named("area_m2", "Size"),
        named(
            "small_area_m2", None, "area", q.SMALL_AREA, "area_m2", json=False, shows=("area_m2",)
        ),
        named("mean_width_m", digits=2),
        named("length_m", quantity=q.TO_DRIVE),
        named("chance", "Chance that it is bare", quantity=q.SHARE),
        named("standing", None, json=False),
        *PLACE,
        named("where", None, json=False),
    ),
    json="kind area_m2 mean_width_m length_m lon lat cause chance",
)

_RECEIVER = json_only(
    "receiver",
    *("grade told_by pass_to_pass_m=pass_m within_pass_m=within_m memory_s jitter_m=white_m",),
    *("steered looks_like_phone interval_s written_m spacing_m pairs line_m creep_m way_excess",),
    why="the page tells in words how the receiver was judged",
    grade=q.WORDS,
)
_ZONE_GROUND = json_only("zones", "zone area_m2", why="the table of zones has it with each product")

OPERATIONS = Table(
    "operations",
    (
        *several("field operation date"),
        named("boundary_given", quantity=q.YES_NO),
        *GROUND.columns,
        named("headland_rounds", None, quantity=q.COUNT, why="the page shows them on the map"),
        named(
            "skip_count",
            None,
            "places to go back for",
            q.COUNT,
            lambda r: len(worth(stops(r))),
            json=False,
            why="JSON and page list them",
        ),
        *WORK.columns,
        nested("skips", SKIPS, lambda r: list(stops(r).itertuples())),
        Column(
            "uncertainty",
            quantity=q.NESTED,
            shows=("covered_sigma_m2", "overlap_sigma_m2", "skip_sigma_m2"),
        ),
        Column("expected", quantity=q.NESTED),
        INTERVALS,
        nested("products", by_product.PRODUCTS, by_product.products),
        nested("receiver", _RECEIVER),
        Column("tells_places", quantity=q.YES_NO),
        Column("driven_90_m2", quantity=q.NESTED),
        nested("zones", _ZONE_GROUND, lambda r: list(r.layers["zones"].itertuples())),
        Column("working_plane", lambda r: r.crs.to_wkt()),
        *(Column(key, quantity=q.NESTED) for key in ("sources", "cleaning", "cleaning_m")),
        nested("measured", MEASURED, lambda r: list(r.measured)),
        Column("notes", lambda r: sentences(r.findings, "note"), q.NESTED),
        Column("warnings", lambda r: sentences(r.findings, "warning"), q.NESTED),
    ),
    json="field operation date boundary_area_m2 workable_area_m2 covered_area_m2 covered_once_m2 "
    "covered_twice_m2 covered_more_m2 overlap_area_m2 excess_area_m2 skip_area_m2 skips "
    "outside_area_m2 headland_area_m2 headland_overlap_m2 passes worked_distance_m worked_time_s "
    "field_time_s mean_speed_mps field_capacity_m2_per_s field_efficiency uncertainty products "
    "boundary_given width_m headland_rounds swept_area_m2 theoretical_capacity_m2_per_s "
    "idle_time_s start_s end_s zones working_plane sources cleaning cleaning_m measured notes "
    "warnings receiver tells_places driven_90_m2 expected interval_90",
)

_HEADING = q.Quantity(
    lambda v, _: float(np.round(v, 1)) % 360, lambda v, _, __: f"{round(v) % 360}°", si="deg"
)
PASSES = Table(
    "passes",
    (
        named("number", "Pass", "pass", _LABEL),
        *several("start_s end_s", quantity=q.INSTANT),
        named("length_m", quantity=q.TO_DRIVE),
        named("area_m2"),
        named("mean_speed_mps", "Speed"),
        named("heading_deg", "Heading", "heading [deg]", _HEADING),
        named("headland", "", quantity=q.YES_NO, text=lambda on, _: "headland" if on else ""),
    ),
    title=lambda rows: f"Passes ({len(rows):,})",
    page="number headland start_s end_s length_m area_m2 mean_speed_mps heading_deg",
    words=2,
    folded=True,
    outputs=("table", "page"),
    why="JSON counts passes; the layer of passes holds them",
)

NOTES = Table(
    "notes",
    (*several("what text", None), named("count", None, quantity=q.COUNT)),
    outputs=("table",),
    why="JSON and page keep warnings, notes and records of the log apart",
)


def passes(r: AuditResult) -> list[Any]:
    """Rows of `PASSES`."""
    return list(r.layers["passes"].rename(columns={"pass": "number"}).itertuples())


def _notes(r: AuditResult) -> list[Any]:
    every = (
        *(("warning", text, None) for text in sentences(r.findings, "warning")),
        *(("note", text, None) for text in sentences(r.findings, "note")),
        *(("records", name, count) for name, count in r.cleaning.items()),
    )
    return [SimpleNamespace(what=what, text=text, count=count) for what, text, count in every]


def audit_frames(results: Sequence[AuditResult], display: q.Display) -> dict[str, pd.DataFrame]:
    """Every table of an audit by name; times are ISO 8601 on the clock of the log."""

    def frame(table: Table, rows: Callable[[AuditResult], Iterable[Any]]) -> pd.DataFrame:
        made = []
        for r in results:
            at = display.at(r.time_zone)
            made.append(data_frame(table, rows(r), at, field=r.field, operation=r.operation))
        return stacked(made)

    def skips(r: AuditResult) -> Iterable[Any]:
        return stops(r).assign(where=advice(r, display.units)).itertuples()

    every: tuple[tuple[Table, Callable[[AuditResult], Iterable[Any]]], ...] = (
        (OPERATIONS, lambda r: [r]),
        (by_product.PRODUCTS, by_product.products),
        (by_product.ZONES, by_product.zones),
        (by_product.NUTRIENTS, by_product.nutrients),
        (by_product.SETBACKS, by_product.setbacks),
        (SKIPS, skips),
        (PASSES, passes),
        (NOTES, _notes),
    )
    return {table.name: frame(table, rows) for table, rows in every}


def audit_page_tables(r: AuditResult, display: q.Display) -> list[PageTable]:
    """Every table of one operation that has rows, for the page."""
    display = display.at(r.time_zone)
    every = [
        _ground(r, display),
        page_table(
            by_product.PRODUCTS if r.tells_places else by_product.ON_GROUND_DRIVEN,
            by_product.products(r),
            display,
        ),
        page_table(by_product.ZONES, by_product.zones(r), display),
        page_table(by_product.NUTRIENTS, by_product.nutrients_together(r), display),
        page_table(by_product.SETBACKS, by_product.setbacks(r), display),
        _work(r, display),
        page_table(PASSES, passes(r), display),
    ]
    return [table for table in every if table.rows]


def _ground(r: AuditResult, display: q.Display) -> PageTable:
    def cells(column: Column) -> tuple[str, str, str]:
        area_m2, sigma = column.value(r), r.uncertainty.get(column.key)
        covered = r.uncertainty.get("covered_area_m2")
        text = figure_text.deserved(area_m2, covered, display.units)
        if sigma is not None:
            text = figure_text.plus_minus(area_m2, sigma, display.units.area)
        ends = r.interval_90.get(column.key)
        between = "" if ends is None else figure_text.between(*ends, display.units)
        return text, between, figure_text.share(area_m2, r.workable_area_m2)

    head = ("", "On the map", "90 % interval", "Share")
    if not r.tells_places:
        table = page_record(_DRIVEN, r, display, head, cells)
        low, high = r.driven_90_m2 or (math.nan, math.nan)
        area = figure_text.between(low, high, display.units)
        shares = " to ".join(figure_text.share(m2, r.workable_area_m2) for m2 in (low, high))
        return replace(table, rows=[*table.rows, ("Driven, laps counted again", "", area, shares)])
    table = page_record(GROUND, r, display, head, cells)
    return table if r.boundary_given else replace(table, rows=table.rows[:-1])


def _work(r: AuditResult, display: q.Display) -> PageTable:
    if r.pass_count is None:
        table = page_record(_NO_DRIVE, r, display)
        unknown = ("Times and speeds, passes", "not in the log: it holds shapes alone")
        return replace(table, rows=[*table.rows, unknown])
    if math.isfinite(r.field_time_s):
        return page_record(WORK if r.tells_places else _NO_COVER, r, display)
    table = page_record(_NO_TIMES, r, display)
    return replace(table, rows=[*table.rows, ("Times and speeds", "not in the log")])


def fix_list(results: Sequence[AuditResult], units: UnitSystem) -> pd.DataFrame:
    """Every stop of every operation, largest first, as waypoints (longitudes within 180)."""
    frames = []
    for r in results:
        frame = stops(r)
        prefix = f"{r.field}, {r.operation}: " if len(results) > 1 else ""
        names = [
            f"{prefix}{s.skip} {s.kind} {figure_text.size(s.area_m2, units)}"
            + (" - look before you drive" if s.standing == "look first" else "")
            for s in frame.itertuples()
        ]
        about = {"name": names, "field": r.field, "operation": r.operation}
        lon = (frame["lon"] + 180) % 360 - 180
        columns = (
            "name kind cause field operation advice chance standing area_m2 mean_width_m length_m "
            "lon lat"
        )
        every = frame.assign(**about, advice=advice(r, units), lon=lon)
        frames.append(every[columns.split()])
    joined = stacked(frames)
    if joined.empty:
        return joined
    return joined.sort_values("area_m2", ascending=False, kind="stable", ignore_index=True)
