"""Paddocks, windows, days and loads of an interseeding plan."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

from evenacre.planning.interseeding.plan_types import (
    Fill,
    InterseedPlan,
    PaddockPlan,
    SeedingWindow,
    Visit,
    WorkDay,
)
from evenacre.planning.season.seed import shares
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
from evenacre.reports.writers.as_html import PageTable, page_table, sum_row
from evenacre.reports.writers.as_json import record

DAY = worded(short_weekday, cell=lambda v: "" if v is None else str(v))
CLOCK = worded(clock)
CHANCE = Quantity(
    cell=lambda v, _: None if v is None else figures.significant([100 * v], 4)[0],
    text=lambda v, _, __: chance_text(v),
    unit=lambda _: "%",
    si="1",
)
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


VISITS = Table(
    "days",
    (
        Column("order", quantity=COUNT, name="order", head="No."),
        Column("date", "visit.day", DAY, name="date", head="Day"),
        Column("paddock", "visit.paddock", name="paddock", head="Paddock"),
        Column("start_s", "visit.start_s", CLOCK, name="start"),
        Column("end_s", "visit.end_s", CLOCK, name="end"),
        Column(
            "time", lambda v: f"{clock(v.visit.start_s)} to {clock(v.visit.end_s)}", head="Time"
        ),
        Column("area_m2", "visit.area_m2", AREA, name="area", head="Ground"),
        Column(
            "share",
            "visit.share",
            SHARE,
            name="share of the paddock",
            head="Of it",
            text=lambda v, _: f"{100 * v:.0f} %",
        ),
        Column("seed_kg", "visit.seed_kg", MASS, name="seed", head="Seed"),
    ),
    title="Day by day",
    json=("order", "date", "start_s", "end_s", "share", "area_m2", "seed_kg"),
    page=("order", "date", "time", "paddock", "area_m2", "share", "seed_kg"),
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


FILLS = Table(
    "fills",
    (
        Column("number", "fill.number", COUNT, name="fill", head="Load"),
        Column("date", "fill.day", DAY, name="date", head="Day"),
        Column("start_s", "fill.start_s", CLOCK, name="start", head="Time"),
        Column("paddock", "fill.paddock", name="filled at", head="Filled at"),
        Column("mass_kg", "fill.mass_kg", MASS, name="load", head="Weighs"),
        Column(
            "parts",
            lambda r: [{"product": name, "mass_kg": kg} for name, kg in r.parts.items()],
            NESTED,
        ),
        Column(
            "serves",
            lambda r: [{"paddock": name, "seed_kg": kg} for name, kg in r.fill.serves],
            Quantity(
                cell=lambda v, d: "; ".join(_served(v, d)),
                text=lambda v, d, _: ", ".join(_served(v, d)),
            ),
            name="serves",
            head="Sown in",
        ),
    ),
    title="Loads",
    page=("number", "date", "start_s", "paddock", "serves", "mass_kg"),
    words=5,
)
_MIX = (
    "Weigh the parts of each load and mix them before they go in: a blend cannot be topped "
    "up with one of its parts."
)


def loads(plan: InterseedPlan) -> tuple[Table, list[Load]]:
    """Every load, with a column for each part of a blend."""
    product = plan.seeding.product
    parts = shares(product) if product.parts else {}
    rows = [Load(f, {name: part * f.mass_kg for name, part in parts.items()}) for f in plan.fills]
    if not parts:
        return FILLS, rows
    more = tuple(
        Column(f"part {name}", lambda r, name=name: r.parts[name], MASS, name=name, head=name)
        for name in parts
    )
    *lead, serves = FILLS.columns
    table = replace(
        FILLS,
        columns=(*lead, *more, serves),
        json=tuple(FILLS.by_key),
        page=(*FILLS.page, *(c.key for c in more)),
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

    def seeded_on(self) -> str:
        """Days of seeding, for the page."""
        if self.window is None:
            return ""
        days = dict.fromkeys(short_weekday(v.day) for v in self.p.visits)
        in_part = " (in part)" if self.p.visits and not whole(self.p) else ""
        return (", ".join(days) or "not seeded") + in_part

    def window_days(self) -> str:
        """Spells of its window, for the page."""
        if self.window is None:
            return "not to be seeded"
        days = [f"{short_weekday(first)} to {short_weekday(last)}" for first, last in self.spells]
        return ", ".join(days) or "no day open"


WINDOW = Table(
    "window",
    (
        Column("opens"),
        Column("closes"),
        Column("opened_by"),
        Column("closed_by"),
        Column("left"),
        Column("back"),
    ),
)


def _of_window(key: str) -> Callable[[PaddockRow], Any]:
    return lambda r: r.window and getattr(r.window, key)


def _window_record(r: PaddockRow) -> dict[str, Any] | None:
    if r.window is None:
        return None
    open_days = [{"first": first, "last": last} for first, last in r.spells]
    return {**record(WINDOW, r.window), "spells": open_days}


def _chance_remark(rows: Sequence[PaddockRow], _: Display) -> str:
    if all(r.p.chance is None for r in rows):
        return ""
    return "Chance: that weather leaves time inside the window for all that is planned there."


_SEEDED = "the page gives the ground that is seeded"

PADDOCKS = Table(
    "paddocks",
    (
        Column("paddock", "p.paddock.field.name", name="paddock", head="Paddock"),
        Column("to_be_seeded", lambda r: r.window is not None, YES_NO, name="to be seeded"),
        Column("area_m2", "p.area_m2", AREA, name="paddock", why=_SEEDED),
        Column("workable_m2", "p.workable_m2", AREA, name="workable", why=_SEEDED),
        Column("value", "p.paddock.value", NUMBER, name="value", why="the farmer gave it"),
        Column("left", _of_window("left"), DAY, name="herd leaves", head="Herd leaves"),
        Column("opens", _of_window("opens"), DAY, name="window opens"),
        Column("opens_because", lambda r: r.of_window(opening_words), name="opens because"),
        Column("closes", _of_window("closes"), DAY, name="window closes"),
        Column("closes_because", lambda r: r.of_window(closing_words), name="closes because"),
        Column(
            "shut_because",
            lambda r: r.of_window(shut_words) if r.window and r.window.opens is None else "",
            name="shut because",
        ),
        Column("spells", lambda r: [f"{a} to {b}" for a, b in r.spells], NAMES, name="open spells"),
        Column("window_days", lambda r: r.window_days(), head="Window", shows=("spells",)),
        Column("back", _of_window("back"), DAY, name="herd back"),
        Column("order", lambda r: [str(v.order) for v in r.visits], NAMES, name="order"),
        Column("days", lambda r: [str(v.day) for v in r.p.visits], NAMES, name="seeding days"),
        Column("seeded_on", lambda r: r.seeded_on(), head="Seeded on", shows=("days",)),
        Column("goal_m2", lambda r: goal_m2(r.p) if r.window else 0.0, AREA, name="goal"),
        Column("seeded_m2", "p.seeded_m2", AREA, name="seeded", head="Ground", text=some(AREA)),
        Column("share", lambda r: share_seeded(r.p), SHARE, name="seeded share", why=_SEEDED),
        Column("whole", lambda r: whole(r.p), YES_NO),
        Column("seed_kg", "p.seed_kg", MASS, name="seed", head="Seed", text=some(MASS)),
        Column("chance", "p.chance", CHANCE, name="chance in its window", head="Chance"),
        Column("graze_from", "p.graze_from", DAY, name="graze from", head="Graze from"),
        Column("window", _window_record, NESTED),
        Column("visits", lambda r: [record(VISITS, v) for v in r.visits], NESTED),
        Column("passes", lambda r: r.p.passes and record(DRIVE, r.p.passes), NESTED),
    ),
    title="Paddock by paddock",
    json=(
        *("paddock", "to_be_seeded", "area_m2", "workable_m2", "value", "seeded_m2", "seed_kg"),
        *("share", "whole", "chance", "graze_from", "window", "visits", "passes"),
    ),
    page=(
        *("paddock", "left", "window_days", "seeded_on", "graze_from"),
        *("seeded_m2", "seed_kg", "chance"),
    ),
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
    together = sum_row(
        PADDOCKS,
        display,
        paddock="Together",
        seeded_m2=sum(p.seeded_m2 for p in plan.paddocks),
        seed_kg=plan.seed_used_kg,
        chance=plan.chance_all,
    )
    return replace(table, rows=[*table.rows, together])


def _opens(r: PaddockRow) -> str:
    opens = r.window.opens if r.window else None
    return short_weekday(opens) if opens else "never"


def _closes(r: PaddockRow) -> str:
    closes = r.window.closes if r.window else None
    return f"{short_weekday(closes)} (last day)" if closes else ""


WINDOWS = Table(
    "windows",
    (
        Column("paddock", "p.paddock.field.name", head="Paddock"),
        Column("opens", _opens, head="Opens"),
        Column(
            "opens_because",
            lambda r: r.of_window(opening_words) or r.of_window(shut_words),
            head="because",
        ),
        Column("closes", _closes, head="Closes"),
        Column("closes_because", lambda r: r.of_window(closing_words), head="because"),
        Column("back", "window.back", DAY, head="Herd back"),
    ),
    title="Why windows open and close",
    words=6,
    folded=True,
)

# --- days the drill has, and has not ---------------------------------------------------------


def _taken_by(day: WorkDay) -> str:
    return ", ".join([*(["lost to weather"] if day.lost else []), *day.booked_for])


WORK_DAYS = Table(
    "work_days",
    (
        Column("date", "day", DAY, head="Day"),
        Column("start_s", quantity=CLOCK),
        Column("why", _taken_by, head="Why", shows=("lost", "booked_for")),
        Column("planned_s", quantity=WORK_TIME, why="the page gives days with less time by name"),
        Column("lost", quantity=YES_NO),
        Column("booked_s", quantity=WORK_TIME, head="Booked", text=some(WORK_TIME)),
        Column("booked_for", quantity=NAMES),
        Column("full_s", quantity=WORK_TIME, head="Left to drill", text=some(WORK_TIME, "none")),
    ),
    title="Days the drill does not have",
    json=("date", "start_s", "full_s", "planned_s", "lost", "booked_s", "booked_for"),
    words=2,
)


def days_lost_page(plan: InterseedPlan, display: Display) -> PageTable:
    """Days that the drill cannot have, or not whole."""
    rows = [d for d in plan.days if d.lost or d.booked_s or d.booked_for]
    table = page_table(WORK_DAYS, rows, display)
    return replace(table, folded=len(rows) > _ALWAYS_SHOWN)
