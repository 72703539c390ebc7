"""All loads of a season: checked operation by operation, and each product's balance."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from evenacre.model import Operation, Product
from evenacre.model.audit_result import AuditResult
from evenacre.planning.loads.halfway_check import HalfwayCheck, halfway_check
from evenacre.planning.loads.load_check import ProductLoads, operation_loads
from evenacre.planning.loads.loads import Amount
from evenacre.planning.loads.stock_balance import Balance, Usage, balance, operation_usages

# What a bill or a look into the shed is good for (common practice, no source).
_STOCK_SHARE = 0.005


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
    def warnings(self) -> tuple[str, ...]:
        """What looked suspicious in the loads of any product."""
        return tuple(warning for product in self.loads for warning in product.warnings)


def operation_load_book(operation: Operation, result: AuditResult) -> OperationLoads:
    """Check the loads of one operation.

    Parameters
    ----------
    result : AuditResult
        Of the same operation.
    """
    loads = operation_loads(operation, result)
    metered = {p.product for p in result.products if p.source != "target"}
    checks = []
    for name in dict.fromkeys(t.product for t in operation.tickets):
        tickets = [t for t in operation.tickets if t.product == name]
        if result.totals is None or name not in result.totals.metered_kg:
            continue
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
    """Strike the balance of every product that was bought, left or ticketed.

    Parameters
    ----------
    books : sequence of OperationLoads
        One an operation.
    products : iterable of Product
        With what was bought and what is left, where it is known.
    without_field_kg : dict of str to float, optional
        Filled in by tickets that name no field.
    """
    strays = without_field_kg or {}
    known = {product.name: product for product in products}
    ticketed = [p.product for book in books for p in book.loads]
    stocked = [
        name for name, p in known.items() if p.bought_kg is not None or p.season_left_kg is not None
    ]
    return tuple(
        balance(
            name,
            [book.usages[name] for book in books if name in book.usages],
            bought=_stock(known[name].bought_kg if name in known else None),
            left=_stock(known[name].season_left_kg if name in known else None),
            without_field_kg=strays.get(name, 0.0),
        )
        for name in dict.fromkeys((*stocked, *ticketed, *strays))
    )


def _stock(kg: float | None) -> Amount | None:
    return None if kg is None else Amount(kg, _STOCK_SHARE * kg)
