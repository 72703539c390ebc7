"""Planned against done, paddock by paddock."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, replace
from functools import partial
from typing import Any, NamedTuple

import pandas as pd

from evenacre.planning.interseeding.comparison import PaddockCompared, PlannedDone, SeededTotals
from evenacre.reports.column import (
    AREA,
    MASS,
    NAMES,
    NESTED,
    Column,
    Display,
    Quantity,
    Table,
    in_json,
    joined,
    json_only,
    named,
    nested,
    plain_number,
    worded,
)
from evenacre.reports.sentences.findings import sentences
from evenacre.reports.sentences.interseeding_words import days_text
from evenacre.reports.sentences.plan_against_done import (
    beside,
    done_words,
    kept_words,
    planned_words,
    short,
    window_words,
)
from evenacre.reports.tables.day_strips import KEY, Strip
from evenacre.reports.tables.interseeding_days import DAY, ROUNDED_SHARE
from evenacre.reports.writers.as_frame import data_frame
from evenacre.reports.writers.as_html import PageTable, last_row, page_table
from evenacre.reports.writers.as_json import record

_DAY = replace(DAY, text=lambda v, _, __: short(v))
_DAYS = plain_number("d")
_WORDS = "the page says it in words"
_BOTH = "what it is made of is given by itself elsewhere"


class _Row(NamedTuple):
    """A paddock beside what was done."""

    compared: PlannedDone
    p: PaddockCompared
    strip: Strip | None


_in_json = partial(json_only, why="the table of paddocks gives the same")


def _days_in(
    words: Callable[..., str], on_page: Callable[[PaddockCompared], str] | None = None
) -> Quantity:
    """Days of a paddock: whole in tables of data, short on the page."""
    return worded(on_page or (lambda p: words(p, short)), cell=words)


def _planned_on(p: PaddockCompared) -> str:
    return planned_words(p, short) or "not planned"


def _seeded_on(p: PaddockCompared) -> str:
    """Days done, and how late they ended."""
    late = p.ended_late_days
    if not p.operations:
        return "no log"
    if late is None:
        return done_words(p, short)
    side = f"{days_text(abs(late))} {'late' if late > 0 else 'early'}" if late else "on the day"
    return f"{done_words(p, short)} ({side})"


def _days_off(key: str, name: str) -> Column:
    """Days of a paddock that has a window and was seeded, in tables of data."""

    def held(r: _Row) -> int | None:
        window = r.p.planned.window if r.p.planned else None
        return getattr(r.p, key) if window and r.p.operations else None

    return named(f"held_{key}", None, name, _DAYS, held, json=False, why=_WORDS)


def _ground(of: PaddockCompared | SeededTotals, d: Display) -> str:
    return beside(of.done_m2, of.planned_m2, d.units.area)


def _seed(of: PaddockCompared | SeededTotals, d: Display) -> str:
    return beside(of.applied_kg, of.planned_kg, d.units.mass)


def _share(r: _Row) -> float | None:
    return r.p.done_m2 / r.p.planned_m2 if r.p.planned_m2 else None


_DAYS_SEEDED = _in_json("days", Column("date", "day"), *in_json("area_m2 seed_kg"))
_SPELLS = _in_json("spells", Column("first", lambda s: s[0]), Column("last", lambda s: s[1]))
_PLANNED = _in_json(
    "planned",
    *in_json("area_m2 seed_kg graze_from"),
    nested("spells", _SPELLS, "window.spells"),
    nested("days", _DAYS_SEEDED, "visits"),
)
_DONE = _in_json(
    "done",
    Column("area_m2", "done_m2", AREA),
    Column("seed_kg", "applied_kg", MASS),
    Column("operations"),
    nested("days", _DAYS_SEEDED),
)
PADDOCKS_COMPARED = Table(
    "planned_done",
    (
        named("paddock", of="p.name"),
        named("seed", None, of="compared.planned.product"),
        named("standing", None, of="p.standing.value"),
        named("spells", "Window", "window", _days_in(window_words), "p"),
        named("window", None, "window kept", of="p.window.value"),
        named("kept", name=None, of=lambda r: kept_words(r.p)),
        _days_off("too_early_days", "too early [days]"),
        _days_off("too_late_days", "too late [days]"),
        named("too_early_days", None, None, _DAYS, "p.too_early_days", why=_WORDS),
        named("too_late_days", None, None, _DAYS, "p.too_late_days", why=_WORDS),
        named("planned_for", quantity=_days_in(planned_words, _planned_on), of="p"),
        named("seeded_on", quantity=_days_in(done_words, _seeded_on), of="p"),
        named("began_late_days", None, "began late [days]", _DAYS, "p.began_late_days", why=_WORDS),
        named("ended_late_days", None, "ended late [days]", _DAYS, "p.ended_late_days", why=_WORDS),
        named("planned_m2", None, of="p.planned_m2"),
        named("done_m2", None, "seeded", of="p.done_m2"),
        joined("ground", "Ground seeded", lambda r, d: _ground(r.p, d), "done_m2 planned_m2"),
        named("in_window_m2", None, "seeded inside the window", of="p.in_window_m2", why=_WORDS),
        named(
            "share", None, "seeded share of planned", ROUNDED_SHARE, _share, json=False, why=_BOTH
        ),
        named("planned_kg", None, "planned seed", of="p.planned_kg"),
        named("applied_kg", None, "seed on the paddock", of="p.applied_kg"),
        joined("seed_on_it", "Seed on it", lambda r, d: _seed(r.p, d), "applied_kg planned_kg"),
        named("planned_grazing", None, "planned to be grazed from", _DAY, "p.planned.graze_from"),
        named("graze_from", quantity=_DAY, of="p.graze_from"),
        named("operations", None, quantity=NAMES, of="p.operations"),
        joined("strip", "", lambda r, _: r.strip.of(r.p) if r.strip else "", ""),
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


_COMPARED = _in_json(
    "planned_done",
    Column("plan", lambda c: asdict(c.planned.file), NESTED),
    Column("seed", "planned.product"),
    Column("planned_m2", "sums.planned_m2", AREA),
    Column("done_m2", "sums.done_m2", AREA),
    Column("planned_kg", "sums.planned_kg", MASS),
    Column("applied_kg", "sums.applied_kg", MASS),
    Column("besides_m2", "besides.done_m2", AREA),
    Column("besides_kg", "besides.applied_kg", MASS),
    nested("paddocks", PADDOCKS_COMPARED, _rows),
    Column("warnings", lambda c: sentences(c.findings, "warning"), NAMES),
)


def planned_done_frame(compared: PlannedDone, display: Display) -> pd.DataFrame:
    """A row for each paddock; days are ISO 8601, units stand in the column names."""
    return data_frame(PADDOCKS_COMPARED, _rows(compared), display)


def planned_done_record(compared: PlannedDone) -> dict[str, Any]:
    """Its part of the account, in SI units; what is not known is None."""
    return record(_COMPARED, compared)


def planned_done_page_table(compared: PlannedDone, display: Display) -> PageTable:
    """Every paddock of the plan beside what was done, and what was done besides."""
    rows, sums = _rows(compared), compared.sums
    table = page_table(PADDOCKS_COMPARED, rows, display)
    together = last_row(
        PADDOCKS_COMPARED,
        paddock="All planned",
        ground=_ground(sums, display),
        seed_on_it=_seed(sums, display),
    )
    strip = rows[0].strip if rows else None
    return replace(
        table,
        head=tuple(title or (strip.title if strip else "") for title in table.head),
        rows=[*table.rows, *([together] if len(rows) > 1 else ())],
    )
