"""What load tickets tell: loads by every way, the meter's correction, weighings, the balance."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pandas as pd

from evenacre.planning.loads.load_check import LoadCheck, ProductLoads
from evenacre.planning.loads.loads import Amount
from evenacre.planning.loads.stock_balance import Balance, HalfwayCheck, OperationLoads
from evenacre.reports.column import (
    COUNT,
    INSTANT,
    MASS,
    NESTED,
    NUMBER,
    SHARE,
    WITH_ERROR,
    YES_NO,
    Column,
    Display,
    Quantity,
    Table,
    in_json,
    joined,
    json_only,
    named,
    nested,
)
from evenacre.reports.sentences.findings import sentences
from evenacre.reports.sentences.loads import balance_sentence, row_text, verdict_sentences
from evenacre.reports.writers.as_frame import data_frame, stacked
from evenacre.reports.writers.as_html import PageTable, page_table
from evenacre.reports.writers.as_json import records


def _way(way: str) -> tuple[Column, ...]:
    """Declare an amount and its standard uncertainty: in tables of data apart."""
    kg, sigma = f"{way}_kg", f"{way}_sigma_kg"
    return (
        Column(way, quantity=WITH_ERROR, head=f"By {way}", shows=(kg, sigma)),
        Column(kg, f"{way}.kg", MASS, f"by {way}", json=False),
        Column(sigma, f"{way}.sigma_kg", MASS, f"by {way} uncertainty", json=False),
    )


def _pair(first: str, second: str, why: str = "") -> tuple[Column, ...]:
    """Declare a comparison in tables of data; JSON lists them."""

    def share(check: LoadCheck) -> float | None:
        compared = check.compared(first, second)
        return compared.share if compared else None

    def verdict(check: LoadCheck) -> str:
        compared = check.compared(first, second)
        return "" if compared is None else "disagree" if compared.disagree else "agree"

    over, both = f"{first}_over_{second}", f"{first}_and_{second}"
    return (
        named(over, None, quantity=SHARE, of=share, json=False, why=why),
        named(both, None, of=verdict, json=False),
    )


def _load_name(check: LoadCheck) -> str:
    return str(check.loads[0].number) if len(check.loads) == 1 else "together"


def _scale_over_meter(check: LoadCheck, _: Display) -> str:
    compared = check.compared("scale", "meter")
    if compared is None:
        return "not compared"
    share = "meter says none"
    if math.isfinite(compared.share):
        share = f"{round(100 * compared.share, 1) + 0.0:+.1f}\N{NO-BREAK SPACE}%"
    return f"{share}, {'disagree' if compared.disagree else 'agree'}"


COMPARISONS = json_only(
    "comparisons",
    *in_json("first second difference_kg sigma_kg share disagree", share=SHARE, disagree=YES_NO),
    why="the tables of loads have them in columns",
)

_BY_NUMBER = "the page knows loads by their number"
_SAID = "a sentence below the page's table says it where they disagree"
LOADS = Table(
    "loads",
    (
        named("load", of=_load_name, json=False),
        Column("loads", lambda check: [load.number for load in check.loads], NESTED),
        named("start_s", None, quantity=INSTANT, of=lambda c: c.loads[0].start_s, why=_BY_NUMBER),
        named("end_s", None, quantity=INSTANT, of=lambda c: c.loads[-1].end_s, why=_BY_NUMBER),
        named(
            "fillings",
            None,
            quantity=COUNT,
            of=lambda check: sum(len(load.fills) for load in check.loads),
            json=False,
            why="they are in the tickets",
        ),
        *_way("scale"),
        *_way("meter"),
        *_way("target"),
        named("swept_m2", "Driven", "driven"),
        *_pair("scale", "meter"),
        *_pair("scale", "target", _SAID),
        *_pair("meter", "target", _SAID),
        joined("compared", "Scale over meter", _scale_over_meter, "scale_over_meter"),
        nested(
            "comparisons",
            COMPARISONS,
            shows="scale_over_meter scale_over_target meter_over_target",
        ),
    ),
    title="Loads",
    json="loads start_s end_s scale meter target swept_m2 comparisons",
    page="load compared scale meter target swept_m2",
    words=2,
)

_FACTOR = Quantity(lambda v, _: round(v, 5), lambda v, _, __: f"{v:.3f}", si="1")
CORRECTIONS = Table(
    "meter_corrections",
    (
        named(
            "loads",
            None,
            quantity=COUNT,
            of=lambda p: len(p.together.loads) if p.together else 0,
            json=False,
            why="JSON lists them",
        ),
        named("factor", None, "multiply the meter's factor by", _FACTOR, "correction.factor"),
        named("sigma", None, "uncertainty", _FACTOR, "correction.sigma"),
        named("low", None, "low (95 %)", _FACTOR, "correction.low"),
        named("high", None, "high (95 %)", _FACTOR, "correction.high"),
        named("needed", None, "change it", YES_NO, "correction.needed"),
        named("scattered", None, "loads contradict one another", YES_NO, "correction.scattered"),
    ),
    outputs=("json", "table"),
    why="the page says it in a sentence",
)

PRODUCT_LOADS = json_only(
    "product_loads",
    *in_json("product level", level=NUMBER),
    nested("loads", LOADS, "checks"),
    nested("together", LOADS),
    *in_json("outside_kg"),
    nested("meter_correction", CORRECTIONS, lambda p: p if p.correction else None),
    Column("warnings", lambda p: sentences(p.findings, "warning"), NESTED),
    why="tables and page have a row for each load; a warning tells what was metered outside them",
)

_OF_ALL = "JSON has it with the check, and the page's chart begins there"
WEIGHINGS = Table(
    "weighings",
    (
        named("area_left_m2", None, "ground left"),
        named("left_kg", None, "product left"),
        named("sigma_kg", None, "product left uncertainty"),
        named("even_kg", None),
        named("low_kg", None),
        named("high_kg", None),
        named("verdict", None),
        named("ticket", None, of="place"),
        named("area_m2", None, "ground in all", json=False, why=_OF_ALL),
        named("supply_kg", None, "product in all", json=False, why=_OF_ALL),
    ),
    outputs=("json", "table"),
    why="the page draws them",
)


def _weighings(check: HalfwayCheck) -> list[Any]:
    whole = {"area_m2": check.area_m2, "supply_kg": check.supply_kg}
    return [SimpleNamespace(**vars(w), **whole) for w in check.weighings]


HALFWAY = json_only(
    "halfway",
    *in_json("product supply_kg area_m2 tolerance", tolerance=SHARE),
    nested("weighings", WEIGHINGS, _weighings),
    why="the page draws it, and each weighing has its row in tables of data",
)


def _stock(amount: Amount | None, b: Balance, display: Display) -> str:
    return row_text(b, display.units.mass)(amount.kg) if amount else "not given"


def _unexplained(b: Balance, display: Display) -> str:
    text = row_text(b, display.units.mass)
    return "" if b.unexplained_kg is None else text(b.unexplained_kg)


def _open(rows: Sequence[Balance], display: Display) -> str:
    return " ".join(balance_sentence(b, display.units) for b in rows if b.explained is False)


USAGES = json_only(
    "usages",
    *in_json("field operation"),
    Column("used", "amount", WITH_ERROR),
    *in_json("source"),
    why="the table of data has a line for each",
)
BALANCES = Table(
    "balance",
    (
        named("product"),
        named("bought", quantity=WITH_ERROR, told=lambda b, d: _stock(b.bought, b, d)),
        named("used_kg", told=lambda b, d: row_text(b, d.units.mass)(b.used_kg)),
        named("left", quantity=WITH_ERROR, told=lambda b, d: _stock(b.left, b, d)),
        named(
            "without_field_kg",
            None,
            why="it lies in what is unexplained; a sentence says it where that is too much",
        ),
        named("unexplained_kg", told=_unexplained),
        named(
            "unexplained_sigma_kg",
            "Weighing errs by",
            text=lambda sigma, d: f"± {d.units.mass.text(sigma, 2)}",
        ),
        Column("explained"),
        nested("operations", USAGES, "usages"),
    ),
    title="Bought, used and left",
    remark=_open,
    outputs=("json", "page"),
    why="the table of data has a line for each amount",
)
BALANCE_LINES = Table(
    "balance",
    (
        *(named("product", None), named("what", None), named("field", None), named("about", None)),
        named("mass_kg", None, of="amount.kg"),
        named("sigma_kg", None, "uncertainty", of="amount.sigma_kg"),
    ),
    outputs=("table",),
    why="JSON and page have a row for each product",
)


def _lines(b: Balance) -> Iterator[Any]:
    """What was bought; below it what makes it up: operations, what is left and unexplained."""
    rest = None
    if b.unexplained_kg is not None and b.unexplained_sigma_kg is not None:
        rest = Amount(b.unexplained_kg, b.unexplained_sigma_kg)
    reason = "bought or left is not known"
    if b.explained is not None:
        reason = f"{'within' if b.explained else 'more than'} the errors of weighing"
    for what, field, about, amount in (
        ("bought", "", "", b.bought),
        *(("used", u.field, f"{u.operation} (by {u.source})", u.amount) for u in b.usages),
        ("left", "", "", b.left),
        ("unexplained", "", reason, rest),
    ):
        yield SimpleNamespace(product=b.product, what=what, field=field, about=about, amount=amount)


def _checks(product: ProductLoads) -> list[LoadCheck]:
    """Each load, and all of them together where they are several."""
    together = product.together
    return [*product.checks, *([together] if together and len(together.loads) > 1 else [])]


def load_frames(
    books: Sequence[OperationLoads], balances: Iterable[Balance], display: Display
) -> dict[str, pd.DataFrame]:
    """Every table of loads that has rows, by name; ``books`` hold one for each operation."""

    def frame(table: Table, rows: Callable[[Any], Sequence[Any]], part: str) -> pd.DataFrame:
        return stacked(
            data_frame(table, rows(p), display.at(b.time_zone), field=b.field,
                       operation=b.operation, product=p.product)
            for b in books for p in getattr(b, part)
        )  # fmt: skip

    every = {
        "loads": frame(LOADS, _checks, "loads"),
        "meter_corrections": frame(CORRECTIONS, lambda p: [p] if p.correction else [], "loads"),
        "weighings": frame(WEIGHINGS, _weighings, "halfway"),
        "balance": data_frame(BALANCE_LINES, [x for b in balances for x in _lines(b)], display),
    }
    return {name: frame for name, frame in every.items() if len(frame)}


def load_page_tables(book: OperationLoads, display: Display) -> list[PageTable]:
    """A table of each product's loads, with what they mean below it; none without tickets."""
    tables = []
    for p in book.loads:
        remark = " ".join(verdict_sentences(p, display.units))
        table = replace(LOADS, title=f"Loads of {p.product}", remark=remark)
        tables.append(page_table(table, _checks(p), display))
    return tables


def load_record(book: OperationLoads | None) -> dict[str, Any]:
    """An operation's loads and half-way checks in SI units; what is not known is None."""
    return {
        "loads": records(PRODUCT_LOADS, book.loads if book else ()),
        "halfway": records(HALFWAY, book.halfway if book else ()),
    }
