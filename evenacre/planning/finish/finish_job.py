"""Finish a job under way: from its tracks so far, its tickets and what is left."""

from __future__ import annotations

import math
from dataclasses import dataclass

from evenacre.model import Operation, OperationPlan, Product
from evenacre.model.audit_result import AuditResult, ProductResult
from evenacre.model.finding import Finding, FindingError
from evenacre.planning.finish.rate_to_finish import Finish, come_out_even
from evenacre.planning.finish.remaining_ground import GroundAhead, RunOut, ground_ahead, run_out
from evenacre.planning.loads.load_check import METER_SCATTER, between, operation_loads
from evenacre.planning.loads.loads import REMAINING, Amount, held_by_tickets

_PLACE = "finish"


@dataclass(frozen=True)
class FinishJob:
    """How a job under way can end."""

    product: Product
    # Where the mass left and the present rate come from, for a sentence
    left_from: str
    rate_from: str
    ahead: GroundAhead
    finish: Finish
    # Where the load runs out at the present rate; None when it does not, or no rate is known
    out: RunOut | None
    findings: tuple[Finding, ...] = ()


def finish_job(
    operation: Operation,
    result: AuditResult,
    *,
    product: str | None = None,
    left: Amount | None = None,
    rate_kg_per_m2: float | None = None,
) -> FinishJob:
    """Work out how a job under way comes out even, from the audit of its tracks so far.

    The product has to be named when the operation places several. When not given, the mass left is
    that of the load tickets less what was placed since, and the present rate the mean of the log
    so far, or the target where the log tells none. A job without a boundary is refused, and one
    whose product, or what is left of it, cannot be told.
    """
    if not result.boundary_given:
        raise FindingError("ground_left_unknown", _PLACE)
    chosen = _product(operation, result, product)
    loads = {p.product: p for p in operation_loads(operation, result)}
    checked = loads.get(chosen.product)
    correction = checked.correction if checked else None
    factor = correction.factor if correction and correction.needed else 1.0
    left_from = "as given"
    if left is None:
        left = _left(operation, result, chosen, factor)
        left_from = "by the load tickets, less what was placed since"
    rate, rate_from = rate_kg_per_m2, "as given"
    metered = chosen.source != "target" and result.swept_area_m2 > 0 and chosen.logged_kg > 0
    if rate is None and metered:  # over the ground driven so far, by the corrected meter
        rate = factor * chosen.logged_kg / result.swept_area_m2
        rate_from = "mean of the log" + (", corrected by the scale" if factor != 1.0 else "")
    elif rate is None:
        rate, rate_from = chosen.target_kg_per_m2, "the target"
    ahead = ground_ahead(result)
    if not ahead.passes:
        raise FindingError("nothing_left", result.field)
    placed = {a.product.name: a.product for a in operation.applications}
    known = placed.get(chosen.product, Product(chosen.product))
    finish = come_out_even(ahead.ground, left, rate_kg_per_m2=rate, product=known)
    out = run_out(ahead, finish, result.width_m)
    findings = checked.findings if checked else ()
    return FinishJob(known, left_from, rate_from, ahead, finish, out, findings)


def full_cart_kg(plan: OperationPlan, product: str | None = None) -> float | None:
    """What the compartments of a product hold, level full; None where that is not known.

    The product has to be named when the operation places several.
    """
    placed = [a.product for a in plan.applications if product in (None, a.product.name)]
    density = placed[0].bulk_density_kg_per_m3 if len(placed) == 1 else None
    if density is None:
        return None
    bins = plan.implement.compartments
    own = {name for of, name in plan.compartment_of if of == placed[0].name}
    if not own and len(plan.applications) > 1:
        return None  # nobody tells where it rides
    volume_m3 = math.fsum(b.volume_m3 for b in bins if not own or b.name in own)
    return volume_m3 * density or None


def _product(operation: Operation, result: AuditResult, name: str | None) -> ProductResult:
    found = {p.product: p for p in result.products}
    if not found:
        raise FindingError("no_product_known", _PLACE)
    job, products = operation.name, tuple(found)
    if name is None and len(found) > 1:
        raise FindingError("several_products", _PLACE, operation=job, products=products)
    if name is not None and name not in found:
        raise FindingError(
            "no_such_product", _PLACE, operation=job, products=products, product=name
        )
    return found[next(iter(found)) if name is None else name]


def _left(
    operation: Operation, result: AuditResult, product: ProductResult, factor: float
) -> Amount:
    """What the tickets say was in the cart, less what was placed since."""
    tickets = [t for t in operation.tickets if t.product == product.product]
    if not tickets:
        raise FindingError("left_unknown", _PLACE, product=product.product)
    held, since_s = held_by_tickets(tickets)
    last = tickets[-1]
    if held.kg <= 0:
        raise FindingError("cart_was_empty", last.place, product=product.product)
    if last.event == REMAINING and last.time_s is None:
        return held  # without a time it can only mean now
    placed = 0.0
    if result.totals is not None and product.product in result.totals.metered_kg:
        running = result.totals.metered_kg[product.product]
        start = -math.inf if since_s is None else since_s
        placed = factor * between(result.totals, running, (start, math.inf))
    if placed > held.kg:
        name = product.product
        code = "placed_over_held"
        raise FindingError(code, last.place, product=name, placed_kg=placed, held_kg=held.kg)
    return Amount(held.kg - placed, math.hypot(held.sigma_kg, METER_SCATTER * placed))
