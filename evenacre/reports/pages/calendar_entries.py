"""A plan of interseeding as entries of a calendar."""

from __future__ import annotations

import datetime as dt
import hashlib
import itertools
from collections.abc import Iterator
from typing import NamedTuple
from zoneinfo import ZoneInfo

from evenacre.language import tr
from evenacre.model.outputs import CalendarEvent
from evenacre.planning.interseeding.plan_types import CartFill, InterseedPlan
from evenacre.reports.printed_ground import shared
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
        text = tr(
            "The herd stays {days} and leaves on {day}.",
            days=iw.days_text(stay.days),
            day=iw.day_text(stay.leave),
        )
        if planned.rested_days is not None:
            text += tr(" The paddock has rested {days}.", days=iw.days_text(planned.rested_days))
        yield _Entry(
            "move", stay.paddock, stay.enter, tr("Herd into {paddock}", paddock=stay.paddock), text
        )
        if stay.leave not in entered:
            text = tr("The plan has no next paddock for it on this day.")
            yield _Entry(
                "out",
                stay.paddock,
                stay.leave,
                tr("Herd out of {paddock}", paddock=stay.paddock),
                text,
            )


def _visits(plan: InterseedPlan, units: UnitSystem, zone: ZoneInfo | None) -> Iterator[_Entry]:
    product, rate = plan.seeding.product.name, units.rate.text(plan.schedule.rate_kg_per_m2)
    for v, number in iw.numbered(plan).items():
        lines = [
            tr(
                "No. {number}. {part}: {size}, {mass} of {product} at {rate}.",
                number=number,
                part=iw.part_text(v.share).capitalize(),
                size=units.area.text(v.area_m2),
                mass=units.mass.text(v.seed_kg),
                product=product,
                rate=rate,
            ),
            *(_load(f, plan, units) for f in iw.fills_at(plan, v)),
            *([tr("Treated seed is not feed.")] if plan.seeding.treated else []),
        ]
        times = _moment(v.day, v.start_s, zone), _moment(v.day, v.end_s, zone)
        yield _Entry(
            "seed",
            v.paddock,
            v.day,
            tr("Seed {paddock}", paddock=v.paddock),
            "\n".join(lines),
            times,
        )


def _load(f: CartFill, plan: InterseedPlan, units: UnitSystem) -> str:
    text = tr(
        "Load {number}, {stop}: {mass}",
        number=f.number,
        stop=iw.stop_text(f),
        mass=units.mass.text(f.mass_kg),
    )
    if plan.seeding.product.parts:
        shares = plan.seeding.product.shares
        told = shared([s * f.mass_kg for s in shares.values()], units.mass)
        text += f" ({', '.join(map(' '.join, zip(told, shares, strict=True)))})"
    return tr(
        "{said}, for {names}.",
        said=text,
        names=", ".join((f"{name} {units.mass.text(kg)}" for name, kg in f.serves)),
    )


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
                days = tr(" and ").join(dict.fromkeys(planned))
                text = tr("Planned for {days}. After today the window is shut.", days=days)
                yield _Entry("closes", name, last, tr("Last day to seed {name}", name=name), text)


def _grazing(plan: InterseedPlan) -> Iterator[_Entry]:
    s = plan.seeding
    label = tr("No time was given in which the label forbids grazing")
    if s.withholding_days:
        label = tr(
            "The label was said to forbid grazing for {days}", days=iw.days_text(s.withholding_days)
        )
    text = tr(
        "Earliest grazing, {days} after it was to be seeded. {label}: read it before the "
        "herd goes in. If seeding came later, so does this day.",
        days=iw.days_text(s.ungrazed_days),
        label=label,
    )
    for p in plan.paddocks:
        if p.graze_from is not None:
            name = p.paddock.field.name
            yield _Entry("graze", name, p.graze_from, tr("{name} may be grazed", name=name), text)
