"""What it comes to, in the settings of a season, to relax what a plan is short of."""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from evenacre.model import Booking, FloatArray, Grazing, Paddock, Seeding, Stay
from evenacre.planning.interseeding.plan_types import (
    BEYOND,
    BOOKED,
    MOVES,
    NOT_BEFORE,
    READY,
    WEATHER,
    WINDOW_FIRST,
    WINDOW_LAST,
    PlannedStay,
    Relaxation,
    Rule,
    WorkDay,
)
from evenacre.planning.interseeding.solver.relaxation import Eased

EARLIER, LATER = " earlier", " later"
"""Ends the key of a rule that has two sides in a problem: each side moves by itself."""
TWO_SIDED = frozenset({Rule.GIVEN, Rule.SEASON})
LEVERS = ("hours_most_s", "day_to_s", "day_from_s")
"""Settings that make days longer; the first that does is the one to change."""
_DAY = dt.timedelta(days=1)
_MINUTE_S = 60.0
_CHANCE_STEP = 1e-3
_SMALL = 1e-6


def remedies(
    eased: Eased,
    *,
    names: Sequence[str],
    calendar: Sequence[WorkDay],
    stays: Sequence[PlannedStay],
    grazing: Grazing,
    seeding: Seeding,
    lever: str | None,
) -> Iterator[Relaxation]:
    """Say of each thing to relax what has to be set to what; ``lever`` makes days longer."""
    good = 1.0 - seeding.lost_chance
    given = {p.field.name: p.window for p in grazing.paddocks}
    told = {s.stay.paddock for s in stays} | {n for n, window in given.items() if window}
    told |= set(seeding.ready)
    untold = [number for number, name in enumerate(names) if name not in told]
    for key, index, amount in eased.told:
        side = next((side for side in (EARLIER, LATER) if key.endswith(side)), "")
        rule, paddock = key.removesuffix(side), None if index is None else names[index]
        plain = Relaxation(rule, paddock, amount)
        if rule == "seed":
            to = ((seeding.on_hand_kg or 0.0) + amount) * (1 + _SMALL)
            thinner = tuple(_thinner(seeding, amount))
            yield replace(plain, setting="on_hand_kg", to=to, instead=thinner)
        elif rule == "hours" and lever is not None:
            yield _longer(seeding, lever, amount / good)
        elif rule == WEATHER:
            taken_s = math.fsum(day.full_s - day.planned_s for day in calendar)
            kept = seeding.lost_chance * (1.0 - amount / taken_s)
            to = math.floor(kept / _CHANCE_STEP) * _CHANCE_STEP
            yield replace(plain, setting="lost_chance", to=to)
        elif rule.startswith(BOOKED):
            freed = tuple(_freed(eased.given_s[rule] / good, rule, seeding, calendar))
            total_s = math.fsum(seconds for _, seconds in freed)
            yield replace(plain, amount=total_s, setting="bookings", freed=freed)
        elif rule == Rule.REGRAZE and index is not None and eased.share is not None:
            used = [day.day for day, part in zip(calendar, eased.share[index], strict=True) if part]
            here = [s.stay for s in stays if s.stay.paddock == paddock]
            yield _kept_out(plain, used, here, seeding)
        elif rule == Rule.WET and index is not None:
            dry = {p.field.name: p.not_before for p in grazing.paddocks}[names[index]]
            assert dry is not None
            yield replace(plain, setting=NOT_BEFORE, to=dry - dt.timedelta(days=round(amount)))
        elif rule == BEYOND and index in untold:
            yield replace(plain, setting=READY)
        else:
            yield _moved(plain, side, given.get(paddock or ""), seeding)


def _thinner(seeding: Seeding, short_kg: float) -> Iterator[Relaxation]:
    """The rate at which the seed there is lasts."""
    usable_kg = (seeding.on_hand_kg or 0.0) - sum(b.least_kg for b in seeding.bins)
    if usable_kg > 0:
        least = seeding.least_rate_kg_per_m2
        to = least * usable_kg / (usable_kg + short_kg) * (1 - _SMALL)
        yield Relaxation("rate", None, least - to, "least_rate_kg_per_m2", to)


def _longer(seeding: Seeding, lever: str, amount_s: float) -> Relaxation:
    now = float(getattr(seeding, lever))
    minutes = amount_s / _MINUTE_S - _SMALL
    if lever == "day_from_s":
        to = math.floor(now / _MINUTE_S - minutes) * _MINUTE_S
    else:
        to = math.ceil(now / _MINUTE_S + minutes) * _MINUTE_S
    return Relaxation("hours", None, abs(to - now), lever, to)


def _freed(
    given_s: FloatArray, rule: str, seeding: Seeding, calendar: Sequence[WorkDay]
) -> Iterator[tuple[dt.date, float]]:
    """On each day what a booking gives back, in whole minutes, so that so much is gained."""
    what = rule.removeprefix(BOOKED)
    for day, gain_s in zip(calendar, given_s, strict=True):
        if gain_s > _SMALL:
            length_s = day.full_s + day.booked_s
            own_s, others_s = (_booked_s(seeding, day, what, others=o) for o in (False, True))
            keeps_s = max(length_s - others_s - day.full_s - gain_s, 0.0)
            yield day.day, own_s - math.floor(keeps_s / _MINUTE_S + _SMALL) * _MINUTE_S


def _booked_s(seeding: Seeding, day: WorkDay, what: str, *, others: bool = False) -> float:
    """Time of a day booked for something, or for anything else."""
    length_s = day.full_s + day.booked_s
    there = [b for b in seeding.bookings if b.first <= day.day <= b.last]
    there = [b for b in there if (b.what != what) is others]
    return math.fsum(length_s if b.hours_s is None else b.hours_s for b in there)


def _kept_out(
    plain: Relaxation, used: Sequence[dt.date], stays: Sequence[Stay], seeding: Seeding
) -> Relaxation:
    """The herd is back only when the last seedlings that it would graze have had their rest."""
    rest = seeding.ungrazed_days * _DAY
    disturbed = [day for day in used if any(day < s.enter < day + rest for s in stays)]
    until = max(day + rest for day in disturbed)
    first = min(s.enter for s in stays if s.enter > min(disturbed))
    return replace(plain, amount=float((until - first).days), setting=MOVES, to=until)


def _moved(
    plain: Relaxation, side: str, window: tuple[dt.date, dt.date] | None, seeding: Seeding
) -> Relaxation:
    """A rule moved by its amount."""
    amount = plain.amount if side != EARLIER else -plain.amount
    if plain.rule in _LIMITS:
        setting, sign = _LIMITS[plain.rule]
        now = getattr(seeding, setting)
        return replace(plain, setting=setting, to=type(now)(now + sign * amount))
    if plain.rule not in TWO_SIDED:
        return plain
    days = dt.timedelta(days=round(amount))
    first, last = window or (None, None)
    if plain.rule == Rule.SEASON:
        first, last = seeding.first_day, seeding.last_day
    now, setting = (first, "first") if side == EARLIER else (last, "last")
    if now is None:
        return plain
    name = f"{setting}_day" if plain.rule == Rule.SEASON else f"window_{setting}"
    return replace(plain, setting=name, to=now + days)


_LIMITS: dict[str, tuple[str, int]] = {
    Rule.WAIT: ("opens_after_days", -1),
    Rule.RESIDUAL: ("residual_most_kg_per_m2", 1),
    Rule.CLOSE: ("closes_after_days", 1),
    Rule.REGROWTH: ("regrowth_most_kg_per_m2", 1),
}
"""Setting of each rule that counts from the herd, and which way it moves."""


def followed(
    relaxations: Sequence[Relaxation],
    grazing: Grazing,
    seeding: Seeding,
    stays: Sequence[PlannedStay],
    calendar: Sequence[WorkDay],
) -> tuple[Grazing, Seeding]:
    """The season with everything relaxed.

    What is one setting for all paddocks is set to the farthest that any of them needs. Where the
    herd is to be kept out, moves that were computed become decided ones: a stay that would begin
    too soon begins then, and lasts a day at least.
    """
    for r in relaxations:
        if r.setting == "bookings":
            freed = dict(r.freed)
            seeding = replace(seeding, bookings=tuple(_without(seeding, r.rule, freed, calendar)))
        elif r.setting in (WINDOW_FIRST, WINDOW_LAST, NOT_BEFORE) and isinstance(r.to, dt.date):
            grazing = replace(grazing, paddocks=tuple(_widened(grazing, r, r.to)))
        elif r.setting == MOVES and isinstance(r.to, dt.date):
            now = grazing.moves or tuple(s.stay for s in stays)
            grazing = replace(grazing, moves=tuple(_later(now, r, r.to)))
        elif r.setting is not None and r.to is not None:
            farthest = min if r.setting in _DOWN else max
            to: dict[str, Any] = {r.setting: farthest(getattr(seeding, r.setting), r.to)}
            seeding = replace(seeding, **to)
    return grazing, seeding


_DOWN = frozenset(
    {"opens_after_days", "lost_chance", "first_day", "day_from_s", "least_rate_kg_per_m2"}
)
"""Settings that are relaxed by making them less."""


def _without(
    seeding: Seeding,
    rule: str,
    freed: dict[dt.date, float],
    calendar: Sequence[WorkDay],
) -> Iterator[Booking]:
    """The bookings, with less time on some days for what the rule names."""
    what = rule.removeprefix(BOOKED)
    for booking in seeding.bookings:
        if booking.what != what:
            yield booking
            continue
        edges = [booking.first]
        for day in sorted(d for d in freed if booking.first <= d <= booking.last):
            edges += [day, day + _DAY]
        for first, after in itertools.pairwise([*edges, booking.last + _DAY]):
            if first < after and first not in freed:
                yield replace(booking, first=first, last=after - _DAY)
    for some in calendar:
        if some.day in freed:
            keeps_s = _booked_s(seeding, some, what) - freed[some.day]
            if keeps_s > _SMALL:
                yield Booking(some.day, some.day, what, keeps_s)


def _widened(grazing: Grazing, relaxation: Relaxation, to: dt.date) -> Iterator[Paddock]:
    for paddock in grazing.paddocks:
        if paddock.field.name != relaxation.paddock:
            yield paddock
        elif relaxation.setting == NOT_BEFORE:
            yield replace(paddock, not_before=to)
        elif paddock.window is not None:
            first, last = paddock.window
            window = (to, last) if relaxation.setting == WINDOW_FIRST else (first, to)
            yield replace(paddock, window=window)


def _later(stays: Sequence[Stay], relaxation: Relaxation, until: dt.date) -> Iterator[Stay]:
    since = until - dt.timedelta(days=round(relaxation.amount))
    for stay in stays:
        if stay.paddock == relaxation.paddock and since <= stay.enter < until:
            yield replace(stay, enter=until, leave=max(stay.leave, until + _DAY))
        else:
            yield stay


def laid_out(
    share: FloatArray, days: Sequence[dt.date], eased_days: Sequence[dt.date]
) -> FloatArray | None:
    """Lay shares (m, n) out on the days of another plan; None: it does not have them all."""
    place = {day: number for number, day in enumerate(eased_days)}
    used = np.flatnonzero(share.any(axis=0)).tolist()
    if any(days[d] not in place for d in used):
        return None
    there = np.zeros((len(share), len(eased_days)))
    there[:, [place[days[d]] for d in used]] = share[:, used]
    return there
