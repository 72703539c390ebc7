"""Product on the ground against closed forms: rate x area, flow x time, shares of zones."""

import math
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pytest
import shapely
from jobs import DRILL, SPEED_MPS, Drive, Job, all_work_job, arc_job, arc_length, straight_job
from put_down import MISSOURI, on_earth, operation
from pyproj import Transformer
from shapely.geometry import Point

from evenacre.coverage.audit import audit_operation
from evenacre.model import Application, Product

WIDTH = DRILL.width_m
RATE = 0.0168  # kg per m2, about 150 lb/ac
UREA = Product("urea", {"N": 46.0}, price_per_kg=0.62)
LENGTH = 240.0


def with_rate(job: Job, rate: float = RATE, target: float | None = RATE) -> Job:
    return replace(
        job,
        drives=tuple(d.with_rate("urea", rate) for d in job.drives),
        applications=(Application(UREA, target),),
    )


def test_a_rate_times_the_area_swept() -> None:
    gaps = (0.0, -0.3, 0.5, -0.1)
    product = audit_operation(operation(with_rate(straight_job(LENGTH, gaps)))).products[0]
    logged = RATE * 5 * WIDTH * LENGTH
    assert product.source == "rate"
    assert product.logged_kg == pytest.approx(logged, rel=1e-4)
    assert product.applied_in_field_kg == pytest.approx(logged, rel=1e-4)
    assert product.overlap_kg == pytest.approx(RATE * 0.4 * LENGTH, rel=1e-3)
    assert product.overlap_cost == pytest.approx(0.62 * RATE * 0.4 * LENGTH, rel=1e-3)
    assert product.nutrients_kg["N"] == pytest.approx(0.46 * logged, rel=1e-4)
    field = (5 * WIDTH + sum(gaps)) * LENGTH
    assert product.target_kg == pytest.approx(RATE * field, rel=1e-4)
    mean = logged / ((5 * WIDTH - 0.4) * LENGTH)
    assert product.mean_rate_kg_per_m2 == pytest.approx(mean, rel=1e-3)


def test_a_setback_tells_what_was_placed_within_its_distance() -> None:
    well = on_earth(Point(LENGTH / 2, 2 * WIDTH), MISSOURI, 0.3, (0.0, 0.0))
    table = gpd.GeoDataFrame(
        {"name": ["House well"], "distance_m": [10.0]}, geometry=[well], crs="EPSG:4326"
    )
    given = operation(with_rate(straight_job(LENGTH, (0.0, 0.0, 0.0))), turn=0.3)
    result = audit_operation(replace(given, field=replace(given.field, setbacks=table)))
    area = math.pi * 10.0**2
    (found,) = result.products[0].setbacks
    assert found.name == "House well"
    assert found.area_m2 == pytest.approx(area, rel=1e-3)
    assert found.applied_kg == pytest.approx(RATE * area, rel=1e-3)
    layer = result.layers["setbacks"]
    assert layer["distance_m"].tolist() == [10.0]
    assert layer["area_m2"].tolist() == pytest.approx([area], rel=1e-4)


def test_the_target_stands_in_where_no_rate_is_logged() -> None:
    job = replace(straight_job(LENGTH, (0.0, -0.3)), applications=(Application(UREA, RATE),))
    product = audit_operation(operation(job)).products[0]
    assert product.source == "target"
    assert product.logged_kg == pytest.approx(RATE * 3 * WIDTH * LENGTH, rel=1e-4)
    assert product.within_10_percent_of_target_area_m2 is None


def test_a_flow_times_the_time_worked() -> None:
    flow = 0.31
    job = straight_job(LENGTH, (0.0, 0.2, 0.0))
    job = replace(
        job,
        drives=tuple(d.with_flow("urea", flow) for d in job.drives),
        applications=(Application(UREA),),
    )
    product = audit_operation(operation(job)).products[0]
    assert product.source == "flow"
    assert product.logged_kg == pytest.approx(flow * 4 * LENGTH / SPEED_MPS, rel=1e-6)
    mean = flow / (SPEED_MPS * WIDTH)
    assert product.mean_rate_kg_per_m2 == pytest.approx(mean, rel=1e-4)


@pytest.mark.parametrize("separate", [True, False])
def test_a_flow_counts_for_the_time_of_each_run_alone(separate: bool) -> None:
    # Three passes in work from first record to last, ten minutes apart.
    flow = 0.31
    job = all_work_job(LENGTH, (0.0, 0.0))
    job = replace(
        job,
        drives=tuple(d.with_flow("urea", flow) for d in job.drives),
        applications=(Application(UREA),),
    )
    product = audit_operation(operation(job, separate=separate)).products[0]
    assert product.logged_kg == pytest.approx(flow * 3 * LENGTH / SPEED_MPS, rel=1e-6)
    assert product.unplaced_kg == pytest.approx(0.0, abs=1e-6)


def test_what_flows_while_the_tool_is_lifted_is_placed_nowhere() -> None:
    flow = 0.31
    job = straight_job(LENGTH, ())
    drive = job.drives[0]
    job = replace(
        job,
        drives=(replace(drive, flows={"urea": np.full(len(drive.time_s), flow)}),),
        applications=(Application(UREA),),
    )
    product = audit_operation(operation(job)).products[0]
    lifted_s = np.ptp(drive.time_s) - LENGTH / SPEED_MPS
    assert product.logged_kg == pytest.approx(flow * LENGTH / SPEED_MPS, rel=1e-6)
    assert product.unplaced_kg == pytest.approx(flow * lifted_s, rel=1e-6)


def test_nothing_is_placed_where_the_log_is_cut() -> None:
    job = with_rate(straight_job(LENGTH, ()))
    drive = job.drives[0]
    kept = (drive.x_m < 90.0) | (drive.x_m > 150.0)
    names = ("time_s", "x_m", "y_m", "heading_rad", "working")
    cut = Drive(
        *(getattr(drive, name)[kept] for name in names),
        rates={"urea": drive.rates["urea"][kept]},
    )
    product = audit_operation(operation(replace(job, drives=(cut,)))).products[0]
    silent = np.diff(cut.x_m).max()
    assert silent > 60.0
    assert product.logged_kg == pytest.approx(RATE * WIDTH * (LENGTH - silent), rel=1e-4)


def test_zones_share_the_product_by_the_ground_they_hold() -> None:
    # Zone edges cut the swaths lengthwise and across; the east fifth has no zone.
    job = with_rate(straight_job(LENGTH, (0.0, 0.0)))
    top = 3 * WIDTH
    zones = {
        "south west": shapely.box(0, 0, 0.3 * LENGTH, 0.45 * top),
        "north west": shapely.box(0, 0.45 * top, 0.3 * LENGTH, top),
        "middle": shapely.box(0.3 * LENGTH, -5, 0.8 * LENGTH, top + 5),
    }
    product = audit_operation(operation(replace(job, zones=zones), turn=0.6)).products[0]
    applied = {z.zone: z.applied_kg for z in product.zones}
    all_kg = RATE * top * LENGTH
    assert applied["south west"] == pytest.approx(0.3 * 0.45 * all_kg, rel=1e-4)
    assert applied["north west"] == pytest.approx(0.3 * 0.55 * all_kg, rel=1e-4)
    assert applied["middle"] == pytest.approx(0.5 * all_kg, rel=1e-4)
    assert product.unzoned_kg == pytest.approx(0.2 * all_kg, rel=1e-4)
    assert product.outside_kg == pytest.approx(0.0, abs=1e-6 * all_kg)


def test_product_beyond_the_boundary_and_in_a_waterway_is_outside() -> None:
    job = with_rate(straight_job(LENGTH, (0.0,)))
    top = 2 * WIDTH
    job = replace(
        job,
        boundary=shapely.box(0, 0, 0.9 * LENGTH, top),
        unworkable=shapely.box(50, -1, 60, top + 1),
    )
    result = audit_operation(operation(job))
    outside_m2 = (0.1 * LENGTH + 10.0) * top
    assert result.outside_area_m2 == pytest.approx(outside_m2, rel=1e-4)
    assert result.products[0].outside_kg == pytest.approx(RATE * outside_m2, rel=1e-4)


@pytest.mark.parametrize("product_lag_s", [0.0, 2.0])
def test_a_change_of_rate_lands_midway_and_late_by_the_delay(product_lag_s: float) -> None:
    job = straight_job(LENGTH, (), replace(DRILL, product_lag_s=product_lag_s))
    drive = job.drives[0]
    rate = np.where(drive.x_m < 96.0, RATE, 2 * RATE) * drive.working
    change = 96.0 + product_lag_s * SPEED_MPS
    job = replace(
        job,
        drives=(replace(drive, rates={"urea": rate}),),
        applications=(Application(UREA),),
        boundary=shapely.box(0, 0, LENGTH + 10, WIDTH),
        zones={
            "first": shapely.box(0, 0, change, WIDTH),
            "second": shapely.box(change, 0, LENGTH + 10, WIDTH),
        },
    )
    product = audit_operation(operation(job)).products[0]
    first, second = (z.applied_kg for z in product.zones)
    assert first == pytest.approx(RATE * WIDTH * 96.0, rel=1e-4)
    assert second == pytest.approx(2 * RATE * WIDTH * (LENGTH - 96.0), rel=1e-4)
    # The path ends 9.6 m past the last record in work, longer than the delay.
    all_kg = RATE * WIDTH * (96.0 + 2 * (LENGTH - 96.0))
    assert product.logged_kg == pytest.approx(all_kg, rel=1e-4)


def test_area_within_a_tenth_of_target_leaves_out_the_laps() -> None:
    gaps = (-0.6, 0.0, -1.2)
    job = with_rate(straight_job(LENGTH, gaps), rate=1.04 * RATE)
    result = audit_operation(operation(job))
    within = result.products[0].within_10_percent_of_target_area_m2
    assert within == pytest.approx(LENGTH * (4 * WIDTH - 2 * 1.8), rel=1e-3)
    off = audit_operation(operation(with_rate(straight_job(LENGTH, gaps), rate=1.2 * RATE)))
    assert off.products[0].within_10_percent_of_target_area_m2 == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("hand", [1, -1], ids=["left", "right"])
def test_each_row_of_a_curve_gets_the_same_product_on_its_own_length(hand: int) -> None:
    # The meter splits the flow evenly over the rows, so half of it falls inside the circle
    # of the tool line's centre, on less than half of the ground.
    radius = 10.0
    job = with_rate(arc_job(radius, 2.0, hand=hand))
    inner = Point(0, 0).buffer(radius, quad_segs=2000)
    job = replace(job, zones={"inner rows": inner, "outer rows": job.boundary - inner})
    product = audit_operation(operation(job, turn=0.3)).products[0]
    all_kg = RATE * WIDTH * arc_length(radius, 2.0)
    for zone in product.zones:
        assert zone.applied_kg == pytest.approx(all_kg / 2, rel=1e-3), zone.zone


@pytest.mark.parametrize("hand", [1, -1], ids=["left", "right"])
def test_the_rate_along_a_curve_is_inverse_to_the_radius_of_the_row(hand: int) -> None:
    radius = 10.0
    grid = audit_operation(operation(with_rate(arc_job(radius, 2.0, hand=hand)))).products[0].rate
    to_plane = Transformer.from_crs("EPSG:4326", grid.crs, always_xy=True)
    px, py = to_plane.transform(*MISSOURI)
    row, col = np.indices(grid.values.shape)
    x = grid.transform.c + grid.transform.a * (col + 0.5)
    y = grid.transform.f + grid.transform.e * (row + 0.5)
    r = np.hypot(x - px, y - py)
    turned = hand * np.arctan2(y - py, x - px)
    margin = grid.cell_m
    inside = (turned > margin / 6.0) & (turned < arc_length(radius, 2.0) / radius - margin / 6.0)
    inside &= (r > radius - WIDTH / 2 + margin) & (r < radius + WIDTH / 2 - margin)
    assert inside.sum() > 200
    ratio = grid.values[inside] * r[inside] / (RATE * radius)
    # A row's own rate holds over its spacing: half a row of 7 m radius is 1.4 %.
    assert np.abs(ratio - 1.0).max() < 0.02
    assert ratio.mean() == pytest.approx(1.0, abs=1e-3)
    near, far = r[inside] < radius - 2, r[inside] > radius + 2
    values = grid.values[inside]
    assert values[near].mean() / values[far].mean() == pytest.approx(
        (1 / r[inside][near]).mean() / (1 / r[inside][far]).mean(), rel=5e-3
    )


def test_applied_mass_does_not_depend_on_a_pivot_inside_the_tool_line() -> None:
    job = arc_job(1.5, math.pi / 2, 0.06, 0.5)
    product = audit_operation(operation(with_rate(job))).products[0]
    path = arc_length(1.5, math.pi / 2, 0.06)
    assert product.logged_kg == pytest.approx(RATE * WIDTH * path, rel=1e-3)
    assert product.applied_in_field_kg == pytest.approx(product.logged_kg, rel=1e-9)
