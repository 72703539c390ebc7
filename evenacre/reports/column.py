"""A figure declared once: its name in every output, its quantity and where it comes from."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import EllipsisType
from typing import Any, Literal

from evenacre.reports import figure_text
from evenacre.units.display import DisplayUnit, UnitSystem

Output = Literal["json", "table", "page"]
OUTPUTS: tuple[Output, ...] = ("json", "table", "page")


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
        return figure_text.significant([number])[0]

    def plain(value: Any, display: Display, digits: int) -> str:
        return unit(display).text(value, digits)

    return Quantity(cell, text or plain, lambda display: unit(display).label, si)


def worded(words: Callable[[Any], str], cell: Callable[[Any], Any] | None = None) -> Quantity:
    """Make the quantity of a value that is written in words, the same for every reader."""
    return Quantity(lambda v, _: (cell or words)(v), lambda v, _, __: words(v))


def plain_number(si: str = "", text: str = "{:g}") -> Quantity:
    """Make the quantity of a number that is the same in any system of units."""
    return Quantity(lambda v, _: v, lambda v, _, __: text.format(v), si=si or "1")


def _share(value: Any, _: Display, __: int) -> str:
    return figure_text.share(value, 1.0)


WORDS = worded(lambda v: "" if v is None else str(v))
NAMES = worded(", ".join)
YES_NO = worded(lambda v: "yes" if v else "no")
COUNT = plain_number(text="{:,}")
NUMBER = plain_number()
AREA = measured("m2", lambda d: d.units.area, lambda v, d, n: figure_text.size(v, d.units, n))
SMALL_AREA = measured(
    "m2", lambda d: d.units.small_area, lambda v, d, n: figure_text.size(v, d.units, n)
)
MASS = measured("kg", lambda d: d.units.mass)
RATE = measured("kg/m2", lambda d: d.units.rate)
LENGTH = measured("m", lambda d: d.units.length)
DISTANCE = measured("m", lambda d: d.units.distance)
SPEED = measured("m/s", lambda d: d.units.speed)
CAPACITY = measured("m2/s", lambda d: d.units.capacity)
HOURS = measured(
    "s", lambda _: DisplayUnit("h", 1 / 3600), lambda v, _, __: figure_text.duration(v)
)
SHARE = measured("1", lambda _: DisplayUnit("%", 100.0), _share)
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
Head = str | Callable[[Display], str] | None


@dataclass(frozen=True)
class Column:
    """One figure or word of every row of a table; what has no name or head is not there."""

    key: str  # name in JSON; ends in the SI unit
    of: str | Callable[[Any], Any] = ""  # dotted attribute or function of a row; else the key
    quantity: Quantity = WORDS
    name: str | None = None  # in tables of data, without the unit
    head: Head = None  # on the page
    digits: int = 3  # that it deserves on a page
    text: Callable[[Any, Display], str] | None = None  # in place of the quantity's
    told: Callable[[Any, Display], str] | None = None  # the same, from the whole row
    cell: Callable[[Any], Any] | None = None  # in place of the quantity's
    json: bool = True
    shows: tuple[str, ...] = ()  # keys of other columns that this one gives too
    why: str = ""  # a figure is not in every output
    rows: Table | None = None  # of which the value is a row, or rows, in JSON

    def value(self, row: Any) -> Any:
        """Value of a row in SI; None where the way to it ends."""
        if callable(self.of):
            return self.of(row)
        for name in (self.of or self.key).split("."):
            row = None if row is None else getattr(row, name)
        return row

    @property
    def is_figure(self) -> bool:
        """Whether it is a figure of its own, not another way to show some."""
        return bool(self.quantity.si) and not (self.shows and not self.json)

    def in_table(self, row: Any, display: Display) -> Any:
        """What stands in a table of data."""
        value = self.value(row)
        return self.cell(value) if self.cell else self.quantity.cell(value, display)

    def on_page(self, row: Any, display: Display) -> str:
        """What stands on a page; nothing where nothing is known."""
        if self.told:
            return self.told(row, display)
        value = self.value(row)
        if value is None:
            return ""
        if self.text:
            return self.text(value, display)
        return self.quantity.text(value, display, self.digits)

    def heading(self, display: Display) -> str:
        """Name on a page."""
        return self.head(display) if callable(self.head) else str(self.head)

    def title(self, display: Display) -> str:
        """Name in a table of data, with its unit."""
        unit = self.quantity.unit
        return f"{self.name} [{unit(display)}]" if unit else str(self.name)


def named(
    key: str,
    head: Head | EllipsisType = ...,
    name: str | EllipsisType | None = ...,
    quantity: Quantity | None = None,
    of: str | Callable[[Any], Any] = "",
    **more: Any,
) -> Column:
    """Declare a column under its key's own words, in the quantity of the unit its key ends in."""
    unit = next((unit for unit in BY_UNIT if key.endswith(unit)), "")
    words = key.removesuffix(unit).replace("_", " ")
    return Column(
        key,
        of,
        quantity or BY_UNIT.get(unit, WORDS),
        words if isinstance(name, EllipsisType) else name,
        words[:1].upper() + words[1:] if isinstance(head, EllipsisType) else head,
        **more,
    )


def joined(
    key: str, head: Head, told: Callable[[Any, Display], str], shows: str = "", **more: Any
) -> Column:
    """Declare a cell of the page that says several figures of its row."""
    return Column(key, head=head, told=told, shows=tuple(shows.split()), json=False, **more)


PLACE = (
    named("lon", None, "longitude", DEGREES),
    named("lat", None, "latitude", DEGREES),
    joined("place", "Latitude, longitude", lambda r, _: f"{r.lat:.6f}, {r.lon:.6f}", "lon lat"),
)
"""Where something is: in one cell on the page."""


def nested(key: str, rows: Table, of: str | Callable[[Any], Any] = "", shows: str = "") -> Column:
    """Declare rows, or a row, of another table within this one, in JSON alone."""
    return Column(key, of, NESTED, shows=tuple(shows.split()), rows=rows)


def in_json(keys: str, at: str = "", **quantities: Quantity) -> tuple[Column, ...]:
    """Declare columns that stand in JSON alone, in the quantity of the unit each key ends in.

    Parameters
    ----------
    keys : str
        Each the name of an attribute too.
    at : str
        The way from a row to what has those attributes, with a dot at its end.
    **quantities
        Of keys whose end does not tell.
    """
    return tuple(named(key, None, None, quantities.get(key), at + key) for key in keys.split())


Remark = str | Callable[[Sequence[Any], Display], str]


@dataclass(frozen=True)
class Table:
    """Rows of one kind, and every figure of them."""

    name: str  # of the file; the key in JSON
    columns: tuple[Column, ...]  # in the order of tables of data
    title: str | Callable[[Sequence[Any]], str] = ""  # on the page
    json: str | tuple[str, ...] = ()  # keys in order, where it is another
    page: str | tuple[str, ...] = ()
    words: int = 1  # columns from the left of the page that are words; the others are figures
    folded: bool = False  # at first, on the page
    remark: Remark = ""  # a sentence below it on the page
    outputs: tuple[Output, ...] = OUTPUTS
    why: str = ""  # it is not in every output
    by_key: Mapping[str, Column] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "by_key", {c.key: c for c in self.columns})

    def of(self, output: Output) -> list[Column]:
        """Columns of an output, in its order."""
        order = {"json": self.json, "page": self.page}.get(output) or tuple(self.by_key)
        keys = order.split() if isinstance(order, str) else order
        stand = output in self.outputs
        return [c for c in map(self.by_key.__getitem__, keys) if stand and _stands(c, output)]

    def texts(self, row: Any, display: Display) -> dict[str, Any]:
        """Every value of a row as text, by key, for sentences; rows within it likewise."""
        return {column.key: _text(column, row, display) for column in self.columns}

    def given(self, output: Output) -> set[str]:
        """Keys that an output gives, by themselves or in a cell that joins several."""
        return {key for c in self.of(output) for key in (c.key, *c.shows)}


def json_only(name: str, *columns: Column, why: str) -> Table:
    """Declare a table that stands in JSON alone, and why."""
    return Table(name, columns, outputs=("json",), why=why)


def _text(column: Column, row: Any, display: Display) -> Any:
    if column.rows is None:
        return column.on_page(row, display)
    within = column.value(row)
    if isinstance(within, list | tuple):
        return [column.rows.texts(one, display) for one in within]
    return None if within is None else column.rows.texts(within, display)


def _stands(column: Column, output: Output) -> bool:
    where = {"json": column.json, "table": column.name is not None, "page": column.head is not None}
    return where[output]
