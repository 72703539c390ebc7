"""The drill's hours: sunrise by an independent formula, clocks, polar days, bookings, weather."""

from __future__ import annotations

import datetime as dt
import itertools
import math
from dataclasses import replace
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pastures import seeding

from evenacre.model import Booking
from evenacre.planning.interseeding.windows import daylight_s, work_days

HOUR = 3600.0
# A farm in north-central Missouri.
LON, LAT, ZONE = -92.6, 40.1, "America/Chicago"


def noaa(day: dt.date, lon: float, lat: float) -> tuple[float, float] | None:
    """Sunrise and sunset, hours after midnight UTC; None: the sun does not cross the horizon.

    NOAA Global Monitoring Laboratory, General Solar Position Calculations: short series for
    the equation of time and the declination, 90.833 degrees for refraction and the disk.
    """
    g = 2 * math.pi / 365 * (day.timetuple().tm_yday - 1)
    equation_min = 229.18 * (
        0.000075
        + 0.001868 * math.cos(g)
        - 0.032077 * math.sin(g)
        - 0.014615 * math.cos(2 * g)
        - 0.040849 * math.sin(2 * g)
    )
    declination = (
        0.006918
        - 0.399912 * math.cos(g)
        + 0.070257 * math.sin(g)
        - 0.006758 * math.cos(2 * g)
        + 0.000907 * math.sin(2 * g)
        - 0.002697 * math.cos(3 * g)
        + 0.00148 * math.sin(3 * g)
    )
    phi = math.radians(lat)
    cosine = math.cos(math.radians(90.833)) / (math.cos(phi) * math.cos(declination)) - math.tan(
        phi
    ) * math.tan(declination)
    if abs(cosine) >= 1:
        return None
    half_min = 4 * math.degrees(math.acos(cosine))
    noon_min = 720 - 4 * lon - equation_min
    return (noon_min - half_min) / 60, (noon_min + half_min) / 60


@given(
    st.dates(dt.date(2020, 1, 1), dt.date(2035, 12, 31)),
    st.floats(-180, 180),
    st.floats(-55, 55),
)
@settings(max_examples=100, deadline=None)
def test_daylight_agrees_with_noaa_s_formula(day: dt.date, lon: float, lat: float) -> None:
    sun = noaa(day, lon, lat)
    assert sun is not None
    (mean,) = work_days([day], seeding(), lon, lat, None)
    # Local mean time is four minutes from UTC for each degree.
    assert mean.start_s / HOUR == pytest.approx(sun[0] + lon / 15, abs=5 / 60)
    assert mean.full_s / HOUR == pytest.approx(sun[1] - sun[0], abs=8 / 60)


@pytest.mark.parametrize(
    ("day", "ahead"),
    [
        (dt.date(2026, 3, 7), -6),
        (dt.date(2026, 3, 8), -5),  # clocks go forward in the United States
        (dt.date(2026, 6, 21), -5),
        (dt.date(2026, 10, 31), -5),
        (dt.date(2026, 11, 1), -6),  # and back
        (dt.date(2026, 12, 21), -6),
    ],
)
def test_clock_times_keep_daylight_saving(day: dt.date, ahead: int) -> None:
    sun = noaa(day, LON, LAT)
    assert sun is not None
    rises, sets = daylight_s(day, LON, LAT, ZoneInfo(ZONE))
    assert rises / HOUR == pytest.approx(sun[0] + ahead, abs=5 / 60)
    assert sets / HOUR == pytest.approx(sun[1] + ahead, abs=5 / 60)


@pytest.mark.parametrize(
    ("zone", "lon", "lat", "ahead"),
    [
        ("Pacific/Kiritimati", -157.4, 1.9, 14),  # a day ahead of its sun
        ("Pacific/Auckland", 175.0, -38.0, 12),
        ("Asia/Urumqi", 87.6, 43.8, 6),
        ("Asia/Shanghai", 76.0, 39.5, 8),  # sun and clock are three hours apart
        ("Pacific/Fiji", 181.0, -17.0, 12),  # longitudes run on past 180 there
    ],
)
def test_far_from_greenwich_it_is_still_that_day(
    zone: str, lon: float, lat: float, ahead: int
) -> None:
    day = dt.date(2026, 5, 20)
    sun = noaa(day, (lon + 180) % 360 - 180, lat)
    assert sun is not None
    (work,) = work_days([day], seeding(), lon, lat, zone)
    assert (work.start_s / HOUR - sun[0] - ahead + 12) % 24 - 12 == pytest.approx(0, abs=5 / 60)
    assert 3 * HOUR < work.start_s < 12 * HOUR
    assert work.full_s / HOUR == pytest.approx(sun[1] - sun[0], abs=8 / 60)


def test_light_nights_polar_days_and_polar_nights() -> None:
    def hours(day: dt.date, lon: float, lat: float, zone: str | None) -> tuple[float, float]:
        (work,) = work_days([day], seeding(), lon, lat, zone)
        return work.start_s / HOUR, work.full_s / HOUR

    # At 62 degrees there is no dark night in June, yet the sun sets.
    june = dt.date(2026, 6, 21)
    sun = noaa(june, 25.7, 62.2)
    assert sun is not None
    start, length = hours(june, 25.7, 62.2, "Europe/Helsinki")
    assert start == pytest.approx(sun[0] + 3, abs=0.2)
    assert length == pytest.approx(sun[1] - sun[0], abs=0.3)
    # In the far west of Alaska it sets after midnight by the clock.
    sun = noaa(june, -165.4, 64.5)
    assert sun is not None
    start, length = hours(june, -165.4, 64.5, "America/Nome")
    assert start + length > 24.5
    assert length == pytest.approx(sun[1] - sun[0], abs=0.3)
    # 70 degrees north: midnight sun, polar night. The same in the south, half a year on.
    assert hours(june, 23.3, 70.0, "Europe/Oslo") == (0.0, 24.0)
    assert hours(dt.date(2026, 12, 21), 23.3, 70.0, "Europe/Oslo") == (12.0, 0.0)
    assert hours(dt.date(2026, 12, 21), 23.3, -70.0, None) == (0.0, 24.0)
    assert hours(june, 23.3, -70.0, None) == (12.0, 0.0)


@pytest.mark.parametrize("lat", [-52.0, 0.0, 40.1, 60.0, 64.0])
@pytest.mark.parametrize("lon", [-150.0, -92.6, -80.0, 0.0, 25.0, 92.0, 179.0])
def test_no_day_of_a_year_loses_its_light(lon: float, lat: float) -> None:
    # Sunrise or sunset passes midnight UTC somewhere in the year at some of these.
    year = [dt.date(2026, 1, 1) + dt.timedelta(days=n) for n in range(365)]
    for work in work_days(year, seeding(), lon, lat, None):
        sun = noaa(work.day, lon, lat)
        assert sun is not None
        near = (4 if abs(lat) < 55 else 20) / 60
        assert work.start_s / HOUR == pytest.approx(sun[0] + lon / 15, abs=near)
        assert work.full_s / HOUR == pytest.approx(sun[1] - sun[0], abs=2 * near)


def test_days_lengthen_steadily_into_the_midnight_sun() -> None:
    year = [dt.date(2026, 1, 1) + dt.timedelta(days=n) for n in range(365)]
    length = [w.full_s / HOUR for w in work_days(year, seeding(), 25.0, 66.9, "Europe/Helsinki")]
    top = length.index(24.0)
    assert dt.date(2026, 5, 25) < year[top] < dt.date(2026, 6, 10)
    assert length[10:top] == sorted(length[10:top])
    assert all(hours == 24.0 for hours in length[top : top + 28])
    assert max(abs(b - a) for a, b in itertools.pairwise(length)) < 1.0


def test_hours_caps_bookings_and_weather() -> None:
    days = [dt.date(2026, 5, 1) + dt.timedelta(days=n) for n in range(6)]
    rules = seeding(
        day_from_s=8 * HOUR,
        day_to_s=18 * HOUR,
        hours_most_s=9 * HOUR,
        lost_days=(days[4],),
        lost_chance=0.25,
        bookings=(
            Booking(days[1], days[2], "oats", 4 * HOUR),
            Booking(days[2], days[3], "a neighbour", 6 * HOUR),
            Booking(days[3], days[3], "the wash", 1 * HOUR),
            Booking(days[5], days[5], "the dealer"),
        ),
    )
    work = work_days(days, rules, LON, LAT, ZONE)
    assert [w.day for w in work] == days
    assert [w.start_s / HOUR for w in work] == [8.0] * 6
    assert [w.full_s / HOUR for w in work] == [9.0, 5.0, 0.0, 2.0, 0.0, 0.0]
    assert [w.planned_s / HOUR for w in work] == [6.75, 3.75, 0.0, 1.5, 0.0, 0.0]
    assert [w.lost for w in work] == [False, False, False, False, True, False]
    assert [w.booked_s / HOUR for w in work] == [0.0, 4.0, 9.0, 7.0, 0.0, 9.0]
    assert [w.booked_for for w in work] == [
        (),
        ("oats",),
        ("oats", "a neighbour"),
        ("a neighbour", "the wash"),
        (),
        ("the dealer",),
    ]


def test_work_keeps_within_the_light() -> None:
    december = dt.date(2026, 12, 21)
    rises, sets = daylight_s(december, LON, LAT, ZoneInfo(ZONE))
    wide = seeding(day_from_s=5 * HOUR, day_to_s=21 * HOUR)
    (work,) = work_days([december], wide, LON, LAT, ZONE)
    assert (work.start_s, work.full_s) == (rises, sets - rises)
    # Hours that have nothing in common with the light leave none.
    (night,) = work_days([december], seeding(day_from_s=20 * HOUR), LON, LAT, ZONE)
    assert night.full_s == night.planned_s == 0.0


def test_an_unknown_time_zone_is_refused() -> None:
    with pytest.raises(ZoneInfoNotFoundError):
        work_days([dt.date(2026, 5, 1)], seeding(), LON, LAT, "America/Nowhere")


@given(
    st.floats(0, 86_400),
    st.floats(0, 86_400),
    st.none() | st.floats(0, 86_400),
    st.floats(0, 1),
    st.lists(st.none() | st.floats(0, 40_000), max_size=4),
    st.booleans(),
)
@settings(max_examples=100, deadline=None)
def test_time_is_never_negative_and_never_more_than_there_is(
    begin: float,
    end: float,
    most: float | None,
    chance: float,
    booked: list[float | None],
    lost: bool,
) -> None:
    day = dt.date(2026, 4, 15)
    bookings = tuple(Booking(day, day, f"job {n}", hours) for n, hours in enumerate(booked))
    rules = seeding(
        day_from_s=begin,
        day_to_s=end,
        hours_most_s=most,
        lost_chance=chance,
        bookings=bookings,
        lost_days=(day,) if lost else (),
    )
    (work,) = work_days([day], rules, LON, LAT, ZONE)
    _, sets = daylight_s(day, LON, LAT, ZoneInfo(ZONE))
    assert 0.0 <= work.planned_s <= work.full_s
    assert work.planned_s == pytest.approx(work.full_s * (1 - chance))
    assert work.full_s == 0.0 or work.start_s + work.full_s <= min(end, sets) + 1e-6
    assert work.full_s == 0.0 or not lost
    # One booking fewer never leaves less time.
    (freer,) = work_days([day], replace(rules, bookings=bookings[1:]), LON, LAT, ZONE)
    assert freer.full_s >= work.full_s - 1e-9
    if not lost:
        assert freer.full_s + freer.booked_s == pytest.approx(work.full_s + work.booked_s)
