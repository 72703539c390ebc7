"""What load tickets tell: loads by every way, the meter's correction, weighings, the balance."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pandas as pd

from evenacre.language import number, tr
from evenacre.planning.loads.load_check import LoadCheck, ProductLoads
from evenacre.planning.loads.loads import Amount, AmountWithin
from evenacre.planning.loads.stock_balance import Balance, HalfwayCheck, OperationLoads
from evenacre.reports import figure_text
from evenacre.reports import quantities as q
from evenacre.reports.column import (
    INTERVALS,
    Column,
    Table,
    joined,
    json_only,
    named,
    nested,
    several,
)
from evenacre.reports.sentences.findings import sentences
from evenacre.reports.sentences.loads import (
    balance_sentence,
    row_text,
    unexplained_kg,
    used_by,
    verdict_sentences,
)
from evenacre.reports.writers.as_frame import data_frame, stacked
from evenacre.reports.writers.as_html import PageTable, page_table, with_sums
from evenacre.reports.writers.as_json import records


def _way(way: str) -> tuple[Column, ...]:
    """Declare an amount and its standard uncertainty: in tables of data apart."""
    kg, sigma = f"{way}_kg", f"{way}_sigma_kg"
    return (
        Column(way, lambda c: c.within_90(way), q.WITH_ERROR, head=f"By {way}", shows=(kg, sigma)),
        Column(kg, f"{way}.kg", q.MASS, f"by {way}", json=False),
        Column(sigma, f"{way}.sigma_kg", q.MASS, f"by {way} uncertainty", json=False),
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
        named(over, None, quantity=q.SHARE, of=share, json=False, why=why),
        named(both, None, of=verdict, json=False),
    )


def _scale_over_meter(check: LoadCheck, _: q.Display) -> str:
    compared = check.compared("scale", "meter")
    if compared is None:
        return tr("not compared")
    share = tr("meter says none")
    if math.isfinite(compared.share):
        signed = number(round(100 * compared.share, 1) + 0.0, "+.1f")
        share = f"{signed}\N{NO-BREAK SPACE}%".replace("-", "\N{MINUS SIGN}")
    return f"{share}, {tr('disagree') if compared.disagree else tr('agree')}"


def _meter_between(check: LoadCheck, display: q.Display) -> str:
    meter = check.within_90("meter")
    ends = meter.interval_90.get("kg") if meter else None
    return figure_text.mass_between(*ends, display.units) if ends else ""


COMPARISONS = json_only(
    "comparisons",
    "first second difference_kg sigma_kg share disagree",
    why="the tables of loads have them in columns",
    share=q.SHARE,
    disagree=q.YES_NO,
)

_BY_NUMBER = "the page knows loads by their number"
_SAID = "a sentence below the page's table says it where they disagree"
LOADS = Table(
    "loads",
    (
        named(
            "load",
            quantity=q.OUR_WORDS,
            of=lambda c: str(c.loads[0].number) if len(c.loads) == 1 else "together",
            json=False,
        ),
        Column("loads", lambda c: [load.number for load in c.loads], q.NESTED),
        named("start_s", None, quantity=q.INSTANT, of=lambda c: c.loads[0].start_s, why=_BY_NUMBER),
        named("end_s", None, quantity=q.INSTANT, of=lambda c: c.loads[-1].end_s, why=_BY_NUMBER),
        named(
            "fillings",
            None,
            quantity=q.COUNT,
            of=lambda c: sum(len(load.fills) for load in c.loads),
            json=False,
            why="they are in the tickets",
        ),
        *_way("scale"),
        *_way("meter"),
        joined("meter_between", "Meter's 90 % interval", _meter_between),
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
        INTERVALS,
    ),
    title="Loads",
    stacked=True,
    page="load compared scale meter meter_between target swept_m2",
    words=2,
)

_FACTOR = q.Quantity(lambda v, _: round(v, 5), lambda v, _, __: number(v, ".3f"), si="1")
CORRECTIONS = Table(
    "meter_corrections",
    (
        named(
            "loads",
            None,
            quantity=q.COUNT,
            of=lambda p: len(p.together.loads) if p.together else 0,
            json=False,
            why="JSON lists them",
        ),
        named("correction.factor", None, "multiply the meter's factor by", _FACTOR),
        named("correction.sigma", None, "uncertainty", _FACTOR),
        named("correction.low", None, "low (95 %)", _FACTOR),
        named("correction.high", None, "high (95 %)", _FACTOR),
        named("correction.needed", None, "change it", q.YES_NO),
        named("correction.scattered", None, "loads contradict one another", q.YES_NO),
    ),
    outputs=("json", "table"),
    why="the page says it in a sentence",
)

PRODUCT_LOADS = json_only(
    "product_loads",
    "product level",
    nested("loads", LOADS, "checks"),
    nested("together", LOADS),
    "outside_kg",
    INTERVALS,
    nested("meter_correction", CORRECTIONS, lambda p: p if p.correction else None),
    Column("warnings", lambda p: sentences(p.findings, "warning"), q.NESTED),
    why="tables and page have a row for each load; a warning tells what was metered outside them",
    level=q.NUMBER,
)

_OF_ALL = "JSON has it with the check, and the page's chart begins there"
WEIGHINGS = Table(
    "weighings",
    (
        named("area_left_m2", None, "ground left"),
        named("left_kg", None, "product left"),
        named("sigma_kg", None, "product left uncertainty"),
        *several("even_kg low_kg high_kg verdict ticket=place", None),
        INTERVALS,
        named("area_m2", None, "ground in all", json=False, why=_OF_ALL),
        named("supply_kg", None, "product in all", json=False, why=_OF_ALL),
    ),
    outputs=("json", "table"),
    why="the page draws them",
)


def _weighings(check: HalfwayCheck) -> list[Any]:
    whole = {"area_m2": check.area_m2, "supply_kg": check.supply_kg}
    return [SimpleNamespace(**vars(w), **whole, interval_90=w.interval_90) for w in check.weighings]


HALFWAY = json_only(
    "halfway",
    "product supply_kg area_m2 tolerance",
    nested("weighings", WEIGHINGS, _weighings),
    INTERVALS,
    why="the page draws it, and each weighing has its row in tables of data",
    tolerance=q.SHARE,
)


def _amount(kg: float | None, b: Balance, display: q.Display, unknown: str = "") -> str:
    return unknown if kg is None else row_text(b, display.units.mass)(kg)


def _stock(what: str) -> Column:
    """Declare what was bought or left."""

    def within(b: Balance) -> AmountWithin | None:
        amount: Amount | None = getattr(b, what)
        return None if amount is None else amount.within_90()

    def told(b: Balance, display: q.Display) -> str:
        amount: Amount | None = getattr(b, what)
        return _amount(amount.kg if amount else None, b, display, tr("not given"))

    return named(what, quantity=q.WITH_ERROR, of=within, told=told)


def _open(rows: Sequence[Balance], display: q.Display) -> str:
    return " ".join(balance_sentence(b, display.units) for b in rows if b.explained is False)


USAGES = json_only(
    "usages",
    "field operation used=within source",
    why="the table of data has a line for each",
    used=q.WITH_ERROR,
)
BALANCES = Table(
    "balance",
    (
        named("product"),
        _stock("bought"),
        named("used_kg", told=lambda b, d: _amount(b.used_kg, b, d)),
        joined("used_by", "Used, by", lambda b, _: used_by(b)),
        _stock("left"),
        named(
            "without_field_kg",
            None,
            why="it lies in what is unexplained; a sentence says it where that is too much",
        ),
        named(
            "unexplained_kg",
            told=lambda b, d: _amount(unexplained_kg(b, d.units.mass), b, d),
            means="What was bought less what was used and what is left.",
        ),
        named(
            "unexplained_sigma_kg",
            "Weighing errs by",
            text=lambda sigma, d: f"± {d.units.mass.text(sigma, 2)}",
        ),
        Column("explained"),
        INTERVALS,
        nested("operations", USAGES, "usages"),
    ),
    title="Bought, used and left",
    stacked=True,
    remark=_open,
    outputs=("json", "page"),
    why="the table of data has a line for each amount",
)
BALANCE_LINES = Table(
    "balance",
    (
        *several("product what field about mass_kg=amount.kg", None),
        named("sigma_kg=amount.sigma_kg", None, "uncertainty"),
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
    books: Sequence[OperationLoads], balances: Iterable[Balance], display: q.Display
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


def load_page_tables(book: OperationLoads, display: q.Display) -> list[PageTable]:
    """A table of each product's loads, with what they mean below it; none without tickets."""
    tables = []
    for p in book.loads:
        said = [*verdict_sentences(p, display.units)]
        if any(check.meter for check in p.checks):
            said.append(
                tr(
                    "How far off its calibration may be is in the meter's 90 % interval, not "
                    "behind its ±: loads tell it."
                )
            )
        remark = " ".join(said)
        table = replace(LOADS, title=tr("Loads of {product}", product=p.product), remark=remark)
        made = page_table(table, _checks(p), display)
        tables.append(with_sums(made) if len(made.rows) > 1 else made)
    return tables


def load_record(book: OperationLoads | None) -> dict[str, Any]:
    """An operation's loads and half-way checks in SI units; what is not known is None."""
    return {
        "loads": records(PRODUCT_LOADS, book.loads if book else ()),
        "halfway": records(HALFWAY, book.halfway if book else ()),
    }
