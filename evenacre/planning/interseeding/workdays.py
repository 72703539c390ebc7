"""The hours of each day that the drill has: daylight, less bookings and days lost to weather."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from zoneinfo import ZoneInfo

from astral import Observer
from astral.sun import elevation, sunrise, sunset

from evenacre.model import Booking, Seeding
from evenacre.planning.interseeding.nouns import WorkDay

_DAY_S = 86400.0


def work_days(
    days: Sequence[dt.date], seeding: Seeding, lon: float, lat: float, time_zone: str | None
) -> tuple[WorkDay, ...]:
    """Work out the time for the drill on each day.

    Parameters
    ----------
    days : sequence of date
    seeding : Seeding
    lon, lat : float
        Degrees, for sunrise and sunset.
    time_zone : str or None
        An IANA name; None: local mean time, from the longitude.

    Returns
    -------
    tuple of WorkDay
        The time starts at ``day_from_s`` or sunrise, whichever is later, and ends likewise;
        ``hours_most_s`` caps it. Of that, bookings take their part, and a day known as lost
        has none.
    """
    zone = ZoneInfo(time_zone) if time_zone else dt.timezone(dt.timedelta(hours=lon / 15))
    return tuple(_work_day(day, seeding, daylight_s(day, lon, lat, zone)) for day in days)


def daylight_s(day: dt.date, lon: float, lat: float, zone: dt.tzinfo) -> tuple[float, float]:
    """Clock times of sunrise and sunset, in seconds after local midnight.

    Under a midnight sun the whole day, in the polar night none of it.
    """
    where = Observer(latitude=lat, longitude=lon)
    try:
        rise = sunrise(where, date=day, tzinfo=zone)
        fall = sunset(where, date=day, tzinfo=zone)
    except ValueError:  # the sun does not cross the horizon
        noon = dt.datetime.combine(day, dt.time(12), zone)
        return (0.0, _DAY_S) if elevation(where, noon) > 0 else (0.0, 0.0)
    return _clock_s(rise, day), _clock_s(fall, day)


def _clock_s(moment: dt.datetime, day: dt.date) -> float:
    local = moment.replace(tzinfo=None)
    return (local - dt.datetime.combine(day, dt.time())).total_seconds()


def _work_day(day: dt.date, seeding: Seeding, light: tuple[float, float]) -> WorkDay:
    start = max(light[0], seeding.day_from_s or 0.0)
    end = min(light[1], _DAY_S if seeding.day_to_s is None else seeding.day_to_s)
    open_s = max(end - start, 0.0)
    if seeding.hours_most_s is not None:
        open_s = min(open_s, seeding.hours_most_s)
    bookings = [b for b in seeding.bookings if b.first <= day <= b.last]
    booked = min(sum(_hours_s(b, open_s) for b in bookings), open_s)
    lost = day in seeding.lost_days
    full = 0.0 if lost else open_s - booked
    return WorkDay(
        day=day,
        start_s=start,
        full_s=full,
        planned_s=full * (1.0 - seeding.lost_chance),
        lost=lost,
        booked_s=booked,
        booked_for=tuple(b.what for b in bookings),
    )


def _hours_s(booking: Booking, open_s: float) -> float:
    return open_s if booking.hours_s is None else booking.hours_s
