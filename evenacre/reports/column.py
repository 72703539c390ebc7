"""A figure declared once: its name in every output, its quantity and where it comes from."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from types import EllipsisType
from typing import Any, Literal

from evenacre.language import tr
from evenacre.reports import figure_text
from evenacre.reports import quantities as q

Output = Literal["json", "table", "page"]
OUTPUTS: tuple[Output, ...] = ("json", "table", "page")


Head = str | Callable[[q.Display], str] | None


@dataclass(frozen=True)
class Column:
    """One figure or word of every row of a table; what has no name or head is not there."""

    key: str  # name in JSON; ends in the SI unit
    of: str | Callable[[Any], Any] = ""  # dotted attribute or function of a row; else the key
    quantity: q.Quantity = q.WORDS
    name: str | None = None  # in tables of data, without the unit
    head: Head = None  # on the page
    digits: int = 3  # that it deserves on a page
    text: Callable[[Any, q.Display], str] | None = None  # in place of the quantity's
    told: Callable[[Any, q.Display], str] | None = None  # the same, from the whole row
    cell: Callable[[Any], Any] | None = None  # in place of the quantity's
    json: bool = True
    shows: tuple[str, ...] = ()  # keys of other columns that this one gives too
    why: str = ""  # a figure is not in every output
    means: str = ""  # what it is, in a sentence
    rows: Table | None = None  # of which the value is a row, or rows, in JSON

    def value(self, row: Any) -> Any:
        """Value of a row in SI; None where the way to it ends."""
        if callable(self.of):
            return self.of(row)
        for name in (self.of or self.key).split("."):
            row = None if row is None else getattr(row, name)
        return row

    def stands(self, output: Output) -> bool:
        """Whether it is in an output, if its table is."""
        given = {"json": self.json, "table": self.name is not None, "page": self.head is not None}
        return given[output]

    def in_table(self, row: Any, display: q.Display) -> Any:
        """What stands in a table of data."""
        value = self.value(row)
        return self.cell(value) if self.cell else self.quantity.cell(value, display)

    def on_page(self, row: Any, display: q.Display) -> str:
        """What stands on a page; nothing where nothing is known."""
        if self.told:
            return self.told(row, display)
        value = self.value(row)
        return "" if value is None else self.said(value, display)

    def said(self, value: Any, display: q.Display) -> str:
        """Write a value as on a page."""
        if self.text:
            return self.text(value, display)
        return self.quantity.text(value, display, self.digits)

    def heading(self, display: q.Display) -> str:
        """Name on a page."""
        return self.head(display) if callable(self.head) else tr(str(self.head))

    def title(self, display: q.Display) -> str:
        """Name in a table of data, with its unit."""
        unit = self.quantity.unit
        return f"{self.name} [{unit(display)}]" if unit else str(self.name)


def _parted(way: str) -> tuple[str, str]:
    """Key of a column and way to its value."""
    at = way.rpartition("=")[2]
    return way.rpartition("=")[0] or at.rpartition(".")[2], at


def named(
    way: str,
    head: Head | EllipsisType = ...,
    name: str | EllipsisType | None = ...,
    quantity: q.Quantity | None = None,
    of: str | Callable[[Any], Any] = "",
    **more: Any,
) -> Column:
    """Declare a column under its key's own words, in the quantity of the unit its key ends in.

    The key is the last name of the dotted way to the value, unless it is given: ``key=way``.
    """
    key, at = _parted(way)
    unit = next((unit for unit in q.BY_UNIT if key.endswith(unit)), "")
    words = key.removesuffix(unit).replace("_", " ")
    return Column(
        key,
        of or at,
        quantity or q.BY_UNIT.get(unit, q.WORDS),
        words if isinstance(name, EllipsisType) else name,
        words[:1].upper() + words[1:] if isinstance(head, EllipsisType) else head,
        **more,
    )


def several(ways: str, head: Head | EllipsisType = ..., **more: Any) -> tuple[Column, ...]:
    """Declare columns alike, by the ways to their values."""
    return tuple(named(way, head, **more) for way in ways.split())


def joined(
    key: str, head: Head, told: Callable[[Any, q.Display], str], shows: str = "", **more: Any
) -> Column:
    """Declare a cell of the page that says several figures of its row."""
    return Column(key, head=head, told=told, shows=tuple(shows.split()), json=False, **more)


INTERVALS = Column("interval_90", quantity=q.NESTED)
"""90 % intervals by key, for programs; tables of data have one of intervals."""


def mass_between(key: str) -> Column:
    """Declare the 90 % interval of a mass on the page."""

    def told(row: Any, display: q.Display) -> str:
        ends = row.interval_90.get(key)
        return "" if ends is None else figure_text.mass_between(ends[0], ends[1], display.units)

    stem = key.removesuffix("_kg")
    return joined(f"{stem}_between", "90 % interval", told)


PLACE = (
    named("lon", None, "longitude", q.DEGREES),
    named("lat", None, "latitude", q.DEGREES),
    joined("place", "Latitude, longitude", lambda r, _: f"{r.lat:.6f}, {r.lon:.6f}", "lon lat"),
)
"""Where something is: in one cell on the page."""


def nested(key: str, rows: Table, of: str | Callable[[Any], Any] = "", shows: str = "") -> Column:
    """Declare rows, or a row, of another table within this one, in JSON alone."""
    return Column(key, of, q.NESTED, shows=tuple(shows.split()), rows=rows)


Remark = str | Callable[[Sequence[Any], q.Display], str]


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
    stacked: bool = False  # on a phone: each row below the other, a line for each figure
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
        return [c for c in map(self.by_key.__getitem__, keys) if stand and c.stands(output)]

    def texts(self, row: Any, display: q.Display) -> dict[str, Any]:
        """Every value of a row as text, by key, for sentences; rows within it likewise."""
        return {column.key: _text(column, row, display) for column in self.columns}


def json_only(name: str, *columns: Column | str, why: str, **quantities: q.Quantity) -> Table:
    """Declare a table that stands in JSON alone, and why.

    A text stands for columns, each by the way to its value or by ``key=way``; quantities are those
    of keys whose end does not tell.
    """

    def parted(part: Column | str) -> Iterable[Column]:
        if isinstance(part, Column):
            return (part,)
        return (named(w, None, None, quantities.get(_parted(w)[0])) for w in part.split())

    every = itertools.chain.from_iterable(map(parted, columns))
    return Table(name, tuple(every), outputs=("json",), why=why)


def _text(column: Column, row: Any, display: q.Display) -> Any:
    if column.rows is None:
        return column.on_page(row, display)
    within = column.value(row)
    if isinstance(within, list | tuple):
        return [column.rows.texts(one, display) for one in within]
    return None if within is None else column.rows.texts(within, display)
