"""The half-way check: what is left of the product against what is left of the ground."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import astuple, dataclass

import numpy as np

from evenacre.model import FloatArray, LoadTicket
from evenacre.model.audit_result import RunningTotals
from evenacre.planning.loads.loads import CLEANED_OUT, FILLED, REMAINING, held_after_each, total

TOLERANCE = 0.05
"""A drill is accepted within 5 % of its target: Field and Solie, Introduction to Agricultural
Engineering Technology, stationary calibration problems."""

_COVERAGE = 2.0  # standard uncertainties of the scale that the band allows for
_CURVE_POINTS = 200


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
    for ticket, left, error in _states(tickets, opening, supply):
        done = float(np.interp(ticket.time_s or 0.0, totals.time_s, totals.swept_m2))
        even, low, high = (float(v[0]) for v in band(np.array([area - done])))
        word = "too much left" if left > high else "too little left" if left < low else "even"
        weighings.append(Weighing(area - done, left, error, even, low, high, word, ticket.place))
    return HalfwayCheck(
        product, supply, area, grid, *band(grid), *curve, tuple(weighings), TOLERANCE
    )


def _states(
    tickets: Sequence[LoadTicket], opening: Sequence[LoadTicket], supply_kg: float
) -> list[tuple[LoadTicket, float, float]]:
    """Weighings with a time after which every compartment is known: ticket, left, sigma.

    Left is what is in the cart, what was cleaned out of it and what was still to be filled.
    """
    out: list[LoadTicket] = []
    put_in = 0.0
    states = []
    for ticket, there in held_after_each(tickets):
        if ticket.event == FILLED or ticket in opening:
            put_in += ticket.mass_kg
        if ticket.event == CLEANED_OUT:
            out.append(ticket)
        filled_since = any(t.event == FILLED for t in there)
        if ticket in opening or filled_since or ticket.time_s is None:
            continue
        known = total((t, 1) for t in (*there, *out))
        states.append((ticket, known.kg + supply_kg - put_in, known.sigma_kg))
    return states
