"""Planned against done: the paddocks of a plan beside the audit of the same ground."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from evenacre.geo.overlay import union
from evenacre.model import UNDATED_S, BoolArray, FloatArray, PlannedPaddock, PlannedSeeding
from evenacre.model.audit_result import AuditResult, ProductResult
from evenacre.model.finding import Finding

_SPECK = 0.01  # of a job: a try of the drill, or minutes past midnight, are no day of seeding


class PaddockStanding(StrEnum):
    """How a paddock stands to the plan."""

    DONE = "done"
    NOT_LOGGED = "not logged"  # planned, but no log of it
    UNPLANNED = "done, not planned"
    LEFT = "neither planned nor done"  # to be seeded, but the plan had no room for it


class WindowVerdict(StrEnum):
    """Whether seeding kept to the window."""

    KEPT = "kept"
    PART = "kept in part"
    MISSED = "missed"
    UNDATED = "day not known"


@dataclass(frozen=True)
class DoneDay:
    """A day of seeding."""

    day: dt.date | None  # None: neither log nor season file tells
    area_m2: float  # ground covered
    seed_kg: float | None  # on the field; None: neither log nor target tells


@dataclass(frozen=True)
class PaddockCompared:
    """One paddock, planned and done."""

    name: str
    planned: PlannedPaddock | None  # None: the plan does not know it
    operations: tuple[str, ...] = ()  # that seeded it
    # When, in order of time; ground covered on two days counts on both
    days: tuple[DoneDay, ...] = ()
    done_m2: float = 0.0  # workable ground covered, once however often
    applied_kg: float | None = 0.0  # seed that landed on it; None: neither log nor target tell
    window: WindowVerdict | None = None  # None: nothing was done, or there was no window to keep
    # Of ``done_m2``; None as ``window``, and where the day is not known
    in_window_m2: float | None = None
    # The farthest a day of seeding lies before the window opens and after it closes
    too_early_days: int = 0
    too_late_days: int = 0
    # First and last day done less first and last day planned; below 0: early
    began_late_days: int | None = None
    ended_late_days: int | None = None
    graze_from: dt.date | None = None  # first day it may be grazed, counted from the last day done

    @property
    def planned_m2(self) -> float:
        """Ground to be seeded."""
        return self.planned.area_m2 if self.planned else 0.0

    @property
    def planned_kg(self) -> float:
        """Seed to be put on it."""
        return self.planned.seed_kg if self.planned else 0.0

    @property
    def dated(self) -> bool:
        """Whether every day it was seeded is known."""
        return all(one.day is not None for one in self.days)

    @property
    def standing(self) -> PaddockStanding:
        """How it stands to the plan."""
        if self.planned is None or not self.planned.visits:
            return PaddockStanding.UNPLANNED if self.operations else PaddockStanding.LEFT
        return PaddockStanding.DONE if self.operations else PaddockStanding.NOT_LOGGED


@dataclass(frozen=True)
class SeededTotals:
    """Ground and seed of several paddocks; ``applied_kg`` is None where one is not known."""

    planned_m2: float
    done_m2: float
    planned_kg: float
    applied_kg: float | None


@dataclass(frozen=True)
class PlannedDone:
    """A whole plan beside what was done."""

    planned: PlannedSeeding
    paddocks: tuple[PaddockCompared, ...]  # in the order of the plan, then what it does not know
    findings: tuple[Finding, ...] = ()

    def of(self, *standings: PaddockStanding) -> list[PaddockCompared]:
        """Paddocks that stand so to the plan."""
        return [p for p in self.paddocks if p.standing in standings]

    @property
    def sums(self) -> SeededTotals:
        """Of the paddocks that the plan had a day for."""
        return _sums(self.of(PaddockStanding.DONE, PaddockStanding.NOT_LOGGED))

    @property
    def besides(self) -> SeededTotals:
        """Of what was seeded though not planned."""
        return _sums(self.of(PaddockStanding.UNPLANNED))


def _sums(paddocks: Sequence[PaddockCompared]) -> SeededTotals:
    amounts = [p.applied_kg for p in paddocks]
    known = [kg for kg in amounts if kg is not None]
    return SeededTotals(
        planned_m2=sum(p.planned_m2 for p in paddocks),
        done_m2=sum(p.done_m2 for p in paddocks),
        planned_kg=sum(p.planned_kg for p in paddocks),
        applied_kg=sum(known) if len(known) == len(amounts) else None,
    )


def compare(planned: PlannedSeeding, results: Iterable[AuditResult]) -> PlannedDone:
    """Hold a plan of interseeding against the audit of the same paddocks.

    An operation belongs to the paddock of its field's name when it placed the planned seed:
    the product itself, or every part of the blend. Several of them add up.
    """
    every = list(results)
    seeded: dict[str, list[AuditResult]] = {}
    for result in every:
        if _sown(result, planned) and result.covered_area_m2 > 0:
            seeded.setdefault(result.field, []).append(result)
    known = {paddock.name: paddock for paddock in planned.paddocks}
    wanted = [n for n, p in known.items() if p.window is not None or p.visits or n in seeded]
    compared = tuple(
        _paddock(name, known.get(name), seeded.get(name, []), planned)
        for name in dict.fromkeys((*wanted, *seeded))
    )
    return PlannedDone(planned, compared, tuple(_findings(planned, compared, every)))


def _sown(result: AuditResult, planned: PlannedSeeding) -> list[ProductResult]:
    """What an operation placed of the planned seed; nothing unless it is the whole blend."""
    by_name = {p.product: p for p in result.products}
    parts = [name for name in planned.parts if name in by_name]
    names = [planned.product, *(parts if len(parts) == len(planned.parts) else ())]
    return [by_name[name] for name in dict.fromkeys(names) if name in by_name]


def _paddock(
    name: str,
    planned: PlannedPaddock | None,
    results: Sequence[AuditResult],
    seeding: PlannedSeeding,
) -> PaddockCompared:
    if not results:
        return PaddockCompared(name, planned)
    days = _by_date(day for r in results for day in done_days(r, _sown(r, seeding)))
    amounts = [day.seed_kg for day in days]
    done_m2 = results[0].covered_area_m2
    if len(results) > 1:  # ground that one job or more covered
        plane = results[0].crs
        covers = [r.layers["cover"].geometry.to_crs(plane).to_numpy() for r in results]
        done_m2 = float(union(np.concatenate(covers)).area)
    compared = PaddockCompared(
        name=name,
        planned=planned,
        operations=tuple(r.operation for r in results),
        days=days,
        done_m2=done_m2,
        applied_kg=None if None in amounts else sum(kg or 0.0 for kg in amounts),
    )
    return replace(compared, **_judged(compared, seeding.rest_days))


def _by_date(days: Iterable[DoneDay]) -> tuple[DoneDay, ...]:
    """Add up the jobs of one day; days in order, an unknown one last."""
    found: dict[dt.date | None, DoneDay] = {}
    for one in days:
        same = found.get(one.day, DoneDay(one.day, 0.0, 0.0))
        unknown = same.seed_kg is None or one.seed_kg is None
        kg = None if unknown else (same.seed_kg or 0.0) + (one.seed_kg or 0.0)
        found[one.day] = DoneDay(one.day, same.area_m2 + one.area_m2, kg)
    return tuple(sorted(found.values(), key=lambda d: (d.day is None, d.day or dt.date.max)))


def _judged(done: PaddockCompared, rest_days: int | None) -> dict[str, Any]:
    """Hold the days done against the days planned and the window."""
    planned = done.planned
    window = planned.window if planned else None
    known = [one.day for one in done.days if one.day is not None]
    if not done.dated:
        return {"window": WindowVerdict.UNDATED if window else None}
    found: dict[str, Any] = {}
    if rest_days is not None:
        found["graze_from"] = known[-1] + dt.timedelta(days=rest_days)
    if planned and planned.visits:
        found["began_late_days"] = (known[0] - planned.visits[0].day).days
        found["ended_late_days"] = (known[-1] - planned.visits[-1].day).days
    if window is None:
        return found
    off = [window.days_outside(day) for day in known]
    beyond = [days for days in off if days]
    inside = sum(d.area_m2 for d, days in zip(done.days, off, strict=True) if days == 0)
    verdict = WindowVerdict.PART if inside else WindowVerdict.MISSED
    return found | {
        "window": verdict if any(days != 0 for days in off) else WindowVerdict.KEPT,
        "in_window_m2": done.done_m2 * inside / sum(d.area_m2 for d in done.days),
        "too_early_days": max((-days for days in beyond if days < 0), default=0),
        "too_late_days": max((days for days in beyond if days > 0), default=0),
    }


def _findings(
    planned: PlannedSeeding, compared: Sequence[PaddockCompared], results: Sequence[AuditResult]
) -> Iterator[Finding]:
    """Say what could not be counted, and where the herd would come too soon."""
    if not {paddock.name for paddock in planned.paddocks} & {result.field for result in results}:
        yield Finding.warning("no_paddock_audited")
    for p in compared:
        others = [] if p.operations else [r for r in results if r.field == p.name]
        for r in others:
            placed = tuple(product.product for product in r.products) or ("nothing known",)
            yield Finding.warning(
                "other_seed", operation=r.operation, placed=placed, product=planned.product
            ).at(p.name)
        if not p.dated:
            yield Finding.warning("seeding_undated").at(p.name)
        back = p.planned.window.back if p.planned and p.planned.window else None
        if back is not None and p.graze_from is not None and back < p.graze_from:
            yield Finding.warning(
                "herd_back_too_soon", back=str(back), graze_from=str(p.graze_from)
            ).at(p.name)


def done_days(result: AuditResult, products: Sequence[ProductResult]) -> list[DoneDay]:
    """Share what a job placed of some products among the calendar days of its time zone.

    The covered ground is shared as the ground swept is, the products as what was metered.
    Where the log tells no dates, all of it is of the operation's own.
    """
    untold = any(p.source == "target" and p.target_kg_per_m2 is None for p in products)
    mass = None if untold else sum(p.applied_in_field_kg for p in products)
    totals = result.totals
    time_s = np.zeros(0) if totals is None else totals.time_s
    dated = len(time_s) > 1 and np.isfinite(time_s).all() and time_s[-1] >= UNDATED_S
    if totals is None or not dated:
        day = dt.date.fromisoformat(result.date) if result.date else None
        return [DoneDay(day, result.covered_area_m2, mass)]
    # Without a zone the log's own clock tells the day.
    zone = ZoneInfo(result.time_zone) if result.time_zone else dt.UTC
    first, last = (dt.datetime.fromtimestamp(float(t), zone).date() for t in time_s[[0, -1]])
    days = [first + dt.timedelta(days=i) for i in range((last - first).days + 2)]
    midnights = [dt.datetime.combine(day, dt.time(), zone).timestamp() for day in days]

    def parts(running: FloatArray) -> FloatArray:
        """What of a running total falls on each day."""
        return np.diff(np.interp(midnights, time_s, running))

    swept = parts(totals.swept_m2)
    counted = swept >= _SPECK * swept.sum()
    ground = _shares(swept, counted)
    metered = [totals.metered_kg[p.product] for p in products if p.product in totals.metered_kg]
    out = [parts(running) for running in metered]
    seed = _shares(np.sum(out, axis=0), counted) if np.sum(out) > 0 else ground
    return [
        DoneDay(
            days[i],
            float(ground[i] * result.covered_area_m2),
            None if mass is None else float(seed[i] * mass),
        )
        for i in np.flatnonzero(counted)
    ]


def _shares(parts: FloatArray, counted: BoolArray) -> FloatArray:
    """Shares of the days that count; equal ones of nothing."""
    kept = np.where(counted, parts, 0.0)
    return kept / kept.sum() if kept.sum() > 0 else counted / counted.sum()
