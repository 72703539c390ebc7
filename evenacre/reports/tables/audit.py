"""What an audit found of one operation: the ground, the work, the passes and what was missed."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from types import EllipsisType, SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd

from evenacre.language import mark, number, tr
from evenacre.model.audit_result import AuditResult
from evenacre.model.going_back import LEAVE, WHEN_THERE, WORTH_IT
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
from evenacre.reports.printed_ground import PrintedGround
from evenacre.reports.sentences.data_words import in_words
from evenacre.reports.sentences.findings import sentences
from evenacre.reports.sentences.fix_list import advice, stops, worth
from evenacre.reports.tables import audit_products as by_product
from evenacre.reports.tables.going_back import GOING_BACK, TRIPS, going_back, trips
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


GROUND_WORDS = mark(
    "Once, twice, three times or more and missed make up the ground to be worked. Overlap is what "
    "was covered twice or more; excess counts it once for every cover beyond the first."
)
WORK_WORDS = mark(
    "Field capacity is ground covered per hour in the field; field efficiency is its share of what "
    "full width at the mean speed would cover. Turning, filling, stops and overlap take it down."
)


def boundary_line(r: AuditResult, display: q.Display) -> str:
    """Say how large the boundary is."""
    area = PrintedGround(r, display.units).text("boundary_area_m2")
    return tr("The boundary holds {area}.", area=area)


def _boundary(rows: Sequence[AuditResult], display: q.Display) -> str:
    return f"{tr(GROUND_WORDS)} {boundary_line(rows[0], display)}"


def _area(key: str, head: str | None, name: str | EllipsisType = ..., **more: Any) -> Column:
    """Declare an area of the job's ground."""

    def told(row: Any, display: q.Display) -> str:
        return PrintedGround(row, display.units).text(key)

    return named(key, head, name, told=told, **more)


_ON_PAGE_ALONE = "JSON and tables of data have it with the operation"
GROUND = Table(
    "ground",
    (
        _area(
            "boundary_area_m2",
            None,
            "boundary",
            why="a sentence below the page's table has it",
            means="All ground inside the field boundary.",
        ),
        _area(
            "workable_area_m2",
            "Ground to be worked",
            "workable",
            means="The field boundary less ground that was given as not to be worked.",
        ),
        _area(
            "covered_area_m2",
            "Covered",
            "covered",
            shows=("covered_sigma_m2",),
            means="Ground to be worked that at least one working row swept.",
        ),
        _error("covered", "covered"),
        _area("covered_once_m2", "— once", means="Ground to be worked that was swept once."),
        _area("covered_twice_m2", "— twice", means="Ground to be worked that was swept twice."),
        _area(
            "covered_more_m2",
            "— three times or more",
            "covered three or more",
            means="Ground to be worked that was swept three times or more.",
        ),
        _area(
            "overlap_area_m2",
            "Overlap",
            "overlap",
            shows=("overlap_sigma_m2",),
            means="Ground to be worked that was swept twice or more.",
        ),
        _error("overlap", "overlap"),
        _area(
            "excess_area_m2",
            "Excess",
            "excess",
            means="Ground swept again and again: covered twice counts once, three times twice.",
        ),
        _area(
            "skip_area_m2",
            "Missed",
            "missed",
            shows=("skip_sigma_m2",),
            means="Ground to be worked that no working row swept.",
        ),
        _error("skip", "missed"),
        _area(
            "outside_area_m2",
            "Worked outside the field",
            "outside",
            means="Swept ground that was not to be worked: beyond the boundary, or given as such.",
        ),
        _area(
            "headland_area_m2",
            "Headland",
            "headland",
            means="The band along the boundary that was worked by the rounds.",
        ),
        _area(
            "headland_overlap_m2",
            "Overlap in the headland",
            means="Overlap that lies in the headland.",
        ),
        _area(
            "swept_area_m2",
            None,
            "swept",
            why="the page has covered and excess",
            means="Every swath, ground counted as often as it was swept.",
        ),
    ),
    title="The ground",
    page="workable_area_m2 covered_area_m2 covered_once_m2 covered_twice_m2 covered_more_m2 "
    "skip_area_m2 overlap_area_m2 excess_area_m2 headland_area_m2 headland_overlap_m2 "
    "outside_area_m2",
    remark=_boundary,
    outputs=("page",),
    why=_ON_PAGE_ALONE,
)


_IN_SHORT = replace(
    GROUND,
    page="workable_area_m2 covered_area_m2 skip_area_m2 overlap_area_m2 outside_area_m2",
    remark="",
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


def _when(text: str) -> Callable[[q.Display], str]:
    return lambda d: tr(text, clock=d.zone or tr("clock of the log"))


def _moment(seconds: float, display: q.Display) -> str:
    return figure_text.day_and_clock(seconds, display.zone)


WORK = Table(
    "work",
    (
        named(
            "passes=pass_count",
            quantity=q.COUNT,
            means="Runs of the drill at work, from start to stop.",
        ),
        named("start_s", _when(mark("First work ({clock})")), quantity=q.INSTANT, text=_moment),
        named("end_s", _when(mark("Last work ({clock})")), quantity=q.INSTANT, text=_moment),
        named("width_m", "Working width", means="Width that is worked in one pass."),
        named(
            "worked_distance_m",
            "Distance worked",
            quantity=q.DISTANCE,
            means="Way of the middle of the drill with at least one row at work.",
        ),
        named("worked_time_s", "Time working", means="Time with at least one row at work."),
        named(
            "field_time_s",
            "Time in the field",
            means="Time from the first work to the last, without breaks of more than an hour.",
        ),
        named(
            "idle_time_s",
            "Breaks over an hour, not counted",
            text=lambda s, _: figure_text.duration(s) if s else tr("none"),
            means="Breaks of more than an hour between the first work and the last.",
        ),
        named(
            "mean_speed_mps", "Mean speed while working", means="Distance worked over time working."
        ),
        named(
            "field_capacity_m2_per_s", means="Ground covered over time in the field (ASABE EP496)."
        ),
        named(
            "theoretical_capacity_m2_per_s",
            "Theoretical field capacity",
            means="Working width times mean speed.",
        ),
        named(
            "field_efficiency",
            quantity=q.SHARE,
            means="Field capacity over theoretical field capacity.",
        ),
    ),
    title="The work",
    page="passes worked_distance_m width_m mean_speed_mps worked_time_s field_time_s idle_time_s "
    "field_capacity_m2_per_s theoretical_capacity_m2_per_s field_efficiency start_s end_s",
    remark=WORK_WORDS,
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
        named("area_m2", "Size", text=lambda v, d: figure_text.size(v, d.units)),
        named(
            "small_area_m2", None, "area", q.SMALL_AREA, "area_m2", json=False, shows=("area_m2",)
        ),
        named("mean_width_m", digits=2),
        named("length_m", quantity=q.TO_DRIVE),
        named(
            "chance",
            "Chance that it is bare",
            quantity=q.SHARE,
            text=lambda v, _: figure_text.chance(v),
        ),
        named("standing", None, json=False),
        named("trip", None, quantity=_LABEL),
        named("verdict", mark("Go back"), quantity=q.worded(in_words, str)),
        *PLACE,
        named("where", None, json=False),
    ),
    json="kind area_m2 mean_width_m length_m lon lat cause chance trip verdict",
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
        nested("going_back", GOING_BACK, going_back),
        Column("notes", lambda r: sentences(r.findings, "note"), q.NESTED),
        Column("warnings", lambda r: sentences(r.findings, "warning"), q.NESTED),
    ),
    json="field operation date boundary_area_m2 workable_area_m2 covered_area_m2 covered_once_m2 "
    "covered_twice_m2 covered_more_m2 overlap_area_m2 excess_area_m2 skip_area_m2 skips "
    "outside_area_m2 headland_area_m2 headland_overlap_m2 passes worked_distance_m worked_time_s "
    "field_time_s mean_speed_mps field_capacity_m2_per_s field_efficiency uncertainty products "
    "boundary_given width_m headland_rounds swept_area_m2 theoretical_capacity_m2_per_s "
    "idle_time_s start_s end_s zones working_plane sources cleaning cleaning_m measured notes "
    "warnings receiver tells_places driven_90_m2 expected interval_90 going_back",
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
        named("headland", "", quantity=q.YES_NO, text=lambda on, _: tr("headland") if on else ""),
    ),
    title=lambda rows: tr("Passes ({count:,})", count=len(rows)),
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
        (TRIPS, trips),
        (PASSES, passes),
        (NOTES, _notes),
    )
    return {table.name: frame(table, rows) for table, rows in every}


def audit_page_tables(r: AuditResult, display: q.Display) -> list[PageTable]:
    """Every table of one operation that has rows, for the page."""
    every = [
        ground_table(r, display),
        *product_tables(r, display),
        trip_table(r, display),
        work_table(r, display),
        page_table(PASSES, passes(r), display.at(r.time_zone)),
    ]
    return [table for table in every if table.rows]


def product_tables(r: AuditResult, display: q.Display) -> list[PageTable]:
    """What was placed, for the page: amounts, zones, nutrients, setbacks."""
    zones = page_table(by_product.ZONES, by_product.zones(r), display)
    amounts, nutrients, setbacks = _placed(r, display, by_product.PRODUCTS)
    return [table for table in (amounts, zones, nutrients, setbacks) if table.rows]


def products_on_paper(
    r: AuditResult, display: q.Display
) -> tuple[list[PageTable], list[PageTable], list[PageTable]]:
    """Amounts; zones and nutrients, narrow enough to stand side by side; setbacks."""
    amounts, nutrients, setbacks = _placed(r, display, by_product.ON_PAPER)
    narrow = [*by_product.zones_side_by_side(by_product.zones(r), display), nutrients]
    first, beside, last = (
        [table for table in tables if table.rows] for tables in ([amounts], narrow, [setbacks])
    )
    return first, beside, last


def _placed(
    r: AuditResult, display: q.Display, amounts: Table
) -> tuple[PageTable, PageTable, PageTable]:
    table = amounts if r.tells_places else by_product.ON_GROUND_DRIVEN
    return (
        page_table(table, by_product.products(r), display),
        page_table(by_product.NUTRIENTS, by_product.nutrients_together(r), display),
        page_table(by_product.SETBACKS, by_product.setbacks(r), display),
    )


def ground_in_short(r: AuditResult, display: q.Display) -> PageTable:
    """What was covered, missed and covered again, for a sheet of paper."""
    return replace(ground_table(r, display, _IN_SHORT), remark="")


def trip_table(r: AuditResult, display: q.Display) -> PageTable:
    """What going back takes; without the columns of money where there are no prices."""
    rows = trips(r)
    plain = replace(TRIPS, columns=tuple(c for c in TRIPS.columns if c.quantity is not q.MONEY))
    return page_table(TRIPS if any(row.worth is not None for row in rows) else plain, rows, display)


def ground_table(r: AuditResult, display: q.Display, whole: Table = GROUND) -> PageTable:
    """What was covered and missed, with how sure that is."""
    printed = PrintedGround(r, display.units)

    def cells(column: Column) -> tuple[str, str, str]:
        ends = r.interval_90.get(column.key)
        between = "" if ends is None else figure_text.between(*ends, display.units)
        share = figure_text.share(column.value(r), r.workable_area_m2)
        return printed.with_error(column.key), between, share

    head = ("", tr("On the map"), tr("90 % interval"), tr("Share"))
    if not r.tells_places:
        table = page_record(_DRIVEN, r, display, head, cells)
        low, high = r.driven_90_m2 or (math.nan, math.nan)
        area = figure_text.between(low, high, display.units)
        shares = figure_text.span(
            *(figure_text.share(m2, r.workable_area_m2) for m2 in (low, high))
        )
        return replace(
            table, rows=[*table.rows, (tr("Driven, laps counted again"), "", area, shares)]
        )
    table = page_record(whole, r, display, head, cells)
    return table if r.boundary_given else replace(table, rows=table.rows[:-1])


def work_table(r: AuditResult, display: q.Display) -> PageTable:
    """How the work went: times, speed, capacity."""
    display = display.at(r.time_zone)
    if r.pass_count is None:
        table = page_record(_NO_DRIVE, r, display)
        unknown = (
            tr("Times and speeds, passes"),
            tr("not in the log: it holds shapes alone"),
        )
        return replace(table, rows=[*table.rows, unknown])
    if math.isfinite(r.field_time_s):
        return page_record(WORK if r.tells_places else _NO_COVER, r, display)
    table = page_record(_NO_TIMES, r, display)
    return replace(table, rows=[*table.rows, (tr("Times and speeds"), tr("not in the log"))])


_SHORT_VERDICTS = {WORTH_IT: mark("go"), WHEN_THERE: mark("by"), LEAVE: mark("no")}


def fix_lists(results: Sequence[AuditResult], units: UnitSystem) -> list[pd.DataFrame]:
    """The stops of each operation as waypoints (longitudes within 180).

    Names fit a small screen: letter of the job where there are several, number in the order of
    driving, whether to go (a question mark: look first), and size.
    """
    frames = []
    for place, r in enumerate(results):
        frame = stops(r)
        job = _letters(place) if len(results) > 1 else ""
        names = [
            f"{job}{s.skip} {'?' if s.standing == 'look first' else tr(_SHORT_VERDICTS[s.verdict])}"
            f" {_short_size(s.area_m2, units)}"
            for s in frame.itertuples()
        ]
        about = {"name": names, "field": r.field, "operation": r.operation}
        lon = (frame["lon"] + 180) % 360 - 180
        columns = (
            "name kind cause field operation advice chance standing verdict trip area_m2 "
            "mean_width_m length_m lon lat"
        )
        every = frame.assign(**about, advice=advice(r, units), lon=lon)
        frames.append(every[columns.split()])
    return frames


def _letters(place: int) -> str:
    """A, B, up to Z, AA and on, counted from 0."""
    more, last = divmod(place, 26)
    return (_letters(more - 1) if more else "") + chr(ord("A") + last)


def _short_size(area_m2: float, units: UnitSystem) -> str:
    """Size in as few signs as two digits take."""
    unit = units.area if units.area.of(area_m2) >= 0.1 else units.small_area
    return f"{number(figure_text.significant(unit.of(area_m2), 2), 'g')}{unit.word}".replace(
        " ", ""
    )
