"""Planned passes as layers, drives and guidance lines for the writers."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from typing import TypeVar

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.geo.geodesy import wrapped
from evenacre.geo.local_crs import WorkingPlane
from evenacre.language import tr
from evenacre.model import Field, FloatArray
from evenacre.model.outputs import GuidancePattern, GuidedField, PassFiles
from evenacre.planning.passes.pass_types import SEEN_M2, PassPlan, PlannedPass
from evenacre.reports.sentences.passes import axis_deg

# Passes of one pattern lie whole widths apart, to a centimetre.
_SAME_M = 0.01

Shape = TypeVar("Shape", bound=BaseGeometry)


def pass_files(plans: Sequence[PassPlan]) -> PassFiles:
    """Lay planned passes of different fields out for the writers; empty ones are left out."""
    driven = [plan for plan in plans if plan.passes]
    return PassFiles(
        layers=_layers(driven, plans),
        fields=tuple(
            GuidedField(
                Field(plan.field, to_lonlat(plan.workable, plan.plane)),
                plan.drive.width_m,
                tuple(_groups(plan)),
            )
            for plan in driven
        ),
        drives=tuple(
            (plan.field, tuple(to_lonlat(p.line, plan.plane) for p in plan.passes))
            for plan in driven
        ),
    )


def _layers(plans: Sequence[PassPlan], every: Sequence[PassPlan]) -> dict[str, gpd.GeoDataFrame]:
    layers = {
        "passes": _frame(
            "field order kind number block length_m heading_deg",
            [
                (
                    *(plan.field, order, run.kind, run.number),
                    *(0 if run.block is None else run.block + 1, round(run.line.length, 2)),
                    *(round(heading_deg(run.line), 2) % 360.0, to_lonlat(run.line, plan.plane)),
                )
                for plan in plans
                for order, run in enumerate(plan.passes, start=1)
            ],
        ),
        "turns": _frame(
            "field order length_m",
            [
                (plan.field, order, round(turn.length, 2), to_lonlat(turn, plan.plane))
                for plan in plans
                for order, turn in enumerate(plan.turns, start=1)
                if turn.length > 0
            ],
        ),
        "workable": _frame(
            "field area_m2",
            [
                (plan.field, round(plan.workable_m2, 2), to_lonlat(plan.workable, plan.plane))
                for plan in plans
            ],
        ),
        "hitch_pin": _frame(
            "field order part length_m backs_m",
            [
                (
                    *(plan.field, order, part, round(pin.length, 2), round(backs, 2)),
                    to_lonlat(pin, plan.plane),
                )
                for plan in plans
                for order, part, pin, backs in _pin_ways(plan)
                if pin.length > 0
            ],
        ),
        "blocks": _frame(
            "field block heading_deg area_m2",
            [
                (
                    *(plan.field, number, round(axis_deg(block.heading_rad), 2) % 180.0),
                    *(round(block.ground.area, 2), to_lonlat(block.ground, plan.plane)),
                )
                for plan in plans
                for number, block in enumerate(plan.blocks, start=1)
            ],
        ),
        "gate_ways": _frame(
            "field way length_m",
            [
                (plan.field, name, round(way.length, 2), to_lonlat(way, plan.plane))
                for plan in plans
                for name, way in (("in", plan.way_in), ("out", plan.way_out))
                if way is not None
            ],
        ),
        "fills": _frame(
            "field fill run into_m gate_m",
            [
                (
                    *(plan.field, number, spot.run, round(spot.into_m, 2)),
                    None if spot.gate_m is None else round(spot.gate_m, 2),
                    to_lonlat(spot.at, plan.plane),
                )
                for plan in plans
                for number, spot in enumerate(plan.fills, start=1)
            ],
        ),
        "left": _frame(
            "field area_m2",
            [
                (plan.field, round(part.area, 2), to_lonlat(part, plan.plane))
                for plan in every
                for part in shapely.get_parts(plan.left)
                if part.area >= SEEN_M2
            ],
        ),
    }
    # These only where there is something in them.
    return {
        name: frame
        for name, frame in layers.items()
        if len(frame) or name not in ("hitch_pin", "blocks", "gate_ways", "fills", "left")
    }


def _pin_ways(plan: PassPlan) -> Iterator[tuple[int, str, shapely.LineString, float]]:
    """Ways of the hitch pin in the order of driving: of which run or turn, and driven backward."""
    turns = zip(plan.pin_turns, plan.backs_m, strict=True)
    for order, run in enumerate(plan.pin_runs, start=1):
        yield order, "run", run, 0.0
        for pin, backs in itertools.islice(turns, 1):
            yield order, "turn", pin, backs


def _frame(columns: str, rows: list[tuple[object, ...]]) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(rows, columns=[*columns.split(), "geometry"], crs="EPSG:4326")


def to_lonlat(shape: Shape, plane: WorkingPlane) -> Shape:
    """Bring a shape of the plane to WGS 84 degrees."""

    def back(xy: FloatArray) -> FloatArray:
        lon, lat = plane.lonlat(xy[:, 0], xy[:, 1])
        return np.column_stack([wrapped(lon), lat])

    moved: Shape = shapely.transform(shape, back)
    return moved


def heading_deg(line: shapely.LineString) -> float:
    """Heading from the first point to the second, clockwise from the plane's north."""
    (x0, y0), (x1, y1) = line.coords[:2]
    return math.degrees(math.atan2(x1 - x0, y1 - y0)) % 360.0


def _groups(plan: PassPlan) -> Iterator[tuple[str, tuple[GuidancePattern, ...]]]:
    """Parallel passes as one line that is repeated, each other run as a line of its own."""
    blocks = dict.fromkeys(p.block for p in plan.passes if p.kind == "pass")
    patterns = tuple(pattern for block in blocks for pattern in _parallel(plan, block))
    if patterns:
        yield "Passes", patterns
    middles = [p for p in plan.passes if p.kind == "middle"]
    if middles:
        lines = [to_lonlat(p.line, plan.plane) for p in middles]
        named = (
            GuidancePattern(tr("Middle {number}", number=n), line)
            for n, line in enumerate(lines, 1)
        )
        yield tr("Narrow ground"), tuple(named)
    rounds = [planned for planned in plan.passes if planned.kind == "round"]
    for number in dict.fromkeys(planned.number for planned in rounds):
        legs = [to_lonlat(p.line, plan.plane) for p in rounds if p.number == number]
        name = tr("Round {number}", number=number)
        yield (
            name,
            tuple(
                GuidancePattern(tr("{name}, leg {number}", name=name, number=n), leg)
                for n, leg in enumerate(legs, 1)
            ),
        )


def _parallel(plan: PassPlan, block: int | None) -> Iterator[GuidancePattern]:
    """One repeated line for all passes of a block that lie whole widths from it."""
    left = [p for p in plan.passes if p.kind == "pass" and p.block == block]
    called = tr("Passes") if block is None else tr("Block {block}", block=block + 1)
    number = 0
    if plan.drive.along is not None:
        # Curves are not the same from one to the next.
        for run in sorted(left, key=lambda planned: planned.number):
            number += 1
            yield GuidancePattern(f"{called} {number}", to_lonlat(run.line, plan.plane))
        return
    while left:
        longest = max(left, key=lambda planned: planned.line.length)
        off = np.array([_beside(planned, longest) for planned in left]) / plan.drive.width_m
        near = np.abs(off - np.round(off)) * plan.drive.width_m < _SAME_M
        number += 1
        name = (
            called
            if number == 1
            else f"{called}, {number}"
            if plan.blocks
            else f"{called} {number}"
        )
        yield GuidancePattern(name, to_lonlat(longest.line, plan.plane), repeated=True)
        left = [planned for planned, same in zip(left, near, strict=True) if not same]


def _beside(planned: PlannedPass, other: PlannedPass) -> float:
    """How far to the side of another pass a parallel pass lies."""
    start, end = np.array(other.line.coords)[[0, -1]]
    ahead = (end - start) / np.hypot(*(end - start))
    away = np.array(planned.line.coords[0]) - start
    return float(ahead[0] * away[1] - ahead[1] * away[0])
