"""Paddocks of an interseeding plan, and when each may be seeded."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from evenacre.planning.interseeding.plan_types import InterseedPlan, PaddockPlan, SeedingWindow
from evenacre.reports.column import (
    AREA,
    MASS,
    NAMES,
    NESTED,
    NUMBER,
    SHARE,
    YES_NO,
    Column,
    Display,
    Table,
    in_json,
    joined,
    json_only,
    named,
    nested,
)
from evenacre.reports.sentences.interseeding_words import (
    chance_text,
    closing_words,
    goal_m2,
    numbered,
    opening_words,
    share_seeded,
    short_weekday,
    shut_words,
    spells,
    whole,
)
from evenacre.reports.tables.interseeding_days import CHANCE, DAY, VISITS, NumberedVisit, some
from evenacre.reports.tables.passes import DRIVE
from evenacre.reports.writers.as_html import PageTable, last_row, page_table


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
