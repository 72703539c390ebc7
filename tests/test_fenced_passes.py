"""Passes inside a fence: the rig driven by small steps of its own, and orders by brute force."""

from __future__ import annotations

import itertools
import math
import os
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
import shapely
from driven import driven
from put_down import MISSOURI, on_earth
from shapely.geometry.base import BaseGeometry

from evenacre.coverage.audit import audit_operation
from evenacre.model import Field, Implement, TowedUnit
from evenacre.planning.passes.bends import drawn, ways_between
from evenacre.planning.passes.fence import Fence
from evenacre.planning.passes.order import in_order, least_turning, turn_costs
from evenacre.planning.passes.pass_types import Drive, PassPlan, PlannedPass
from evenacre.planning.passes.plan import plan_passes
from evenacre.planning.passes.rig import rig_of
from evenacre.planning.passes.turning import on_circles
from evenacre.planning.passes.turns import poses, shortest_turns
from evenacre.reports.sentences.findings import sentence

CART = Implement(
    9.144,
    tow=(TowedUnit(5.5),),
    tool_behind_m=1.0,
    behind=(TowedUnit(4.5),),
    tool_to_pin_m=1.5,
)
ONE = Implement(6.096, tow=(TowedUnit(5.03),), tool_behind_m=0.9)
# Of the tractor: half its width, and how far ahead of the pin it reaches.
HALF_M, NOSE_M = 1.3, 5.5
# Where a step of the driven line is a chord, and of the simulation a straight.
ROUNDING_M = 0.03
SHAPES = int(os.environ.get("FENCED_FIELDS", "2"))
# The outline is looked at every so many steps of the chain.
LOOKED = 5


def fenced(shape: BaseGeometry) -> Field:
    return Field("paddock", on_earth(shape, MISSOURI, 0.3, (0.0, 0.0)), fenced=True)


def odd_field(seed: int) -> BaseGeometry:
    """From 4 to 12 corners, some of them inward, 2 to 20 ha."""
    rng = np.random.default_rng(seed)
    corners = int(rng.integers(4, 13))
    angle = np.linspace(0, 2 * np.pi, corners, endpoint=False) + rng.uniform(-0.25, 0.25, corners)
    far = rng.uniform(0.75, 1.25, corners) * rng.uniform(90, 260)
    shape = shapely.Polygon(np.column_stack([far * np.cos(angle), far * np.sin(angle)]))
    assert shape.is_valid
    return shape


def chain_in(fence: BaseGeometry, plan: PassPlan, tool: Implement) -> float:
    """How far any corner of the rig gets out of the fence, by steps of 2 cm in no shared code."""
    worst = 0.0
    shapely.prepare(fence)
    lead = tool.tow[0].hitch_to_axle_m
    cart: float | None = None
    hitch: np.ndarray | None = None
    for turn, pin, before, after in zip(
        plan.turns, plan.pin_turns, plan.passes[:-1], plan.passes[1:], strict=True
    ):
        last = np.asarray(before.line.coords)
        drill = math.atan2(*(last[-1] - last[-2])[::-1])
        assert np.hypot(*(np.asarray(turn.coords)[0] - last[-1])) < 0.1
        assert np.hypot(*(np.asarray(turn.coords)[-1] - after.line.coords[0])) < 0.05
        corners = []
        cart, hitch = after_run(before, tool, cart, hitch)
        for number, (at, tractor, moved) in enumerate(driven_along(pin, drill)):
            if moved < 0:
                # Backing up is steered by eye: any error would grow. It is straight, and in line.
                assert abs(math.sin(tractor - drill)) < 0.03
                drill = tractor
            drill += moved * math.sin(tractor - drill) / lead
            u = np.array([math.cos(drill), math.sin(drill)])
            axle = at - lead * u
            looked = number % LOOKED == 0
            if looked:
                behind = tool.tool_behind_m
                corners.append(_corners(at, tractor, 0.0, NOSE_M, HALF_M))
                corners.append(_corners(axle, drill, -behind - 1, -behind + 1, tool.width_m / 2))
            if tool.behind:
                pulled = axle - tool.tool_to_pin_m * u
                step = pulled - (pulled if hitch is None else hitch)
                hitch, length = pulled, tool.behind[0].hitch_to_axle_m
                across = step[1] * math.cos(cart) - step[0] * math.sin(cart)
                cart += across / length
                if looked:
                    wagon = hitch - length * np.array([math.cos(cart), math.sin(cart)])
                    corners.append(_corners(wagon, cart, -1.5, 1.5, 1.5))
        out = shapely.distance(fence, shapely.points(np.concatenate(corners)))
        worst = max(worst, float(out.max()))
        # The openers come out on the beginning of the next pass.
        end = axle - tool.tool_behind_m * u
        assert np.hypot(*(end - np.asarray(turn.coords)[-1])) < 0.1
    return worst


def after_run(
    run: PlannedPass, tool: Implement, cart: float | None, hitch: np.ndarray | None
) -> tuple[float, np.ndarray]:
    """How the cart heads after a run, and where its pin is; in line where nothing is known yet."""
    xy = np.asarray(shapely.segmentize(run.line, 0.1).coords)
    course = np.unwrap(np.arctan2(*np.diff(xy, axis=0).T[::-1]))
    heading = np.concatenate([course[:1], (course[1:] + course[:-1]) / 2, course[-1:]])
    back = tool.tool_behind_m - tool.tool_to_pin_m
    pins = xy + back * np.column_stack([np.cos(heading), np.sin(heading)])
    cart = heading[0] if cart is None else cart
    hitch = pins[0] if hitch is None else hitch
    for pin in pins:
        if tool.behind:
            x, y = pin - hitch
            cart += (y * math.cos(cart) - x * math.sin(cart)) / tool.behind[0].hitch_to_axle_m
        hitch = pin
    return cart, hitch


def runs_out(fence: BaseGeometry, plan: PassPlan, tool: Implement) -> float:
    """How far drill and tractor get out at both ends of runs, and the cart where it begins."""
    behind, lead = tool.tool_behind_m, tool.tool_behind_m + tool.tow[0].hitch_to_axle_m
    corners = []
    for number, run in enumerate(plan.passes):
        xy = np.asarray(run.line.coords)
        for at, step in ((xy[0], xy[1] - xy[0]), (xy[-1], xy[-1] - xy[-2])):
            course = math.atan2(*step[::-1])
            u = np.array([math.cos(course), math.sin(course)])
            corners.append(_corners(at, course, -1.0, 1.0, tool.width_m / 2))
            corners.append(_corners(at + lead * u, course, 0.0, NOSE_M, HALF_M))
            if number == 0 and tool.behind and len(corners) == 2:
                wagon = behind - tool.tool_to_pin_m - tool.behind[0].hitch_to_axle_m
                corners.append(_corners(at + wagon * u, course, -1.5, 1.5, 1.5))
    return float(shapely.distance(fence, shapely.points(np.concatenate(corners))).max())


def driven_along(
    pin: shapely.LineString, heading: float
) -> Iterator[tuple[np.ndarray, float, float]]:
    """Pin, heading of the tractor and way since the last (less than 0: backward), every 2 cm."""
    xy = np.asarray(pin.coords)
    xy = xy[np.concatenate([[True], np.hypot(*np.diff(xy, axis=0).T) > 1e-6])]
    step = np.diff(xy, axis=0)
    length = np.hypot(*step.T)
    course = np.arctan2(step[:, 1], step[:, 0])
    # Driven backward where the line doubles back on itself.
    cusps = np.cos(np.diff(course)) < 0
    way = np.cumprod(np.concatenate([[1.0], np.where(cusps, -1.0, 1.0)]))
    if math.cos(course[0] - heading) < 0:
        way = -way
    facing = np.unwrap(np.where(way > 0, course, course + math.pi))
    # At a point of the line the tractor heads as the chords on both sides do on average.
    at_points = np.concatenate([[heading], (facing[1:] + facing[:-1]) / 2, facing[-1:]])
    at_points = np.unwrap(at_points)
    for k in range(len(step)):
        pieces = max(int(length[k] / 0.02), 1)
        for share in (np.arange(pieces) + 1) / pieces:
            turned = at_points[k] + share * (at_points[k + 1] - at_points[k])
            yield xy[k] + share * step[k], float(turned), float(way[k] * length[k] / pieces)


def _corners(at: np.ndarray, heading: float, back: float, ahead: float, half: float) -> np.ndarray:
    u = np.array([math.cos(heading), math.sin(heading)])
    v = np.array([-u[1], u[0]])
    return np.array([at + a * u + b * v for a in (back, ahead) for b in (-half, half)])


@pytest.mark.parametrize("seed", range(SHAPES))
def test_no_corner_of_the_rig_leaves_the_fence(seed: int) -> None:
    tool = CART if seed % 2 == 0 else ONE
    field = fenced(odd_field(seed))
    plan = plan_passes(field, Drive(tool.width_m, implement=tool))
    assert plan.fenced
    assert chain_in(plan.plane.project(field.boundary), plan, tool) <= ROUNDING_M
    assert plan.outside_m2 < 0.5
    assert plan.covered_m2 + plan.missed_m2 == pytest.approx(plan.workable_m2)
    assert plan.left.area == pytest.approx(plan.missed_m2, rel=0.1, abs=0.002 * plan.workable_m2)


def star(points: int, far_m: float, near_m: float) -> BaseGeometry:
    angle = np.linspace(0, 2 * np.pi, 2 * points, endpoint=False)
    far = np.where(np.arange(2 * points) % 2 == 0, far_m, near_m)
    return shapely.Polygon(np.column_stack([far * np.cos(angle), far * np.sin(angle)]))


@pytest.mark.parametrize(
    ("shape", "covered"),
    [
        (star(4, 110.0, 60.0), 0.75),
        (shapely.Polygon([(0, 0), (210, 20), (90, 150)]), 0.75),
        (shapely.union_all([shapely.box(0, 0, 130, 80), shapely.box(60, 79, 115, 170)]), 0.8),
    ],
    ids=["star", "triangle", "two boxes"],
)
def test_neither_where_a_drive_begins_nor_along_its_runs(
    shape: BaseGeometry, covered: float
) -> None:
    """The cart is inside from the first run on, and a run driven the other way ends sooner."""
    field = fenced(shape)
    plan = plan_passes(field, Drive(CART.width_m, implement=CART, blocks=False))
    fence = plan.plane.project(field.boundary)
    assert runs_out(fence, plan, CART) <= ROUNDING_M
    assert chain_in(fence, plan, CART) <= ROUNDING_M
    assert plan.covered_m2 > covered * plan.workable_m2


def test_a_post_between_two_places_is_not_driven_through() -> None:
    """A body that comes from one place to the next sweeps what lies between them."""
    post = shapely.Polygon([(4.9, 3.0), (5.0, 0.9), (5.1, 3.0)])
    fence = Fence(shapely.difference(shapely.box(-20, -20, 20, 3), post))
    outline = np.array([[-0.5, -1.0], [0.5, -1.0], [0.5, 1.0], [-0.5, 1.0], [-0.5, -1.0]])
    places = np.array([[3.0, 0.0], [7.0, 0.0]])
    assert fence.holds_each([(outline, places, np.zeros(2))]).all()
    assert not fence.holds([(outline, places, np.zeros(2))])


def test_a_fence_of_separate_parts_is_told_with_what_to_do() -> None:
    """Two squares with a lane between them that is not in the fence."""
    two = shapely.union_all([shapely.box(0, 0, 60, 60), shapely.box(80, 0, 120, 40)])
    plan = plan_passes(fenced(two), Drive(ONE.width_m, implement=ONE))
    (told,) = (f for f in plan.findings if f.code == "parts_not_driven")
    assert (told.values["parts"], told.values["bare"]) == (2, 1)
    assert "Give each part as a field of its own" in sentence(told)
    alone = plan_passes(fenced(shapely.box(0, 0, 60, 60)), Drive(ONE.width_m, implement=ONE))
    assert "parts_not_driven" not in {f.code for f in alone.findings}


def test_a_strip_between_fences_narrower_than_the_drill_is_told_as_that() -> None:
    plan = plan_passes(fenced(shapely.box(0, 0, 120, 5)), Drive(ONE.width_m, implement=ONE))
    assert not plan.passes
    codes = {f.code for f in plan.findings}
    assert "no_room_inside_fence" in codes
    assert "tool_does_not_fit" not in codes


@pytest.mark.parametrize("tool", [CART, ONE])
def test_a_bend_of_hardly_anything_comes_where_it_is_said_to(tool: Implement) -> None:
    bend = rig_of(Drive(tool.width_m, implement=tool), towed=True).bend
    for turned in np.radians([0.01, 0.05, 0.2, 0.5, 1.0, 2.0]):
        said = complex(bend.leads(np.array([turned]))[0])
        there = drawn(bend, np.zeros(3), [(float(turned), 0.0)], 0.05).xy[-1]
        assert abs(said - complex(*there)) < 0.02


def test_a_way_to_a_run_straight_ahead_ends_where_that_run_begins() -> None:
    """As near to straight as rounding leaves it, where a bend of hardly anything is no shorter."""
    between = Implement(6.1, tow=(TowedUnit(4.3, 1.2), TowedUnit(4.6)), tool_behind_m=0.6)
    rig = rig_of(Drive(between.width_m, implement=between), towed=True)
    ends = [
        np.array([ahead, aside, turned])
        for ahead in (3.0, 12.15, 45.0)
        for aside in (0.0, 3e-9, 2e-7, -2e-6)
        for turned in (0.0, -2e-10, 4e-7)
    ]
    for bend, end in itertools.product(rig.bends, ends):
        ways = ways_between(bend, np.zeros(3), end, backs=True)
        assert ways
        for way in ways:
            place = drawn(bend, np.zeros(3), way, 0.05).xy[-1]
            assert math.dist(place, end[:2]) < 0.05


@pytest.mark.parametrize("end", [(0.0, 0.0, 0.0), (4e-4, 0.0, 0.0), (0.0, 0.0, 3e-8)])
def test_a_way_of_no_length_is_a_line_too(end: tuple[float, float, float]) -> None:
    """A run may begin right where the one before it ends."""
    rig = rig_of(Drive(ONE.width_m, implement=ONE), towed=True)
    for way in ways_between(rig.bend, np.zeros(3), np.array(end), backs=True)[:1]:
        line = shapely.LineString(drawn(rig.bend, np.zeros(3), way, 0.05).xy)
        assert line.length == pytest.approx(0.0, abs=1e-3)


def test_what_is_covered_is_what_an_audit_finds() -> None:
    field = fenced(odd_field(3))
    plan = plan_passes(field, Drive(CART.width_m, implement=CART))
    found = audit_operation(driven(plan, field))
    assert found.covered_area_m2 == pytest.approx(plan.covered_m2, rel=2e-3)
    assert found.outside_area_m2 < 2.0
    assert plan.covered_m2 > 0.95 * plan.workable_m2


def test_the_headland_is_driven_last_where_asked() -> None:
    field = fenced(shapely.box(0, 0, 130, 110))
    last = plan_passes(field, Drive(CART.width_m, implement=CART, headland="last"))
    kinds = [p.kind for p in last.passes]
    assert kinds.index("round") > kinds.index("pass")
    rounds = [p.number for p in last.passes if p.kind == "round"]
    assert rounds[-1] == 1


def test_the_radius_taken_follows_the_tow() -> None:
    """R^2 = r^2 + L^2 of a unit on a circle, with r half the width; a tractor's own at least."""
    drive = Drive(CART.width_m, implement=CART)
    assert rig_of(drive, towed=True).radius_m == pytest.approx(math.hypot(9.144 / 2, 5.5))
    assert rig_of(Drive(3.0), towed=False).radius_m == 6.0
    plan = plan_passes(fenced(shapely.box(0, 0, 150, 150)), drive)
    assert {"radius_derived", "tractor_assumed"} <= {f.code for f in plan.findings}
    given = replace(drive, turn_radius_m=9.0, tractor_length_m=5.0, tractor_width_m=2.5)
    told = {f.code for f in plan_passes(fenced(shapely.box(0, 0, 150, 150)), given).findings}
    assert not {"radius_derived", "tractor_assumed", "tow_assumed"} & told


@pytest.mark.parametrize("seed", range(4))
def test_no_order_of_a_few_passes_turns_less(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count = int(rng.integers(3, 6))
    passes = [
        PlannedPass(
            "pass", k + 1, shapely.LineString([(rng.uniform(-9, 9), 6.1 * k), (90, 6.1 * k)])
        )
        for k in range(count)
    ]

    both = [*passes, *(replace(p, line=p.line.reverse()) for p in passes)]
    begin, end = poses(both)
    a, b = np.indices((2 * count, 2 * count)).reshape(2, -1)
    cost = 8.0 * shortest_turns(end[a], begin[b], 8.0)[1].sum(axis=1).reshape(2 * count, -1)
    brute = min(
        sum(
            cost[x, y]
            for x, y in itertools.pairwise(k + count * way for k, way in zip(*tried, strict=True))
        )
        for order in itertools.permutations(range(count))
        for tried in ((order, ways) for ways in itertools.product((0, 1), repeat=count))
    )
    begin, end = poses(in_order(passes, on_circles(8.0), None))
    turning = 8.0 * float(shortest_turns(end[:-1], begin[1:], 8.0)[1].sum())
    assert turning == pytest.approx(brute)


def test_many_passes_skip_those_that_would_need_a_loop() -> None:
    passes = [
        PlannedPass("pass", k + 1, shapely.LineString([(0, 6.1 * k), (200, 6.1 * k)]))
        for k in range(40)
    ]
    cost = turn_costs(passes, on_circles(8.0))
    order = least_turning(cost, np.zeros(80), np.arange(40))
    assert sorted(node % 40 for node in order) == list(range(40))
    skipped = cost[order[:-1], order[1:]].sum()
    one_by_one = [k if k % 2 == 0 else 40 + k for k in range(40)]
    assert skipped < 0.75 * cost[one_by_one[:-1], one_by_one[1:]].sum()


BOX = shapely.box(0, 0, 160, 110)
WATERWAY = shapely.box(-5, 45, 165, 51)
POND = shapely.Point(95, 52).buffer(17)
STRIP = shapely.box(15, 4.5, 145, 12)
NECK = shapely.union_all(
    [shapely.box(0, 0, 80, 90), shapely.box(79, 40, 121, 47.6), shapely.box(120, 0, 200, 90)]
)


@pytest.mark.parametrize(
    ("shape", "pond", "waterway", "covered", "kinds"),
    [
        (BOX, POND, shapely.difference(WATERWAY, POND), 0.97, {"round", "pass"}),
        # Between waterway and fence it is narrower than the tool, which then leads over the former.
        (BOX, None, STRIP, 0.92, {"round", "middle", "pass"}),
        # A metre and a half wider than the tool, and 40 m long.
        (NECK, None, None, 0.7, {"round", "pass"}),
    ],
    ids=["pond and waterway", "narrow strip", "neck"],
)
def test_round_a_pond_over_a_waterway_and_through_a_neck(
    shape: BaseGeometry,
    pond: BaseGeometry | None,
    waterway: BaseGeometry | None,
    covered: float,
    kinds: set[str],
) -> None:
    def earthly(part: BaseGeometry) -> BaseGeometry:
        return on_earth(part, MISSOURI, 0.3, (0.0, 0.0))

    put = [earthly(part) for part in (pond, waterway) if part is not None]
    field = Field(
        "paddock",
        earthly(shape),
        shapely.union_all(put) if put else None,
        crossed=None if waterway is None else earthly(waterway),
        fenced=True,
    )
    plan = plan_passes(field, Drive(ONE.width_m, implement=ONE, blocks=False))
    free = shape if pond is None else shapely.difference(shape, pond)
    assert chain_in(plan.plane.project(earthly(free)), plan, ONE) < ROUNDING_M
    assert plan.covered_m2 > covered * plan.workable_m2
    assert {run.kind for run in plan.passes} == kinds
    codes = {f.code for f in plan.findings}
    assert "turns_cross_unworkable" not in codes
    middles = [run.line for run in plan.passes if run.kind == "middle"]
    if waterway is not None:
        assert "crossed_lifted" in codes
        # The tool is in the ground over no more of the waterway than a narrow strip asks for.
        wet = plan.plane.project(earthly(waterway))
        swept = [run.line.buffer(3.0, cap_style="flat") for run in plan.passes]
        over = shapely.intersection(shapely.union_all(swept), wet).area
        asked = sum(line.length for line in middles) * (ONE.width_m - 4.5 + 0.3)
        assert over < asked + 0.003 * plan.workable_m2
    # The parts on both sides are reached.
    east, west = (
        sum(run.line.length for run in plan.passes if (run.line.centroid.x > 0) == side)
        for side in (True, False)
    )
    assert min(east, west) > 0.2 * plan.work_m
