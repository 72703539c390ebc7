"""Cautions that a plan of interseeding calls for."""

from __future__ import annotations

from evenacre.planning.interseeding.plan_types import InterseedPlan
from evenacre.planning.passes.turns import turn_room


def interseed_cautions(plan: InterseedPlan) -> list[str]:
    """Cautions to print, each only where it applies."""
    if not plan.visits:
        return []
    s = plan.seeding
    out = []
    if s.treated:
        out.append(
            "This seed is treated. It is not feed: keep bags, spills and what is left in the cart "
            "away from stock."
        )
    else:
        out.append(
            "If any of this is treated seed: it is not feed, and spills are to be cleaned up."
        )
    if s.withholding_days:
        out.append(
            f"The label was said to forbid grazing for {_days(s.withholding_days)} after seeding, "
            "and the plan keeps to it. The label decides: read it again before the herd goes in."
        )
    else:
        out.append(
            "A seed label may forbid grazing for a time. None was given, so the plan keeps the "
            f"herd out for the {_days(s.rest_days)} of rest only: read the label."
        )
    out += [
        "Seedlings need rest: graze when they hold against a pull, not by the calendar alone, and "
        "keep stock off ground that is still soft.",
        *_turns(plan),
        "Keep hands out of the metering rolls and off chains while anything turns. Clear a plugged "
        "line only with the fan stopped and the pressure gone.",
        "Follow the label and local code.",
    ]
    return out


def _turns(plan: InterseedPlan) -> list[str]:
    """Turns know nothing of fences."""
    seeded = [p.passes for p in plan.paddocks if p.visits and p.passes is not None]
    out = sum(turn_room(passes).turns > 0 for passes in seeded)
    if not out:
        return []
    return [
        f"As drawn, turns leave the ground of {out} of the {len(seeded)} paddocks: look for "
        "fences, ditches, poles and wires before you drive. More headland rounds give them room."
    ]


def _days(count: int) -> str:
    return "1 day" if count == 1 else f"{count} days"
