"""What going back brings and takes: worked by hand, and held against counted cells."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pytest
import referee
import shapely
from jobs import DRILL, STEP_M, Drive, Turtle, straight_job
from put_down import MISSOURI, _plane, operation
from pyproj import Transformer
from shapely.geometry import LineString, box
from synthetic_result import make_result

from evenacre.coverage.audit import audit_operation
from evenacre.model import Implement
from evenacre.model.audit_result import AuditResult
from evenacre.model.going_back import LEAVE, WHEN_THERE, WORTH_IT, GoingBack, Trip
from evenacre.planning.going_back.judge import (
    BARE_TIMES,
    LIFT_S,
    PRODUCT_SHARE,
    judge,
)
from evenacre.planning.going_back.lanes import LIFT_M
from evenacre.planning.going_back.tour import Ways, best_tour

WIDTH = 6.0
SPEED = 2.0
CAPACITY = 8.0  # m2/s


def bare_at(
    *places: shapely.Polygon, chance: float = 1.0, end: tuple[float, float] = (0.0, 0.0), **changes
) -> AuditResult:
    """A field of 400 m by 200 m, worked but for some places, the last pass ending at a point."""
    whole = box(0, 0, 400, 200)
    worked = whole.difference(shapely.union_all(list(places)))
    made = make_result()

    def frame(rows: dict, shapes: list) -> gpd.GeoDataFrame:
        return gpd.GeoDataFrame(rows, geometry=shapes, crs=made.crs)

    count = len(places)
    layers = {
        "field": frame({"name": ["Square"]}, [whole]),
        "unworkable": frame({}, []),
        "swaths": frame({"piece": [1]}, [worked]),
        "passes": frame({"end_s": [9.0]}, [LineString([(end[0] - 50, end[1]), end])]),
        "skips": frame(
            {
                "skip": list(range(1, count + 1)),
                "kind": ["between passes"] * count,
                "chance": [chance] * count,
            },
            list(places),
        ),
    }
    return replace(
        made,
        width_m=WIDTH,
        mean_speed_mps=SPEED,
        field_capacity_m2_per_s=CAPACITY,
        layers={**made.layers, **layers},
        **changes,
    )


def only(found: GoingBack) -> Trip:
    (trip,) = found.trips
    return trip


def test_a_full_width_gap_is_filled_by_one_lane_along_it():
    trip = only(judge(bare_at(box(100, 60, 140, 66), end=(60, 63))))
    assert trip.gained_m2 == pytest.approx(40 * WIDTH)
    assert trip.doubled_m2 == pytest.approx(2 * LIFT_M * WIDTH)
    assert trip.outside_m2 == pytest.approx(0.0, abs=1e-6)
    assert trip.work_s == pytest.approx((40 + 2 * LIFT_M) / SPEED + LIFT_S)
    # Straight ahead from where the work ended to where the drill is let down.
    assert trip.drive_s == pytest.approx((100 - LIFT_M - 60) / SPEED)
    swept = (40 + 2 * LIFT_M) * WIDTH
    assert trip.put_down == pytest.approx(PRODUCT_SHARE * swept)
    assert trip.time == pytest.approx((1 - PRODUCT_SHARE) * CAPACITY * trip.time_s)
    assert trip.worth == pytest.approx(BARE_TIMES * 40 * WIDTH)
    assert trip.verdict == WORTH_IT


def test_a_gap_narrower_than_the_drill_doubles_the_rest_of_its_width():
    trip = only(judge(bare_at(box(100, 60, 230, 61.5))))
    assert trip.gained_m2 == pytest.approx(130 * 1.5)
    assert trip.doubled_m2 == pytest.approx(130 * 4.5 + 2 * LIFT_M * WIDTH)
    assert trip.verdict == LEAVE


def test_ground_wider_than_the_drill_takes_lanes_side_by_side():
    found = judge(bare_at(box(100, 60, 160, 78)))
    trip = only(found)
    assert len(trip.lanes) == 3
    assert trip.gained_m2 == pytest.approx(60 * 18)
    assert trip.doubled_m2 == pytest.approx(3 * 2 * LIFT_M * WIDTH)
    # Half a turn through lanes 6 m apart, no tighter than 6 m: three arcs of that circle (their
    # lengths in closed form, the outer two by arccos(3/4) beyond a quarter of the spacing).
    assert found.radius_m == pytest.approx(6.0)
    out = math.acos((2 * 6.0 + 6.0) / (4 * 6.0))
    turn = 6.0 * (math.pi + 4 * out)
    assert trip.work_s == pytest.approx((3 * 64 + 2 * turn) / SPEED + 3 * LIFT_S)


def test_at_the_edge_the_drill_stays_in_the_field():
    trip = only(judge(bare_at(box(100, 0, 160, 3))))
    assert trip.outside_m2 == pytest.approx(0.0, abs=1e-6)
    assert trip.doubled_m2 == pytest.approx(60 * 3 + 2 * LIFT_M * WIDTH)


def test_at_the_end_of_the_field_it_is_not_let_down_outside():
    trip = only(judge(bare_at(box(0, 60, 40, 66))))
    assert trip.doubled_m2 == pytest.approx(LIFT_M * WIDTH)
    assert trip.outside_m2 == pytest.approx(0.0, abs=1e-6)


def test_sections_that_meet_nothing_bare_stay_off():
    drill = Implement(WIDTH, rows=32, rows_known=True, section_rows=(8, 8, 8, 8))
    trip = only(judge(bare_at(box(100, 60, 230, 61.5)), drill))
    assert trip.gained_m2 == pytest.approx(130 * 1.5)
    # The lane lies over the middle of the gap: the two middle sections, 1.5 m each, meet it.
    assert trip.doubled_m2 == pytest.approx(130 * 1.5 + 2 * LIFT_M * 3.0)


def test_slivers_side_by_side_are_one_pass():
    trip = only(judge(bare_at(box(100, 60, 140, 61), box(100, 64, 140, 66))))
    assert set(trip.places) == {1, 2}
    assert trip.gained_m2 == pytest.approx(40 * 3)
    assert trip.doubled_m2 == pytest.approx(40 * 3 + 2 * LIFT_M * WIDTH)


def test_places_in_line_are_one_pass_and_the_drill_is_lifted_between():
    trip = only(judge(bare_at(box(100, 60, 140, 66), box(160, 60, 200, 66))))
    assert set(trip.places) == {1, 2}
    assert trip.doubled_m2 == pytest.approx(4 * LIFT_M * WIDTH)
    assert trip.work_s == pytest.approx((100 + 2 * LIFT_M) / SPEED + 2 * LIFT_S)


def test_ground_of_another_place_is_counted_there_alone():
    # A cross: no one pass takes both.
    found = judge(bare_at(box(100, 90, 200, 96), box(150, 100, 156, 180)))
    assert sum(t.gained_m2 for t in found.trips) == pytest.approx(100 * 6 + 6 * 80)


def test_the_chance_that_a_place_is_bare_is_in_its_worth():
    gap = box(100, 60, 140, 66)
    sure, even = (only(judge(bare_at(gap, chance=c, end=(60, 63)))) for c in (1.0, 0.4))
    assert even.worth == pytest.approx(0.4 * sure.worth)
    assert (sure.verdict, even.verdict) == (WORTH_IT, WHEN_THERE)


def test_far_away_it_is_for_when_somebody_is_there():
    # 40 m by 6 m bring 720 of ground less 198 for product and 54 for 27 s of work (2 a second):
    # 468 pay for 234 s, 468 m.
    gap = box(100, 60, 140, 66)
    assert only(judge(bare_at(gap, end=(-365, 63)))).verdict == WORTH_IT
    far = only(judge(bare_at(gap, end=(-375, 63))))
    assert far.verdict == WHEN_THERE
    assert math.isnan(far.drive_s)


def test_two_that_share_a_way_pay_for_it_together():
    a, b = box(100, 60, 140, 66), box(100, 90, 140, 96)
    found = judge(bare_at(a, b, end=(-500, 63)))
    assert [t.verdict for t in found.trips] == [WORTH_IT, WORTH_IT]
    assert found.trips[1].drive_s < found.trips[0].drive_s


def test_prices_make_the_measure_money():
    r = bare_at(box(100, 60, 140, 66), end=(60, 63))
    drill = Implement(WIDTH, cost_per_s=0.04)
    rate = r.products[0].target_kg_per_m2
    found = judge(r, drill, price_per_kg={"18-46-0": 0.9})
    trip = only(found)
    assert found.in_money
    assert trip.put_down == pytest.approx(44 * WIDTH * rate * 0.9)
    assert trip.time == pytest.approx(trip.time_s * 0.04)
    assert trip.worth == pytest.approx(3 * 40 * WIDTH * (rate * 0.9 + 0.04 / CAPACITY))
    told = judge(r, drill, price_per_kg={"18-46-0": 0.9}, bare_per_m2=0.1)
    assert only(told).worth == pytest.approx(24.0)
    assert told.bare_given
    for lacking in (judge(r, drill), judge(r, price_per_kg={"18-46-0": 0.9})):
        assert not lacking.in_money


@pytest.mark.parametrize("side", [1e-1, 1e-3, 1e-5, 1e-7])
def test_a_speck_is_left(side: float):
    # Specks are listed where somebody asks for skips of any size.
    found = judge(bare_at(box(100, 60, 100 + side, 60 + side), box(200, 60, 240, 66)))
    assert found.trips[-1].places == (1,)
    assert found.trips[-1].verdict == LEAVE


def test_nothing_listed_is_no_trip():
    assert judge(bare_at()).trips == ()


def _in_plane_of_job(lanes: tuple[LineString, ...], r: AuditResult) -> np.ndarray:
    to_earth = Transformer.from_crs(r.crs, "EPSG:4326", always_xy=True)
    to_plane, x0, y0 = _plane(*MISSOURI)

    def moved(xy: np.ndarray) -> np.ndarray:
        x, y = to_plane.transform(*to_earth.transform(*xy.T))
        return np.column_stack([x - x0, y - y0])

    return shapely.transform(np.array(lanes), moved)


def _down(lane: LineString) -> Drive:
    """The drill along a lane, down all the way."""
    (x0, y0), (x1, y1) = lane.coords[0], lane.coords[-1]
    heading = math.atan2(y1 - y0, x1 - x0)
    lead = 2 * STEP_M
    turtle = Turtle(x0 - lead * math.cos(heading), y0 - lead * math.sin(heading), heading)
    return turtle.forward(lead).forward(lane.length, work=True).forward(lead).sample()


_CELL_M = 0.02


@pytest.mark.parametrize("gaps", [(0.0, 6.5, 0.0), (0.8, 0.0, 1.9)])
def test_cells_gain_and_double_as_much(gaps: tuple[float, ...]):
    job = straight_job(96.0, gaps)
    r = audit_operation(operation(job))
    found = judge(r, replace(DRILL, rows_per_tower=None))
    before = referee.judge(job, _CELL_M)
    assert found.trips
    for trip in found.trips:
        drives = [_down(lane) for lane in _in_plane_of_job(trip.lanes, r)]
        after = referee.judge(replace(job, drives=(*job.drives, *drives)), _CELL_M)
        # A quarter of a metre at either end of a lane, and a cell along an edge.
        slack = (3.0 + _CELL_M * 100) * len(trip.lanes)
        gained = after.covered_area_m2 - before.covered_area_m2
        assert trip.gained_m2 == pytest.approx(gained, abs=slack)
        doubled = after.excess_area_m2 - before.excess_area_m2
        assert trip.doubled_m2 == pytest.approx(doubled, abs=slack)


@pytest.mark.parametrize("seed", range(12))
def test_the_best_tour_of_few_is_found(seed: int):
    rng = np.random.default_rng(seed)
    n = 1 + seed % 4
    first = np.column_stack([rng.uniform(0, 300, (n, 2)), rng.uniform(0, 2 * np.pi, n)])
    ahead = np.column_stack([np.cos(first[:, 2]), np.sin(first[:, 2]), np.zeros(n)])
    ways = Ways(first, first + 40 * ahead, 6.0, np.zeros(3))
    net = rng.uniform(0, 300, n)

    def left(order: list[tuple[int, int]]) -> float:
        return float(sum(net[trip] for trip, _ in order)) - ways.length_m(order)

    every = (
        list(zip(trips, turned, strict=True))
        for k in range(n + 1)
        for trips in itertools.permutations(range(n), k)
        for turned in itertools.product((0, 1), repeat=k)
    )
    assert left(best_tour(net, ways, 1.0)) == pytest.approx(max(map(left, every)))
