"""What was bought of a product, where it went, and what nobody can explain."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from evenacre.model.audit_result import AuditResult
from evenacre.planning.loads.load_check import ProductLoads
from evenacre.planning.loads.loads import Amount
from evenacre.planning.loads.mass_estimates import METER_SCATTER

_COVERAGE = 2.0


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

    Parameters
    ----------
    usages : sequence of Usage
        One for each operation.
    bought, left : Amount, optional
        Over the season, and at its end; ``bought`` holds what was carried over from last year.
    without_field_kg : float
        From tickets that name no field.
    """
    used = math.fsum(u.amount.kg for u in usages)
    remainder = sigma = None
    if bought is not None and left is not None:
        remainder = math.fsum([bought.kg, *(-u.amount.kg for u in usages), -left.kg])
        errors = (bought.sigma_kg, left.sigma_kg, *(u.amount.sigma_kg for u in usages))
        sigma = math.hypot(*errors)
    explained = None
    if remainder is not None and sigma is not None:
        explained = abs(remainder) <= _COVERAGE * sigma + 1e-9 * abs(bought.kg if bought else 0.0)
    return Balance(
        product, bought, left, tuple(usages), used, without_field_kg, remainder, sigma, explained
    )


def operation_usages(
    result: AuditResult, loads: Sequence[ProductLoads], *, meter_scatter: float = METER_SCATTER
) -> dict[str, Usage]:
    """What one operation used of each product, by the best way there is.

    The scale counts where every load was weighed to its end; else the meter's log; else the
    target times the ground driven.
    """
    by_name = {p.product: p for p in loads}
    amounts: dict[str, tuple[Amount, str]] = {}
    for p in result.products:
        kg = p.logged_kg
        if result.totals is not None and p.product in result.totals.metered_kg:
            kg = float(result.totals.metered_kg[p.product][-1])
        known = p.source != "target" or p.target_kg_per_m2 is not None
        if known:
            source = "target" if p.source == "target" else "meter"
            amounts[p.product] = Amount(kg, meter_scatter * kg), source
    for name, found in by_name.items():
        together = found.together
        if together and together.scale and len(together.loads) == len(found.checks):
            amounts[name] = together.scale, "scale"
    return {
        name: Usage(result.field, result.operation, amount, source)
        for name, (amount, source) in amounts.items()
    }
