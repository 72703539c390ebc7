"""Tracks from polygons: each the ground of one step of a drill."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely

from evenacre.geo.geodesy import ShapeArray
from evenacre.geo.local_crs import WorkingPlane
from evenacre.io.common.findings import Findings, counted
from evenacre.io.logs.build_tracks import fix_clock
from evenacre.io.logs.columns.column_roles import ColumnPlan
from evenacre.io.logs.columns.measures import read_lengths
from evenacre.io.logs.formats.runs import NOMINAL_SPEED_MPS, run_tracks
from evenacre.io.tables.record_table import RecordTable
from evenacre.model import BoolArray, FloatArray, IntArray, Track

_SLIVER = 0.01  # of the middle area of the layer
# Centres further apart than so many steps, and half a metre, belong to separate runs.
_REACH = 1.5
_REACH_M = 0.5


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
    """Turn polygons, one a step, into the tracks that drew them.

    A fix stands at each centre and at both ends of every run of touching steps; width and
    length come from the smallest rectangle around the polygon unless attributes tell them.
    """
    plane = WorkingPlane.around(shapes)
    flat = plane.project(shapes)
    kept = _usable(table, flat, findings)
    timed = any(plan.get(role) for role in ("time", "date", "start", "interval"))
    clock = fix_clock(table, plan, time_zone, findings) if timed else None
    if clock is not None:
        # Some formats shuffle their features; what follows in time follows on the ground.
        kept = kept[np.argsort(clock.time_s[kept], kind="stable")]
    flat = flat[kept]
    logged_width, logged_length = (
        None if values is None else values[kept] for values in read_lengths(table, plan, findings)
    )
    steps = _steps(flat, logged_width, logged_length)
    findings.note(
        f"{table.file}: each of the {len(kept):,} polygons is taken as one step; its width is from "
        f"{'its shape' if logged_width is None else 'its attribute'}, its length from "
        f"{'its shape' if logged_length is None else 'its attribute'}."
    )
    runs = _runs(steps)
    step, xy, shift_m, own_run = _fixes(steps, runs)
    lon, lat = plane.lonlat(xy[:, 0], xy[:, 1])
    if clock is not None:
        middle_s = clock.time_s[kept]
        early_s = shift_m / _speed(steps, runs, middle_s)[step]
        clock = replace(clock, time_s=middle_s[step] + early_s)
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
        clock=clock,
        without=("distance", "interval", "time", "date", "start", "end"),
        measured={"width": width},
    )


def _usable(table: RecordTable, flat: ShapeArray, findings: Findings) -> IntArray:
    """Rows of polygons that can be a step."""
    crossing = ~shapely.is_valid(flat)
    area = np.where(crossing, np.nan, shapely.area(flat))
    middle = np.median(area[area > 0]) if (area > 0).any() else 0.0
    sliver = (area > 0) & (area < _SLIVER * middle)
    for what, mask in (("self-crossing polygon", crossing), ("sliver polygon", sliver)):
        if mask.any():
            findings.warn(
                f"{table.file}: left out {counted(mask.sum(), what)}; the first is "
                f"{table.first(mask)}."
            )
    kept = np.flatnonzero((area > 0) & ~sliver)
    if not kept.size:
        raise table.error("", "no polygon can be used.", "Export the layer again.")
    return kept.astype(np.int64)


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
