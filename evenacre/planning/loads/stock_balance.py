"""The loads of each operation, and where all that was bought of a product went."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from evenacre.model import Operation, Product
from evenacre.model.audit_result import AuditResult
from evenacre.model.finding import Finding
from evenacre.planning.loads.halfway_check import HalfwayCheck, halfway_check
from evenacre.planning.loads.load_check import METER_SCATTER, ProductLoads, operation_loads
from evenacre.planning.loads.loads import Amount, by_product

_COVERAGE = 2.0

# What a bill or a look into the shed is good for (common practice, no source).
_STOCK_SHARE = 0.005


@dataclass(frozen=True)
class Usage:
    """What one operation used of a product."""

    field: str
    operation: str
    amount: Amount
    source: str  # ``"scale"``, ``"meter"`` or ``"target"``: the best there is, in that order


@dataclass(frozen=True)
class Balance:
    """A product over the season; bought = used + left + unexplained."""

    product: str
    # None: nobody said
    bought: Amount | None
    left: Amount | None
    usages: tuple[Usage, ...]
    used_kg: float
    without_field_kg: float  # filled in by tickets that name no field; part of what is unexplained
    # Never shared out among fields. None while bought or left is not known.
    unexplained_kg: float | None
    unexplained_sigma_kg: float | None
    # Whether the errors of weighing account for the remainder (within two standard uncertainties)
    explained: bool | None


def balance(
    product: str,
    usages: Sequence[Usage],
    *,
    bought: Amount | None = None,
    left: Amount | None = None,
    without_field_kg: float = 0.0,
) -> Balance:
    """Strike the balance of one product; what does not close is reported, not spread.

    There is a usage for each operation; what was bought over the season holds what was carried
    over from last year. ``without_field_kg`` is from tickets that name no field.
    """
    used = math.fsum(u.amount.kg for u in usages)
    remainder = sigma = explained = None
    if bought is not None and left is not None:
        remainder = math.fsum([bought.kg, *(-u.amount.kg for u in usages), -left.kg])
        sigma = math.hypot(bought.sigma_kg, left.sigma_kg, *(u.amount.sigma_kg for u in usages))
        explained = abs(remainder) <= _COVERAGE * sigma + 1e-9 * abs(bought.kg)
    return Balance(
        product, bought, left, tuple(usages), used, without_field_kg, remainder, sigma, explained
    )


def operation_usages(result: AuditResult, loads: Sequence[ProductLoads]) -> dict[str, Usage]:
    """What one operation used of each product, by the best way there is.

    The scale counts where every load was weighed to its end; else the meter's log; else the
    target times the ground driven.
    """
    amounts: dict[str, tuple[Amount, str]] = {}
    for p in result.products:
        kg = p.logged_kg
        if result.totals is not None and p.product in result.totals.metered_kg:
            kg = float(result.totals.metered_kg[p.product][-1])
        if p.source != "target" or p.target_kg_per_m2 is not None:
            source = "target" if p.source == "target" else "meter"
            amounts[p.product] = Amount(kg, METER_SCATTER * kg), source
    for found in loads:
        together = found.together
        if together and together.scale and len(together.loads) == len(found.checks):
            amounts[found.product] = together.scale, "scale"
    return {name: Usage(result.field, result.operation, *found) for name, found in amounts.items()}


@dataclass(frozen=True)
class OperationLoads:
    """What the tickets of one operation tell."""

    field: str
    operation: str
    loads: tuple[ProductLoads, ...]  # of products with tickets
    halfway: tuple[HalfwayCheck, ...]  # of those that were weighed against the ground at least once
    usages: Mapping[str, Usage]  # of every product whose amount is known
    time_zone: str | None = None  # for the times of the loads; None: the log's own clock

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What looked suspicious in the loads of any product."""
        return tuple(finding for product in self.loads for finding in product.findings)


def operation_load_book(operation: Operation, result: AuditResult) -> OperationLoads:
    """Check the loads of one operation against its audit."""
    loads = operation_loads(operation, result)
    metered = {p.product for p in result.products if p.source != "target"}
    checks = []
    for name, tickets in by_product(operation.tickets).items():
        if result.totals is not None and name in result.totals.metered_kg:
            check = halfway_check(tickets, result.totals, metered=name in metered)
            if check is not None and check.weighings:
                checks.append(check)
    usages = operation_usages(result, loads)
    return OperationLoads(
        result.field, result.operation, loads, tuple(checks), usages, result.time_zone
    )


def season_balances(
    books: Sequence[OperationLoads],
    products: Iterable[Product],
    without_field_kg: Mapping[str, float] | None = None,
) -> tuple[Balance, ...]:
    """Strike the balance of every product that was bought, left or ticketed, over all operations.

    ``without_field_kg`` was filled in by tickets that name no field.
    """
    strays = without_field_kg or {}
    known = {product.name: product for product in products}
    ticketed = [p.product for book in books for p in book.loads]
    bought, left = (
        {name: Amount(kg, _STOCK_SHARE * kg) for name, kg in stock if kg is not None}
        for stock in (
            [(name, p.bought_kg) for name, p in known.items()],
            [(name, p.season_left_kg) for name, p in known.items()],
        )
    )
    stocked = [name for name in known if name in bought or name in left]
    return tuple(
        balance(
            name,
            [book.usages[name] for book in books if name in book.usages],
            bought=bought.get(name),
            left=left.get(name),
            without_field_kg=strays.get(name, 0.0),
        )
        for name in dict.fromkeys((*stocked, *ticketed, *strays))
    )
