"""Nutrients of a season by field and zone, and needs met, short or over by area."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from affine import Affine
from jobs import DRILL, straight_job
from put_down import operation
from pyproj import CRS
from shapely.geometry import Point

from evenacre.coverage.audit import audit_operation
from evenacre.model import Application, Need, Product
from evenacre.model.audit_result import Grid
from evenacre.planning.season.needs import compare, inside, weighted_sum
from evenacre.planning.season.nutrients import (
    UNZONED,
    AuditedJob,
    content,
    nutrient_amounts,
    placements,
    season_amounts,
    setback_placements,
)

LB_AC = 0.45359237 / 4046.8564224  # kg per m2: NIST SP 811, appendix B.8
LENGTH, PASSES, WIDTH = 240.0, 6, DRILL.width_m
TOP = PASSES * WIDTH
FIELD_M2 = LENGTH * TOP
DAP = Product("18-46-0", {"N": 18.0, "P2O5": 46.0, "K2O": 0.0})
UREA = Product("46-0-0", {"N": 46.0})
SOUTH, NORTH = 2 * WIDTH, 2 * WIDTH  # the middle third lies in no zone
ZONES = {
    "south": shapely.box(0, 0, LENGTH, SOUTH),
    "north": shapely.box(0, TOP - NORTH, LENGTH, TOP),
}


def job(name, product, rates, *, gaps=(0.0,) * (PASSES - 1), method="", zones=ZONES):
    """Audit passes on one field, each at its own rate in lb/ac."""
    drawn = straight_job(LENGTH, gaps, zones=zones, applications=(Application(product),))
    drive = drawn.drives[0]
    row = np.clip((drive.y_m // WIDTH).astype(int), 0, PASSES - 1)
    drive = drive.with_rate(product.name, np.array(rates)[row] * LB_AC)
    # The field is the same for all: what a narrower job leaves is missed.
    drawn = replace(drawn, drives=(drive,), boundary=shapely.box(0, 0, LENGTH, TOP))
    plan = replace(operation(drawn), name=name, method=method)
    plan = replace(plan, field=replace(plan.field, name="Creek Forty"))
    return AuditedJob(plan, audit_operation(plan))


@pytest.fixture(scope="module")
def spring():
    """18-46-0 at 100 lb/ac everywhere, then urea at 100 in the south and 200 in the north."""
    return [
        job("Starter", DAP, [100] * 6, method="with the seed"),
        job("Top dress", UREA, [100, 100, 150, 150, 200, 200], method="broadcast"),
    ]


def found(rows, zone, nutrient):
    (row,) = [r for r in rows if (r.zone, r.nutrient) == (zone, nutrient)]
    return row


def test_label_and_element_of_the_same_mass():
    # A label '11-52-0' is percent by mass: 100 lb carries 11 lb N and 52 lb P2O5, and
    # P = 0.4364 P2O5, K = 0.8301 K2O (atomic masses, IUPAC).
    map_ = {"N": 11.0, "P2O5": 52.0, "K2O": 10.0}
    assert content(map_, "N") * 100 == pytest.approx(11.0)
    assert content(map_, "P2O5") * 100 == pytest.approx(52.0)
    assert content(map_, "P") * 100 == pytest.approx(0.4364 * 52.0, rel=1e-4)
    assert content(map_, "K") * 100 == pytest.approx(0.8301 * 10.0, rel=1e-4)
    assert content(map_, "S") == 0.0


def test_nutrients_of_two_operations_add_up_by_field_and_zone(spring):
    rows = nutrient_amounts(spring)
    # N is 18 lb/ac of the starter, and 46, 69 and 92 of urea on the three thirds.
    whole = found(rows, None, "N")
    assert whole.area_m2 == pytest.approx(FIELD_M2, rel=1e-6)
    assert whole.kg == pytest.approx((18 + 69) * LB_AC * FIELD_M2, rel=1e-6)
    for zone, rate in (("south", 64), ("north", 110), (UNZONED, 87)):
        row = found(rows, zone, "N")
        assert row.area_m2 == pytest.approx(FIELD_M2 / 3, rel=1e-6)
        assert row.kg == pytest.approx(rate * LB_AC * FIELD_M2 / 3, rel=1e-5)
    phosphate = found(rows, None, "P2O5")
    assert phosphate.kg == pytest.approx(46 * LB_AC * FIELD_M2, rel=1e-6)
    assert (phosphate.element, phosphate.element_kg / phosphate.kg) == (
        "P",
        pytest.approx(0.4364, rel=1e-4),
    )
    assert not [r for r in rows if r.nutrient == "K2O"]  # on the label at 0 %


def test_zones_and_the_rest_make_up_the_field(spring):
    rows = nutrient_amounts(spring)
    for nutrient in ("N", "P2O5"):
        parts = [r.kg for r in rows if r.nutrient == nutrient and r.zone is not None]
        assert math.fsum(parts) == pytest.approx(found(rows, None, nutrient).kg, rel=1e-12)


def test_the_season_is_the_sum_of_its_fields(spring):
    other = job("Starter", DAP, [50] * 6)
    elsewhere = AuditedJob(other.plan, replace(other.result, field="Home"))
    total = found(season_amounts([*spring, elsewhere]), None, "N")
    assert total.kg == pytest.approx((87 + 9) * LB_AC * FIELD_M2, rel=1e-6)
    assert total.area_m2 == pytest.approx(2 * FIELD_M2, rel=1e-6)


def test_a_line_for_every_product_of_every_operation(spring):
    first, second = placements(spring)
    assert (first.field, first.operation, first.product) == ("Creek Forty", "Starter", "18-46-0")
    assert (first.method, second.method) == ("with the seed", "broadcast")
    assert first.analysis == {"N": 18.0, "P2O5": 46.0, "K2O": 0.0}
    assert first.rate_kg_per_m2 == pytest.approx(100 * LB_AC, rel=1e-6)
    assert first.area_m2 == pytest.approx(FIELD_M2, rel=1e-6)
    assert first.total_kg == pytest.approx(100 * LB_AC * FIELD_M2, rel=1e-6)
    assert first.sources == ("log.csv",)


@pytest.mark.parametrize(
    ("zone", "rate", "shares", "verdict"),
    [
        # The season's N is 64, 87 and 110 lb/ac on thirds of the field.
        ("south", 64, (1, 0, 0), "met"),
        ("south", 70, (1, 0, 0), "met"),  # 64 is 8.6 % less
        ("south", 72, (0, 1, 0), "short"),  # 64 is 11.1 % less
        ("south", 59, (1, 0, 0), "met"),  # 64 is 8.5 % more
        ("south", 57, (0, 0, 1), "over"),  # 64 is 12.3 % more
        (None, 87, (1 / 3, 1 / 3, 1 / 3), "met"),
        (None, 120, (1 / 3, 2 / 3, 0), "short"),
        (None, 0, (0, 0, 1), "over"),
    ],
)
def test_a_need_is_met_short_or_over_by_area(spring, zone, rate, shares, verdict):
    ((balance,), findings) = compare(spring, [Need("Creek Forty", zone, "N", rate * LB_AC)])
    assert findings == []
    assert balance.judged_by == "cell"
    area = FIELD_M2 / 3 if zone else FIELD_M2
    assert balance.area_m2 == pytest.approx(area, rel=1e-6)
    areas = (balance.met_m2, balance.short_m2, balance.over_m2)
    # A row of cells along each border of a zone may fall to either side.
    cell = spring[0].result.products[0].rate.cell_m
    assert areas == pytest.approx([s * area for s in shares], abs=2 * cell * LENGTH)
    assert math.fsum(areas) == pytest.approx(balance.area_m2, rel=1e-9)
    assert balance.verdict == verdict
    assert balance.needed_kg == pytest.approx(rate * LB_AC * area, rel=1e-6)


@pytest.mark.parametrize(("second", "least"), [(DAP, 4 / 6), (UREA, 1.0)])
def test_how_much_ground_met_a_need_is_as_sure_as_the_meters(second, least):
    # A need is met from 90 % of it on. One meter is within 4.5 % at 90 %: passes at 93.7 % reach
    # 89.5 to 97.9. Of two that count half each, the mean is off by at most
    # 5 % (1 - sqrt(0.1)) = 3.4 %, the triangular distribution's: they reach 90.5 at least. Edges of
    # two jobs make some 2 % of the field more or less.
    rates = np.array([93.7, 93.7, 100, 100, 100, 100])
    jobs = [job("First", DAP, rates / 2 / 0.18), job("Second", second, rates / 2 / n_of(second))]
    ((found,), _) = compare(jobs, [Need("Creek Forty", None, "N", 100 * LB_AC)])
    met, short = found.interval_90["met_m2"], found.interval_90["short_m2"]
    assert met == pytest.approx((least * FIELD_M2, FIELD_M2), abs=0.03 * FIELD_M2)
    assert short == pytest.approx((0.0, (1 - least) * FIELD_M2), abs=0.03 * FIELD_M2)
    assert "met_m2" not in zone_need(jobs).interval_90  # edges of zones are not told


def n_of(product):
    return product.analysis["N"] / 100


def zone_need(jobs):
    ((balance,), _) = compare(jobs, [Need("Creek Forty", "south", "N", 100 * LB_AC)])
    return balance


def test_where_meters_cannot_tell_otherwise_bare_ground_is_short():
    laid = job("Even", DAP, [100] * PASSES, gaps=(0.5, -0.5, 0.0, 0.0, 0.0))
    ((found,), _) = compare([laid], [Need("Creek Forty", None, "N", 18 * LB_AC)])
    low, high = laid.result.interval_90["skip_area_m2"]
    logged = found.short_m2 - laid.result.skip_area_m2  # by cells, and exactly
    about = pytest.approx((low + logged, high + logged), abs=0.1 * (high - low))
    assert found.interval_90["short_m2"] == about
    assert "over_m2" not in found.interval_90  # laps narrower than a cell show in none


def test_an_elemental_need_is_held_against_the_element(spring):
    # 46 lb/ac of P2O5 are 20.07 lb/ac of P.
    needs = [Need("Creek Forty", None, "P", 20.07 * LB_AC)]
    ((balance,), _) = compare(spring, needs)
    assert balance.applied_kg == pytest.approx(20.07 * LB_AC * FIELD_M2, rel=1e-3)
    assert balance.met_m2 == pytest.approx(FIELD_M2, rel=1e-6)


def test_a_need_of_the_field_leaves_out_zones_with_their_own(spring):
    needs = [
        Need("Creek Forty", "south", "N", 64 * LB_AC),
        Need("Creek Forty", None, "N", 87 * LB_AC),
        Need("Creek Forty", "north", "S", 20 * LB_AC),
    ]
    ((south, rest, sulfur), _) = compare(spring, needs)
    assert (south.left_out, rest.left_out, sulfur.left_out) == ((), ("south",), ())
    assert south.met_m2 == pytest.approx(FIELD_M2 / 3, rel=1e-6)
    assert rest.area_m2 == pytest.approx(FIELD_M2 * 2 / 3, rel=1e-6)
    assert rest.applied_kg == pytest.approx((87 + 110) * LB_AC * FIELD_M2 / 3, rel=1e-5)
    assert rest.short_m2 == pytest.approx(0.0, abs=1.0)
    assert (sulfur.applied_kg, sulfur.short_m2) == (0.0, pytest.approx(FIELD_M2 / 3, rel=1e-6))


def test_missed_ground_is_short_and_doubled_ground_is_over():
    gaps = (0.0, 1.5, 0.0, -1.5, 0.0)
    once = job("Starter", DAP, [100] * 6, gaps=gaps)
    ((balance,), _) = compare([once], [Need("Creek Forty", None, "N", 18 * LB_AC)])
    cell = once.result.products[0].rate.cell_m
    assert balance.short_m2 == pytest.approx(1.5 * LENGTH, abs=2 * cell * LENGTH)
    assert balance.over_m2 == pytest.approx(1.5 * LENGTH, abs=2 * cell * LENGTH)
    assert balance.short_m2 == pytest.approx(once.result.skip_area_m2, abs=2 * cell * LENGTH)


def test_rasters_that_do_not_match_fall_back_on_zones(spring):
    first, second = spring
    p = second.result.products[0]
    cell, corner = p.rate.cell_m, p.rate.transform
    shifted = replace(p.rate, transform=Affine(cell, 0, corner.c + 0.37, 0, -cell, corner.f))
    moved = replace(second.result, products=(replace(p, rate=shifted),))
    ((balance,), _) = compare(
        [first, AuditedJob(second.plan, moved)], [Need("Creek Forty", None, "N", 64 * LB_AC)]
    )
    assert balance.judged_by == "zone"
    assert balance.met_m2 == pytest.approx(FIELD_M2 / 3, rel=1e-6)
    assert balance.over_m2 == pytest.approx(FIELD_M2 * 2 / 3, rel=1e-6)


def test_what_cannot_be_compared_is_said(spring):
    mystery = job("Mystery", Product("pellets"), [100] * 6)
    needs = [Need("Creek Forty", None, "N", 1e-3), Need("Home", None, "N", 1e-3)]
    balances, findings = compare([*spring, mystery], needs)
    assert len(balances) == 1
    told = {f.code: f.values for f in findings}
    assert told.keys() == {"analysis_unknown", "field_not_audited"}
    assert told["analysis_unknown"]["product"] == "pellets"
    assert told["field_not_audited"]["field"] == "Home"


def test_setbacks_are_listed_with_area_pounds_and_place():
    import geopandas as gpd
    from put_down import on_earth

    plan = job("Starter", DAP, [100] * 6).plan
    well = on_earth(Point(120.0, TOP / 2), (-92.6, 40.1), 0.0, (0.0, 0.0))
    wells = gpd.GeoDataFrame({"name": ["well"], "distance_m": [10.0]}, geometry=[well], crs=4326)
    near = replace(plan, field=replace(plan.field, setbacks=wells))
    (row,) = setback_placements([AuditedJob(near, audit_operation(near))])
    assert (row.setback, row.product, row.operation) == ("well", "18-46-0", "Starter")
    circle = math.pi * 10.0**2
    assert row.area_m2 == pytest.approx(circle, rel=1e-3)
    assert row.applied_kg == pytest.approx(circle * 100 * LB_AC, rel=1e-2)
    # A second of latitude is about 31 m: the place lies within the setback.
    assert abs(row.lat - well.y) < 10 / 111_000
    assert abs(row.lon - well.x) < 10 / 85_000


def grid(values, west=0.0, north=0.0, cell=1.0):
    crs = CRS.from_proj4("+proj=laea +lat_0=40 +lon_0=-92 +datum=WGS84 +units=m")
    return Grid(np.array(values, dtype=np.float32), Affine(cell, 0, west, 0, -cell, north), crs)


def test_rasters_of_one_lattice_add_up_where_they_lie():
    one = grid([[1.0, 2.0], [3.0, np.nan]])
    two = grid([[10.0, 20.0]], west=1.0, north=1.0)
    total = weighted_sum([two, one], [0.5, 1.0])
    assert (total.transform.c, total.transform.f) == (0.0, 1.0)
    np.testing.assert_allclose(total.values, [[0, 5, 10], [1, 2, 0], [3, 0, 0]])
    total = weighted_sum([one, two], [1.0, 0.5])
    assert (total.transform.c, total.transform.f) == (0.0, 1.0)
    np.testing.assert_allclose(total.values, [[0, 5, 10], [1, 2, 0], [3, 0, 0]])
    assert inside(total, shapely.box(0, -1, 2, 0)).tolist() == [
        [False, False, False],
        [True, True, False],
        [False, False, False],
    ]


@pytest.mark.parametrize("other", [{"cell": 0.5}, {"west": 0.25}])
def test_rasters_of_two_lattices_do_not_add_up(other):
    assert weighted_sum([grid([[1.0]]), grid([[1.0]], **other)], [1.0, 1.0]) is None
