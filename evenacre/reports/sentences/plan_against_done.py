"""Planned against done in plain words."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator

from evenacre.planning.interseeding.comparison import (
    PaddockCompared,
    PaddockStanding,
    PlannedDone,
    WindowVerdict,
)
from evenacre.reports import figure_text as figures
from evenacre.reports.sentences.audit import Card, first_lines
from evenacre.reports.sentences.findings import sentences
from evenacre.reports.sentences.interseeding_words import days_text, short_day
from evenacre.units.display import DisplayUnit, UnitSystem

TITLE = "Planned against done"
NEAR = 0.10
"""Ground and seed are as planned when they are within this share of it."""
_NO_ROOM = "to be seeded, but not planned"


def planned_done_card(compared: PlannedDone, units: UnitSystem) -> Card:
    """Say how many windows were kept, what was seeded of what was planned, and what went wrong."""
    planned = compared.of(PaddockStanding.DONE, PaddockStanding.NOT_LOGGED)
    kept = sum(p.window is WindowVerdict.KEPT for p in planned)
    paddocks = "paddock" if len(planned) == 1 else "paddocks"
    headline = f"{kept} of {len(planned)} planned {paddocks} seeded inside the window"
    off = [(kind, f"{p.name}: {text}.") for p in compared.paddocks for kind, text in _off(p, units)]
    lines = [("product", _sums(compared, units)), *first_lines(off, "cost", "are in the table")]
    return Card(headline, tuple(lines))


def planned_done_lines(compared: PlannedDone, units: UnitSystem) -> Iterator[str]:
    """Say the answer line by line, for a terminal."""
    answer = planned_done_card(compared, units)
    yield f"{TITLE}: {answer.headline}."
    yield from (f"  {sentence}" for _, sentence in answer.lines)
    yield from (f"  warning: {warning}" for warning in sentences(compared.findings, "warning"))


def kept_words(p: PaddockCompared) -> str:
    """Say whether the window was kept, and if not by how many days."""
    if p.standing is PaddockStanding.NOT_LOGGED:
        return "not logged"
    if p.standing is PaddockStanding.LEFT:
        return _NO_ROOM
    if p.window is None:
        return "not planned" if p.standing is PaddockStanding.UNPLANNED else "no window"
    sides = [
        f"{days_text(days)} {word}"
        for days, word in ((p.too_early_days, "too early"), (p.too_late_days, "too late"))
        if days
    ]
    return ", ".join([p.window.value, *sides])


def window_words(p: PaddockCompared, day: Callable[[dt.date], str] = str) -> str:
    """Write the first and last day of every spell of a window."""
    if p.planned is None or p.planned.window is None:
        return ""
    spells = [f"{day(first)} to {day(last)}" for first, last in p.planned.window.spells]
    return ", ".join(spells) or "no day open"


def planned_words(p: PaddockCompared, day: Callable[[dt.date], str] = str) -> str:
    """Write the days planned."""
    days = dict.fromkeys(visit.day for visit in p.planned.visits) if p.planned else ()
    return ", ".join(map(day, days))


def done_words(p: PaddockCompared, day: Callable[[dt.date], str] = str) -> str:
    """Write the days done."""
    return ", ".join("day not known" if one.day is None else day(one.day) for one in p.days)


def short(day: dt.date) -> str:
    """Month and day, never broken between lines."""
    return short_day(day).replace(" ", "\N{NO-BREAK SPACE}")


def _off(p: PaddockCompared, units: UnitSystem) -> Iterator[tuple[str, str]]:
    """What did not go as planned in one paddock."""
    when = done_words(p)
    if p.standing is PaddockStanding.NOT_LOGGED:
        yield "short", f"planned for {planned_words(p)}, but there is no log of it"
    elif p.standing is PaddockStanding.LEFT:
        yield "short", f"{_NO_ROOM}, and not done"
    elif p.standing is PaddockStanding.UNPLANNED:
        yield "over", f"seeded on {when}, though not planned"
    if p.window in (WindowVerdict.MISSED, WindowVerdict.PART):
        text = f"window {kept_words(p)}; it was open {window_words(p)}, seeded {when}"
        if p.window is WindowVerdict.PART and p.in_window_m2 is not None:
            inside = figures.size(p.in_window_m2, units)
            text += f", {inside} of {figures.size(p.done_m2, units)} inside it"
        yield "missed", text
    if p.standing is not PaddockStanding.DONE:
        return
    for done, planned, unit, words in (
        (p.done_m2, p.planned_m2, units.area, "planned was seeded"),
        (p.applied_kg, p.planned_kg, units.mass, "of seed planned went in"),
    ):
        if done is not None and abs(done - planned) > NEAR * planned:
            kind = "over" if done > planned else "short"
            yield kind, f"{beside(done, planned, unit)} {words}"


def _sums(compared: PlannedDone, units: UnitSystem) -> str:
    area, mass, sums, besides = units.area, units.mass, compared.sums, compared.besides
    text = f"Seeded {area.text(sums.done_m2)} of the {area.text(sums.planned_m2)} planned"
    if sums.applied_kg is None:
        text += "; how much seed went in is not known"
    else:
        seed = f"{mass.text(sums.applied_kg)} of the {mass.text(sums.planned_kg)}"
        text += f", with {seed} of {compared.planned.product}"
    if besides.done_m2:
        text += f"; and {area.text(besides.done_m2)} besides"
        text += f", with {mass.text(besides.applied_kg)}" if besides.applied_kg is not None else ""
    return f"{text}."


def beside(done: float | None, planned: float, unit: DisplayUnit) -> str:
    """Write what was done of what was planned, the unit once."""
    text = "not known" if done is None else unit.text(done)
    return f"{text.removesuffix(f' {unit.label}')} of {unit.text(planned)}" if planned else text
