"""Every declared figure stands in every output, or says why not, and is the same in all of them."""

from __future__ import annotations

import importlib
import itertools
import pkgutil
import re
from collections import Counter
from collections.abc import Iterable
from typing import Any

import pandas as pd
import pytest
from plans import make_plan
from synthetic_result import make_result
from synthetic_season import make_ledger

from evenacre.planning.loads.loads import Amount
from evenacre.planning.loads.stock_balance import Usage, balance
from evenacre.reports import tables
from evenacre.reports.column import OUTPUTS, Column, Output, Table
from evenacre.reports.quantities import AREA, INSTANT, TO_DRIVE, Display
from evenacre.reports.tables import (
    audit,
    audit_products,
    interseeding,
    interseeding_days,
    interseeding_paddocks,
    loads,
    passes,
    season,
)
from evenacre.reports.writers.as_frame import data_frame
from evenacre.reports.writers.as_json import record
from evenacre.units.display import METRIC, US

POUND, ACRE, FOOT, MILE = 0.45359237, 4046.8564224, 0.3048, 1609.344
SI = {
    "ac": ACRE,
    "sq ft": FOOT**2,
    "lb": POUND,
    "lb/ac": POUND / ACRE,
    "ft": FOOT,
    "mi": MILE,
    "mph": MILE / 3600,
    "ac/h": ACRE / 3600,
    "in": 0.0254,
    "ha": 1e4,
    "m²": 1.0,
    "kg": 1.0,
    "kg/ha": 1e-4,
    "m": 1.0,
    "cm": 0.01,
    "km": 1000.0,
    "km/h": 1 / 3.6,
    "ha/h": 1e4 / 3600,
    "h": 3600.0,
    "min": 60.0,
    "day": 1.0,
    "days": 1.0,
    "%": 0.01,
    "USD": 1.0,
    "°": 1.0,
    "deg": 1.0,
    "% per lb/ac": 1.0,
    "": 1.0,
    "per sq ft": FOOT**-2,
    "per m²": 1.0,
}
TIME = {"h": 3600, "min": 60, "s": 1}


def in_si(unit: str, column: Column) -> float:
    return 1.0 if unit == column.quantity.si else SI[unit]


def is_figure(column: Column) -> bool:
    """Whether it is a figure of its own, not another way to show some."""
    return bool(column.quantity.si) and not (column.shows and not column.json)


def given(table: Table, output: Output) -> set[str]:
    """Keys that an output gives, by themselves or in a cell that joins several."""
    return {key for c in table.of(output) for key in (c.key, *c.shows)}


def declared() -> dict[str, Table]:
    found = {}
    for module in pkgutil.iter_modules(tables.__path__):
        for name, value in vars(
            importlib.import_module(f"{tables.__name__}.{module.name}")
        ).items():
            if isinstance(value, Table):
                found[f"{module.name}.{name}"] = value
    return found


DECLARED = declared()
every_table = pytest.mark.parametrize("table", DECLARED.values(), ids=DECLARED.keys())


def faults(table: Table) -> list[str]:
    """What is amiss with a declaration."""
    found = []
    for output, order in (("json", table.json), ("page", table.page)):
        keys = order.split() if isinstance(order, str) else order
        found += [f"{output}: no column is named {key}" for key in {*keys} - {*table.by_key}]
        found += [f"{output}: {key} twice" for key, n in Counter(keys).items() if n > 1]
    if found:
        return found
    for column in filter(is_figure, table.columns):
        lacking = [o for o in table.outputs if column.key not in given(table, o)]
        if lacking and len(lacking) < len(table.outputs) and not column.why:
            found.append(f"{column.key} is not in {lacking}, and nothing says why")
        named = {"json": column.json, "page": column.head is not None}
        if len(lacking) < len(table.outputs):
            left_out = [o for o in lacking if named.get(o)]
            found += [f"{column.key} is named for {o}, which leaves it out" for o in left_out]
        if column.why and not lacking:
            found.append(f"{column.key} is in every output, and says why it is not")
    if (table.outputs == OUTPUTS) != (not table.why):
        found.append("a table in fewer outputs says why, and none else")
    for display in (Display(US), Display(METRIC)):
        titles = {
            "table": [c.title(display) for c in table.of("table")],
            "page": [c.heading(display) for c in table.of("page")],
        }
        found += [
            f"{output}: two columns are called {title!r}"
            for output, names in titles.items()
            for title, n in Counter(names).items()
            if n > 1
        ]
    shown = {key for column in table.columns for key in column.shows}
    found += [f"{key} is shown but not declared" for key in shown - {*table.by_key}]
    return found


@every_table
def test_no_figure_is_lost_on_the_way_to_an_output(table: Table) -> None:
    assert faults(table) == []


def rows() -> Iterable[tuple[Table, list[Any]]]:
    result, ledger = make_result(), make_ledger()
    yield audit.OPERATIONS, [result]
    yield audit_products.PRODUCTS, audit_products.products(result)
    yield audit_products.NUTRIENTS, audit_products.nutrients(result)
    yield audit_products.ZONES, audit_products.zones(result)
    yield audit_products.SETBACKS, audit_products.setbacks(result)
    yield audit.SKIPS, list(audit.stops(result).assign(where="").itertuples())
    yield audit.PASSES, audit.passes(result)
    yield season.PLACEMENTS, list(ledger.placements)
    yield season.NUTRIENTS, list(ledger.amounts)
    yield season.NEEDS, list(ledger.needs)
    yield season.SEED, list(ledger.seed)
    yield season.SALT, list(ledger.salt)
    yield season.COSTS, list(ledger.money)
    yield season.SETBACKS, list(ledger.setbacks)
    plan = make_plan()
    yield interseeding_paddocks.PADDOCKS, interseeding_paddocks.paddock_rows(plan)
    yield interseeding_days.VISITS, interseeding_days.numbered_visits(plan)
    yield interseeding_days.loads(plan)
    yield interseeding.MOVES, interseeding.moves(plan)
    yield passes.DRIVE, [p.passes for p in plan.paddocks if p.passes]
    usage = Usage("Creek", "Seeding", Amount(600, 3), "scale")
    yield loads.BALANCES, [balance("rye", [usage], bought=Amount(1000, 5), left=Amount(300, 2))]


ROWS = list(rows())
every_row = pytest.mark.parametrize(
    ("table", "rows"), ROWS, ids=[f"{table.name}-{i}" for i, (table, _) in enumerate(ROWS)]
)
every_display = pytest.mark.parametrize("display", [Display(US), Display(METRIC)])


@every_display
@every_row
def test_the_same_value_stands_behind_json_and_tables_of_data(
    table: Table, rows: list[Any], display: Display
) -> None:
    frame = data_frame(table, rows, display)
    assert rows
    for column in filter(is_figure, table.of("table")):
        title = column.title(display)
        unit = re.fullmatch(r".* \[(.*)\]", title)
        for row, cell in zip(rows, frame[title], strict=True):
            value = column.value(row)
            if column in table.of("json"):
                assert record(table, row)[column.key] == value or value != value
            if isinstance(cell, str):
                assert cell[:4] == "2026"
            elif value is None:
                assert pd.isna(cell)
            else:
                factor = in_si(unit[1], column) if unit else 1.0
                precision = 0.006 if column.cell else 0.051 if column.quantity.si == "deg" else 0
                assert cell * factor == pytest.approx(value, rel=1e-6, abs=precision), title


def shown(text: str, column: Column, display: Display) -> tuple[float, float, float]:
    """First value of a cell, half its last digit and its unit, all in SI."""
    if time := re.fullmatch(r"(\d+) (h|min) (\d\d) (min|s)", text):
        large, small = TIME[time[2]], TIME[time[4]]
        return int(time[1]) * large + int(time[3]) * small, small / 2, small
    found = re.search(r"[\d,]+(?:\.(\d+))?(e[+-]\d+)?", text)
    assert found, text
    unit = re.sub(r"^ ± [\d.,]+| (cheaper|dearer)$", "", text[found.end() :]).strip()
    heading = column.heading(display)
    if "per " in heading and not unit:
        unit = heading[heading.index("per ") :]
    factor = in_si(unit, column)
    last_digit = 10.0 ** (int((found[2] or "e0")[1:]) - len(found[1] or ""))
    return float(found[0].replace(",", "")) * factor, 0.51 * last_digit * factor, factor


@every_display
@every_row
def test_the_same_value_stands_behind_the_page(
    table: Table, rows: list[Any], display: Display
) -> None:
    figures = [c for c in table.of("page") if is_figure(c) and c.quantity is not INSTANT]
    for column, row in itertools.product(figures, rows):
        value, text = column.value(row), column.on_page(row, display)
        if value is None or text in ("none", "n/a", ""):
            assert not value
            continue
        if text.startswith(("over", "under")):  # what was only simulated is never called sure
            assert not 0.005 <= value < 0.995
            continue
        if column.key == "within_10_percent_of_target_area_m2":
            value /= row.covered_area_m2  # the page gives the share
        number, half, unit = shown(text, column, display)
        least = 5.1 * unit if column.quantity is TO_DRIVE else half  # to the nearest ten
        # Square feet and metres have two digits wherever they are written.
        digits = 2 if text.endswith(("sq ft", "m²")) else column.digits
        assert number == pytest.approx(abs(value), rel=0.51 * 10.0 ** (1 - digits), abs=least), (
            column.key,
            text,
        )


def test_a_fault_is_found() -> None:
    """A figure that no longer has a head, an unknown key, and two columns of one title."""
    headless = Table("t", (Column("area_m2", quantity=AREA, name="area"),))
    twice = Table("t", (Column("a", name="one", head="A"), Column("b", name="one", head="A")))
    assert "area_m2 is not in ['page'], and nothing says why" in faults(headless)
    assert "json: no column is named c" in faults(Table("t", (), json="c"))
    assert {"table: two columns are called 'one'", "page: two columns are called 'A'"} <= {
        *faults(twice)
    }
