"""Units against NIST Special Publication 811 (2008), appendix B, and definitions."""

from __future__ import annotations

import math
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenacre.errors import InputError
from evenacre.units.display import METRIC, US, DisplayUnit, UnitSystem, in_both, unit_system
from evenacre.units.parsing import Dimension, parse_quantity, price_currency, unit_factor
from evenacre.units.spelling import registry, spelled_unit

# NIST SP 811, appendix B.8 and B.9: factors to SI, as printed there (exact ones in full).
NIST = [
    ("acre", Dimension.AREA, 4.046856422e3, 1e-9),
    ("hectare", Dimension.AREA, 1.0e4, 0.0),
    ("ft2", Dimension.AREA, 9.290304e-2, 1e-15),
    ("ft", Dimension.LENGTH, 3.048e-1, 0.0),
    ("in", Dimension.LENGTH, 2.54e-2, 0.0),
    ("yd", Dimension.LENGTH, 9.144e-1, 0.0),
    ("mile", Dimension.LENGTH, 1.609344e3, 0.0),
    ("mph", Dimension.SPEED, 4.4704e-1, 1e-15),
    ("km/h", Dimension.SPEED, 2.777778e-1, 1e-6),
    ("knot", Dimension.SPEED, 5.144444e-1, 1e-6),
    ("ft/s", Dimension.SPEED, 3.048e-1, 1e-15),
    ("lb", Dimension.MASS, 4.5359237e-1, 0.0),
    ("oz", Dimension.MASS, 2.834952e-2, 1e-6),
    ("cwt", Dimension.MASS, 4.535924e1, 1e-7),
    ("ton", Dimension.MASS, 9.071847e2, 1e-7),
    ("long ton", Dimension.MASS, 1.016047e3, 1e-6),
    ("t", Dimension.MASS, 1.0e3, 0.0),
    ("lb/s", Dimension.MASS_PER_TIME, 4.535924e-1, 1e-7),
    ("lb/min", Dimension.MASS_PER_TIME, 7.559873e-3, 1e-6),
    ("lb/h", Dimension.MASS_PER_TIME, 1.259979e-4, 1e-6),
    ("oz/yd2", Dimension.MASS_PER_AREA, 3.390575e-2, 1e-6),
    ("oz/ft2", Dimension.MASS_PER_AREA, 3.051517e-1, 1e-6),
    ("lb/ft2", Dimension.MASS_PER_AREA, 4.882428, 1e-6),
    ("lb/1000 sq ft", Dimension.MASS_PER_AREA, 4.882428e-3, 1e-6),
    ("oz/1000 sq ft", Dimension.MASS_PER_AREA, 3.051517e-4, 1e-6),
    ("imperial gallon", Dimension.VOLUME, 4.54609e-3, 1e-15),
    ("gallon", Dimension.VOLUME, 3.785412e-3, 1e-6),
    ("fl oz", Dimension.VOLUME, 2.957353e-5, 1e-6),
    ("bushel", Dimension.VOLUME, 3.523907e-2, 1e-6),
]


@pytest.mark.parametrize("system", [US, METRIC])
@pytest.mark.parametrize(
    ("dimension", "kind", "si"),
    [
        (Dimension.LENGTH, "length", "metre"),
        (Dimension.AREA, "area", "metre**2"),
        (Dimension.MASS, "mass", "kilogram"),
        (Dimension.MASS_PER_AREA, "rate", "kilogram/metre**2"),
    ],
)
def test_units_known_without_pint_are_its_own_to_the_last_bit(
    system: UnitSystem, dimension: Dimension, kind: str, si: str
) -> None:
    unit = getattr(system, kind).label
    assert unit_factor(unit, dimension) == registry().Quantity(1.0, spelled_unit(unit)).m_as(si)


@pytest.mark.parametrize(("unit", "dimension", "si", "tolerance"), NIST)
def test_factors_are_those_of_nist_sp_811(unit, dimension, si, tolerance):
    assert unit_factor(unit, dimension) == pytest.approx(si, rel=tolerance or 1e-15)


def test_the_acre_is_the_international_one():
    # 43560 sq ft of 0.3048 m; the survey acre would be 4046.8726.
    assert unit_factor("ac", Dimension.AREA) == pytest.approx(4046.8564224, rel=1e-12)


def test_pounds_per_acre_to_kilograms_per_hectare():
    # 1 lb/ac = 1.12085 kg/ha, from the NIST SP 811 pound and acre; printed to six digits.
    assert parse_quantity("1 lb/ac", Dimension.MASS_PER_AREA) * 1e4 == pytest.approx(
        1.12085, abs=5e-6
    )


@pytest.mark.parametrize(
    "unit",
    ["lb/ac", "lbs/ac", "LBS/ACRE", "lb / acre", "pounds per acre", "lb ac-1", "lb·ac⁻¹", "lb/ac."],
)
def test_pounds_per_acre_however_spelled(unit):
    assert unit_factor(unit, Dimension.MASS_PER_AREA) == pytest.approx(1.12085e-4, rel=1e-5)


@pytest.mark.parametrize(
    "unit",
    [
        *("lb/1000 sq ft", "lbs/1,000 sq. ft.", "LB/1000FT2", "lb per 1000 ft²", "lb/1000 ft^2"),
        *("pounds per thousand square feet", "lb/1000sqft", "16 oz/1000 sq ft"),
    ],
)
def test_pounds_per_thousand_square_feet_however_spelled(unit):
    text = unit if unit[0].isdigit() else f"1 {unit}"
    # 43.56 thousand square feet make an acre.
    acre = parse_quantity("43.56 lb/ac", Dimension.MASS_PER_AREA)
    assert parse_quantity(text, Dimension.MASS_PER_AREA) == pytest.approx(acre, rel=1e-12)


@pytest.mark.parametrize(
    ("unit", "kg_per_m2"),
    [
        ("g/m2", 1e-3), ("mg/m²", 1e-6), ("kg/m2", 1.0), ("t/ha", 0.1), ("kg/1000 m2", 1e-3),
        ("kg/100 m2", 1e-2), ("kg/daa", 1e-3), ("q/ha", 1e-2), ("dt/ha", 1e-2), ("kg/are", 1e-2),
        ("cwt/ac", 45.359237 / 4046.8564224), ("lb/A", 0.45359237 / 4046.8564224),
        ("lbs/a", 0.45359237 / 4046.8564224), ("tons/acre", 907.18474 / 4046.8564224),
    ],
)  # fmt: skip
def test_rates_of_the_trade(unit, kg_per_m2):
    assert unit_factor(unit, Dimension.MASS_PER_AREA) == pytest.approx(kg_per_m2, rel=1e-12)


@pytest.mark.parametrize(
    "unit", ["kg/a", "lb/101 ft2", "lb/1000", "lb/1000 lb", "gal/1000 sq ft", "bu/ac", "1000 lb/ac"]
)
def test_what_is_no_mass_per_area_or_is_not_clear_is_none(unit):
    assert unit_factor(unit, Dimension.MASS_PER_AREA) is None


@pytest.mark.parametrize("unit", ["sq ft", "sqft", "ft2", "ft^2", "ft²", "square feet", "Sq. Ft."])
def test_square_feet_however_spelled(unit):
    assert unit_factor(unit, Dimension.AREA) == pytest.approx(0.09290304, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("20ft", 6.096),
        ("20 ft", 6.096),
        ("20'", 6.096),
        ("20\u2032 6\u2033", 6.2484),
        ("20' 6\"", 6.2484),
        ("20 ft 6 in", 6.2484),
        ("7.5in", 0.1905),
        ("7 1/2 in", 0.1905),
        ('7-1/2"', 0.1905),
        ("1/4 in", 0.00635),
        ("12,5 m", 12.5),
        ("0,200 m", 0.2),
        ("1.200,5 m", 1200.5),
        ("1,200.5 m", 1200.5),
        ("1,234,567 mm", 1234.567),
        ("1.5e3 mm", 1.5),
        (" 12 M ", 12.0),
        ("-2 ft", -0.6096),
        ("\u22122 ft", -0.6096),
    ],
)
def test_lengths_as_people_write_them(text, metres):
    assert parse_quantity(text, Dimension.LENGTH) == pytest.approx(metres, rel=1e-12)


@pytest.mark.parametrize(
    "text", ["840 USD/ton", "$840/ton", "USD 840 per ton", "840 $/short ton", "€840/ton"]
)
def test_prices(text):
    assert parse_quantity(text, Dimension.PRICE_PER_MASS) == pytest.approx(840 / 907.18474)


def test_currency_of_a_price():
    assert price_currency("840 CAD/t") == "CAD"
    assert price_currency("$1.10/lb") == "$"
    assert price_currency("1.10/lb") is None


@pytest.mark.parametrize(
    ("text", "dimension", "complaint"),
    [
        ("20", Dimension.LENGTH, "has no unit"),
        ("", Dimension.LENGTH, "empty"),
        ("twenty ft", Dimension.LENGTH, "does not start with a number"),
        ("nan ft", Dimension.LENGTH, "does not start with a number"),
        ("inf ft", Dimension.LENGTH, "does not start with a number"),
        ("1e999 m", Dimension.LENGTH, "not a finite number"),
        ("1.2.3 m", Dimension.LENGTH, "not a number"),
        ("20 lb", Dimension.LENGTH, "is a mass, not a length"),
        ("20 ft", Dimension.MASS_PER_AREA, "is a length, not a mass per area"),
        ("20 inche", Dimension.LENGTH, 'Did you mean "inch'),
        ("1,200 lb", Dimension.MASS, 'Write "1200" or "1.2"'),
        ("60 bu", Dimension.MASS, "depends on the crop"),
        ("1.5 bu/ac", Dimension.MASS_PER_AREA, "depends on the crop"),
        ("2 T/ac", Dimension.MASS_PER_AREA, "read two ways"),
        ("840/ton", Dimension.PRICE_PER_MASS, "which currency"),
        ("840 USD", Dimension.PRICE_PER_MASS, "for how much"),
        ("5 1/0 in", Dimension.LENGTH, "not known"),
        ("9 ft/ft", Dimension.LENGTH, "not known"),
        ("9 __import__('os')", Dimension.LENGTH, "not known"),
    ],
)
def test_nonsense_is_refused_with_its_place_and_a_remedy(text, dimension, complaint):
    with pytest.raises(InputError) as caught:
        parse_quantity(text, dimension, file="season.toml", place="width")
    (problem,) = caught.value.problems
    assert complaint in f"{problem.what} {problem.remedy}"
    assert (problem.file, problem.place) == ("season.toml", "width")
    assert problem.remedy.startswith("Write ")


@given(
    st.floats(0, 1e9, allow_subnormal=False),
    st.sampled_from([(u, d, si) for u, d, si, _ in NIST]),
    st.sampled_from(["{} {}", "{}{}", " {}  {} "]),
)
def test_any_number_with_any_unit(number, unit, pattern):
    name, dimension, _ = unit
    expected = number * unit_factor(name, dimension)
    assert parse_quantity(pattern.format(number, name), dimension) == pytest.approx(expected)


@given(
    st.text(alphabet="0123456789.,+-/eE ftinlbackg$'\"'^²()*_%TMnaf", max_size=12),
    st.sampled_from(Dimension),
)
def test_any_text_is_a_finite_number_or_a_complaint(text, dimension):
    try:
        value, remedy = parse_quantity(text, dimension), "none needed"
    except InputError as error:
        value, remedy = 0.0, error.problems[0].remedy
    assert math.isfinite(value)
    assert remedy


def test_unknown_or_foreign_units_have_no_factor():
    assert unit_factor("", Dimension.LENGTH) is None
    assert unit_factor("%", Dimension.LENGTH) is None
    assert unit_factor("gal/ac", Dimension.MASS_PER_AREA) is None
    assert unit_factor("T/ac", Dimension.MASS_PER_AREA) is None
    assert unit_factor("bu", Dimension.MASS) is None


def test_display_units_agree_with_what_is_read():
    assert US.area.of(4046.8564224) == pytest.approx(1, rel=1e-12)
    assert US.rate.of(parse_quantity("150 lb/ac", Dimension.MASS_PER_AREA)) == pytest.approx(150)
    assert US.small_area.of(0.09290304) == pytest.approx(1, rel=1e-12)
    assert US.mass.of(0.45359237) == pytest.approx(1, rel=1e-12)
    assert US.length.of(0.3048) == pytest.approx(1, rel=1e-12)
    assert US.distance.of(1609.344) == pytest.approx(1, rel=1e-12)
    assert US.speed.of(0.44704) == pytest.approx(1, rel=1e-12)
    # Acres an hour = mph x ft / 8.25: University of Kentucky AEN-73.
    assert US.capacity.of(5 * 0.44704 * 20 * 0.3048) == pytest.approx(5 * 20 / 8.25, rel=1e-12)
    assert METRIC.rate.of(0.0168) == pytest.approx(168)
    assert METRIC.capacity.of(10 / 3.6) == pytest.approx(1)


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (0.0, 3, "0 ft"),
        (1234567.0, 3, "1,230,000 ft"),
        (1234567.0, 7, "1,234,567 ft"),
        (20.0, 3, "20.0 ft"),
        (999.96, 3, "1,000 ft"),
        (-0.01234, 2, "-0.012 ft"),
        (math.nan, 3, "n/a"),
    ],
)
def test_figures_keep_the_digits_asked_for(value, digits, text):
    assert DisplayUnit("ft", 1.0).text(value, digits) == text


def test_unit_systems_by_name():
    assert unit_system("US") is US
    assert unit_system("metric") is METRIC
    with pytest.raises(InputError, match="not a unit system"):
        unit_system("imperial")


def test_importing_the_units_does_not_import_pint():
    code = "import sys, evenacre.units.parsing; sys.exit('pint' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_both_systems_in_a_message() -> None:
    """A pound is 0.45359237 kg, a foot 0.3048 m, an acre 4046.8564224 m2 (NIST SP 811)."""
    assert in_both("mass", 100.0) == "220 lb (100 kg)"
    assert in_both("length", 6.096) == "20.0 ft (6.10 m)"
    assert in_both("area", 4046.8564224) == "1.00 ac (0.40 ha)"
