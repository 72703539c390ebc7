"""What a season file says of products, seed, blends, compartments and needs."""

from __future__ import annotations

import geopandas as gpd
import pytest
from shapely.geometry import box

from evenacre.errors import InputError
from evenacre.io.season.load import load_season
from evenacre.model import Compartment, Need, SeedLot, WithSeed
from evenacre.units.parsing import Dimension, parse_quantity

LB_AC = 0.45359237 / 4046.8564224

SEASON = """
[[product]]
name = "18-46-0"
price = "840 USD/ton"
bulk_density = "60 lb/cu ft"
rate_min = "40 lb/ac"
rate_max = "400 lb/ac"
[[product]]
name = "0-0-60"
price = "420 USD/ton"
[[product]]
name = "starter"
parts = { "18-46-0" = 3, "0-0-60" = 1 }
[[product]]
name = "red clover"
purity = 98
germination = 87
hard_seed = 5
seeds_per = "270000 /lb"
bulk_density = "60 lb/bu"
[[product]]
name = "orchardgrass"
kind = "seed"
purity = 90
germination = 90
[[product]]
name = "meadow"
parts = { "red clover" = 3, orchardgrass = 2 }
[[implement]]
name = "drill"
width = "20 ft"
row_spacing = "7.5 in"
cost = "150 USD/h"
compartments = [ { name = "front", volume = "180 bu" }, { name = "rear", volume = "70 bu" } ]
[[field]]
name = "Creek Forty"
boundary = "field.geojson"
zones = { file = "zones.geojson", name_column = "zone" }
[[operation]]
name = "Spring"
field = "Creek Forty"
implement = "drill"
tracks = ["log.csv"]
products = [ { product = "starter", rate = "150 lb/ac", compartment = "front" }, \
{ product = "meadow", rate = "25 lb/ac", compartment = ["rear", "front"] } ]
loads = "tickets.csv"
method = "with the seed"
quote = "18 USD/ac"
bare_loss = "300 USD/ac"
with_seed = { crop = "Hard red  spring wheat", spread = "1 in", tolerated_loss = 15, \
slopes = { starter = 0.5 } }
[[need]]
field = "Creek Forty"
zone = "west"
N = "120 lb/ac"
P2O5 = "40 lb/ac"
[[need]]
field = "Creek Forty"
K = "30 kg/ha"
"""


@pytest.fixture
def load(tmp_path):
    """Load ``SEASON`` with one text changed."""
    west, east = box(-92.41, 40.1, -92.405, 40.11), box(-92.405, 40.1, -92.40, 40.11)
    zones = gpd.GeoDataFrame({"zone": ["west", "east"]}, geometry=[west, east], crs=4326)
    zones.to_file(tmp_path / "zones.geojson")
    gpd.GeoSeries([west.union(east)], crs=4326).to_file(tmp_path / "field.geojson")
    (tmp_path / "log.csv").write_text("time,lon,lat\n")
    (tmp_path / "tickets.csv").write_text("time,event\n")

    def loaded(old="", new=""):
        assert old in SEASON
        path = tmp_path / "season.toml"
        path.write_text(SEASON.replace(old, new) if old else SEASON)
        return load_season(path)

    return loaded


def test_seed_blends_and_ranges_reach_the_products(load):
    season = load()
    assert season.warnings == ()
    products = {p.name: p for p in season.products}
    clover = products["red clover"]
    assert clover.kind == "seed"
    assert clover.seed == SeedLot(0.98, 0.87, 0.05, pytest.approx(270000 / 0.45359237))
    # 60 lb in 2150.42 cubic inches
    assert clover.bulk_density_kg_per_m3 == pytest.approx(
        60 * 0.45359237 / (2150.42 * 0.0254**3), rel=1e-9
    )
    assert products["orchardgrass"].seed == SeedLot(0.9, 0.9)
    assert products["meadow"].kind == "seed"
    assert products["meadow"].parts == (("red clover", 3.0), ("orchardgrass", 2.0))
    assert products["18-46-0"].rate_min_kg_per_m2 == pytest.approx(40 * LB_AC)
    assert products["18-46-0"].rate_max_kg_per_m2 == pytest.approx(400 * LB_AC)


def test_a_blend_takes_analysis_and_price_from_its_parts(load):
    starter = next(p for p in load().products if p.name == "starter")
    # Three tons of 18-46-0 hold 1,080 lb N and 2,760 lb P2O5, one of 0-0-60 1,200 lb K2O;
    # together four tons at (3 x 840 + 420) / 4 a ton.
    assert starter.analysis == pytest.approx({"N": 13.5, "P2O5": 34.5, "K2O": 15.0})
    assert starter.price_per_kg == pytest.approx(735 / 907.18474)
    assert starter.kind == "fertilizer"


def test_compartments_method_quote_and_tickets_reach_the_operation(load, tmp_path):
    season = load()
    (plan,) = season.operations
    bushel_m3 = 1.2445 * 0.3048**3  # University of Missouri Extension G4020
    assert plan.implement.compartments == (
        Compartment("front", pytest.approx(180 * bushel_m3, rel=1e-4)),
        Compartment("rear", pytest.approx(70 * bushel_m3, rel=1e-4)),
    )
    assert plan.compartment_of == (
        ("starter", "front"),
        ("meadow", "rear"),
        ("meadow", "front"),
    )
    assert plan.method == "with the seed"
    assert plan.quote_per_m2 == pytest.approx(18 / 4046.8564224)
    assert plan.bare_loss_per_m2 == pytest.approx(300 / 4046.8564224)
    assert plan.implement.cost_per_s == pytest.approx(150 / 3600)
    assert plan.with_seed == WithSeed(
        "hard red spring wheat",
        spread_m=pytest.approx(0.0254),
        row_spacing_m=pytest.approx(0.1905),
        tolerated_loss_percent=15.0,
        soil_factor=1.0,
        slopes=(("starter", 0.5),),
    )
    assert plan.ticket_file == tmp_path / "tickets.csv"
    assert "tickets.csv" in [file.path for file in season.inputs]


@pytest.mark.parametrize(
    ("product", "bulk"),
    [
        # 98 % x (87 + 5) % of the clover and 90 % x 90 % of the grass are pure live seed.
        ("red clover", 10 / 0.9016),
        ("meadow", 10 / ((3 * 0.9016 + 2 * 0.81) / 5)),
    ],
)
def test_a_rate_of_pure_live_seed_becomes_bulk(load, product, bulk):
    (plan,) = load(
        '{ product = "meadow", rate = "25 lb/ac"',
        f'{{ product = "{product}", pls_rate = "10 lb/ac"',
    ).operations
    assert plan.applications[1].target_kg_per_m2 == pytest.approx(bulk * LB_AC)


def test_needs_of_fields_and_zones(load):
    assert load().needs == (
        Need("Creek Forty", "west", "N", pytest.approx(120 * LB_AC)),
        Need("Creek Forty", "west", "P2O5", pytest.approx(40 * LB_AC)),
        Need("Creek Forty", None, "K", pytest.approx(30e-4)),
    )


@pytest.mark.parametrize(
    ("old", "new", "place", "what"),
    [
        ('price = "420', 'analysis = { N = 60, K2O = 50 }\nprice = "420', "analysis", "110 %"),
        ("purity = 98", "purity = 198", 'product "red clover", purity', "198 is too large"),
        ("germination = 87", "germination = 187", "germination", "187 is too large"),
        ("germination = 87", "germination = 97", "germination", "add up to 102 %"),
        ("purity = 98\n", "", 'product "red clover", purity', "purity is missing"),
        ("purity = 98", "purity = 0", "purity", "None of this seed would grow"),
        ("purity = 98", 'purity = "98 %"', "purity", "is not a number"),
        ("purity = 98", 'kind = "fertilizer"\npurity = 98', "purity", "belongs to seed"),
        ('"270000 /lb"', '"270000"', "seeds_per", "has no unit"),
        ('"270000 /lb"', '"270000 lb"', "seeds_per", "not a count per mass"),
        ('"60 lb/bu"', '"60 lb"', "bulk_density", "is a mass"),
        ('"60 lb/bu"', '"60000 lb/bu"', "bulk_density", "makes no sense"),
        ('rate_min = "40', 'rate_min = "440', "rate_min", "higher than rate_max"),
        ("orchardgrass = 2", "orchardgras = 2", "parts, orchardgras", 'no product "orchardgras"'),
        ("orchardgrass = 2", "meadow = 2", "parts, meadow", "a part of itself"),
        ("orchardgrass = 2", "starter = 2", "parts, starter", "is a blend itself"),
        ("orchardgrass = 2", "orchardgrass = -2", "orchardgrass", "-2 is too small"),
        ('3, "0-0-60" = 1', '0, "0-0-60" = 0', "parts", "add up to nothing"),
        ('"70 bu"', '"70"', "compartments 2, volume", "has no unit"),
        ('"70 bu"', '"70 ft"', "compartments 2, volume", "is a length"),
        ('"70 bu"', '"-70 bu"', "compartments 2, volume", "makes no sense"),
        ('name = "rear"', 'name = "front"', "compartments 2, name", "defined twice"),
        ('["rear", "front"]', '"middle"', "products 2, compartment", "has no compartment"),
        ('"18 USD/ac"', '"18 EUR/ac"', "quote", "is not in USD"),
        ('"300 USD/ac"', '"300 EUR/ac"', "bare_loss", "is not in USD"),
        ('"18 USD/ac"', '"18 USD/ton"', "quote", "not a price per area"),
        ('rate = "25 lb/ac"', 'rate = "1 lb/ac", pls_rate = "1 lb/ac"', "pls_rate", "both given"),
        ('"meadow", rate', '"18-46-0", pls_rate', "pls_rate", "The tag of 18-46-0 is not given"),
        ('"150 USD/h"', '"150 EUR/h"', "cost", "is not in USD"),
        ('"150 USD/h"', '"150 USD"', "cost", "for how much"),
        ('spread = "1 in"', 'spread = "1"', "with_seed, spread", "has no unit"),
        ('spread = "1 in"', 'spread = "1 ft"', "with_seed, spread", "wider than the rows"),
        ("tolerated_loss = 15", "tolerated_loss = 0", "tolerated_loss", "0 is too small"),
        ("starter = 0.5", "startr = 0.5", "slopes, startr", 'Did you mean "starter"?'),
        ('row_spacing = "7.5 in"', "", "with_seed", "How far apart the rows are"),
        ('"tickets.csv"', '"ticket.csv"', "loads", 'Did you mean "tickets.csv"?'),
        ('"120 lb/ac"', '"120"', "need 1, N", "has no unit"),
        ('"120 lb/ac"', '"-120 lb/ac"', "need 1, N", "makes no sense"),
        ('zone = "west"', 'zone = "wst"', "need 1, zone", 'Did you mean "west"?'),
        ('field = "Creek Forty"\nzone', 'field = "Creek 40"\nzone', "need 1, field", "no field"),
        ("P2O5 =", "P205 =", "need 1, P205", 'Did you mean "P2O5"?'),
        ('K = "30 kg/ha"', "", "need 2", "asks for nothing"),
        ('N = "120 lb/ac"', 'P = "10 lb/ac"', "need 1", "P2O5 is asked for twice"),
    ],
)
def test_what_is_wrong_is_said_once_with_its_place(load, old, new, place, what):
    with pytest.raises(InputError) as caught:
        load(old, new)
    (problem,) = caught.value.problems
    assert place in f"{problem.place}"
    assert what in str(problem)
    assert problem.remedy


def test_a_target_out_of_the_range_of_the_product_is_warned_of(load):
    season = load('"0-0-60" = 1 }', '"0-0-60" = 1 }\nrate_max = "100 lb/ac"')
    assert any("over the product's rate_max" in w for w in season.operations[0].warnings)


@pytest.mark.parametrize(
    ("text", "dimension", "si"),
    [
        ("200000 /lb", Dimension.COUNT_PER_MASS, 200000 / 0.45359237),
        ("200000 seeds/lb", Dimension.COUNT_PER_MASS, 200000 / 0.45359237),
        ("440000 per kg", Dimension.COUNT_PER_MASS, 440000.0),
        ("48 lb/bu", Dimension.MASS_PER_VOLUME, 48 * 0.45359237 / 0.03523907016688),
        ("0.77 kg/L", Dimension.MASS_PER_VOLUME, 770.0),
        ("$18/ac", Dimension.PRICE_PER_AREA, 18 / 4046.8564224),
        ("44.48 EUR/ha", Dimension.PRICE_PER_AREA, 44.48e-4),
    ],
)
def test_the_new_quantities(text, dimension, si):
    # The litre of a US bushel: 35.23907016688 L, NIST SP 811, appendix B.8.
    assert parse_quantity(text, dimension) == pytest.approx(si, rel=1e-9)
