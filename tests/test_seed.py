"""Pure live seed, bulk rates, seeds on the ground, and blends that separate."""

from __future__ import annotations

import pytest

from evenacre.model import Product, SeedLot
from evenacre.planning.season.season_totals import separation_findings, species_rates
from evenacre.units.parsing import Dimension, parse_quantity

LB = 0.45359237
ACRE = 4046.8564224
LB_AC = LB / ACRE
SQ_FT = 0.3048**2


def seed(name, *, per_lb=None, lb_per_bu=None, purity=1.0, germination=1.0):
    lot = SeedLot(purity, germination, 0.0, None if per_lb is None else per_lb / LB)
    density = lb_per_bu and parse_quantity(f"{lb_per_bu} lb/bu", Dimension.MASS_PER_VOLUME)
    return Product(name, kind="seed", seed=lot, bulk_density_kg_per_m3=density)


def blend(**parts):
    return Product("mix", kind="seed", parts=tuple(parts.items()))


def test_pls_of_texas_dot():
    # Texas Department of Transportation, Pure live seed: 85 % x 75 % -> 0.64 PLS; 1 lb of PLS
    # needs 1.56 lb of bulk (that is 1 / 0.64; unrounded, 1 / 0.6375 = 1.569).
    lot = SeedLot(0.85, 0.75)
    assert lot.pls_fraction == pytest.approx(0.64, abs=0.005)
    assert 1.0 / lot.pls_fraction == pytest.approx(1.56, abs=0.01)


def test_pls_of_the_university_of_georgia():
    # University of Georgia forages: 90 % purity x 90 % germination -> 81 %.
    assert SeedLot(0.90, 0.90).pls_fraction == pytest.approx(0.81, rel=1e-12)


def test_pls_of_the_conservation_seed_guide():
    # Conservation seed guide example: germination 92 %, hard seed 5 %, purity 98 % -> 95.06 %;
    # 3.00 lb of PLS -> 3.16 lb of bulk.
    lot = SeedLot(0.98, 0.92, 0.05)
    assert lot.pls_fraction == pytest.approx(0.9506, rel=1e-12)
    assert 3.00 / lot.pls_fraction == pytest.approx(3.16, abs=0.005)
    (rate,) = species_rates(Product("clover", kind="seed", seed=lot), {}, 3.16)
    assert rate.pls_kg_per_m2 == pytest.approx(3.00, abs=0.005)


def test_plants_of_kentucky_aen_81():
    # University of Kentucky AEN-81, Grain Drill Calibration Procedures for Winter Wheat:
    # 375 plants per square yard = 450 plants per square metre (rounded).
    # At 12,000 seeds/lb, 99 % pure and 93 % live, that is 375 x 4840 / (12,000 x 0.9207) lb/ac.
    lot = SeedLot(0.99, 0.93, 0.0, 12_000 / LB)
    bulk = 375 * 4840 / (12_000 * 0.99 * 0.93) * LB_AC
    (rate,) = species_rates(Product("wheat", kind="seed", seed=lot), {}, bulk)
    assert rate.live_seeds_per_m2 == pytest.approx(450.0, rel=5e-3)
    assert rate.live_seeds_per_m2 * 0.9144**2 == pytest.approx(375, rel=1e-9)


@pytest.mark.parametrize(
    ("crop", "test_weight"),
    [
        # University of Missouri Extension G4020, lb/bu; a bushel is 1.2445 cubic feet
        # (2150.42 cubic inches).
        ("alfalfa", 60),
        ("red clover", 60),
        ("timothy", 45),
        ("orchardgrass", 14),
        ("smooth brome", 14),
        ("rye", 56),
        ("oats", 32),
        ("barley", 48),
        ("soybeans", 60),
        ("shelled corn", 56),
        ("flax", 60),
    ],
)
def test_weights_of_missouri_g4020(crop, test_weight):
    density = seed(crop, lb_per_bu=test_weight).bulk_density_kg_per_m3
    cubic_foot = parse_quantity("1 cu ft", Dimension.VOLUME)
    bushel = parse_quantity("1 bu", Dimension.VOLUME)
    assert bushel / cubic_foot == pytest.approx(1.2445, abs=5e-5)
    assert density * 1.2445 * cubic_foot / LB == pytest.approx(test_weight, rel=1e-4)


def test_seeds_per_square_foot_of_one_lot():
    # 200,000 seeds/lb at 10 lb/ac is 2,000,000 on 43,560 sq ft, 45.9 per sq ft; 90 % pure and
    # 80 % live leaves 41.3 pure and 33.1 live seeds.
    lot = seed("clover", per_lb=200_000, purity=0.9, germination=0.8)
    (rate,) = species_rates(lot, {}, 10 * LB_AC)
    assert rate.pure_seeds_per_m2 * SQ_FT == pytest.approx(0.9 * 2e6 / 43_560, rel=1e-9)
    assert rate.live_seeds_per_m2 * SQ_FT == pytest.approx(0.72 * 2e6 / 43_560, rel=1e-9)
    assert rate.pls_kg_per_m2 == pytest.approx(7.2 * LB_AC, rel=1e-12)


def test_each_species_of_a_blend():
    lots = {
        "red clover": seed("red clover", per_lb=270_000, purity=0.98, germination=0.92),
        "orchardgrass": seed("orchardgrass", per_lb=650_000, purity=0.90, germination=0.90),
    }
    mix = blend(**{"red clover": 3.0, "orchardgrass": 2.0})
    clover, grass = species_rates(mix, lots, 25 * LB_AC)
    assert (clover.share, grass.share) == (0.6, 0.4)
    assert clover.bulk_kg_per_m2 == pytest.approx(15 * LB_AC)
    assert grass.pls_kg_per_m2 == pytest.approx(10 * 0.81 * LB_AC)
    assert clover.live_seeds_per_m2 * SQ_FT == pytest.approx(
        15 * 0.98 * 0.92 * 270_000 / 43_560, rel=1e-9
    )
    assert grass.live_seeds_per_m2 * SQ_FT == pytest.approx(10 * 0.81 * 650_000 / 43_560, rel=1e-9)
    # 15 lb at 90.16 % and 10 lb at 81 % in 25 lb.
    live = clover.pls_kg_per_m2 + grass.pls_kg_per_m2
    assert live == pytest.approx((15 * 0.9016 + 10 * 0.81) * LB_AC)


def test_what_is_not_on_the_tag_is_not_invented():
    (rate,) = species_rates(Product("rye", kind="seed"), {}, 0.01)
    assert (rate.pls_kg_per_m2, rate.live_seeds_per_m2) == (None, None)
    assert (rate.pure_seeds_per_m2, rate.bulk_kg_per_m2, rate.share) == (None, 0.01, 1.0)


@pytest.mark.parametrize(
    ("parts", "said"),
    [
        # The rule is common practice, no source: 3 times the mass, 1.5 times the density.
        (
            [seed("clover", per_lb=270_000), seed("rye", per_lb=18_000)],
            [("seeds_unlike", "rye", "clover", pytest.approx(15.0))],
        ),
        ([seed("clover", per_lb=270_000), seed("alfalfa", per_lb=200_000)], []),
        # Red clover at 60 lb/bu and orchardgrass at 14: University of Missouri Extension G4020.
        (
            [seed("clover", lb_per_bu=60), seed("orchardgrass", lb_per_bu=14)],
            [("densities_unlike", "clover", "orchardgrass", pytest.approx(60 / 14))],
        ),
        ([seed("clover", lb_per_bu=60), seed("timothy", lb_per_bu=45)], []),
        (
            [
                seed("rye", per_lb=18_000, lb_per_bu=56),
                seed("orchardgrass", per_lb=650_000, lb_per_bu=14),
            ],
            [
                ("seeds_unlike", "rye", "orchardgrass", pytest.approx(650 / 18)),
                ("densities_unlike", "rye", "orchardgrass", pytest.approx(4.0)),
            ],
        ),
        ([seed("rye", per_lb=18_000), seed("clover", lb_per_bu=60)], [("separation_unknown",)]),
        # Just short of the limits, and just over them.
        ([seed("a", per_lb=295_000), seed("b", per_lb=100_000)], []),
        (
            [seed("a", per_lb=305_000), seed("b", per_lb=100_000)],
            [("seeds_unlike", "b", "a", pytest.approx(3.05))],
        ),
        ([seed("a", lb_per_bu=59), seed("b", lb_per_bu=40)], []),
        (
            [seed("a", lb_per_bu=61), seed("b", lb_per_bu=40)],
            [("densities_unlike", "a", "b", pytest.approx(61 / 40))],
        ),
    ],
)
def test_a_blend_that_may_separate_is_warned_of(parts, said):
    lots = {part.name: part for part in parts}
    found = separation_findings(blend(**dict.fromkeys(lots, 1.0)), lots)
    told = [(f.code, *(v for k, v in f.values.items() if k != "place")) for f in found]
    assert told == said


def test_a_single_lot_does_not_separate():
    assert separation_findings(seed("rye", per_lb=18_000), {}) == []
