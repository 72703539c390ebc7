"""Tracks from polygons: ground, or a drive where each is plainly one step of it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa
import shapely

from evenacre.geo.geodesy import ShapeArray
from evenacre.geo.local_crs import WorkingPlane
from evenacre.geo.overlay import valid
from evenacre.io.common.findings import Findings
from evenacre.io.logs.build_tracks import fix_clock
from evenacre.io.logs.columns.clock import Clock
from evenacre.io.logs.columns.column_roles import ColumnPlan, ColumnUse
from evenacre.io.logs.columns.measures import read_lengths
from evenacre.io.logs.formats.ground_log import ground_tracks, rows_of
from evenacre.io.logs.formats.runs import NOMINAL_SPEED_MPS, run_tracks
from evenacre.io.tables.headers import read_header
from evenacre.io.tables.record_table import RecordTable
from evenacre.language import tr, trn
from evenacre.model import BoolArray, FloatArray, IntArray, Track
from evenacre.units.parsing import Dimension

_SLIVER = 0.01  # of the middle area of the layer
# Centres further apart than so many steps, and half a metre, belong to separate runs.
_REACH = 1.5
_REACH_M = 0.5
# Steps of a drive: so large a share of them fills its own rectangle to so much, is no longer than
# a few seconds' drive, comes later than the one before, and leads on from it.
_MOST, _FILLED, _STEP_M, _LEADING = 0.9, 0.8, 30.0, 0.7
_SAMPLE, _STRIP = 2000, 4.0  # polygons looked at; strips are so many times longer than wide
_MASS_WORDS = {"mass", "weight", "applied", "amount", "quantity", "qty", "product", "total"}
_WIDEST_M = 60.0  # of a swath: wider shapes are fields or zones


@dataclass(frozen=True)
class _Steps:
    """Steps of a drill: centre, unit vector of travel, length and width, metres."""

    centre: FloatArray
    ahead: FloatArray
    length: FloatArray
    width: FloatArray


def polygon_tracks(
    table: RecordTable,
    shapes: ShapeArray,
    plan: ColumnPlan,
    time_zone: str | None,
    findings: Findings,
) -> list[Track]:
    """Turn polygons, simple or of several parts, into tracks.

    Where times say that each is one step of a drive, they are the drive; else they are ground.
    """
    plane = WorkingPlane.around(shapes)
    raw = plane.project(shapes)
    crossing = ~shapely.is_valid(raw)
    flat = valid(raw)
    area = shapely.area(flat)
    if not (area > 0).any():
        raise table.error("", tr("no polygon can be used."), tr("Export the layer again."))
    if crossing.any():
        findings.note(
            tr(
                "{file}: {self_crossing_polygons} mended; the first is {first}.",
                file=table.file,
                self_crossing_polygons=trn(
                    "{count:,} self-crossing polygon",
                    "{count:,} self-crossing polygons",
                    crossing.sum(),
                ),
                first=table.first(crossing),
            )
        )
    if (area == 0).any():
        findings.warn(
            tr(
                "{file}: left out {polygons} without ground; the first is {first}.",
                file=table.file,
                polygons=trn("{count:,} polygon", "{count:,} polygons", (area == 0).sum()),
                first=table.first(area == 0),
            )
        )
    timed = any(plan.get(role) for role in ("time", "date", "start"))
    clock = fix_clock(table, plan, time_zone, findings) if timed else None
    if clock is not None:
        drive = _drive(table, flat, plan, clock, plane, time_zone, findings)
        if drive is not None:
            return drive
    findings.note(
        tr(
            "{file}: each of the {int:,} polygons is taken as ground that was covered, not "
            "as a step of a drive, because ",
            file=table.file,
            int=int((area > 0).sum()),
        )
        + (
            tr("it tells no times.")
            if clock is None
            else tr("they do not lead on in order of time.")
        )
    )
    kept = np.flatnonzero(area > 0)
    table, plan = _with_masses(rows_of(table, kept), plan, area[kept], findings)
    inside = shapely.get_coordinates(shapely.point_on_surface(flat[kept]))
    clock = clock and replace(clock, time_s=clock.time_s[kept])
    tracks = ground_tracks(table, shapes[kept], inside, plane, plan, clock, time_zone, findings)
    width_m = _usual_width_m(flat[kept])
    return [
        replace(t, width_m=np.full(len(t), width_m)) if t.width_m is None and width_m else t
        for t in tracks
    ]


def _usual_width_m(flat: ShapeArray) -> float | None:
    """Width of the swath that polygons are strips or steps of, as a rule; None: of no swath."""
    sides = _sides(flat[:_SAMPLE])
    strips = np.median(sides.max(axis=1) / sides.min(axis=1)) > _STRIP
    each = sides.min(axis=1) if strips else _steps(flat[:_SAMPLE], None, None).width
    width = float(np.median(each))
    return width if width < _WIDEST_M else None


def _sides(flat: ShapeArray) -> FloatArray:
    """Both sides of the smallest rectangle around each polygon, (n, 2)."""
    corners = shapely.get_coordinates(shapely.oriented_envelope(flat)).reshape(-1, 5, 2)
    return np.hypot(*np.moveaxis(np.diff(corners[:, :3], axis=1), 2, 0))


def _with_masses(
    table: RecordTable, plan: ColumnPlan, area_m2: FloatArray, findings: Findings
) -> tuple[RecordTable, ColumnPlan]:
    """Turn the mass that each polygon holds into a rate, where no rate is told."""
    if plan.all("rate") or plan.all("mass"):
        return table, plan
    taken = {use.column for use in plan.uses}
    uses = list(plan.uses)
    for name in table.names:
        header = read_header(name)
        unit = header.unit(Dimension.MASS)
        if name in taken or unit is None or not set(header.words) & _MASS_WORDS:
            continue
        values = table.numbers(name, "mass", findings) * unit / area_m2
        rates = table.data.set_column(table.names.index(name), name, pa.array(values))
        table = replace(table, data=rates)
        uses.append(ColumnUse("rate", header.remainder(_MASS_WORDS), name, 1.0, asked=True))
        # It was looked at as a rate before its unit told what it is.
        about = f"{table.about(name)} looks like"
        findings.warnings[:] = [text for text in findings.warnings if not text.startswith(about)]
        findings.note(tr("{about} is taken as the mass on each polygon.", about=table.about(name)))
    masses = [use for use in uses if use not in plan.uses]
    if len(masses) == 1:
        uses[-1] = replace(uses[-1], key="")
    return table, ColumnPlan(tuple(uses))


def _drive(
    table: RecordTable,
    flat: ShapeArray,
    plan: ColumnPlan,
    clock: Clock,
    plane: WorkingPlane,
    time_zone: str | None,
    findings: Findings,
) -> list[Track] | None:
    """Turn polygons that are steps of a drive into the tracks that drew them; None: they are not.

    A fix stands at each centre and at both ends of every run of touching steps; width and
    length come from the smallest rectangle around the polygon unless attributes tell them.
    """
    area = shapely.area(flat)
    sliver = (area > 0) & (area < _SLIVER * np.median(area[area > 0]))
    kept = np.flatnonzero((area > 0) & ~sliver & np.isfinite(clock.time_s))
    # Some formats shuffle their features; what follows in time follows on the ground.
    kept = kept[np.argsort(clock.time_s[kept], kind="stable")]
    if len(kept) < 2:
        return None
    flat = flat[kept]
    logged_width, logged_length = (
        None if values is None else values[kept] for values in read_lengths(table, plan, findings)
    )
    steps = _steps(flat, logged_width, logged_length)
    runs = _runs(steps)
    middle_s = clock.time_s[kept]
    if not _lead_on(flat, middle_s, runs):
        return None
    if sliver.any():
        findings.warn(
            tr(
                "{file}: left out {sliver_polygons}; the first is {first}.",
                file=table.file,
                sliver_polygons=trn(
                    "{count:,} sliver polygon", "{count:,} sliver polygons", sliver.sum()
                ),
                first=table.first(sliver),
            )
        )
    findings.note(
        tr(
            "{file}: each of the {count:,} polygons is taken as one step; its width is from "
            "{word}, its length from {word_2}.",
            file=table.file,
            count=len(kept),
            word="its shape" if logged_width is None else "its attribute",
            word_2="its shape" if logged_length is None else "its attribute",
        )
    )
    step, xy, shift_m, own_run = _fixes(steps, runs)
    lon, lat = plane.lonlat(xy[:, 0], xy[:, 1])
    early_s = shift_m / _speed(steps, runs, middle_s)[step]
    width = np.full(len(table), np.nan)
    width[kept] = steps.width
    return run_tracks(
        table,
        plan,
        time_zone,
        findings,
        feature=kept[step],
        runs=own_run,
        lon=lon,
        lat=lat,
        clock=replace(clock, time_s=middle_s[step] + early_s),
        without=("distance", "interval", "time", "date", "start", "end"),
        measured={"width": width},
    )


def _lead_on(flat: ShapeArray, time_s: FloatArray, runs: IntArray) -> bool:
    """Tell whether polygons in order of time are steps of one drive."""
    sides = _sides(flat)
    one_short_piece = shapely.area(flat) >= _FILLED * sides.prod(axis=1)
    one_short_piece &= sides.max(axis=1) <= _STEP_M
    later = np.diff(time_s) > 0
    return bool(
        one_short_piece.mean() >= _MOST
        and later.mean() >= _MOST
        and (np.diff(runs) == 0).mean() >= _LEADING
    )


def _steps(flat: ShapeArray, width: FloatArray | None, length: FloatArray | None) -> _Steps:
    """Tell the side along the travel from the side across it."""
    centre = shapely.get_coordinates(shapely.centroid(flat))
    corners = shapely.get_coordinates(shapely.oriented_envelope(flat)).reshape(-1, 5, 2)
    sides = np.stack([corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 1]], axis=1)
    size = np.linalg.norm(sides, axis=2)
    units = sides / np.maximum(size, 1e-9)[:, :, None]
    move = np.diff(centre, axis=0)
    move = move / np.maximum(np.linalg.norm(move, axis=1), 1e-9)[:, None]
    none = np.zeros((1, 2))
    before, after = np.vstack([none, move]), np.vstack([move, none])
    # How well each side lines up with the way to the neighbours.
    score = sum(np.abs(np.einsum("nsk,nk->ns", units, way)) for way in (before, after))
    lead = score[:, 0] - score[:, 1]
    clear = np.abs(lead) > 0.7
    first = lead > 0 if clear.any() else size[:, 0] >= size[:, 1]
    if clear.any():
        # At the end of a run the neighbours disagree: go on as the last clear step went.
        n = np.arange(len(flat))
        last = np.maximum.accumulate(np.where(clear, n, np.argmax(clear)))
        way = units[last, np.where(first[last], 0, 1)]
        like = np.abs(np.einsum("nsk,nk->ns", units, way))
        first = np.where(clear, first, like[:, 0] > like[:, 1])
    pick = np.where(first, 0, 1)
    n = np.arange(len(flat))
    ahead = units[n, pick]
    return _Steps(
        centre,
        ahead,
        size[n, pick] if length is None else np.where(length > 0, length, size[n, pick]),
        size[n, 1 - pick] if width is None else width,
    )


def _runs(steps: _Steps) -> IntArray:
    """Number the runs of steps that follow one another."""
    move = np.diff(steps.centre, axis=0)
    apart = np.linalg.norm(move, axis=1)
    half = (steps.length[1:] + steps.length[:-1]) / 2
    sideways = np.abs(np.einsum("nk,nk->n", move, steps.ahead[1:])) < 0.5 * apart
    breaks = (apart > _REACH * half + _REACH_M) | sideways
    return np.concatenate(([0], np.cumsum(breaks))).astype(np.int64)


def _fixes(steps: _Steps, runs: IntArray) -> tuple[IntArray, FloatArray, FloatArray, IntArray]:
    """Fixes at the centres and at both ends of every run.

    Returns the step of each fix, its place, how far it is ahead of the step's centre, and its
    run.
    """
    fresh = np.diff(runs) != 0
    first = np.concatenate(([True], fresh))
    last = np.concatenate((fresh, [True]))
    step = np.concatenate((np.flatnonzero(first), np.arange(len(runs)), np.flatnonzero(last)))
    end = np.repeat([-0.5, 0.0, 0.5], [first.sum(), len(runs), last.sum()])
    order = np.lexsort((end, step))
    step, end = step[order], end[order]
    shift = end * steps.length[step]
    xy = steps.centre[step] + shift[:, None] * _forward(steps, first, last)[step]
    return step.astype(np.int64), xy, shift, runs[step]


def _forward(steps: _Steps, first: BoolArray, last: BoolArray) -> FloatArray:
    """Unit vectors of travel, pointing the way the run goes."""
    move = np.diff(steps.centre, axis=0)
    zero = np.zeros((1, 2))
    toward = np.where(last[:, None], np.vstack([zero, move]), np.vstack([move, zero]))
    toward[first & last] = 0
    sign = np.where(np.einsum("nk,nk->n", toward, steps.ahead) < 0, -1.0, 1.0)
    return steps.ahead * sign[:, None]


def _speed(steps: _Steps, runs: IntArray, time_s: FloatArray) -> FloatArray:
    """Speed at each step from its neighbours in the run; nominal where there are none."""
    apart = np.linalg.norm(np.diff(steps.centre, axis=0), axis=1)
    seconds = np.diff(time_s)
    good = (np.diff(runs) == 0) & (seconds > 0)
    between = np.where(good, apart / np.where(good, seconds, 1.0), np.nan)
    before, after = np.append(np.nan, between), np.append(between, np.nan)
    speed = np.where(np.isnan(before), after, before)
    return np.where(np.isnan(speed), NOMINAL_SPEED_MPS, np.maximum(speed, 0.1))
