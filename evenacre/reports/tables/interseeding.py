"""Tables of an interseeding plan in the reader's units, which stand in the column names."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from evenacre.planning.interseeding.plan_types import Fill, InterseedPlan, PaddockPlan, PlannedStay
from evenacre.planning.season.seed import shares
from evenacre.reports import figure_text as figures
from evenacre.reports.sentences.interseeding_facts import (
    clock,
    goal_m2,
    numbered,
    share_seeded,
    spells,
)
from evenacre.reports.sentences.interseeding_rules import closing_words, opening_words, shut_words
from evenacre.reports.tables.audit import Row, in_unit
from evenacre.units.display import DisplayUnit, UnitSystem

_HOURS = DisplayUnit("h", 1 / 3600)
_COLUMNS = {
    "days": ("order", "date", "paddock", "start", "end"),
    "fills": ("fill", "date", "start", "filled at"),
    "moves": ("paddock", "enter", "leave", "days", "rested days"),
    "passes": ("paddock", "heading [deg]", "headland rounds", "passes", "turns"),
}


def interseed_tables(plan: InterseedPlan, units: UnitSystem) -> dict[str, pd.DataFrame]:
    """Every table of a plan by name; dates are ISO 8601, times are of the farm's clock."""
    return {
        "paddocks": pd.DataFrame([_paddock(p, plan, units) for p in plan.paddocks]),
        "days": _frame("days", _days(plan, units)),
        "fills": _frame("fills", [_fill(f, plan, units) for f in plan.fills]),
        "moves": _frame("moves", [_move(s, plan, units) for s in plan.herd.stays]),
        "passes": _frame("passes", _passes(plan, units)),
    }


def _frame(name: str, rows: list[Row]) -> pd.DataFrame:
    """Rows as a table that has a head even when there are none."""
    return pd.DataFrame(rows) if rows else pd.DataFrame(columns=list(_COLUMNS[name]))


def _paddock(p: PaddockPlan, plan: InterseedPlan, u: UnitSystem) -> Row:
    w = p.window
    numbers = numbered(plan)
    return {
        "paddock": p.paddock.field.name,
        "to be seeded": "yes" if w else "no",
        **in_unit(u.area, paddock=p.area_m2, workable=p.workable_m2),
        "value": p.paddock.value,
        "herd leaves": _date(w.left if w else None),
        "window opens": _date(w.opens if w else None),
        "opens because": opening_words(w, plan) if w else "",
        "window closes": _date(w.closes if w else None),
        "closes because": closing_words(w, plan) if w else "",
        "shut because": shut_words(w, plan) if w and w.opens is None else "",
        "open spells": ", ".join(f"{a} to {b}" for a, b in spells(w, plan.days)) if w else "",
        "herd back": _date(w.back if w else None),
        "order": ", ".join(str(numbers[v]) for v in p.visits),
        "seeding days": ", ".join(_date(v.day) for v in p.visits),
        **in_unit(u.area, goal=goal_m2(p) if w else 0.0, seeded=p.seeded_m2),
        "seeded share [%]": figures.significant([100 * share_seeded(p)])[0],
        **in_unit(u.mass, seed=p.seed_kg),
        "chance in its window [%]": _percent(p.chance),
        "graze from": _date(p.graze_from),
    }


def _days(plan: InterseedPlan, u: UnitSystem) -> list[Row]:
    return [
        {
            "order": number,
            "date": _date(v.day),
            "paddock": v.paddock,
            "start": clock(v.start_s),
            "end": clock(v.end_s),
            **in_unit(u.area, area=v.area_m2),
            "share of the paddock [%]": figures.significant([100 * v.share])[0],
            **in_unit(u.mass, seed=v.seed_kg),
        }
        for v, number in numbered(plan).items()
    ]


def _fill(f: Fill, plan: InterseedPlan, u: UnitSystem) -> Row:
    parts: dict[str, float | None] = {}
    if plan.seeding.product.parts:
        parts = {name: part * f.mass_kg for name, part in shares(plan.seeding.product).items()}
    return {
        "fill": f.number,
        "date": _date(f.day),
        "start": clock(f.start_s),
        "filled at": f.paddock,
        **in_unit(u.mass, load=f.mass_kg),
        **in_unit(u.mass, **parts),
        "serves": "; ".join(f"{name} {u.mass.text(kg)}" for name, kg in f.serves),
    }


def _move(s: PlannedStay, plan: InterseedPlan, u: UnitSystem) -> Row:
    short = [
        lack
        for lack in plan.herd.shortages
        if lack.paddock == s.stay.paddock and s.stay.enter <= lack.day <= s.stay.leave
    ]
    return {
        "paddock": s.stay.paddock,
        "enter": _date(s.stay.enter),
        "leave": _date(s.stay.leave),
        "days": s.stay.days,
        "rested days": s.rested_days,
        **in_unit(u.rate, standing_on_entry=s.entry_kg_per_m2, left_standing=s.residual_kg_per_m2),
        **in_unit(
            u.mass,
            may_be_eaten=s.available_kg,
            needed=s.eaten_kg,
            short=sum(lack.feed_kg for lack in short),
        ),
    }


def _passes(plan: InterseedPlan, u: UnitSystem) -> list[Row]:
    out: list[Row] = []
    for p in (paddock.passes for paddock in plan.paddocks):
        if p is None:
            continue
        heading = p.drive.heading_rad
        row: dict[str, Any] = {
            "paddock": p.field,
            "heading [deg]": None
            if heading is None
            else figures.significant([(90.0 - math.degrees(heading)) % 180.0], 4)[0],
            "headland rounds": p.drive.rounds,
            "passes": sum(run.kind == "pass" for run in p.passes),
            "turns": len(p.turns),
            **in_unit(u.distance, seeding=p.work_m, turning=p.turn_m),
            **in_unit(_HOURS, seeding=p.work_s, turning=p.turn_s, in_all=p.field_time_s),
            "field efficiency [%]": figures.significant([100 * p.field_efficiency])[0],
            **in_unit(
                u.area,
                workable=p.workable_m2,
                covered=p.covered_m2,
                overlap=p.overlap_m2,
                missed=p.missed_m2,
                outside=p.outside_m2,
            ),
        }
        out.append(row)
    return out


def _date(day: object | None) -> str:
    return "" if day is None else str(day)


def _percent(chance: float | None) -> float | None:
    return None if chance is None else figures.significant([100 * chance], 4)[0]
