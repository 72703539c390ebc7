"""Passes over shapes as they are: strips narrower than the tool, necks, arms, ponds, blocks."""

from __future__ import annotations

import math
import os
from dataclasses import replace
from unittest.mock import patch

import numpy as np
import pytest
import shapely
from driven import driven
from hypothesis import given, settings
from hypothesis import strategies as st
from put_down import MISSOURI, on_earth
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from evenacre.coverage.audit import audit_operation
from evenacre.coverage.drive import Drive as LoggedDrive
from evenacre.model import Field
from evenacre.planning.passes.blocks import blocks_of
from evenacre.planning.passes.pass_types import Drive, PassPlan
from evenacre.planning.passes.plan import plan_passes
from evenacre.planning.passes.swaths import swath
from evenacre.planning.passes.turns import turn_room

WIDTH = 6.096
DRIVE = Drive(WIDTH)
EXAMPLES = int(os.environ.get("INVARIANT_EXAMPLES", "4"))
# An L of two long arms, as wide as a whole number of passes inside two rounds.
ARM, WIDE = 420.0, 10 * WIDTH
ARMS = shapely.Polygon([(0, 0), (ARM, 0), (ARM, WIDE), (WIDE, WIDE), (WIDE, ARM), (0, ARM)])


def field(shape: BaseGeometry, turn: float = 0.0, shift: tuple[float, float] = (0, 0)) -> Field:
    return Field("field", on_earth(shape, MISSOURI, turn, shift))


def kinds(plan: PassPlan) -> dict[str, int]:
    return {kind: sum(p.kind == kind for p in plan.passes) for kind in ("round", "middle", "pass")}


def codes(plan: PassPlan) -> set[str]:
    return {finding.code for finding in plan.findings}


@pytest.mark.parametrize("wide", [3.1, 5.0, 6.0, 6.15])
def test_a_strip_narrower_than_the_tool_in_closed_form(wide: float) -> None:
    """One run along the middle: all is covered, and the rest of the tool is outside."""
    long = 200.0
    plan = plan_passes(field(shapely.box(0, 0, long, wide), turn=0.7), DRIVE)
    assert kinds(plan) == {"round": 0, "middle": 1, "pass": 0}
    assert plan.work_m == pytest.approx(long, abs=0.5)
    covered = min(wide, WIDTH)
    assert plan.covered_m2 == pytest.approx(covered * long, rel=2e-3)
    assert plan.outside_m2 == pytest.approx((WIDTH - covered) * long, rel=0.01, abs=3.0)
    assert plan.overlap_m2 == pytest.approx(0, abs=0.5)
    if wide < WIDTH:
        assert "narrower_than_tool" in codes(plan)


def test_a_bent_strip_is_driven_along_its_middle() -> None:
    """An arc of a ring: its area is the width times the way of the middle (Pappus)."""
    angle = np.linspace(0, math.pi, 91)
    middle = shapely.LineString(60 * np.column_stack([np.cos(angle), np.sin(angle)]))
    plan = plan_passes(field(middle.buffer(2.2, cap_style="flat")), DRIVE)
    (only,) = plan.passes
    assert only.kind == "middle"
    assert only.line.length == pytest.approx(60 * math.pi, rel=0.01)
    assert plan.covered_m2 == pytest.approx(4.4 * 60 * math.pi, rel=0.01)
    assert plan.covered_share > 0.995


def test_a_sharp_tip_is_no_strip() -> None:
    tip = shapely.Polygon([(0, 0), (120, 0), (120, 30)])
    plan = plan_passes(field(tip), DRIVE)
    assert kinds(plan)["middle"] == 0
    assert plan.outside_m2 < 1.0


@pytest.mark.parametrize("wide", [4.0, 5.0, 6.15, 7.5, 9.0, 12.0])
def test_two_lobes_and_the_neck_between_are_all_covered(wide: float) -> None:
    low = 50 - wide / 2
    lobes = [shapely.box(0, 0, 100, 100), shapely.box(200, 0, 300, 100)]
    ground = shapely.union_all([*lobes, shapely.box(99, low, 201, low + wide)])
    plan = plan_passes(field(ground, turn=0.3), DRIVE)
    assert plan.covered_share > 0.9995
    narrow = wide < WIDTH * 1.02
    assert kinds(plan)["middle"] == int(narrow)
    # The neck is driven once where once is enough; the rest of the tool is beside it.
    assert plan.outside_m2 == pytest.approx(max(WIDTH - wide, 0) * 100, rel=0.03, abs=1.5)


def test_a_strip_beside_a_pond_is_not_driven_through_the_pond() -> None:
    """The tool may stick out over the boundary, never over ground that is not to be worked."""
    ground = field(shapely.box(0, 0, 200, 100))
    pond = on_earth(shapely.box(5, 5, 195, 95), MISSOURI, 0.0, (0, 0))
    around = Field("field", ground.boundary, pond)
    plan = plan_passes(around, DRIVE)
    wet = plan.plane.project(pond)
    for run in plan.passes:
        assert shapely.intersection(swath(run.line, WIDTH), wet).area < 1.0
    assert plan.missed_m2 == pytest.approx(plan.workable_m2 - plan.covered_m2)


def test_two_long_arms_are_two_blocks() -> None:
    """Six passes lie beside each other inside the rounds of each arm, as long as the arm."""
    plan = plan_passes(field(ARMS, turn=0.2), DRIVE)
    assert len(plan.blocks) == 2
    apart = (plan.blocks[0].heading_rad - plan.blocks[1].heading_rad) % math.pi
    assert apart == pytest.approx(math.pi / 2, abs=1e-3)
    assert kinds(plan)["pass"] == 12
    straight = sum(p.line.length for p in plan.passes if p.kind == "pass")
    # The arms inside two rounds, and nothing of them twice.
    inner = ARMS.buffer(-2 * WIDTH, join_style="mitre")
    assert straight * WIDTH == pytest.approx(inner.area, rel=2e-3)
    single = plan_passes(field(ARMS, turn=0.2), Drive(WIDTH, blocks=False))
    assert single.blocks == ()
    assert plan.takes_s < single.takes_s
    (told,) = [f for f in plan.findings if f.code.startswith("blocks_save")]
    assert told.values["blocks"] == 2
    assert told.values["time_s"] == pytest.approx(single.field_time_s - plan.field_time_s)


def test_a_later_block_has_no_ends_on_an_earlier_one() -> None:
    """Passes end at a cut only where the ground beyond is not worked yet, and run beside it."""
    plan = plan_passes(field(ARMS, turn=0.2), DRIVE)
    order = [p.block for p in plan.passes if p.block is not None]
    assert order == sorted(order)
    first, later = (block.ground for block in plan.blocks)
    cut = shapely.intersection(first.buffer(0.01), later.buffer(0.01)).minimum_rotated_rectangle
    for run in plan.passes:
        if run.block == 1:
            ends = shapely.points([run.line.coords[0], run.line.coords[-1]])
            inward = shapely.distance(ends, cut)
            along = abs(math.sin(plan.blocks[1].heading_rad - _heading(run.line)))
            assert along < 1e-6
            assert (inward > WIDTH / 2 - 0.1).all()


def _heading(line: shapely.LineString) -> float:
    (x0, y0), (x1, y1) = line.coords[0], line.coords[-1]
    return math.atan2(y1 - y0, x1 - x0)


def test_blocks_fill_their_part_and_do_not_overlap() -> None:
    parts = [ARMS, affinity.translate(ARMS, 1000, 0)]
    blocks = blocks_of(parts, DRIVE, 6.0)
    assert [block.part for block in blocks] == [0, 0, 1, 1]
    for number, part in enumerate(parts):
        grounds = [block.ground for block in blocks if block.part == number]
        assert sum(g.area for g in grounds) == pytest.approx(part.area, rel=1e-6)
        assert shapely.union_all(grounds).area == pytest.approx(part.area, rel=1e-6)


@pytest.mark.parametrize(
    "shape",
    [shapely.box(0, 0, 300, 200), shapely.Polygon([(0, 0), (300, 0), (80, 200)])],
    ids=["rectangle", "triangle"],
)
def test_ground_without_inward_corners_is_one_block(shape: BaseGeometry) -> None:
    assert len(blocks_of([shape], DRIVE, 6.0)) == 1


def test_a_heading_that_is_given_is_that_of_all_passes() -> None:
    plan = plan_passes(field(ARMS), Drive(WIDTH, heading_rad=0.4))
    assert plan.blocks == ()
    assert plan.drive.heading_rad == 0.4


def star(seed: int) -> BaseGeometry:
    """An odd field with arms, of 1 to 12 ha, now and then with a pond."""
    rng = np.random.default_rng(seed)
    count = int(rng.integers(4, 11))
    angle = np.linspace(0, 2 * np.pi, count, endpoint=False) + rng.uniform(-0.2, 0.2, count)
    far = rng.uniform(40, 250, count)
    shape = shapely.Polygon(np.column_stack([far * np.cos(angle), far * np.sin(angle)])).buffer(0)
    if seed % 3 == 0:
        shape = shape - shapely.Point(*rng.uniform(-30, 30, 2)).buffer(rng.uniform(5, 20))
    return max(shapely.get_parts(shape), key=lambda part: part.area)


@given(seed=st.integers(0, 10_000), width=st.sampled_from([3.0, 6.096, 9.144, 18.0]))
@settings(max_examples=EXAMPLES, deadline=None)
def test_any_shape_is_planned_and_all_its_ground_accounted_for(seed: int, width: float) -> None:
    ground = field(star(seed), turn=0.1 * seed)
    plan = plan_passes(ground, Drive(width))
    assert plan.passes or "tool_does_not_fit" in codes(plan)
    assert plan.covered_m2 + plan.missed_m2 == pytest.approx(plan.workable_m2)
    assert 0 <= plan.covered_share <= 1 + 1e-9
    left = sum(part.area for part in shapely.get_parts(plan.left))
    assert left <= plan.missed_m2 + 1e-6
    for run in plan.passes:
        if run.kind != "middle":
            out = shapely.difference(swath(run.line, width), plan.workable).area
            assert out <= 0.03 * plan.workable.length
    single = plan_passes(ground, Drive(width, blocks=False))
    assert plan.takes_s <= single.takes_s
    if plan.passes:
        # How sure areas are is not asked, and may take a minute where passes are a few metres long.
        with patch.object(LoggedDrive, "draws", return_value=None):
            found = audit_operation(driven(plan, ground))
        assert found.covered_area_m2 == pytest.approx(plan.covered_m2, rel=1e-3, abs=1.0)
        bare = found.workable_area_m2 - found.covered_area_m2
        assert bare == pytest.approx(plan.missed_m2, rel=0.05, abs=1e-3 * plan.workable_m2)


@given(
    seed=st.integers(0, 10_000),
    turn=st.floats(0, 2 * math.pi),
    east=st.floats(-500, 500),
)
@settings(max_examples=EXAMPLES, deadline=None)
def test_where_a_field_lies_and_how_it_is_turned_changes_no_area(
    seed: int, turn: float, east: float
) -> None:
    """Its hours may differ by some percent: headings are tried from the plane's x axis."""
    shape = star(seed)
    here, there = (
        plan_passes(field(shape, *placed), DRIVE) for placed in ((0.0, (0, 0)), (turn, (east, 0)))
    )
    assert there.workable_m2 == pytest.approx(here.workable_m2, rel=1e-6)
    assert there.covered_share == pytest.approx(here.covered_share, abs=1e-3)


LONG, HIGH, WATER = 400.0, 40 * WIDTH, 10.0
WATERWAY = shapely.box(LONG / 2 - WATER / 2, -10, LONG / 2 + WATER / 2, HIGH + 10)


def crossed(way: BaseGeometry, *, may: bool, turn: float = 0.2) -> PassPlan:
    ground = field(shapely.box(0, 0, LONG, HIGH), turn)
    put = on_earth(way, MISSOURI, turn, (0, 0))
    return plan_passes(Field("field", ground.boundary, put, crossed=put if may else None), DRIVE)


def test_a_waterway_square_to_the_passes_is_crossed_and_not_turned_at() -> None:
    plan = crossed(WATERWAY, may=True)
    around = crossed(WATERWAY, may=False)
    assert plan.takes_s < around.takes_s
    # Inside two rounds there are 36 passes, each in two halves, and it is straight across from
    # one to the other.
    assert kinds(plan)["pass"] == 72
    straight = [
        turn
        for turn, before in zip(plan.turns, plan.passes, strict=False)
        if before.kind == "pass" and turn.length == pytest.approx(WATER, abs=0.1)
    ]
    assert len(straight) == 36
    assert plan.covered_share > 0.999
    wet = plan.crossed
    assert wet.area == pytest.approx(WATER * HIGH, rel=1e-3)
    swept = shapely.union_all([swath(run.line, WIDTH) for run in plan.passes])
    assert shapely.intersection(swept, wet).area < 2 * 0.05 * HIGH
    (note,) = [f for f in plan.findings if f.code == "crossed_lifted"]
    crossings = sum(turn.intersects(wet) for turn in plan.turns)
    assert note.values["times"] == crossings >= 36


def test_a_waterway_aslant_leaves_no_triangles() -> None:
    way = shapely.LineString([(150, -10), (250, HIGH + 10)]).buffer(5)
    plan, around = crossed(way, may=True), crossed(way, may=False)
    assert plan.takes_s <= around.takes_s
    assert plan.covered_share > 0.998
    swept = shapely.union_all([swath(run.line, WIDTH) for run in plan.passes])
    assert (
        shapely.intersection(swept, plan.plane.project(on_earth(way, MISSOURI, 0.2, (0, 0)))).area
        < 0.1 * HIGH
    )


def test_turns_over_ground_that_is_crossed_do_not_leave_the_ground() -> None:
    plan = crossed(WATERWAY, may=True)
    free = replace(plan, crossed=shapely.Polygon())
    assert turn_room(plan).turns <= turn_room(free).turns - 36


def test_no_turn_goes_through_a_pond() -> None:
    """Where a plain turn would, it goes round, no tighter than the machine turns."""
    ponds = [shapely.Point(100, 100).buffer(25), shapely.box(180, 160, 230, 200)]
    wet = on_earth(shapely.union_all(ponds), MISSOURI, 0.0, (0, 0))
    ground = Field("field", field(shapely.box(0, 0, 300, 280)).boundary, wet)
    plan = plan_passes(ground, Drive(WIDTH, rounds=4))
    water = plan.plane.project(wet)
    through = [shapely.intersection(turn, water).length for turn in plan.turns]
    assert max(through) < 0.1
    assert "turns_cross_unworkable" not in codes(plan)
    for turn in plan.turns:
        if turn.length > 1.0:
            xy = np.asarray(turn.coords)
            step = np.diff(xy, axis=0)
            length = np.hypot(*step.T)
            bend = np.abs(np.angle(np.exp(1j * np.diff(np.arctan2(step[:, 1], step[:, 0])))))
            ahead = np.minimum(length[1:], length[:-1])
            tight = bend / np.maximum(ahead, 0.2)
            # Chords of arcs, and the odd short one where two arcs meet.
            assert np.median(tight) <= 1.05 / plan.drive.turn_radius_m
