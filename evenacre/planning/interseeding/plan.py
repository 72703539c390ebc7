"""The whole plan of interseeding: moves, windows, days, passes, schedule, loads and chances."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely

from evenacre.geo.overlay import in_degrees, union
from evenacre.model import Field, FloatArray, Grazing, Paddock, Seeding
from evenacre.model.finding import Finding, FindingError
from evenacre.planning.interseeding.fills import Rounds
from evenacre.planning.interseeding.grazing import ground_m2, plan_grazing
from evenacre.planning.interseeding.loads import Cart
from evenacre.planning.interseeding.plan_types import (
    BEYOND,
    BOOKED,
    WEATHER,
    WHOLE_SHARE,
    CartFill,
    GrazingPlan,
    InterseedPlan,
    PaddockPlan,
    Relaxation,
    Rule,
    ScheduleProblem,
    SeedingSchedule,
    SeedingWindow,
    Visit,
    WorkDay,
)
from evenacre.planning.interseeding.progress import (
    DoneGround,
    Progress,
    passes_left,
    seeding_left,
)
from evenacre.planning.interseeding.remedies import (
    EARLIER,
    LATER,
    LEVERS,
    TWO_SIDED,
    followed,
    laid_out,
    remedies,
)
from evenacre.planning.interseeding.solver.candidate import VALUE_TOLERANCE, Candidate
from evenacre.planning.interseeding.solver.relaxation import Eased, smallest_relaxation
from evenacre.planning.interseeding.solver.solve import solve_schedule
from evenacre.planning.interseeding.solver.whole_passes import Granular, in_whole_passes
from evenacre.planning.interseeding.weather import seasons_of, simulate
from evenacre.planning.interseeding.windows import (
    plan_days,
    seeding_windows,
    window_findings,
    work_days,
)
from evenacre.planning.passes.fills import spot_at
from evenacre.planning.passes.pass_types import SEEN_M2, Drive, FillSpot, PassPlan
from evenacre.planning.passes.plan import OF_THE_RIG, lay_passes
from evenacre.processes import workers

Say = Callable[[str], None]
_ADD_UP = ("ground_out_of_reach", "turns_back_up")
"""What the drives of several paddocks have in common, told of all of them at once."""
_APART = ("seed", BEYOND)  # told whatever else is
_PER_PROCESS = 5  # paddocks that take longer than a process takes to start
_Solved = tuple["_Task", tuple[PassPlan, ...], SeedingSchedule]
_LIMIT_DAY = 0.1
"""Part of a limit on what stands that weighs as much as a day of a window; no source."""


def plan_interseeding(
    grazing: Grazing,
    seeding: Seeding,
    *,
    time_zone: str | None = None,
    progress: Progress | None = None,
    jobs: int = 1,
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
    progress : Progress, optional
        What is done of a season under way; the rest is planned from its day on.
    jobs : int
        Processes to share many paddocks among, for the passes over each. The plan is the same.
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
    told, done = grazing, {} if progress is None else progress.done
    lay = _Laying(drive_of(seeding), done, jobs, say)
    if progress is not None:
        seeding = seeding_left(seeding, progress)
    seeding, weather = seasons_of(seeding, plan_days(grazing, plan_grazing(grazing), seeding))

    def solved(grazing: Grazing) -> _Solved:
        passes = lay.passes(grazing)
        _refuse_radius(passes)
        task = _Task.of(grazing, seeding, passes, time_zone)
        say("solving the schedule")
        return task, passes, solve_schedule(task.problem)

    task, passes, schedule = _with_wet_ground(grazing, solved)
    grazing = task.grazing
    seeded = [paddock for paddock in grazing.paddocks if paddock.seeded]
    herd, windows, calendar, problem = task.herd, task.windows, task.calendar, task.problem
    names = [paddock.field.name for paddock in seeded]
    closes = [window.closes for window in windows]
    lengths = [np.array([run.line.length for run in plan.passes]) for plan in passes]
    rounds = Rounds(names, calendar, closes, lengths, cart_of(seeding))
    granular = Granular(rounds.parts_done, seeding.bins)
    anyhow = schedule
    schedule = in_whole_passes(
        problem, schedule, granular, lambda made: rounds.has_loads(problem, made)
    )
    say("looking for what to relax")
    relaxations: tuple[Relaxation, ...] = ()
    relaxed_holds = relaxed_fewest = True
    if (schedule.share.sum(axis=1) < WHOLE_SHARE).any():
        eased, sure = _eased(problem, granular)
        relaxations, relaxed_holds = _relaxed(eased, task, passes, time_zone)
        relaxed_fewest, relaxed_holds = eased.fewest, relaxed_holds and sure
    visits, fills, schedule = rounds.visits_and_fills(problem, schedule)
    say("simulating the weather")
    chances = None
    if weather is not None and schedule.share.any():
        full_s = np.array([day.full_s for day in calendar])
        chances = simulate(problem, schedule, full_s, weather)

    drives = dict(zip(names, passes, strict=True))
    fills = tuple(replace(f, spot=_spot(f, drives[f.paddock])) for f in fills)
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
            _paddock_plan(
                paddock,
                seeding,
                herd,
                visits,
                planned.get(paddock.field.name),
                done.get(paddock.field.name),
            )
            for paddock in grazing.paddocks
        ),
        visits=visits,
        fills=fills,
        schedule=schedule,
        seed_used_kg=used_kg,
        seed_left_kg=None if seeding.on_hand_kg is None else seeding.on_hand_kg - used_kg,
        chance_all=None if chances is None else chances.all,
        chance_all_within=None if chances is None else chances.all_within,
        weather=None if weather is None else weather.told,
        relaxations=relaxations,
        relaxed_fewest=relaxed_fewest,
        relaxed_holds=relaxed_holds,
        findings=(
            *herd.findings,
            *(progress.findings if progress is not None else ()),
            *window_findings(grazing, herd, seeding, windows),
            *_kept_out(told.paddocks, grazing, passes),
            *_left_for_whole_passes(names, covered, anyhow, schedule),
            *_opened_bags(seeding, fills),
            *_ending_within(fills),
            *(weather.findings if weather is not None else ()),
            *_of_drives(passes),
        ),
    )


def _refuse_radius(passes: Sequence[PassPlan]) -> None:
    """Stop where the radius given is too wide to turn round in any of the paddocks."""
    found = [
        (f.values["most_m"], f.values["radius_m"], plan.field)
        for plan in passes
        for f in plan.findings
        if f.code == "nothing_turns"
    ]
    if found and len(found) == len(passes):
        most_m, radius_m, name = max(found)
        raise FindingError(
            "radius_allows_no_turn", name, "turn_radius", radius_m=radius_m, most_m=most_m
        )


def _spot(fill: CartFill, drive: PassPlan) -> FillSpot | None:
    """Where the drill stands when so many passes are done."""
    if not drive.passes:
        return None
    lengths = [run.line.length for run in drive.passes]
    done = sum(lengths[: fill.passes_done])
    if fill.passes_done < len(lengths):
        done += fill.into_pass * lengths[fill.passes_done]
    return spot_at(drive.passes, done, drive.gate)


def _of_drives(passes: Sequence[PassPlan]) -> Iterator[Finding]:
    """What was found of each drive: of the drill once, and of all at once what adds up."""
    found = [(plan, f) for plan in passes for f in plan.findings]
    once = [f for _, f in found if f.code in OF_THE_RIG]
    yield from {(f.code, *f.values.items()): f for f in once}.values()
    for code in _ADD_UP:
        alike = [(plan, f) for plan, f in found if f.code == code]
        if alike:
            values = {key: sum(f.values[key] for _, f in alike) for key in alike[0][1].values}
            if "share" in values:
                ground = sum(plan.workable_m2 for plan, _ in alike)
                values["share"] = sum(f.values["share"] * p.workable_m2 for p, f in alike) / ground
            names = tuple(plan.field for plan, _ in alike)
            yield replace(alike[0][1], values=values).at(names if len(names) > 1 else names[0])
    rest = OF_THE_RIG | set(_ADD_UP)
    yield from (f.at(plan.field) for plan, f in found if f.code not in rest)


def _kept_out(
    told: Sequence[Paddock], grazing: Grazing, passes: Sequence[PassPlan]
) -> Iterator[Finding]:
    """Tell how much ground is left out as too wet, and which paddocks wait for theirs."""
    pairs = [pair for pair in zip(told, grazing.paddocks, strict=True) if pair[0].seeded]
    for (before, paddock), plan in zip(pairs, passes, strict=True):
        if before.not_before != paddock.not_before:
            day = paddock.not_before
            yield Finding.note("waits_for_dry_ground", day=str(day)).at(plan.field)
        if paddock.keep_out:
            lacks = ground_m2(paddock)[1] - plan.workable_m2
            if lacks < SEEN_M2:  # it lies beside the paddock
                continue
            yield Finding.warning("kept_out", area_m2=lacks).at(plan.field)


def _opened_bags(seeding: Seeding, fills: Sequence[CartFill]) -> Iterator[Finding]:
    """Name loads that whole bags do not make up."""
    slack = 1e-3
    opened = [
        f.number
        for f in fills
        if any(
            b.bag_kg is not None and slack < part.mass_kg / b.bag_kg % 1 < 1 - slack
            for part, b in zip(f.bins, seeding.bins, strict=True)
        )
    ]
    if opened:
        yield Finding.warning("bag_opened", loads=tuple(map(str, opened)))


def _ending_within(fills: Sequence[CartFill]) -> Iterator[Finding]:
    """Name loads before which the cart runs empty within a pass."""
    if within := [f.number for f in fills if f.into_pass > 0]:
        yield Finding.warning("filled_within_pass", loads=tuple(map(str, within)))


def _left_for_whole_passes(
    names: Sequence[str],
    covered_m2: Mapping[str, float],
    anyhow: SeedingSchedule,
    schedule: SeedingSchedule,
) -> Iterator[Finding]:
    """Tell what would be seeded if days could end within a pass, and bags be opened."""
    if schedule.value < anyhow.value * (1 - VALUE_TOLERANCE):
        area = np.array([covered_m2[name] for name in names])
        lacks = float(area @ (anyhow.share - schedule.share).sum(axis=1))
        yield Finding.note("left_for_whole_passes", area_m2=max(lacks, 0.0))


def drilled(paddock: Paddock) -> Field:
    """The ground of a paddock that is to be seeded: without what is too wet this time."""
    field, wet = paddock.field, [one.ground for one in paddock.keep_out]
    if not wet:
        return field
    bare = [g for g in (field.unworkable, *wet) if g is not None]
    return replace(field, unworkable=in_degrees(union, np.array(bare)))


class _Laying:
    """Passes of paddocks, laid once for the same ground."""

    def __init__(self, drive: Drive, done: Mapping[str, DoneGround], jobs: int, say: Say) -> None:
        self.drive, self.done, self.jobs, self.say = drive, done, jobs, say
        self._laid: dict[tuple[str, int], PassPlan] = {}

    def passes(self, grazing: Grazing) -> tuple[PassPlan, ...]:
        """Passes of all paddocks that are to be seeded, in their order."""
        seeded = [paddock for paddock in grazing.paddocks if paddock.seeded]
        new = [paddock for paddock in seeded if _ground_of(paddock) not in self._laid]
        fields = [(drilled(paddock), self.drive) for paddock in new]
        with workers.shared(lay_passes, fields, min(self.jobs, len(new) // _PER_PROCESS)) as laid:
            for number, (paddock, call) in enumerate(zip(new, laid, strict=True), 1):
                self.say(f"laying out passes, paddock {number} of {len(new)}")
                plan, ground = call(), self.done.get(paddock.field.name)
                if ground is not None:
                    plan = passes_left(plan, ground.cover)
                self._laid[_ground_of(paddock)] = plan
        return tuple(self._laid[_ground_of(paddock)] for paddock in seeded)


def _ground_of(paddock: Paddock) -> tuple[str, int]:
    return paddock.field.name, len(paddock.keep_out)


def _with_wet_ground(grazing: Grazing, solved: Callable[[Grazing], _Solved]) -> _Solved:
    """Decide which paddocks wait until their wet ground bears the drill.

    All of them do at first; one that cannot be seeded whole then is seeded sooner, without its
    wettest ground. Of these plans the most valuable is taken.
    """
    dry = {
        paddock.field.name: sorted({one.until for one in paddock.keep_out if one.until})
        for paddock in grazing.paddocks
    }
    best: _Solved | None = None
    while True:
        paddocks = tuple(_waiting(p, dry[p.field.name]) for p in grazing.paddocks)
        found = solved(replace(grazing, paddocks=paddocks))
        if best is None or found[2].value > best[2].value * (1 + VALUE_TOLERANCE):
            best = found
        windows, share = found[0].windows, found[2].share.sum(axis=1)
        short = {w.paddock for w, part in zip(windows, share, strict=True) if part < WHOLE_SHARE}
        sooner = [name for name in dry if name in short and dry[name]]
        if not sooner:
            return best
        for name in sooner:
            dry[name].pop()


def _waiting(paddock: Paddock, days: Sequence[dt.date]) -> Paddock:
    """A paddock that waits for the last of some days, and so for the ground that is dry by then."""
    if not days:
        return paddock
    day = max([days[-1], *filter(None, [paddock.not_before])])
    wet = tuple(one for one in paddock.keep_out if one.until is None or one.until > day)
    return replace(paddock, not_before=day, keep_out=wet)


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
        load_m2=None if seeding.load_kg is None else seeding.load_kg / seeding.rate_kg_per_m2,
        blocks=seeding.blocks,
    )


def cart_of(seeding: Seeding) -> Cart | None:
    """What the cart takes; None where it is never refilled."""
    on_hand = math.inf if seeding.on_hand_kg is None else seeding.on_hand_kg
    return Cart(seeding.bins, seeding.sow_within_days, on_hand) if seeding.bins else None


@dataclass(frozen=True, eq=False)
class _Task:
    """A season made into a problem."""

    grazing: Grazing
    seeding: Seeding
    herd: GrazingPlan
    windows: tuple[SeedingWindow, ...]  # of the paddocks that are to be seeded
    calendar: tuple[WorkDay, ...]
    problem: ScheduleProblem
    lever: str | None  # what makes days longer

    @classmethod
    def of(
        cls,
        grazing: Grazing,
        seeding: Seeding,
        passes: Sequence[PassPlan],
        time_zone: str | None,
    ) -> _Task:
        """Work out moves, windows and days; ``passes`` are of the paddocks to be seeded."""
        herd = plan_grazing(grazing)
        days = plan_days(grazing, herd, seeding)
        windows = seeding_windows(grazing, herd, seeding, days)
        outlines = [p.field.boundary for p in grazing.paddocks]
        west, south, east, north = shapely.total_bounds(outlines)
        lon, lat = float(west + east) / 2, float(south + north) / 2

        def calendar_of(seeding: Seeding) -> tuple[WorkDay, ...]:
            return work_days(days, seeding, lon, lat, time_zone)

        calendar = calendar_of(seeding)
        lever, longer_s = _longer(seeding, calendar_of)
        values = [paddock.value for paddock in grazing.paddocks if paddock.seeded]
        problem = replace(
            _problem(values, passes, windows, seeding, calendar),
            taken_s=_taken(seeding, calendar_of),
            longer_s=longer_s,
        )
        return cls(grazing, seeding, herd, windows, calendar, problem, lever)


def _eased(problem: ScheduleProblem, granular: Granular) -> tuple[Eased, bool]:
    """What to relax, and whether a day in the schedule of it has room to end with a pass.

    Days that are shorter by the longest pass have that room.
    """
    eased = smallest_relaxation(problem)
    if eased.share is None or granular.has_whole_passes(eased.share):
        return eased, True
    longest_s = granular.longest(problem.work_s)
    shorter_s = np.maximum(problem.capacity_s - longest_s, 0.0)
    roomy = smallest_relaxation(replace(problem, capacity_s=shorter_s))
    if roomy.share is None or _out_of_reach(roomy) != _out_of_reach(eased):
        return eased, False
    return roomy, True


def _out_of_reach(eased: Eased) -> set[int | None]:
    return {whose for what, whose, _ in eased.told if what == BEYOND}


def _relaxed(
    eased: Eased, task: _Task, passes: Sequence[PassPlan], time_zone: str | None
) -> tuple[tuple[Relaxation, ...], bool]:
    """Say what to relax, follow it, and see whether there is a schedule then."""
    relaxations, holds = _followed(eased, task, passes, time_zone)
    others = [_followed(other, task, passes, time_zone) for other in eased.others]
    instead = tuple(r for told, works in others if works for r in told if r.rule not in _APART)
    out = [r if r.rule in _APART else replace(r, instead=instead) for r in relaxations]
    return tuple(out), holds


def _followed(
    eased: Eased, task: _Task, passes: Sequence[PassPlan], time_zone: str | None
) -> tuple[tuple[Relaxation, ...], bool]:
    """What to set to what, and whether there is a schedule with all of it."""
    stays = task.herd.stays
    relaxations = tuple(
        remedies(
            eased,
            names=[window.paddock for window in task.windows],
            calendar=task.calendar,
            stays=stays,
            grazing=task.grazing,
            seeding=task.seeding,
            lever=task.lever,
        )
    )
    if eased.share is None:
        return relaxations, False
    season = followed(relaxations, task.grazing, task.seeding, stays, task.calendar)
    then = _Task.of(*season, passes, time_zone)
    days, later = ([day.day for day in one.calendar] for one in (task, then))
    share = laid_out(eased.share, days, later)
    if share is None or (share[~then.problem.open_days] > 0).any():
        return relaxations, False
    rate = then.problem.least_rate_kg_per_m2
    return relaxations, Candidate.of(then.problem, share, rate).fits


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


def _longer(
    seeding: Seeding, calendar_of: Callable[[Seeding], Sequence[WorkDay]]
) -> tuple[str | None, FloatArray]:
    """Name the setting that makes days with any time longer, and by how much at most."""
    planned = _planned_s(calendar_of(seeding))
    for lever in LEVERS:
        if getattr(seeding, lever) is not None:
            without: dict[str, Any] = {lever: None}
            most = _planned_s(calendar_of(replace(seeding, **without)))
            longer_s = np.where(planned > 0, np.maximum(most - planned, 0.0), 0.0)
            if longer_s.any():
                return lever, longer_s
    return None, np.zeros_like(planned)


def _planned_s(calendar: Sequence[WorkDay]) -> FloatArray:
    return np.array([day.planned_s for day in calendar])


def _problem(
    values: Sequence[float],
    passes: Sequence[PassPlan],
    windows: Sequence[SeedingWindow],
    seeding: Seeding,
    calendar: Sequence[WorkDay],
) -> ScheduleProblem:
    cart, on_hand = cart_of(seeding), seeding.on_hand_kg
    driven = np.array([p.work_m * p.drive.width_m for p in passes])
    covered = np.array([p.covered_m2 for p in passes])
    limits = {
        Rule.RESIDUAL: seeding.residual_most_kg_per_m2,
        Rule.REGROWTH: seeding.regrowth_most_kg_per_m2,
    }
    return ScheduleProblem(
        area_m2=driven,
        value_per_m2=np.array(values)
        * np.divide(covered, driven, out=np.zeros_like(driven), where=driven > 0),
        work_s=np.array([p.field_time_s for p in passes]),
        forbidden=dict(_forbidden(windows, (len(passes), len(calendar)))),
        capacity_s=_planned_s(calendar),
        least_rate_kg_per_m2=seeding.least_rate_kg_per_m2,
        rate_kg_per_m2=seeding.rate_kg_per_m2,
        most_rate_kg_per_m2=seeding.most_rate_kg_per_m2,
        on_hand_kg=None
        if on_hand is None
        else max(on_hand - (cart.least_kg if cart else 0.0), 0.0),
        load_kg=cart.load_kg if cart else None,
        start_kg=cart.start_kg if cart else 0.0,
        within_days=seeding.sow_within_days,
        refill_s=seeding.refill_s,
        setup_s=seeding.setup_s,
        fills_from=sum(day.day < seeding.first_day for day in calendar) if seeding.first_day else 0,
        common=frozenset({Rule.SEASON + EARLIER, Rule.SEASON + LATER}),
        counts_as_day={rule: _LIMIT_DAY * most for rule, most in limits.items() if most},
    )


def _forbidden(
    windows: Sequence[SeedingWindow], shape: tuple[int, int]
) -> Iterator[tuple[str, FloatArray]]:
    """How far each rule has to move, those with two sides each by itself."""
    for rule in Rule:
        far = np.array([w.blocked[rule] for w in windows], dtype=float).reshape(shape)
        if rule in TWO_SIDED:
            yield rule + EARLIER, np.maximum(-far, 0.0)
            yield rule + LATER, np.maximum(far, 0.0)
        else:
            yield rule.value, np.abs(far)


def _paddock_plan(
    paddock: Paddock,
    seeding: Seeding,
    herd: GrazingPlan,
    visits: Sequence[Visit],
    planned: tuple[SeedingWindow, PassPlan, float | None] | None,
    done: DoneGround | None,
) -> PaddockPlan:
    """All of one paddock; the window, passes and chance only where it is to be seeded."""
    name = paddock.field.name
    here = tuple(visit for visit in visits if visit.paddock == name)
    rest = dt.timedelta(days=seeding.ungrazed_days)
    area, workable = ground_m2(paddock)
    window, passes, chance = planned or (None, None, None)
    over = [visit.day for visit in here] or ([done.last_day] if done and done.last_day else [])
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
        graze_from=max(over) + rest if over else None,
        done=done,
    )
