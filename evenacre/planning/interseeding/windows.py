"""When paddocks can be seeded: the days that rules leave open, and the time each day has."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from zoneinfo import ZoneInfo

import numpy as np
from astral import Observer
from astral.sun import elevation, noon, sunrise, sunset

from evenacre.errors import InputError
from evenacre.model import FloatArray, Grazing, IntArray, Paddock, Seeding, Stay
from evenacre.model.finding import Finding
from evenacre.planning.interseeding.grazing import grown
from evenacre.planning.interseeding.plan_types import (
    GrazingPlan,
    PlannedStay,
    Rule,
    SeedingWindow,
    WorkDay,
)

_DAY_S = 86400.0
_NOON_S = _DAY_S / 2
_DAY = dt.timedelta(days=1)
# Where nothing tells a date at all, nothing is open on it either.
_SOME_DAY = dt.date(2000, 1, 1)
# Days beyond the windows, so that what a wider window would do can be told.
_ROOM = 14 * _DAY
_MOST = 20 * 366 * _DAY
# A limit is exceeded by more than the rounding of outlines and areas.
_ROUNDING = 1e-6


def plan_days(grazing: Grazing, herd: GrazingPlan, seeding: Seeding) -> tuple[dt.date, ...]:
    """List the days in question: from the first move out to the last day a window may close.

    Windows that the user decided widen them; the first and last day of seeding bound them.
    There is room on both sides, so that it can be told what a wider window would do. Never
    empty; more years than anyone plans are refused.
    """
    paddocks = {p.field.name: p for p in grazing.paddocks if p.seeded}
    given = [p.window for p in paddocks.values() if p.window is not None]
    left = [s.stay.leave for s in herd.stays if s.stay.paddock in paddocks]
    if seeding.ready and seeding.ready_day is not None:
        left.append(seeding.ready_day)
    closing = dt.timedelta(days=seeding.closes_after_days)
    some = seeding.first_day or seeding.last_day or grazing.start or _SOME_DAY
    first = min([*left, *(w[0] for w in given)], default=some)
    last = max([*(day + closing for day in left), *(w[1] for w in given)], default=first)
    begin = max(first - _DAY, (seeding.first_day or first) - _ROOM)
    end = max(min(last, seeding.last_day or last), begin, seeding.from_day or begin) + _ROOM
    if end - begin > _MOST:
        what = f"The days in question go from {begin} to {end}, more than twenty years."
        raise InputError.at("seeding", "", what, "Check the dates of grazing, moves and seeding.")
    return tuple(begin + n * _DAY for n in range((end - begin).days + 1))


def seeding_windows(
    grazing: Grazing, herd: GrazingPlan, seeding: Seeding, days: Sequence[dt.date]
) -> tuple[SeedingWindow, ...]:
    """Work out when each paddock that is to be seeded may be seeded, of consecutive days.

    A day counts from the last move out before it, so a paddock grazed again opens again. The stays
    of the herd are in order of time.
    """
    windows = []
    for paddock in grazing.paddocks:
        if not paddock.seeded:
            continue
        name = paddock.field.name
        stays = [s for s in herd.stays if s.stay.paddock == name]
        blocked = _blocked(paddock, stays, seeding, days)
        ready = name in seeding.ready
        window = SeedingWindow(
            name, None, None, None, None, *_stays_about(stays, None, None), blocked, ready
        )
        found = np.flatnonzero(window.open_days)
        if len(found):
            first, last = int(found[0]), int(found[-1])
            rules = (_binding(blocked, first - 1), _binding(blocked, last + 1))
            about = _stays_about(stays, days[first], days[last])
            window = SeedingWindow(name, days[first], days[last], *rules, *about, blocked, ready)
        windows.append(window)
    return tuple(windows)


def window_findings(
    grazing: Grazing, herd: GrazingPlan, seeding: Seeding, windows: Sequence[SeedingWindow]
) -> tuple[Finding, ...]:
    """Tell what keeps windows from being what was meant.

    Limits on what stands where that is not known, and windows that the user decided but that
    the days counted from the herd's leaving cut short.
    """
    limits = (seeding.residual_most_kg_per_m2, seeding.regrowth_most_kg_per_m2)
    seeded = {p.field.name for p in grazing.paddocks if p.seeded}
    unknown = dict.fromkeys(
        s.stay.paddock
        for s in herd.stays
        if s.residual_kg_per_m2 is None and s.stay.paddock in seeded
    )
    found = []
    if unknown and any(limit is not None for limit in limits):
        found.append(Finding.warning("residual_unknown", paddocks=tuple(unknown)))
    counted = (Rule.WAIT, Rule.CLOSE)
    given = {p.field.name for p in grazing.paddocks if p.window is not None}
    for window in windows:
        others = [window.blocked[rule] for rule in Rule if rule not in counted]
        cut = ~window.open_days & ~np.logical_or.reduce(others)
        if window.paddock in given and cut.any():
            days = int(cut.sum())
            found.append(Finding.warning("window_cut_short", paddock=window.paddock, days=days))
    return tuple(found)


def _blocked(
    paddock: Paddock, stays: Sequence[PlannedStay], seeding: Seeding, days: Sequence[dt.date]
) -> dict[Rule, FloatArray]:
    """For each rule how far it would have to move to allow each day (see ``SeedingWindow``)."""
    day = _ordinals(days)
    begin = seeding.ready_day if paddock.field.name in seeding.ready else None
    if begin is not None:  # as if the herd left it that day; what it did before is not asked
        stays = [s for s in stays if s.stay.enter > begin]
        stood = PlannedStay(Stay(paddock.field.name, begin, begin), None, None, None, None, 0.0)
        stays = [stood, *stays]
    enter = _ordinals([s.stay.enter for s in stays])
    leave = _ordinals([s.stay.leave for s in stays])
    # The last stay that is over by each day, -1 where there is none; the next one begins after.
    before = np.searchsorted(leave, day, side="right") - 1
    grazed = before >= 0
    since = np.where(grazed, day - np.append(leave, 0)[before], 0)
    following = np.searchsorted(enter, day, side="right")
    until = np.append(enter, np.iinfo(np.int64).max // 2)[following] - day
    inside = following - 1 != before
    none = np.zeros_like(grazed)
    untold = ~none if not stays and paddock.window is None else none
    if begin is not None:
        untold = day < begin.toordinal()
    ungrazed = ~grazed if stays and begin is None else none
    waits = grazed & (before > 0) if begin is not None else grazed

    residual = np.array([*(s.residual_kg_per_m2 for s in stays), None], dtype=float)[before]
    standing = grown(paddock, residual, since)
    opens, closes = seeding.opens_after_days, seeding.closes_after_days
    return {
        Rule.HERD: np.where(inside | ungrazed, np.inf, 0.0),
        Rule.WAIT: np.where(waits, np.minimum(since - opens, 0.0), 0.0),
        Rule.RESIDUAL: _above(residual, seeding.residual_most_kg_per_m2),
        Rule.CLOSE: np.where(grazed, np.maximum(since - closes, 0.0), 0.0),
        Rule.REGROWTH: _above(standing, seeding.regrowth_most_kg_per_m2),
        Rule.REGRAZE: np.maximum(seeding.ungrazed_days - until, 0.0),
        Rule.GIVEN: _outside(day, *(paddock.window or (None, None))),
        Rule.SEASON: _outside(day, seeding.first_day, seeding.last_day),
        Rule.WET: _outside(day, paddock.not_before, None),
        Rule.UNTOLD: np.where(untold, np.inf, 0.0),
    }


def _ordinals(days: Sequence[dt.date]) -> IntArray:
    return np.array([day.toordinal() for day in days], dtype=np.int64)


def _above(standing: FloatArray, most: float | None) -> FloatArray:
    """How much more stands than the limit; nothing where that is not known."""
    if most is None:
        return np.zeros_like(standing)
    return np.where(standing > most * (1 + _ROUNDING), standing - most, 0.0)


def _outside(day: IntArray, first: dt.date | None, last: dt.date | None) -> FloatArray:
    early, late = (first or dt.date.min).toordinal(), (last or dt.date.max).toordinal()
    return np.minimum(day - early, 0.0) + np.maximum(day - late, 0.0)


def _binding(blocked: dict[Rule, FloatArray], index: int) -> Rule | None:
    """Name the first rule that forbids a day; None past either end of the days."""
    count = len(next(iter(blocked.values())))
    if not 0 <= index < count:
        return None
    return next(rule for rule, forbids in blocked.items() if forbids[index])


def _stays_about(
    stays: Sequence[PlannedStay], opens: dt.date | None, closes: dt.date | None
) -> tuple[dt.date | None, dt.date | None]:
    """When the herd left before a window, and when it is back after it."""
    leaves = [s.stay.leave for s in stays if opens is None or s.stay.leave <= opens]
    left = (min(leaves) if opens is None else max(leaves)) if leaves else None
    since = closes or left
    later = [s.stay.enter for s in stays if since is not None and s.stay.enter > since]
    return left, min(later, default=None)


def work_days(
    days: Sequence[dt.date], seeding: Seeding, lon: float, lat: float, time_zone: str | None
) -> tuple[WorkDay, ...]:
    """Work out how long the drill of a farm at a place, in degrees, can work on each day.

    From the daylight within the hours the drill may work, at most ``hours_most_s`` is used;
    bookings take their time from that. A day that is known to be lost, or is over, has none.
    Without a time zone, an IANA name, clocks show local mean time: four minutes from UTC for each
    degree.
    """
    zone = ZoneInfo(time_zone) if time_zone else _mean_time(lon)
    return tuple(_work_day(day, *daylight_s(day, lon, lat, zone), seeding) for day in days)


def daylight_s(day: dt.date, lon: float, lat: float, zone: dt.tzinfo) -> tuple[float, float]:
    """Sunrise and sunset as clock times, in seconds after local midnight.

    Where clocks are far ahead of or behind the sun a time may be below 0 or past 24 hours.
    Where the sun does not set it is light from 0 to 24 hours; where it does not rise both
    times are noon.
    """
    solar = _mean_time(lon)
    # The sun's own day: the one that noon by the clock falls in.
    there = dt.datetime.combine(day, dt.time(12), zone).astimezone(solar).date()
    # At Greenwich the sun keeps the same hours by mean time, to half of what a day changes
    # (a minute or so at 45 degrees). The library counts days by UTC: far from Greenwich it
    # misses the crossing that passes midnight UTC from one day to the next.
    greenwich = Observer(lat, 0.0)
    try:
        rises, sets = sunrise(greenwich, there), sunset(greenwich, there)
    except ValueError:  # it does not cross the horizon
        rises = sets = noon(greenwich, there)
    if sets <= rises:
        up = elevation(greenwich, noon(greenwich, there)) > 0.0
        return (0.0, _DAY_S) if up else (_NOON_S, _NOON_S)
    return _clock_s(rises, solar, day, zone), _clock_s(sets, solar, day, zone)


def _mean_time(lon: float) -> dt.timezone:
    return dt.timezone(dt.timedelta(seconds=round(lon * _DAY_S / 360.0)))


def _clock_s(greenwich: dt.datetime, solar: dt.tzinfo, day: dt.date, zone: dt.tzinfo) -> float:
    """What the clock shows when it is as late by the sun, counted from midnight of the day."""
    shown = greenwich.replace(tzinfo=solar).astimezone(zone).replace(tzinfo=None)
    return (shown - dt.datetime.combine(day, dt.time())).total_seconds()


def _work_day(day: dt.date, rises_s: float, sets_s: float, seeding: Seeding) -> WorkDay:
    begin = rises_s if seeding.day_from_s is None else max(rises_s, seeding.day_from_s)
    end = sets_s if seeding.day_to_s is None else min(sets_s, seeding.day_to_s)
    if seeding.from_day is not None and day < seeding.from_day:
        return WorkDay(day, begin, 0.0, 0.0)
    length_s = max(end - begin, 0.0)
    if seeding.hours_most_s is not None:
        length_s = min(length_s, seeding.hours_most_s)

    bookings = [b for b in seeding.bookings if b.first <= day <= b.last]
    taken = (length_s if b.hours_s is None else b.hours_s for b in bookings)
    booked_s = min(sum(taken), length_s)
    lost = day in seeding.lost_days
    full_s = 0.0 if lost else length_s - booked_s
    return WorkDay(
        day=day,
        start_s=begin,
        full_s=full_s,
        planned_s=full_s * (1.0 - seeding.lost_chance),
        lost=lost,
        booked_s=booked_s,
        booked_for=tuple(dict.fromkeys(b.what for b in bookings)),
    )
