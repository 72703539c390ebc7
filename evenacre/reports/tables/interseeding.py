"""An interseeding plan as tables and as the account for machines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, replace
from functools import partial
from typing import Any, NamedTuple

import pandas as pd

from evenacre import __version__
from evenacre.model import InputFile
from evenacre.planning.interseeding.plan_types import InterseedPlan, PlannedStay, Shortage
from evenacre.reports.column import (
    AREA,
    COUNT,
    LENGTH,
    MASS,
    NESTED,
    NUMBER,
    RATE,
    SHARE,
    Column,
    Display,
    Quantity,
    Table,
    in_json,
    json_only,
    named,
    nested,
)
from evenacre.reports.sentences.findings import sentences
from evenacre.reports.sentences.interseeding import interseed_cautions
from evenacre.reports.sentences.interseeding_words import days_text, goal_m2, wanted
from evenacre.reports.tables.interseeding_days import (
    CHANCE,
    DAY,
    VISITS,
    WORK_DAYS,
    days_lost_page,
    loads,
    numbered_visits,
    some,
)
from evenacre.reports.tables.interseeding_paddocks import (
    PADDOCKS,
    WINDOWS,
    paddock_rows,
    paddocks_page,
)
from evenacre.reports.tables.passes import DRIVE
from evenacre.reports.writers.as_frame import data_frame
from evenacre.reports.writers.as_html import PageTable, page_table
from evenacre.reports.writers.as_json import json_types, record, records

SCHEMA = "evenacre/plan/1.2"


_in_json = partial(json_only, why="the page tells it in sentences")


_DAYS = Quantity(lambda v, _: v, lambda v, _, __: days_text(v), si="d")

# --- the herd --------------------------------------------------------------------------------


class Move(NamedTuple):
    """A stay, and what is short at it."""

    planned: PlannedStay
    lacks: list[Shortage]


def moves(plan: InterseedPlan) -> list[Move]:
    """Every stay of the herd, in order of time."""
    return [
        Move(
            s,
            [
                lack
                for lack in plan.herd.shortages
                if lack.paddock == s.stay.paddock and s.stay.enter <= lack.day <= s.stay.leave
            ],
        )
        for s in plan.herd.stays
    ]


def _short_kg(m: Move) -> float:
    return sum(lack.feed_kg for lack in m.lacks)


def _lack_words(m: Move) -> str:
    return ", ".join(f"{s.kind} {days_text(s.days)}" if s.days else s.kind for s in m.lacks)


def _standing(key: str, head: str) -> Column:
    return named(key, head, head.lower(), of=f"planned.{key}")


_SHORT = "JSON lists shortages by themselves, the page tells them above the table"
MOVES = Table(
    "moves",
    (
        named("paddock", of="planned.stay.paddock"),
        named("enter", "In", quantity=DAY, of="planned.stay.enter"),
        named("leave", "Out", quantity=DAY, of="planned.stay.leave"),
        named("days", quantity=COUNT, of="planned.stay.days"),
        named("rested_days", "Rested", quantity=_DAYS, of="planned.rested_days"),
        _standing("entry_kg_per_m2", "Standing on entry"),
        _standing("residual_kg_per_m2", "Left standing"),
        named("available_kg", "It may eat", "may be eaten", of="planned.available_kg"),
        named("eaten_kg", "It needs", "needed", of="planned.eaten_kg", text=some(MASS)),
        named("short_kg", None, of=_short_kg, json=False, why=_SHORT),
        named("short", name="short of", of=_lack_words, json=False),
    ),
    title="The herd's moves",
    words=3,
)
_CLASSES = _in_json(
    "classes", *in_json("name head weight_kg intake_kg_per_day", head=COUNT, intake_kg_per_day=MASS)
)
_SHORTAGES = _in_json(
    "shortages",
    *in_json("kind paddock"),
    Column("date", "day"),
    *in_json("days feed_kg", days=_DAYS),
)
_HERD = _in_json(
    "herd",
    nested("classes", _CLASSES, "grazing.herd"),
    Column("rest_days", "grazing.rest_days", _DAYS),
    *in_json("demand_kg_per_day supply_kg needed_kg", "herd.", demand_kg_per_day=MASS),
    nested("stays", MOVES, moves),
    nested("shortages", _SHORTAGES, "herd.shortages"),
)

# --- the whole plan --------------------------------------------------------------------------


def _parts(plan: InterseedPlan) -> list[dict[str, Any]]:
    found = plan.seeding.product.shares
    return [{"product": name, "share": part} for name, part in found.items()]


_SEED = _in_json(
    "seed",
    Column("product", "seeding.product.name"),
    Column("parts", _parts, NESTED),
    Column("on_hand_kg", "seeding.on_hand_kg", MASS),
    Column("used_kg", "seed_used_kg", MASS),
    Column("left_kg", "seed_left_kg", MASS),
    Column("rate_kg_per_m2", "schedule.rate_kg_per_m2", RATE),
    Column("wanted_rate_kg_per_m2", "seeding.rate_kg_per_m2", RATE),
    *in_json("least_rate_kg_per_m2 most_rate_kg_per_m2 treated withholding_days", "seeding."),
)
_RELAXATIONS = _in_json("relaxations", *in_json("rule paddock amount", amount=NUMBER))
_DRILL = _in_json(
    "drill",
    Column("width_m", "implement.width_m", LENGTH),
    *in_json("speed_mps turn_speed_mps turn_radius_m setup_s refill_s load_kg rounds prefer"),
)
_RULES = _in_json(
    "rules",
    *in_json(
        "opens_after_days closes_after_days residual_most_kg_per_m2 regrowth_most_kg_per_m2 "
        "first_day last_day day_from_s day_to_s hours_most_s lost_chance rest_days runs "
        "random_seed"
    ),
)
_PLAN = _in_json(
    "plan",
    Column("goal_m2", lambda p: sum(goal_m2(one) for one in wanted(p)), AREA),
    Column("seeded_m2", lambda p: sum(one.seeded_m2 for one in p.paddocks), AREA),
    Column("first_day", lambda p: p.visits[0].day if p.visits else None),
    Column("last_day", lambda p: p.visits[-1].day if p.visits else None),
    Column("chance_all", quantity=CHANCE),
    Column("value_m2", "schedule.value", AREA),
    Column("bound_m2", "schedule.bound", AREA),
    *in_json("proven gap", "schedule.", gap=SHARE),
    nested("seed", _SEED, lambda p: p),
    nested("paddocks", PADDOCKS, paddock_rows),
    Column("fills", lambda p: records(*loads(p)), NESTED),
    nested("relaxations", _RELAXATIONS, "relaxations"),
    nested("herd", _HERD, lambda p: p),
    nested("days", WORK_DAYS, "days"),
    nested("drill", _DRILL, "seeding"),
    nested("rules", _RULES, "seeding"),
)


def interseed_account(
    plan: InterseedPlan,
    *,
    farm: str,
    generated: str,
    inputs: Sequence[InputFile],
    warnings: Sequence[str] = (),
    time_zone: str | None = None,
) -> dict[str, Any]:
    """Account of a plan in SI units, as JSON types in a stable order.

    Parameters
    ----------
    generated : str
        ISO 8601 time of the run: the only value of its own that changes between equal runs.
    warnings : sequence of str
        What was found in the inputs; those of the plan follow.
    time_zone : str or None
        IANA name of the clock times; None: local mean time.

    Returns
    -------
    dict
        Ready for ``json.dumps(..., allow_nan=False)``: what is not known is null. Dates are
        ISO 8601; clock times (``start_s``, ``end_s``) are seconds after local midnight.
    """
    account = {
        "schema": SCHEMA,
        "program": {"name": "evenacre", "version": __version__},
        "generated": generated,
        "farm": farm,
        "time_zone": time_zone,
        "inputs": [asdict(i) for i in inputs],
        "warnings": [*warnings, *sentences(plan.findings, "warning")],
        "cautions": interseed_cautions(plan),
        **record(_PLAN, plan),
    }
    clean: dict[str, Any] = json_types(account)
    return clean


def interseed_frames(plan: InterseedPlan, display: Display) -> dict[str, pd.DataFrame]:
    """Every table of a plan by name; dates are ISO 8601, times are of the farm's clock."""
    every: tuple[tuple[Table, Sequence[Any]], ...] = (
        (PADDOCKS, paddock_rows(plan)),
        (VISITS, numbered_visits(plan)),
        loads(plan),
        (MOVES, moves(plan)),
        (DRIVE, [p.passes for p in plan.paddocks if p.passes]),
    )
    return {table.name: data_frame(table, rows, display) for table, rows in every}


def interseed_page_tables(plan: InterseedPlan, display: Display) -> list[PageTable]:
    """Every table of a plan that has rows, for the page."""
    demand = plan.herd.demand_kg_per_day
    need = f"A day takes {MASS.text(demand, display, 3)} of dry matter. " if demand else ""
    every = (
        paddocks_page(plan, display),
        page_table(*loads(plan), display),
        replace(
            page_table(MOVES, moves(plan), display),
            remark=f"{need}The herd moves in and out in the morning.",
        ),
        page_table(WINDOWS, [r for r in paddock_rows(plan) if r.window], display),
        page_table(DRIVE, [p.passes for p in plan.paddocks if p.passes], display),
        days_lost_page(plan, display),
    )
    return [table for table in every if table.rows]
