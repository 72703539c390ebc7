"""Days and loads of an interseeding plan."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import Any, NamedTuple

from evenacre.planning.interseeding.plan_types import CartFill, InterseedPlan, Visit, WorkDay
from evenacre.reports import figure_text as figures
from evenacre.reports.column import (
    COUNT,
    HOURS,
    MASS,
    NAMES,
    NESTED,
    SHARE,
    YES_NO,
    Column,
    Display,
    Quantity,
    Table,
    joined,
    named,
    worded,
)
from evenacre.reports.sentences.interseeding_words import (
    chance_text,
    clock,
    hours_text,
    numbered,
    short_weekday,
)
from evenacre.reports.writers.as_html import PageTable, page_table

DAY = worded(short_weekday, cell=lambda v: "" if v is None else str(v))
CLOCK = worded(clock)
ROUNDED_SHARE = replace(
    SHARE, cell=lambda v, _: None if v is None else figures.significant([100 * v], 4)[0]
)
CHANCE = replace(ROUNDED_SHARE, text=lambda v, _, __: chance_text(v))
WORK_TIME = replace(HOURS, text=lambda v, _, __: hours_text(v))
_ALWAYS_SHOWN = 20  # lost and booked days in sight


def some(quantity: Quantity, nothing: str = "") -> Callable[[Any, Display], str]:
    """Write a value that leaves its cell empty when it is none."""
    return lambda v, d: quantity.text(v, d, 3) if v else nothing


class NumberedVisit(NamedTuple):
    """A visit and its place in the order of time, from 1."""

    order: int
    visit: Visit


def _from_to(v: NumberedVisit, _: Display) -> str:
    return f"{clock(v.visit.start_s)} to {clock(v.visit.end_s)}"


def _whole_percent(share: float, _: Display) -> str:
    return f"{100 * share:.0f} %"


VISITS = Table(
    "days",
    (
        named("order", "No.", quantity=COUNT),
        named("date", "Day", quantity=DAY, of="visit.day"),
        named("paddock", of="visit.paddock"),
        named("start_s", None, quantity=CLOCK, of="visit.start_s"),
        named("end_s", None, quantity=CLOCK, of="visit.end_s"),
        joined("time", "Time", _from_to, "start_s end_s"),
        named("area_m2", "Ground", of="visit.area_m2"),
        named("share", "Of it", "share of the paddock", SHARE, "visit.share", text=_whole_percent),
        named("seed_kg", of="visit.seed_kg"),
    ),
    title="Day by day",
    json="order date start_s end_s share area_m2 seed_kg",
    page="order date time paddock area_m2 share seed_kg",
    words=4,
    remark="Times include setting up and filling, on a day that weather leaves whole.",
)


def numbered_visits(plan: InterseedPlan) -> list[NumberedVisit]:
    """Every visit, in order of time."""
    return [NumberedVisit(number, visit) for visit, number in numbered(plan).items()]


class Load(NamedTuple):
    """A fill, and what it is mixed of: kg by part, nothing for a seed that is no blend."""

    fill: CartFill
    parts: Mapping[str, float]


def _served(serves: Sequence[Mapping[str, Any]], d: Display) -> Iterator[str]:
    return (f"{to['paddock']} {d.units.mass.text(to['seed_kg'])}" for to in serves)


_SERVED = Quantity(lambda v, d: "; ".join(_served(v, d)), lambda v, d, _: ", ".join(_served(v, d)))


def _parts(load: Load) -> list[dict[str, Any]]:
    return [{"product": name, "mass_kg": kg} for name, kg in load.parts.items()]


def _serves(load: Load) -> list[dict[str, Any]]:
    return [{"paddock": name, "seed_kg": kg} for name, kg in load.fill.serves]


FILLS = Table(
    "fills",
    (
        named("number", "Load", "fill", COUNT, "fill.number"),
        named("date", "Day", quantity=DAY, of="fill.day"),
        named("start_s", "Time", quantity=CLOCK, of="fill.start_s"),
        named("paddock", "Filled at", "filled at", of="fill.paddock"),
        named("mass_kg", "Weighs", "load", of="fill.mass_kg"),
        named("parts", None, None, NESTED, _parts),
        named("serves", "Sown in", quantity=_SERVED, of=_serves),
    ),
    title="Loads",
    page="number date start_s paddock serves mass_kg",
    words=5,
)
_MIX = (
    "Weigh the parts of each load and mix them before they go in: a blend cannot be topped "
    "up with one of its parts."
)


def _of_part(name: str, load: Load) -> float:
    return load.parts[name]


def loads(plan: InterseedPlan) -> tuple[Table, list[Load]]:
    """Every load, with a column for each part of a blend."""
    product = plan.seeding.product
    parts = product.shares if product.parts else {}
    rows = [Load(f, {name: part * f.mass_kg for name, part in parts.items()}) for f in plan.fills]
    if not parts:
        return FILLS, rows
    more = tuple(
        Column(f"part {name}", partial(_of_part, name), MASS, name=name, head=name)
        for name in parts
    )
    *lead, serves = FILLS.columns
    table = replace(
        FILLS,
        columns=(*lead, *more, serves),
        json=tuple(FILLS.by_key),
        page=tuple(c.key for c in (*FILLS.of("page"), *more)),
        remark=_MIX,
    )
    return table, rows


def _taken_by(day: WorkDay, _: Display) -> str:
    return ", ".join([*(["lost to weather"] if day.lost else []), *day.booked_for])


WORK_DAYS = Table(
    "work_days",
    (
        named("date", "Day", quantity=DAY, of="day"),
        named("start_s", None, None, CLOCK),
        joined("taken_by", "Why", _taken_by, "lost booked_for"),
        named("full_s", "Left to drill", quantity=WORK_TIME, text=some(WORK_TIME, "none")),
        named("planned_s", None, None, why="the page gives days that weather or others take"),
        named("lost", None, None, YES_NO),
        named("booked_s", "Booked", quantity=WORK_TIME, text=some(WORK_TIME)),
        named("booked_for", None, None, NAMES),
    ),
    title="Days the drill does not have",
    page="date taken_by booked_s full_s",
    words=2,
    outputs=("json", "page"),
    why="tables of data give the days of seeding",
)


def days_lost_page(plan: InterseedPlan, display: Display) -> PageTable:
    """Days that the drill cannot have, or not whole."""
    rows = [d for d in plan.days if d.lost or d.booked_s or d.booked_for]
    table = page_table(WORK_DAYS, rows, display)
    return replace(table, folded=len(rows) > _ALWAYS_SHOWN)
