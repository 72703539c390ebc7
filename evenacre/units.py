"""The edge between the units people write and the SI values everything else uses.

Pint does the arithmetic, on a registry of our own that holds only the units met on farms:
its stock one takes "acre" from the survey foot, reads "ac" as attocoulomb, and so on.
"""

from __future__ import annotations

import difflib
import math
import re
from dataclasses import dataclass
from enum import StrEnum
from functools import cache, lru_cache
from typing import Any

from evenacre.errors import InputError

FOOT_M = 0.3048
POUND_KG = 0.45359237
ACRE_M2 = 43560 * FOOT_M**2  # international foot: NIST SP 811, appendix B.8
HECTARE_M2 = 10_000.0
MILE_M = 5280 * FOOT_M


class Dimension(StrEnum):
    """What kind of quantity is wanted; the value is how to say it in a sentence."""

    LENGTH = "length"
    AREA = "area"
    MASS = "mass"
    MASS_PER_AREA = "mass per area"
    MASS_PER_TIME = "mass per time"
    SPEED = "speed"
    TIME = "time"
    VOLUME = "volume"
    PRICE_PER_MASS = "price per mass"


_EXAMPLES = {
    Dimension.LENGTH: ("ft", "m"),
    Dimension.AREA: ("ac", "ha"),
    Dimension.MASS: ("lb", "kg"),
    Dimension.MASS_PER_AREA: ("lb/ac", "kg/ha"),
    Dimension.MASS_PER_TIME: ("lb/s", "kg/s"),
    Dimension.SPEED: ("mph", "km/h"),
    Dimension.TIME: ("s", "min"),
    Dimension.VOLUME: ("gal", "L"),
    Dimension.PRICE_PER_MASS: ("USD/ton", "USD/kg"),
}

_SI = {
    Dimension.LENGTH: "metre",
    Dimension.AREA: "metre**2",
    Dimension.MASS: "kilogram",
    Dimension.MASS_PER_AREA: "kilogram/metre**2",
    Dimension.MASS_PER_TIME: "kilogram/second",
    Dimension.SPEED: "metre/second",
    Dimension.TIME: "second",
    Dimension.VOLUME: "metre**3",
    Dimension.PRICE_PER_MASS: "money/kilogram",
}

# Name, value, then every spelling taken (case does not matter, nor does a plural s).
_DEFINITIONS = """
metre = [length] = m = meter = mtr
kilogram = [mass] = kg = kilo
second = [time] = s = sec
money = [money]
kilometre = 1000 * metre = km = kilometer
decimetre = 0.1 * metre = dm
centimetre = 0.01 * metre = cm = centimeter
millimetre = 0.001 * metre = mm = millimeter
foot = 0.3048 * metre = ft = feet
inch = 0.0254 * metre = in_ = inches
yard = 0.9144 * metre = yd
mile = 1609.344 * metre = mi
nautical_mile = 1852 * metre = nmi
hectare = 10000 * metre**2 = ha
acre = 43560 * foot**2 = ac
gram = 0.001 * kilogram = g = gm
milligram = 0.001 * gram = mg
megagram = 1000 * kilogram = tonne = t = metric_ton
pound = 0.45359237 * kilogram = lb = lbm
ounce = pound / 16 = oz
ton = 2000 * pound = short_ton = us_ton
long_ton = 2240 * pound
hundredweight = 100 * pound = cwt
millisecond = 0.001 * second = ms = msec
minute = 60 * second = min
hour = 3600 * second = h = hr
day = 86400 * second = d
mile_per_hour = mile / hour = mph
kilometre_per_hour = kilometre / hour = kph = kmh = kmph
foot_per_second = foot / second = fps
knot = nautical_mile / hour = kn = kt
litre = 0.001 * metre**3 = l = liter = ltr
millilitre = 0.001 * litre = ml
gallon = 231 * inch**3 = gal
quart = gallon / 4 = qt
pint = gallon / 8 = pt
fluid_ounce = gallon / 128 = fl_oz = floz
bushel = 2150.42 * inch**3 = bu
"""

_NUMBER = re.compile(r"[+\-]?(?:\d[\d.,]*|[.,]\d+)(?:[eE][+-]?\d+)?")
_FRACTION = re.compile(r"(?:(\d+)[ \-])?(\d+)/(\d+)(?=[^\d/.,])")
_FEET_INCHES = re.compile(
    r"([\d.]+)\s*(?:ft|foot|feet|')\s*([\d.]+)\s*(?:in|inch|inches|\"|'')", re.IGNORECASE
)
_CURRENCY = re.compile(r"[$€£¥]|(?<![A-Za-z])[A-Z]{3}(?![A-Za-z])")
# Superscripts, the minus sign, primes and curly quotes, as word processors put them.
_TYPOGRAPHY = str.maketrans("²³⁻¹\u2212\u2032\u2019\u2033\u201d", "23-1-''\"\"")


@cache
def _registry() -> Any:
    import pint

    return pint.UnitRegistry(_DEFINITIONS.strip().splitlines(), cache_folder=None)


def _expression(unit: str) -> str | None:
    """Turn a spelled unit into a product of known names; None when it cannot be one."""
    text = re.sub(r"(?<=[A-Za-z])\.", "", unit.strip()).translate(_TYPOGRAPHY)
    if re.search(r"(?<![A-Za-z])(T|MG)(?![A-Za-z])", text):
        return None  # tonne or ton, milligram or megagram: a factor of a guess
    text = re.sub(r"(?<![A-Za-z])Mg(?![A-Za-z])", "tonne", text).lower()
    text = re.sub(r"''|\"|(?<![a-z_])in(?![a-z_])", "in_", text)
    text = text.replace("'", "ft")
    text = re.sub(r"\b(metric|short|long|us|fluid|fl|nautical) (?=[a-z])", r"\1_", text)
    text = re.sub(r"\bfluid_oz\b", "fl_oz", text)
    text = re.sub(r"\bper\b", "/", text)
    text = re.sub(r"\b(?:square|sq)[ _]?([a-z]\w*)", r"\g<1>2", text)
    text = re.sub(r"\b(?:cubic|cu)[ _]?([a-z]\w*)", r"\g<1>3", text)
    text = re.sub(r"([a-z_])\s*(?:\^|\*\*)?\s*(-?[123])(?!\d)", r"\1**\2", text)
    text = re.sub(r"\s*/\s*", "/", text)
    text = re.sub(r"(?<=[\w])\s*[·* ]\s*(?=[a-z])", "*", text.strip())
    factor = r"[a-z_]+(?:\*\*-?[123])?"
    return text if re.fullmatch(rf"{factor}(?:[*/]{factor})*", text) else None


@lru_cache(maxsize=1024)
def _unit(unit: str) -> Any:
    """Return the pint unit of a spelling, or None."""
    import pint

    expression = _expression(unit)
    if expression is None:
        return None
    try:
        return _registry().parse_units(expression)
    except (pint.errors.PintError, AttributeError, ValueError, TypeError):
        return None


@lru_cache(maxsize=1024)
def unit_factor(unit: str, dimension: Dimension) -> float | None:
    """SI value of one unit, as people spell it in headers.

    Parameters
    ----------
    unit : str
        ``"lb/ac"``, ``"lbs/acre"``, ``"kg ha-1"``, ``"mph"``; a price starts with its
        currency (``"USD/ton"``).
    dimension : Dimension
        What the unit has to measure.

    Returns
    -------
    float or None
        None when the unit is not known or measures something else.
    """
    if dimension is Dimension.PRICE_PER_MASS:
        unit = _CURRENCY.sub("money", unit, count=1)
    parsed = _unit(unit)
    si = _registry().parse_units(_SI[dimension])
    if parsed is None or parsed.dimensionality != si.dimensionality:
        return None
    return float(_registry().Quantity(1.0, parsed).m_as(si))


def price_currency(text: str) -> str | None:
    """Return the currency sign or code a price is written with; None when it has none."""
    found = _CURRENCY.search(text)
    return found.group() if found else None


def parse_quantity(text: str, dimension: Dimension, *, file: str = "", place: str = "") -> float:
    """Read a quantity written with its unit.

    Parameters
    ----------
    text : str
        ``20 ft``, ``7 1/2 in``, ``20' 6"``, ``12,5 m``, ``840 USD/ton``.
    dimension : Dimension
        What it has to measure.
    file, place : str
        Named in the error.

    Returns
    -------
    float
        The SI value (money per kilogram for a price).

    Raises
    ------
    InputError
        When the unit is missing, unknown or of another kind, or the number is not one.
    """

    def error(what: str, remedy: str | None = None) -> InputError:
        return InputError.at(file or "quantity", place, what, remedy or _remedy(dimension))

    text = text.strip().translate(_TYPOGRAPHY)
    if dimension is Dimension.LENGTH and (pair := _FEET_INCHES.fullmatch(text)):
        return _plain_number(pair[1], error) * FOOT_M + _plain_number(pair[2], error) * FOOT_M / 12
    rest = text
    if dimension is Dimension.PRICE_PER_MASS:
        rest = _CURRENCY.sub("", text, count=1).strip()
        if rest == text:
            raise error(f'"{text}" does not say in which currency.')
    number, unit = _split(rest, error)
    if dimension is Dimension.PRICE_PER_MASS:
        if not unit:
            raise error(f'"{text}" does not say for how much.')
        unit = f"USD{unit}" if unit.startswith("/") else f"USD {unit}"
    elif not unit:
        raise error(f'"{text}" has no unit.')
    factor = unit_factor(unit, dimension)
    if factor is None:
        raise error(*_unit_complaint(text, unit, dimension))
    value = number * factor
    if not math.isfinite(value):
        raise error(f'"{text}" is not a finite number.')
    return value


def _remedy(dimension: Dimension) -> str:
    first, second = _EXAMPLES[dimension]
    article = "an" if dimension.value[0] in "aeiou" else "a"
    return f'Write {article} {dimension} with its unit, such as "20 {first}" or "20 {second}".'


def _split(text: str, error: Any) -> tuple[float, str]:
    """Split a text into its number and its unit."""
    sign = -1.0 if text.startswith("-") else 1.0
    unsigned = text.lstrip("+-").lstrip()
    if (fraction := _FRACTION.match(unsigned)) and int(fraction[3]):
        whole = int(fraction[1] or 0)
        value = sign * (whole + int(fraction[2]) / int(fraction[3]))
        return value, unsigned[fraction.end() :].strip()
    found = _NUMBER.match(text)
    if not found:
        raise error(f'"{text}" does not start with a number.' if text else "The value is empty.")
    return _plain_number(found.group(), error), text[found.end() :].strip()


def _plain_number(text: str, error: Any) -> float:
    """Read a number with a decimal point or comma; refuse what could be either."""
    digits = text
    unsigned = digits.lstrip("+-")
    if re.fullmatch(r"[1-9]\d{0,2},\d{3}", unsigned):
        plain, point = digits.replace(",", ""), f"{float(digits.replace(',', '.')):g}"
        raise error(f'"{text}" may mean {plain} or {point}.', f'Write "{plain}" or "{point}".')
    if re.fullmatch(r"\d{1,3}(?:,\d{3})+(?:\.\d*)?", unsigned) and unsigned[0] != "0":
        digits = digits.replace(",", "")
    elif re.fullmatch(r"\d{1,3}(?:\.\d{3})*,\d*", unsigned) or re.fullmatch(r"\d*,\d+", unsigned):
        digits = digits.replace(".", "").replace(",", ".")
    try:
        return float(digits)
    except ValueError:
        raise error(f'"{text}" is not a number.') from None


def _unit_complaint(text: str, unit: str, dimension: Dimension) -> tuple[str, str | None]:
    """Say why a unit was refused."""
    if re.search(r"\b(bu|bushels?)\b", unit, re.IGNORECASE) and "mass" in dimension:
        return (
            f'"{text}" counts bushels, which are a volume: what one weighs depends on the crop.',
            "Write a mass, such as lb or kg.",
        )
    if re.search(r"(?<![A-Za-z])(T|MG)(?![A-Za-z])", unit):
        return (
            f'the unit of "{text}" can be read two ways.',
            'Write "ton" (2000 lb), "tonne" or "t" (1000 kg), or "mg".',
        )
    other = next((d for d in Dimension if unit_factor(unit, d) is not None), None)
    if other is not None:
        return f'"{text}" is a {other}, not a {dimension}.', None
    near = difflib.get_close_matches(unit.lower(), _spellings(), n=1, cutoff=0.75)
    hint = f' Did you mean "{near[0]}"?' if near else ""
    return f'"{text}" has a unit that is not known: "{unit}".{hint}', None


@cache
def _spellings() -> tuple[str, ...]:
    words = re.findall(r"\b[a-z]{3,}\b", _DEFINITIONS)
    return (*dict.fromkeys(words), *(u for pair in _EXAMPLES.values() for u in pair))


@dataclass(frozen=True)
class DisplayUnit:
    """A unit shown to people.

    Attributes
    ----------
    label : str
    per_si : float
        How many of it make one SI unit.
    """

    label: str
    per_si: float

    def of(self, si: float) -> float:
        """Convert an SI value."""
        return si * self.per_si

    def text(self, si: float, digits: int = 3) -> str:
        """Write an SI value to so many significant digits, with separators and the label."""
        value = self.of(si)
        if not math.isfinite(value):
            return "n/a"
        if value == 0:
            return f"0 {self.label}"
        exponent = math.floor(math.log10(abs(float(f"{value:.{digits - 1}e}"))))
        decimals = digits - 1 - exponent
        return f"{round(value, decimals):,.{max(decimals, 0)}f} {self.label}"


@dataclass(frozen=True)
class UnitSystem:
    """The units of a report."""

    name: str
    area: DisplayUnit
    small_area: DisplayUnit
    mass: DisplayUnit
    rate: DisplayUnit
    length: DisplayUnit
    distance: DisplayUnit
    speed: DisplayUnit
    capacity: DisplayUnit


US = UnitSystem(
    name="us",
    area=DisplayUnit("ac", 1 / ACRE_M2),
    small_area=DisplayUnit("sq ft", 1 / FOOT_M**2),
    mass=DisplayUnit("lb", 1 / POUND_KG),
    rate=DisplayUnit("lb/ac", ACRE_M2 / POUND_KG),
    length=DisplayUnit("ft", 1 / FOOT_M),
    distance=DisplayUnit("mi", 1 / MILE_M),
    speed=DisplayUnit("mph", 3600 / MILE_M),
    capacity=DisplayUnit("ac/h", 3600 / ACRE_M2),
)
METRIC = UnitSystem(
    name="metric",
    area=DisplayUnit("ha", 1 / HECTARE_M2),
    small_area=DisplayUnit("m²", 1.0),
    mass=DisplayUnit("kg", 1.0),
    rate=DisplayUnit("kg/ha", HECTARE_M2),
    length=DisplayUnit("m", 1.0),
    distance=DisplayUnit("km", 0.001),
    speed=DisplayUnit("km/h", 3.6),
    capacity=DisplayUnit("ha/h", 3600 / HECTARE_M2),
)


def unit_system(name: str) -> UnitSystem:
    """Return the unit system of a name, ``"us"`` or ``"metric"``.

    Raises
    ------
    InputError
        For any other name.
    """
    for system in (US, METRIC):
        if name.strip().lower() == system.name:
            return system
    raise InputError.at("units", "", f'"{name}" is not a unit system.', 'Use "us" or "metric".')
