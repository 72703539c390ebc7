"""How the figures of an interseeding plan were made, in a few plain sentences."""

from __future__ import annotations

from evenacre.planning.interseeding.plan_types import InterseedPlan
from evenacre.reports.sentences.interseeding_rules import days_text, hours_text
from evenacre.units.display import UnitSystem


def method_words(plan: InterseedPlan, units: UnitSystem, time_zone: str | None) -> list[str]:
    """Say how moves, windows, days, schedule and chances came about."""
    s = plan.seeding
    out = [_moves(plan)]
    window = f"A window opens {_after(s.opens_after_days)} and its last day is "
    window += (
        f"{days_text(s.closes_after_days)} after the herd left, unless you decided it otherwise."
    )
    if s.residual_most_kg_per_m2 is not None:
        window += (
            f" A paddock with more than {units.rate.text(s.residual_most_kg_per_m2)} left standing "
            "is not seeded."
        )
    if s.regrowth_most_kg_per_m2 is not None:
        window += (
            f" It closes when regrowth stands above {units.rate.text(s.regrowth_most_kg_per_m2)}."
        )
    out.append(window)
    rest = f"The herd stays out for {days_text(s.rest_days)} after seeding"
    if s.withholding_days > s.rest_days:
        rest = f"The herd stays out for {days_text(s.withholding_days)} after seeding, as the label"
        rest += " was said to ask"
    out.append(f"{rest}.")
    out.append(_drill(plan))
    best = (
        "It was proven that no other is worth more"
        if plan.schedule.proven
        else (f"It is within {100 * plan.schedule.gap:.1f} % of the most that any could be worth")
    )
    out.append(
        "The schedule seeds as much ground as it can, by the value you gave each paddock, inside "
        f"windows, hours and seed. {best}. Seed is metered over all the ground the drill runs "
        "over, overlap included; ground is counted once."
    )
    if plan.chance_all is not None:
        out.append(
            f"Chances come from {s.runs:,} simulated seasons in which each day is lost to weather "
            f"with a chance of {100 * s.lost_chance:.0f} % (days known as lost always are); what "
            "is missed is made up later where window and hours allow."
        )
    clock = f"Times are of {time_zone}" if time_zone else "Times are local mean time"
    out.append(f"{clock}. Areas are taken on an equal-area plane.")
    return out


def _moves(plan: InterseedPlan) -> str:
    if plan.grazing.moves:
        return "The herd's moves are those you decided."
    if not plan.grazing.herd:
        return "No herd was told."
    return (
        "The herd's moves follow from what it eats a day, what stands in each paddock, how it "
        "grows and what share of it is to be eaten: what stands, times the area, times that share. "
        f"A paddock rests {days_text(plan.grazing.rest_days)} between stays."
    )


def _after(days: int) -> str:
    return "on the day the herd leaves" if not days else f"{days_text(days)} after the herd leaves"


def _drill(plan: InterseedPlan) -> str:
    s = plan.seeding
    text = (
        "Hours for a paddock are those of the drive below, turns included, and "
        f"{hours_text(s.setup_s)} to set up"
    )
    if s.load_kg is not None:
        text += f", {hours_text(s.refill_s)} for each load"
    if s.hours_most_s is not None:
        text += f"; no day has more than {hours_text(s.hours_most_s)}"
    if s.lost_chance:
        text += "; of each day the plan uses only the share that weather leaves on average"
    return f"{text}."
