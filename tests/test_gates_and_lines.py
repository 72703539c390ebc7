"""Gates, lines to follow and fills: closed forms, brute force, and drives audited."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from driven import driven
from hypothesis import given, settings
from hypothesis import strategies as st
from put_down import MISSOURI, on_earth
from shapely.geometry.base import BaseGeometry

from evenacre.coverage.audit import audit_operation
from evenacre.errors import InputError
from evenacre.io.maps.driving import gate_in
from evenacre.model import Field, Implement, TowedUnit
from evenacre.model.finding import FindingError
from evenacre.planning.passes.along_line import gentle
from evenacre.planning.passes.fills import filling_spots
from evenacre.planning.passes.order import in_order
from evenacre.planning.passes.pass_types import Drive, PassPlan, PlannedPass
from evenacre.planning.passes.plan import plan_passes
from evenacre.planning.passes.swaths import swath
from evenacre.planning.passes.turning import on_circles
from evenacre.planning.passes.turns import poses, shortest_turns

TOOL = Implement(6.096, tow=(TowedUnit(5.03),), tool_behind_m=0.9)
WIDTH = TOOL.width_m
BOX = shapely.box(0, 0, 180, 150)
TURN = 0.3
BACK = np.array([0.0, 0.0, math.pi])


def earthly(shape: BaseGeometry) -> BaseGeometry:
    return on_earth(shape, MISSOURI, TURN, (0.0, 0.0))


def field(shape: BaseGeometry = BOX, **more: object) -> Field:
    return Field("field", earthly(shape), **more)  # type: ignore[arg-type]


def finding(plan: PassPlan, code: str) -> dict[str, object] | None:
    return next((dict(f.values) for f in plan.findings if f.code == code), None)


@pytest.mark.parametrize("fenced", [False, True])
@pytest.mark.parametrize("headland", ["first", "last"])
def test_the_drive_begins_and_ends_in_the_gate(fenced: bool, headland: str) -> None:
    gate = earthly(shapely.Point(180, 40))
    drive = Drive(WIDTH, implement=TOOL, headland=headland)
    plan = plan_passes(field(gate=gate, fenced=fenced), drive)
    assert plan.gate is not None
    assert plan.way_in is not None
    assert plan.way_out is not None
    first, last = plan.passes[0].line.coords[0], plan.passes[-1].line.coords[-1]
    assert np.hypot(*(np.array(plan.way_in.coords[-1]) - first)) < 0.1
    assert np.hypot(*(np.array(plan.way_out.coords[0]) - last)) < 0.1
    # Begun in another corner, it would be 200 m and more away.
    assert plan.way_in.length < 130
    assert plan.way_out.length < 130
    if fenced:
        boundary = plan.plane.project(earthly(BOX)).buffer(0.05)
        assert boundary.contains(plan.way_in)
        assert boundary.contains(plan.way_out)
    for end in (plan.way_in.coords[0], plan.way_out.coords[-1]):
        assert end == pytest.approx((plan.gate.x, plan.gate.y), abs=1e-6)


def test_a_gate_is_held_against_what_drives() -> None:
    gate = {"gate": earthly(shapely.Point(60, 150)), "gate_width_m": 4.0}
    told = Drive(WIDTH, implement=replace(TOOL, transport_width_m=3.9), tractor_width_m=2.5)
    assert finding(plan_passes(field(**gate), told), "gate_asks_to_fold") is None
    unknown = plan_passes(field(**gate), Drive(WIDTH, implement=TOOL))
    assert finding(unknown, "gate_asks_to_fold") == {"gate_m": 4.0, "width_m": WIDTH}
    assert finding(plan_passes(field(gate=gate["gate"]), told), "gate_asks_to_fold") is None
    folded = replace(told, implement=replace(TOOL, transport_width_m=4.1))
    for wide, machine_m in ((folded, 4.1), (replace(told, tractor_width_m=4.3), 4.3)):
        with pytest.raises(FindingError) as refused:
            plan_passes(field(**gate), wide)
        assert refused.value.values == {"gate_m": 4.0, "machine_m": machine_m}


def test_a_gate_leaves_no_more_than_going_without() -> None:
    gate = earthly(shapely.Point(60, 150))
    without, with_gate = (
        plan_passes(field(gate=g, fenced=True), Drive(WIDTH, implement=TOOL)) for g in (None, gate)
    )
    assert with_gate.missed_m2 < without.missed_m2 + 0.005 * without.workable_m2


@pytest.mark.parametrize("seed", range(3))
def test_no_order_from_and_to_a_gate_turns_less(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count = 4
    passes = [
        PlannedPass(
            "pass", k + 1, shapely.LineString([(rng.uniform(-9, 9), WIDTH * k), (90, WIDTH * k)])
        )
        for k in range(count)
    ]
    gate = np.array([rng.uniform(-30, 120), -20.0, math.pi / 2])
    out = gate + BACK

    def turning(order: list[PlannedPass]) -> float:
        begin, end = poses(order)
        start, stop = np.vstack([gate, end]), np.vstack([begin, out])
        return 8.0 * float(shortest_turns(start, stop, 8.0)[1].sum())

    brute = min(
        turning(
            [
                replace(passes[k], line=passes[k].line.reverse()) if back else passes[k]
                for k, back in zip(order, ways, strict=True)
            ]
        )
        for order in itertools.permutations(range(count))
        for ways in itertools.product((False, True), repeat=count)
    )
    assert turning(in_order(passes, on_circles(8.0), None, gate, out)) == pytest.approx(brute)


@settings(max_examples=15, deadline=None)
@given(
    st.integers(2, 30),
    st.floats(2.5, 12.0),
    st.floats(4.0, 14.0),
    st.integers(0, 2**31),
    st.booleans(),
)
def test_turning_is_never_more_than_one_pass_after_the_other(
    count: int, width: float, radius: float, seed: int, gated: bool
) -> None:
    rng = np.random.default_rng(seed)
    ends = rng.uniform(0, 60, count), rng.uniform(90, 200, count)
    passes = [
        PlannedPass("pass", k + 1, shapely.LineString([(a, width * k), (b, width * k)]))
        for k, (a, b) in enumerate(zip(*ends, strict=True))
    ]
    gate = np.array([0.0, -30.0, 1.0]) if gated else None

    def turning(order: list[PlannedPass]) -> float:
        begin, end = poses(order)
        if gate is not None:
            end = np.vstack([gate, end])
            begin = np.vstack([begin, gate + BACK])
            return float(shortest_turns(end, begin, radius)[1].sum())
        return float(shortest_turns(end[:-1], begin[1:], radius)[1].sum())

    out = None if gate is None else gate + BACK
    chosen = in_order(passes, on_circles(radius), None, gate, out)
    assert sorted(p.number for p in chosen) == list(range(1, count + 1))
    for begun in (0, 1):
        one_by_one = [
            replace(p, line=p.line.reverse()) if k % 2 == begun else p for k, p in enumerate(passes)
        ]
        assert turning(chosen) <= turning(one_by_one) * (1 + 1e-9)


@pytest.mark.parametrize("fenced", [False, True])
def test_with_the_headland_last_no_turn_between_passes_runs_over_seeded_rows(fenced: bool) -> None:
    crossed = {}
    for headland in ("first", "last"):
        drive = Drive(WIDTH, implement=TOOL, headland=headland, rounds=3)
        plan = plan_passes(field(fenced=fenced), drive)
        done, crossed[headland] = [], 0.0
        for before, after, turn in zip(plan.passes, plan.passes[1:], plan.turns, strict=False):
            done.append(swath(before.line, WIDTH - 0.5))
            if before.kind == after.kind == "pass":
                crossed[headland] += turn.intersection(shapely.union_all(done)).length
    assert crossed["last"] < 0.02 * crossed["first"]


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(5.0, 60.0), min_size=1, max_size=7), st.floats(20.0, 130.0))
def test_no_stops_for_the_cart_are_fewer_or_nearer_to_the_gate(
    lengths: list[float], load_m: float
) -> None:
    passes = [
        PlannedPass(
            "pass", k + 1, shapely.LineString([(0, 6 * k), (length, 6 * k)][:: 1 - 2 * (k % 2)])
        )
        for k, length in enumerate(lengths)
    ]
    gate = shapely.Point(-10, 20)
    spots = filling_spots(passes, load_m, gate)
    ends = np.cumsum(lengths)
    at = [float(ends[s.run - 1] - s.length_m + s.into_m) for s in spots]
    assert at[0] == pytest.approx(0.0)
    assert (np.diff([*at, ends[-1]]) <= load_m + 1e-6).all()
    if max(lengths) > load_m:
        return  # then it is filled within a pass
    places = [shapely.Point(p.line.coords[-1]) for p in passes[:-1]]
    best = None
    for count in range(len(places) + 1):
        for chosen in itertools.combinations(range(len(places)), count):
            stops = [0.0, *ends[list(chosen)], ends[-1]]
            if (np.diff(stops) <= load_m + 1e-6).all():
                far = sum(places[k].distance(gate) for k in chosen)
                best = far if best is None else min(best, far)
        if best is not None:
            break
    assert best is not None
    assert len(spots) == count + 1
    assert sum(s.gate_m for s in spots[1:]) == pytest.approx(best)


def test_passes_along_an_arc_are_arcs_about_the_same_middle() -> None:
    angle = np.linspace(math.radians(60), math.radians(120), 200)
    arc = np.column_stack([90 + 200 * np.cos(angle), -130 + 200 * np.sin(angle)])
    plan = plan_passes(field(line=earthly(shapely.LineString(arc))), Drive(WIDTH))
    middle = plan.plane.project(earthly(shapely.Point(90, -130)))
    passes = [p for p in plan.passes if p.kind == "pass"]
    assert len(passes) > 15
    for run in passes:
        xy = shapely.get_coordinates(shapely.segmentize(run.line, 5.0))
        # Beyond the ends of the line it goes straight on.
        angle = np.degrees(np.arctan2(*(xy - [middle.x, middle.y]).T[::-1]) - TURN)
        xy = xy[np.abs(angle - 90) < 28]
        if not len(xy):
            continue
        far = np.hypot(*(xy - [middle.x, middle.y]).T)
        rows = (far - 200.0) / WIDTH
        assert np.abs(rows - np.round(rows.mean())).max() * WIDTH < 0.06
    assert finding(plan, "line_smoothed") is None
    assert plan.outside_m2 < 0.5


def test_along_a_straight_line_passes_are_as_at_its_heading() -> None:
    line = earthly(shapely.LineString([(-20, 75), (200, 75)]))
    curved = plan_passes(field(line=line), Drive(WIDTH))
    assert curved.drive.heading_rad == pytest.approx(TURN, abs=1e-3)
    for run in curved.passes:
        if run.kind == "pass":
            assert len(run.line.coords) == 2
    assert curved.missed_m2 < 1e-3 * curved.workable_m2


def test_what_a_line_costs_is_what_an_audit_finds() -> None:
    kink = earthly(shapely.LineString([(0, 40), (90, 40), (150, 110)]))
    ground = field(line=kink)
    plan = plan_passes(ground, Drive(WIDTH))
    moved = finding(plan, "line_smoothed")
    assert moved is not None
    assert 0 < moved["length_m"] < 3.0  # type: ignore[operator]
    found = audit_operation(driven(plan, ground))
    assert found.covered_area_m2 == pytest.approx(plan.covered_m2, rel=2e-3)
    assert found.overlap_area_m2 == pytest.approx(plan.overlap_m2, rel=0.05)


@settings(max_examples=25, deadline=None)
@given(st.floats(10.0, 120.0), st.floats(4.0, 15.0))
def test_a_corner_is_smoothed_to_the_radius(turned_deg: float, radius: float) -> None:
    turned = math.radians(turned_deg)
    end = (300 + 300 * math.cos(turned), 300 * math.sin(turned))
    smooth, moved = gentle(shapely.LineString([(0, 0), (300, 0), end]), radius)
    at = np.arange(0.0, smooth.length, 1.0)
    xy = shapely.get_coordinates(shapely.line_interpolate_point(smooth, at))
    # The circle through places three metres apart.
    a, b, c = xy[:-6], xy[3:-3], xy[6:]
    cross = np.abs((b - a)[:, 0] * (c - b)[:, 1] - (b - a)[:, 1] * (c - b)[:, 0])
    around = np.hypot(*(b - a).T) * np.hypot(*(c - b).T) * np.hypot(*(c - a).T)
    assert (2 * cross / around).max() < 1.15 / radius
    # A circle in a corner of that turn stays this far from it; spread more evenly, some more.
    nearest = radius * (1 / math.cos(turned / 2) - 1)
    assert moved < 3.0 * nearest + 1.0


def test_a_radius_that_is_too_wide_is_told_with_the_widest_that_does() -> None:
    ground = field(shapely.box(0, 0, 45, 40), fenced=True)
    told = finding(
        plan_passes(ground, Drive(WIDTH, implement=TOOL, turn_radius_m=13.0)), "radius_too_wide"
    )
    assert told is not None
    most = float(told["most_m"])  # type: ignore[arg-type]
    assert 6.0 <= most < 13.0
    again = plan_passes(ground, Drive(WIDTH, implement=TOOL, turn_radius_m=most))
    assert finding(again, "radius_too_wide") is None


def test_a_radius_that_turns_nowhere_is_refused_with_the_widest_that_does() -> None:
    """Between fences 24 m apart no circle of 15 m comes round, and one of 10 m or so does."""
    ground, drive = field(shapely.box(0, 0, 24, 90), fenced=True), Drive(WIDTH, implement=TOOL)
    with pytest.raises(FindingError) as refused:
        plan_passes(ground, replace(drive, turn_radius_m=15.0))
    assert (refused.value.code, refused.value.file) == ("radius_allows_no_turn", ground.name)
    most = float(refused.value.values["most_m"])
    assert 6.0 <= most < 12.0
    plan = plan_passes(ground, replace(drive, turn_radius_m=most))
    heading = np.array(
        [np.arctan2(*np.diff(p.line.coords[:2], axis=0)[0][::-1]) for p in plan.passes]
    )
    assert np.cos(heading - heading[0]).min() < 0


@pytest.mark.parametrize(
    ("place", "words"),
    [
        ((90, 75), "from the fence"),
        ((-300, 0), "from the fence"),
        ((180.5, 40), ""),
        ((185, 40), ""),
    ],
)
def test_a_gate_is_in_the_fence(place: tuple[float, float], words: str) -> None:
    lonlat = shapely.get_coordinates(earthly(shapely.Point(*place)))
    if words:
        with pytest.raises(InputError, match=words):
            gate_in(earthly(BOX), lonlat)
        return
    gate, said = gate_in(earthly(BOX), lonlat)
    assert earthly(BOX).boundary.distance(gate) < 1e-8
    assert bool(said) == (place[0] > 181)


def test_latitude_and_longitude_the_wrong_way_about_are_told() -> None:
    lonlat = shapely.get_coordinates(earthly(shapely.Point(180, 40)))[:, ::-1]
    with pytest.raises(InputError) as caught:
        gate_in(earthly(BOX), lonlat)
    assert "latitude comes first" in str(caught.value)
