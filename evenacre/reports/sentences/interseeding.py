"""An interseeding plan in plain words: the answer, how it came about, what to take care of."""

from __future__ import annotations

from collections.abc import Iterator

from evenacre.planning.interseeding.plan_types import (
    BEYOND,
    BOOKED,
    WEATHER,
    InterseedPlan,
    Relaxation,
    Rule,
    Shortage,
)
from evenacre.planning.passes.turns import turn_room
from evenacre.reports import figure_text as figures
from evenacre.reports.sentences.audit import Card
from evenacre.reports.sentences.interseeding_words import (
    chance_text,
    day_text,
    days_text,
    goal_m2,
    hours_text,
    share_seeded,
    shut_words,
    wanted,
    whole,
)
from evenacre.units.display import UnitSystem

_ALL = 0.995
_MOST_LINES = 6
_EVEN = 1e-3  # rates closer than this are the same


def interseed_answer(plan: InterseedPlan, units: UnitSystem) -> Card:
    """Say how much is seeded by when, with how much seed and how surely, and what is short."""
    lines = []
    if plan.visits:
        lines.append(("product", _seed(plan, units)))
    if plan.chance_all is not None:
        lines.append(("product", _chance(plan)))
    lines += [("missed", text) for text in _left_out(plan, units)]
    short = [("short", shortage_words(s, units)) for s in plan.herd.shortages]
    lines += short[:_MOST_LINES]
    if len(short) > _MOST_LINES:
        lines.append(("short", f"{len(short) - _MOST_LINES} more shortages are in the table."))
    if plan.visits and not plan.schedule.proven:
        lines.append(
            (
                "cost",
                "The search was stopped for time: another schedule might be worth up to "
                f"{100 * plan.schedule.gap:.1f} % more.",
            )
        )
    return Card(_headline(plan, units), tuple(lines))


def relaxation_title(plan: InterseedPlan) -> str:
    """Head the list of what to relax."""
    beyond = [r.rule == BEYOND for r in plan.relaxations]
    if all(beyond):
        return "What cannot be seeded"
    if any(beyond):
        return "What would let more be seeded"
    return "What would let every paddock be seeded whole"


def _headline(plan: InterseedPlan, units: UnitSystem) -> str:
    goals = wanted(plan)
    goal = sum(goal_m2(p) for p in goals)
    seeded = sum(p.seeded_m2 for p in goals)
    if not goals:
        return "No paddock is to be seeded"
    if not plan.visits:
        return f"None of {figures.size(goal, units, 3)} can be seeded"
    by = f"by {day_text(plan.visits[-1].day)}"
    if all(whole(p) for p in goals):
        return f"All {figures.size(goal, units, 3)} can be seeded, {by}"
    return f"{figures.size(seeded, units, 3)} of {figures.size(goal, units, 3)} can be seeded, {by}"


def _seed(plan: InterseedPlan, units: UnitSystem) -> str:
    s, rate = plan.seeding, plan.schedule.rate_kg_per_m2
    text = f"{units.mass.text(plan.seed_used_kg)} of {s.product.name} at {units.rate.text(rate)}"
    if abs(rate - s.rate_kg_per_m2) > _EVEN * s.rate_kg_per_m2:
        changed = "less, to reach further" if rate < s.rate_kg_per_m2 else "more, to come out even"
        text += f" ({changed}: {units.rate.text(s.rate_kg_per_m2)} was wanted)"
    if plan.fills:
        text += ", in 1 load" if len(plan.fills) == 1 else f", in {len(plan.fills)} loads"
    if plan.seed_left_kg is None or s.on_hand_kg is None:
        return f"{text}; how much is on hand was not told."
    if plan.seed_left_kg < _EVEN * s.on_hand_kg:
        return f"{text}; no seed is left over."
    left = units.mass.text(plan.seed_left_kg)
    return f"{text}; {left} of {units.mass.text(s.on_hand_kg)} is left over."


def _chance(plan: InterseedPlan) -> str:
    assert plan.chance_all is not None
    text = f"Chance that weather leaves time for all of it: {chance_text(plan.chance_all)}"
    known = [(p.chance, p.paddock.field.name) for p in plan.paddocks if p.chance is not None]
    chance, name = min(known, default=(1.0, ""))
    if len(known) > 1 and round(100 * chance) < 100:
        text += f"; least sure is {name}, {chance_text(chance)}"
    return f"{text}."


def _left_out(plan: InterseedPlan, units: UnitSystem) -> Iterator[str]:
    none, part = [], []
    for p in wanted(plan):
        name = p.paddock.field.name
        if not p.visits:
            why = shut_words(p.window, plan) if p.window and p.window.opens is None else ""
            none.append(f"{name} ({why})" if why else name)
        elif not whole(p):
            ground = figures.size(p.seeded_m2, units, 3), figures.size(goal_m2(p), units, 3)
            part.append(f"{name} ({100 * share_seeded(p):.0f} %: {' of '.join(ground)})")
    if part:
        yield f"Seeded in part: {', '.join(part)}."
    if none:
        yield f"Not seeded: {', '.join(none)}."


def shortage_words(shortage: Shortage, units: UnitSystem) -> str:
    """Say what feed or rest is missing, when, and how much feed has to be found."""
    s = shortage
    feed = f"find {units.mass.text(s.feed_kg, 2)} of dry matter elsewhere" if s.feed_kg > 0 else ""
    if s.kind == "rest":
        text = f"{s.paddock} gets {days_text(s.days)} too little rest before {day_text(s.day)}"
    elif s.kind == "ground":
        text = f"{s.paddock} does not feed the herd for one day ({day_text(s.day)})"
    else:
        text = f"{s.paddock} runs {days_text(s.days)} short of forage on {day_text(s.day)}"
    return f"{text}: {feed}." if feed else f"{text}."


def relaxation_words(relaxation: Relaxation, units: UnitSystem) -> str:
    """Say what to allow, and how much of it."""
    rule, amount = str(relaxation.rule), relaxation.amount
    where = relaxation.paddock or "all paddocks"
    if rule == "seed":
        return f"{units.mass.text(amount)} more seed"
    if rule == "hours":
        return f"{hours_text(amount)} more a day with the drill"
    if rule.startswith(BOOKED):
        return f"{hours_text(amount)} back from what the drill is booked for: {rule[len(BOOKED) :]}"
    if rule == WEATHER:
        return f"{hours_text(amount)} less lost to weather than the plan allows for"
    if rule == BEYOND:
        share = "all" if amount > _ALL else f"{100 * amount:.0f} %"
        return f"{share} of {where} is out of reach, whatever is allowed"
    days = days_text(amount)
    words = {
        Rule.HERD: f"keep the herd out of {where} {days} longer",
        Rule.WAIT: f"open {where} {days} sooner after the herd",
        Rule.RESIDUAL: f"seed {where} with more left standing, for {days} (or graze it lower)",
        Rule.CLOSE: f"keep {where} open {days} longer",
        Rule.REGROWTH: f"seed {where} in taller regrowth, for {days}",
        Rule.REGRAZE: f"keep the herd out of {where} {days} longer after seeding",
        Rule.GIVEN: f"widen the window you decided for {where} by {days}",
        Rule.SEASON: f"seed {where} outside the first and last day of seeding, for {days}",
    }
    return words.get(Rule(rule), rule) if rule in set(Rule) else f"{hours_text(amount)} of {rule}"


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
    best = f"It is within {100 * plan.schedule.gap:.1f} % of the most that any could be worth"
    if plan.schedule.proven:
        best = "It was proven that no other is worth more"
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


def interseed_cautions(plan: InterseedPlan) -> list[str]:
    """Cautions to print, each only where it applies."""
    if not plan.visits:
        return []
    s = plan.seeding
    seed = "If any of this is treated seed: it is not feed, and spills are to be cleaned up."
    if s.treated:
        seed = (
            "This seed is treated. It is not feed: keep bags, spills and what is left in the cart "
            "away from stock."
        )
    label = (
        "A seed label may forbid grazing for a time. None was given, so the plan keeps the herd "
        f"out for the {days_text(s.rest_days)} of rest only: read the label."
    )
    if s.withholding_days:
        label = (
            f"The label was said to forbid grazing for {days_text(s.withholding_days)} after "
            "seeding, and the plan keeps to it. The label decides: read it again before the herd "
            "goes in."
        )
    return [
        seed,
        label,
        "Seedlings need rest: graze when they hold against a pull, not by the calendar alone, and "
        "keep stock off ground that is still soft.",
        *_turns(plan),
        "Keep hands out of the metering rolls and off chains while anything turns. Clear a plugged "
        "line only with the fan stopped and the pressure gone.",
        "Follow the label and local code.",
    ]


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
