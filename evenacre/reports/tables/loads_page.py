"""The report's tables of loads and of the season's balance."""

from __future__ import annotations

import math
from collections.abc import Sequence

from evenacre.planning.loads.loads import Amount
from evenacre.planning.loads.mass_estimates import LoadCheck
from evenacre.planning.loads.operation_loads import OperationLoads
from evenacre.planning.loads.stock_balance import Balance
from evenacre.reports import figure_text as figures
from evenacre.reports.sentences.loads import balance_sentence, row_text, verdict_sentences
from evenacre.reports.writers.as_html import PageTable
from evenacre.units.display import UnitSystem


def load_accounts(book: OperationLoads, units: UnitSystem) -> list[PageTable]:
    """Table of one operation's loads, with what they mean below it; empty without tickets.

    Parameters
    ----------
    book : OperationLoads
    units : UnitSystem
    """
    tables = []
    for product in book.loads:
        rows = [_row(str(check.loads[0].number), check, units) for check in product.checks]
        if product.together is not None and len(product.together.loads) > 1:
            rows.append(_row("together", product.together, units))
        tables.append(
            PageTable(
                f"Loads of {product.product}",
                ("Load", "Scale over meter", "By scale", "By meter", "By target", "Driven"),
                rows,
                words=2,
                remark=" ".join(verdict_sentences(product, units)),
            )
        )
    return tables


def balance_account_table(balances: Sequence[Balance], units: UnitSystem) -> PageTable:
    """What was bought of each product, used, left and not explained."""
    rows = []
    for b in balances:
        text = row_text(b, units.mass)
        sigma = b.unexplained_sigma_kg
        rows.append(
            (
                b.product,
                text(b.bought.kg) if b.bought else "not given",
                text(b.used_kg),
                text(b.left.kg) if b.left else "not given",
                "" if b.unexplained_kg is None else text(b.unexplained_kg),
                "" if sigma is None else f"± {units.mass.text(sigma, 2)}",
            )
        )
    remark = " ".join(balance_sentence(b, units) for b in balances if b.explained is False)
    return PageTable(
        "Bought, used and left",
        ("Product", "Bought", "Used", "Left", "Unexplained", "Weighing errs by"),
        rows,
        remark=remark,
    )


def _row(name: str, check: LoadCheck, units: UnitSystem) -> tuple[str, ...]:
    compared = check.compared("scale", "meter")
    verdict = "not compared"
    if compared is not None:
        verdict = "disagree" if compared.disagree else "agree"
        share = "meter says none"
        if math.isfinite(compared.share):
            share = f"{round(100 * compared.share, 1) + 0.0:+.1f}\N{NO-BREAK SPACE}%"
        verdict = f"{share}, {verdict}"
    swept = "" if check.swept_m2 is None else figures.size(check.swept_m2, units, 3)
    ways = (check.scale, check.meter, check.target)
    return (name, verdict, *(_amount(amount, units) for amount in ways), swept)


def _amount(amount: Amount | None, units: UnitSystem) -> str:
    return "" if amount is None else figures.plus_minus(amount.kg, amount.sigma_kg, units.mass)
