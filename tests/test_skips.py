"""Missed ground of each kind, planted where it can be measured by hand."""

import itertools
import math
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pytest
import shapely
from jobs import DRILL, SPEED_MPS, STEP_M, Drive, Job, Turtle, all_work_job, straight_job
from put_down import operation
from shapely.geometry import Point

from evenacre.coverage.audit import audit_operation
from evenacre.coverage.skips import KINDS, Beside, Surroundings, find_skips, strip_size
from evenacre.geo.local_crs import WorkingPlane
from evenacre.model import Blockage, Settings

WIDTH = DRILL.width_m
LENGTH = 96.0


def skips_of(job: Job, turn: float = 0.4) -> gpd.GeoDataFrame:
    return audit_operation(operation(job, turn=turn)).layers["skips"]


def listed(job: Job) -> list[tuple[str, float]]:
    skips = skips_of(job)
    return list(zip(skips["kind"], skips["area_m2"].round(3), strict=True))


def pairs(*expected: tuple[str, float]) -> list[tuple[str, object]]:
    return [(kind, pytest.approx(area, rel=1e-3)) for kind, area in expected]


def test_between_passes() -> None:
    skips = skips_of(straight_job(LENGTH, (0.0, 0.5, 0.0, 0.3)))
    assert skips["skip"].tolist() == [1, 2]
    assert skips["kind"].tolist() == ["between passes"] * 2
    assert skips["area_m2"].tolist() == pytest.approx([0.5 * LENGTH, 0.3 * LENGTH], rel=1e-3)
    assert skips["mean_width_m"].tolist() == pytest.approx([0.5, 0.3], rel=1e-3)
    assert skips["length_m"].tolist() == pytest.approx([LENGTH] * 2, rel=1e-3)
    assert skips["cause"].tolist() == ["", ""]


def test_a_gap_of_less_than_half_a_row_is_no_skip() -> None:
    wide_rows = replace(DRILL, rows=16)
    assert wide_rows.row_spacing_m == pytest.approx(0.381)
    skips = skips_of(straight_job(LENGTH, (0.0, 0.18, 0.0, 0.2), wide_rows))
    assert skips["area_m2"].tolist() == pytest.approx([0.2 * LENGTH], rel=1e-3)


def test_the_spot_given_for_a_skip_lies_in_it() -> None:
    result = audit_operation(operation(straight_job(LENGTH, (0.5, -0.2, 0.4)), turn=1.0))
    skips = result.layers["skips"]
    spot = gpd.GeoSeries(gpd.points_from_xy(skips["lon"], skips["lat"]), crs="EPSG:4326")
    assert skips.geometry.contains(spot.to_crs(skips.crs)).all()


def test_a_gap_as_wide_as_the_tool_is_still_between_passes_a_wider_one_is_unworked() -> None:
    assert listed(straight_job(LENGTH, (WIDTH,))) == pairs(("between passes", WIDTH * LENGTH))
    assert listed(straight_job(LENGTH, (9.0,))) == pairs(("unworked", 9.0 * LENGTH))


def test_passes_driven_the_same_way_face_each_other_too() -> None:
    # The gap opens into ground beyond the ends of the passes: two skips, each with its own name.
    job = all_work_job(LENGTH, (0.5, 0.0))
    top = job.boundary.bounds[3]
    beyond = replace(job, boundary=shapely.box(0, 0, LENGTH + 1.5, top))
    assert listed(beyond) == pairs(("between passes", 0.5 * LENGTH), ("edge", 1.5 * top))


def test_edge() -> None:
    job = straight_job(LENGTH, (0.0, 0.0))
    top = 3 * WIDTH
    short = replace(job, boundary=shapely.box(0, 0, LENGTH, top + 1.2))
    assert listed(short) == pairs(("edge", 1.2 * LENGTH))
    # Where the passes stop short of the far end.
    short = replace(job, boundary=shapely.box(0, 0, LENGTH + 2.0, top))
    assert listed(short) == pairs(("edge", 2.0 * top))


def test_a_pass_that_starts_late_leaves_ground_at_the_edge() -> None:
    # The passes beside it start in time.
    job = straight_job(LENGTH, (0.0, 0.0))
    drive = job.drives[0]
    late = (np.abs(drive.y_m - 1.5 * WIDTH) < WIDTH / 4) & (drive.x_m < 4.8)
    drive = replace(drive, working=drive.working & ~late)
    assert listed(replace(job, drives=(drive,))) == pairs(("edge", 4.8 * WIDTH))


def with_headland(clear_m: float) -> Job:
    """Three passes that stop ``clear_m`` short of a headland pass across each end."""
    drives = []
    high = 3 * WIDTH
    for i in range(3):
        turtle = Turtle(WIDTH + clear_m, (i + 0.5) * WIDTH).forward(LENGTH, work=True)
        drives.append(turtle.sample(phase=0.0).later(900.0 * i))
    far = 2 * WIDTH + 2 * clear_m + STEP_M * math.floor(LENGTH / STEP_M)
    for k, x in enumerate((WIDTH / 2, far - WIDTH / 2)):
        turtle = Turtle(x, 0.0, math.pi / 2).forward(high, work=True)
        drive = turtle.sample(high / 38, SPEED_MPS, 0.0)
        drives.append(drive.later(900.0 * (4 + k)))
    return Job(shapely.box(0, 0, far, high), tuple(drives), settings=Settings(headland_rounds=1))


def test_turn() -> None:
    job = with_headland(1.5)
    skips = skips_of(job)
    assert skips["kind"].tolist() == ["turn", "turn"]
    assert skips["area_m2"].tolist() == pytest.approx([1.5 * 3 * WIDTH] * 2, rel=1e-3)
    assert skips_of(with_headland(0.0)).empty


def test_blocked_rows_by_event() -> None:
    job = straight_job(LENGTH, (0.0,))
    drive = job.drives[0]
    start, end = np.interp([20.07, 61.3], drive.x_m[:200], drive.time_s[:200])
    blockage = Blockage(float(start), float(end), DRILL.tower_rows(3), "tower 3")
    skips = skips_of(replace(job, blockages=(blockage,)))
    assert skips["kind"].tolist() == ["blocked rows"]
    assert skips["cause"].tolist() == ["tower 3"]
    assert skips["area_m2"].item() == pytest.approx(41.23 * WIDTH / 4, rel=1e-3)


def test_blocked_rows_by_the_log() -> None:
    # Row 11 off from 24 to 72 m, rows 17 to 20 of the same pass from 48 to 60.
    job = straight_job(LENGTH, ())
    drive = job.drives[0]
    rows = np.repeat(drive.working[:, None], 32, axis=1)
    rows[(drive.x_m > 24.0) & (drive.x_m < 72.0), 10] = False
    rows[(drive.x_m > 48.0) & (drive.x_m < 60.0), 16:20] = False
    job = replace(job, drives=(replace(drive, sections=rows),))
    skips = skips_of(replace(job, settings=Settings(skip_min_area_m2=1.0)))
    assert skips["kind"].tolist() == ["blocked rows"] * 2
    spacing = DRILL.row_spacing_m
    assert skips["area_m2"].tolist() == pytest.approx([48 * spacing, 48 * spacing], rel=1e-3)
    assert sorted(skips["mean_width_m"]) == pytest.approx([spacing, 4 * spacing], rel=0.01)
    assert set(skips["cause"]) == {"row 11 off in the log", "rows 17-20 off in the log"}


def without(drive: Drive, gone: np.ndarray) -> Drive:
    kept = ~gone
    return Drive(
        *(getattr(drive, n)[kept] for n in ("time_s", "x_m", "y_m", "heading_rad", "working"))
    )


def test_no_log() -> None:
    job = straight_job(LENGTH, ())
    drive = job.drives[0]
    gone = (drive.x_m > 30.0) & (drive.x_m < 60.0)
    skips = skips_of(replace(job, drives=(without(drive, gone),)))
    silent = float(np.ptp(drive.x_m[gone])) + 2 * STEP_M
    assert skips["kind"].tolist() == ["no log"]
    assert skips["area_m2"].item() == pytest.approx(silent * WIDTH, rel=1e-3)
    assert skips["cause"].item() == f"no log for {silent / SPEED_MPS:.0f} s"


def test_a_silence_while_the_tool_went_elsewhere_is_no_missing_log() -> None:
    # The silence lasts eight times what driving straight on would have taken.
    job = straight_job(LENGTH, ())
    drive = job.drives[0]
    gone = (drive.x_m > 30.0) & (drive.x_m < 60.0)
    early = without(drive, gone)
    late = np.where(early.x_m > 45.0, 100.0, 0.0)
    skips = skips_of(replace(job, drives=(replace(early, time_s=early.time_s + late),)))
    assert "no log" not in skips["kind"].tolist()


def test_all_kinds_in_one_field() -> None:
    job = straight_job(LENGTH, (0.4, 0.0, 9.0, 0.0))
    drive = job.drives[0]
    top = 5 * WIDTH + 9.4
    start, end = np.interp([20.0, 60.0], drive.x_m[:200], drive.time_s[:200])
    job = replace(
        job,
        boundary=shapely.box(0, 0, LENGTH, top + 0.8),
        blockages=(Blockage(float(start), float(end), (9, 10, 11, 12), "rows 9-12"),),
    )
    assert listed(job) == pairs(
        ("unworked", 9.0 * LENGTH),
        ("edge", 0.8 * LENGTH),
        ("between passes", 0.4 * LENGTH),
        ("blocked rows", 40.0 * WIDTH / 8),
    )


def test_a_drawn_boundary_lists_no_edge() -> None:
    job = straight_job(LENGTH, (0.0, 0.5, 0.0))
    # Every other pass starts 3 m late: notches that the drawn boundary bridges.
    drive = job.drives[0]
    late = (np.abs(np.sin(drive.heading_rad)) < 1e-6) & (np.cos(drive.heading_rad) < 0)
    job = replace(job, drives=(replace(drive, working=drive.working & ~(late & (drive.x_m < 3))),))
    undrawn = operation(job)
    undrawn = replace(undrawn, field=replace(undrawn.field, boundary=None))
    skips = audit_operation(undrawn).layers["skips"]
    assert skips["kind"].tolist() == ["between passes"]
    assert skips["area_m2"].item() == pytest.approx(0.5 * LENGTH, rel=0.05)
    assert "edge" in [kind for kind, _ in listed(job)]


@pytest.mark.parametrize(
    ("length", "width"), [(240.0, 0.3), (12.0, 11.9), (5.0, 5.0), (1e3, 0.1), (0.6, 0.5)]
)
def test_the_size_of_a_rectangle_is_its_size(length: float, width: float) -> None:
    found = strip_size(np.array([length * width]), np.array([2 * (length + width)]))
    assert found[0].item() == pytest.approx(length, rel=1e-9)
    assert found[1].item() == pytest.approx(width, rel=1e-9)


def test_the_size_of_a_rounder_shape_is_that_of_a_square() -> None:
    disc = Point(0, 0).buffer(3.0, quad_segs=200)
    length, width = strip_size(np.array([disc.area]), np.array([disc.length]))
    assert length.item() == width.item() == pytest.approx(3.0 * math.sqrt(math.pi), rel=1e-4)


NOTHING = shapely.Polygon()


def alone(
    missed: shapely.Geometry, min_width_m: float = 0.1, min_area_m2: float = 1.0
) -> gpd.GeoDataFrame:
    """Skips of some missed ground in the middle of a field with nothing around."""
    around = Surroundings(
        workable=shapely.box(-500, -500, 500, 500),
        boundary_given=True,
        pass_ends=shapely.LineString(),
        headland=NOTHING,
        width_m=WIDTH,
        beside=Beside(np.empty(0, dtype=object), np.empty(0)),
        causes=(),
    )
    plane = WorkingPlane(-92.6, 40.1)
    least = dict.fromkeys(KINDS, min_width_m)
    return find_skips(missed, around, plane, min_width_m=least, min_area_m2=min_area_m2)


@pytest.mark.parametrize(("neck_m", "count"), [(0.02, 2), (0.04, 2), (0.06, 1), (0.5, 1)])
def test_two_skips_joined_by_a_thin_neck_are_told_apart(neck_m: float, count: int) -> None:
    west, east = shapely.box(0, 0, 5, 2), shapely.box(8, 0, 12, 2)
    neck = shapely.box(5, 1, 8, 1 + neck_m)
    skips = alone(west | east | neck)
    areas = [10.0, 8.0] if count == 2 else [18.0 + 3 * neck_m]
    assert skips["area_m2"].tolist() == pytest.approx(areas, abs=0.01)


def test_larger_minimums_never_list_more() -> None:
    rng = np.random.default_rng(5)
    corner = rng.uniform(0, 200, (60, 2))
    size = np.column_stack([rng.uniform(0.5, 30, 60), rng.uniform(0.05, 2.0, 60)])
    missed = shapely.union_all(shapely.box(corner[:, 0], corner[:, 1], *(corner + size).T))
    before = None
    for minimum in np.linspace(0.0, 3.0, 13):
        by_width = alone(missed, minimum, 0.0)
        by_area = alone(missed, 0.0, 5 * minimum)
        assert (by_width["mean_width_m"] >= minimum).all()
        assert (by_area["area_m2"] >= 5 * minimum).all()
        now = len(by_width), len(by_area), by_width["area_m2"].sum(), by_area["area_m2"].sum()
        assert before is None or all(n <= b for n, b in zip(now, before, strict=True))
        before = now


def test_a_skip_of_less_than_a_square_metre_is_listed_where_none_is_too_small() -> None:
    skips = alone(shapely.box(0, 0, 0.9, 0.6), min_width_m=0.0, min_area_m2=0.0)
    assert skips["area_m2"].tolist() == pytest.approx([0.54], rel=1e-6)
    assert alone(shapely.box(0, 0, 0.9, 0.6)).empty


def test_the_largest_skip_comes_first() -> None:
    boxes = [shapely.box(20 * i, 0, 20 * i + 1 + 3 * (i % 3) + i, 2) for i in range(7)]
    areas = alone(shapely.union_all(boxes))["area_m2"].tolist()
    assert areas == sorted((b.area for b in boxes), reverse=True) == pytest.approx(areas)


def test_edges_that_all_but_coincide_do_not_break_the_overlay() -> None:
    # Found by chance: overlays of these in floating point gave a polygon with nested holes.
    for centres in (
        [3.052, 9.64, 16.259, 22.839, 29.416],
        [3.039, 9.63, 16.25, 22.83, 29.487],
        [3.049, 9.63, 16.222, 22.884, 29.436],
    ):
        job = all_work_job(60.0, (0.5,) * 4)
        drives = tuple(
            replace(d, y_m=np.full(len(d.y_m), y)) for d, y in zip(job.drives, centres, strict=True)
        )
        boundary = job.boundary.buffer(12.0, join_style="mitre")
        job = replace(job, drives=drives, boundary=boundary, settings=Settings(smooth=False))
        skips = skips_of(job, turn=0.0)
        gaps = sum(b - a - WIDTH for a, b in itertools.pairwise(centres)) * 60.0
        between = skips[skips["kind"] == "between passes"]
        assert between["area_m2"].sum() == pytest.approx(gaps, rel=1e-3)
        assert skips.geometry.is_valid.all()
