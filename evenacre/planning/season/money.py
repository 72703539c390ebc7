"""What overlap and skips cost, and own work against a hired quote, from prices given."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from evenacre.model.audit_result import ProductResult
from evenacre.planning.season.nutrients import AuditedJob


@dataclass(frozen=True)
class Money:
    """Costs of one operation, in the currency of the season; None where no price was given."""

    field: str
    operation: str
    product: float | None  # everything that was metered, on the field or beside it
    # What was placed again on covered ground, and the working time spent there
    overlap_product: float | None
    overlap_time: float | None
    # What the missed ground would take at the target rate (the mean rate without one), and the time
    # at this operation's field capacity. A stand that is lost is not priced.
    skip_product: float | None
    skip_time: float | None
    overlap_time_s: float
    skip_time_s: float
    own_work: float | None  # time in the field at the cost of an hour
    # The quote for the ground to be worked (the covered ground when the field has no boundary)
    hired_work: float | None
    unpriced: tuple[str, ...]  # products without a price; they are in none of the sums

    @property
    def own_over_hired(self) -> float | None:
        """How much own work costs more than hired; below zero it costs less."""
        if self.own_work is None or self.hired_work is None:
            return None
        return self.own_work - self.hired_work

    @property
    def known(self) -> bool:
        """Whether any price was given."""
        return any(v is not None for v in (self.product, self.own_work, self.hired_work))


def money(job: AuditedJob) -> Money:
    """Price one operation."""
    r = job.result
    hourly = job.plan.implement.cost_per_s
    overlap_s = r.worked_time_s * r.excess_area_m2 / r.swept_area_m2 if r.swept_area_m2 else 0.0
    capacity = r.field_capacity_m2_per_s
    skip_s = r.skip_area_m2 / capacity if capacity else 0.0
    ground = r.workable_area_m2 if r.boundary_given else r.covered_area_m2
    quote = job.plan.quote_per_m2
    prices = {p.product: job.product(p.product).price_per_kg for p in r.products}
    priced = [(p, price) for p in r.products if (price := prices[p.product]) is not None]
    return Money(
        field=r.field,
        operation=r.operation,
        product=_sum(p.logged_kg * price for p, price in priced),
        overlap_product=_sum(p.overlap_kg * price for p, price in priced),
        overlap_time=_times(overlap_s, hourly),
        skip_product=_sum(_wanted(p) * r.skip_area_m2 * price for p, price in priced),
        skip_time=_times(skip_s, hourly),
        overlap_time_s=overlap_s,
        skip_time_s=skip_s,
        own_work=_times(r.field_time_s, hourly),
        hired_work=_times(ground, quote),
        unpriced=tuple(name for name, price in prices.items() if price is None),
    )


def _wanted(p: ProductResult) -> float:
    return p.mean_rate_kg_per_m2 if p.target_kg_per_m2 is None else p.target_kg_per_m2


def _sum(costs: Iterable[float]) -> float | None:
    known = list(costs)
    return sum(known) if known else None


def _times(amount: float, price: float | None) -> float | None:
    return None if price is None or not math.isfinite(amount) else amount * price
