"""The tables of an interseeding plan as people read them: paddocks, days, loads, moves, passes."""

from __future__ import annotations

import datetime as dt
import math

from evenacre.planning.interseeding.plan_types import InterseedPlan, PaddockPlan, PlannedStay
from evenacre.planning.season.seed import shares
from evenacre.reports import figure_text as figures
from evenacre.reports.sentences.interseeding_facts import (
    chance_text,
    clock,
    numbered,
    short_weekday,
    spells,
    whole,
)
from evenacre.reports.sentences.interseeding_rules import (
    closing_words,
    days_text,
    hours_text,
    opening_words,
    shut_words,
)
from evenacre.reports.writers.as_html import PageTable
from evenacre.units.display import UnitSystem

_ALWAYS_SHOWN = 20  # lost and booked days in sight


def paddock_account(plan: InterseedPlan, units: UnitSystem) -> PageTable:
    """Each paddock: when the herd leaves, the window, the days, the ground and the seed."""
    rows = [_paddock(p, plan, units) for p in plan.paddocks]
    if len(rows) > 1 and plan.visits:
        ground = figures.size(sum(p.seeded_m2 for p in plan.paddocks), units, 3)
        chance = "" if plan.chance_all is None else chance_text(plan.chance_all)
        seed = units.mass.text(plan.seed_used_kg)
        rows.append(("Together", "", "", "", "", ground, seed, chance))
    return PageTable(
        "Paddock by paddock",
        ("Paddock", "Herd leaves", "Window", "Seeded on", "Graze from", "Ground", "Seed", "Chance"),
        rows,
        words=5,
        remark=(
            "Chance: that weather leaves time inside the window for all that is planned there."
            if any(p.chance is not None for p in plan.paddocks)
            else ""
        ),
    )


def _paddock(p: PaddockPlan, plan: InterseedPlan, units: UnitSystem) -> tuple[str, ...]:
    w, name = p.window, p.paddock.field.name
    if w is None:
        return (name, "", "not to be seeded", "", "", "", "", "")
    seeded = ", ".join(dict.fromkeys(short_weekday(v.day) for v in p.visits)) or "not seeded"
    if p.visits and not whole(p):
        seeded += " (in part)"
    return (
        name,
        _day(w.left),
        ", ".join(f"{short_weekday(a)} to {short_weekday(b)}" for a, b in spells(w, plan.days))
        or "no day open",
        seeded,
        _day(p.graze_from),
        figures.size(p.seeded_m2, units, 3) if p.visits else "",
        units.mass.text(p.seed_kg) if p.visits else "",
        "" if p.chance is None else chance_text(p.chance),
    )


def window_account(plan: InterseedPlan) -> PageTable:
    """Why each window opens and closes when it does."""
    rows = []
    for p in plan.paddocks:
        w = p.window
        if w is None:
            continue
        if w.opens is None or w.closes is None:
            reason = shut_words(w, plan)
            rows.append((p.paddock.field.name, "never", reason, "", "", _day(w.back)))
            continue
        rows.append(
            (
                p.paddock.field.name,
                _day(w.opens),
                opening_words(w, plan),
                f"{_day(w.closes)} (last day)",
                closing_words(w, plan),
                _day(w.back),
            )
        )
    return PageTable(
        "Why windows open and close",
        ("Paddock", "Opens", "because", "Closes", "because", "Herd back"),
        rows,
        words=6,
        folded=True,
    )


def day_account(plan: InterseedPlan, units: UnitSystem) -> PageTable:
    """What is seeded when, in order of time."""
    rows = [
        (
            str(number),
            short_weekday(v.day),
            f"{clock(v.start_s)} to {clock(v.end_s)}",
            v.paddock,
            figures.size(v.area_m2, units, 3),
            f"{100 * v.share:.0f} %",
            units.mass.text(v.seed_kg),
        )
        for v, number in numbered(plan).items()
    ]
    return PageTable(
        "Day by day",
        ("No.", "Day", "Time", "Paddock", "Ground", "Of it", "Seed"),
        rows,
        words=4,
        remark="Times include setting up and filling, on a day that weather leaves whole.",
    )


def fill_account(plan: InterseedPlan, units: UnitSystem) -> PageTable:
    """Each load: when and where it is filled, of what, and where it goes."""
    product = plan.seeding.product
    parts = shares(product) if product.parts else {}
    rows = [
        (
            str(f.number),
            short_weekday(f.day),
            clock(f.start_s),
            f.paddock,
            ", ".join(f"{name} {units.mass.text(kg)}" for name, kg in f.serves),
            units.mass.text(f.mass_kg),
            *(units.mass.text(part * f.mass_kg) for part in parts.values()),
        )
        for f in plan.fills
    ]
    return PageTable(
        "Loads",
        ("Load", "Day", "Time", "Filled at", "Sown in", "Weighs", *parts),
        rows,
        words=5,
        remark=(
            "Weigh the parts of each load and mix them before they go in: a blend cannot be topped "
            "up with one of its parts."
            if parts
            else ""
        ),
    )


def move_account(plan: InterseedPlan, units: UnitSystem) -> PageTable:
    """The herd's moves, and the forage it meets."""
    demand = plan.herd.demand_kg_per_day
    need = f"A day takes {units.mass.text(demand)} of dry matter. " if demand else ""
    return PageTable(
        "The herd's moves",
        (
            *("Paddock", "In", "Out", "Days", "Rested", "Standing on entry", "Left standing"),
            *("It may eat", "It needs", "Short"),
        ),
        [_move(s, plan, units) for s in plan.herd.stays],
        words=3,
        remark=f"{need}The herd moves in and out in the morning.",
    )


def _move(s: PlannedStay, plan: InterseedPlan, units: UnitSystem) -> tuple[str, ...]:
    short = [
        lack
        for lack in plan.herd.shortages
        if lack.paddock == s.stay.paddock and s.stay.enter <= lack.day <= s.stay.leave
    ]
    lacks = [f"{lack.kind} {days_text(lack.days)}" if lack.days else lack.kind for lack in short]
    return (
        s.stay.paddock,
        short_weekday(s.stay.enter),
        short_weekday(s.stay.leave),
        str(s.stay.days),
        "" if s.rested_days is None else days_text(s.rested_days),
        "" if s.entry_kg_per_m2 is None else units.rate.text(s.entry_kg_per_m2),
        "" if s.residual_kg_per_m2 is None else units.rate.text(s.residual_kg_per_m2),
        "" if s.available_kg is None else units.mass.text(s.available_kg),
        units.mass.text(s.eaten_kg) if s.eaten_kg else "",
        ", ".join(lacks),
    )


def pass_account(plan: InterseedPlan, units: UnitSystem) -> PageTable:
    """How each paddock is driven, and what it comes to."""
    rows = []
    for p in (paddock.passes for paddock in plan.paddocks):
        if p is None:
            continue
        heading = p.drive.heading_rad
        along = (
            ""
            if heading is None
            else f"{figures.axis_words(math.cos(heading), math.sin(heading))}, "
            f"{(90.0 - math.degrees(heading)) % 180.0:.0f}°"
        )
        rows.append(
            (
                p.field,
                along,
                f"{p.drive.rounds:,}",
                f"{sum(run.kind == 'pass' for run in p.passes):,}",
                f"{len(p.turns):,}",
                hours_text(p.field_time_s),
                figures.share(p.field_efficiency, 1.0),
                figures.share(p.overlap_m2, p.workable_m2),
                figures.size(p.missed_m2, units),
            )
        )
    return PageTable(
        "The drive",
        (
            *("Paddock", "Passes run", "Rounds", "Passes", "Turns", "Time", "Field efficiency"),
            *("Overlap", "Missed"),
        ),
        rows,
        words=2,
        remark=(
            "Time is for passes and turns, without setting up and filling. Overlap is ground "
            "seeded twice or more, as a share of the paddock; seed is metered over it too."
        ),
    )


def lost_account(plan: InterseedPlan) -> PageTable:
    """Days that the drill cannot have, or not whole."""
    rows = [
        (
            short_weekday(d.day),
            ", ".join([*(["lost to weather"] if d.lost else []), *d.booked_for]),
            hours_text(d.booked_s) if d.booked_s else "",
            hours_text(d.full_s) if d.full_s else "none",
        )
        for d in plan.days
        if d.lost or d.booked_s or d.booked_for
    ]
    return PageTable(
        "Days the drill does not have",
        ("Day", "Why", "Booked", "Left to drill"),
        rows,
        words=2,
        folded=len(rows) > _ALWAYS_SHOWN,
    )


def _day(day: dt.date | None) -> str:
    return "" if day is None else short_weekday(day)
