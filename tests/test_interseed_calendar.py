"""Entries for a calendar: every move, visit, last day and first grazing, on its right day."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
from plans import empty_plan, make_plan

from evenacre.model.outputs import CalendarEvent
from evenacre.reports.pages.calendar_entries import calendar_events
from evenacre.units.display import US


@pytest.fixture(scope="module")
def events() -> tuple[CalendarEvent, ...]:
    return calendar_events(make_plan(), US, farm="Three Larks", time_zone="America/Chicago")


def titled(events: tuple[CalendarEvent, ...], words: str) -> list[CalendarEvent]:
    return [e for e in events if e.title.startswith(words)]


def test_every_move_and_visit_is_there_once(events: tuple[CalendarEvent, ...]) -> None:
    plan = make_plan()
    moves = titled(events, "Herd into")
    assert [(e.place, e.start) for e in moves] == [
        (s.stay.paddock, s.stay.enter) for s in plan.herd.stays
    ]
    # It leaves Oak Flat and, at the end, Creek 1 for nowhere.
    assert [e.title for e in titled(events, "Herd out")] == [
        "Herd out of Oak Flat",
        "Herd out of Creek 1",
    ]
    assert [e.place for e in titled(events, "Seed ")] == [v.paddock for v in plan.visits]
    assert len({e.uid for e in events}) == len(events)
    assert all(type(e.start) is type(e.end) and e.start < e.end for e in events)


def test_times_are_of_the_farms_clock(events: tuple[CalendarEvent, ...]) -> None:
    first = titled(events, "Seed ")[0]
    assert isinstance(first.start, dt.datetime)
    # Central daylight time is five hours behind.
    assert first.start.astimezone(dt.UTC) == dt.datetime(2026, 4, 11, 13, 0, tzinfo=dt.UTC)
    assert first.end - first.start == dt.timedelta(hours=2.5)
    floating = titled(calendar_events(make_plan(), US), "Seed ")[0]
    assert isinstance(floating.start, dt.datetime)
    assert floating.start == dt.datetime(2026, 4, 11, 8, 0)
    assert floating.start.tzinfo is None


def test_fills_are_told_with_the_visit_they_belong_to(events: tuple[CalendarEvent, ...]) -> None:
    seeding = titled(events, "Seed ")
    assert ["Load" in e.text for e in seeding] == [True, True, False, True, False]
    assert (
        "Load 1, before the first pass: 132 lb (79 lb red clover, 53 lb orchardgrass)"
        in seeding[0].text
    )
    assert all("Treated seed is not feed." in e.text for e in seeding)


def test_windows_and_grazing_are_remembered(events: tuple[CalendarEvent, ...]) -> None:
    closing = {e.place: e for e in titled(events, "Last day")}
    assert {name: e.start for name, e in closing.items()} == {
        "Creek 1": dt.date(2026, 4, 23),
        "Bottom": dt.date(2026, 4, 28),
        "Draw": dt.date(2026, 5, 6),
        "Oak Flat": dt.date(2026, 5, 17),
    }
    grazing = [e for e in events if e.title.endswith("may be grazed")]
    plan = make_plan()
    assert {e.place: e.start for e in grazing} == {
        p.paddock.field.name: p.graze_from for p in plan.paddocks if p.graze_from
    }
    assert all("forbid grazing for 30 days" in e.text for e in grazing)
    silent = replace(plan, seeding=replace(plan.seeding, withholding_days=0))
    told = [e for e in calendar_events(silent, US) if e.title.endswith("may be grazed")]
    assert all("No time was given in which the label forbids grazing" in e.text for e in told)


def test_the_same_plan_gives_the_same_entries(events: tuple[CalendarEvent, ...]) -> None:
    again = calendar_events(make_plan(), US, farm="Three Larks", time_zone="America/Chicago")
    assert again == events
    other = calendar_events(make_plan(), US, farm="Far Farm", time_zone="America/Chicago")
    assert not {e.uid for e in other} & {e.uid for e in events}
    whole_days = [e.start for e in events if not isinstance(e.start, dt.datetime)]
    assert whole_days == sorted(whole_days)


def test_a_plan_without_moves_or_visits_has_no_entries() -> None:
    assert calendar_events(empty_plan(), US) == ()
