"""Whether load tickets make sense together: their order, and what a compartment can hold."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from evenacre.io.common.findings import Findings
from evenacre.model import LoadTicket, OperationPlan
from evenacre.units.display import in_both

# A heap above level full, and a density a little off, are no news.
_HEAP = 1.05
_SCALE_SHARE = 0.005


def in_order(tickets: Sequence[LoadTicket], findings: Findings) -> list[LoadTicket]:
    """Tickets in the order of time; in the order of the file where any has no time."""
    timed = [t for t in tickets if t.time_s is not None]
    late = [
        b.place
        for a, b in pairwise(timed)
        if a.time_s is not None and b.time_s is not None and b.time_s < a.time_s
    ]
    if not late:
        return list(tickets)
    if len(timed) < len(tickets):
        findings.warn(
            f"{late[0]}: this ticket is earlier than the one above it, and some tickets give no "
            "time, so the order of the file was kept. Give every ticket its time."
        )
        return list(tickets)
    findings.warn(
        f"{late[0]}: this ticket is earlier than the one above it; the tickets were put in the "
        "order of their times."
    )
    return sorted(tickets, key=lambda t: t.time_s or 0.0)


def check_amounts(tickets: Sequence[LoadTicket], plan: OperationPlan, findings: Findings) -> None:
    """Warn of more in a compartment than it holds, or more left in it than there was.

    What a compartment holds is its level-full volume times the product's bulk density, where
    both are known.
    """
    _check_repeats(tickets, findings)
    volume = {c.name: c.volume_m3 for c in plan.implement.compartments}
    density = {a.product.name: a.product.bulk_density_kg_per_m3 for a in plan.applications}
    inside: dict[str, float] = {}
    certain: dict[str, bool] = {}
    for ticket in tickets:
        name, mass = ticket.compartment, ticket.mass_kg
        before = inside.get(name, 0.0)
        if ticket.event == "filled":
            # Some of an earlier fill may be gone: only what was weighed is certain.
            inside[name] = before + mass
            least = before + mass if certain.get(name, True) else mass
            certain[name] = False
        else:
            allowed = before + 3 * ticket.sigma_kg + _SCALE_SHARE * before
            if name in inside and mass > allowed:
                findings.warn(
                    f"{ticket.place}: {in_both('mass', mass)} were still in the cart, but only "
                    f"{in_both('mass', before)} had gone in. A filling is missing or a weight is "
                    "wrong."
                )
            least = mass
            inside[name] = mass if ticket.event == "remaining" else 0.0
            certain[name] = True
        per_m3 = density.get(ticket.product)
        if name in volume and per_m3 and least > _HEAP * volume[name] * per_m3:
            findings.warn(
                f"{ticket.place}: {in_both('mass', least)} of {ticket.product} are more than "
                f'"{name}" holds level full, {in_both("mass", volume[name] * per_m3)} at its bulk '
                "density. Check the weight, the volume and the density."
            )


def _check_repeats(tickets: Sequence[LoadTicket], findings: Findings) -> None:
    for a, b in pairwise(tickets):
        same = (a.event, a.compartment, a.product, a.mass_kg) == (
            b.event, b.compartment, b.product, b.mass_kg,
        )  # fmt: skip
        if same and a.time_s == b.time_s and a.time_s is not None:
            findings.warn(f"{b.place}: it repeats {a.place} exactly; both are counted.")
