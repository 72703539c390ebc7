"""Kinds of values, and how each is written in tables of data and on pages."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from evenacre.language import Filler, mark, tr
from evenacre.reports import figure_text
from evenacre.reports.sentences.data_words import in_words
from evenacre.units.display import DisplayUnit, UnitSystem


@dataclass(frozen=True)
class Display:
    """What the reader counts in; times are on the log's own clock where no zone is given."""

    units: UnitSystem
    currency: str = "USD"
    zone: str | None = None

    def at(self, zone: str | None) -> Display:
        """The same in another time zone."""
        return replace(self, zone=zone)


@dataclass(frozen=True)
class Quantity:
    """A kind of value, and how it is written."""

    cell: Callable[[Any, Display], Any]  # in a table of data
    text: Callable[[Any, Display, int], str]  # on a page, to so many digits
    unit: Callable[[Display], str] | None = None  # stands in a column's name
    si: str = ""  # unit of the value itself; words have none


def measured(
    si: str,
    unit: Callable[[Display], DisplayUnit],
    text: Callable[[Any, Display, int], str] | None = None,
) -> Quantity:
    """Make the quantity of an SI value that is shown in a unit of the reader's."""

    def cell(value: Any, display: Display) -> float:
        number = math.nan if value is None else unit(display).of(float(value))
        return figure_text.significant(number)

    def plain(value: Any, display: Display, digits: int) -> str:
        return unit(display).text(value, digits)

    return Quantity(cell, text or plain, lambda display: unit(display).label, si)


def worded(words: Callable[[Any], str], cell: Callable[[Any], Any] | None = None) -> Quantity:
    """Make the quantity of a value that is written in words, the same for every reader."""
    return Quantity(lambda v, _: (cell or words)(v), lambda v, _, __: words(v))


def plain_number(si: str = "", text: str = "{:g}") -> Quantity:
    """Make the quantity of a number that is the same in any system of units."""
    return Quantity(lambda v, _: v, lambda v, _, __: Filler().format(text, v), si=si or "1")


def _yes_no(value: Any) -> str:
    return mark("yes") if value else mark("no")


WORDS = worded(lambda v: "" if v is None else str(v))
OUR_WORDS = Quantity(lambda v, _: v or "", lambda v, _, __: in_words(v or ""))
"""Words of ours that programs read too, such as kinds: people read them in their language."""
NAMES = worded(", ".join)
YES_NO = Quantity(lambda v, _: _yes_no(v), lambda v, _, __: tr(_yes_no(v)))
COUNT = plain_number(text="{:,}")
NUMBER = plain_number()
AREA = measured("m2", lambda d: d.units.area)
SMALL_AREA = measured(
    "m2", lambda d: d.units.small_area, lambda v, d, _: figure_text.size(v, d.units)
)
PLACE_AREA = measured("m2", lambda d: d.units.area, SMALL_AREA.text)
"""The size of a place, in tables of data in the unit of the ground it is part of."""
MASS = measured("kg", lambda d: d.units.mass)
RATE = measured("kg/m2", lambda d: d.units.rate)
TOLD_RATE = measured(
    "kg/m2", lambda d: d.units.rate, lambda v, d, _: figure_text.told_rate(v, d.units)
)
LENGTH = measured("m", lambda d: d.units.length)
DISTANCE = measured("m", lambda d: d.units.distance)
SPEED = measured("m/s", lambda d: d.units.speed)
CAPACITY = measured("m2/s", lambda d: d.units.capacity)
HOURS = measured(
    "s", lambda _: DisplayUnit("h", 1 / 3600), lambda v, _, __: figure_text.duration(v)
)
SHARE = measured("1", lambda _: DisplayUnit("%", 100.0), lambda v, _, __: figure_text.share(v, 1.0))
CHANCE = replace(SHARE, text=lambda v, _, __: figure_text.chance(v))
MONEY = measured(
    "money",
    lambda d: DisplayUnit(d.currency, 1.0),
    lambda v, d, _: figure_text.money(v, d.currency),
)
TO_DRIVE = measured("m", lambda d: d.units.length, lambda v, d, _: figure_text.distance(v, d.units))
DEGREES = Quantity(lambda v, _: round(float(v), 7), lambda v, _, __: f"{v:.6f}", si="deg")
INSTANT = Quantity(
    lambda v, d: "" if v is None else figure_text.iso_time(v, d.zone),
    lambda v, d, _: figure_text.clock(v, d.zone),
    si="s",
)
"""A time of the log: ISO 8601 in tables, the time of day on the page."""
NESTED = worded(str)
"""Rows within a row, in JSON alone."""
OF_A_KIND = Quantity(lambda v, d: v[1].cell(v[0], d), lambda v, d, n: v[1].text(v[0], d, n))
"""A value and its quantity, where those of a column's rows differ; a `UNIT` stands beside it."""
UNIT = Quantity(lambda kind, d: kind.unit(d), lambda kind, d, _: kind.unit(d))
"""The unit of a quantity."""
WITH_ERROR = replace(
    NESTED, text=lambda v, d, _: figure_text.plus_minus(v.kg, v.sigma_kg, d.units.mass)
)
"""A mass and its standard uncertainty: one record in JSON, one cell on the page."""

BY_UNIT = {
    "_kg_per_m2": RATE,
    "_m2_per_s": CAPACITY,
    "_m2": AREA,
    "_kg": MASS,
    "_mps": SPEED,
    "_m": LENGTH,
    "_s": HOURS,
}
"""Quantities by the unit that a key ends in, the longest first."""
