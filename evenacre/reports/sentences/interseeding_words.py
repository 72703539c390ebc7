"""Shares, spells, days and rules of an interseeding plan, as all of its reports tell them."""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections.abc import Sequence

import numpy as np

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
from evenacre.units.display import UnitSystem

_RUN_OUT = 1e-4  # of a load: with less in it the cart is empty
# Of the page's language, whatever the locale of the machine.
_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


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
    return "all of it" if share >= WHOLE_SHARE else f"{100 * share:.0f} % of it"


def passes_text(visit: Visit) -> str:
    """Say which passes a visit drives, as they are numbered in the order they are driven."""
    first, last = visit.first_pass, visit.last_pass
    return f"{first} to {last}" if last > first else str(first)


def stop_text(fill: CartFill) -> str:
    """Say on which pass the cart is filled."""
    if fill.into_pass > 0:
        return f"{100 * fill.into_pass:.0f} % along pass {fill.passes_done + 1}"
    return f"after pass {fill.passes_done}" if fill.passes_done else "before the first pass"


def bin_text(part: BinFill, bags: float | None, units: UnitSystem) -> str:
    """Say what goes into a compartment, and how many bags that is."""
    text = f"{part.name} {units.mass.text(part.mass_kg)}".strip()
    if bags is None:
        return text
    count = f"{bags:.1f}".removesuffix(".0")
    return f"{text} ({count} bag{'' if count == '1' else 's'})"


def load_text(fill: CartFill, units: UnitSystem) -> str:
    """Say what goes into the cart, when, and what is left in it by then."""
    text = f"load {fill.number} ({units.mass.text(fill.mass_kg)}) {stop_text(fill)}"
    if not fill.passes_done and not fill.into_pass:
        return text
    if fill.left_kg > _RUN_OUT * fill.mass_kg:
        return f"{text}, when the cart is down to {units.mass.text(fill.left_kg)}"
    return f"{text}, after the cart has run out"


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
    beside = {0: "", 1: " next day", -1: " the day before"}.get(days, f" {days:+d} days")
    return f"{minutes // 60:02d}:{minutes % 60:02d}{beside}"


def day_text(day: dt.date) -> str:
    """Weekday and date."""
    return f"{_WEEKDAYS[day.weekday()]} {day.isoformat()}"


def short_day(day: dt.date) -> str:
    """Month and day, where there is little room."""
    return f"{_MONTHS[day.month - 1]} {day.day}"


def short_weekday(day: dt.date) -> str:
    """Weekday, month and day, never broken between lines."""
    return f"{_WEEKDAYS[day.weekday()]} {short_day(day)}".replace(" ", "\N{NO-BREAK SPACE}")


def chance_text(chance: float) -> str:
    """Write a chance in whole percent; what was only simulated is never called sure."""
    percent = round(100 * chance)
    if percent == 100:
        return "over 99 %"
    return f"{percent} %" if percent else "under 1 %"


def chance_of(plan: InterseedPlan, chance: float | None) -> str:
    """Write a chance of a plan: past years, which are few, are counted; empty for none."""
    if chance is None:
        return ""
    if plan.weather is None or plan.weather.years is None:
        return chance_text(chance)
    count = len(plan.weather.years)
    return f"{round(chance * count)} in {count} years"


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
    number = f"{count:,.1f}".removesuffix(".0")
    return f"{number} day" if number == "1" else f"{number} days"


def hours_text(seconds: float) -> str:
    """Hours to a tenth, or minutes below one."""
    minutes = round(seconds / 60)
    if minutes < 60:
        return f"{minutes} min"
    return f"{seconds / 3600:.1f}".removesuffix(".0") + " h"


def enough_hours_text(seconds: float) -> str:
    """Hours or minutes as ``hours_text``, rounded up."""
    step = 360.0 if seconds > 3540 else 60.0
    return hours_text(math.ceil(seconds / step - 1e-6) * step)


# Why a window opens, why it closes, why it never opens, and what shuts a day where rules do it
# together; {wait} and {close} are days.
_RULES = {
    Rule.HERD: ("the herd leaves", "the herd is back", "the herd is in it", "with the herd in it"),
    Rule.WAIT: (
        "{wait} after the herd",
        "the herd has been back",
        "no day is {wait} after the herd",
        "less than {wait} after the herd",
    ),
    Rule.RESIDUAL: (
        "grazed low enough",
        "too much stands from here on",
        "too much is left standing",
        "with too much left standing",
    ),
    Rule.CLOSE: (
        "the herd has left again",
        "{close} after the herd",
        "every day is more than {close} after the herd",
        "more than {close} after the herd",
    ),
    Rule.REGROWTH: (
        "regrowth is low enough",
        "regrowth competes",
        "regrowth competes",
        "when regrowth competes",
    ),
    Rule.REGRAZE: (
        "seedlings get their rest from here on",
        "later seedlings would be grazed too soon",
        "the herd is back before seedlings have rested or the label allows",
        "too soon before the herd is back",
    ),
    Rule.GIVEN: (
        "as you decided",
        "as you decided",
        "the window you decided is over or leaves no day",
        "outside the window you decided",
    ),
    Rule.SEASON: (
        "seeding begins",
        "seeding ends",
        "it is outside the days of seeding",
        "outside the days of seeding",
    ),
    Rule.WET: (
        "it bears the drill, as you decided",
        "it does not bear the drill",
        "it does not bear the drill by then",
        "before it bears the drill",
    ),
    Rule.UNTOLD: (
        "it is ready",
        "it is not ready",
        "nothing tells when it is grazed or ready",
        "with nothing to tell when it is ready",
    ),
}


def opening_words(window: SeedingWindow, plan: InterseedPlan) -> str:
    """Say why a window opens when it does; empty when it never opens."""
    if window.opens is None:
        return ""
    by = window.opened_by
    return _with_days(_RULES[by][0], plan) if by else "nothing keeps it shut before"


def closing_words(window: SeedingWindow, plan: InterseedPlan) -> str:
    """Say why a window closes when it does; empty when it never opens."""
    if window.closes is None:
        return ""
    by = window.closed_by
    if by is Rule.CLOSE and window.ready:
        return _with_days("{close} after it stood ready", plan)
    return _with_days(_RULES[by][1], plan) if by else "the plan ends"


def shut_words(window: SeedingWindow, plan: InterseedPlan) -> str:
    """Say why a window never opens; empty when it does."""
    if window.opens is not None:
        return ""
    rules = shutting(window)
    if not rules:
        return "no day is left"
    if len(rules) == 1:
        return _with_days(_RULES[rules[0]][2], plan)
    told = ", or ".join(_RULES[rule][3] for rule in rules)
    return _with_days(f"every day is {told}", plan)


def _with_days(words: str, plan: InterseedPlan) -> str:
    s = plan.seeding
    return words.format(wait=days_text(s.opens_after_days), close=days_text(s.closes_after_days))


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
