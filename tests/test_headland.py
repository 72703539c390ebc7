"""How many rounds run along a boundary, on paths laid out round by round."""

import math

import numpy as np
import pytest
import shapely
from jobs import Floats
from shapely.affinity import rotate
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from evenacre.coverage.headland import Headland, find_headland

WIDTH = 6.0
STEP_M = 0.48
RECTANGLE = shapely.box(0, 0, 240, 160)
ELL = Polygon([(0, 0), (240, 0), (240, 90), (110, 90), (110, 200), (0, 200)])
CIRCLE = Point(0, 0).buffer(95.0, quad_segs=60)
OBLIQUE = Polygon([(0, 0), (262, 22), (305, 140), (170, 232), (12, 196)])


class Paths:
    """Positions and headings of the tool line, gathered line by line."""

    def __init__(self) -> None:
        self.x: list[Floats] = []
        self.y: list[Floats] = []
        self.heading: list[Floats] = []

    def follow(self, line: BaseGeometry) -> None:
        for part in shapely.get_parts(line):
            at = np.arange(0.0, part.length - STEP_M, STEP_M)
            here = shapely.get_coordinates(shapely.line_interpolate_point(part, at))
            ahead = shapely.get_coordinates(shapely.line_interpolate_point(part, at + 0.1))
            self.x.append(here[:, 0])
            self.y.append(here[:, 1])
            self.heading.append(np.arctan2(*(ahead - here).T[::-1]))

    def rounds(self, polygon: Polygon, count: int, overlap: float = 0.1) -> None:
        for k in range(count):
            inset = WIDTH / 2 + k * (WIDTH - overlap)
            self.follow(shapely.boundary(polygon.buffer(-inset - 4, quad_segs=40).buffer(4)))

    def passes(self, inside: BaseGeometry, direction_rad: float) -> None:
        """Straight passes over everything inside."""
        flat = rotate(inside, -direction_rad, origin=(0, 0), use_radians=True)
        west, low, east, high = flat.bounds
        for y in np.arange(low + WIDTH / 2, high, WIDTH):
            line = LineString([(west - 1, y), (east + 1, y)]) & flat
            self.follow(rotate(line, direction_rad, origin=(0, 0), use_radians=True))

    def headland(
        self, boundary: Polygon, given: int | None = None, workable: BaseGeometry | None = None
    ) -> Headland:
        x, y, heading = map(np.concatenate, (self.x, self.y, self.heading))
        workable = boundary if workable is None else workable
        return find_headland(boundary, workable, x, y, heading, WIDTH, given)


def worked(boundary: Polygon, rounds: int, direction_rad: float) -> Paths:
    """Rounds along the boundary and passes over the rest."""
    paths = Paths()
    paths.rounds(boundary, rounds)
    paths.passes(boundary.buffer(-rounds * (WIDTH - 0.1), join_style="mitre"), direction_rad)
    return paths


def band_depth(headland: Headland, boundary: Polygon) -> float:
    """Depth of the band by its area: a band d deep takes in area - area(inset by d)."""
    low, high = 0.0, 60.0
    for _ in range(50):
        depth = (low + high) / 2
        taken = boundary.area - boundary.buffer(-depth, join_style="mitre").area
        low, high = (depth, high) if taken < headland.band.area else (low, depth)
    return low


@pytest.mark.parametrize("rounds", [0, 1, 2, 3])
@pytest.mark.parametrize("direction_rad", [0.0, math.pi / 2, 0.37, 2.2])
@pytest.mark.parametrize(
    "boundary", [RECTANGLE, ELL, CIRCLE, OBLIQUE], ids=["rectangle", "L", "circle", "oblique"]
)
def test_the_rounds_driven_are_the_rounds_found(
    boundary: Polygon, direction_rad: float, rounds: int
) -> None:
    found = worked(boundary, rounds, direction_rad).headland(boundary)
    assert found.rounds == rounds
    if rounds:
        assert band_depth(found, boundary) == pytest.approx(rounds * WIDTH, rel=0.01)
    else:
        assert found.band.is_empty


@pytest.mark.parametrize("width_m", [26.0, 40.0])
def test_a_long_narrow_field_without_headland_has_none(width_m: float) -> None:
    # Its outer passes run along both long sides, which are most of the boundary.
    strip = shapely.box(0, 0, 600, width_m)
    found = worked(strip, 0, 0.0).headland(strip)
    assert found.rounds == 0
    assert found.band.is_empty


@pytest.mark.parametrize("rounds", [1, 2])
def test_rounds_on_the_ends_only(rounds: int) -> None:
    # Passes along the field and turning strips across both ends: what turns on the headland.
    paths = Paths()
    for k in range(rounds):
        for x in (WIDTH / 2 + k * WIDTH, 300 - WIDTH / 2 - k * WIDTH):
            paths.follow(LineString([(x, 0), (x, 120)]))
    paths.passes(shapely.box(rounds * WIDTH, 0, 300 - rounds * WIDTH, 120), 0.0)
    field = shapely.box(0, 0, 300, 120)
    assert paths.headland(field).rounds == rounds


def test_one_end_only_is_no_round() -> None:
    paths = Paths()
    paths.follow(LineString([(WIDTH / 2, 0), (WIDTH / 2, 120)]))
    paths.passes(shapely.box(WIDTH, 0, 300, 120), 0.0)
    assert paths.headland(shapely.box(0, 0, 300, 120)).rounds == 0


def test_a_hole_driven_around_has_its_own_band() -> None:
    hole = Point(120, 80).buffer(18.0, quad_segs=30)
    field = RECTANGLE - hole
    paths = Paths()
    paths.rounds(RECTANGLE, 2)
    paths.follow(hole.buffer(WIDTH / 2).exterior)
    paths.passes(RECTANGLE.buffer(-2 * WIDTH) - hole.buffer(WIDTH), 0.0)
    found = paths.headland(field)
    assert found.rounds == 2
    outer = RECTANGLE.area - RECTANGLE.buffer(-2 * WIDTH, join_style="mitre").area
    ring = math.pi * (24.0**2 - 18.0**2)
    assert found.band.area == pytest.approx(outer + ring, rel=0.01)


def test_a_hole_passed_straight_by_has_no_band() -> None:
    hole = Point(120, 80).buffer(18.0, quad_segs=30)
    paths = Paths()
    paths.rounds(RECTANGLE, 2)
    paths.passes(RECTANGLE.buffer(-2 * WIDTH) - hole, 0.0)
    found = paths.headland(RECTANGLE - hole)
    outer = RECTANGLE.area - RECTANGLE.buffer(-2 * WIDTH, join_style="mitre").area
    assert found.rounds == 2
    assert found.band.area == pytest.approx(outer, rel=0.01)


def test_a_waterway_cuts_the_band_and_has_none_of_its_own() -> None:
    waterway = LineString([(90, -5), (150, 165)]).buffer(5.0)
    workable = RECTANGLE - waterway
    paths = Paths()
    paths.rounds(RECTANGLE, 2)
    paths.passes(RECTANGLE.buffer(-2 * WIDTH) - waterway, 0.0)
    found = paths.headland(RECTANGLE, workable=workable)
    band = RECTANGLE - RECTANGLE.buffer(-2 * WIDTH, join_style="mitre") - waterway
    assert found.rounds == 2
    assert found.band.area == pytest.approx(band.area, rel=1e-6)


@pytest.mark.parametrize("given", [0, 1, 4])
def test_rounds_that_are_given_are_not_looked_for(given: int) -> None:
    found = worked(RECTANGLE, 2, 0.0).headland(RECTANGLE, given)
    assert found.rounds == given
    taken = RECTANGLE.area - RECTANGLE.buffer(-given * WIDTH, join_style="mitre").area
    assert found.band.area == pytest.approx(taken, abs=1e-6)


def test_each_part_of_a_field_in_two_parts_has_its_own_rounds() -> None:
    east = shapely.affinity.translate(RECTANGLE, 400, 0)
    paths = worked(RECTANGLE, 2, 0.0)
    paths.passes(east, 0.0)
    found = paths.headland(shapely.MultiPolygon([RECTANGLE, east]))
    assert found.rounds == 2
    assert found.band.intersection(east).area == 0.0
    assert found.band.intersection(RECTANGLE).area > 0.0


def test_rounds_in_two_directions_count_alike() -> None:
    turned = RECTANGLE.reverse()
    assert worked(RECTANGLE, 2, 0.0).headland(turned).rounds == 2
