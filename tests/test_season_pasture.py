"""Pasture keys of the season file: what they make, and every complaint they can draw."""

from __future__ import annotations

import datetime as dt
import re
import tomllib
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from evenacre.cli.main import app
from evenacre.errors import InputError
from evenacre.geo.local_crs import WorkingPlane
from evenacre.io.season.load import draft_season, load_season
from evenacre.io.season.validate import check_season
from evenacre.model import Booking, Grazing, Paddock, Seeding, Stay

LB_KG, ACRE_M2 = 0.45359237, 4046.8564224  # NIST SP 811
LB_AC = LB_KG / ACRE_M2
SIDE_M = 180.0
PLANE = WorkingPlane(-92.6, 40.1)

SEASON = """
farm = "Three Larks Farm"
time_zone = "America/Chicago"
[[product]]
name = "red clover"
purity = 85
germination = 75
bulk_density = "60 lb/bu"
[[implement]]
name = "drill"
width = "20 ft"
rows = 32
compartments = [ { name = "front", volume = "7 bu" }, { name = "rear", volume = "3 bu" } ]
[paddocks]
file = "pasture.gpkg"
[[paddock]]
name = "P2"
forage = "2000 lb/ac"
value = 2
[grazing]
start = 2026-08-04
rest = "35 days"
forage = "1800 lb/ac"
growth = "20 lb/ac/day"
[[herd]]
class = "dry cows"
head = 40
weight = "1200 lb"
intake = 2.6
[seeding]
product = "red clover"
implement = "drill"
rate = "10 lb/ac"
"""
MOVES = """
[[move]]
paddock = "P1"
enter = 2026-08-04
leave = 2026-08-09
[[move]]
paddock = "P3"
enter = 2026-08-09
leave = 2026-08-15
"""
HERD = re.search(r"\[\[herd\]\][^\[]*", SEASON)[0]


def square(x_m: float, y_m: float, side_m: float = SIDE_M) -> shapely.Polygon:
    ring = shapely.get_coordinates(shapely.box(x_m, y_m, x_m + side_m, y_m + side_m))
    return shapely.Polygon(np.column_stack(PLANE.lonlat(ring[:, 0], ring[:, 1])))


def write_map(folder, shapes, layer="paddocks", column="name", file="pasture.gpkg"):
    frame = gpd.GeoDataFrame({column: list(shapes)}, geometry=list(shapes.values()), crs=4326)
    frame.to_file(folder / file, layer=layer)


@pytest.fixture(scope="module")
def maps(tmp_path_factory):
    """A folder with three squares side by side."""
    folder = tmp_path_factory.mktemp("pasture")
    write_map(folder, {f"P{n + 1}": square(n * SIDE_M, 0.0) for n in range(3)})
    return folder


@pytest.fixture
def farm(tmp_path, maps):
    (tmp_path / "pasture.gpkg").write_bytes((maps / "pasture.gpkg").read_bytes())
    return tmp_path


def season(farm, text=SEASON, swap=None, more=""):
    for old, new in (swap or {}).items():
        assert old in text
        text = text.replace(old, new)
    path = farm / "season.toml"
    path.write_text(text + more)
    return path


def loaded(farm, text=SEASON, **changes):
    return load_season(season(farm, text, **changes), logs=False, must_hold="seeding")


def complaints(farm, text=SEASON, **changes) -> list[str]:
    with pytest.raises(InputError) as caught:
        loaded(farm, text, **changes)
    return [str(problem) for problem in caught.value.problems]


# What it makes


def test_paddocks_herd_and_seeding_without_any_operation(farm):
    read = loaded(farm)
    assert read.operations == ()
    assert read.warnings != ()  # of the load, below
    assert read.time_zone == "America/Chicago"
    grazing, seeding = read.grazing, read.seeding
    assert isinstance(grazing, Grazing)
    assert [p.field.name for p in grazing.paddocks] == ["P1", "P2", "P3"]
    first, second, _ = grazing.paddocks
    assert first.forage_kg_per_m2 == pytest.approx(1800 * LB_AC)
    assert second.forage_kg_per_m2 == pytest.approx(2000 * LB_AC)
    assert (first.value, second.value) == (1.0, 2.0)
    assert first.growth_kg_per_m2_per_day == pytest.approx(20 * LB_AC)
    assert first.field.boundary.equals(square(0.0, 0.0))
    assert grazing.start == dt.date(2026, 8, 4)
    assert (grazing.end, grazing.rest_days, grazing.moves) == (None, 35, ())
    (cows,) = grazing.herd
    assert (cows.name, cows.head) == ("dry cows", 40)
    # 40 head x 1,200 lb x 2.6 % = 1,248 lb a day
    assert cows.head * cows.intake_kg_per_day / LB_KG == pytest.approx(1248.0)
    assert seeding.product.name == "red clover"
    assert seeding.implement.width_m == pytest.approx(6.096)
    assert seeding.rate_kg_per_m2 == pytest.approx(10 * LB_AC)


def test_what_is_not_said_is_the_default_of_the_nouns(farm):
    read = loaded(farm, swap={'rest = "35 days"\n': "", 'growth = "20 lb/ac/day"\n': ""})
    assert read.grazing.rest_days == Grazing((), ()).rest_days
    asked = Paddock(read.grazing.paddocks[0].field, forage_kg_per_m2=pytest.approx(1800 * LB_AC))
    assert read.grazing.paddocks[0] == asked
    got = read.seeding
    rate = got.rate_kg_per_m2
    bare = Seeding(got.product, got.implement, rate, rate, rate, load_kg=got.load_kg)
    assert got == replace(bare, day_from_s=27000.0)


def test_every_key_of_seeding(farm):
    more = """
pls_rate = "6.375 lb/ac"
rate_min = "9 lb/ac"
rate_max = "14 kg/ha"
on_hand = "440 lb"
opens_after = "2 days"
closes_after = "3 weeks"
residual = "4 in"
regrowth_limit = "1400 lb/ac"
mass_per_height = "250 lb/ac/in"
first_day = 2026-08-15
last_day = "2026-09-20"
from = "7:30"
to = 18:00:00
hours = "9 h"
lost_days = [2026-08-19, 2026-08-18]
lost_chance = 25
booked = [
  { from = 2026-09-01, to = 2026-09-03, for = "wheat" },
  { from = 2026-09-08, hours = "4 h" },
]
speed = "5 mph"
turn_speed = "3 mph"
turn_radius = "20 ft"
setup = "15 min"
refill = "20 min"
load = "500 lb"
rest = "40 days"
withholding = "60 days"
treated = true
rounds = 3
prefer = "overlap"
runs = 500
random_seed = 7
"""
    read = loaded(farm, swap={'rate = "10 lb/ac"\n': ""}, more=more)
    got = read.seeding
    # 85 % x 75 % -> 0.64 PLS; 1 lb PLS needs 1.56 lb bulk: Texas DOT, Pure live seed. Unrounded
    # 6.375 lb of pure live seed is in 10 lb of bulk.
    assert got.rate_kg_per_m2 == pytest.approx(10 * LB_AC)
    assert got.least_rate_kg_per_m2 == pytest.approx(9 * LB_AC)
    assert got.most_rate_kg_per_m2 == pytest.approx(14e-4)
    assert got.on_hand_kg == pytest.approx(440 * LB_KG)
    assert (got.opens_after_days, got.closes_after_days) == (2, 21)
    assert got.residual_most_kg_per_m2 == pytest.approx(4 * 250 * LB_AC)
    assert got.regrowth_most_kg_per_m2 == pytest.approx(1400 * LB_AC)
    assert (got.first_day, got.last_day) == (dt.date(2026, 8, 15), dt.date(2026, 9, 20))
    assert (got.day_from_s, got.day_to_s, got.hours_most_s) == (27000.0, 64800.0, 32400.0)
    assert got.lost_days == (dt.date(2026, 8, 18), dt.date(2026, 8, 19))
    assert got.lost_chance == 0.25
    assert got.bookings == (
        Booking(dt.date(2026, 9, 1), dt.date(2026, 9, 3), "wheat"),
        Booking(dt.date(2026, 9, 8), dt.date(2026, 9, 8), "other work", 14400.0),
    )
    assert (got.speed_mps, got.turn_speed_mps) == pytest.approx((5 * 0.44704, 3 * 0.44704))
    assert got.turn_radius_m == pytest.approx(6.096)
    assert (got.setup_s, got.refill_s) == (900.0, 1200.0)
    assert got.load_kg == pytest.approx(500 * LB_KG)
    assert (got.rest_days, got.withholding_days, got.treated) == (40, 60, True)
    assert (got.rounds, got.prefer, got.runs, got.random_seed) == (3, "overlap", 500, 7)
    assert read.warnings == ()


def test_every_key_of_a_paddock_over_those_of_grazing(farm):
    write_map(farm, {"pond": square(10.0, 10.0, 30.0)}, file="pond.geojson", layer="pond")
    more = """
[[paddock]]
name = "P3"
forage = "2400 kg/ha"
growth = "0 kg/ha/day"
utilization = "60 %"
forage_most = "3000 lb/ac"
seed = false
window = [2026-08-20, "2026-09-05"]
[[paddock]]
name = "P1"
unworkable = "pond.geojson"
"""
    read = loaded(
        farm,
        swap={
            "[[herd]]": 'utilization = 45\norder = ["P3", "P1", "P2"]\nend = 2026-10-30\n[[herd]]'
        },
        more=more,
    )
    third, first, _ = read.grazing.paddocks  # in the order of grazing
    assert read.grazing.end == dt.date(2026, 10, 30)
    assert third == Paddock(
        field=third.field,
        forage_kg_per_m2=pytest.approx(0.24),
        growth_kg_per_m2_per_day=0.0,
        forage_most_kg_per_m2=pytest.approx(3000 * LB_AC),
        utilization=pytest.approx(0.6),
        seeded=False,
        window=(dt.date(2026, 8, 20), dt.date(2026, 9, 5)),
    )
    assert first.utilization == pytest.approx(0.45)
    assert PLANE.project(first.field.unworkable).area == pytest.approx(900.0)


def test_ground_that_a_paddock_may_be_crossed_on(farm):
    """It is not worked, beside what is unworkable otherwise."""
    write_map(farm, {"pond": square(10.0, 10.0, 30.0)}, file="pond.geojson", layer="pond")
    write_map(farm, {"way": square(60.0, 10.0, 20.0)}, file="way.geojson", layer="way")
    more = """
[[paddock]]
name = "P1"
unworkable = "pond.geojson"
cross = { file = "way.geojson" }
"""
    first = loaded(farm, more=more).grazing.paddocks[0]
    assert PLANE.project(first.field.unworkable).area == pytest.approx(1300.0)
    assert PLANE.project(first.field.crossed).area == pytest.approx(400.0)


def test_moves_decided_already(farm):
    text = SEASON.replace("start = 2026-08-04\n", "").replace(HERD, "")
    text = text.replace('forage = "1800 lb/ac"\n', "")
    later_first = MOVES.split("[[move]]")
    read = loaded(farm, text, more="[[move]]".join(["", *reversed(later_first[1:])]))
    assert read.grazing.herd == ()
    assert read.grazing.moves == (
        Stay("P1", dt.date(2026, 8, 4), dt.date(2026, 8, 9)),
        Stay("P3", dt.date(2026, 8, 9), dt.date(2026, 8, 15)),
    )
    assert read.grazing.start is None
    assert [p.field.name for p in read.grazing.paddocks] == ["P1", "P3", "P2"]


def test_one_day_may_see_the_herd_out_and_in(farm):
    """Leaving one paddock and entering the next on the same morning is no overlap."""
    text = SEASON.replace("start = 2026-08-04\n", "")
    assert len(loaded(farm, text, more=MOVES).grazing.moves) == 2
    (said,) = complaints(farm, text, more=MOVES.replace("enter = 2026-08-09", "enter = 2026-08-08"))
    assert said.startswith("season.toml, move 2, enter:")
    assert '"P3" on 2026-08-08, but leaves "P1" only on 2026-08-09' in said


def test_a_stay_within_a_longer_one_is_found(farm):
    text = SEASON.replace("start = 2026-08-04\n", "")
    more = """
[[move]]
paddock = "P1"
enter = 2026-08-01
leave = 2026-08-30
[[move]]
paddock = "P2"
enter = 2026-08-02
leave = 2026-08-04
[[move]]
paddock = "P3"
enter = 2026-08-10
leave = 2026-08-12
"""
    said = complaints(farm, text, more=more)
    assert len(said) == 2
    assert all('leaves "P1" only on 2026-08-30' in text for text in said)


@pytest.mark.parametrize(
    ("intake", "lb"),
    [
        ("3", 31.5),  # 1,050 lb x 0.03 = 31.5 lb a day: NCAT ATTRA, Grazier's Math
        ('"3 %"', 31.5),
        ('"31.5 lb"', 31.5),
        ('"31.5 lb/day"', 31.5),
        ('"14.28816 kg"', 31.5),
    ],
)
def test_intake_by_weight_or_by_mass(farm, intake, lb):
    swap = {"intake = 2.6": f"intake = {intake}", "1200 lb": "1050 lb"}
    (cows,) = loaded(farm, swap=swap).grazing.herd
    assert cows.intake_kg_per_day / LB_KG == pytest.approx(lb, rel=1e-6)


@pytest.mark.parametrize(
    ("written", "seconds"),
    [
        ('"07:30"', 27000.0),
        ('"7:30 am"', 27000.0),
        ("07:30:00", 27000.0),
        ('"sunrise"', None),
        ('"12:15 AM"', 900.0),
        ('"12:15 pm"', 44100.0),
    ],
)
def test_clock_times(farm, written, seconds):
    assert loaded(farm, more=f"from = {written}\n").seeding.day_from_s == seconds


def test_growth_and_height_by_their_definitions(farm):
    """1 lb/ac is 1.12085 kg/ha (NIST SP 811); 100 kg/ha on each cm makes 1,000 on 10 cm."""
    one = loaded(farm, swap={"20 lb/ac/day": "10 lb/ac/day"}).grazing.paddocks[0]
    other = loaded(farm, swap={"20 lb/ac/day": "11.2085 kg/ha/d"}).grazing.paddocks[0]
    assert other.growth_kg_per_m2_per_day == pytest.approx(one.growth_kg_per_m2_per_day, rel=1e-5)
    more = 'residual = "10 cm"\nmass_per_height = "100 kg/ha/cm"\n'
    assert loaded(farm, more=more).seeding.residual_most_kg_per_m2 == pytest.approx(0.1)


# Seed: what a product's own table says


def test_the_products_own_range_and_stock_hold_where_seeding_says_nothing(farm):
    own = 'rate_min = "8 lb/ac"\nrate_max = "12 lb/ac"\nbought = "400 lb"\n[[implement]]'
    got = loaded(farm, swap={"[[implement]]": own}).seeding
    assert got.least_rate_kg_per_m2 == pytest.approx(8 * LB_AC)
    assert got.most_rate_kg_per_m2 == pytest.approx(12 * LB_AC)
    assert got.on_hand_kg == pytest.approx(400 * LB_KG)
    over = loaded(
        farm, swap={"[[implement]]": own}, more='rate_max = "11 lb/ac"\non_hand = "90 lb"\n'
    ).seeding
    assert over.least_rate_kg_per_m2 == pytest.approx(8 * LB_AC)
    assert over.most_rate_kg_per_m2 == pytest.approx(11 * LB_AC)
    assert over.on_hand_kg == pytest.approx(90 * LB_KG)


def test_a_load_is_what_the_compartments_hold(farm):
    read = loaded(farm)
    assert read.seeding.load_kg == pytest.approx(10 * 60 * LB_KG)  # 10 bu at 60 lb/bu
    (warning,) = read.warnings
    assert "A load was taken to be 600 lb" in warning
    for gone in ('bulk_density = "60 lb/bu"\n', re.search("compartments.*\n", SEASON)[0]):
        read = loaded(farm, swap={gone: ""})
        assert read.seeding.load_kg is None
        (warning,) = read.warnings
        assert "no refills are planned" in warning


def test_a_blend_takes_the_tags_and_the_volume_of_its_parts(farm):
    more = """
[[product]]
name = "orchardgrass"
purity = 90
germination = 90
bulk_density = "14 lb/bu"
[[product]]
name = "mix"
parts = { "red clover" = 3, orchardgrass = 2 }
"""
    swap = {
        'product = "red clover"': 'product = "mix"',
        'rate = "10 lb/ac"': 'pls_rate = "1 lb/ac"',
    }
    got = loaded(farm, swap=swap, more=more).seeding
    live = 0.6 * 0.85 * 0.75 + 0.4 * 0.90 * 0.90
    assert got.rate_kg_per_m2 == pytest.approx(LB_AC / live)
    # 3 lb of clover fill 1/20 bu, 2 lb of orchardgrass 1/7 bu: 5 lb in 27/140 bu.
    assert got.load_kg == pytest.approx(10 * 5 * 140 / 27 * LB_KG)


# Where a paddock's ground is from


def test_a_field_of_the_same_name_is_the_paddock(farm):
    write_map(farm, {"pond": square(400.0, 10.0, 30.0)}, file="pond.geojson", layer="pond")
    field = """
[[field]]
name = "P3"
boundary = { file = "pasture.gpkg", where = { name = "P3" } }
unworkable = "pond.geojson"
[[field]]
name = "Home"
boundary = { file = "home.geojson" }
[[paddock]]
name = "Home"
"""
    write_map(farm, {"x": square(0.0, 500.0)}, file="home.geojson", layer="home")
    read = loaded(farm, more=field)
    third, home = read.grazing.paddocks[2:]
    assert PLANE.project(third.field.unworkable).area == pytest.approx(900.0)
    assert home.field.name == "Home"
    assert home.field.boundary.equals(square(0.0, 500.0))


def test_a_field_that_differs_from_the_map_is_used_and_told(farm):
    field = '[[field]]\nname = "P3"\nboundary = "small.geojson"\n'
    write_map(farm, {"x": square(360.0, 0.0, 170.0)}, file="small.geojson", layer="small")
    read = loaded(farm, more=field)
    assert PLANE.project(read.grazing.paddocks[2].field.boundary).area == pytest.approx(170.0**2)
    assert any("P3: the field and the paddock of this name differ" in w for w in read.warnings)


def test_only_tables_of_their_own(farm):
    tables = (
        '[[paddock]]\nname = "A"\nboundary = { file = "pasture.gpkg", where = { name = "P1" } }\n'
    )
    text = re.sub(r"\[paddocks\][^\[]*\[\[paddock\]\][^\[]*", tables, SEASON)
    (only,) = loaded(farm, text).grazing.paddocks
    assert only.field.name == "A"
    assert only.field.boundary.equals(square(0.0, 0.0))


def test_names_from_another_column_and_paddocks_without_one(farm):
    write_map(farm, {"N": square(0.0, 0.0), "": square(SIDE_M, 0.0)}, column="lot", file="b.gpkg")
    text = SEASON.replace('[[paddock]]\nname = "P2"', '[[paddock]]\nname = "N"')
    read = loaded(
        farm, text, swap={'file = "pasture.gpkg"': 'file = "b.gpkg"\nname_column = "lot"'}
    )
    assert [p.field.name for p in read.grazing.paddocks] == ["N", "paddock 2"]
    assert any("1 paddocks have no name; they were numbered" in w for w in read.warnings)


def test_overlap_is_refused_and_a_sliver_along_the_fence_is_told(farm):
    shapes = {"P1": square(0.0, 0.0), "P2": square(SIDE_M - 1.0, 0.0)}
    write_map(farm, shapes)
    read = loaded(farm)
    (warning,) = [w for w in read.warnings if "overlap" in w]
    # 1 m x 180 m = 1,937.5 sq ft = 0.0445 ac
    assert '"P1" and "P2" overlap by 0.04 ac' in warning
    shapes["P2"] = square(SIDE_M - 60.0, 0.0)
    write_map(farm, shapes)
    (said,) = complaints(farm)
    # 60 m x 180 m = 1.08 ha = 2.669 ac
    assert said.startswith('season.toml, paddock "P2": "P1" and "P2" overlap by 2.67 ac (1.08 ha).')
    shapes["P2"] = square(SIDE_M - 0.005, 0.0)  # 5 mm is how finely outlines are drawn
    write_map(farm, shapes)
    assert not any("overlap" in w for w in loaded(farm).warnings)


def test_paddocks_across_the_antimeridian_do_not_overlap(farm):
    far = WorkingPlane(179.9999, -17.0)
    half = np.array([[-180.0, -90.0], [0.0, -90.0], [0.0, 90.0], [-180.0, 90.0]])
    for name, shift in (("west", 0.0), ("east", 180.0)):
        lon, lat = far.lonlat(half[:, 0] + shift, half[:, 1])
        write_map(farm, {name: shapely.Polygon(np.column_stack((lon, lat)))}, file=f"{name}.gpkg")
    tables = "".join(
        f'[[paddock]]\nname = "{n}"\nboundary = "{n}.gpkg"\n' for n in ("west", "east")
    )
    text = re.sub(r"\[paddocks\][^\[]*\[\[paddock\]\][^\[]*", tables, SEASON)
    assert len(loaded(farm, text).grazing.paddocks) == 2


# What is complained of

SHORT = {
    "zero head": ("head = 40", "head = 0", 'herd "dry cows", head', "at least 1"),
    "part head": ("head = 40", "head = 39.5", 'herd "dry cows", head', "whole number"),
    "zero weight": ('"1200 lb"', '"0 lb"', 'herd "dry cows", weight', "0.5 to 5,000 kg"),
    "bare weight": ('"1200 lb"', "1200", 'herd "dry cows", weight', "has no unit"),
    "zero intake": ("intake = 2.6", "intake = 0", 'herd "dry cows", intake', "makes no sense"),
    "zero lb": ("intake = 2.6", 'intake = "0 lb"', 'herd "dry cows", intake', "makes no sense"),
    "intake in ft": ("intake = 2.6", 'intake = "3 ft"', "intake", "is a length, not a mass"),
    "intake": ("intake = 2.6", "intake = 26", "intake", "26 % of live weight makes no sense"),
    "no intake": ("intake = 2.6\n", "", 'herd "dry cows", intake', "Add intake = 2.6"),
    "two herds": (HERD, HERD + HERD, 'herd "dry cows", class', "defined twice"),
    "no herd": (HERD, "", "herd", "There is no herd, so its moves cannot be computed"),
    "no start": ("start = 2026-08-04\n", "", "grazing, start", "is missing"),
    "end": ("start = 2026-08-04", "start = 2026-08-04\nend = 2026-08-04", "grazing, end", "starts"),
    "forage": ('forage = "1800 lb/ac"\n', "", "grazing, forage", 'stands on "P1", "P3" is missing'),
    "forage unit": ('"1800 lb/ac"', '"1800 lb"', "grazing, forage", "is a mass, not a mass per"),
    "growth unit": ('"20 lb/ac/day"', '"20 lb/ac"', "grazing, growth", "not a growth"),
    "growth less": ('"20 lb/ac/day"', '"-2 lb/ac/day"', "grazing, growth", "makes no sense"),
    "percent": ("start =", "utilization = 150\nstart =", "utilization", "150 is not between"),
    "percent text": ("start =", 'utilization = "half"\nstart =', "utilization", "not a percentage"),
    "rest": ('"35 days"', '"35"', "grazing, rest", "has no unit"),
    "rest number": ('"35 days"', "35", "grazing, rest", 'in quotes: "35 days"'),
    "rest hours": ('"35 days"', '"36 h"', "grazing, rest", "not a whole number of days"),
    "rest unit": ('"35 days"', '"35 lb"', "grazing, rest", "is a mass, not a time"),
    "order": ("start =", 'order = ["P1", "P9", "P2", "P3"]\nstart =', "grazing, order 2", '"P9"'),
    "order twice": ("start =", 'order = ["P1", "P1"]\nstart =', "grazing, order 2", "listed twice"),
    "order none": ("start =", "order = []\nstart =", "grazing, order", "The list is empty"),
    "unknown": ('name = "P2"', 'name = "P22"', 'paddock "P22", name', 'Did you mean "P2"?'),
    "value": ("value = 2", "value = 0", 'paddock "P2", value', "more than 0"),
    "seed": ("value = 2", 'seed = "no"', 'paddock "P2", seed', "neither true nor false"),
    "key": ("value = 2", "vallue = 2", 'paddock "P2", vallue', 'Did you mean "value"?'),
    "window": ("value = 2", "window = [2026-09-01, 2026-08-20]", "window", "before it begins"),
    "one date": ("value = 2", "window = [2026-09-01]", 'paddock "P2", window', "is two dates"),
    "no date": ("value = 2", 'window = [2026-09-01, "late"]', "window", '"late" is not a date'),
    "file": ("pasture.gpkg", "pastures.gpkg", "paddocks", 'Did you mean "pasture.gpkg"?'),
    "single": ("[grazing]", "[[grazing]]", "grazing", "Write [grazing]"),
    "list": ("[[herd]]", "[herd]", "herd", "Write [[herd]]"),
    "no drill": ('implement = "drill"', "", "seeding, implement", 'Add implement = "drill"'),
    "other drill": ('implement = "drill"', 'implement = "dril"', "implement", 'mean "drill"'),
    "no product": ('product = "red clover"\n', "", "product", 'Add product = "red clover"'),
    "product": ('product = "red clover"', 'product = "rye"', "product", 'no product "rye"'),
    "no rate": ('rate = "10 lb/ac"\n', "", "seeding, rate", "has no rate"),
    "empty rate": ('rate = "10 lb/ac"', 'rate = ""', "seeding, rate", "is empty"),
    "zero rate": ('rate = "10 lb/ac"', 'rate = "0 lb/ac"', "seeding, rate", "above 0"),
}  # fmt: skip


@pytest.mark.parametrize("case", SHORT)
def test_one_complaint_each(farm, case):
    old, new, place, words = SHORT[case]
    (said,) = complaints(farm, swap={old: new})
    assert said.startswith("season.toml, ")
    assert place in said.split(": ")[0]
    assert words in said


@pytest.mark.parametrize(
    ("line", "place", "words"),
    [
        ('pls_rate = "6 lb/ac"', "pls_rate", "both given"),
        ('rate_min = "12 lb/ac"', "rate", "under rate_min"),
        ('rate_max = "8 lb/ac"', "rate", "over rate_max"),
        ('rate_min = "12 lb/ac"\nrate_max = "8 lb/ac"', "rate_min", "higher than rate_max"),
        ('on_hand = "-5 lb"', "on_hand", "makes no sense"),
        ("first_day = 2026-09-20\nlast_day = 2026-08-15", "last_day", "begins only on 2026-09-20"),
        ('from = "18:00"\nto = "7:00"', "to", "ends before it begins"),
        ('from = "noon"', "from", '"noon" is not a clock time'),
        ('to = "25:00"', "to", "is not a clock time"),
        ('to = "13:00 pm"', "to", "is not a clock time"),
        ('hours = "25 h"', "hours", "at most 24 hours"),
        ("hours = 10", "hours", 'Write hours of a day: "8 h"'),
        ("lost_chance = 101", "lost_chance", "not between 0 and 100"),
        ('lost_spell = "3 days"', "lost_spell", "Add lost_chance"),
        ('lost_chance = 25\nlost_spell = "6 h"', "lost_spell", "from 1 to 366"),
        ('lost_chance = 25\nlost_spell = "2 years"', "lost_spell", "from 1 to 366"),
        ('lost_chance = 90\nlost_spell = "4 days"', "lost_spell", "9.0 in a row"),
        ('rain_that_stops = "0.2 in"', "rain_that_stops", 'Add rain = "rain.csv"'),
        ('dry_after = "1 day"', "dry_after", 'Add rain = "rain.csv"'),
        ('rain = "rain.csv"', "rain_that_stops", 'rain_that_stops = "0.2 in"'),
        ('rain = "none.csv"\nrain_that_stops = "5 mm"', "rain", 'no file "none.csv"'),
        ('rain = "rain.csv"\nrain_that_stops = "3 m"', "rain_that_stops", "falls in a day"),
        ('to = "07:00"', "to", "ends before it begins"),
        ('lost_chance = "-1 %"', "lost_chance", "not between 0 and 100"),
        ('lost_days = ["Tuesday"]', "lost_days 1", '"Tuesday" is not a date'),
        ("booked = [ { from = 2026-09-03, to = 2026-09-01 } ]", "booked 1, to", "begins only on"),
        ('booked = [ { for = "wheat" } ]', "booked 1, from", "Add from = 2026-09-01"),
        ('booked = [ { from = 2026-09-03, hours = "30 h" } ]', "booked 1, hours", "24 hours"),
        ("booked = [ { from = 2026-09-03, till = 2026-09-04 } ]", "booked 1, till", "known here"),
        ('opens_after = "20 days"', "closes_after", "before it opens after 20"),
        ('opens_after = "1 day"\ncloses_after = "0 days"', "closes_after", "closes after 0 days"),
        ('residual = "4 in"', "residual", "Add mass_per_height"),
        ('regrowth_limit = "4 gal"', "regrowth_limit", 'or a height, such as "4 in"'),
        ('residual = "4 in"\nmass_per_height = "60 lb/bu"', "mass_per_height", "makes no sense"),
        ('speed = "0 mph"', "speed", "between 0.1 and 100"),
        ('load = "0 lb"', "load", "makes no sense"),
        ("rounds = -1", "rounds", "at least 0"),
        ('prefer = "speed"', "prefer", "'turns' or 'overlap'"),
        ("runs = 0", "runs", "at least 1"),
        ('treated = "yes"', "treated", "neither true nor false"),
        ('form = "7:00"', "form", 'Did you mean "from"?'),
    ],
)
def test_one_complaint_of_seeding(farm, line, place, words):
    (said,) = complaints(farm, more=line + "\n")
    assert said.startswith(f"season.toml, seeding, {place}: ")
    assert words in said


def test_past_rain_stands_for_the_chance_of_a_lost_day(farm):
    (farm / "rain.csv").write_text("date,rain (in)\n2024-08-01,0\n2024-08-02,0.4\n")
    more = 'rain = "rain.csv"\nrain_that_stops = "0.2 in"\n'
    read = loaded(farm, more=more)
    past = read.seeding.past_weather
    assert (past.first, past.dry_after_days, past.allowance_told) == (dt.date(2024, 8, 1), 1, False)
    assert past.rain_m == pytest.approx([0, 0.4 * 0.0254])
    assert past.stops_m == pytest.approx(0.2 * 0.0254)
    assert "rain.csv" in [one.path for one in read.inputs]
    told = loaded(farm, more=f'{more}dry_after = "0 days"\nlost_chance = 30\n').seeding
    assert (told.lost_chance, told.past_weather.dry_after_days) == (0.3, 0)
    assert told.past_weather.allowance_told
    (said,) = complaints(farm, more=f'{more}lost_spell = "3 days"\n')
    assert said.startswith("season.toml, seeding, lost_spell: ")
    (farm / "rain.csv").write_text("date,rain\n2024-08-01,0\n")
    (said,) = complaints(farm, more=more)
    assert said.startswith('rain.csv, column "rain": ')


def test_spells_beside_the_chance(farm):
    read = loaded(farm, more='lost_chance = 25\nlost_spell = "2.5 days"\n')
    assert read.seeding.lost_spell_days == pytest.approx(2.5)
    assert not [text for text in read.warnings if "pells" in text]
    for chance, spell in ((50, 1.5), (0, 3), (100, 3)):
        more = f'lost_chance = {chance}\nlost_spell = "{spell} days"\n'
        assert any("spell" in text.lower() for text in loaded(farm, more=more).warnings)


def test_a_product_that_is_not_seed(farm):
    more = '[[product]]\nname = "18-46-0"\n'
    (said,) = complaints(farm, swap={'product = "red clover"': 'product = "18-46-0"'}, more=more)
    assert said.startswith("season.toml, seeding, product:")
    assert '"18-46-0" is not seed' in said


def test_a_rate_of_pure_live_seed_needs_a_tag(farm):
    swap = {
        "purity = 85\ngermination = 75": 'kind = "seed"',
        'rate = "10 lb/ac"': 'pls_rate = "6 lb/ac"',
    }
    (said,) = complaints(farm, swap=swap)
    assert "The tag of red clover is not given" in said


@pytest.mark.parametrize(
    ("old", "new", "place", "words"),
    [
        ("leave = 2026-08-09", "leave = 2026-08-04", "move 1, leave", "enters only on 2026-08-04"),
        ("leave = 2026-08-09", "leave = 2026-08-01", "move 1, leave", "one day at least"),
        ("leave = 2026-08-09\n", "", "move 1, leave", "Add leave = 2026-08-15"),
        ('paddock = "P3"', 'paddock = "P33"', "move 2, paddock", 'Did you mean "P3"?'),
        ("[[move]]", "", "move", "move"),
    ],
)
def test_complaints_of_moves(farm, old, new, place, words):
    text = SEASON.replace("start = 2026-08-04\n", "")
    more = MOVES.replace(old, new)
    if not new and old == "[[move]]":
        more = MOVES.replace("[[move]]\npaddock", "[move]\npaddock", 1).split("[[move]]")[0]
    (said,) = complaints(farm, text, more=more)
    assert said.startswith(f"season.toml, {place}: ")
    assert words in said


def test_moves_that_are_decided_leave_nothing_to_compute(farm):
    (said,) = complaints(farm, swap={"start =": "end = 2026-10-30\nstart ="}, more=MOVES)
    assert said.startswith("season.toml, grazing, start: ")
    assert "start and end cannot be kept" in said


def test_neither_moves_nor_what_to_compute_them_from(farm):
    (said,) = complaints(farm, swap={HERD: "", "start = 2026-08-04\n": ""})
    assert said.startswith("season.toml, grazing: Nothing")


def test_two_features_of_one_name(farm):
    frame = gpd.GeoDataFrame(
        {"name": ["P1", "P2", "P1"]}, geometry=[square(n * 200.0, 0.0) for n in range(3)], crs=4326
    )
    frame.to_file(farm / "pasture.gpkg", layer="paddocks")
    (said,) = complaints(farm)
    assert said.startswith('season.toml, paddocks: Features 1 and 3 are both called "P1".')


def test_paddocks_without_ground(farm):
    text = re.sub(r"\[paddocks\][^\[]*", "", SEASON)
    (said,) = complaints(farm, text)
    assert said.startswith('season.toml, paddock "P2", boundary: Its boundary is not given')
    text = re.sub(r"\[\[paddock\]\][^\[]*", "", text)
    (said,) = complaints(farm, text)
    assert said.startswith("season.toml, paddock: There is no paddock.")


def test_a_time_zone_that_there_is_not(farm):
    (said,) = complaints(farm, swap={"America/Chicago": "America/Chicgo"})
    assert said.startswith('season.toml, time_zone: "America/Chicgo" is not a time zone.')
    assert 'Did you mean "America/Chicago"?' in said


def test_one_paddock_twice_and_none_to_seed(farm):
    (said,) = complaints(farm, more='[[paddock]]\nname = "P2"\n')
    assert said.startswith('season.toml, paddock "P2", name: "P2" is defined twice.')
    more = "".join(f'[[paddock]]\nname = "P{n}"\nseed = false\n' for n in (1, 3))
    (said,) = complaints(farm, swap={"value = 2": "seed = false"}, more=more)
    assert said.startswith("season.toml, seeding: No paddock is to be seeded.")


def test_a_map_that_cannot_be_read_draws_one_complaint(farm):
    """Names that only the map could tell are not called unknown as well."""
    (farm / "pasture.gpkg").write_text("not a map")
    swap = {"start =": 'order = ["P1", "P2", "P3"]\nstart ='}
    (said,) = complaints(farm, swap=swap)
    assert "pasture.gpkg: It could not be read as a map file." in said


def test_all_at_once(farm):
    said = complaints(
        farm,
        swap={
            "head = 40": "head = 0",
            "intake = 2.6": "intake = 0",
            "start = 2026-08-04": "start = 2026-08-04\nend = 2026-08-01",
            'implement = "drill"': 'implement = "dril"',
            'rate = "10 lb/ac"': 'rate = "10 lb"\nhours = "25 h"',
            "value = 2": "window = [2026-09-01, 2026-08-01]",
        },
    )
    assert sorted(text.split(": ")[0].removeprefix("season.toml, ") for text in said) == [
        "grazing, end",
        'herd "dry cows", head',
        'herd "dry cows", intake',
        'paddock "P2", window',
        "seeding, hours",
        "seeding, implement",
        "seeding, rate",
    ]


# What the season is read for


def test_an_audit_still_asks_for_an_operation(farm):
    with pytest.raises(InputError) as caught:
        load_season(season(farm))
    (problem,) = caught.value.problems
    assert problem.what == "There is no operation."


def test_interseeding_asks_for_seeding(farm):
    text = SEASON[: SEASON.index("[seeding]")]
    (said,) = complaints(farm, text)
    assert said.startswith("season.toml, seeding: What to seed behind the herd is not told.")
    (said,) = complaints(farm, SEASON[: SEASON.index("[paddocks]")])
    assert said.startswith("season.toml, seeding: What to seed behind the herd is not told.")


def test_check_takes_a_pasture_for_a_season_and_lists_what_is_wrong(farm):
    assert [f.level for f in check_season(season(farm))] == ["warning"]
    findings = check_season(season(farm, swap={"head = 40": "head = 0"}))
    assert [f.level for f in findings if f.level == "error"] == ["error"]
    ran = CliRunner().invoke(app, ["check", str(farm / "season.toml")])
    assert ran.exit_code == 2
    assert 'herd "dry cows", head: 0 is too small. Give at least 1.' in ran.output
    (farm / "empty.toml").write_text('farm = "x"\n')
    assert [f.text for f in check_season(farm / "empty.toml")] == [
        "empty.toml, operation: There is no operation. Add one under [[operation]]."
    ]


def test_a_season_without_pasture_has_none(farm):
    text = SEASON[: SEASON.index("[paddocks]")]
    read = draft_season(season(farm, text)).season
    assert (read.grazing, read.seeding) == (None, None)


# What is used, but doubted


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("intake = 2.6", "intake = 4.5", "an intake of 4.5 % of live weight"),
        ("intake = 2.6", "intake = 1.4", "an intake of 1.4 %"),
        ('"1200 lb"', '"3000 lb"', "a live weight of 3,000 lb"),
        ("start =", "utilization = 85\nstart =", "P1, P2, P3: more than 80 %"),
        ('"20 lb/ac/day"', '"201 lb/ac/day"', "more than 200 lb/ac/day"),
        ('"2000 lb/ac"', '"9500 lb/ac"', "P2: more than 9,000 lb/ac"),
        ("value = 2", 'forage_most = "1900 lb/ac"', "P2: more forage stands than forage_most"),
        ('rate = "10 lb/ac"', 'rate = "310 lb/ac"', "a seed rate of 310 lb/ac"),
        ('rate = "10 lb/ac"', 'rate = "10 lb/ac"\nspeed = "15 mph"', "Drilling faster than 12"),
        ('rate = "10 lb/ac"', 'rate = "10 lb/ac"\nlost_chance = 90', "With 90 % of days lost"),
        ('rate = "10 lb/ac"', 'rate = "10 lb/ac"\non_hand = "0 lb"', "no red clover on hand"),
        ("start =", 'order = ["P1", "P2"]\nstart =', 'leaves out "P3"'),
        ("value = 2", "window = [2026-08-01, 2026-08-10]", "P2: its window lies outside"),
    ],
)
def test_odd_figures_are_used_and_told(farm, old, new, words):
    swap = {old: new}
    more = "first_day = 2026-08-20\n" if "window" in new else ""
    read = loaded(farm, swap=swap, more=more)
    assert any(words in warning for warning in read.warnings)
    assert not any(words in warning for warning in loaded(farm, more=more).warnings)


# Whatever is written, it is read or refused

ODD = st.sampled_from(
    ["0", "-1", "1e9", "nan", "true", '""', '"x"', "[]", "[1]", "{}", "{ a = 1 }", "[{}]", "[[]]",
     "2026-08-04", "07:30:00", "2026-08-04T07:00:00Z", '"5 days"', '"5 lb"', '"5 %"', '"% 5 %"']
)  # fmt: skip
LINES = [i for i, line in enumerate(SEASON.splitlines()) if "=" in line]
LINES = [i for i in LINES if i > SEASON[: SEASON.index("[paddocks]")].count("\n")]
TOPS = ("paddocks", "paddock", "herd", "grazing", "move", "seeding")


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.data())
def test_odd_values_are_refused_in_words(farm, data):
    lines = SEASON.splitlines()
    for index in data.draw(st.sets(st.sampled_from(LINES), min_size=1, max_size=3)):
        lines[index] = f"{lines[index].split('=')[0]}= {data.draw(ODD)}"
    text = "\n".join(lines)
    tomllib.loads(text)
    draft = draft_season(season(farm, text), logs=False, must_hold="seeding")
    assert draft.problems or (draft.season.grazing and draft.season.seeding)


@pytest.mark.parametrize("key", TOPS)
@pytest.mark.parametrize("value", ["5", '"x"', "[]", "[1]", "true", "[[]]", "{}"])
def test_odd_tables_are_refused_in_words(farm, key, value):
    text = re.sub(rf"\[+{key}\]+[^\[]*", "", SEASON)
    path = season(farm, f"{key} = {value}\n" + text)
    assert draft_season(path, logs=False, must_hold="seeding").problems or (key, value) in {
        ("paddock", "[]"),
        ("move", "[]"),
    }
