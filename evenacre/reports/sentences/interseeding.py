"""An interseeding plan in plain words: the answer, how it came about, what to take care of."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from evenacre.language import mark, tr, trn
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
_SOUGHT = 1e-5  # what the search may have left that is worth no word


def interseed_answer(plan: InterseedPlan, units: UnitSystem) -> Card:
    """Say how much is seeded by when, with how much seed and how surely, and what is short."""
    lines = [("product", _seed(plan, units))] if plan.visits else []
    if plan.seeding.from_day is not None:
        lines.append(("product", _done(plan, units)))
    if plan.chance_all is not None:
        lines.append(("product", _chance(plan, plan.chance_all)))
    lines += [("missed", text) for text in _left_out(plan, units)]
    short = [("short", shortage_words(s, units)) for s in plan.herd.shortages]
    lines += first_lines(short, "short", mark("{more} more shortages are in the table."))
    unsought = plan.schedule.gap - plan.schedule.gap_of_passes
    if plan.visits and not plan.schedule.proven and unsought > _SOUGHT:
        more = tr(
            "another schedule might be worth up to {unsought:.1f} % more", unsought=100 * unsought
        )
        lines.append(("cost", tr("The search was stopped for time: {more}.", more=more)))
    if not plan.relaxations and not plan.relaxed_holds:
        lines.append(("cost", tr("What would let the rest be seeded was not found in time.")))
    return Card(_headline(plan, units), tuple(lines))


def relaxation_title(plan: InterseedPlan) -> str:
    """Head the list of what to relax."""
    beyond = {r.rule == BEYOND for r in plan.relaxations}
    if beyond <= {True}:
        return tr("What cannot be seeded")
    if not plan.relaxed_holds:
        return tr("What would let more be seeded, though perhaps not all")
    if True in beyond:
        return tr("What would let more be seeded")
    return tr("What would let every paddock be seeded whole")


def _headline(plan: InterseedPlan, units: UnitSystem) -> str:
    goals = iw.wanted(plan)
    if not goals and any(p.finished for p in plan.paddocks):
        return tr("Every paddock is seeded")
    if not goals:
        return tr("No paddock is to be seeded")
    goal = units.area.in_all(map(iw.goal_m2, goals))
    if any(p.done for p in plan.paddocks):
        goal = tr("{goal} left", goal=goal)
    if not plan.visits:
        return tr("None of {goal} can be seeded", goal=goal)
    seeded = units.area.in_all(p.seeded_m2 for p in goals)
    day = iw.day_text(plan.visits[-1].day)
    if all(map(iw.whole, goals)):
        return tr("All {goal} can be seeded, by {day}", goal=goal, day=day)
    return tr("{seeded} of {goal} can be seeded, by {day}", seeded=seeded, goal=goal, day=day)


def _seed(plan: InterseedPlan, units: UnitSystem) -> str:
    s, rate = plan.seeding, plan.schedule.rate_kg_per_m2
    text = tr(
        "{mass} of {name} at {rate}",
        mass=units.mass.text(plan.seed_used_kg),
        name=s.product.name,
        rate=units.rate.text(rate),
    )
    if abs(rate - s.rate_kg_per_m2) > _EVEN * s.rate_kg_per_m2:
        changed = (
            tr("less, to reach further")
            if rate < s.rate_kg_per_m2
            else tr("more, to come out even")
        )
        text += tr(
            " ({changed}: {rate} was wanted)",
            changed=changed,
            rate=figures.told_rate(s.rate_kg_per_m2, units),
        )
    if plan.fills:
        text += trn(", in {count:,} load", ", in {count:,} loads", len(plan.fills))
    if plan.seed_left_kg is None or s.on_hand_kg is None:
        return tr("{said}; how much is on hand was not told.", said=text)
    if plan.seed_left_kg < _EVEN * s.on_hand_kg:
        return tr("{said}; no seed is left over.", said=text)
    left = units.mass.text(plan.seed_left_kg)
    kept_kg = 0.0
    if plan.fills:
        last = plan.fills[-1]
        kept_kg = last.left_kg + last.mass_kg - sum(kg for _, kg in last.serves)
    some = kept_kg >= _EVEN * s.on_hand_kg
    kept = tr(", {mass} of it in the cart", mass=units.mass.text(kept_kg)) if some else ""
    return tr(
        "{said}; {left} of {mass} is left over{kept}.",
        said=text,
        left=left,
        mass=units.mass.text(s.on_hand_kg),
        kept=kept,
    )


def _done(plan: InterseedPlan, units: UnitSystem) -> str:
    """Say what the logs tell of the days before the plan begins."""
    done = [(p.done, p.paddock.field.name, p.finished) for p in plan.paddocks if p.done]
    since = iw.day_text(plan.seeding.from_day) if plan.seeding.from_day else ""
    if not done:
        return tr("Planned from {since}: by the logs nothing is done yet.", since=since)
    area = units.area.text(sum(d.area_m2 for d, _, _ in done))
    seed = units.mass.text(sum(d.seed_kg or 0.0 for d, _, _ in done))
    names = [name if whole else tr("{name} (in part)", name=name) for _, name, whole in done]
    text = tr(
        "Planned from {since}; by the logs {area} is done with {seed} of seed",
        since=since,
        area=area,
        seed=seed,
    )
    return f"{text}: {', '.join(names)}."


def _chance(plan: InterseedPlan, chance_all: float) -> str:
    told, within = plan.weather, plan.chance_all_within
    if told is not None and told.years is not None and within is not None:
        low, high = (round(100 * end) for end in within)
        return trn(
            "Weather left time for all of it in {chance:.0f} % of {count:,} past year: a chance "
            "between {low} and {high} %, 9 times in 10.",
            "Weather left time for all of it in {chance:.0f} % of {count:,} past years: a chance "
            "between {low} and {high} %, 9 times in 10.",
            len(told.years),
            chance=100 * chance_all,
            low=low,
            high=high,
        )
    text = tr(
        "Chance that weather leaves time for all of it: {chance}", chance=iw.chance_text(chance_all)
    )
    known = [(p.chance, p.paddock.field.name) for p in plan.paddocks if p.chance is not None]
    chance, name = min(known, default=(1.0, ""))
    if len(known) > 1 and round(100 * chance) < 100:
        text += tr("; least sure is {name}, {chance}", name=name, chance=iw.chance_text(chance))
    return f"{text} ({_weather(plan)})."


def _weather(plan: InterseedPlan) -> str:
    """Say what the chance goes by, in brief."""
    s = plan.seeding
    if s.lost_spell_days is None:
        return tr(
            "were each day lost by itself: days in a row, which lost_spell tells, make it less"
        )
    return tr("with {days} lost in a row on average", days=iw.days_text(s.lost_spell_days))


def _left_out(plan: InterseedPlan, units: UnitSystem) -> Iterator[str]:
    none, part = [], []
    for p in iw.wanted(plan):
        name = p.paddock.field.name
        if not p.visits:
            why = iw.shut_words(p.window, plan) if p.window else ""
            closed, begin = p.window.closes if p.window else None, plan.seeding.from_day
            if closed is not None and begin is not None and closed < begin:
                why = tr("its window closed on {day}", day=iw.day_text(closed))
            none.append(f"{name} ({why})" if why else name)
        elif not iw.whole(p):
            part.append(
                tr(
                    "{name} ({share:.0f} %: {seeded} of {goal})",
                    name=name,
                    share=100 * iw.share_seeded(p),
                    seeded=units.area.text(p.seeded_m2),
                    goal=units.area.text(iw.goal_m2(p)),
                )
            )
    if part:
        yield tr("Seeded in part: {names}.", names=", ".join(part))
    if none:
        yield tr("Not seeded: {names}.", names=", ".join(none))


def shortage_words(shortage: Shortage, units: UnitSystem) -> str:
    """Say what feed or rest is missing, when, and how much feed has to be found."""
    s, days, day = shortage, iw.days_text(shortage.days), iw.day_text(shortage.day)
    text = {
        "rest": tr(
            "{paddock} gets {days} too little rest before {day}",
            paddock=s.paddock,
            days=days,
            day=day,
        ),
        "ground": tr(
            "{paddock} does not feed the herd for one day ({day})", paddock=s.paddock, day=day
        ),
    }.get(
        s.kind,
        tr("{paddock} runs {days} short of forage on {day}", paddock=s.paddock, days=days, day=day),
    )
    if s.feed_kg > 0:
        text += tr(": find {mass} of dry matter elsewhere", mass=units.mass.text(s.feed_kg, 2))
    return f"{text}."


_ALLOW: dict[str, str] = {
    "seed": mark("{mass} more seed"),
    "hours": mark("{hours} more a day with the drill"),
    BOOKED: mark("{hours} back from what the drill is booked for: {booked}"),
    WEATHER: mark("{hours} less lost to weather than the plan allows for"),
    BEYOND: mark("{share} of {where} is out of reach, whatever is allowed"),
    Rule.WAIT: mark("open {where} {days} sooner after the herd"),
    Rule.RESIDUAL: mark("graze {where} {rate} lower, or seed it with more left standing"),
    Rule.CLOSE: mark("keep {where} open {days} longer"),
    Rule.REGROWTH: mark("seed {where} in regrowth that is {rate} taller"),
    Rule.REGRAZE: mark("keep the herd out of {where} {days} longer after seeding"),
    Rule.GIVEN: mark("widen the window you decided for {where} by {days}"),
    Rule.SEASON: mark("seed {days} beyond the first or last day of seeding"),
    Rule.WET: mark("seed {where} {days} before you said it bears the drill"),
    READY: mark("name {where} as ready when it is, or give its window or its moves"),
    "rate": mark("seed at {rate} less"),
    "first_day": mark("begin seeding {days} sooner"),
    "last_day": mark("go on seeding {days} longer"),
}
_TO: dict[str, str] = {
    "on_hand_kg": mark("{mass} in all"),
    "least_rate_kg_per_m2": mark("at {rate_down}"),
    NOT_BEFORE: mark("from {day}"),
    "hours_most_s": mark("up to {hours}"),
    "day_to_s": mark("until {clock}"),
    "day_from_s": mark("from {clock}"),
    "lost_chance": mark("no more than {percent} % of the days"),
    "opens_after_days": mark("{days} after it leaves"),
    "closes_after_days": mark("until {days} after the herd left"),
    "residual_most_kg_per_m2": mark("up to {rate}"),
    "regrowth_most_kg_per_m2": mark("up to {rate}"),
    MOVES: mark("until {day}"),
    WINDOW_FIRST: mark("from {day}"),
    WINDOW_LAST: mark("until {day}"),
    "first_day": mark("from {day}"),
    "last_day": mark("until {day}"),
}
_OF_RULE = mark("{hours} of {rule}")
_DAYS_TOLD = 6


def relaxation_words(relaxation: Relaxation, units: UnitSystem) -> str:
    """Say what to allow, how much of it, and what that comes to; figures are rounded up.

    Whatever would do in its place is told after it.
    """
    alone = (_relaxation_words(r, units) for r in (relaxation, *relaxation.instead))
    return tr("; or ").join(alone)


def _relaxation_words(relaxation: Relaxation, units: UnitSystem) -> str:
    rule, amount = str(relaxation.rule), relaxation.amount
    kind = BOOKED if rule.startswith(BOOKED) else rule
    words = _ALLOW.get(relaxation.setting or "") or _ALLOW.get(kind, _OF_RULE)
    text = tr(
        words,
        rule=rule,
        booked=rule.removeprefix(BOOKED),
        where=relaxation.paddock or tr("all paddocks"),
        mass=figures.at_least(amount, units.mass),
        rate=figures.at_least(amount, units.rate),
        hours=iw.enough_hours_text(amount),
        days=iw.days_text(amount),
        share=tr("all") if amount > _ALL else f"{100 * amount:.0f} %",
    )
    more = _to_words(relaxation, units)
    return f"{text}: {more}" if more and kind != BOOKED else f"{text} ({more})" if more else text


def _to_words(relaxation: Relaxation, units: UnitSystem) -> str:
    """Say what has to be set to what, or which days a booking gives up how much of."""
    freed, to, amount = relaxation.freed, relaxation.to, relaxation.amount
    if freed:
        told = [
            tr(
                "{enough_hours} on {day}",
                enough_hours=iw.enough_hours_text(s),
                day=iw.day_text(day),
            )
            for day, s in freed
        ]
        last = (
            [tr("and {count} more days", count=len(told) - _DAYS_TOLD)]
            if len(told) > _DAYS_TOLD
            else []
        )
        return ", ".join([*told[:_DAYS_TOLD], *last])
    if relaxation.setting is None or to is None:
        return ""
    if isinstance(to, dt.date):
        return tr(_TO[relaxation.setting], day=iw.day_text(to))
    return tr(
        _TO[relaxation.setting],
        mass=units.mass.in_all((to - amount, figures.enough(amount, units.mass))),
        rate=figures.at_least(to, units.rate) if to > 0 else "",
        rate_down=units.rate.in_all((to + amount, -figures.enough(amount, units.rate))),
        hours=iw.enough_hours_text(to),
        clock=iw.clock(to),
        percent=iw.tenths(100 * to),
        days=iw.days_text(to),
    )


def method_words(plan: InterseedPlan, units: UnitSystem, time_zone: str | None) -> list[str]:
    """Say how moves, windows, days, schedule and chances came about."""
    s, rate = plan.seeding, units.rate.text
    closes = iw.days_text(s.closes_after_days)
    if s.opens_after_days:
        window = tr(
            "A window opens {opens} after the herd leaves and its last day is {closes} after the "
            "herd left, unless you decided it otherwise.",
            opens=iw.days_text(s.opens_after_days),
            closes=closes,
        )
    else:
        window = tr(
            "A window opens on the day the herd leaves and its last day is {closes} after the "
            "herd left, unless you decided it otherwise.",
            closes=closes,
        )
    if (most := s.residual_most_kg_per_m2) is not None:
        window += tr(
            " A paddock with more than {rate} left standing is not seeded.", rate=rate(most)
        )
    if (most := s.regrowth_most_kg_per_m2) is not None:
        window += tr(" It closes when regrowth stands above {rate}.", rate=rate(most))
    rest = tr("The herd stays out for {days} after seeding", days=iw.days_text(s.ungrazed_days))
    asked = tr(", as the label was said to ask") if s.withholding_days > s.rest_days else ""
    best = tr(
        "It is within {gap:.1f} % of the most that any could be worth", gap=100 * plan.schedule.gap
    )
    if plan.schedule.gap_of_passes > 0:
        best += tr(", were days to end within a pass")
    if plan.schedule.proven:
        best = tr(
            "It was proven that no other is worth more, at whatever rate you allow and "
            "with loads of whatever size"
        )
    out = [
        _moves(plan),
        window,
        f"{rest}{asked}.",
        _drill(plan),
        tr(
            "The schedule seeds as much ground as it can, by the value you gave each "
            "paddock, inside windows, hours and seed. {best}. Seed is metered over all the "
            "ground the drill runs over, overlap included; ground is counted once.",
            best=best,
        ),
    ]
    if fenced := sum(p.passes is not None and p.passes.fenced for p in plan.paddocks):
        out.append(
            trn(
                "Of {count:,} paddock nothing of tractor, drill and cart leaves the fence; behind "
                "a herd all are taken as fenced, unless fence = false says otherwise.",
                "Of {count:,} paddocks nothing of tractor, drill and cart leaves the fence; behind "
                "a herd all are taken as fenced, unless fence = false says otherwise.",
                fenced,
            )
        )
    if plan.chance_all is not None and plan.weather is not None:
        out.append(_seasons(plan, plan.weather, units))
    clock = (
        tr("Times are of {time_zone}", time_zone=time_zone)
        if time_zone
        else tr("Times are local mean time")
    )
    return [*out, tr("{clock}. Areas are taken on an equal-area plane.", clock=clock)]


def _seasons(plan: InterseedPlan, told: WeatherTold, units: UnitSystem) -> str:
    """Say what weather chances come from."""
    s, past = plan.seeding, plan.seeding.past_weather
    spells = tr("in spells of {days} on average", days=iw.days_text(told.spell_days))
    if past is not None and told.years is not None:
        years = trn("{count:,} past year", "{count:,} past years", len(told.years))
        after = ""
        if past.dry_after_days:
            after = tr(" or on the {days} before it", days=iw.days_text(past.dry_after_days))
        text = tr(
            "Chances come from {source}: {years} from {first} to {last}, each taken "
            "whole, as it was and up to a week earlier and later. A day is lost when "
            "{rain} of rain or more fell on it{after}: {share:.0f} % of these days, "
            "{spells}",
            source=past.source,
            years=years,
            first=told.years[0],
            last=told.years[-1],
            rain=_rain_text(past.stops_m),
            after=after,
            share=100 * told.share,
            spells=spells,
        )
    else:
        each = tr("each by itself") if s.lost_spell_days is None else spells
        text = tr(
            "Chances come from {runs:,} simulated seasons in which weather takes "
            "{lost_chance:.0f} % of the days, {each}",
            runs=s.runs,
            lost_chance=100 * s.lost_chance,
            each=each,
        )
    return tr(
        "{said} (days known as lost always are); what is missed is made up later where "
        "window and hours allow.",
        said=text,
    )


def _rain_text(depth_m: float) -> str:
    return tr("{inches:.2g} in ({mm:.2g} mm)", inches=depth_m / _INCH_M, mm=1000 * depth_m)


def _moves(plan: InterseedPlan) -> str:
    if plan.grazing.moves:
        return tr("The herd's moves are those you decided.")
    if not plan.grazing.herd:
        return tr("No herd was told.")
    return tr(
        "The herd's moves follow from what it eats a day, what stands in each paddock, "
        "how it grows and what share of it is to be eaten: what stands, times the area, "
        "times that share. A paddock rests {days} between stays.",
        days=iw.days_text(plan.grazing.rest_days),
    )


def _drill(plan: InterseedPlan) -> str:
    s = plan.seeding
    text = tr(
        "Hours for a paddock are those of the drive below, turns included, and {hours} to set up",
        hours=iw.hours_text(s.setup_s),
    )
    if s.bins:
        text += tr(", {hours} for each load", hours=iw.hours_text(s.refill_s))
    if s.sow_within_days is not None:
        text += tr(", which is sown within {days}", days=iw.days_text(s.sow_within_days))
    if s.day_from_s is not None:
        text += tr(
            "; work begins at {clock}, where from says nothing else", clock=iw.clock(s.day_from_s)
        )
    if s.hours_most_s is not None:
        text += tr("; no day has more than {hours}", hours=iw.hours_text(s.hours_most_s))
    if s.lost_chance:
        text += tr("; of each day the plan uses only the share that weather leaves on average")
    return f"{text}."


def interseed_cautions(plan: InterseedPlan) -> list[str]:
    """Cautions to print, each only where it applies."""
    if not plan.visits:
        return []
    s = plan.seeding
    seed = tr("If any of this is treated seed: it is not feed, and spills are to be cleaned up.")
    if s.treated:
        seed = tr(
            "This seed is treated. It is not feed: keep bags, spills and what is left in "
            "the cart away from stock."
        )
    label = tr(
        "A seed label may forbid grazing for a time. None was given, so the plan keeps "
        "the herd out for the {days} of rest only: read the label.",
        days=iw.days_text(s.rest_days),
    )
    if s.withholding_days:
        label = tr(
            "The label was said to forbid grazing for {days} after seeding, and the plan "
            "keeps to it. The label decides: read it again before the herd goes in.",
            days=iw.days_text(s.withholding_days),
        )
    return [
        seed,
        label,
        tr(
            "Seedlings need rest: graze when they hold against a pull, not by the calendar "
            "alone, and keep stock off ground that is still soft."
        ),
        *_turns(plan),
        tr(
            "Keep hands out of the metering rolls and off chains while anything turns. Clear "
            "a plugged line only with the fan stopped and the pressure gone."
        ),
        tr("Follow the label and local code."),
    ]


def _turns(plan: InterseedPlan) -> list[str]:
    """Turns know nothing of fences."""
    seeded = [p.passes for p in plan.paddocks if p.visits and p.passes is not None]
    out = sum(turn_room(passes).turns > 0 for passes in seeded if not passes.fenced)
    if not out:
        return []
    return [
        tr(
            "As drawn, turns leave the ground of {out} of the {count} paddocks: look for "
            "fences, ditches, poles and wires before you drive. More headland rounds give "
            "them room.",
            out=out,
            count=len(seeded),
        )
    ]
