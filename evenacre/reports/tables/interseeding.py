"""An interseeding plan as tables."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import Any, NamedTuple

import pandas as pd

from evenacre.language import tr
from evenacre.model import SeedBin, Stay
from evenacre.planning.interseeding.plan_types import (
    InterseedPlan,
    PlannedStay,
    Relaxation,
    Shortage,
)
from evenacre.reports import quantities as q
from evenacre.reports.column import Column, Table, json_only, named, nested
from evenacre.reports.sentences import interseeding_words as iw
from evenacre.reports.sentences.data_words import in_words
from evenacre.reports.tables import interseeding_days as days
from evenacre.reports.tables import interseeding_paddocks as paddocks
from evenacre.reports.tables.passes import DRIVE
from evenacre.reports.writers.as_frame import data_frame
from evenacre.reports.writers.as_html import PageTable, page_table
from evenacre.reports.writers.as_json import records

_in_json = partial(json_only, why="the page tells it in sentences")
_DAYS = q.Quantity(lambda v, _: v, lambda v, _, __: iw.days_text(v), si="d")


class Move(NamedTuple):
    """A stay, and what is short at it."""

    planned: PlannedStay
    lacks: list[Shortage]


def moves(plan: InterseedPlan) -> list[Move]:
    """Every stay of the herd, in order of time."""

    def at(s: Stay) -> list[Shortage]:
        short = [lack for lack in plan.herd.shortages if lack.paddock == s.paddock]
        return [lack for lack in short if s.enter <= lack.day <= s.leave]

    return [Move(s, at(s.stay)) for s in plan.herd.stays]


def _lack_words(m: Move) -> str:
    return ", ".join(
        f"{in_words(s.kind)} {iw.days_text(s.days)}" if s.days else in_words(s.kind)
        for s in m.lacks
    )


_SHORT = "JSON lists shortages by themselves, the page tells them above the table"
MOVES = Table(
    "moves",
    (
        named("planned.stay.paddock"),
        named("planned.stay.enter", "In", quantity=days.DAY),
        named("planned.stay.leave", "Out", quantity=days.DAY),
        named("planned.stay.days", quantity=q.COUNT),
        named("planned.rested_days", "Rested", quantity=_DAYS),
        named("planned.entry_kg_per_m2", "Standing on entry", "standing on entry"),
        named("planned.residual_kg_per_m2", "Left standing", "left standing"),
        named("planned.available_kg", "It may eat", "may be eaten"),
        named("planned.eaten_kg", "It needs", "needed", text=days.some(q.MASS)),
        named(
            "short_kg", None, of=lambda m: sum(s.feed_kg for s in m.lacks), json=False, why=_SHORT
        ),
        named("short", name="short of", of=_lack_words, json=False),
    ),
    title="The herd's moves",
    words=3,
)
_CLASSES = _in_json(
    "classes",
    "name head weight_kg intake_kg_per_day",
    head=q.COUNT,
    intake_kg_per_day=q.MASS,
)
_SHORTAGES = _in_json("shortages", "kind paddock date=day days feed_kg", days=_DAYS)
_HERD = _in_json(
    "herd",
    nested("classes", _CLASSES, "grazing.herd"),
    "grazing.rest_days herd.demand_kg_per_day herd.supply_kg herd.needed_kg",
    nested("stays", MOVES, moves),
    nested("shortages", _SHORTAGES, "herd.shortages"),
    rest_days=_DAYS,
    demand_kg_per_day=q.MASS,
)


def _parts(plan: InterseedPlan) -> list[dict[str, Any]]:
    found = plan.seeding.product.shares
    return [{"product": name, "share": part} for name, part in found.items()]


_SEED = _in_json(
    "seed",
    "product=seeding.product.name",
    Column("parts", _parts, q.NESTED),
    "seeding.on_hand_kg used_kg=seed_used_kg left_kg=seed_left_kg schedule.rate_kg_per_m2 "
    "wanted_rate_kg_per_m2=seeding.rate_kg_per_m2 seeding.least_rate_kg_per_m2 "
    "seeding.most_rate_kg_per_m2 seeding.treated seeding.withholding_days",
)
_RELAXATIONS = _in_json(
    "relaxations",
    "rule paddock amount setting",
    Column("to", lambda r: r.to),
    Column("freed", lambda r: [{"date": d, "time_s": s} for d, s in r.freed], q.NESTED),
    Column("instead", lambda r: _instead(r), q.NESTED),
    amount=q.NUMBER,
)


def _instead(r: Relaxation) -> list[dict[str, Any]]:
    return records(_RELAXATIONS, r.instead)


def _bin(b: SeedBin) -> dict[str, Any]:
    return {
        "compartment": b.name,
        "product": b.product,
        "share": b.share,
        "load_kg": b.load_kg,
        "least_kg": b.least_kg,
        "bag_kg": b.bag_kg,
    }


_DRILL = _in_json(
    "drill",
    "implement.width_m speed_mps turn_speed_mps turn_radius_m setup_s refill_s load_kg least_kg "
    "in_cart_kg sow_within_days rounds prefer",
    Column("compartments", lambda s: [_bin(b) for b in s.bins], q.NESTED),
    sow_within_days=_DAYS,
)
_RULES = _in_json(
    "rules",
    "from_day opens_after_days closes_after_days residual_most_kg_per_m2 regrowth_most_kg_per_m2 "
    "first_day last_day day_from_s day_to_s hours_most_s lost_chance lost_spell_days "
    "rain=past_weather.source rain_that_stops_m=past_weather.stops_m past_weather.dry_after_days "
    "rest_days runs random_seed",
)
_WEATHER = _in_json(
    "weather",
    "share spell_days",
    Column("years", lambda w: w.years and list(w.years), q.NESTED),
    share=q.SHARE,
)
PLAN = _in_json(
    "plan",
    Column("goal_m2", lambda p: sum(iw.goal_m2(one) for one in iw.wanted(p)), q.AREA),
    Column("seeded_m2", lambda p: sum(one.seeded_m2 for one in p.paddocks), q.AREA),
    Column("first_day", lambda p: p.visits[0].day if p.visits else None),
    Column("last_day", lambda p: p.visits[-1].day if p.visits else None),
    "chance_all",
    Column("chance_all_interval_90", lambda p: p.chance_all_within, q.NESTED),
    nested("weather", _WEATHER),
    "value_m2=schedule.value bound_m2=schedule.bound schedule.proven schedule.gap",
    nested("seed", _SEED, lambda p: p),
    nested("paddocks", paddocks.PADDOCKS, paddocks.paddock_rows),
    Column("fills", lambda p: records(*days.loads(p)), q.NESTED),
    nested("relaxations", _RELAXATIONS),
    "relaxations_hold=relaxed_holds relaxations_fewest=relaxed_fewest",
    nested("herd", _HERD, lambda p: p),
    nested("days", days.WORK_DAYS),
    nested("drill", _DRILL, "seeding"),
    nested("rules", _RULES, "seeding"),
    chance_all=days.CHANCE,
    gap=q.SHARE,
)


def interseed_frames(plan: InterseedPlan, display: q.Display) -> dict[str, pd.DataFrame]:
    """Every table of a plan by name; dates are ISO 8601, times are of the farm's clock."""
    every: tuple[tuple[Table, Sequence[Any]], ...] = (
        (paddocks.PADDOCKS, paddocks.paddock_rows(plan)),
        (days.VISITS, days.numbered_visits(plan)),
        days.loads(plan),
        (MOVES, moves(plan)),
        (DRIVE, [p.passes for p in plan.paddocks if p.passes]),
    )
    return {table.name: data_frame(table, rows, display) for table, rows in every}


def interseed_page_tables(plan: InterseedPlan, display: q.Display) -> list[PageTable]:
    """Every table of a plan that has rows, for the page."""
    demand = plan.herd.demand_kg_per_day
    need = ""
    if demand:
        amount = q.MASS.text(demand, display, 3)
        need = tr("A day takes {amount} of dry matter. ", amount=amount)
    herd = page_table(MOVES, moves(plan), display)
    windows = [r for r in paddocks.paddock_rows(plan) if r.window]
    every = (
        paddocks.paddocks_page(plan, display),
        page_table(*days.loads(plan), display),
        replace(herd, remark=need + tr("The herd moves in and out in the morning.")),
        page_table(paddocks.WINDOWS, windows, display),
        page_table(DRIVE, [p.passes for p in plan.paddocks if p.passes], display),
        days.days_lost_page(plan, display),
    )
    return [table for table in every if table.rows]
