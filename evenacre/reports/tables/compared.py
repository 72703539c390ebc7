"""Figures of two audits side by side, under the names that they are declared by."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from evenacre.language import mark, tr
from evenacre.reports.column import Column, Table
from evenacre.reports.printed_ground import PrintedGround
from evenacre.reports.quantities import MONEY, Display
from evenacre.reports.tables.audit import GROUND, WORK
from evenacre.reports.tables.audit_products import PRODUCTS
from evenacre.reports.writers.as_html import PageTable

Record = Mapping[str, Any]
_MOMENTS = ("start_s", "end_s")
_ALONE = replace(
    PRODUCTS,
    page="applied_in_field_kg mean_rate_kg_per_m2",
    outputs=("page",),
    why="what hangs on the rest of a product that only one job placed is told with that job",
)
_REMARK = mark(
    "More and less are of the right against the left. A difference that is marked with ? is within "
    "the doubt of the two: there may be none."
)


def compared_tables(
    one: Record, other: Record, heads: tuple[str, str], display: Display
) -> list[PageTable]:
    """The figures of two operations, each with the difference.

    Parameters
    ----------
    one, other : mapping
        Records of `evenacre.reports.tables.audit.OPERATIONS`, by key, in SI.
    heads : (str, str)
        What the two are called.
    display : Display
    """
    tables = [
        _shown(tr(str(table.title)), [*_rows(table, one, other, display)], heads)
        for table in (GROUND, WORK)
    ]
    rows: list[tuple[str, ...]] = []
    for product in dict.fromkeys([*_products(one), *_products(other)]):
        before, after = _products(one).get(product, {}), _products(other).get(product, {})
        # What only one of them placed has nothing to be held against.
        told = PRODUCTS if before and after else _ALONE
        for name, *cells in _rows(told, before, after, display):
            rows.append((f"{product}: {name[:1].lower()}{name[1:]}", *cells))
    tables.append(_shown(tr(str(PRODUCTS.title)), rows, heads))
    return [table for table in tables if table.rows]


def stored_rows(table: Table, record: Record, display: Display) -> list[tuple[str, str]]:
    """The figures of a record as names and texts, in the order of a table on a page."""
    told = ((column, _number(record, column)) for column in table.of("page"))
    return [
        (column.heading(display), _text(column, record, value, display))
        for column, value in told
        if value is not None and column.key not in _MOMENTS
    ]


def _shown(title: str, rows: Sequence[tuple[str, ...]], heads: tuple[str, str]) -> PageTable:
    return PageTable(title, ("", *heads, tr("Difference")), rows, words=1, remark=tr(_REMARK))


def _products(record: Record) -> dict[str, Record]:
    found = record.get("products")
    rows = found if isinstance(found, list) else []
    return {str(row.get("product")): row for row in rows if isinstance(row, Mapping)}


def _rows(table: Table, one: Record, other: Record, display: Display) -> Iterator[tuple[str, ...]]:
    for column in table.of("page"):
        before, after = (_number(record, column) for record in (one, other))
        # Prices of two years are not to be held against one another.
        unlike = column.key in _MOMENTS or column.quantity is MONEY
        if unlike or (before is None and after is None):
            continue
        yield (
            column.heading(display),
            _text(column, one, before, display),
            _text(column, other, after, display),
            _difference(column, one, other, display),
        )


def _text(column: Column, record: Record, value: float | None, display: Display) -> str:
    if value is None:
        return ""
    if column in GROUND.columns:
        return PrintedGround(record, display.units).text(column.key)
    return column.said(value, display)


def _number(record: Record, column: Column) -> float | None:
    value = record.get(column.key)
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return value if is_number else None


def _difference(column: Column, one: Record, other: Record, display: Display) -> str:
    before, after = (_number(record, column) for record in (one, other))
    if before is None or after is None:
        return ""
    if column.said(before, display) == column.said(after, display):
        return tr("none")
    apart = after - before
    text = column.said(abs(apart), display)
    doubt = [_doubt(record, column.key) for record in (one, other)]
    known = [half for half in doubt if half is not None]
    within = len(known) == 2 and abs(apart) <= math.hypot(*known)
    return f"{text} {tr('more') if apart > 0 else tr('less')}{' ?' if within else ''}"


def _doubt(record: Record, key: str) -> float | None:
    """Half of the 90 % interval of a figure, SI; None where none is known."""
    intervals = record.get("interval_90")
    ends = intervals.get(key) if isinstance(intervals, Mapping) else None
    try:
        low, high = ends  # type: ignore[misc]
        return float(high - low) / 2
    except (TypeError, ValueError):
        return None
