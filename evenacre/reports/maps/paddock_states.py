"""What each paddock is like on each day of a plan, for the map that steps by date."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from evenacre.language import mark, tr
from evenacre.planning.interseeding.plan_types import InterseedPlan, PaddockPlan, WorkDay
from evenacre.reports.sentences import interseeding_words as iw
from evenacre.units.display import UnitSystem

STATES = {
    "seeding": mark("seeding today"),
    "herd": mark("herd in it"),
    "open": mark("may be seeded"),
    "resting": mark("seeded, no grazing yet"),
    "done": mark("seeded, may be grazed"),
    "shut": mark("not open for seeding"),
    "whole": mark("seeded whole"),
    "part": mark("seeded in part"),
    "none": mark("to be seeded, but left out"),
    "never": mark("not to be seeded"),
}
"""Each state a paddock is drawn in, and what it means; the last four are of the whole plan."""
_LABELS = {**{key: key for key in ("seeding", "herd", "open", "resting")}, "done": "seeded"}
"""Of the states that a day is labelled with."""


@dataclass(frozen=True)
class Step:
    """One day on the map, or the whole plan."""

    title: str
    text: str  # what happens on it
    states: tuple[str, ...]  # of each paddock, a key of ``STATES``
    labels: tuple[str, ...]  # below the name of each paddock
    short: tuple[str, ...]  # in place of both where paddocks are crowded; empty: nothing

    def plain(self) -> dict[str, Any]:
        """As JSON types, for the page's script, under a letter for each field."""
        return dict(zip("tpslc", vars(self).values(), strict=True))


def steps(plan: InterseedPlan, units: UnitSystem) -> tuple[list[Step], dict[int, int]]:
    """Tell the whole plan and then every day of it, and which step is the day of each visit.

    Visits go by their numbers.
    """
    first, last = iw.span(plan)
    days = [first + dt.timedelta(days=n) for n in range((last - first).days + 1)]
    known = {d.day: d for d in plan.days}
    out = [_whole_plan(plan)]
    opened = [iw.spells(p.window, plan.days) for p in plan.paddocks]
    for day in days:
        states = tuple(
            _state(p, day, any(a <= day <= b for a, b in found))
            for p, found in zip(plan.paddocks, opened, strict=True)
        )
        labels = tuple(_LABELS.get(state, "") for state in states)
        short = tuple(
            f"{p.paddock.field.name}\n{label}" if label in ("seeding", "herd") else ""
            for p, label in zip(plan.paddocks, labels, strict=True)
        )
        text = _happenings(plan, day, known.get(day), units)
        out.append(Step(iw.day_text(day), text, states, labels, short))
    place = {day: index for index, day in enumerate(days, 1)}
    return out, {number: place[v.day] for v, number in iw.numbered(plan).items()}


def _whole_plan(plan: InterseedPlan) -> Step:
    numbers = iw.numbered(plan)
    labels = [
        ", ".join(f"{numbers[v]}: {iw.short_day(v.day)}" for v in p.visits)
        or (tr("not seeded") if p.window else "")
        for p in plan.paddocks
    ]
    return Step(
        tr("The whole plan"),
        tr("Each paddock shows the number and the day of its seeding."),
        tuple(_outcome(p) for p in plan.paddocks),
        tuple(labels),
        tuple(", ".join(str(numbers[v]) for v in p.visits) for p in plan.paddocks),
    )


def _outcome(p: PaddockPlan) -> str:
    if p.window is None:
        return "never"
    if p.finished:
        return "whole"
    if not p.visits:
        return "none"
    return "whole" if iw.whole(p) else "part"


def _state(p: PaddockPlan, day: dt.date, ready: bool) -> str:
    if any(v.day == day for v in p.visits):
        return "seeding"
    if any(s.stay.enter <= day < s.stay.leave for s in p.stays):  # it leaves in the morning
        return "herd"
    begun = p.done is not None or any(v.day < day for v in p.visits)
    finished = p.finished or (bool(p.visits) and p.visits[-1].day < day)
    if finished and p.graze_from and day >= p.graze_from:
        return "done"
    if finished or (begun and not ready):
        return "resting"
    return "open" if ready else "shut"


def _happenings(plan: InterseedPlan, day: dt.date, work: WorkDay | None, units: UnitSystem) -> str:
    told = [
        tr(
            "Seed {paddock} ({number}): {begin} to {end}, {size}, {mass}.",
            paddock=v.paddock,
            number=number,
            begin=iw.clock(v.start_s),
            end=iw.clock(v.end_s),
            size=units.area.text(v.area_m2),
            mass=units.mass.text(v.seed_kg),
        )
        for v, number in iw.numbered(plan).items()
        if v.day == day
    ]
    moves = [s.stay for s in plan.herd.stays]
    told += [tr("Herd out of {paddock}.", paddock=s.paddock) for s in moves if s.leave == day]
    told += [tr("Herd into {paddock}.", paddock=s.paddock) for s in moves if s.enter == day]
    told += [tr("Herd in {paddock}.", paddock=s.paddock) for s in moves if s.enter < day < s.leave]
    if work and work.lost:
        told.append(tr("Lost to weather."))
    elif work and (work.booked_s or work.booked_for):
        what = ", ".join(work.booked_for) or tr("other work")
        told.append(
            tr("Drill booked for {what} ({hours}).", what=what, hours=iw.hours_text(work.booked_s))
        )
    return " ".join(told) or tr("Nothing moves on this day.")
