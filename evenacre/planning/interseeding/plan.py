"""The whole plan of interseeding: moves, windows, days, passes, schedule, loads and chances."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import shapely

from evenacre.model import FloatArray, Grazing, Paddock, Seeding
from evenacre.planning.interseeding.fills import visits_and_fills
from evenacre.planning.interseeding.grazing import ground_m2, plan_grazing
from evenacre.planning.interseeding.plan_types import (
    BOOKED,
    WEATHER,
    WHOLE_SHARE,
    GrazingPlan,
    InterseedPlan,
    PaddockPlan,
    Relaxation,
    Rule,
    ScheduleProblem,
    SeedingWindow,
    Visit,
    WorkDay,
)
from evenacre.planning.interseeding.solver.relaxation import smallest_relaxation
from evenacre.planning.interseeding.solver.solve import solve_schedule
from evenacre.planning.interseeding.weather import simulate
from evenacre.planning.interseeding.windows import (
    plan_days,
    seeding_windows,
    window_findings,
    work_days,
)
from evenacre.planning.passes.pass_types import Drive, PassPlan
from evenacre.planning.passes.plan import plan_passes

Say = Callable[[str], None]


def plan_interseeding(
    grazing: Grazing,
    seeding: Seeding,
    *,
    time_zone: str | None = None,
    say: Say = lambda _stage: None,
) -> InterseedPlan:
    """Plan which grazed paddock is seeded on which day, and with which loads.

    Seed is metered over all the ground the drill runs over, overlaps included; acres are of
    ground covered.

    Parameters
    ----------
    grazing : Grazing
    seeding : Seeding
    time_zone : str or None
        An IANA name; None: local mean time.
    say : callable, optional
        Told each stage as it begins.

    Returns
    -------
    InterseedPlan

    Raises
    ------
    InputError
        When forage, or the days in question, are beyond anything anyone plans.

    Examples
    --------
    >>> season = ev.load_season(Path("season.toml"), must_hold="seeding")
    >>> plan = ev.plan_interseeding(season.grazing, season.seeding)
    >>> [visit.day.isoformat() for visit in plan.visits]
    ['2026-08-18', '2026-08-24']
    """
    herd = plan_grazing(grazing)
    days = plan_days(grazing, herd, seeding)
    seeded = [paddock for paddock in grazing.paddocks if paddock.seeded]
    windows = seeding_windows(grazing, herd, seeding, days)
    passes = []
    for number, paddock in enumerate(seeded, 1):
        say(f"laying out passes, paddock {number} of {len(seeded)}")
        passes.append(plan_passes(paddock.field, drive_of(seeding)))
    west, south, east, north = shapely.total_bounds([p.field.boundary for p in grazing.paddocks])
    lon, lat = float(west + east) / 2, float(south + north) / 2

    def calendar_of(seeding: Seeding) -> tuple[WorkDay, ...]:
        return work_days(days, seeding, lon, lat, time_zone)

    calendar = calendar_of(seeding)
    taken = _taken(seeding, calendar_of)
    problem = _problem(seeded, passes, windows, seeding, calendar, taken)

    say("solving the schedule")
    schedule = solve_schedule(problem)
    say("looking for what to relax")
    whole = bool((schedule.share.sum(axis=1) >= WHOLE_SHARE).all())
    names = [paddock.field.name for paddock in seeded]
    relaxations = tuple(
        Relaxation(rule, None if index is None else names[index], amount)
        for rule, index, amount in (() if whole else smallest_relaxation(problem))
    )
    say("simulating the weather")
    chances = None
    if seeding.lost_chance and schedule.share.any():
        chances = simulate(
            problem,
            schedule,
            np.array([day.full_s for day in calendar]),
            seeding.lost_chance,
            np.array([day.lost for day in calendar]),
            runs=seeding.runs,
            random_seed=seeding.random_seed,
        )

    closes = [window.closes for window in windows]
    visits, fills = visits_and_fills(problem, schedule, names, calendar, closes)
    covered = {name: plan.covered_m2 for name, plan in zip(names, passes, strict=True)}
    visits = tuple(replace(v, area_m2=v.share * covered[v.paddock]) for v in visits)
    used_kg = sum(visit.seed_kg for visit in visits)
    chance = [None] * len(seeded) if chances is None else chances.each.tolist()
    planned = {own[0].paddock: own for own in zip(windows, passes, chance, strict=True)}
    return InterseedPlan(
        grazing=grazing,
        seeding=seeding,
        herd=herd,
        days=calendar,
        paddocks=tuple(
            _paddock_plan(paddock, seeding, herd, visits, planned.get(paddock.field.name))
            for paddock in grazing.paddocks
        ),
        visits=visits,
        fills=fills,
        schedule=schedule,
        seed_used_kg=used_kg,
        seed_left_kg=None if seeding.on_hand_kg is None else seeding.on_hand_kg - used_kg,
        chance_all=None if chances is None else chances.all,
        relaxations=relaxations,
        findings=(
            *herd.findings,
            *window_findings(grazing, herd, seeding, windows),
            *(finding.at(plan.field) for plan in passes for finding in plan.findings),
        ),
    )


def drive_of(seeding: Seeding) -> Drive:
    """How the drill of a seeding plan is driven."""
    return Drive(
        width_m=seeding.implement.width_m,
        speed_mps=seeding.speed_mps,
        turn_speed_mps=seeding.turn_speed_mps,
        turn_radius_m=seeding.turn_radius_m,
        rounds=seeding.rounds,
        prefer=seeding.prefer,
        implement=seeding.implement,
        tractor_length_m=seeding.tractor_length_m,
        tractor_width_m=seeding.tractor_width_m,
        headland=seeding.headland,
    )


def _taken(
    seeding: Seeding, calendar_of: Callable[[Seeding], Sequence[WorkDay]]
) -> dict[str, FloatArray]:
    """Hours of each day that each booking, and the allowance for weather, take from the plan."""
    without: dict[str, Seeding] = {}
    for what in dict.fromkeys(booking.what for booking in seeding.bookings):
        others = tuple(b for b in seeding.bookings if b.what != what)
        without[BOOKED + what] = replace(seeding, bookings=others)
    if seeding.lost_chance:
        without[WEATHER] = replace(seeding, lost_chance=0.0)
    planned = _planned_s(calendar_of(seeding))
    return {what: _planned_s(calendar_of(eased)) - planned for what, eased in without.items()}


def _planned_s(calendar: Sequence[WorkDay]) -> FloatArray:
    return np.array([day.planned_s for day in calendar])


def _problem(
    paddocks: Sequence[Paddock],
    passes: Sequence[PassPlan],
    windows: Sequence[SeedingWindow],
    seeding: Seeding,
    calendar: Sequence[WorkDay],
    taken: dict[str, FloatArray],
) -> ScheduleProblem:
    driven = np.array([p.work_m * p.drive.width_m for p in passes])
    covered = np.array([p.covered_m2 for p in passes])
    value = np.array([p.value for p in paddocks])
    shut = (len(paddocks), len(calendar))
    return ScheduleProblem(
        area_m2=driven,
        value_per_m2=value
        * np.divide(covered, driven, out=np.zeros_like(driven), where=driven > 0),
        work_s=np.array([p.field_time_s for p in passes]),
        forbidden={
            rule.value: np.array([w.blocked[rule] for w in windows]).reshape(shut) for rule in Rule
        },
        capacity_s=_planned_s(calendar),
        least_rate_kg_per_m2=seeding.least_rate_kg_per_m2,
        rate_kg_per_m2=seeding.rate_kg_per_m2,
        most_rate_kg_per_m2=seeding.most_rate_kg_per_m2,
        on_hand_kg=seeding.on_hand_kg,
        load_kg=seeding.load_kg,
        refill_s=seeding.refill_s,
        setup_s=seeding.setup_s,
        taken_s=taken,
        hard=frozenset({Rule.HERD.value}),
    )


def _paddock_plan(
    paddock: Paddock,
    seeding: Seeding,
    herd: GrazingPlan,
    visits: Sequence[Visit],
    planned: tuple[SeedingWindow, PassPlan, float | None] | None,
) -> PaddockPlan:
    """All of one paddock; the window, passes and chance only where it is to be seeded."""
    name = paddock.field.name
    here = tuple(visit for visit in visits if visit.paddock == name)
    rest = dt.timedelta(days=seeding.ungrazed_days)
    area, workable = ground_m2(paddock)
    window, passes, chance = planned or (None, None, None)
    return PaddockPlan(
        paddock=paddock,
        area_m2=area,
        workable_m2=workable,
        stays=tuple(s for s in herd.stays if s.stay.paddock == name),
        window=window,
        passes=passes,
        visits=here,
        seeded_m2=sum(visit.area_m2 for visit in here),
        seed_kg=sum(visit.seed_kg for visit in here),
        chance=chance if here else None,
        graze_from=max(visit.day for visit in here) + rest if here else None,
    )
