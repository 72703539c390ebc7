"""Shares, spells, days and rules of an interseeding plan, as all of its reports tell them."""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections.abc import Sequence

import numpy as np

from evenacre.language import MONTHS, date_text, mark, number, tr, trn
from evenacre.planning.interseeding.plan_types import (
    WHOLE_SHARE,
    BinFill,
    CartFill,
    InterseedPlan,
    PaddockPlan,
    Rule,
    SeedingWindow,
    Visit,
    WorkDay,
)
from evenacre.reports import figure_text as figures
from evenacre.units.display import UnitSystem

_RUN_OUT = 1e-4  # of a load: with less in it the cart is empty
# Of the page's language, whatever the locale of the machine.
_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def wanted(plan: InterseedPlan) -> list[PaddockPlan]:
    """Paddocks that are to be seeded, and are not yet."""
    return [p for p in plan.paddocks if p.window is not None and not p.finished]


def goal_m2(paddock: PaddockPlan) -> float:
    """Ground that is seeded when the whole paddock is: what its passes reach."""
    return paddock.passes.covered_m2 if paddock.passes else paddock.workable_m2


def share_seeded(paddock: PaddockPlan) -> float:
    """Share of the paddock that is planned, 0 to 1."""
    return min(sum(v.share for v in paddock.visits), 1.0)


def whole(paddock: PaddockPlan) -> bool:
    """Whether all of it is planned, or done."""
    return paddock.finished or share_seeded(paddock) >= WHOLE_SHARE


def part_text(share: float) -> str:
    """Say what part of a paddock a visit seeds."""
    return tr("all of it") if share >= WHOLE_SHARE else tr("{share:.0f} % of it", share=100 * share)


def passes_text(visit: Visit) -> str:
    """Say which passes a visit drives, as they are numbered in the order they are driven."""
    first, last = visit.first_pass, visit.last_pass
    return figures.span(str(first), str(last)) if last > first else str(first)


def visit_words(visit: Visit, units: UnitSystem) -> str:
    """Say what a visit seeds, by which passes and when: the rest of a sentence."""
    return trn(
        ", {part}, pass {passes}, {size}, {mass} of seed; {begin} to {end}.",
        ", {part}, passes {passes}, {size}, {mass} of seed; {begin} to {end}.",
        2 if visit.last_pass > visit.first_pass else 1,
        part=part_text(visit.share),
        passes=passes_text(visit),
        size=figures.size(visit.area_m2, units),
        mass=units.mass.text(visit.seed_kg),
        begin=clock(visit.start_s),
        end=clock(visit.end_s),
    )


def stop_text(fill: CartFill) -> str:
    """Say on which pass the cart is filled."""
    if fill.into_pass > 0:
        return tr(
            "{share:.0f} % along pass {number}",
            share=100 * fill.into_pass,
            number=fill.passes_done + 1,
        )
    return (
        tr("after pass {passes_done}", passes_done=fill.passes_done)
        if fill.passes_done
        else tr("before the first pass")
    )


def bin_text(part: BinFill, bags: float | None, units: UnitSystem) -> str:
    """Say what goes into a compartment, and how many bags that is."""
    text = f"{part.name} {units.mass.text(part.mass_kg)}".strip()
    if bags is None:
        return text
    return trn(
        "{said} ({bags} bag)", "{said} ({bags} bags)", _plural(bags), said=text, bags=tenths(bags)
    )


def tenths(value: float) -> str:
    """Write a number to a tenth, and whole ones without."""
    return number(value, ",.1f").removesuffix(number(0.0, ".1f")[1:])


def _plural(value: float) -> int:
    """Which plural goes with a number: one only where it is written so."""
    return 1 if round(value, 1) == 1 else 2


def load_text(fill: CartFill, units: UnitSystem) -> str:
    """Say what goes into the cart, when, and what is left in it by then."""
    text = tr(
        "load {number} ({mass}) {stop}",
        number=fill.number,
        mass=units.mass.text(fill.mass_kg),
        stop=stop_text(fill),
    )
    if not fill.passes_done and not fill.into_pass:
        return text
    if fill.left_kg > _RUN_OUT * fill.mass_kg:
        return tr(
            "{said}, when the cart is down to {mass}", said=text, mass=units.mass.text(fill.left_kg)
        )
    return tr("{said}, after the cart has run out", said=text)


def numbered(plan: InterseedPlan) -> dict[Visit, int]:
    """The visits in order of time, each with its number from 1."""
    return {visit: number for number, visit in enumerate(plan.visits, 1)}


def fills_at(plan: InterseedPlan, visit: Visit) -> list[CartFill]:
    """Loads that go into the cart during a visit."""
    return [
        f
        for f in plan.fills
        if (f.paddock, f.day) == (visit.paddock, visit.day)
        and visit.start_s - 1 <= f.start_s <= visit.end_s + 1
    ]


def spells(window: SeedingWindow | None, days: Sequence[WorkDay]) -> list[tuple[dt.date, dt.date]]:
    """First and last day of each unbroken run of days on which no rule forbids seeding."""
    if window is None:
        return []
    shut = np.any([np.zeros(len(days), dtype=bool), *window.blocked.values()], axis=0)
    edges = np.diff((~shut).astype(np.int8), prepend=0, append=0)
    starts, ends = np.flatnonzero(edges == 1).tolist(), np.flatnonzero(edges == -1).tolist()
    return [(days[a].day, days[b - 1].day) for a, b in zip(starts, ends, strict=True)]


def span(plan: InterseedPlan) -> tuple[dt.date, dt.date]:
    """First and last day with the herd in a paddock, a window open or the drill at work."""
    marks = [v.day for v in plan.visits]
    for stay in (s.stay for s in plan.herd.stays):
        marks += [stay.enter, stay.leave]
    for window in (p.window for p in plan.paddocks):
        marks += [day for day in (window.opens, window.closes) if day] if window else []
    marks = marks or [plan.days[0].day, plan.days[-1].day]
    return min(marks), max(marks)


def clock(seconds: float) -> str:
    """Time of day, to the minute; beyond the day it says of which one."""
    days, minutes = divmod(round(seconds / 60), 24 * 60)
    time = f"{minutes // 60:02d}:{minutes % 60:02d}"
    if not days:
        return time
    beside = {1: tr("next day"), -1: tr("the day before")}
    return f"{time} {beside.get(days) or tr('{days:+d} days', days=days)}"


def day_text(day: dt.date) -> str:
    """Weekday and date."""
    english = f"{_WEEKDAYS[day.weekday()]} {MONTHS[day.month - 1]} {day.day}, {day.year}"
    return date_text(day, "yMMMEd", english)


def short_day(day: dt.date) -> str:
    """Month and day, where there is little room."""
    return date_text(day, "MMMd", f"{MONTHS[day.month - 1]} {day.day}")


def short_weekday(day: dt.date) -> str:
    """Weekday, month and day, never broken between lines."""
    english = f"{_WEEKDAYS[day.weekday()]} {MONTHS[day.month - 1]} {day.day}"
    return date_text(day, "MMMEd", english).replace(" ", "\N{NO-BREAK SPACE}")


def chance_text(chance: float) -> str:
    """Write a chance in whole percent; what was only simulated is never called sure."""
    percent = round(100 * chance)
    if percent == 100:
        return tr("over 99 %")
    return f"{percent} %" if percent else tr("under 1 %")


def chance_of(plan: InterseedPlan, chance: float | None) -> str:
    """Write a chance of a plan: past years, which are few, are counted; empty for none."""
    if chance is None:
        return ""
    if plan.weather is None or plan.weather.years is None:
        return chance_text(chance)
    count = len(plan.weather.years)
    return tr("{times} in {count} years", times=round(chance * count), count=count)


def short_names(names: Sequence[str]) -> list[str]:
    """Names without the words that all of them begin with, but for the last of those.

    "Long Pasture paddock 1" and "... 2" become "paddock 1" and "paddock 2".
    """
    words = [name.split() for name in names]
    shared = 0
    if len(words) > 1:
        while all(len(w) > shared + 1 and w[shared] == words[0][shared] for w in words):
            shared += 1
    return [" ".join(w[max(shared - 1, 0) :]) for w in words]


def days_text(count: float) -> str:
    """Count days, with a tenth where they are not whole."""
    return trn("{days} day", "{days} days", _plural(count), days=tenths(count))


def hours_text(seconds: float) -> str:
    """Hours to a tenth, or minutes below one."""
    minutes = round(seconds / 60)
    if minutes < 60:
        return f"{minutes} min"
    return f"{tenths(seconds / 3600)} h"


def enough_hours_text(seconds: float) -> str:
    """Hours or minutes as ``hours_text``, rounded up."""
    step = 360.0 if seconds > 3540 else 60.0
    return hours_text(math.ceil(seconds / step - 1e-6) * step)


# Why a window opens, why it closes, why it never opens, and what shuts a day where rules do it
# together; {wait} and {close} are days.
_RULES = {
    Rule.HERD: (
        mark("the herd leaves"),
        mark("the herd is back"),
        mark("the herd is in it"),
        mark("with the herd in it"),
    ),
    Rule.WAIT: (
        mark("{wait} after the herd"),
        mark("the herd has been back"),
        mark("no day is {wait} after the herd"),
        mark("less than {wait} after the herd"),
    ),
    Rule.RESIDUAL: (
        mark("grazed low enough"),
        mark("too much stands from here on"),
        mark("too much is left standing"),
        mark("with too much left standing"),
    ),
    Rule.CLOSE: (
        mark("the herd has left again"),
        mark("{close} after the herd"),
        mark("every day is more than {close} after the herd"),
        mark("more than {close} after the herd"),
    ),
    Rule.REGROWTH: (
        mark("regrowth is low enough"),
        mark("regrowth competes"),
        mark("regrowth competes"),
        mark("when regrowth competes"),
    ),
    Rule.REGRAZE: (
        mark("seedlings get their rest from here on"),
        mark("later seedlings would be grazed too soon"),
        mark("the herd is back before seedlings have rested or the label allows"),
        mark("too soon before the herd is back"),
    ),
    Rule.GIVEN: (
        mark("as you decided"),
        mark("as you decided"),
        mark("the window you decided is over or leaves no day"),
        mark("outside the window you decided"),
    ),
    Rule.SEASON: (
        mark("seeding begins"),
        mark("seeding ends"),
        mark("it is outside the days of seeding"),
        mark("outside the days of seeding"),
    ),
    Rule.WET: (
        mark("it bears the drill, as you decided"),
        mark("it does not bear the drill"),
        mark("it does not bear the drill by then"),
        mark("before it bears the drill"),
    ),
    Rule.UNTOLD: (
        mark("it is ready"),
        mark("it is not ready"),
        mark("nothing tells when it is grazed or ready"),
        mark("with nothing to tell when it is ready"),
    ),
}


def opening_words(window: SeedingWindow, plan: InterseedPlan) -> str:
    """Say why a window opens when it does; empty when it never opens."""
    if window.opens is None:
        return ""
    by = window.opened_by
    return _with_days(_RULES[by][0], plan) if by else tr("nothing keeps it shut before")


def closing_words(window: SeedingWindow, plan: InterseedPlan) -> str:
    """Say why a window closes when it does; empty when it never opens."""
    if window.closes is None:
        return ""
    by = window.closed_by
    if by is Rule.CLOSE and window.ready:
        return _with_days(mark("{close} after it stood ready"), plan)
    return _with_days(_RULES[by][1], plan) if by else tr("the plan ends")


def shut_words(window: SeedingWindow, plan: InterseedPlan) -> str:
    """Say why a window never opens; empty when it does."""
    if window.opens is not None:
        return ""
    rules = shutting(window)
    if not rules:
        return tr("no day is left")
    if len(rules) == 1:
        return _with_days(_RULES[rules[0]][2], plan)
    told = tr(", or ").join(_with_days(_RULES[rule][3], plan) for rule in rules)
    return tr("every day is {told}", told=told)


def _with_days(words: str, plan: InterseedPlan) -> str:
    s = plan.seeding
    return tr(words, wait=days_text(s.opens_after_days), close=days_text(s.closes_after_days))


def shutting(window: SeedingWindow) -> list[Rule]:
    """The fewest rules that keep a window shut on every day that the herd leaves it, together.

    Only the herd where it leaves no day; nothing where there are no days at all.
    """
    herd = window.blocked.get(Rule.HERD)
    others = {rule: far != 0 for rule, far in window.blocked.items() if rule is not Rule.HERD}
    if herd is not None and (herd != 0).all():
        return [Rule.HERD] if len(herd) else []
    gone = np.asarray(herd is not None and herd != 0)
    for count in range(1, len(others) + 1):
        for some in itertools.combinations(others, count):
            if (np.logical_or.reduce([others[rule] for rule in some]) | gone).all():
                return list(some)
    return []
