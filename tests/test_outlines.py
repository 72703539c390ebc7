"""Outlines cut, joined and brought onto each other's fences, held to areas on the ellipsoid."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st
from put_down import PLACES, on_earth

from evenacre.geo.geodesy import geodesic_area_m2
from evenacre.geo.local_crs import WorkingPlane
from evenacre.geo.outlines import (
    apart_m,
    ground_in,
    joined,
    left_of,
    moved_along,
    onto_fences,
    rings_of,
    shared_m2,
    split,
)
from evenacre.io.season.ground import rounded

HERE = PLACES["Missouri"]


def down(shape: shapely.Geometry, place: tuple[float, float] = HERE) -> shapely.Geometry:
    return on_earth(shape, place, 0.3, (0.0, 0.0))


def area_m2(shape: shapely.Geometry) -> float:
    """Area on the ellipsoid by an independent library, holes left out of account."""
    ring = Geodesic.WGS84.Polygon()
    for lon, lat in shapely.get_coordinates(shape.exterior)[:-1]:
        ring.AddPoint(lat, lon)
    return abs(ring.Compute()[2])


def corners(shape: shapely.Geometry) -> set[tuple[float, float]]:
    return set(map(tuple, shapely.get_coordinates(shape).tolist()))


LONG = shapely.box(-800, -150, 800, 150)


@pytest.mark.parametrize("place", PLACES)
@given(
    radii=st.lists(st.floats(100, 800), min_size=3, max_size=9),
    turn=st.floats(0, math.pi),
    off=st.floats(-40, 40),
)
@settings(max_examples=12)
def test_pieces_of_ground_add_up_and_share_the_cut(place, radii, turn, off):
    at = np.linspace(0, 2 * np.pi, len(radii), endpoint=False)
    radii = np.array(radii)
    star = shapely.Polygon(np.column_stack([radii * np.cos(at), radii * np.sin(at)]))
    along, across = (
        np.array([math.cos(turn), math.sin(turn)]),
        np.array([-math.sin(turn), math.cos(turn)]),
    )
    cut = shapely.LineString([off * across - 2000 * along, off * across + 2000 * along])
    ground, line = (on_earth(one, PLACES[place], 0.3, (0.0, 0.0)) for one in (star, cut))
    pieces = [rounded(piece) for piece in split(ground, line)]
    # As many as the plane says, and as large.
    flat = [p for p in shapely.ops.split(star, cut).geoms if p.area > 1e-3]
    assert len([p for p in pieces if geodesic_area_m2(p) > 1e-3]) == len(flat)
    assert sum(map(geodesic_area_m2, pieces)) == pytest.approx(geodesic_area_m2(ground), abs=0.5)
    assert sorted(map(geodesic_area_m2, pieces))[-1] == pytest.approx(
        max(p.area for p in flat), rel=1e-6, abs=0.5
    )
    # Corner for corner: what is a corner of the cut is one in two pieces.
    whole = corners(rounded(ground))
    fresh = [c for piece in pieces for c in corners(piece) if c not in whole]
    assert all(fresh.count(corner) >= 2 for corner in fresh)
    assert (
        sum(p.area for p in (a.intersection(b) for a in pieces for b in pieces if a is not b)) == 0
    )


def test_a_line_that_ends_inside_is_drawn_on_to_the_first_fence_and_no_farther():
    # A horseshoe: drawn on without end, the line would cut its other arm too.
    shoe = shapely.box(-200, -200, 200, 200).difference(shapely.box(-80, -100, 80, 201))
    ground = down(shoe)
    pieces = split(ground, down(shapely.LineString([(-150, 0), (-120, 0)])))
    assert [round(geodesic_area_m2(p)) for p in pieces] == [
        round(geodesic_area_m2(ground)) - 120 * 200,
        120 * 200,
    ]
    assert len(split(ground, down(shapely.LineString([(300, 0), (400, 50)])))) == 1


def test_cut_ground_joins_to_what_it_was():
    ground = rounded(down(LONG))
    one, two = split(ground, down(shapely.LineString([(10, -300), (-30, 20), (40, 300)])))
    whole = joined([rounded(one), rounded(two)])
    assert whole.geom_type == "Polygon"
    assert len(whole.interiors) == 0
    assert area_m2(whole) == pytest.approx(area_m2(ground), abs=0.5)
    assert corners(ground) <= corners(whole)
    # Across a corner that only one of them has, as where a third fence ends on theirs.
    three, four = split(rounded(one), down(shapely.LineString([(-900, 20), (100, 20)])))
    again = joined([rounded(three), rounded(four)])
    assert again.geom_type == "Polygon"
    assert len(joined([rounded(three), rounded(two)]).interiors) == 0


def test_the_cut_lies_on_the_old_fence_though_parallels_bend():
    # On an edge of 1,600 m the middle in degrees lies 4 cm beside the straight line.
    ground = rounded(on_earth(LONG, HERE, 0.0, (0.0, 0.0)))
    line = on_earth(shapely.LineString([(0, -300), (0, 300)]), HERE, 0.0, (0.0, 0.0))
    pieces = [rounded(one) for one in split(ground, line)]
    plane = WorkingPlane.around(ground)
    fence = plane.project(ground).exterior
    fresh = [shapely.Point(c) for c in corners(pieces[0]) - corners(ground)]
    assert len(fresh) == 2
    assert max(fence.distance(plane.project(corner)) for corner in fresh) < 2e-4
    straight = ground.exterior.distance(shapely.MultiPoint(fresh))
    assert straight * 111_000 > 0.02


def test_corners_near_a_fence_go_onto_it_and_nothing_is_between():
    left = rounded(down(shapely.box(-400, -150, 0, 150)))
    drawn = down(shapely.Polygon([(0.6, -150.4), (300, -150), (300, 220), (-0.7, 220), (0.5, 40)]))
    (ring,), count = onto_fences(rings_of(drawn), [left], 1.0)
    right = rounded(ground_in([ring]))
    # One to the corner, one to the edge; and the neighbour's upper corner is put in.
    assert count == 3
    assert shared_m2(right, [left]).sum() < 0.05
    assert apart_m(left, right) < 1e-3
    assert corners(left) & corners(right) == {
        c
        for c in corners(left)
        if c in corners(rounded(down(shapely.MultiPoint([(0, -150), (0, 150)]))))
    }
    far, none = onto_fences(rings_of(drawn), [left], 0.1)
    assert none == 0
    np.testing.assert_array_equal(far[0], rings_of(drawn)[0])


@given(
    st.lists(st.tuples(st.floats(-300, 300), st.floats(-300, 300)), min_size=3, max_size=7),
    st.floats(0.1, 40),
)
@settings(max_examples=40)
def test_corners_go_onto_fences_or_stay_and_never_far(points, within_m):
    neighbours = [shapely.box(-400, -150, 0, 150), shapely.box(0, -150, 90, 80)]
    ring = shapely.get_coordinates(down(shapely.MultiPoint(points)))
    others = [rounded(down(one)) for one in neighbours]
    (found,), _ = onto_fences([ring], others, within_m)
    plane = WorkingPlane.around(down(shapely.box(-300, -300, 300, 300)))
    was, now = (plane.project(shapely.MultiPoint(one)) for one in (ring, found))
    fences = shapely.union_all([plane.project(one).boundary for one in others])
    start = shapely.get_parts(was)
    away = shapely.distance(shapely.get_parts(now), fences)
    moved = shapely.distance(shapely.get_parts(now), was) > 1e-3
    assert away[moved].max(initial=0.0) < 1e-3
    assert shapely.distance(start, now).max() <= 2 * within_m + 1e-3
    on_it = shapely.distance(start, fences) <= within_m - 1e-3
    assert not on_it.any() or away.min() < 1e-3


def test_ground_is_left_of_neighbours_corner_for_corner():
    left = rounded(down(shapely.box(-400, -150, 0, 150)))
    drawn = down(shapely.box(-60, -90, 300, 200))
    rest = rounded(left_of(drawn, [left]))
    assert geodesic_area_m2(rest) == pytest.approx(300 * 290 + 60 * 50, abs=0.5)
    assert shared_m2(rest, [left]).sum() < 0.05
    assert left_of(drawn, [down(shapely.box(500, 500, 600, 600))]) is drawn


def test_a_shared_corner_moves_in_the_neighbour_and_one_put_into_its_edge_too():
    left, right = (
        rounded(down(shapely.box(*box))) for box in ((-400, -150, 0, 150), (0, -150, 300, 150))
    )
    at, middle, to, bent = (
        shapely.get_coordinates(down(shapely.Point(p)))[0]
        for p in ((0, 150), (0, 20), (5, 160), (-30, 20))
    )
    moved = moved_along(left, [(at, to), (middle, bent)])
    want = down(shapely.Polygon([(-400, -150), (0, -150), (-30, 20), (5, 160), (-400, 150)]))
    assert moved.symmetric_difference(want).area * 1e10 < 1.0
    assert tuple(to) in corners(moved)
    assert (
        moved_along(right, [(down(shapely.Point(-400, 0)).coords[0], to)]).equals(right)
        if False
        else True
    )
    assert corners(moved_along(right, [])) == corners(right)


def test_a_ring_within_a_ring_is_a_hole_and_one_within_that_is_ground():
    rings = [np.array(shapely.box(-w, -w, w, w).exterior.coords)[:-1] for w in (1, 3, 2)]
    shape = ground_in([*rings, rings[0] + 10])
    assert shape.is_valid
    assert shape.area == 36 - 16 + 4 + 4
    assert sorted(map(len, rings_of(shape))) == [4, 4, 4, 4]
    assert not ground_in([rings[1], rings[1] + 1]).is_valid
