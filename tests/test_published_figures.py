"""Arithmetic of the trade against figures others have published."""

import numpy as np
import pytest

from evenacre.coverage.amounts import elements, nutrients
from evenacre.coverage.capacity import capacity_figures
from evenacre.coverage.row_patterns import RowPatterns
from evenacre.coverage.steps import Steps
from evenacre.model import Implement
from evenacre.model.audit_result import ToolPath
from evenacre.units.parsing import Dimension, parse_quantity, unit_factor

ACRE_M2 = 4046.8564224
FOOT_M, MPH = 0.3048, 0.44704

# Iowa State University Extension, Ag Decision Maker A3-24, Estimating the Field Capacity of
# Farm Machines, table 1: width (ft), speed (mph), field efficiency, acres per hour.
IOWA_STATE_A3_24 = [
    (40, 6, 0.70, 20.4),
    (60, 6, 0.68, 29.7),
    (60, 12, 0.68, 59.3),
    (80, 6, 0.68, 39.6),
    (15, 5, 0.63, 5.7),
    (20, 6, 0.63, 9.2),
    (30, 6, 0.60, 13.1),
    (36, 5, 0.60, 13.1),
    (45, 5, 0.60, 16.4),
]


def hour_of_work(width_m: float, speed_mps: float, share: float) -> dict[str, float]:
    """Figures of an hour of which a share was work at full width, the rest a stop in the middle."""
    time = 3600.0 * np.array([0.0, share / 2, 1 - share / 2, 1.0])
    working = np.array([True, False, True])
    moved = np.where(working, np.diff(time) * speed_mps, 0.0)
    x = np.insert(np.cumsum(moved), 0, 0.0)
    steps = Steps(
        ToolPath(time, x, 0 * x, 0 * x),
        np.ones(3, dtype=bool),
        RowPatterns.of(working[:, None].astype(np.int64)),
        np.zeros(3, dtype=np.int64),
        moved,
        np.diff(time),
    )
    return capacity_figures(
        steps, (slice(0, len(moved)),), width_m, width_m * float(moved.sum()), timed=True
    )


@pytest.mark.parametrize(("feet", "mph", "efficiency", "acres"), IOWA_STATE_A3_24)
def test_effective_field_capacity(feet: float, mph: float, efficiency: float, acres: float) -> None:
    figures = hour_of_work(feet * FOOT_M, mph * MPH, efficiency)
    assert figures["field_capacity_m2_per_s"] * 3600 / ACRE_M2 == pytest.approx(acres, abs=0.051)
    assert figures["field_efficiency"] == pytest.approx(efficiency, rel=1e-9)


def test_theoretical_field_capacity_is_mph_times_feet_over_8_25() -> None:
    # University of Kentucky AEN-73, Calculating Farm Machinery Field Capacities.
    figures = hour_of_work(20 * FOOT_M, 5.5 * MPH, 0.7)
    assert figures["theoretical_capacity_m2_per_s"] * 3600 / ACRE_M2 == pytest.approx(
        5.5 * 20 / 8.25, rel=1e-9
    )


# NIST Special Publication 811, Guide for the Use of the International System of Units,
# appendix B.8 (acre on the international foot).
@pytest.mark.parametrize(
    ("text", "dimension", "si"),
    [
        ("1 ft", Dimension.LENGTH, 0.3048),
        ("1 in", Dimension.LENGTH, 0.0254),
        ("1 lb", Dimension.MASS, 0.45359237),
        ("1 mph", Dimension.SPEED, 0.44704),
        ("1 ac", Dimension.AREA, 4046.8564224),
        ("1 ha", Dimension.AREA, 10000.0),
        ("1 km/h", Dimension.SPEED, 1 / 3.6),
        ("1 ton", Dimension.MASS, 907.18474),
    ],
)
def test_units_of_nist_sp_811(text: str, dimension: Dimension, si: float) -> None:
    assert parse_quantity(text, dimension) == pytest.approx(si, rel=1e-9)


def test_a_pound_an_acre_is_1_12085_kg_per_hectare() -> None:
    # NIST SP 811, from the pound and the acre above.
    pound = unit_factor("lb/ac", Dimension.MASS_PER_AREA)
    kilogram = unit_factor("kg/ha", Dimension.MASS_PER_AREA)
    assert pound is not None
    assert kilogram is not None
    assert pound / kilogram == pytest.approx(1.12085, abs=5e-6)


def test_a_label_is_percent_by_mass_in_oxide_terms() -> None:
    # 100 lb of 11-52-0 carries 11 lb of N and 52 lb of P2O5 (label law of the trade).
    pound = 0.45359237
    carried = nutrients({"N": 11.0, "P2O5": 52.0, "K2O": 0.0}, 100 * pound)
    assert carried["N"] == pytest.approx(11 * pound)
    assert carried["P2O5"] == pytest.approx(52 * pound)
    assert carried.get("K2O", 0.0) == 0.0


def test_elements_in_the_oxides_of_the_label() -> None:
    # Mass fractions from the IUPAC standard atomic weights: P 30.974, O 15.999, K 39.098.
    found = elements({"N": 11.0, "P2O5": 52.0, "K2O": 60.0})
    phosphorus = 2 * 30.974 / (2 * 30.974 + 5 * 15.999)
    potassium = 2 * 39.098 / (2 * 39.098 + 15.999)
    assert phosphorus == pytest.approx(0.4364, abs=5e-5)
    assert potassium == pytest.approx(0.8301, abs=6e-5)
    assert found["P"] == pytest.approx(52 * phosphorus, rel=2e-4)
    assert found["K"] == pytest.approx(60 * potassium, rel=2e-4)
    assert found["N"] == pytest.approx(11.0)


@pytest.mark.parametrize(("openers", "feet"), [(48, 30.0), (32, 20.0)])
def test_width_is_openers_times_spacing(openers: int, feet: float) -> None:
    # Common practice, no source: 7.5 in between openers.
    drill = Implement(width_m=feet * FOOT_M, rows=openers)
    assert drill.row_spacing_m == pytest.approx(7.5 * 0.0254, rel=1e-12)


def test_openers_are_towers_times_hoses() -> None:
    # Common practice, no source: six towers of eight make 48.
    drill = Implement(width_m=30 * FOOT_M, rows=48, rows_per_tower=8)
    towers = [drill.tower_rows(t) for t in range(1, 7)]
    assert [row for rows in towers for row in rows] == list(range(1, 49))
