"""Planned against done, paddock by paddock, with a strip of days for each."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import NamedTuple

import pandas as pd
from markupsafe import Markup

from evenacre.language import tr
from evenacre.planning.interseeding.comparison import (
    PaddockCompared,
    PaddockStanding,
    PlannedDone,
    SeededTotals,
)
from evenacre.reports import figure_text as figures
from evenacre.reports import quantities as q
from evenacre.reports.column import Column, Table, joined, json_only, named, nested, several
from evenacre.reports.sentences import plan_against_done as say
from evenacre.reports.sentences.findings import sentences
from evenacre.reports.sentences.interseeding_words import days_text, short_day
from evenacre.reports.tables.interseeding_days import DAY, ROUNDED_SHARE
from evenacre.reports.writers.as_frame import data_frame
from evenacre.reports.writers.as_html import PageTable, last_row, page_table, with_sums

_DAY = replace(DAY, text=lambda v, _, __: say.short(v))
_DAYS = q.plain_number("d")
_WORDS = "the page says it in words"
_BOTH = "what it is made of is given by itself elsewhere"
_in_json = partial(json_only, why="the table of paddocks gives the same")


KEY = (
    "In the strip of days the bar is the window, a diamond a day planned, a dot a day seeded, and "
    "a cross a day seeded outside the window; thin lines begin a month."
)
_WIDE, _HIGH, _MARK = 200.0, 24.0, 5.0
_MIDDLE = _HIGH / 2


@dataclass(frozen=True)
class Strip:
    """The days that all strips show, so that they stand below one another."""

    first: dt.date
    last: dt.date

    @classmethod
    def over(cls, paddocks: Iterable[PaddockCompared]) -> Strip | None:
        """Take in every day that is known; None when none is."""
        days = [day for p in paddocks for day in _days(p)]
        return cls(min(days), max(days)) if days else None

    @property
    def title(self) -> str:
        """First and last day."""
        return figures.span(short_day(self.first), short_day(self.last))

    def of(self, p: PaddockCompared) -> Markup:
        """Draw one paddock as SVG; its words stand in the table beside it."""
        return Markup(
            f'<svg class="strip" viewBox="0 0 {_WIDE:g} {_HIGH:g}" aria-hidden="true">'
            f"{''.join(self._shapes(p))}</svg>"
        )

    def _shapes(self, p: PaddockCompared) -> Iterator[str]:
        window = p.planned.window if p.planned else None
        for n in range(1, (self.last - self.first).days + 1):
            day = self.first + dt.timedelta(n)
            if day.day == 1:
                yield f'<path class="month" d="M{self._x(day):.1f} 0v{_HIGH:g}"/>'
        for first, last in window.spells if window else ():
            left, right = self._x(first), self._x(last + dt.timedelta(1))
            yield (
                f'<rect class="open" x="{left:.1f}" y="4" width="{right - left:.1f}" '
                f'height="{_HIGH - 8:g}"/>'
            )
        for visit in p.planned.visits if p.planned else ():
            x, m = self._x(visit.day, 0.5), _MARK + 2
            yield f'<path class="planned" d="M{x - m:.1f} {_MIDDLE:g}l{m} {-m}l{m} {m}l{-m} {m}z"/>'
        for day in (one.day for one in p.days if one.day):
            x, m = self._x(day, 0.5), _MARK
            if window is None or window.days_outside(day) == 0:
                yield f'<circle class="done" cx="{x:.1f}" cy="{_MIDDLE:g}" r="{m - 1:g}"/>'
            else:
                cross = f"M{x - m:.1f} {_MIDDLE - m:g}l{2 * m} {2 * m}m0 {-2 * m}l{-2 * m} {2 * m}"
                yield f'<path class="out" d="{cross}"/>'

    def _x(self, day: dt.date, more: float = 0.0) -> float:
        """Where a day begins, or so much of a day later, with room for a mark at either end."""
        span = (self.last - self.first).days + 1
        return _MARK + (_WIDE - 2 * _MARK) * ((day - self.first).days + more) / span


def _days(p: PaddockCompared) -> Iterator[dt.date]:
    if p.planned is not None:
        yield from (visit.day for visit in p.planned.visits)
        for spell in p.planned.window.spells if p.planned.window else ():
            yield from spell
    yield from (one.day for one in p.days if one.day is not None)


class _Row(NamedTuple):
    """A paddock beside what was done."""

    compared: PlannedDone
    p: PaddockCompared
    strip: Strip | None


def _days_in(
    words: Callable[..., str], on_page: Callable[[PaddockCompared], str] | None = None
) -> q.Quantity:
    """Days of a paddock: whole in tables of data, short on the page."""
    return q.worded(on_page or (lambda p: words(p, say.short)), cell=lambda p: words(p, str))


def _planned_on(p: PaddockCompared) -> str:
    return say.planned_words(p, say.short) or tr("not planned")


def _seeded_on(p: PaddockCompared) -> str:
    """Days done, and how late they ended."""
    late = p.ended_late_days
    if not p.operations:
        return tr("no log")
    if late is None:
        return say.done_words(p, say.short)
    side = tr("on the day")
    if late:
        side = f"{days_text(abs(late))} {tr('late') if late > 0 else tr('early')}"
    return f"{say.done_words(p, say.short)} ({side})"


def _days_off(key: str, name: str) -> tuple[Column, Column]:
    """Days off a window: in tables of data those of a paddock that has one and was seeded."""

    def held(r: _Row) -> int | None:
        window = r.p.planned.window if r.p.planned else None
        return getattr(r.p, key) if window and r.p.operations else None

    return (
        named(f"held_{key}", None, name, _DAYS, held, json=False, why=_WORDS),
        named(f"p.{key}", None, None, _DAYS, why=_WORDS),
    )


def _ground(of: Sequence[PaddockCompared], d: q.Display) -> str:
    return say.beside([p.done_m2 for p in of], [p.planned_m2 for p in of], d.units.area)


def _seed(of: PaddockCompared | SeededTotals, d: q.Display) -> str:
    return say.beside([of.applied_kg], [of.planned_kg], d.units.mass)


def _share(r: _Row) -> float | None:
    return r.p.done_m2 / r.p.planned_m2 if r.p.planned_m2 else None


_DAYS_SEEDED = _in_json("days", "date=day area_m2 seed_kg")
_SPELLS = _in_json("spells", Column("first", lambda s: s[0]), Column("last", lambda s: s[1]))
_PLANNED = _in_json(
    "planned",
    "area_m2 seed_kg graze_from",
    nested("spells", _SPELLS, "window.spells"),
    nested("days", _DAYS_SEEDED, "visits"),
)
_DONE = _in_json(
    "done", "area_m2=done_m2 seed_kg=applied_kg operations", nested("days", _DAYS_SEEDED)
)
PADDOCKS_COMPARED = Table(
    "planned_done",
    (
        named("paddock=p.name"),
        *several("seed=compared.planned.product standing=p.standing.value"),
        named("spells=p", "Window", "window", _days_in(say.window_words)),
        named("window=p.window.value", None, "window kept"),
        named("kept", name=None, of=lambda r: say.kept_words(r.p)),
        *_days_off("too_early_days", "too early [days]"),
        *_days_off("too_late_days", "too late [days]"),
        named("planned_for=p", quantity=_days_in(say.planned_words, _planned_on)),
        named("seeded_on=p", quantity=_days_in(say.done_words, _seeded_on)),
        named("p.began_late_days", None, "began late [days]", _DAYS, why=_WORDS),
        named("p.ended_late_days", None, "ended late [days]", _DAYS, why=_WORDS),
        named("p.planned_m2", None),
        named("p.done_m2", None, "seeded"),
        joined("ground", "Ground seeded", lambda r, d: _ground([r.p], d), "done_m2 planned_m2"),
        named("p.in_window_m2", None, "seeded inside the window", why=_WORDS),
        named(
            "share", None, "seeded share of planned", ROUNDED_SHARE, _share, json=False, why=_BOTH
        ),
        named("p.planned_kg", None, "planned seed"),
        named("p.applied_kg", None, "seed on the paddock"),
        joined("seed_on_it", "Seed on it", lambda r, d: _seed(r.p, d), "applied_kg planned_kg"),
        named("planned_grazing=p.planned.graze_from", None, "planned to be grazed from", _DAY),
        named("p.graze_from", quantity=_DAY),
        named("p.operations", None, quantity=q.NAMES),
        joined("strip", "", lambda r, _: r.strip.of(r.p) if r.strip else ""),
        nested("planned", _PLANNED, "p.planned", "planned_m2 planned_kg"),
        nested("done", _DONE, lambda r: r.p if r.p.operations else None, "done_m2 applied_kg"),
    ),
    title="Paddock by paddock",
    json="paddock standing window too_early_days too_late_days began_late_days ended_late_days "
    "in_window_m2 graze_from planned done",
    page="paddock spells kept planned_for seeded_on graze_from strip ground seed_on_it",
    words=7,
    remark=(
        "Ground and seed stand beside what was planned; ground is counted once, however often "
        f"it was seeded, and seed is what landed on the paddock. {KEY} The same list is in "
        "tables/planned_done.csv."
    ),
)


def _rows(compared: PlannedDone) -> list[_Row]:
    strip = Strip.over(compared.paddocks)
    return [_Row(compared, p, strip) for p in compared.paddocks]


COMPARED = _in_json(
    "planned_done",
    "plan=planned.file seed=planned.product sums.planned_m2 sums.done_m2 sums.planned_kg "
    "sums.applied_kg besides_m2=besides.done_m2 besides_kg=besides.applied_kg",
    nested("paddocks", PADDOCKS_COMPARED, _rows),
    Column("warnings", lambda c: sentences(c.findings, "warning"), q.NAMES),
    plan=q.NESTED,
)


def planned_done_frame(compared: PlannedDone, display: q.Display) -> pd.DataFrame:
    """A row for each paddock; days are ISO 8601, units stand in the column names."""
    return data_frame(PADDOCKS_COMPARED, _rows(compared), display)


_ON_PAPER = replace(
    PADDOCKS_COMPARED,
    page=str(PADDOCKS_COMPARED.page).replace(" strip", ""),
    words=PADDOCKS_COMPARED.words - 1,
    remark=(
        "Ground and seed stand beside what was planned; ground is counted once, however often "
        "it was seeded, and seed is what landed on the paddock."
    ),
)


def planned_done_page_table(
    compared: PlannedDone, display: q.Display, *, strip: bool = True
) -> PageTable:
    """Every paddock of the plan beside what was done, and what was done besides.

    The strip of days is for a browser; paper goes without it.
    """
    rows, whole = _rows(compared), PADDOCKS_COMPARED if strip else _ON_PAPER
    planned = compared.of(PaddockStanding.DONE, PaddockStanding.NOT_LOGGED)
    table = page_table(whole, rows, display)
    together = last_row(
        whole,
        paddock=tr("All planned"),
        ground=_ground(planned, display),
        seed_on_it=_seed(compared.sums, display),
    )
    dates = rows[0].strip.title if rows and rows[0].strip else ""
    table = replace(table, head=tuple(title or dates for title in table.head))
    return with_sums(table, together) if len(rows) > 1 else table
