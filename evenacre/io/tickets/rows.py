"""Lines of a table of load tickets, before they have meanings, and how well they were weighed."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from evenacre.errors import InputError
from evenacre.io.common.findings import Findings
from evenacre.io.common.suggestions import choice, did_you_mean, listed
from evenacre.io.tables.headers import Header, read_header
from evenacre.io.tables.record_table import RecordTable
from evenacre.io.tables.text_table import read_delimited
from evenacre.io.untrusted import budget
from evenacre.language import mark, tr
from evenacre.model import OperationPlan
from evenacre.units.display import POUND_KG
from evenacre.units.parsing import Dimension, parse_quantity, plain_number

_COLUMNS = {
    "time": ("time", "when", "date_time", "timestamp"),
    "event": ("event", "what", "kind"),
    "compartment": ("compartment", "bin", "tank", "hopper"),
    "product": ("product", "material"),
    "weight": ("weight", "mass", "amount", "net", "net_weight"),
    "weighed_by": ("weighed_by", "by", "weighed_with", "weighing"),
    "resolution": ("resolution", "division", "error"),
    "field": ("field",),
    "operation": ("operation", "job"),
}
_NEEDED = ("event", "weight")
_NUMBER_ONLY = re.compile(r"[-+]?[\d.,]+")
_REMEDY = mark(
    "A ticket table has columns event (filled, remaining or cleaned out) and weight, and "
    "as needed time, compartment, product, weighed by, resolution, field, operation."
)

# All common practice, no source: the division of a truck scale, and what people say of the rest.
_TRUCK_DIVISION_KG = 20 * POUND_KG
_SHARES = {"load cell": 0.01, "count": 0.005, "estimate": 0.05}
_WORDS = (
    ("load cell", ("cell", "cells", "cart scale", "monitor")),
    ("scale", ("scale", "scales", "weighbridge", "elevator")),
    ("count", ("bag", "bags", "tote", "totes", "count", "tag", "tags", "label")),
    ("estimate", ("estimate", "estimated", "guess", "guessed", "sight", "volume", "eye")),
)
_FIGURE = re.compile(r"\(?\s*(?:\+/-|±)?\s*(\d[\d.,]*\s*(?:%|[A-Za-z]+))\s*\)?\s*$")


@dataclass(frozen=True)
class TicketRow:
    """A line of the table as written; empty texts where nothing stands."""

    file: str
    line: str
    stray: bool  # it names no field while others do, so nobody can tell where it went
    time: str
    event: str
    compartment: str
    product: str
    weight: str
    weighed_by: str
    resolution: str
    field: str
    operation: str

    @property
    def place(self) -> str:
        """File and line, as shown to people."""
        return f"{self.file}, {self.line}"

    @property
    def mass_kg(self) -> float:
        """The weight as written."""
        with in_column("weight"):
            return parse_quantity(self.weight, Dimension.MASS, file=self.file, place=self.line)

    def error(self, what: str, remedy: str, column: str) -> InputError:
        """Say what is wrong with the line, in a column by what it holds."""
        return InputError.at(self.file, self.line, what, remedy, (column,))


@contextmanager
def in_column(name: str) -> Iterator[None]:
    """Let problems lead to the column that holds what they are about."""
    try:
        yield
    except InputError as error:
        raise InputError(replace(one, keys=(name,)) for one in error.problems) from None


def read_rows(path: Path, findings: Findings) -> list[TicketRow]:
    """Read a ticket table, every cell still text; a unit in a header is added to its cells."""
    if not path.exists():
        raise InputError.at(path.name, "", tr("There is no such file."), tr("Check the name."))
    table = read_delimited(path, findings, budget.NOTES)
    columns = _columns(table)
    weight = columns["weight"]
    bare = weight.words[-1] if weight.unit(Dimension.MASS) is not None else ""
    unit = weight.unit_text or bare
    cells = {
        role: table.words(columns[role].name if role in columns else None) for role in _COLUMNS
    }
    cells["weight"] = [
        f"{text} {unit}" if unit and _NUMBER_ONLY.fullmatch(text) else text
        for text in cells["weight"]
    ]
    fields = any(cells["field"])
    rows = [
        TicketRow(path.name, table.place(i), fields and not filled["field"], **filled)
        for i, texts in enumerate(zip(*cells.values(), strict=True))
        if any((filled := dict(zip(cells, texts, strict=True))).values())
    ]
    units = {re.sub(r"^[-+\d.,\s]+", "", row.weight).lower().rstrip("s.") for row in rows} - {""}
    if len(units) > 1:
        mixed = f"the weights are in mixed units ({', '.join(sorted(units))})"
        findings.warn(tr("{name}: {mixed}; each was read in its own.", name=path.name, mixed=mixed))
    return rows


def _columns(table: RecordTable) -> dict[str, Header]:
    found = ticket_columns(table.names)
    missing = [role for role in _NEEDED if role not in found]
    if missing:
        what = tr(
            "There is no column {listed}; it has {listed_2}.",
            listed=listed(missing),
            listed_2=listed(table.names),
        )
        remedy = f"{tr(_REMEDY)} {did_you_mean(missing[0], table.names)}".strip()
        raise InputError.at(table.file, "", what, remedy)
    return found


def ticket_columns(names: Sequence[str]) -> dict[str, Header]:
    """Columns of a ticket table by what they hold, as a `TicketRow` calls it."""
    found: dict[str, Header] = {}
    for header in map(read_header, names):
        words = list(header.words)  # without the unit that a name may end with
        if not header.unit_text and len(words) > 1 and header.unit(Dimension.MASS) is not None:
            words.pop()
        name = "_".join(words)
        for role in (role for role, spellings in _COLUMNS.items() if name in spellings):
            found.setdefault(role, header)
    return found


def own_rows(rows: list[TicketRow], plan: OperationPlan, findings: Findings) -> list[TicketRow]:
    """Lines that belong to the operation; those that belong to none are spoken of.

    What a line leaves out of field and operation fits all.
    """
    own = [
        row
        for row in rows
        if not row.stray and row.field in ("", plan.field.name) and row.operation in ("", plan.name)
    ]
    for row in (r for r in rows if r.stray):
        findings.warn(
            tr(
                "{place}: this ticket ({event} {product} {weight}) names no field, so it is "
                "counted in no load. Write the field it went to.",
                place=row.place,
                event=row.event,
                product=row.product,
                weight=row.weight,
            )
        )
    if rows and not own:
        known = {row.field for row in rows} | {row.operation for row in rows}
        findings.warn(
            tr(
                "{file}: no ticket is of {name} on {name_2}. ",
                file=rows[0].file,
                name=plan.name,
                name_2=plan.field.name,
            )
            + choice(plan.field.name, known)
        )
    return own


def way_of_weighing(text: str) -> tuple[str, str]:
    """Part ``"truck scale 20 lb"`` into a known way and the figure given with it.

    The way is ``"scale"``, ``"load cell"``, ``"count"`` or ``"estimate"``, the figure a division
    with its unit or a percentage; either is empty when not known.
    """
    found = _FIGURE.search(text)
    words = f" {re.sub(r'[^a-z]+', ' ', text.lower())} "
    ways = (way for way, spoken in _WORDS if any(f" {word} " in words for word in spoken))
    return next(ways, ""), found[1] if found else ""


def weight_sigma_kg(
    way: str, mass_kg: float, figure: str, *, readings: int, file: str = "", place: str = ""
) -> float:
    """Standard uncertainty of one weight.

    A scale that reads in steps of d errs evenly within d / 2 either way, d / sqrt(12)
    (JCGM 100:2008, 4.3.7), each time it is read: twice when the weight is the difference of two
    readings. A percentage is a standard uncertainty; other figures are refused. A way that is not
    known counts as an estimate, and the usual figure where none is given.
    """
    if figure.endswith("%"):
        percent = plain_number(figure[:-1])
        if percent is None or not 0 <= percent / 100.0 < 1:
            what = tr('"{figure}" is not a percentage of error.', figure=figure)
            raise InputError.at(file, place, what, tr('Write it as "1 %".'))
        return percent / 100.0 * mass_kg
    exact = way == "scale" or (way == "count" and bool(figure))
    division = _TRUCK_DIVISION_KG if way == "scale" else 0.0
    if figure:
        division = abs(parse_quantity(figure, Dimension.MASS, file=file, place=place))
    each = division / math.sqrt(12.0) * math.sqrt(readings)
    return math.hypot(each, 0.0 if exact else _share(way) * mass_kg)


def usual_error(way: str) -> str:
    """Say what is assumed of a way of weighing that comes with no figure."""
    if way == "scale":
        return "a scale that reads in steps of 20 lb (9 kg)"
    return f"a standard uncertainty of {100 * _share(way):g} %"


def _share(way: str) -> float:
    return _SHARES.get(way, _SHARES["estimate"])
