"""Planned against done, paddock by paddock."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import asdict, replace
from typing import Any, NamedTuple

import pandas as pd

from evenacre.planning.interseeding.comparison import PaddockCompared, PlannedDone
from evenacre.reports import figure_text as figures
from evenacre.reports.column import (
    AREA,
    MASS,
    NAMES,
    NESTED,
    Column,
    Display,
    Quantity,
    Table,
    columns,
    plain_number,
    worded,
)
from evenacre.reports.maps.plan_against_done import KEY, Strip
from evenacre.reports.sentences.interseeding_words import days_text
from evenacre.reports.sentences.plan_against_done import (
    beside,
    done_words,
    kept_words,
    planned_words,
    short,
    window_words,
)
from evenacre.reports.writers.as_frame import data_frame
from evenacre.reports.writers.as_html import PageTable, page_table, sum_row
from evenacre.reports.writers.as_json import record, records

_DAY = worded(short, cell=lambda v: "" if v is None else str(v))
_DAYS = plain_number("d")
_GROUND = replace(AREA, text=lambda v, d, _: beside(*v, d.units.area))
_SEED = replace(MASS, text=lambda v, d, _: beside(*v, d.units.mass))
_PERCENT = Quantity(
    cell=lambda v, _: None if v is None else figures.significant([100 * v], 4)[0],
    text=lambda v, _, __: figures.share(v, 1.0),
    unit=lambda _: "%",
    si="1",
)
_WORDS = "the page says it in words"
_BOTH = "what it is made of is given by itself elsewhere"


class _Row(NamedTuple):
    """A paddock beside what was done."""

    compared: PlannedDone
    p: PaddockCompared
    strip: Strip | None


def _days_in(
    words: Callable[..., str], on_page: Callable[[PaddockCompared], str] | None = None
) -> Quantity:
    """Days of a paddock: whole in tables of data, short on the page."""
    return worded(on_page or (lambda p: words(p, short)), cell=words)


def _seeded(p: PaddockCompared) -> str:
    """Days done, and how late they ended."""
    late = p.ended_late_days
    if not p.operations:
        return "no log"
    if late is None:
        return done_words(p, short)
    side = f"{days_text(abs(late))} {'late' if late > 0 else 'early'}" if late else "on the day"
    return f"{done_words(p, short)} ({side})"


def _held(key: str) -> Callable[[_Row], Any]:
    """Days of a paddock that has a window and was seeded."""
    return lambda r: (
        getattr(r.p, key) if r.p.planned and r.p.planned.window and r.p.operations else None
    )


def _pair(done: str, planned: str) -> Callable[[_Row], Any]:
    return lambda r: (getattr(r.p, done), getattr(r.p, planned))


def _share(r: _Row) -> float | None:
    return r.p.done_m2 / r.p.planned_m2 if r.p.planned_m2 else None


def _planned_grazing(r: _Row) -> dt.date | None:
    return r.p.planned.graze_from if r.p.planned else None


def _planned(r: _Row) -> dict[str, Any] | None:
    return record(_PLANNED, r.p.planned) if r.p.planned else None


def _done(r: _Row) -> dict[str, Any] | None:
    return record(_DONE, r.p) if r.p.operations else None


_DAYS_SEEDED = Table("days", (Column("date", "day", _DAY), *columns(area_m2=AREA, seed_kg=MASS)))
_PLANNED = Table(
    "planned",
    (
        *columns(area_m2=AREA, seed_kg=MASS, graze_from=_DAY),
        Column(
            "spells",
            lambda p: p.window and [{"first": a, "last": b} for a, b in p.window.spells],
            NESTED,
        ),
        Column("days", lambda p: records(_DAYS_SEEDED, p.visits), NESTED),
    ),
)
_DONE = Table(
    "done",
    (
        Column("area_m2", "done_m2", AREA),
        Column("seed_kg", "applied_kg", MASS),
        Column("operations", lambda p: list(p.operations), NAMES),
        Column("days", lambda p: records(_DAYS_SEEDED, p.days), NESTED),
    ),
)

PADDOCKS_COMPARED = Table(
    "planned_done",
    (
        Column("paddock", "p.name", name="paddock", head="Paddock"),
        Column("seed", "compared.planned.product", name="seed"),
        Column("standing", "p.standing.value", name="standing"),
        Column("spells", "p", _days_in(window_words), name="window", head="Window"),
        Column("window", lambda r: r.p.window and r.p.window.value, name="window kept"),
        Column("kept", lambda r: kept_words(r.p), head="Kept"),
        Column("too_early", _held("too_early_days"), _DAYS, name="too early [days]", why=_WORDS),
        Column("too_late", _held("too_late_days"), _DAYS, name="too late [days]", why=_WORDS),
        Column("too_early_days", "p.too_early_days", _DAYS, why=_WORDS),
        Column("too_late_days", "p.too_late_days", _DAYS, why=_WORDS),
        Column(
            "planned_for",
            "p",
            _days_in(planned_words, lambda p: planned_words(p, short) or "not planned"),
            name="planned for",
            head="Planned for",
        ),
        Column("seeded_on", "p", _days_in(done_words, _seeded), name="seeded on", head="Seeded on"),
        Column("began_late_days", "p.began_late_days", _DAYS, name="began late [days]", why=_WORDS),
        Column("ended_late_days", "p.ended_late_days", _DAYS, name="ended late [days]", why=_WORDS),
        Column("planned_m2", "p.planned_m2", AREA, name="planned"),
        Column("done_m2", "p.done_m2", AREA, name="seeded"),
        Column("ground", _pair("done_m2", "planned_m2"), _GROUND, head="Ground seeded", why=_BOTH),
        Column("in_window_m2", "p.in_window_m2", AREA, name="seeded inside the window", why=_WORDS),
        Column("share", _share, _PERCENT, name="seeded share of planned", why=_BOTH),
        Column("planned_kg", "p.planned_kg", MASS, name="planned seed"),
        Column("applied_kg", "p.applied_kg", MASS, name="seed on the paddock"),
        Column("seed_kg", _pair("applied_kg", "planned_kg"), _SEED, head="Seed on it", why=_BOTH),
        Column("planned_grazing", _planned_grazing, _DAY, name="planned to be grazed from"),
        Column("graze_from", "p.graze_from", _DAY, name="graze from", head="Graze from"),
        Column("operations", "p.operations", NAMES, name="operations"),
        Column("strip", lambda r: r.strip and r.strip.of(r.p), head="", text=lambda v, _: v),
        Column("planned", _planned, NESTED, shows=("planned_m2", "planned_kg")),
        Column("done", _done, NESTED, shows=("done_m2", "applied_kg")),
    ),
    title="Paddock by paddock",
    json=(
        *("paddock", "standing", "window", "too_early_days", "too_late_days"),
        *("began_late_days", "ended_late_days", "in_window_m2", "graze_from", "planned", "done"),
    ),
    page=(
        *("paddock", "spells", "kept", "planned_for", "seeded_on", "graze_from"),
        *("strip", "ground", "seed_kg"),
    ),
    words=7,
    remark=(
        "Ground and seed stand beside what was planned; ground is counted once, however often "
        f"it was seeded, and seed is what landed on the paddock. {KEY} The same list is in "
        "tables/planned_done.csv."
    ),
)

_COMPARED = Table(
    "planned_done",
    (
        Column("plan", lambda c: asdict(c.planned.file), NESTED),
        Column("seed", "planned.product"),
        Column("planned_m2", "sums.planned_m2", AREA),
        Column("done_m2", "sums.done_m2", AREA),
        Column("planned_kg", "sums.planned_kg", MASS),
        Column("applied_kg", "sums.applied_kg", MASS),
        Column("besides_m2", "besides.done_m2", AREA),
        Column("besides_kg", "besides.applied_kg", MASS),
        Column("paddocks", lambda c: records(PADDOCKS_COMPARED, _rows(c)), NESTED),
        Column("warnings", lambda c: list(c.warnings), NESTED),
    ),
)


def _rows(compared: PlannedDone) -> list[_Row]:
    strip = Strip.over(compared.paddocks)
    return [_Row(compared, p, strip) for p in compared.paddocks]


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
    together = sum_row(
        PADDOCKS_COMPARED,
        display,
        paddock="All planned",
        ground=(sums.done_m2, sums.planned_m2),
        seed_kg=(sums.applied_kg, sums.planned_kg),
    )
    strip = rows[0].strip if rows else None
    return replace(
        table,
        head=tuple(title or (strip.title if strip else "") for title in table.head),
        rows=[*table.rows, *([together] if len(rows) > 1 else ())],
    )
