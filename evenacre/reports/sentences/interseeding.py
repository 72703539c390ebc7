"""An interseeding plan in plain words: the answer, how it came about, what to take care of."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from evenacre.io.common.findings import counted
from evenacre.planning.interseeding.plan_types import (
    BEYOND,
    BOOKED,
    MOVES,
    NOT_BEFORE,
    READY,
    WEATHER,
    WINDOW_FIRST,
    WINDOW_LAST,
    InterseedPlan,
    Relaxation,
    Rule,
    Shortage,
    WeatherTold,
)
from evenacre.planning.passes.turns import turn_room
from evenacre.reports import figure_text as figures
from evenacre.reports.sentences import interseeding_words as iw
from evenacre.reports.sentences.audit import Card, first_lines
from evenacre.units.display import UnitSystem

_ALL = 0.995
_INCH_M = 0.0254
_EVEN = 1e-3  # rates closer than this are the same


def interseed_answer(plan: InterseedPlan, units: UnitSystem) -> Card:
    """Say how much is seeded by when, with how much seed and how surely, and what is short."""
    lines = [("product", _seed(plan, units))] if plan.visits else []
    if plan.seeding.from_day is not None:
        lines.append(("product", _done(plan, units)))
    if plan.chance_all is not None:
        lines.append(("product", _chance(plan, plan.chance_all)))
    lines += [("missed", text) for text in _left_out(plan, units)]
    short = [("short", shortage_words(s, units)) for s in plan.herd.shortages]
    lines += first_lines(short, "short", "shortages are in the table")
    if plan.visits and not plan.schedule.proven:
        more = f"another schedule might be worth up to {100 * plan.schedule.gap:.1f} % more"
        lines.append(("cost", f"The search was stopped for time: {more}."))
    if not plan.relaxations and not plan.relaxed_holds:
        lines.append(("cost", "What would let the rest be seeded was not found in time."))
    return Card(_headline(plan, units), tuple(lines))


def relaxation_title(plan: InterseedPlan) -> str:
    """Head the list of what to relax."""
    beyond = {r.rule == BEYOND for r in plan.relaxations}
    if beyond <= {True}:
        return "What cannot be seeded"
    if not plan.relaxed_holds:
        return "What would let more be seeded, though perhaps not all"
    if True in beyond:
        return "What would let more be seeded"
    return "What would let every paddock be seeded whole"


def _headline(plan: InterseedPlan, units: UnitSystem) -> str:
    goals = iw.wanted(plan)
    if not goals and any(p.finished for p in plan.paddocks):
        return "Every paddock is seeded"
    if not goals:
        return "No paddock is to be seeded"
    goal = figures.size(sum(iw.goal_m2(p) for p in goals), units, 3)
    if any(p.done for p in plan.paddocks):
        goal = f"{goal} left"
    if not plan.visits:
        return f"None of {goal} can be seeded"
    seeded = figures.size(sum(p.seeded_m2 for p in goals), units, 3)
    ground = f"All {goal}" if all(map(iw.whole, goals)) else f"{seeded} of {goal}"
    return f"{ground} can be seeded, by {iw.day_text(plan.visits[-1].day)}"


def _seed(plan: InterseedPlan, units: UnitSystem) -> str:
    s, rate = plan.seeding, plan.schedule.rate_kg_per_m2
    text = f"{units.mass.text(plan.seed_used_kg)} of {s.product.name} at {units.rate.text(rate)}"
    if abs(rate - s.rate_kg_per_m2) > _EVEN * s.rate_kg_per_m2:
        changed = "less, to reach further" if rate < s.rate_kg_per_m2 else "more, to come out even"
        text += f" ({changed}: {units.rate.text(s.rate_kg_per_m2)} was wanted)"
    if plan.fills:
        text += f", in {counted(len(plan.fills), 'load')}"
    if plan.seed_left_kg is None or s.on_hand_kg is None:
        return f"{text}; how much is on hand was not told."
    if plan.seed_left_kg < _EVEN * s.on_hand_kg:
        return f"{text}; no seed is left over."
    left = units.mass.text(plan.seed_left_kg)
    kept_kg = sum(b.least_kg for b in s.bins) if plan.fills else 0.0
    kept = f", {units.mass.text(kept_kg)} of it in the cart" if kept_kg else ""
    return f"{text}; {left} of {units.mass.text(s.on_hand_kg)} is left over{kept}."


def _done(plan: InterseedPlan, units: UnitSystem) -> str:
    """Say what the logs tell of the days before the plan begins."""
    done = [(p.done, p.paddock.field.name, p.finished) for p in plan.paddocks if p.done]
    since = iw.day_text(plan.seeding.from_day) if plan.seeding.from_day else ""
    if not done:
        return f"Planned from {since}: by the logs nothing is done yet."
    area = figures.size(sum(d.area_m2 for d, _, _ in done), units, 3)
    seed = units.mass.text(sum(d.seed_kg or 0.0 for d, _, _ in done))
    names = [name if whole else f"{name} (in part)" for _, name, whole in done]
    text = f"Planned from {since}; by the logs {area} is done with {seed} of seed"
    return f"{text}: {', '.join(names)}."


def _chance(plan: InterseedPlan, chance_all: float) -> str:
    told, within = plan.weather, plan.chance_all_within
    if told is not None and told.years is not None and within is not None:
        low, high = (round(100 * end) for end in within)
        return (
            f"Weather left time for all of it in {100 * chance_all:.0f} % of "
            f"{counted(len(told.years), 'past year')}: a chance between {low} and {high} %, 9 "
            "times in 10."
        )
    text = f"Chance that weather leaves time for all of it: {iw.chance_text(chance_all)}"
    known = [(p.chance, p.paddock.field.name) for p in plan.paddocks if p.chance is not None]
    chance, name = min(known, default=(1.0, ""))
    if len(known) > 1 and round(100 * chance) < 100:
        text += f"; least sure is {name}, {iw.chance_text(chance)}"
    return f"{text} ({_weather(plan)})."


def _weather(plan: InterseedPlan) -> str:
    """Say what the chance goes by, in brief."""
    s = plan.seeding
    if s.lost_spell_days is None:
        return "were each day lost by itself: days in a row, which lost_spell tells, make it less"
    return f"with {iw.days_text(s.lost_spell_days)} lost in a row on average"


def _left_out(plan: InterseedPlan, units: UnitSystem) -> Iterator[str]:
    none, part = [], []
    for p in iw.wanted(plan):
        name = p.paddock.field.name
        if not p.visits:
            why = iw.shut_words(p.window, plan) if p.window else ""
            closed, begin = p.window.closes if p.window else None, plan.seeding.from_day
            if closed is not None and begin is not None and closed < begin:
                why = f"its window closed on {iw.day_text(closed)}"
            none.append(f"{name} ({why})" if why else name)
        elif not iw.whole(p):
            ground = figures.size(p.seeded_m2, units, 3), figures.size(iw.goal_m2(p), units, 3)
            part.append(f"{name} ({100 * iw.share_seeded(p):.0f} %: {' of '.join(ground)})")
    if part:
        yield f"Seeded in part: {', '.join(part)}."
    if none:
        yield f"Not seeded: {', '.join(none)}."


def shortage_words(shortage: Shortage, units: UnitSystem) -> str:
    """Say what feed or rest is missing, when, and how much feed has to be found."""
    s, days, day = shortage, iw.days_text(shortage.days), iw.day_text(shortage.day)
    text = {
        "rest": f"{s.paddock} gets {days} too little rest before {day}",
        "ground": f"{s.paddock} does not feed the herd for one day ({day})",
    }.get(s.kind, f"{s.paddock} runs {days} short of forage on {day}")
    if s.feed_kg > 0:
        text += f": find {units.mass.text(s.feed_kg, 2)} of dry matter elsewhere"
    return f"{text}."


_ALLOW: dict[str, str] = {
    "seed": "{mass} more seed",
    "hours": "{hours} more a day with the drill",
    BOOKED: "{hours} back from what the drill is booked for: {booked}",
    WEATHER: "{hours} less lost to weather than the plan allows for",
    BEYOND: "{share} of {where} is out of reach, whatever is allowed",
    Rule.WAIT: "open {where} {days} sooner after the herd",
    Rule.RESIDUAL: "graze {where} {rate} lower, or seed it with more left standing",
    Rule.CLOSE: "keep {where} open {days} longer",
    Rule.REGROWTH: "seed {where} in regrowth that is {rate} taller",
    Rule.REGRAZE: "keep the herd out of {where} {days} longer after seeding",
    Rule.GIVEN: "widen the window you decided for {where} by {days}",
    Rule.SEASON: "seed {days} beyond the first or last day of seeding",
    Rule.WET: "seed {where} {days} before you said it bears the drill",
    READY: "name {where} as ready when it is, or give its window or its moves",
    "rate": "seed at {rate} less",
    "first_day": "begin seeding {days} sooner",
    "last_day": "go on seeding {days} longer",
}
_TO: dict[str, str] = {
    "on_hand_kg": "{mass} in all",
    "least_rate_kg_per_m2": "at {rate_down}",
    NOT_BEFORE: "from {day}",
    "hours_most_s": "up to {hours}",
    "day_to_s": "until {clock}",
    "day_from_s": "from {clock}",
    "lost_chance": "no more than {percent} % of the days",
    "opens_after_days": "{days} after it leaves",
    "closes_after_days": "until {days} after the herd left",
    "residual_most_kg_per_m2": "up to {rate}",
    "regrowth_most_kg_per_m2": "up to {rate}",
    MOVES: "until {day}",
    WINDOW_FIRST: "from {day}",
    WINDOW_LAST: "until {day}",
    "first_day": "from {day}",
    "last_day": "until {day}",
}
_DAYS_TOLD = 6


def relaxation_words(relaxation: Relaxation, units: UnitSystem) -> str:
    """Say what to allow, how much of it, and what that comes to; figures are rounded up.

    Whatever would do in its place is told after it.
    """
    alone = (_relaxation_words(r, units) for r in (relaxation, *relaxation.instead))
    return "; or ".join(alone)


def _relaxation_words(relaxation: Relaxation, units: UnitSystem) -> str:
    rule, amount = str(relaxation.rule), relaxation.amount
    kind = BOOKED if rule.startswith(BOOKED) else rule
    words = _ALLOW.get(relaxation.setting or "") or _ALLOW.get(kind, "{hours} of {rule}")
    text = words.format(
        rule=rule,
        booked=rule.removeprefix(BOOKED),
        where=relaxation.paddock or "all paddocks",
        mass=figures.at_least(amount, units.mass),
        rate=figures.at_least(amount, units.rate),
        hours=iw.enough_hours_text(amount),
        days=iw.days_text(amount),
        share="all" if amount > _ALL else f"{100 * amount:.0f} %",
    )
    more = _to_words(relaxation, units)
    return f"{text}: {more}" if more and kind != BOOKED else f"{text} ({more})" if more else text


def _to_words(relaxation: Relaxation, units: UnitSystem) -> str:
    """Say what has to be set to what, or which days a booking gives up how much of."""
    freed, to = relaxation.freed, relaxation.to
    if freed:
        told = [f"{iw.enough_hours_text(s)} on {iw.day_text(day)}" for day, s in freed]
        last = [f"and {len(told) - _DAYS_TOLD} more days"] if len(told) > _DAYS_TOLD else []
        return ", ".join([*told[:_DAYS_TOLD], *last])
    if relaxation.setting is None or to is None:
        return ""
    if isinstance(to, dt.date):
        return _TO[relaxation.setting].format(day=iw.day_text(to))
    return _TO[relaxation.setting].format(
        mass=figures.at_least(to, units.mass) if to > 0 else "",
        rate=figures.at_least(to, units.rate) if to > 0 else "",
        rate_down=figures.at_most(to, units.rate) if to > 0 else "",
        hours=iw.enough_hours_text(to),
        clock=iw.clock(to),
        percent=f"{100 * to:.1f}".removesuffix(".0"),
        days=iw.days_text(to),
    )


def method_words(plan: InterseedPlan, units: UnitSystem, time_zone: str | None) -> list[str]:
    """Say how moves, windows, days, schedule and chances came about."""
    s, rate = plan.seeding, units.rate.text
    opens = f"{iw.days_text(s.opens_after_days)} after the herd leaves"
    window = (
        f"A window opens {opens if s.opens_after_days else 'on the day the herd leaves'} and its "
        f"last day is {iw.days_text(s.closes_after_days)} after the herd left, unless you decided "
        "it otherwise."
    )
    if (most := s.residual_most_kg_per_m2) is not None:
        window += f" A paddock with more than {rate(most)} left standing is not seeded."
    if (most := s.regrowth_most_kg_per_m2) is not None:
        window += f" It closes when regrowth stands above {rate(most)}."
    rest = f"The herd stays out for {iw.days_text(s.ungrazed_days)} after seeding"
    asked = ", as the label was said to ask" if s.withholding_days > s.rest_days else ""
    best = f"It is within {100 * plan.schedule.gap:.1f} % of the most that any could be worth"
    if plan.schedule.proven:
        best = (
            "It was proven that no other is worth more, at whatever rate you allow and with loads "
            "of whatever size"
        )
    out = [
        _moves(plan),
        window,
        f"{rest}{asked}.",
        _drill(plan),
        "The schedule seeds as much ground as it can, by the value you gave each paddock, inside "
        f"windows, hours and seed. {best}. Seed is metered over all the ground the drill runs "
        "over, overlap included; ground is counted once.",
    ]
    if fenced := sum(p.passes is not None and p.passes.fenced for p in plan.paddocks):
        out.append(
            f"Of {counted(fenced, 'paddock')} nothing of tractor, drill and cart leaves the fence; "
            "behind a herd all are taken as fenced, unless fence = false says otherwise."
        )
    if plan.chance_all is not None and plan.weather is not None:
        out.append(_seasons(plan, plan.weather, units))
    clock = f"Times are of {time_zone}" if time_zone else "Times are local mean time"
    return [*out, f"{clock}. Areas are taken on an equal-area plane."]


def _seasons(plan: InterseedPlan, told: WeatherTold, units: UnitSystem) -> str:
    """Say what weather chances come from."""
    s, past = plan.seeding, plan.seeding.past_weather
    spells = f"in spells of {iw.days_text(told.spell_days)} on average"
    if past is not None and told.years is not None:
        years = counted(len(told.years), "past year")
        after = ""
        if past.dry_after_days:
            after = f" or on the {iw.days_text(past.dry_after_days)} before it"
        text = (
            f"Chances come from {past.source}: {years} from {told.years[0]} to {told.years[-1]}, "
            "each taken whole, as it was and up to a week earlier and later. A day is lost when "
            f"{_rain_text(past.stops_m)} of rain or more fell on it{after}: "
            f"{100 * told.share:.0f} % of these days, {spells}"
        )
    else:
        each = "each by itself" if s.lost_spell_days is None else spells
        text = (
            f"Chances come from {s.runs:,} simulated seasons in which weather takes "
            f"{100 * s.lost_chance:.0f} % of the days, {each}"
        )
    return (
        f"{text} (days known as lost always are); what is missed is made up later where window "
        "and hours allow."
    )


def _rain_text(depth_m: float) -> str:
    return f"{depth_m / _INCH_M:.2g} in ({1000 * depth_m:.2g} mm)"


def _moves(plan: InterseedPlan) -> str:
    if plan.grazing.moves:
        return "The herd's moves are those you decided."
    if not plan.grazing.herd:
        return "No herd was told."
    return (
        "The herd's moves follow from what it eats a day, what stands in each paddock, how it "
        "grows and what share of it is to be eaten: what stands, times the area, times that share. "
        f"A paddock rests {iw.days_text(plan.grazing.rest_days)} between stays."
    )


def _drill(plan: InterseedPlan) -> str:
    s = plan.seeding
    text = (
        "Hours for a paddock are those of the drive below, turns included, and "
        f"{iw.hours_text(s.setup_s)} to set up"
    )
    if s.bins:
        text += f", {iw.hours_text(s.refill_s)} for each load"
    if s.sow_within_days is not None:
        text += f", which is sown within {iw.days_text(s.sow_within_days)}"
    if s.day_from_s is not None:
        text += f"; work begins at {iw.clock(s.day_from_s)}, where from says nothing else"
    if s.hours_most_s is not None:
        text += f"; no day has more than {iw.hours_text(s.hours_most_s)}"
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
        f"out for the {iw.days_text(s.rest_days)} of rest only: read the label."
    )
    if s.withholding_days:
        label = (
            f"The label was said to forbid grazing for {iw.days_text(s.withholding_days)} after "
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
    out = sum(turn_room(passes).turns > 0 for passes in seeded if not passes.fenced)
    if not out:
        return []
    return [
        f"As drawn, turns leave the ground of {out} of the {len(seeded)} paddocks: look for "
        "fences, ditches, poles and wires before you drive. More headland rounds give them room."
    ]
