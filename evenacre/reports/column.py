"""A figure declared once: its name in every output, its quantity and where it comes from."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from operator import attrgetter
from typing import Any, Literal

from evenacre.reports import figure_text
from evenacre.units.display import DisplayUnit, UnitSystem

Output = Literal["json", "table", "page"]
OUTPUTS: tuple[Output, ...] = ("json", "table", "page")


@dataclass(frozen=True)
class Display:
    """What the reader counts in."""

    units: UnitSystem
    currency: str = "USD"


@dataclass(frozen=True)
class Quantity:
    """A kind of value, and how it is written.

    Attributes
    ----------
    cell : callable
        From a value and a display to what stands in a table of data.
    text : callable
        From a value, a display and a number of digits to what stands on a page.
    unit : callable, optional
        From a display to the unit that stands in a column's name.
    si : str
        Unit of the value itself; words have none.
    """

    cell: Callable[[Any, Display], Any]
    text: Callable[[Any, Display, int], str]
    unit: Callable[[Display], str] | None = None
    si: str = ""


def measured(
    si: str,
    unit: Callable[[Display], DisplayUnit],
    text: Callable[[Any, Display, int], str] | None = None,
) -> Quantity:
    """Make the quantity of an SI value that is shown in a unit of the reader's."""

    def cell(value: Any, display: Display) -> float:
        number = float("nan") if value is None else unit(display).of(float(value))
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
NESTED = worded(str)
"""Rows within a row, in JSON alone."""


@dataclass(frozen=True)
class Column:
    """One figure or word of every row of a table.

    Attributes
    ----------
    key : str
        Name in JSON and in frames, which ends in the SI unit.
    of : str or callable
        Attribute of a row, dotted, or a function of the row; the key where it is not given.
    quantity : Quantity
    name, head : str or None
        Name in tables of data (the unit is added) and on the page (a function where it has one);
        None where it is not there.
    digits : int
        That it deserves on a page.
    text : callable, optional
        In place of the quantity's way to write the value on a page.
    cell : callable, optional
        In place of the quantity's way to write the value into a table of data.
    json : bool
        Whether it stands in JSON.
    shows : tuple of str
        Keys of other columns that this one gives on the page.
    why : str
        Why a figure is not in every output.
    """

    key: str
    of: str | Callable[[Any], Any] = ""
    quantity: Quantity = WORDS
    name: str | None = None
    head: str | Callable[[Display], str] | None = None
    digits: int = 3
    text: Callable[[Any, Display], str] | None = None
    cell: Callable[[Any], Any] | None = None
    json: bool = True
    shows: tuple[str, ...] = ()
    why: str = ""

    def value(self, row: Any) -> Any:
        """Value of a row in SI."""
        return self.of(row) if callable(self.of) else attrgetter(self.of or self.key)(row)

    def in_table(self, row: Any, display: Display) -> Any:
        """What stands in a table of data."""
        value = self.value(row)
        return self.cell(value) if self.cell else self.quantity.cell(value, display)

    def on_page(self, row: Any, display: Display) -> str:
        """What stands on a page; nothing where nothing is known."""
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


Remark = str | Callable[[Sequence[Any], Display], str]


@dataclass(frozen=True)
class Table:
    """Rows of one kind, and every figure of them.

    Attributes
    ----------
    name : str
        Of the file; the key in JSON.
    columns : tuple of Column
        In the order of tables of data.
    title : str or callable
        On the page.
    json, page : tuple of str
        Keys in the order of JSON and of the page, where it is another.
    words : int
        How many columns from the left of the page are words; the others are figures.
    folded : bool
        Whether it is folded away on the page at first.
    remark : str or callable
        A sentence below it on the page.
    """

    name: str
    columns: tuple[Column, ...]
    title: str | Callable[[Sequence[Any]], str] = ""
    json: tuple[str, ...] = ()
    page: tuple[str, ...] = ()
    words: int = 1
    folded: bool = False
    remark: Remark = ""
    by_key: Mapping[str, Column] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "by_key", {c.key: c for c in self.columns})

    def of(self, output: Output) -> list[Column]:
        """Columns of an output, in its order."""
        order = {"json": self.json, "page": self.page}.get(output) or tuple(self.by_key)
        return [c for c in map(self.by_key.__getitem__, order) if _stands(c, output)]

    def given(self, output: Output) -> set[str]:
        """Keys that an output gives, by themselves or in a cell that joins several."""
        return {key for c in self.of(output) for key in (c.key, *c.shows)}


def _stands(column: Column, output: Output) -> bool:
    where = {"json": column.json, "table": column.name is not None, "page": column.head is not None}
    return where[output]
