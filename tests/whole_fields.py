"""Whole fields, driven as a careful person would: rounds, passes, point rows, a waterway."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import shapely
from jobs import DRILL, SPEED_MPS, START_S, STEP_M, Bools, Drive, Floats, Job, Turtle
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from evenacre.model import Blockage, Implement


@dataclass(frozen=True)
class FieldPlan:
    """How to drive a whole field: rounds along the boundary, then passes inside."""

    boundary: Polygon
    direction_rad: float
    unworkable: Polygon | None = None
    implement: Implement = DRILL
    sections: int = 4
    rounds: int = 2
    corner_radius_m: float = 4.5
    gaps: tuple[float, ...] = (-0.05, 0.0, -0.1, 0.25, -0.3, 0.02, -0.15)
    headland_overlap_m: float = 0.6
    step_m: float = STEP_M
    speed_mps: float = SPEED_MPS


def field_job(plan: FieldPlan, **rest: object) -> Job:
    """Drive a field as its plan says, sections switched over ground not to be worked."""
    drives = [_round(plan, k) for k in range(plan.rounds)]
    drives.append(interior(plan))
    start = START_S
    timed = []
    for drive in drives:
        timed.append(drive.later(start - drive.time_s[0]))
        start = timed[-1].time_s[-1] + 30.0
    return Job(
        plan.boundary,
        tuple(timed),
        plan.implement,
        unworkable=plan.unworkable,
        **rest,  # type: ignore[arg-type]
    )


def _round(plan: FieldPlan, k: int) -> Drive:
    """Round ``k`` along the boundary, run 3 m over its own start before lifting."""
    width = plan.implement.width_m
    # Later rounds overlap the one before by a little, as a careful driver's do.
    inset = width / 2 + k * (width - 0.1)
    r = plan.corner_radius_m
    # Corners that stick out are cut with the drill's radius, those that stick in at a distance.
    ring = plan.boundary.buffer(-inset - r, quad_segs=90).buffer(r, quad_segs=90).exterior
    around = float(ring.length)
    s = np.arange(-6.0, around + 9.0, plan.step_m)
    here = shapely.line_interpolate_point(ring, s % around)
    ahead = shapely.line_interpolate_point(ring, (s + 0.02) % around)
    behind = shapely.line_interpolate_point(ring, (s - 0.02) % around)
    x, y = shapely.get_x(here), shapely.get_y(here)
    heading = np.unwrap(
        np.arctan2(
            shapely.get_y(ahead) - shapely.get_y(behind),
            shapely.get_x(ahead) - shapely.get_x(behind),
        )
    )
    down = (s >= 0) & (s <= around + 3.0)
    may = plan.boundary if plan.unworkable is None else plan.boundary - plan.unworkable
    return _sectioned(plan, START_S + s / plan.speed_mps, x, y, heading, down, may)


def interior(plan: FieldPlan) -> Drive:
    """Passes to and fro inside the rounds; each section works only over ground left to do."""
    width, turn = plan.implement.width_m, plan.direction_rad
    done = plan.rounds * (width - 0.1) - plan.headland_overlap_m
    left_to_do = plan.boundary.buffer(-done, join_style="mitre")
    may = left_to_do if plan.unworkable is None else left_to_do - plan.unworkable
    flat = shapely.affinity.rotate(left_to_do, -turn, origin=(0, 0), use_radians=True)
    x_low, y_low, x_high, y_high = flat.bounds
    centres = [y_low + width / 2]
    while centres[-1] + width / 2 < y_high:
        centres.append(centres[-1] + width + plan.gaps[(len(centres) - 1) % len(plan.gaps)])
    ends = []
    for y in centres:
        strip = flat & shapely.box(x_low - 1, y - width / 2, x_high + 1, y + width / 2)
        ends.append((strip.bounds[0] - 8.0, strip.bounds[2] + 8.0))
    turtle = Turtle(ends[0][0], centres[0])
    for i, y in enumerate(centres):
        last = i + 1 == len(centres)
        goes_right = i % 2 == 0
        here = (
            ends[i] if last else (min(ends[i][0], ends[i + 1][0]), max(ends[i][1], ends[i + 1][1]))
        )
        stop = here[1] if goes_right else here[0]
        turtle.forward(abs(stop - turtle.x_m))
        if not last:
            turtle.arc((centres[i + 1] - y) / 2, math.pi if goes_right else -math.pi)
    drive = turtle.sample(plan.step_m, plan.speed_mps)
    cos, sin = math.cos(turn), math.sin(turn)
    x, y = drive.x_m * cos - drive.y_m * sin, drive.x_m * sin + drive.y_m * cos
    # The tool is up while the machine turns.
    straight = np.abs(np.sin(drive.heading_rad)) < 1e-6
    return _sectioned(plan, drive.time_s, x, y, drive.heading_rad + turn, straight, may)


def _sectioned(
    plan: FieldPlan,
    time_s: Floats,
    x: Floats,
    y: Floats,
    heading: Floats,
    down: Bools,
    may: BaseGeometry,
) -> Drive:
    """States of the sections: on where the middle of a section is over ground it may work."""
    width, count = plan.implement.width_m, plan.sections
    left = width / 2 - (np.arange(count) + 0.5) * width / count
    sx = x[:, None] - np.sin(heading)[:, None] * left
    sy = y[:, None] + np.cos(heading)[:, None] * left
    shapely.prepare(may)
    on = shapely.contains_xy(may, sx, sy) & down[:, None]
    return Drive(time_s, x, y, heading, on.any(axis=1), on)


def reference_field(**rest: object) -> Job:
    """About 5 ha: oblique sides, a waterway, switched sections and a blocked tower."""
    boundary = Polygon([(0, 0), (262, 22), (305, 140), (170, 232), (12, 196)])
    waterway = LineString([(100, -40), (128, 90), (210, 260)]).buffer(5.0, quad_segs=16)
    plan = FieldPlan(boundary, direction_rad=0.37, unworkable=waterway & boundary)
    job = field_job(plan)
    inside = job.drives[-1]
    start = float(inside.time_s[0]) + 0.35 * float(np.ptp(inside.time_s))
    blocked = Blockage(start + 0.07, start + 45.13, DRILL.tower_rows(3), "tower 3")
    return replace(job, blockages=(blocked,), name="reference field", **rest)  # type: ignore[arg-type]
