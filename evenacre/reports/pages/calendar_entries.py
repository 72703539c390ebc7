"""A plan of interseeding as entries of a calendar."""

from __future__ import annotations

import datetime as dt
import hashlib
import itertools
from collections.abc import Iterator
from typing import NamedTuple
from zoneinfo import ZoneInfo

from evenacre.model.outputs import CalendarEvent
from evenacre.planning.interseeding.plan_types import CartFill, InterseedPlan
from evenacre.reports import figure_text as figures
from evenacre.reports.sentences import interseeding_words as iw
from evenacre.units.display import UnitSystem


def calendar_events(
    plan: InterseedPlan, units: UnitSystem, *, farm: str = "", time_zone: str | None = None
) -> tuple[CalendarEvent, ...]:
    """Tell the herd's moves, the days of seeding, the last days of windows and first grazing.

    They come in order of time. ``farm`` keeps apart the entries of farms whose paddocks have the
    same names; without a time zone clock times go by whatever clock the reader keeps.
    """
    zone = ZoneInfo(time_zone) if time_zone else None
    entries = (_moves(plan), _visits(plan, units, zone), _last_days(plan), _grazing(plan))
    made = [_event(entry, farm) for entry in itertools.chain.from_iterable(entries)]
    return tuple(sorted(made, key=lambda event: (event.start.isoformat(), event.uid)))


class _Entry(NamedTuple):
    """What happens in a paddock: on a whole day, or at a time of it."""

    kind: str
    paddock: str
    day: dt.date
    title: str
    text: str
    times: tuple[dt.datetime, dt.datetime] | None = None


def _event(entry: _Entry, farm: str) -> CalendarEvent:
    """The same entry gets the same name, so that a plan imported again replaces itself."""
    name = "\x1f".join((farm, entry.kind, entry.paddock, entry.day.isoformat()))
    start, end = entry.times or (entry.day, entry.day + dt.timedelta(days=1))
    return CalendarEvent(
        uid=f"{hashlib.sha256(name.encode()).hexdigest()[:32]}@evenacre",
        start=start,
        end=end,
        title=entry.title,
        text=entry.text,
        place=entry.paddock,
    )


def _moves(plan: InterseedPlan) -> Iterator[_Entry]:
    """Days on which the herd moves in, or leaves for no other paddock of the plan."""
    entered = {s.stay.enter for s in plan.herd.stays}
    for planned in plan.herd.stays:
        stay = planned.stay
        text = f"The herd stays {iw.days_text(stay.days)} and leaves on {iw.day_text(stay.leave)}."
        if planned.rested_days is not None:
            text += f" The paddock has rested {iw.days_text(planned.rested_days)}."
        yield _Entry("move", stay.paddock, stay.enter, f"Herd into {stay.paddock}", text)
        if stay.leave not in entered:
            text = "The plan has no next paddock for it on this day."
            yield _Entry("out", stay.paddock, stay.leave, f"Herd out of {stay.paddock}", text)


def _visits(plan: InterseedPlan, units: UnitSystem, zone: ZoneInfo | None) -> Iterator[_Entry]:
    product, rate = plan.seeding.product.name, units.rate.text(plan.schedule.rate_kg_per_m2)
    for v, number in iw.numbered(plan).items():
        lines = [
            f"No. {number}. {iw.part_text(v.share).capitalize()}: "
            f"{figures.size(v.area_m2, units, 3)}, {units.mass.text(v.seed_kg)} of {product} at "
            f"{rate}.",
            *(_load(f, plan, units) for f in iw.fills_at(plan, v)),
            *(["Treated seed is not feed."] if plan.seeding.treated else []),
        ]
        times = _moment(v.day, v.start_s, zone), _moment(v.day, v.end_s, zone)
        yield _Entry("seed", v.paddock, v.day, f"Seed {v.paddock}", "\n".join(lines), times)


def _load(f: CartFill, plan: InterseedPlan, units: UnitSystem) -> str:
    text = f"Load {f.number}, {iw.stop_text(f)}: {units.mass.text(f.mass_kg)}"
    if plan.seeding.product.parts:
        mixed = plan.seeding.product.shares.items()
        text += f" ({', '.join(f'{units.mass.text(s * f.mass_kg)} {name}' for name, s in mixed)})"
    return f"{text}, for {', '.join(f'{name} {units.mass.text(kg)}' for name, kg in f.serves)}."


def _moment(day: dt.date, seconds: float, zone: ZoneInfo | None) -> dt.datetime:
    """The clock time of a day, which may run past midnight."""
    local = dt.datetime.combine(day, dt.time()) + dt.timedelta(seconds=round(seconds / 60) * 60)
    return local.replace(tzinfo=zone)


def _last_days(plan: InterseedPlan) -> Iterator[_Entry]:
    """The last day of each spell that seeding is planned in."""
    for p in plan.paddocks:
        name = p.paddock.field.name
        for first, last in iw.spells(p.window, plan.days):
            planned = [iw.day_text(v.day) for v in p.visits if first <= v.day <= last]
            if planned:
                days = " and ".join(dict.fromkeys(planned))
                text = f"Planned for {days}. After today the window is shut."
                yield _Entry("closes", name, last, f"Last day to seed {name}", text)


def _grazing(plan: InterseedPlan) -> Iterator[_Entry]:
    s = plan.seeding
    label = "No time was given in which the label forbids grazing"
    if s.withholding_days:
        label = f"The label was said to forbid grazing for {iw.days_text(s.withholding_days)}"
    text = (
        f"Earliest grazing, {iw.days_text(s.ungrazed_days)} after it was to be seeded. {label}: "
        "read it before the herd goes in. If seeding came later, so does this day."
    )
    for p in plan.paddocks:
        if p.graze_from is not None:
            name = p.paddock.field.name
            yield _Entry("graze", name, p.graze_from, f"{name} may be grazed", text)
