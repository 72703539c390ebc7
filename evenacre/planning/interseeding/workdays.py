"""The time each day has for the drill: daylight, the hours it may work, bookings, weather."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from zoneinfo import ZoneInfo

from astral import Observer
from astral.sun import elevation, noon, sunrise, sunset

from evenacre.model import Seeding
from evenacre.planning.interseeding.plan_types import WorkDay

_DAY_S = 86400.0
_NOON_S = _DAY_S / 2


def work_days(
    days: Sequence[dt.date], seeding: Seeding, lon: float, lat: float, time_zone: str | None
) -> tuple[WorkDay, ...]:
    """Work out how long the drill of a farm at a place, in degrees, can work on each day.

    From the daylight within the hours the drill may work, at most ``hours_most_s`` is used;
    bookings take their time from that. A day that is known to be lost has none. Without a time
    zone, an IANA name, clocks show local mean time: four minutes from UTC for each degree.
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
