"""Ground by classes of rate against closed forms: laps, turns, changes along a pass."""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np
import pytest
import shapely

from evenacre.arrays import FloatArray
from evenacre.coverage.cover import count_cover
from evenacre.coverage.rate_ground import rate_layers, rated_strips
from evenacre.coverage.swath import Strips, build_swaths
from evenacre.geo.local_crs import WorkingPlane

CRS = WorkingPlane.around(np.array([shapely.box(-92.6, 40.1, -92.59, 40.11)])).crs
WIDTH = 6.0
TARGET = 0.02
EDGES = TARGET * np.array([0.5, 0.9, 1.1, 1.5])


def strips(left: FloatArray, right: FloatArray, piece: int = 0) -> Strips:
    """Strips of one piece between two chains of the ends of the tool."""
    quad = np.stack([left[:-1], right[:-1], right[1:], left[1:]], axis=1)
    count = len(quad)
    rows = np.ones(count, dtype=np.int64)
    step = np.arange(count) + 1000 * piece
    return Strips(step, rows, 32 * rows, quad, np.zeros(count, bool), piece * rows)


def together(*parts: Strips) -> Strips:
    names = ("step", "first_row", "last_row", "quad", "folded", "piece")
    return Strips(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))


def straight(y: float, length: float, piece: int, step: float = 0.5) -> Strips:
    x = np.arange(0.0, length + step / 2, step)
    left, right = (np.column_stack([x, np.full_like(x, y + a)]) for a in (WIDTH / 2, -WIDTH / 2))
    return strips(left, right, piece)


def layers_of(every: Strips, kg: FloatArray, edges: FloatArray = EDGES) -> gpd.GeoDataFrame:
    cover = count_cover(build_swaths(every).geometry)
    return rate_layers(rated_strips(every, kg, edges), edges, cover, CRS)


def by_class(every: Strips, kg: FloatArray) -> dict[int, float]:
    """Ground of each class in m2, what lies under others taken off."""
    layers = layers_of(every, kg)
    assert list(layers["kind"]) == sorted(layers["kind"])
    above, out = shapely.Polygon(), {}
    for kind, shape in zip(layers["kind"][::-1], layers.geometry[::-1], strict=True):
        out[kind] = shape.difference(above).area
        above = above.union(shape)
    return {kind: area for kind, area in out.items() if area > 1e-9}


def test_a_lap_of_a_hand_is_a_straight_strip_of_its_own() -> None:
    # Two passes of 400 m that lap by 0.1 m: 40 m2 at twice the rate, to the square centimetre.
    two = together(straight(0.0, 400.0, 0), straight(WIDTH - 0.1, 400.0, 1))
    kg = np.full(len(two.step), TARGET * WIDTH * 0.5)
    layers = layers_of(two, kg)
    assert by_class(two, kg) == pytest.approx({4: 40.0, 2: 2 * 2400.0 - 80.0}, abs=1e-4)
    lap = layers.geometry.iloc[-1]
    assert shapely.get_num_coordinates(lap) == 5
    assert lap.bounds == pytest.approx((0.0, WIDTH / 2 - 0.1, 400.0, WIDTH / 2))


def test_halves_that_lie_on_one_another_make_a_whole() -> None:
    both = together(straight(0.0, 100.0, 0), straight(0.0, 100.0, 1))
    kg = np.full(len(both.step), 0.5 * TARGET * WIDTH * 0.5)
    assert by_class(both, kg) == pytest.approx({2: 600.0}, abs=1e-6)


def test_thrice_covered_ground_adds_three_rates() -> None:
    three = together(*(straight(0.0, 50.0, n) for n in range(3)))
    kg = np.full(len(three.step), 0.4 * TARGET * WIDTH * 0.5)
    assert by_class(three, kg) == pytest.approx({3: 300.0}, abs=1e-6)


@pytest.mark.parametrize("radius", [8.0, 15.0, 40.0])
def test_in_a_turn_the_inside_gets_more(radius: float) -> None:
    # Rows get equal mass, so the rate at r is the mean one times radius / r. Its classes are rings
    # between the radii at which that is the bound of a class.
    angle = np.linspace(0.0, math.pi / 2, 400)
    way = np.column_stack([np.cos(angle), np.sin(angle)])
    inner, outer = radius - WIDTH / 2, radius + WIDTH / 2
    turn = strips(inner * way, outer * way)
    area = shapely.area(shapely.polygons(turn.quad))
    radii = np.clip(radius * TARGET / EDGES, inner, outer)  # descending
    radii = np.concatenate([[outer], radii, [inner]])
    rings = enumerate(math.pi / 4 * -np.diff(radii**2))
    expected = {kind: ring for kind, ring in rings if ring > 0}
    found = by_class(turn, TARGET * area)
    assert found == pytest.approx(expected, rel=2e-4, abs=0.01)


def test_a_change_of_rate_lies_where_it_was_made() -> None:
    run = straight(0.0, 200.0, 0)
    shares = np.where(np.arange(400) < 151, 1.0, 0.6)
    found = by_class(run, shares * TARGET * WIDTH * 0.5)
    assert found == pytest.approx({2: 75.5 * WIDTH, 1: 124.5 * WIDTH}, abs=1e-6)


def test_a_rate_that_flickers_about_a_bound_is_taken_over_two_metres() -> None:
    run = straight(0.0, 200.0, 0)
    shares = np.where(np.arange(400) % 2, 1.04, 1.14)  # 1.09 on the whole
    found = by_class(run, shares * TARGET * WIDTH * 0.5)
    assert found == pytest.approx({2: 1200.0}, abs=1e-6)
    # What is lost in the middle of the flicker is a class of its own still.
    shares[200:220] = 0.2
    found = by_class(run, shares * TARGET * WIDTH * 0.5)
    assert found == pytest.approx({2: 1140.0, 0: 60.0}, abs=1e-6)


def test_ground_without_product_is_of_the_lowest_class_and_nothing_of_none() -> None:
    run = straight(0.0, 20.0, 0)
    assert by_class(run, np.zeros(40)) == pytest.approx({0: 120.0})
    assert layers_of(run, np.zeros(40), 0 * EDGES).empty


def test_a_curve_that_begins_the_work_leaves_no_ground_out() -> None:
    # A quarter of a ring about a point 1 m beside the tool's left end, then 20 m straight on. On
    # the ring the left end drives an eighth of the right end's way: rates from under the half of
    # the target to over one and a half.
    turn = np.linspace(-math.pi / 2, 0.0, 10)[:, None]
    ring = [np.column_stack([radius * np.cos(turn), radius * np.sin(turn)]) for radius in (1, 7)]
    on = np.column_stack([np.zeros(40), np.arange(0.5, 20.5, 0.5)])
    left, right = (np.concatenate([side, side[-1] + on]) for side in ring)
    whole = strips(left, right)
    area = shapely.area(shapely.polygons(whole.quad))
    parts = rated_strips(whole, TARGET * area, EDGES)
    assert len(np.unique(np.digitize(parts.kg_per_m2, EDGES))) > 1
    assert shapely.area(parts.ground).sum() == pytest.approx(area.sum(), rel=1e-6)
    assert (parts.kg_per_m2 * shapely.area(parts.ground)).sum() == pytest.approx(
        TARGET * area.sum(), rel=1e-6
    )
