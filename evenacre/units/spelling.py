"""Units as people spell them, made known to Pint.

The registry is our own and holds only the units met on farms: Pint's stock one takes "acre"
from the survey foot, reads "ac" as attocoulomb, and so on.
"""

from __future__ import annotations

import re
import sys
from functools import cache, lru_cache
from types import ModuleType
from typing import Any

# Name, value, then every spelling taken (case does not matter, nor does a plural s). Factors are
# those of NIST SP 811 (2008), appendix B, or of a definition named here: tonne, litre, hectare and
# are, BIPM SI Brochure (9th edition), table 8 and its earlier editions; quintal, 100 kg (FAO); a
# decare is ten ares; the bushel is that of the United States (NIST Handbook 44, appendix C).
_DEFINITIONS = """
ten = 10
metre = [length] = m = meter = mtr
kilogram = [mass] = kg = kilo
second = [time] = s = sec
money = [money]
seed = [count]
kilometre = 1000 * metre = km = kilometer
decimetre = 0.1 * metre = dm
centimetre = 0.01 * metre = cm = centimeter
millimetre = 0.001 * metre = mm = millimeter
foot = 0.3048 * metre = ft = feet
inch = 0.0254 * metre = in_ = inches
yard = 0.9144 * metre = yd
rod = 16.5 * foot
chain = 66 * foot
mile = 1609.344 * metre = mi
nautical_mile = 1852 * metre = nmi
hectare = 10000 * metre**2 = ha
are = 100 * metre**2
decare = 1000 * metre**2 = daa = dekar = stremma
acre = 43560 * foot**2 = ac
gram = 0.001 * kilogram = g = gm
milligram = 0.001 * gram = mg
quintal = 100 * kilogram = q = dt
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
week = 7 * day = wk
mile_per_hour = mile / hour = mph
kilometre_per_hour = kilometre / hour = kph = kmh = kmph
foot_per_second = foot / second = fps
knot = nautical_mile / hour = kn = kt
litre = 0.001 * metre**3 = l = liter = ltr
millilitre = 0.001 * litre = ml
gallon = 231 * inch**3 = gal = us_gallon = us_gal
imperial_gallon = 4.54609 * litre = imperial_gal = imp_gal
quart = gallon / 4 = qt
pint = gallon / 8 = pt
fluid_ounce = gallon / 128 = fl_oz = floz
bushel = 2150.42 * inch**3 = bu
"""

# Superscripts, the minus sign, primes and curly quotes, as word processors put them.
TYPOGRAPHY = str.maketrans("²³⁻¹\u2212\u2032\u2019\u2033\u201d", "23-1-''\"\"")

AMBIGUOUS = re.compile(r"(?<![A-Za-z])(T|MG)(?![A-Za-z])")
"""Tonne or ton, milligram or megagram: a factor of a guess."""

# By these an "a" is an acre ("lb/A"); alone or by a kilogram it may be an are.
_OF_ACRES = "lb|pound|oz|ounce|cwt|ton|gal|gallon|bu|bushel|seed"


@cache
def _pint() -> ModuleType:
    """Import pint without dask, for whose arrays it asks: that takes longer than all the rest."""
    absent = "dask" not in sys.modules
    if absent:
        sys.modules["dask"] = None  # type: ignore[assignment]
    try:
        import pint

        return pint
    finally:
        if absent:
            del sys.modules["dask"]


@cache
def registry() -> Any:
    """Return the registry of every unit known here."""
    return _pint().UnitRegistry(_DEFINITIONS.strip().splitlines(), cache_folder=None)


def _expression(unit: str) -> str | None:
    """Turn a spelled unit into a product of known names; None when it cannot be one."""
    text = re.sub(r"(?<=[A-Za-z])\.", "", unit.strip()).translate(TYPOGRAPHY)
    if AMBIGUOUS.search(text):
        return None
    text = re.sub(r"(?<![A-Za-z])Mg(?![A-Za-z])", "tonne", text).lower()
    text = re.sub(r"''|\"|(?<![a-z_])in(?![a-z_])", "in_", text)
    text = text.replace("'", "ft")
    text = re.sub(rf"^({_OF_ACRES})(s?\s*[/ ]\s*)a(?=$|-)", r"\1\2acre", text)
    text = re.sub(r"^(?=/|per\b)", "seed ", text)  # a bare "/lb" counts seeds
    text = re.sub(
        r"\b(metric|short|long|us|imperial|imp|fluid|fl|nautical) (?=[a-z])", r"\1_", text
    )
    text = re.sub(r"\bfluid_oz\b", "fl_oz", text)
    text = re.sub(r"\bper\b", "/", text)
    text = re.sub(r"/\s*thousand\b", "/1000", text)
    text = re.sub(r"/\s*(10+|1[, ]000)\s*(?=[a-z])", _tens, text)
    text = re.sub(r"\b(?:square|sq)[ _]?([a-z]\w*)", r"\g<1>2", text)
    text = re.sub(r"\b(?:cubic|cu)[ _]?([a-z]\w*)", r"\g<1>3", text)
    text = re.sub(r"([a-z_])\s*(?:\^|\*\*)?\s*(-?[123])(?!\d)", r"\1**\2", text)
    text = re.sub(r"\s*/\s*", "/", text)
    text = re.sub(r"(?<=[\w])\s*[·* ]\s*(?=[a-z])", "*", text.strip())
    factor = r"[a-z_]+(?:\*\*-?[123])?"
    return text if re.fullmatch(rf"{factor}(?:[*/]{factor})*", text) else None


def _tens(number: re.Match[str]) -> str:
    """Write a power of ten below a stroke as a unit of its own: by so many square feet."""
    return "/ten" * number[1].count("0") + "/"


@lru_cache(maxsize=1024)
def spelled_unit(unit: str) -> Any:
    """Return the pint unit of a spelling, or None."""
    expression = _expression(unit)
    if expression is None:
        return None
    try:
        return registry().parse_units(expression)
    except (_pint().errors.PintError, AttributeError, ValueError, TypeError):
        return None


def spellings() -> tuple[str, ...]:
    """Return the words known as units, for advice."""
    return tuple(dict.fromkeys(re.findall(r"\b[a-z]{3,}\b", _DEFINITIONS)))
