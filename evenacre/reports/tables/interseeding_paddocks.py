"""Paddocks of an interseeding plan, and when each may be seeded."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from evenacre.language import tr
from evenacre.planning.interseeding.plan_types import InterseedPlan, PaddockPlan, SeedingWindow
from evenacre.reports import figure_text as figures
from evenacre.reports import quantities as q
from evenacre.reports.column import Column, Table, joined, json_only, named, nested
from evenacre.reports.sentences import interseeding_words as iw
from evenacre.reports.tables.interseeding_days import CHANCE, DAY, VISITS, NumberedVisit, some
from evenacre.reports.tables.passes import DRIVE
from evenacre.reports.writers.as_html import PageTable, last_row, page_table, with_sums


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
    def visits(self) -> list[NumberedVisit]:
        """Its visits, by their number among all."""
        numbers = iw.numbered(self.plan)
        return [NumberedVisit(numbers[v], v) for v in self.p.visits]

    def spells(self, day: Callable[[dt.date], str] = str) -> list[str]:
        """First and last day of every spell of its window."""
        return [figures.span(day(a), day(b)) for a, b in iw.spells(self.window, self.plan.days)]

    def of_window(self, words: Callable[[SeedingWindow, InterseedPlan], str]) -> str:
        """Words about its window; nothing where there is none."""
        return words(self.window, self.plan) if self.window else ""


def _seeded_on(r: PaddockRow, _: q.Display) -> str:
    if r.window is None:
        return ""
    if r.p.finished and r.p.done:
        known = [one.day for one in r.p.done.days if one.day is not None]
        return tr("done {days}", days=", ".join(map(iw.short_weekday, known))).strip()
    days = dict.fromkeys(iw.short_weekday(v.day) for v in r.p.visits)
    in_part = tr(" (in part)") if r.p.visits and not iw.whole(r.p) else ""
    return (", ".join(days) or tr("not seeded")) + in_part


def _window_days(r: PaddockRow, _: q.Display) -> str:
    if r.window is None:
        return tr("not to be seeded")
    if r.p.finished:
        return tr("seeded")
    return ", ".join(r.spells(iw.short_weekday)) or tr("no day open")


WINDOW = json_only(
    "window",
    "window.opens window.closes window.opened_by window.closed_by window.left window.back",
    Column(
        "spells",
        lambda r: [{"first": a, "last": b} for a, b in iw.spells(r.window, r.plan.days)],
        q.NESTED,
    ),
    why="the table of paddocks gives it day by day",
)


DONE = json_only("done", "date=day area_m2 seed_kg", why="the answer tells it of the whole plan")


def _chance_remark(rows: Sequence[PaddockRow], _: q.Display) -> str:
    if all(r.p.chance is None for r in rows):
        return ""
    return tr("Chance: that weather leaves time inside the window for all that is planned there.")


_BEFORE = "the answer tells what was done before the plan begins"
_SEEDED = "the page gives the ground that is seeded"
PADDOCKS = Table(
    "paddocks",
    (
        named("paddock=p.paddock.field.name"),
        named("to_be_seeded", None, quantity=q.YES_NO, of=lambda r: r.window is not None),
        named("p.area_m2", None, "paddock", why=_SEEDED),
        named("p.workable_m2", None, why=_SEEDED),
        named("p.paddock.value", None, quantity=q.NUMBER, why="it was given"),
        named("window.left", "Herd leaves", "herd leaves", DAY),
        named("window.opens", None, "window opens", DAY),
        named("opens_because", None, of=lambda r: r.of_window(iw.opening_words)),
        named("window.closes", None, "window closes", DAY),
        named("closes_because", None, of=lambda r: r.of_window(iw.closing_words)),
        named("shut_because", None, of=lambda r: r.of_window(iw.shut_words)),
        named("open_spells", None, quantity=q.NAMES, of=PaddockRow.spells),
        joined("window_days", "Window", _window_days, "open_spells"),
        named("herd_back=window.back", None, quantity=DAY),
        named("order", None, quantity=q.NAMES, of=lambda r: [str(v.order) for v in r.visits]),
        named(
            "seeding_days", None, quantity=q.NAMES, of=lambda r: [str(v.day) for v in r.p.visits]
        ),
        joined("seeded_on", "Seeded on", _seeded_on, "seeding_days"),
        named("goal_m2", None, of=lambda r: iw.goal_m2(r.p) if r.window else 0.0, why=_SEEDED),
        named(
            "done_m2",
            None,
            "done before",
            q.AREA,
            lambda r: r.p.done.area_m2 if r.p.done else 0.0,
            why=_BEFORE,
        ),
        named(
            "done_kg",
            None,
            "seed sown before",
            q.MASS,
            lambda r: r.p.done.seed_kg if r.p.done else 0.0,
            why=_BEFORE,
        ),
        named("p.seeded_m2", "Ground", text=some(q.AREA)),
        named("share", None, "seeded share", q.SHARE, lambda r: iw.share_seeded(r.p), why=_SEEDED),
        named("whole", None, None, q.YES_NO, lambda r: iw.whole(r.p)),
        named("p.seed_kg", text=some(q.MASS)),
        named(
            "p.chance",
            name="chance in its window",
            quantity=CHANCE,
            told=lambda r, _: iw.chance_of(r.plan, r.p.chance),
        ),
        named("p.graze_from", quantity=DAY),
        nested("done", DONE, lambda r: r.p.done.days if r.p.done else ()),
        nested("window", WINDOW, lambda r: r if r.window else None),
        nested("visits", VISITS),
        nested("passes", DRIVE, "p.passes"),
    ),
    title="Paddock by paddock",
    json="paddock to_be_seeded area_m2 workable_m2 value done_m2 done_kg goal_m2 seeded_m2 seed_kg "
    "share whole chance graze_from done window visits passes",
    page="paddock left window_days seeded_on graze_from seeded_m2 seed_kg chance",
    words=5,
    remark=_chance_remark,
)


def paddock_rows(plan: InterseedPlan) -> list[PaddockRow]:
    """Every paddock, in the order of the season file."""
    return [PaddockRow(plan, p) for p in plan.paddocks]


def paddocks_page(plan: InterseedPlan, display: q.Display) -> PageTable:
    """Every paddock, and all of them together."""
    table = page_table(PADDOCKS, paddock_rows(plan), display)
    if len(table.rows) < 2 or not plan.visits:
        return table
    together = last_row(
        PADDOCKS,
        paddock=tr("Together"),
        seeded_m2=display.units.area.in_all(p.seeded_m2 for p in plan.paddocks),
        seed_kg=q.MASS.text(plan.seed_used_kg, display, 3),
        chance=iw.chance_of(plan, plan.chance_all),
    )
    return with_sums(table, together)


def _day(day: dt.date | None, more: str = "", none: str = "") -> str:
    return none if day is None else iw.short_weekday(day) + more


WINDOWS = Table(
    "windows",
    (
        named("paddock=p.paddock.field.name"),
        named("opens", of=lambda r: _day(r.window.opens, none=tr("never"))),
        named(
            "opens_because",
            of=lambda r: r.of_window(iw.opening_words) or r.of_window(iw.shut_words),
        ),
        named("closes", of=lambda r: _day(r.window.closes, tr(" (last day)"))),
        named("closes_because", of=lambda r: r.of_window(iw.closing_words)),
        named("herd_back=window.back", quantity=DAY),
    ),
    title="Why windows open and close",
    words=6,
    folded=True,
    outputs=("page",),
    why="the table of paddocks gives the same elsewhere",
)
