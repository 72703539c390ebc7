"""The edge between the units people write and the SI values everything else uses."""

from __future__ import annotations

import difflib
import math
import re
from enum import StrEnum
from functools import lru_cache
from typing import Any

from evenacre.errors import InputError
from evenacre.language import mark, tr
from evenacre.units.display import FOOT_M, METRIC, US
from evenacre.units.spelling import AMBIGUOUS, TYPOGRAPHY, registry, spelled_unit, spellings


class Dimension(StrEnum):
    """What kind of quantity is wanted; the value is how to say it in a sentence."""

    LENGTH = mark("length")
    AREA = mark("area")
    MASS = mark("mass")
    MASS_PER_AREA = mark("mass per area")
    MASS_PER_TIME = mark("mass per time")
    GROWTH = mark("growth")
    SPEED = mark("speed")
    TIME = mark("time")
    VOLUME = mark("volume")
    MASS_PER_VOLUME = mark("mass per volume")
    COUNT_PER_MASS = mark("count per mass")
    PRICE_PER_MASS = mark("price per mass")
    PRICE_PER_AREA = mark("price per area")
    PRICE_PER_TIME = mark("price per time")


# The SI unit, and two that people write.
_UNITS = {
    Dimension.LENGTH: ("metre", "ft", "m"),
    Dimension.AREA: ("metre**2", "ac", "ha"),
    Dimension.MASS: ("kilogram", "lb", "kg"),
    Dimension.MASS_PER_AREA: ("kilogram/metre**2", "lb/ac", "kg/ha"),
    Dimension.MASS_PER_TIME: ("kilogram/second", "lb/s", "kg/s"),
    Dimension.GROWTH: ("kilogram/metre**2/second", "lb/ac/day", "kg/ha/day"),
    Dimension.SPEED: ("metre/second", "mph", "km/h"),
    Dimension.TIME: ("second", "s", "min"),
    Dimension.VOLUME: ("metre**3", "gal", "L"),
    Dimension.MASS_PER_VOLUME: ("kilogram/metre**3", "lb/bu", "kg/m3"),
    Dimension.COUNT_PER_MASS: ("seed/kilogram", "seeds/lb", "seeds/kg"),
    Dimension.PRICE_PER_MASS: ("money/kilogram", "USD/ton", "USD/kg"),
    Dimension.PRICE_PER_AREA: ("money/metre**2", "USD/ac", "USD/ha"),
    Dimension.PRICE_PER_TIME: ("money/second", "USD/h", "USD/min"),
}
# Units that figures are shown in are known without Pint, which takes long to load.
_PLAIN = {
    (dimension, shown.label): 1 / shown.per_si
    for dimension, kind in (
        (Dimension.LENGTH, "length"),
        (Dimension.AREA, "area"),
        (Dimension.MASS, "mass"),
        (Dimension.MASS_PER_AREA, "rate"),
    )
    for shown in (getattr(US, kind), getattr(METRIC, kind))
}
_PRICES = (Dimension.PRICE_PER_MASS, Dimension.PRICE_PER_AREA, Dimension.PRICE_PER_TIME)

_BUSHEL_TRAPS = (
    Dimension.MASS,
    Dimension.MASS_PER_AREA,
    Dimension.MASS_PER_TIME,
    Dimension.PRICE_PER_MASS,
)

# Beyond anything on a farm in any SI unit, and below it.
_MOST, _NOTHING = 1e15, 1e-18
_NUMBER = re.compile(r"[+\-]?(?:\d[\d.,]*|[.,]\d+)(?:[eE][+-]?\d+)?")
_FRACTION = re.compile(r"(?:(\d+)[ \-])?(\d+)/(\d+)(?=[^\d/.,])")
_FEET_INCHES = re.compile(
    r"([\d.]+)\s*(?:ft|foot|feet|')\s*([\d.]+)\s*(?:in|inch|inches|\"|'')", re.IGNORECASE
)
_CURRENCY = re.compile(r"[$€£¥]|(?<![A-Za-z])[A-Z]{3}(?![A-Za-z])")


@lru_cache(maxsize=1024)
def unit_factor(unit: str, dimension: Dimension) -> float | None:
    """SI value of one unit, as people spell it in headers; None when it measures something else.

    ``"lb/ac"``, ``"lbs/acre"``, ``"kg ha-1"``, ``"mph"``; a price starts with its currency
    (``"USD/ton"``).
    """
    if (dimension, unit) in _PLAIN:
        return _PLAIN[dimension, unit]
    if dimension in _PRICES:
        unit = _CURRENCY.sub("money", unit, count=1)
    parsed = spelled_unit(unit)
    si = registry().parse_units(_UNITS[dimension][0])
    if parsed is None or parsed.dimensionality != si.dimensionality:
        return None
    one = registry().Quantity(1.0, parsed)
    if dimension is Dimension.LENGTH and len([*one.unit_items()]) > 1:
        return None  # gallons per acre come to inches, and are none
    return float(one.m_as(si))


def example_unit(dimension: Dimension) -> str:
    """Return a unit to show in advice."""
    return _UNITS[dimension][1]


def price_currency(text: str) -> str | None:
    """Return the currency sign or code a price is written with; None when it has none."""
    found = _CURRENCY.search(text)
    return found.group() if found else None


def parse_quantity(text: str, dimension: Dimension, *, file: str = "", place: str = "") -> float:
    """Read a quantity written with its unit into SI (money per kilogram for a price).

    ``20 ft``, ``7 1/2 in``, ``20' 6"``, ``12,5 m``, ``840 USD/ton``; ``file`` and ``place`` are
    named in the error.
    """

    def error(wrong: str, remedy: str = "") -> InputError:
        _, first, second = _UNITS[dimension]
        what = tr("a {kind}", kind=tr(dimension.value))
        if dimension.value[0] in "aeiou":
            what = tr("an {kind}", kind=tr(dimension.value))
        usual = tr(
            'Write {what} with its unit, such as "20 {first}" or "20 {second}".',
            what=what,
            first=first,
            second=second,
        )
        return InputError.at(file or "quantity", place, wrong, remedy or usual)

    text = text.strip().translate(TYPOGRAPHY)
    if dimension is Dimension.LENGTH and (pair := _FEET_INCHES.fullmatch(text)):
        return _sure_number(pair[1], error) * FOOT_M + _sure_number(pair[2], error) * FOOT_M / 12
    rest = text
    if dimension in _PRICES:
        rest = _CURRENCY.sub("", text, count=1).strip()
        if rest == text:
            raise error(tr('"{said}" does not say in which currency.', said=text))
    number, unit = _split(rest, error)
    if dimension in _PRICES:
        if not unit:
            raise error(tr('"{said}" does not say for how much.', said=text))
        unit = f"USD{unit}" if unit.startswith("/") else f"USD {unit}"
    elif not unit:
        raise error(tr('"{said}" has no unit.', said=text))
    factor = unit_factor(unit, dimension)
    if factor is None:
        raise error(*_why_refused(text, unit, dimension))
    value = number * factor
    if not math.isfinite(value):
        raise error(tr('"{said}" is not a finite number.', said=text))
    if abs(value) > _MOST:
        raise error(
            tr('"{said}" is too large to be true.', said=text), tr("Check the number and its unit.")
        )
    return value if abs(value) > _NOTHING else 0.0


def plain_number(text: str) -> float | None:
    """Read a number alone, with a decimal point or comma; None when it is none."""
    try:
        return float(text.strip().replace(",", "."))
    except ValueError:
        return None


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
        raise error(
            tr('"{said}" does not start with a number.', said=text)
            if text
            else tr("The value is empty.")
        )
    return _sure_number(found.group(), error), text[found.end() :].strip()


def _sure_number(text: str, error: Any) -> float:
    """Read a number with a decimal point or comma; refuse what could be either."""
    digits = text
    unsigned = digits.lstrip("+-")
    if re.fullmatch(r"[1-9]\d{0,2},\d{3}", unsigned):
        plain, point = digits.replace(",", ""), f"{float(digits.replace(',', '.')):g}"
        raise error(
            tr('"{said}" may mean {plain} or {point}.', said=text, plain=plain, point=point),
            tr('Write "{plain}" or "{point}".', plain=plain, point=point),
        )
    if re.fullmatch(r"\d{1,3}(?:,\d{3})+(?:\.\d*)?", unsigned) and unsigned[0] != "0":
        digits = digits.replace(",", "")
    elif re.fullmatch(r"\d{1,3}(?:\.\d{3})*,\d*", unsigned) or re.fullmatch(r"\d*,\d+", unsigned):
        digits = digits.replace(".", "").replace(",", ".")
    try:
        return float(digits)
    except ValueError:
        raise error(tr('"{said}" is not a number.', said=text)) from None


def _why_refused(text: str, unit: str, dimension: Dimension) -> tuple[str, str]:
    """Say why a unit was refused."""
    if re.search(r"\b(bu|bushels?)\b", unit, re.IGNORECASE) and dimension in _BUSHEL_TRAPS:
        return (
            tr(
                '"{said}" counts bushels, which are a volume: what one weighs depends on the crop.',
                said=text,
            ),
            tr("Write a mass, such as lb or kg."),
        )
    if AMBIGUOUS.search(unit):
        return (
            tr('the unit of "{said}" can be read two ways.', said=text),
            tr('Write "ton" (2000 lb), "tonne" or "t" (1000 kg), or "mg".'),
        )
    other = next((d for d in Dimension if unit_factor(unit, d) is not None), None)
    if other is not None:
        return tr(
            '"{said}" is a {other}, not a {dimension}.',
            said=text,
            other=tr(other.value),
            dimension=tr(dimension.value),
        ), ""
    known = (*spellings(), *(unit for _, *units in _UNITS.values() for unit in units))
    near = difflib.get_close_matches(unit.lower(), known, n=1, cutoff=0.75)
    meant = tr(' Did you mean "{near}"?', near=near[0]) if near else ""
    said = tr('"{said}" has a unit that is not known: "{unit}".', said=text, unit=unit)
    return f"{said}{meant}", ""
