"""What tickets tell of an operation and the season: half-way checks, and the balance of stock."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import astuple, dataclass

import numpy as np

from evenacre.coverage.uncertainty.known_errors import METER_CALIBRATION
from evenacre.model import FloatArray, LoadTicket, Operation, Product
from evenacre.model.audit_result import AuditResult, RunningTotals
from evenacre.model.finding import Finding
from evenacre.planning.intervals import Interval, told
from evenacre.planning.loads.load_check import METER_SCATTER, ProductLoads, operation_loads
from evenacre.planning.loads.loads import (
    CLEANED_OUT,
    FILLED,
    REMAINING,
    Amount,
    AmountWithin,
    by_product,
    held_after_each,
    reach_90,
    total,
)

TOLERANCE = 0.05
"""A drill is accepted within 5 % of its target: Field and Solie, Introduction to Agricultural
Engineering Technology, stationary calibration problems."""

_COVERAGE = 2.0  # standard uncertainties that the band, and an explained remainder, allow for
_CURVE_POINTS = 200
# What a bill or a look into the shed is good for (common practice, no source).
_STOCK_SHARE = 0.005


@dataclass(frozen=True)
class Weighing:
    """What was left when it was weighed, and whether that comes out even."""

    # Not yet filled product counts as left
    area_left_m2: float
    left_kg: float
    sigma_kg: float
    # What should be left there, and the band about it
    even_kg: float
    low_kg: float
    high_kg: float
    verdict: str  # ``"even"``, ``"too much left"`` (it runs light) or ``"too little left"`` (heavy)
    place: str  # the ticket

    @property
    def interval_90(self) -> dict[str, Interval]:
        """90 % interval of what was left, by key."""
        return told(left_kg=reach_90(self.left_kg, self.sigma_kg))


@dataclass(frozen=True)
class HalfwayCheck:
    """Data of the chart, and the weighing nearest to half the ground."""

    product: str
    # All that was put into the cart, and all the ground driven with it
    supply_kg: float
    area_m2: float
    # (n,); the line on which product and ground end together, and its band; area descending
    area_left_m2: FloatArray
    even_kg: FloatArray
    low_kg: FloatArray
    high_kg: FloatArray
    # (m,); what the meter's log says was left; empty when it tells nothing
    meter_left_m2: FloatArray
    meter_left_kg: FloatArray
    weighings: tuple[Weighing, ...]  # in order
    tolerance: float
    supply_sigma_kg: float = 0.0

    @property
    def interval_90(self) -> dict[str, Interval]:
        """90 % interval of what was put in, by key."""
        return told(supply_kg=reach_90(self.supply_kg, self.supply_sigma_kg))

    @property
    def nearest_half(self) -> Weighing | None:
        """The weighing with the area left nearest to half."""
        if not self.weighings:
            return None
        return min(self.weighings, key=lambda w: abs(w.area_left_m2 - self.area_m2 / 2))


def halfway_check(
    tickets: Sequence[LoadTicket], totals: RunningTotals, *, metered: bool = True
) -> HalfwayCheck | None:
    """Compare product left with ground left at every weighing of one product that has a time.

    At half the area half the product should be gone. The band widens with the ground done:
    the tolerance, a share of the rate, times what should be gone, and twice the scale's error.
    Returns None when nothing was filled in or no ground was driven.
    """
    product = tickets[0].product
    first = {ticket.compartment: ticket for ticket in reversed(tickets)}
    opening = [t for t in tickets if t is first[t.compartment] and t.event == REMAINING]
    put_in = [*opening, *(t for t in tickets if t.event == FILLED)]
    supply, sigma = astuple(total((t, 1) for t in put_in))
    area = float(totals.swept_m2[-1])
    if supply <= 0 or area <= 0:
        return None

    def band(left_m2: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        even = supply * left_m2 / area
        reach = TOLERANCE * (supply - even) + _COVERAGE * sigma
        return even, np.maximum(even - reach, 0.0), even + reach

    grid = np.linspace(area, 0.0, 41)
    curve = np.zeros(0), np.zeros(0)
    if metered and product in totals.metered_kg:
        pick = np.unique(np.linspace(0, len(totals.time_s) - 1, _CURVE_POINTS).astype(int))
        curve = area - totals.swept_m2[pick], supply - totals.metered_kg[product][pick]
    weighings = []
    cleaned_out: list[LoadTicket] = []
    filled_kg = 0.0
    for ticket, there in held_after_each(tickets):
        if ticket.event == FILLED or ticket in opening:
            filled_kg += ticket.mass_kg
        if ticket.event == CLEANED_OUT:
            cleaned_out.append(ticket)
        # Only a weighing with a time after which every compartment is known tells what is left.
        filled_since = any(t.event == FILLED for t in there)
        if ticket in opening or filled_since or ticket.time_s is None:
            continue
        # In the cart, cleaned out of it, and still to be filled.
        known = total((t, 1) for t in (*there, *cleaned_out))
        left = known.kg + supply - filled_kg
        done = float(np.interp(ticket.time_s, totals.time_s, totals.swept_m2))
        even, low, high = (float(v[0]) for v in band(np.array([area - done])))
        word = "too much left" if left > high else "too little left" if left < low else "even"
        held = (area - done, left, known.sigma_kg, even, low, high)
        weighings.append(Weighing(*held, word, ticket.place))
    return HalfwayCheck(
        product, supply, area, grid, *band(grid), *curve, tuple(weighings), TOLERANCE, sigma
    )


@dataclass(frozen=True)
class Usage:
    """What one operation used of a product."""

    field: str
    operation: str
    amount: Amount
    source: str  # ``"scale"``, ``"meter"`` or ``"target"``: the best there is, in that order

    @property
    def calibration_kg(self) -> float:
        """Standard uncertainty that the meter's calibration leaves, in common with other jobs."""
        return 0.0 if self.source == "scale" else METER_CALIBRATION * self.amount.kg

    @property
    def within(self) -> AmountWithin:
        """What was used, with its 90 % interval."""
        return self.amount.within_90(self.calibration_kg)


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

    @property
    def interval_90(self) -> dict[str, Interval]:
        """90 % intervals by key; one meter's calibration errs alike in all that it counted."""
        calibration = math.fsum(u.calibration_kg for u in self.usages)
        used = (*(u.amount.sigma_kg for u in self.usages), calibration)
        rest = None
        if self.unexplained_kg is not None and self.unexplained_sigma_kg is not None:
            rest = reach_90(self.unexplained_kg, self.unexplained_sigma_kg, calibration)
        return told(used_kg=reach_90(self.used_kg, *used), unexplained_kg=rest)


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


def left_in_cart(product: Product, books: Sequence[OperationLoads]) -> float | None:
    """What was left in the cart when it was last weighed; None: it was not, since the last fill."""
    last = [
        (load.start_s or 0.0, load.closing)
        for book in books
        for found in book.loads
        if found.product == product.name and found.checks
        for load in found.checks[-1].loads[-1:]
    ]
    closing = max(last, key=lambda one: one[0])[1] if last else ()
    return sum(t.mass_kg for t in closing if t.event == REMAINING) if closing else None


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
