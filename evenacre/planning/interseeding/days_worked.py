"""The days on which an audited job was done, and how much of it on each."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np

from evenacre.model import UNDATED_S, BoolArray, FloatArray
from evenacre.model.audit_result import AuditResult, ProductResult

_SPECK = 0.01  # of a job: a try of the drill, or minutes past midnight, are no day of seeding


@dataclass(frozen=True)
class DoneDay:
    """A day of seeding."""

    day: dt.date | None  # None: neither log nor season file tells
    area_m2: float  # ground covered
    seed_kg: float | None  # on the field; None: neither log nor target tells


def applied_kg(products: Iterable[ProductResult]) -> float | None:
    """Mass of some products on the field; None where neither log nor target tells."""
    amounts = list(products)
    if any(p.source == "target" and p.target_kg_per_m2 is None for p in amounts):
        return None
    return sum(p.applied_in_field_kg for p in amounts)


def done_days(result: AuditResult, products: Sequence[ProductResult]) -> list[DoneDay]:
    """Share a job among the calendar days of its time zone.

    The covered ground is shared as the ground swept is, the products as what was metered.
    Where the log tells no dates, all of it is of the operation's own.

    Parameters
    ----------
    products : sequence of ProductResult
        Of that result, to be added up.
    """
    mass = applied_kg(products)
    totals = result.totals
    if totals is None or not _dated(totals.time_s):
        day = dt.date.fromisoformat(result.date) if result.date else None
        return [DoneDay(day, result.covered_area_m2, mass)]
    days, midnights = _calendar(totals.time_s, result.time_zone)
    swept = _parts(totals.time_s, totals.swept_m2, midnights)
    counted = swept >= _SPECK * swept.sum()
    ground = _shares(swept, counted)
    metered = [totals.metered_kg[p.product] for p in products if p.product in totals.metered_kg]
    out = [_parts(totals.time_s, running, midnights) for running in metered]
    seed = _shares(np.sum(out, axis=0), counted) if np.sum(out) > 0 else ground
    return [
        DoneDay(
            days[i],
            float(ground[i] * result.covered_area_m2),
            None if mass is None else float(seed[i] * mass),
        )
        for i in np.flatnonzero(counted)
    ]


def _dated(time_s: FloatArray) -> bool:
    return len(time_s) > 1 and bool(np.isfinite(time_s).all()) and time_s[-1] >= UNDATED_S


def _calendar(time_s: FloatArray, time_zone: str | None) -> tuple[list[dt.date], FloatArray]:
    """Every day from the first time to the last, and the midnights that begin and end them.

    Without a zone the log's own clock tells the day.
    """
    zone = ZoneInfo(time_zone) if time_zone else dt.UTC
    first, last = (dt.datetime.fromtimestamp(float(t), zone).date() for t in time_s[[0, -1]])
    days = [first + dt.timedelta(days=i) for i in range((last - first).days + 2)]
    edges = [dt.datetime.combine(day, dt.time(), zone).timestamp() for day in days]
    return days[:-1], np.array(edges)


def _parts(time_s: FloatArray, running: FloatArray, midnights: FloatArray) -> FloatArray:
    """What of a running total falls on each day."""
    parts: FloatArray = np.diff(np.interp(midnights, time_s, running))
    return parts


def _shares(parts: FloatArray, counted: BoolArray) -> FloatArray:
    """Shares of the days that count; equal ones of nothing."""
    kept = np.where(counted, parts, 0.0)
    return kept / kept.sum() if kept.sum() > 0 else counted / counted.sum()
