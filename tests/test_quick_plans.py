"""What makes plans quick changes nothing in them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from pastures import cows, day, paddock, seeding

from evenacre.model import Grazing, Implement, TowedUnit
from evenacre.model.finding import FindingError
from evenacre.planning.interseeding import plan as planning
from evenacre.planning.passes.bends import as_turns, drawn, ways_between_all
from evenacre.planning.passes.fence import Fence
from evenacre.planning.passes.pass_types import Drive
from evenacre.planning.passes.rig import Rig, rig_of
from evenacre.planning.passes.strips import _joined, _reaches, cut_strips, strip_steps

RIGS = {
    "mounted": Implement(6.0),
    "towed": Implement(6.0, tow=(TowedUnit(5.0),)),
    "wide": Implement(12.0, tow=(TowedUnit(7.0),)),
    "cart ahead": Implement(9.144, tow=(TowedUnit(4.5, 2.5), TowedUnit(5.5)), tool_behind_m=1.0),
}


def rig(name: str) -> Rig:
    return rig_of(Drive(RIGS[name].width_m, implement=RIGS[name]), towed=False)


def bodies_of(rig: Rig, way: object) -> np.ndarray:
    """Every body of a rig as a polygon wherever it comes along a way."""
    found = []
    for outline, xy, heading in rig.places(way, np.zeros(0))[0]:
        turn = np.exp(1j * heading)[:, None] * (outline @ [1.0, 1j])
        z = (xy @ [1.0, 1j])[:, None] + turn
        found.append(shapely.polygons(np.stack([z.real, z.imag], axis=-1)))
    return np.concatenate(found)


@pytest.mark.parametrize("name", RIGS)
def test_corners_looked_at_roughly_lie_on_what_the_rig_sweeps(name):
    """So no way on which the rig is inside is given up for one of them."""
    driven, rng, looked = rig(name), np.random.default_rng(7), 0
    ends = rng.uniform([-40.0, -40.0, -3.1], [40.0, 40.0, 3.1], (8, 3))
    for end, start in zip(ends, rng.uniform(-3.1, 3.1, (8, 3)), strict=True):
        for bend in driven.bends[:2]:
            pair, _, ways = ways_between_all(bend, start[None], end[None], backs=True)
            for way, corners in zip(
                ways, driven.corners(bend, start[None][pair], ways), strict=True
            ):
                bodies = shapely.STRtree(bodies_of(driven, drawn(bend, start, as_turns(way), 0.1)))
                points = shapely.points(corners.real, corners.imag)
                _, away = bodies.query_nearest(points, return_distance=True)
                assert away.max() < 0.2
                looked += 1
    assert looked > 20


def test_points_are_well_outside_only_where_they_are_a_quarter_of_a_metre_outside():
    ground = shapely.box(0, 0, 60, 40).difference(shapely.Point(30, 20).buffer(7.0))
    xy = np.random.default_rng(1).uniform(-5.0, 65.0, (40_000, 2))
    away = shapely.distance(shapely.points(xy), ground)
    held = Fence(ground).may_hold(xy[:, :1] + 1j * xy[:, 1:])
    assert held[away < 0.2].all()
    assert not held[away > 2.5].any()


@pytest.mark.parametrize("seed", range(4))
def test_ground_in_strips_reaches_as_far_as_an_overlay_finds(seed):
    """Corners lie on sides of strips, too, where sides have to be told apart."""
    rng, width = np.random.default_rng(seed), 6.0
    for number in range(12):
        angle = np.sort(rng.uniform(0, 2 * np.pi, int(rng.integers(3, 13))))
        far = rng.uniform(20, 120, len(angle))
        shape = shapely.Polygon(np.column_stack([far * np.cos(angle), far * np.sin(angle)]))
        west, south = rng.uniform(-40, 20, 2)
        shape = shape.buffer(0) - shapely.box(west, south, west + 15.0, south + 15.0)
        if number % 2:
            shape = shapely.set_precision(shapely.set_precision(shape, width), 0.0)
        for part in shapely.get_parts(shape):
            low = part.bounds[1] + strip_steps(part, width)[:-1]
            row, start, end = _joined(*_reaches(part, low, low + width), 0.5 * width)
            pieces, of = shapely.get_parts(cut_strips(part, low, low + width), return_index=True)
            some = shapely.area(pieces) > 0
            bounds = shapely.bounds(pieces[some])
            brute = _joined(of[some], bounds[:, 0], bounds[:, 2], 0.5 * width)
            assert row.tolist() == brute[0].tolist()
            assert np.allclose([start, end], brute[1:])


def told(plan: planning.InterseedPlan) -> list[object]:
    drives = [p.passes for p in plan.paddocks if p.passes is not None]
    assert drives
    lines = [[run.line.wkb for run in d.passes] + [turn.wkb for turn in d.turns] for d in drives]
    return [lines, plan.visits, plan.fills, plan.findings]


def test_paddocks_laid_out_in_worker_processes_come_out_the_same(monkeypatch):
    monkeypatch.setattr(planning, "_PER_PROCESS", 1)
    places = [
        paddock(name, acres, n, forage_kg_per_m2=0.2)
        for n, (name, acres) in enumerate([("A", 4.0), ("B", 5.0)])
    ]
    fenced = tuple(replace(p, field=replace(p.field, fenced=True)) for p in places)
    grazing = Grazing((cows(30),), fenced, start=day(0))
    rules = seeding(closes_after_days=14)
    here, shared = (planning.plan_interseeding(grazing, rules, jobs=jobs) for jobs in (1, 2))
    assert told(here) == told(shared)


def test_a_radius_too_wide_for_one_paddock_leaves_the_others_planned():
    """A square of 0.15 ha has no room for a half turn of 20 m; one of 2.4 ha has."""
    places = tuple(
        replace(p, field=replace(p.field, fenced=True))
        for p in (paddock("small", 0.37, 0), paddock("large", 6.0, 1))
    )
    rules = seeding(
        closes_after_days=14, turn_radius_m=20.0, ready=("small", "large"), ready_day=day(0)
    )
    plan = planning.plan_interseeding(Grazing((), places, start=day(0)), rules)
    told = [f.values["place"] for f in plan.findings if f.code == "nothing_turns"]
    assert told == ["small"]
    small, large = (place.passes for place in plan.paddocks)
    assert large.covered_m2 > 0.9 * large.workable_m2
    # Where it is too wide for all of them there is no plan.
    with pytest.raises(FindingError, match="radius_allows_no_turn"):
        planning._refuse_radius([small])
