"""A plan of interseeding as entries of a calendar."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterator
from zoneinfo import ZoneInfo

from evenacre.model.outputs import CalendarEvent
from evenacre.planning.interseeding.plan_types import (
    Fill,
    InterseedPlan,
    PaddockPlan,
    PlannedStay,
    Visit,
)
from evenacre.planning.season.seed import shares
from evenacre.reports import figure_text as figures
from evenacre.reports.sentences.interseeding_facts import day_text, numbered, part_text, spells
from evenacre.reports.sentences.interseeding_rules import days_text
from evenacre.units.display import UnitSystem

_DAY = dt.timedelta(days=1)


def calendar_events(
    plan: InterseedPlan, units: UnitSystem, *, farm: str = "", time_zone: str | None = None
) -> tuple[CalendarEvent, ...]:
    """Tell the herd's moves, the days of seeding, the last days of windows and first grazing.

    Parameters
    ----------
    plan : InterseedPlan
    units : UnitSystem
    farm : str
        Keeps apart the entries of farms whose paddocks have the same names.
    time_zone : str or None
        IANA name of the plan's clock times; None: the times go by whatever clock the reader's
        device keeps.

    Returns
    -------
    tuple of CalendarEvent
        In order of time.
    """
    zone = ZoneInfo(time_zone) if time_zone else None
    made = [
        *(_move(s, farm) for s in plan.herd.stays),
        *_leaving(plan, farm),
        *(_visit(v, n, plan, units, farm, zone) for v, n in numbered(plan).items()),
        *(event for p in plan.paddocks for event in _last_days(p, plan, farm)),
        *(event for p in plan.paddocks for event in _grazing(p, plan, farm)),
    ]
    return tuple(sorted(made, key=_when))


def _when(event: CalendarEvent) -> tuple[str, str]:
    return event.start.isoformat(), event.uid


def _uid(farm: str, kind: str, paddock: str, day: dt.date) -> str:
    """The same for the same entry, so that a plan imported again replaces itself."""
    text = "\x1f".join((farm, kind, paddock, day.isoformat()))
    return f"{hashlib.sha256(text.encode()).hexdigest()[:32]}@evenacre"


def _all_day(
    farm: str, kind: str, paddock: str, day: dt.date, title: str, text: str
) -> CalendarEvent:
    return CalendarEvent(
        uid=_uid(farm, kind, paddock, day),
        start=day,
        end=day + _DAY,
        title=title,
        text=text,
        place=paddock,
    )


def _move(planned: PlannedStay, farm: str) -> CalendarEvent:
    stay = planned.stay
    text = f"The herd stays {days_text(stay.days)} and leaves on {day_text(stay.leave)}."
    if planned.rested_days is not None:
        text += f" The paddock has rested {days_text(planned.rested_days)}."
    return _all_day(farm, "move", stay.paddock, stay.enter, f"Herd into {stay.paddock}", text)


def _leaving(plan: InterseedPlan, farm: str) -> Iterator[CalendarEvent]:
    """Days on which the herd leaves for no other paddock of the plan."""
    entered = {s.stay.enter for s in plan.herd.stays}
    for stay in (s.stay for s in plan.herd.stays):
        if stay.leave not in entered:
            text = "The plan has no next paddock for it on this day."
            title = f"Herd out of {stay.paddock}"
            yield _all_day(farm, "out", stay.paddock, stay.leave, title, text)


def _visit(
    v: Visit,
    number: int,
    plan: InterseedPlan,
    units: UnitSystem,
    farm: str,
    zone: ZoneInfo | None,
) -> CalendarEvent:
    product = plan.seeding.product.name
    lines = [
        f"No. {number}. {part_text(v.share).capitalize()}: {figures.size(v.area_m2, units, 3)}, "
        f"{units.mass.text(v.seed_kg)} of {product} at "
        f"{units.rate.text(plan.schedule.rate_kg_per_m2)}.",
        *(_load(f, plan, units) for f in plan.fills if _belongs(f, v)),
    ]
    if plan.seeding.treated:
        lines.append("Treated seed is not feed.")
    return CalendarEvent(
        uid=_uid(farm, "seed", v.paddock, v.day),
        start=_moment(v.day, v.start_s, zone),
        end=_moment(v.day, v.end_s, zone),
        title=f"Seed {v.paddock}",
        text="\n".join(lines),
        place=v.paddock,
    )


def _belongs(fill: Fill, v: Visit) -> bool:
    here = fill.paddock == v.paddock and fill.day == v.day
    return here and v.start_s - 1 <= fill.start_s <= v.end_s + 1


def _load(f: Fill, plan: InterseedPlan, units: UnitSystem) -> str:
    text = f"Load {f.number}: {units.mass.text(f.mass_kg)}"
    if plan.seeding.product.parts:
        mixed = shares(plan.seeding.product).items()
        text += f" ({', '.join(f'{units.mass.text(s * f.mass_kg)} {name}' for name, s in mixed)})"
    return f"{text}, for {', '.join(f'{name} {units.mass.text(kg)}' for name, kg in f.serves)}."


def _moment(day: dt.date, seconds: float, zone: ZoneInfo | None) -> dt.datetime:
    """The clock time of a day, which may run past midnight."""
    local = dt.datetime.combine(day, dt.time()) + dt.timedelta(seconds=round(seconds / 60) * 60)
    return local.replace(tzinfo=zone)


def _last_days(p: PaddockPlan, plan: InterseedPlan, farm: str) -> Iterator[CalendarEvent]:
    """The last day of each spell that seeding is planned in."""
    if p.window is None:
        return
    name = p.paddock.field.name
    for first, last in spells(p.window, plan.days):
        planned = [v.day for v in p.visits if first <= v.day <= last]
        if planned:
            days = " and ".join(dict.fromkeys(day_text(day) for day in planned))
            text = f"Planned for {days}. After today the window is shut."
            yield _all_day(farm, "closes", name, last, f"Last day to seed {name}", text)


def _grazing(p: PaddockPlan, plan: InterseedPlan, farm: str) -> Iterator[CalendarEvent]:
    if p.graze_from is None:
        return
    name, s = p.paddock.field.name, plan.seeding
    text = f"Earliest grazing, {days_text(s.ungrazed_days)} after it was to be seeded. "
    if s.withholding_days:
        text += f"The label was said to forbid grazing for {days_text(s.withholding_days)}: read it"
    else:
        text += "No time was given in which the label forbids grazing: read it"
    text += " before the herd goes in. If seeding came later, so does this day."
    yield _all_day(farm, "graze", name, p.graze_from, f"{name} may be grazed", text)
