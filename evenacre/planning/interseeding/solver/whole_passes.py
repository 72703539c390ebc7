"""A schedule in whole passes: no day ends within one, and loads are of whole bags."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from scipy import sparse

from evenacre.model import BoolArray, FloatArray, IntArray, SeedBin
from evenacre.planning.interseeding.plan_types import (
    WHOLE_SHARE,
    ScheduleProblem,
    SeedingSchedule,
)
from evenacre.planning.interseeding.solver.candidate import (
    Candidate,
    greedy_schedules,
    lateness,
)
from evenacre.planning.interseeding.solver.program import Program, Slots, picks, schedule_program
from evenacre.planning.interseeding.solver.solve import PROVEN_GAP

Ends = Sequence[FloatArray]
Fits = Callable[[SeedingSchedule], bool]

# A visit that ends so near to the end of a pass, as a part of the paddock, ends with it.
_ROUNDING = 1e-7
# Of all seed: parts of paddocks come out of the solver no closer.
_SAME_SEED = 1e-7
# Of all there is to seed: no one drives to a paddock once more for less (common practice, no
# source).
_VISIT = 0.005
# Of the value: looking for the last pass of many paddocks takes long.
_GAP = 1e-4
# A program of more possible ends of days takes too long (some seconds).
_MOST_ENDS = 6000
# The solver keeps its rows no closer.
_SPARE_S = 0.01


@dataclass(frozen=True)
class Granular:
    """What a schedule comes in: passes, and the bags of each compartment."""

    # For each paddock the part of it that is done at the end of each pass, from 0 to 1
    ends: Ends
    bins: tuple[SeedBin, ...] = ()

    def has_whole_passes(self, share: FloatArray) -> bool:
        """Whether every day of shares (m, n) ends with a pass."""
        for own, ends in zip(np.cumsum(share, axis=1), self.ends, strict=True):
            if np.abs(own[:, None] - ends).min(axis=1).max(initial=0.0) > _ROUNDING:
                return False
        return True

    def longest(self, whole: FloatArray) -> float:
        """The most that one pass takes of what whole paddocks take, shape (m,)."""
        passes = (float(np.diff(ends).max(initial=0.0)) for ends in self.ends)
        return max((part * all_ for part, all_ in zip(passes, whole, strict=True)), default=0.0)


def in_whole_passes(
    problem: ScheduleProblem,
    schedule: SeedingSchedule,
    granular: Granular,
    fits: Fits,
    *,
    time_limit_s: float = 1.0,
) -> SeedingSchedule:
    """Let every day of a schedule end with a pass, at its rate, for as much value as can be kept.

    Parameters
    ----------
    problem : ScheduleProblem
        m paddocks on n days.
    schedule : SeedingSchedule
        Of any parts of paddocks. Its bound holds for whole passes all the more.
    granular : Granular
    fits : callable
        Whether there are loads for a schedule: of whole bags, and each ending with a pass.
    time_limit_s : float
        For each of a few programs.

    Returns
    -------
    SeedingSchedule
        The first of these that loses next to nothing, else the most valuable: the days of the
        schedule driven as far as their time goes; with the best ends that a program finds; with
        smaller loads, so that each has room to end with a pass; with any other open days for the
        paddocks that are seeded in parts; with any open days for all; schedules by plain rules
        whose loads are all full. Where no loads fit any, those of the one returned do not either.
    """
    if granular.has_whole_passes(schedule.share) and fits(schedule):
        return schedule
    price = _VISIT * float(problem.value_per_m2 @ problem.area_m2)
    best: Candidate | None = None
    unloaded: Candidate | None = None
    for share in _tries(problem, schedule, granular, time_limit_s):
        rate = _that_lasts(problem, share, schedule.rate_kg_per_m2)
        found = Candidate.of(problem, share, rate)
        if not found.fits:
            continue
        if not fits(_scheduled(schedule, found)):
            unloaded = found if unloaded is None else unloaded
        elif best is None or _score(found, price) > _score(best, price):
            best = found
        if best is not None and best.value >= schedule.value - price:
            break
    kept = unloaded if best is None else best
    return schedule if kept is None else _scheduled(schedule, kept)


def _score(found: Candidate, price: float) -> float:
    return found.value - price * found.visits


def _scheduled(schedule: SeedingSchedule, found: Candidate) -> SeedingSchedule:
    gap = max(1.0 - found.value / schedule.bound, 0.0) if schedule.bound > 0 else 0.0
    return replace(
        schedule,
        share=found.share,
        fills=found.fills,
        rate_kg_per_m2=found.rate_kg_per_m2,
        value=found.value,
        proven=gap <= PROVEN_GAP,
        gap=gap,
        gap_of_passes=max(gap - schedule.gap, 0.0),
    )


def _that_lasts(problem: ScheduleProblem, share: FloatArray, rate_kg_per_m2: float) -> float:
    """The rate, less by what whole passes of it take more than parts that were rounded."""
    sown_kg = float(problem.seed_kg(rate_kg_per_m2) @ share.sum(axis=1))
    if problem.on_hand_kg is None or not 0 < sown_kg / (1 + _SAME_SEED) < problem.on_hand_kg:
        return rate_kg_per_m2
    return rate_kg_per_m2 * min(problem.on_hand_kg / sown_kg, 1.0)


def _tries(
    problem: ScheduleProblem, schedule: SeedingSchedule, granular: Granular, time_limit_s: float
) -> Iterator[FloatArray]:
    """Shares, shape (m, n), that may do."""
    for catch_up in (False, True):
        yield _as_far(problem, schedule, granular.ends, catch_up=catch_up)
    visited = schedule.share > 0
    loads = [problem]
    longest_kg = granular.longest(problem.seed_kg(schedule.rate_kg_per_m2))
    if problem.load_kg is not None and longest_kg < problem.load_kg:
        loads.append(replace(problem, load_kg=problem.load_kg - longest_kg))
    whole = _kept_whole(schedule.share)
    loose = ~whole[:, None] & problem.open_days
    some = (whole, (visited, visited | loose))
    for kept, days in (some, (np.zeros_like(whole), (problem.open_days,))):
        for allowed, one in product(days, loads):
            found = _solved(one, schedule, granular, allowed, kept, time_limit_s)
            if found is not None:
                yield found
    slots = Slots.of(problem, problem.open_days, problem.capacity_s)
    wanted = np.minimum(schedule.share.sum(axis=1), 1.0)
    for share in greedy_schedules(slots, schedule.rate_kg_per_m2, problem.capacity_s, wanted):
        yield _shortened(share, granular.ends)


def _as_far(
    problem: ScheduleProblem, schedule: SeedingSchedule, ends: Ends, *, catch_up: bool
) -> FloatArray:
    """Go on each day to the last pass that its time allows, what ends that day first.

    ``catch_up``: what is behind the schedule goes on on any open day with time for a pass.
    """
    share, out = schedule.share, np.zeros_like(schedule.share)
    goal, done = share.sum(axis=1), np.zeros(len(share))
    by_then = np.cumsum(share, axis=1)
    days = share.any(axis=0) | catch_up & problem.open_days.any(axis=0)
    for day in np.flatnonzero(days):
        planned = (share[:, day] > 0) & (done < goal - _ROUNDING)
        behind = problem.open_days[:, day] & (done < by_then[:, day] - _ROUNDING)
        time = problem.capacity_s[day] - problem.setup_s * planned.sum()
        time -= problem.refill_s * schedule.fills[day]
        over = by_then[:, day] >= goal - _ROUNDING
        for p in np.lexsort((~over, ~planned)):
            if not planned[p] and not (catch_up and behind[p]):
                continue
            left = time - (0.0 if planned[p] else problem.setup_s)
            far = min(goal[p], done[p] + max(left, 0.0) / max(problem.work_s[p], 1e-9))
            last = np.searchsorted(ends[p], far + _ROUNDING, side="right") - 1
            more = max(ends[p][last] - done[p], 0.0)
            if more > 0:
                out[p, day], done[p] = more, ends[p][last]
                time = left - more * problem.work_s[p]
    return out


def _kept_whole(share: FloatArray) -> BoolArray:
    """Paddocks that are seeded whole on one day, or not at all, shape (m,)."""
    return np.asarray((share.max(axis=1) >= WHOLE_SHARE) | ~(share > 0).any(axis=1))


def _shortened(share: FloatArray, ends: Ends) -> FloatArray:
    """Let each day end with the last pass that is whole by then."""
    out = np.zeros_like(share)
    for p, own in enumerate(np.cumsum(share, axis=1)):
        last = np.searchsorted(ends[p], own + _ROUNDING, side="right") - 1
        out[p] = np.diff(ends[p][last], prepend=0.0)
    return out


def _solved(
    problem: ScheduleProblem,
    schedule: SeedingSchedule,
    granular: Granular,
    allowed: BoolArray,
    kept: BoolArray,
    time_limit_s: float,
) -> FloatArray | None:
    """Move the ends of days to those of passes: most value, with few visits, early.

    Paddocks that are ``kept`` (m,) stay as they are scheduled.
    """
    end = time.monotonic() + time_limit_s
    tighter = replace(problem, capacity_s=np.maximum(problem.capacity_s - _SPARE_S, 0.0))
    for one in (problem, tighter):
        slots = Slots.of(one, allowed, one.capacity_s)
        if not len(slots):
            return None
        program = schedule_program(slots, schedule.rate_kg_per_m2)
        _bind_bags(program, slots, schedule.rate_kg_per_m2, granular.bins)
        which, of_slot = _bind_passes(program, slots, kept, granular.ends)
        if len(which) > _MOST_ENDS:
            return None
        decided = kept[slots.paddock]
        share = schedule.share[slots.paddock, slots.day]
        fixed = {
            "share": np.where(decided, np.minimum(share, slots.most), np.nan),
            "visit": np.where(decided, 1.0, np.nan),
        }
        left_s = end - time.monotonic()
        late = lateness(one)[slots.paddock, slots.day]
        cost = {
            "share": _VISIT * late / 2 - slots.worth,
            "visit": np.full(len(slots), _VISIT),
        }
        left_s = end - time.monotonic()
        values = program.solve(cost, time_limit_s=left_s, gap=_GAP, fixed=fixed).values
        if values is None:
            continue
        out = np.where(kept[:, None], schedule.share, 0.0)
        found = _with_ends(out, slots, values, which, of_slot, granular.ends)
        rate = _that_lasts(problem, found, schedule.rate_kg_per_m2)
        if Candidate.of(problem, found, rate).fits:
            return found
    return None


def _bind_passes(
    program: Program, slots: Slots, kept: BoolArray, ends: Ends
) -> tuple[IntArray, IntArray]:
    """Bind what is done of a paddock by each of its days to the end of a pass.

    Adds a block ``end``, one unknown for each slot and pass at whose end it may stop. Returned are
    the number of the pass and the slot of each.
    """
    loose = np.flatnonzero(~kept[slots.paddock])
    count = [len(ends[p]) for p in slots.paddock[loose]]
    of_slot = np.repeat(np.arange(len(loose)), count)
    which = np.concatenate([np.zeros(0, dtype=np.int64), *map(np.arange, count)])
    part = np.concatenate([np.zeros(0), *(ends[p] for p in slots.paddock[loose])])
    program.add("end", np.ones(len(which)), whole=True)
    size = (len(loose), len(which))
    one = picks(of_slot, np.arange(len(which)), size)
    program.bind({"end": one}, low=1.0, high=1.0)
    before = (slots.paddock[loose][:, None] == slots.paddock) & (
        slots.day <= slots.day[loose][:, None]
    )
    program.bind(
        {"share": sparse.csr_array(before.astype(np.float64)), "end": -one * part},
        low=0.0,
        high=0.0,
    )
    return which, loose[of_slot]


def _bind_bags(
    program: Program, slots: Slots, rate_kg_per_m2: float, bins: Sequence[SeedBin]
) -> None:
    """Bind what is in each compartment in the evening to the whole bags that were put in.

    A bag goes in as soon as there is room for it, so that no more than so many bags a fill, and
    room for what is left in the evening, is all it takes. In a cart of two compartments both have
    to be so at the same stops, which these rows do not see.
    """
    problem, q = slots.problem, len(slots.days)
    if not problem.counts_fills:
        return
    sown = picks(slots.place, np.arange(len(slots)), (q, len(slots)))
    seed_kg = problem.seed_kg(rate_kg_per_m2)[slots.paddock]
    kept = sparse.eye_array(q) - sparse.eye_array(q, k=-1)
    for number, held in enumerate(bins):
        if held.bag_kg is None:
            continue
        at_once = round(held.bags_kg(held.room_kg) / held.bag_kg)
        bags, left = f"bags {number}", f"left {number}"
        program.add(bags, at_once * program.upper["fills"], whole=True)
        # In bags: the solver's tolerances are absolute.
        program.add(left, np.full(q, held.room_kg / held.bag_kg))
        there = max(held.start_kg - held.least_kg, 0.0) / held.bag_kg
        start = np.where(np.arange(q) == 0, there, 0.0)
        taken = sown @ sparse.diags_array(seed_kg * held.share / held.bag_kg)
        program.bind(
            {left: kept, "share": taken, bags: -sparse.eye_array(q)}, low=start, high=start
        )
        program.bind({bags: sparse.eye_array(q), "fills": -at_once * sparse.eye_array(q)}, high=0.0)


def _with_ends(
    share: FloatArray,
    slots: Slots,
    values: dict[str, FloatArray],
    which: IntArray,
    of_slot: IntArray,
    ends: Ends,
) -> FloatArray:
    """Put the passes that were chosen into shares, shape (m, n)."""
    chosen = np.flatnonzero(values["end"] > 0.5)
    slot, number = of_slot[chosen], which[chosen]
    for p in np.unique(slots.paddock[slot]):
        own = slots.paddock[slot] == p
        order = np.argsort(slots.day[slot[own]])
        done = ends[p][number[own][order]]
        share[p, slots.day[slot[own]][order]] = np.diff(done, prepend=0.0)
    return share
