"""Passes to come: closed forms on rectangles, and plans driven exactly and audited."""

from __future__ import annotations

import math
import os
import re
import sys
from pathlib import Path
from typing import Any

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
from evenacre.model import Field
from evenacre.planning import ground
from evenacre.planning.passes.pass_types import Drive, PassPlan
from evenacre.planning.passes.plan import plan_passes
from evenacre.planning.passes.rounds import corner_runs
from evenacre.planning.passes.strips import best_heading
from evenacre.planning.passes.swaths import swath, swath_pieces
from evenacre.sample_fields.farm import CROP_FIELDS, paddocks

WIDTH = 6.096
DRIVE = Drive(WIDTH)
# Square metres of overlap that an audit's own edges may add or miss: 2 cm along the ends.
EDGE_M = 0.02


def field(shape: BaseGeometry, turn: float = 0.3, name: str = "field") -> Field:
    return Field(name, on_earth(shape, MISSOURI, turn, (0.0, 0.0)))


def count(plan: PassPlan, kind: str) -> int:
    return sum(p.kind == kind for p in plan.passes)


def odd_shape(seed: int) -> BaseGeometry:
    """A field of a dozen corners with a pond and a barn in it."""
    rng = np.random.default_rng(seed)
    angle = np.linspace(0, 2 * np.pi, 12, endpoint=False) + rng.uniform(-0.2, 0.2, 12)
    far = rng.uniform(190, 290, 12)
    outline = shapely.Polygon(np.column_stack([far * np.cos(angle), far * np.sin(angle)]))
    pond = shapely.Point(40, 60).buffer(rng.uniform(8, 25))
    barn = affinity.rotate(shapely.box(-90, -60, -50, -35), rng.uniform(0, 90))
    return outline.buffer(0) - pond - barn


SHAPES = {
    "rectangle": shapely.box(0, 0, 180, 179.86),
    "L": shapely.Polygon([(0, 0), (300, 0), (300, 150), (150, 150), (150, 300), (0, 300)]),
    "circle": shapely.Point(0, 0).buffer(150, quad_segs=60),
    "rounded corners": shapely.box(0, 0, 200, 200).buffer(-10).buffer(10, quad_segs=32),
    "tight corners": shapely.box(0, 0, 200, 200).buffer(-5).buffer(5, quad_segs=32),
    "triangle": shapely.Polygon([(0, 0), (300, 0), (80, 200)]),
    "barn": shapely.box(0, 0, 300, 300) - shapely.box(100, 100, 150, 130),
    "waterway": shapely.box(0, 0, 400, 300)
    - shapely.LineString([(50, 20), (90, 120), (80, 280)]).buffer(6),
    "neck": shapely.union_all(
        [shapely.box(0, 0, 100, 100), shapely.box(99, 45, 201, 53), shapely.box(200, 0, 300, 100)]
    ),
    **{f"odd {seed}": odd_shape(seed) for seed in (0, 3)},
}


@pytest.mark.parametrize("rounds", [1, 2, 3])
def test_a_rectangle_in_closed_form(rounds: int) -> None:
    length, width = 300.0, 200.0
    plan = plan_passes(field(shapely.box(0, 0, length, width)), Drive(WIDTH, rounds=rounds))
    inner = width - 2 * rounds * WIDTH
    passes = math.ceil(inner / WIDTH)
    assert count(plan, "round") == 4 * rounds
    assert count(plan, "pass") == passes
    extra = (passes * WIDTH - inner) * (length - 2 * rounds * WIDTH)
    assert plan.overlap_m2 == pytest.approx(extra, rel=1e-3)
    assert plan.excess_m2 == pytest.approx(extra, rel=1e-3)
    assert plan.covered_m2 == pytest.approx(length * width, rel=1e-5)
    assert plan.work_m * WIDTH == pytest.approx(length * width + extra, rel=1e-4)
    assert plan.work_s == pytest.approx(plan.work_m / plan.drive.speed_mps)


def test_passes_run_along_the_longer_side() -> None:
    plan = plan_passes(field(shapely.box(0, 0, 300, 200), turn=0.3), DRIVE)
    assert plan.drive.heading_rad == pytest.approx(0.3, abs=1e-3)


def test_a_heading_that_is_given_is_kept() -> None:
    plan = plan_passes(field(shapely.box(0, 0, 300, 200)), Drive(WIDTH, heading_rad=1.0))
    straight = [p.line for p in plan.passes if p.kind == "pass"]
    for line in straight:
        (x0, y0), (x1, y1) = line.coords
        assert abs(math.sin(math.atan2(y1 - y0, x1 - x0) - 1.0)) < 1e-9
    assert plan.drive.heading_rad == 1.0


def test_fewest_turns_against_headings_all_round() -> None:
    shape = field(odd_shape(2))
    best = plan_passes(shape, DRIVE)
    every = [
        count(plan_passes(shape, Drive(WIDTH, heading_rad=math.radians(a))), "pass")
        for a in range(0, 180, 30)
    ]
    # Detail of half a metre is left out when headings are compared: a pass or two.
    assert count(best, "pass") <= min(every) + 2


def test_least_overlap_has_no_more_overlap() -> None:
    shape = field(odd_shape(1))
    least = plan_passes(shape, Drive(WIDTH, prefer="overlap"))
    fewest = plan_passes(shape, DRIVE)
    assert least.excess_m2 <= fewest.excess_m2 * 1.001
    assert count(fewest, "pass") <= count(least, "pass")


@pytest.mark.parametrize("name", SHAPES)
def test_driven_exactly_it_audits_clean(name: str) -> None:
    ground = field(SHAPES[name])
    plan = plan_passes(ground, DRIVE)
    held(plan, ground)


@pytest.mark.parametrize(
    ("width", "radius", "rounds", "name"),
    [
        *((3.0, 3.5, 1, name) for name in ("rectangle", "tight corners", "triangle")),
        *((9.0, 6.0, 3, name) for name in ("tight corners", "waterway", "odd 3")),
        *((12.192, 9.0, 2, name) for name in ("triangle", "waterway", "odd 3")),
    ],
)
def test_other_tools_driven_exactly_audit_clean(
    width: float, radius: float, rounds: int, name: str
) -> None:
    ground = field(SHAPES[name])
    held(plan_passes(ground, Drive(width, rounds=rounds, turn_radius_m=radius)), ground)


@pytest.mark.parametrize("plot", [*CROP_FIELDS, paddocks()[3]], ids=lambda plot: plot.slug)
def test_the_sample_farm_driven_exactly_audits_clean(plot) -> None:  # type: ignore[no-untyped-def]
    unworkable = plot.unworkable
    ground = Field(
        plot.name,
        plot.geometry_to_lonlat(plot.boundary),
        None if unworkable is None else plot.geometry_to_lonlat(unworkable),
    )
    held(plan_passes(ground, DRIVE), ground)


def held(plan: PassPlan, ground: Field) -> None:
    """Hold what was predicted against an audit of the drive."""
    found = audit_operation(driven(plan, ground))
    workable = found.workable_area_m2
    assert plan.workable_m2 == pytest.approx(workable, rel=1e-9)
    assert found.covered_area_m2 >= 0.999 * workable
    ends = EDGE_M * plan.drive.width_m * len(plan.passes)
    assert found.overlap_area_m2 == pytest.approx(plan.overlap_m2, rel=0.05, abs=ends)
    assert found.covered_area_m2 == pytest.approx(plan.covered_m2, rel=5e-4)
    assert found.outside_area_m2 <= plan.outside_m2 + ends + 1.0
    assert found.worked_distance_m == pytest.approx(plan.work_m, rel=1e-3)
    assert found.worked_time_s == pytest.approx(plan.work_s, rel=2e-3)


@given(
    seed=st.integers(0, 10_000),
    rounds=st.integers(0, 3),
    heading=st.floats(0, math.pi),
    width=st.sampled_from([3.0, 6.096, 12.0]),
)
@settings(max_examples=int(os.environ.get("INVARIANT_EXAMPLES", "10")), deadline=None)
def test_invariants(seed: int, rounds: int, heading: float, width: float) -> None:
    ground = field(odd_shape(seed))
    plan = plan_passes(ground, Drive(width, rounds=rounds, heading_rad=heading))
    assert plan.covered_m2 + plan.missed_m2 == pytest.approx(plan.workable_m2)
    assert 0 <= plan.overlap_m2 <= plan.excess_m2 + 1e-3
    # The tool sweeps its width times the way, less what mitred bends make of it.
    swept = plan.covered_m2 + plan.excess_m2 + plan.outside_m2
    assert plan.work_m * width == pytest.approx(swept, rel=5e-3)
    # Not beyond the fence: two centimetres along it.
    assert plan.outside_m2 <= 0.03 * plan.workable.length
    assert len(plan.turns) == max(len(plan.passes) - 1, 0)
    for turn, before, after in zip(plan.turns, plan.passes[:-1], plan.passes[1:], strict=True):
        assert turn.coords[0] == pytest.approx(before.line.coords[-1])
        assert turn.coords[-1] == pytest.approx(after.line.coords[0])
    if rounds:
        assert plan.covered_m2 >= 0.995 * plan.workable_m2
    assert 0 < plan.field_efficiency <= 1


def test_a_bend_in_closed_form() -> None:
    """Two strips, a fan between them, and the kite on the inner side that both cover."""
    width, bend = 12.0, math.radians(50)
    corner = np.array([60.0, 0.0])
    line = shapely.LineString(
        [(0, 0), corner, corner + 60 * np.array([math.cos(bend), math.sin(bend)])]
    )
    pieces = swath_pieces(line, width)
    half = width / 2
    fan, kite = half**2 * bend / 2, half**2 * math.tan(bend / 2)
    assert shapely.area(pieces).sum() == pytest.approx(120 * width + fan, rel=1e-4)
    assert shapely.union_all(pieces).area == pytest.approx(120 * width + fan - kite, rel=1e-4)


def test_a_bend_over_a_long_way_covers_nothing_twice() -> None:
    angle = np.linspace(0, math.pi, 181)
    line = shapely.LineString(30 * np.column_stack([np.cos(angle), np.sin(angle)]))
    pieces = swath_pieces(line, 12.0)
    assert len(pieces) > 1
    assert shapely.union_all(pieces).area == pytest.approx(shapely.area(pieces).sum(), rel=1e-6)
    # Pappus: the width times the way of the middle.
    assert shapely.area(pieces).sum() == pytest.approx(12.0 * 30 * math.pi, rel=2e-3)


def test_a_corner_is_gone_into_without_leaving_the_room() -> None:
    room = shapely.box(0, 0, 100, 100).buffer(-5).buffer(5, quad_segs=32)
    corner = shapely.intersection(room, shapely.box(0, 0, 5, 5))
    runs = corner_runs(corner, WIDTH, room)
    swept = shapely.union_all([swath(run, WIDTH) for run in runs])
    assert shapely.difference(swept, room).area < 1e-6
    assert shapely.intersection(swept, corner).area > 0.7 * corner.area
    assert corner_runs(shapely.box(20, 20, 80, 80), WIDTH, room) == []
    assert corner_runs(shapely.box(20, 20, 20.1, 20.1), WIDTH, room) == []


def test_a_field_narrower_than_half_of_the_tool_is_told() -> None:
    plan = plan_passes(field(shapely.box(0, 0, 2.5, 40)), DRIVE)
    assert plan.passes == ()
    assert plan.covered_m2 == 0
    assert plan.missed_m2 == pytest.approx(100, rel=1e-6)
    assert [f.code for f in plan.findings] == ["radius_derived", "tool_does_not_fit"]
    assert plan.field_efficiency == 0


def test_what_the_tool_cannot_reach_is_told() -> None:
    sliver = shapely.Polygon([(0, 0), (120, 0), (120, 30)])
    plan = plan_passes(field(sliver), DRIVE)
    assert plan.missed_m2 > 0.001 * plan.workable_m2
    (found,) = (f for f in plan.findings if f.code != "radius_derived")
    assert found.code == "ground_out_of_reach"
    assert found.values["share"] == pytest.approx(plan.missed_m2 / plan.workable_m2)


def test_two_parts_of_a_field_are_both_driven() -> None:
    two = shapely.union_all([shapely.box(0, 0, 100, 80), shapely.box(130, 0, 230, 80)])
    plan = plan_passes(field(two), DRIVE)
    assert plan.covered_m2 == pytest.approx(2 * 100 * 80, rel=1e-4)


def test_it_needs_a_boundary_a_width_and_a_radius() -> None:
    with pytest.raises(ValueError, match="boundary"):
        plan_passes(Field("open"), DRIVE)
    with pytest.raises(ValueError, match="width"):
        plan_passes(field(shapely.box(0, 0, 9, 9)), Drive(0.0))


@pytest.mark.parametrize("name", ["intersection", "difference", "union", "union_all", "buffer"])
def test_what_fails_in_floating_point_is_laid_on_the_grid(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain, before = getattr(shapely, name), plan_passes(field(SHAPES["barn"]), DRIVE)
    failed = []

    def fails_as_it_is(*args: Any, **options: Any) -> Any:
        asked_by = sys._getframe(1).f_globals["__name__"]
        if asked_by == ground.__name__ and options.get("grid_size") is None and not failed:
            failed.append(name)
            raise shapely.GEOSException("TopologyException: side location conflict")
        return plain(*args, **options)

    monkeypatch.setattr(shapely, name, fails_as_it_is)
    planned = plan_passes(field(SHAPES["barn"]), DRIVE)
    assert failed
    assert len(planned.passes) == len(before.passes)
    assert planned.covered_m2 == pytest.approx(before.covered_m2, abs=0.1)


def test_no_overlay_of_planning_goes_past_the_guard() -> None:
    called = re.compile(r"\.(intersection|difference|union|union_all|buffer)\(")
    room = Path(ground.__file__).parent
    past = [p.name for p in room.rglob("*.py") if called.search(p.read_text("utf-8"))]
    assert past == ["ground.py"]


@pytest.mark.parametrize("prefer", ["turns", "overlap"])
def test_the_best_heading_turns_with_the_field(prefer: str) -> None:
    """Short of half a turn, beyond which passes are laid from the other side."""
    rng = np.random.default_rng(5)
    for _ in range(4):
        far, about = rng.uniform(90, 260, 7), np.linspace(0, 2 * np.pi, 7, endpoint=False)
        field = shapely.Polygon(np.column_stack([far * np.cos(about), far * np.sin(about)]))
        heading = best_heading([field], 6.096, prefer)
        angle = rng.uniform(0.1, 0.9) * (math.pi - heading)
        turned = affinity.rotate(field, angle, origin=(0, 0), use_radians=True)
        assert best_heading([turned], 6.096, prefer) == pytest.approx(heading + angle, abs=1e-6)
