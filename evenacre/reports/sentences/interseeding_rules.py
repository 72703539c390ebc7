"""Plain words for what opens and shuts a seeding window, what is short, and what to relax."""

from __future__ import annotations

from evenacre.planning.interseeding.plan_types import (
    BEYOND,
    BOOKED,
    WEATHER,
    InterseedPlan,
    Relaxation,
    Rule,
    SeedingWindow,
    Shortage,
)
from evenacre.reports.sentences.interseeding_facts import day_text, shutting
from evenacre.units.display import UnitSystem

_ALL = 0.995


def days_text(count: float) -> str:
    """Count days, with a tenth where they are not whole."""
    number = f"{count:.1f}".removesuffix(".0")
    return f"{number} day" if number == "1" else f"{number} days"


def hours_text(seconds: float) -> str:
    """Hours to a tenth, or minutes below one."""
    minutes = round(seconds / 60)
    if minutes < 60:
        return f"{minutes} min"
    return f"{seconds / 3600:.1f}".removesuffix(".0") + " h"


def opening_words(window: SeedingWindow, plan: InterseedPlan) -> str:
    """Say why a window opens when it does; empty when it never opens."""
    if window.opens is None:
        return ""
    s = plan.seeding
    words = {
        Rule.HERD: "the herd leaves",
        Rule.WAIT: f"{days_text(s.opens_after_days)} after the herd",
        Rule.RESIDUAL: "grazed low enough",
        Rule.CLOSE: "the herd has left again",
        Rule.REGROWTH: "regrowth is low enough",
        Rule.REGRAZE: "seedlings get their rest from here on",
        Rule.GIVEN: "as you decided",
        Rule.SEASON: "seeding begins",
    }
    return words[window.opened_by] if window.opened_by else "nothing keeps it shut before"


def closing_words(window: SeedingWindow, plan: InterseedPlan) -> str:
    """Say why a window closes when it does; empty when it never opens."""
    if window.closes is None:
        return ""
    s = plan.seeding
    words = {
        Rule.HERD: "the herd is back",
        Rule.WAIT: "the herd has been back",
        Rule.RESIDUAL: "too much stands from here on",
        Rule.CLOSE: f"{days_text(s.closes_after_days)} after the herd",
        Rule.REGROWTH: "regrowth competes",
        Rule.REGRAZE: "later seedlings would be grazed too soon",
        Rule.GIVEN: "as you decided",
        Rule.SEASON: "seeding ends",
    }
    return words[window.closed_by] if window.closed_by else "the plan ends"


def shut_words(window: SeedingWindow, plan: InterseedPlan) -> str:
    """Say why a window never opens."""
    s = plan.seeding
    words = {
        Rule.HERD: "the herd is in it",
        Rule.WAIT: f"no day is {days_text(s.opens_after_days)} after the herd",
        Rule.RESIDUAL: "too much is left standing",
        Rule.CLOSE: f"every day is more than {days_text(s.closes_after_days)} after the herd",
        Rule.REGROWTH: "regrowth competes",
        Rule.REGRAZE: "the herd is back before seedlings have rested or the label allows",
        Rule.GIVEN: "the window you decided is over or leaves no day",
        Rule.SEASON: "it is outside the days of seeding",
    }
    return "; ".join(words[rule] for rule in shutting(window)) or "no day is left"


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
    rule, where, amount = (
        str(relaxation.rule),
        relaxation.paddock or "all paddocks",
        relaxation.amount,
    )
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
