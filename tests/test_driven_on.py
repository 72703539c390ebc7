"""The tractor's line of a plan, driven on from its beginning: the chain follows where it is led."""

from __future__ import annotations

import itertools
import math
import os
from dataclasses import replace

import numpy as np
import pytest
import shapely
from jobs import Floats
from shapely.geometry.base import BaseGeometry
from test_fenced_passes import CART, HALF_M, NOSE_M, fenced, odd_field, star

from evenacre.coverage.audit import audit_operation
from evenacre.model import Field, Implement, Operation, TowedUnit, Track
from evenacre.planning.passes.pass_types import Drive, PassPlan
from evenacre.planning.passes.plan import plan_passes
from evenacre.reports.maps.pass_layers import pass_files

# The drill is hitched behind the axle of a cart, close to it and far from it.
BETWEEN = Implement(6.1, tow=(TowedUnit(4.3, 1.2), TowedUnit(4.6)), tool_behind_m=0.6)
AHEAD = Implement(9.144, tow=(TowedUnit(4.5, 2.5), TowedUnit(5.5)), tool_behind_m=1.0)
FIELDS = int(os.environ.get("DRIVEN_FIELDS", "2"))
# Of a cart: behind its axle, ahead of that as a share of its drawbar, and half its width.
CART_BEHIND_M, CART_AHEAD, CART_HALF_M = 1.5, 0.6, 1.5
STEP_M = 0.05
RECORD_M = 0.2  # between records of a log
# The outlines are looked at every so many of these.
LOOKED = 3
# What chords of the line, and steps of the chain, leave.
OUT_M, ASIDE_M, JUMP_M = 0.02, 0.05, 0.001

Placed = tuple[Floats, Floats]  # places of axles (n, 2), and headings


def tractor_along(plan: PassPlan) -> Placed:
    """Its pin and heading every few centimetres; no part begins elsewhere than the last ended."""
    pins = [
        np.asarray(line.coords)
        for line in itertools.chain(*itertools.zip_longest(plan.pin_runs, plan.pin_turns))
        if line is not None
    ]
    for before, after in itertools.pairwise(pins):
        assert math.dist(before[-1], after[0]) < JUMP_M
    xy = np.concatenate(pins)
    step = np.diff(xy, axis=0)
    some = np.hypot(*step.T) > 1e-6
    xy, step = np.vstack([xy[:1], xy[1:][some]]), step[some]
    length = np.hypot(*step.T)
    course = np.unwrap(np.arctan2(step[:, 1], step[:, 0]))
    at_points = (course[1:] * length[:-1] + course[:-1] * length[1:]) / (length[1:] + length[:-1])
    heading = np.concatenate([course[:1], at_points, course[-1:]])
    at = np.append(0.0, np.cumsum(length))
    fine = np.linspace(0.0, at[-1], math.ceil(at[-1] / STEP_M) + 1)
    x, y = (np.interp(fine, at, of) for of in xy.T)
    return np.column_stack([x, y]), np.interp(fine, at, heading)


def pulled(pin: Floats, length_m: float, heading: float) -> Placed:
    """A unit behind its pin, by small steps forward (the midpoint rule)."""
    headings = [heading]
    for dx, dy in np.diff(pin, axis=0).tolist():
        half = heading + (dy * math.cos(heading) - dx * math.sin(heading)) / (2 * length_m)
        heading += (dy * math.cos(half) - dx * math.sin(half)) / length_m
        headings.append(heading)
    turned = np.array(headings)
    return pin - length_m * ahead(turned), turned


def ahead(heading: Floats | float) -> Floats:
    return np.stack([np.cos(heading), np.sin(heading)], axis=-1)


def chain_of(plan: PassPlan, tool: Implement) -> list[Placed]:
    """Axles and headings of tractor, units ahead, drill and carts behind, driven forward.

    The drill begins on its first run, a cart before it between its pin and the tractor's.
    """
    found = [tractor_along(plan)]
    pin = found[0][0]
    first, second = np.asarray(plan.passes[0].line.coords)[:2]
    drill = math.atan2(*(second - first)[::-1])
    hitch = first + (tool.tool_behind_m + tool.tow[-1].hitch_to_axle_m) * ahead(drill)
    for unit in tool.tow:
        last = unit is tool.tow[-1]
        heading = drill if last else math.atan2(*(pin[0] - hitch)[::-1])
        found.append(pulled(pin, unit.hitch_to_axle_m, heading))
        back = tool.tool_to_pin_m if last else unit.axle_to_pin_m
        pin = found[-1][0] - back * ahead(found[-1][1])
    for unit in tool.behind:
        found.append(pulled(pin, unit.hitch_to_axle_m, drill))
        pin = found[-1][0] - unit.axle_to_pin_m * ahead(found[-1][1])
    return found


def outline(placed: Placed, back: float, front: float, half: float) -> Floats:
    """Points round a body wherever it comes, no farther than a metre or so apart."""
    along, across = np.linspace(back, front, 6), np.linspace(-half, half, 10)
    points = [(a, b) for a in along for b in (-half, half)]
    points += [(a, b) for a in (back, front) for b in across]
    xy, heading = placed[0][::LOOKED], placed[1][::LOOKED]
    u = ahead(heading)
    v = np.column_stack([-u[:, 1], u[:, 0]])
    return np.concatenate([xy + a * u + b * v for a, b in points])


def driven_on(field: Field, plan: PassPlan, tool: Implement) -> tuple[float, float]:
    """How far any body gets out of the fence, and the openers from their runs."""
    chain = chain_of(plan, tool)
    carts = [*zip(chain[1:], tool.tow[:-1], strict=False)]
    carts += zip(chain[1 + len(tool.tow) :], tool.behind, strict=True)
    openers = -tool.tool_behind_m
    drill = chain[len(tool.tow)]
    bodies = [
        outline(chain[0], 0.0, NOSE_M, HALF_M),
        outline(drill, openers - 1.0, openers + 1.0, tool.width_m / 2),
        *(
            outline(cart, -CART_BEHIND_M, CART_AHEAD * unit.hitch_to_axle_m, CART_HALF_M)
            for cart, unit in carts
        ),
    ]
    fence = plan.plane.project(field.boundary)
    shapely.prepare(fence)
    corners = np.concatenate(bodies)
    beyond = corners[~shapely.contains_xy(fence, *corners.T)]
    out = float(shapely.distance(fence, shapely.points(beyond)).max(initial=0.0))
    way = shapely.LineString(drill[0] + openers * ahead(drill[1]))
    runs = [shapely.segmentize(run.line, 2.0) for run in plan.passes]
    aside = shapely.distance(shapely.points(shapely.get_coordinates(runs)), way)
    return out, float(aside.max())


def field_of(number: int) -> BaseGeometry:
    size = np.random.default_rng(1000 + number).uniform(0.45, 0.8)
    return shapely.affinity.scale(odd_field(number), size, size, origin=(0, 0))


@pytest.mark.parametrize("number", range(FIELDS))
@pytest.mark.parametrize("tool", [BETWEEN, AHEAD, CART], ids=["between", "far", "behind"])
def test_the_chain_stays_inside_and_on_its_runs(tool: Implement, number: int) -> None:
    field, headland = fenced(field_of(number)), "last" if number % 2 else "first"
    plan = plan_passes(field, Drive(tool.width_m, implement=tool, headland=headland, blocks=False))
    out, aside = driven_on(field, plan, tool)
    assert out <= OUT_M
    assert aside <= ASIDE_M
    assert plan.covered_m2 > 0.7 * plan.workable_m2


def test_where_turns_have_several_parts() -> None:
    """Out of the points of a star by its middle."""
    field = fenced(star(4, 110.0, 60.0))
    plan = plan_passes(field, Drive(BETWEEN.width_m, implement=BETWEEN, blocks=False))
    out, aside = driven_on(field, plan, BETWEEN)
    assert out <= OUT_M
    assert aside <= ASIDE_M


def test_an_audit_of_the_tractor_finds_the_ground_that_is_said() -> None:
    """From an antenna over the pin: where the towed openers were, what they covered."""
    field = fenced(field_of(2))
    plan = plan_passes(field, Drive(AHEAD.width_m, implement=AHEAD, blocks=False))
    places, down = [], []
    for line in itertools.chain(*itertools.zip_longest(plan.pin_runs, plan.pin_turns)):
        if line is not None:
            at = np.arange(0.0, line.length, RECORD_M) + RECORD_M / 2
            places.append(shapely.get_coordinates(shapely.line_interpolate_point(line, at)))
            down.append(np.full(len(at), len(down) % 2 == 0))
    xy = np.concatenate(places)
    time_s = 1_786_000_000.0 + np.arange(len(xy)) * RECORD_M / plan.drive.speed_mps
    lon, lat = plan.plane.lonlat(*xy.T)
    track = Track("pin.csv", time_s, lon, lat, working=np.concatenate(down))
    tool = replace(AHEAD, rows=32, rows_known=True)
    found = audit_operation(Operation("Interseeding", field, tool, (track,)))
    assert found.covered_area_m2 == pytest.approx(plan.covered_m2, rel=3e-3)
    assert found.outside_area_m2 < 2.0


def test_the_line_is_written_whole() -> None:
    """Runs and turns in turn, each from where the last ended, to what degrees are rounded to."""
    field = fenced(field_of(0))
    plan = plan_passes(field, Drive(BETWEEN.width_m, implement=BETWEEN, blocks=False))
    written = pass_files([plan]).layers["hitch_pin"]
    assert written["part"].tolist()[:3] == ["run", "turn", "run"]
    assert len(written) == len(plan.passes) + len(plan.turns)
    lines = [plan.plane.project(line) for line in written.geometry]
    jumps = [
        math.dist(before.coords[-1], after.coords[0]) for before, after in itertools.pairwise(lines)
    ]
    assert max(jumps) < JUMP_M
