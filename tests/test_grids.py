"""Rasters against masses that went in, points in polygons, and strips that share no cell."""

import math
from dataclasses import replace

import numpy as np
import pytest
import rasterio.transform
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from jobs import DRILL, Floats, Job, Turtle, all_work_job, arc_job, straight_job
from put_down import operation
from pyproj import CRS
from shapely.geometry import Point, Polygon

from evenacre.coverage.audit import audit_operation
from evenacre.coverage.grids import GridFrame, area_within, extent_of, scan
from evenacre.model import Application, Implement, Product
from evenacre.model.audit_result import Grid

RATE = 0.0168
WIDE = Implement(width_m=30.0, rows=60, rows_known=True)
PLANE = CRS.from_proj4("+proj=laea +lat_0=40 +lon_0=-92 +datum=WGS84 +units=m")
few = settings(max_examples=40, deadline=None, derandomize=True)


def frame_of(*extent: float) -> GridFrame:
    """Cells of 0.1 m over west, south, east, north."""
    return GridFrame(shapely.box(*extent), 1.0, PLANE)


def rated(job: Job) -> Job:
    return replace(
        job,
        drives=tuple(d.with_rate("seed", RATE) for d in job.drives),
        applications=(Application(Product("seed"), RATE),),
    )


def wiggle() -> Job:
    turtle = Turtle(0.0, 0.0, 0.3).forward(20, work=True).arc(12, 1.7, work=True)
    turtle.forward(15, work=True).arc(7, -2.4, work=True).forward(25, work=True)
    drive = turtle.sample(phase=0.0)
    track = shapely.LineString(np.column_stack([drive.x_m, drive.y_m]))
    return Job(track.buffer(8.0), (drive,))


JOBS = {
    "straight": straight_job(96.0, (0.0, -0.5, 0.4)),
    "wide arc": arc_job(20.0, 1.5),
    "tight arc": arc_job(4.0, 2.0, 0.2, 1.0),
    # The rate grows without bound toward the pivot; a wide tool keeps that within few cells.
    "pivot inside": arc_job(7.5, 2.5, 0.3, 2.5, implement=WIDE),
    "wiggle": wiggle(),
}


@pytest.mark.parametrize("turn", [0.0, 0.7])
@pytest.mark.parametrize("name", JOBS)
def test_the_rate_raster_holds_the_mass_that_was_logged(name: str, turn: float) -> None:
    (product,) = audit_operation(operation(rated(JOBS[name]), turn=turn)).products
    grid = product.rate
    held = float(np.asarray(grid.values, dtype=float).sum()) * grid.cell_m**2
    assert held == pytest.approx(product.logged_kg, rel=5e-3)


def test_the_rate_of_a_straight_pass_is_the_rate_logged_and_twice_that_on_a_lap() -> None:
    (product,) = audit_operation(operation(rated(straight_job(96.0, (-1.0,))))).products
    values = np.unique(np.asarray(product.rate.values)[product.rate.values > 0])
    lapped = values > 1.5 * RATE
    assert values[~lapped] == pytest.approx(RATE, rel=2e-3)
    assert values[lapped] == pytest.approx(2 * RATE, rel=2e-3)
    assert lapped.any()


@pytest.mark.parametrize("name", JOBS)
def test_the_cover_raster_counts_the_pieces_over_each_cell_centre(name: str) -> None:
    result = audit_operation(operation(JOBS[name], turn=0.7))
    grid = result.cover_grid
    rows, cols = np.indices(grid.values.shape)
    rng = np.random.default_rng(1)
    pick = rng.choice(rows.size, min(4000, rows.size), replace=False)
    x = grid.transform.c + (cols.ravel()[pick] + 0.5) * grid.cell_m
    y = grid.transform.f - (rows.ravel()[pick] + 0.5) * grid.cell_m
    pieces = result.layers["swaths"].geometry.to_numpy()
    count = sum(shapely.contains_xy(piece, x, y).astype(int) for piece in pieces)
    # Centres within a millimetre of an edge may fall to either side.
    clear = (
        shapely.distance(shapely.union_all(shapely.boundary(pieces)), shapely.points(x, y)) > 1e-3
    )
    assert clear.mean() > 0.95
    assert (np.asarray(grid.values).ravel()[pick][clear] == np.asarray(count)[clear]).all()


def test_cells_lie_where_the_transform_says() -> None:
    frame = frame_of(10.03, 20.07, 15.0, 26.0)
    spot = Polygon([(12.31, 23.42), (12.37, 23.42), (12.37, 23.48), (12.31, 23.48)])
    row, col = np.nonzero(frame.mask(spot))
    x, y = frame.centres(row, col)
    assert (x.item(), y.item()) == pytest.approx((12.35, 23.45))
    there = rasterio.transform.xy(frame.transform, row, col)
    assert (there[0].item(), there[1].item()) == pytest.approx((12.35, 23.45))
    height, width = frame.shape
    assert frame.west <= 10.03
    assert frame.north >= 26.0
    assert frame.west + width * frame.cell_m >= 15.0
    assert frame.north - height * frame.cell_m <= 20.07


@pytest.mark.parametrize(("hectares", "cell_m"), [(0.1, 0.1), (25, 0.71), (500, 2.0), (9000, 2.0)])
def test_cells_grow_with_the_field(hectares: float, cell_m: float) -> None:
    side = math.sqrt(hectares) * 100
    frame = GridFrame(shapely.box(0, 0, side, side), hectares * 1e4, PLANE)
    assert frame.cell_m == pytest.approx(cell_m)


def test_cells_of_ground_that_lies_scattered_are_bounded() -> None:
    frame = GridFrame(shapely.box(0, 0, 45_000, 45_000), 25e4, PLANE)
    assert frame.coarse
    assert frame.shape[0] * frame.shape[1] <= 25_100_000
    assert frame.cell_m * frame.shape[0] == pytest.approx(45_000, abs=frame.cell_m)
    assert not GridFrame(shapely.box(0, 0, 900, 900), 25e4, PLANE).coarse


@st.composite
def neighbours(draw: st.DrawFn) -> Floats:
    """A patch of a field parted into convex quadrilaterals: a warped grid of corners."""
    rows, cols = draw(st.integers(1, 6)), draw(st.integers(1, 6))
    rng = np.random.default_rng(draw(st.integers(0, 2**20)))
    y, x = np.meshgrid(np.arange(rows + 1.0), np.arange(cols + 1.0), indexing="ij")
    inner = rng.uniform(-0.2, 0.2, (2, rows + 1, cols + 1))
    # On whole numbers of half cells corners and edges hit cell centres exactly.
    unit = draw(st.sampled_from([0.05, 0.35, 1.0, 0.731]))
    if draw(st.booleans()):
        inner = np.round(inner / 0.05) * 0.05
    turn = draw(st.sampled_from([0.0, math.pi / 2, 0.4, 2.1]))
    x, y = (x + inner[0]) * unit * 4, (y + inner[1]) * unit * 4
    x, y = x * math.cos(turn) - y * math.sin(turn), x * math.sin(turn) + y * math.cos(turn)
    corner = np.stack([x, y], axis=-1)
    quads = np.stack(
        [corner[:-1, :-1], corner[:-1, 1:], corner[1:, 1:], corner[1:, :-1]], axis=2
    ).reshape(-1, 4, 2)
    if draw(st.booleans()):
        quads = quads[:, ::-1]
    return quads


@few
@given(neighbours())
def test_neighbouring_strips_share_no_cell_and_leave_none_out(quads: Floats) -> None:
    patch = shapely.union_all(shapely.polygons(quads), grid_size=1e-9)
    frame = frame_of(*patch.buffer(0.3).bounds)
    _, row, col = scan(quads, frame)
    cells = row * frame.shape[1] + col
    assert len(np.unique(cells)) == len(cells)
    rows, cols = np.indices(frame.shape)
    x, y = frame.centres(rows.ravel(), cols.ravel())
    points = shapely.points(x, y)
    clear = shapely.distance(shapely.boundary(patch), points) > 1e-9
    told = np.zeros(rows.size, dtype=bool)
    told[cells] = True
    assert (told[clear] == shapely.contains_xy(patch, x, y)[clear]).all()


@few
@given(neighbours())
def test_every_cell_goes_to_the_strip_its_centre_lies_in(quads: Floats) -> None:
    frame = frame_of(*shapely.total_bounds(shapely.polygons(quads)))
    index, row, col = scan(quads, frame)
    x, y = frame.centres(row, col)
    off = shapely.distance(shapely.polygons(quads)[index], shapely.points(x, y))
    assert off.max(initial=0.0) < 1e-9


def test_strips_beyond_the_raster_are_clipped() -> None:
    frame = frame_of(0.0, 0.0, 2.0, 2.0)
    quad = np.array([[[-5.0, -5.0], [7.0, -5.0], [7.0, 7.0], [-5.0, 7.0]]])
    _, row, _ = scan(quad, frame)
    assert len(row) == frame.shape[0] * frame.shape[1]
    away = quad + 50.0
    assert len(scan(away, frame)[0]) == 0


def test_area_within_a_tenth_of_the_target() -> None:
    values = np.array([[0.0, 0.0899, 0.0901, 0.1], [0.1099, 0.1101, 0.2, 0.1]])
    frame = frame_of(0.0, 0.0, 0.4, 0.2)
    grid = Grid(values, frame.transform, PLANE)
    inside = np.array([[True] * 4, [True, True, True, False]])
    assert area_within(grid, inside, 0.1, 0.1) == pytest.approx(3 * 0.01)


def test_the_extent_takes_in_everything() -> None:
    got = extent_of(Point(0, 0).buffer(1), shapely.box(5, 5, 6, 7), Polygon())
    assert got.bounds == pytest.approx((-1.0, -1.0, 6.0, 7.0))


def test_the_raster_takes_in_work_outside_the_boundary() -> None:
    job = rated(all_work_job(48.0, (0.0,)))
    job = replace(job, boundary=shapely.box(0, 0, 24.0, 5.0))
    (product,) = audit_operation(operation(job)).products
    held = float(np.asarray(product.rate.values, dtype=float).sum()) * product.rate.cell_m**2
    assert held == pytest.approx(RATE * 2 * DRILL.width_m * 48.0, rel=5e-3)
