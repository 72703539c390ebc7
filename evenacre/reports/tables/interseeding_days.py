"""Paddocks, windows, days and loads of an interseeding plan."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, NamedTuple

from evenacre.planning.interseeding.plan_types import (
    Fill,
    InterseedPlan,
    PaddockPlan,
    SeedingWindow,
    Visit,
    WorkDay,
)
from evenacre.reports import figure_text as figures
from evenacre.reports.column import (
    AREA,
    COUNT,
    HOURS,
    MASS,
    NAMES,
    NESTED,
    NUMBER,
    SHARE,
    YES_NO,
    Column,
    Display,
    Quantity,
    Table,
    in_json,
    joined,
    json_only,
    named,
    nested,
    worded,
)
from evenacre.reports.sentences.interseeding_words import (
    chance_text,
    clock,
    closing_words,
    goal_m2,
    hours_text,
    numbered,
    opening_words,
    share_seeded,
    short_weekday,
    shut_words,
    spells,
    whole,
)
from evenacre.reports.tables.passes import DRIVE
from evenacre.reports.writers.as_html import PageTable, last_row, page_table

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


# --- visits and loads ------------------------------------------------------------------------


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

    fill: Fill
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


# --- paddocks and their windows --------------------------------------------------------------


@dataclass(frozen=True)
class PaddockRow:
    """A paddock of a plan."""

    plan: InterseedPlan
    p: PaddockPlan

    @property
    def window(self) -> SeedingWindow | None:
        """When it may be seeded; None: it is not to be."""
        return self.p.window

    @property
    def spells(self) -> list[tuple[dt.date, dt.date]]:
        """First and last day of every spell of its window."""
        return spells(self.window, self.plan.days)

    @property
    def visits(self) -> list[NumberedVisit]:
        """Its visits, by their number among all."""
        numbers = numbered(self.plan)
        return [NumberedVisit(numbers[v], v) for v in self.p.visits]

    def of_window(self, words: Callable[[SeedingWindow, InterseedPlan], str]) -> str:
        """Words about its window; nothing where there is none."""
        return words(self.window, self.plan) if self.window else ""

    def open_spells(self) -> list[str]:
        """First and last day of every spell."""
        return [f"{first} to {last}" for first, last in self.spells]

    def shut_because(self) -> str:
        """Why its window never opens."""
        return self.of_window(shut_words) if self.window and self.window.opens is None else ""

    def seeded_on(self, _: Display) -> str:
        """Days of seeding, for the page."""
        if self.window is None:
            return ""
        days = dict.fromkeys(short_weekday(v.day) for v in self.p.visits)
        in_part = " (in part)" if self.p.visits and not whole(self.p) else ""
        return (", ".join(days) or "not seeded") + in_part

    def window_days(self, _: Display) -> str:
        """Spells of its window, for the page."""
        if self.window is None:
            return "not to be seeded"
        days = [f"{short_weekday(first)} to {short_weekday(last)}" for first, last in self.spells]
        return ", ".join(days) or "no day open"


WINDOW = json_only(
    "window",
    *in_json("opens closes opened_by closed_by left back", "window."),
    Column("spells", lambda r: [{"first": a, "last": b} for a, b in r.spells], NESTED),
    why="the table of paddocks gives it day by day",
)


def _chance_remark(rows: Sequence[PaddockRow], _: Display) -> str:
    if all(r.p.chance is None for r in rows):
        return ""
    return "Chance: that weather leaves time inside the window for all that is planned there."


_SEEDED = "the page gives the ground that is seeded"

PADDOCKS = Table(
    "paddocks",
    (
        named("paddock", of="p.paddock.field.name"),
        named("to_be_seeded", None, quantity=YES_NO, of=lambda r: r.window is not None),
        named("area_m2", None, "paddock", of="p.area_m2", why=_SEEDED),
        named("workable_m2", None, of="p.workable_m2", why=_SEEDED),
        named("value", None, quantity=NUMBER, of="p.paddock.value", why="it was given"),
        named("left", "Herd leaves", "herd leaves", DAY, "window.left"),
        named("opens", None, "window opens", DAY, "window.opens"),
        named("opens_because", None, of=lambda r: r.of_window(opening_words)),
        named("closes", None, "window closes", DAY, "window.closes"),
        named("closes_because", None, of=lambda r: r.of_window(closing_words)),
        named("shut_because", None, of=PaddockRow.shut_because),
        named(
            "open_spells", None, quantity=NAMES, of=lambda r: [f"{a} to {b}" for a, b in r.spells]
        ),
        joined("window_days", "Window", PaddockRow.window_days, "open_spells"),
        named("herd_back", None, quantity=DAY, of="window.back"),
        named("order", None, quantity=NAMES, of=lambda r: [str(v.order) for v in r.visits]),
        named("seeding_days", None, quantity=NAMES, of=lambda r: [str(v.day) for v in r.p.visits]),
        joined("seeded_on", "Seeded on", PaddockRow.seeded_on, "seeding_days"),
        named("goal_m2", None, of=lambda r: goal_m2(r.p) if r.window else 0.0, why=_SEEDED),
        named("seeded_m2", "Ground", of="p.seeded_m2", text=some(AREA)),
        named("share", None, "seeded share", SHARE, lambda r: share_seeded(r.p), why=_SEEDED),
        named("whole", None, None, YES_NO, lambda r: whole(r.p)),
        named("seed_kg", of="p.seed_kg", text=some(MASS)),
        named("chance", name="chance in its window", quantity=CHANCE, of="p.chance"),
        named("graze_from", quantity=DAY, of="p.graze_from"),
        nested("window", WINDOW, lambda r: r if r.window else None),
        nested("visits", VISITS),
        nested("passes", DRIVE, "p.passes"),
    ),
    title="Paddock by paddock",
    json="paddock to_be_seeded area_m2 workable_m2 value goal_m2 seeded_m2 seed_kg share whole "
    "chance graze_from window visits passes",
    page="paddock left window_days seeded_on graze_from seeded_m2 seed_kg chance",
    words=5,
    remark=_chance_remark,
)


def paddock_rows(plan: InterseedPlan) -> list[PaddockRow]:
    """Every paddock, in the order of the season file."""
    return [PaddockRow(plan, p) for p in plan.paddocks]


def paddocks_page(plan: InterseedPlan, display: Display) -> PageTable:
    """Every paddock, and all of them together."""
    table = page_table(PADDOCKS, paddock_rows(plan), display)
    if len(table.rows) < 2 or not plan.visits:
        return table
    together = last_row(
        PADDOCKS,
        paddock="Together",
        seeded_m2=AREA.text(sum(p.seeded_m2 for p in plan.paddocks), display, 3),
        seed_kg=MASS.text(plan.seed_used_kg, display, 3),
        chance="" if plan.chance_all is None else chance_text(plan.chance_all),
    )
    return replace(table, rows=[*table.rows, together])


def _opens_because(r: PaddockRow) -> str:
    return r.of_window(opening_words) or r.of_window(shut_words)


def _opens(r: PaddockRow) -> str:
    opens = r.window.opens if r.window else None
    return short_weekday(opens) if opens else "never"


def _closes(r: PaddockRow) -> str:
    closes = r.window.closes if r.window else None
    return f"{short_weekday(closes)} (last day)" if closes else ""


WINDOWS = Table(
    "windows",
    (
        named("paddock", of="p.paddock.field.name"),
        named("opens", of=_opens),
        named("opens_because", of=_opens_because),
        named("closes", of=_closes),
        named("closes_because", of=lambda r: r.of_window(closing_words)),
        named("herd_back", quantity=DAY, of="window.back"),
    ),
    title="Why windows open and close",
    words=6,
    folded=True,
    outputs=("page",),
    why="the table of paddocks gives the same elsewhere",
)

# --- days the drill has, and has not ---------------------------------------------------------


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
