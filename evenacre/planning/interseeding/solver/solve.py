"""Which paddock is seeded on which day: the most valuable ground the days and the seed allow."""

from __future__ import annotations

import time

import numpy as np

from evenacre.planning.interseeding.plan_types import ScheduleProblem, SeedingSchedule
from evenacre.planning.interseeding.solver.candidate import (
    VALUE_TOLERANCE,
    Candidate,
    greedy_schedules,
    lateness,
    settled,
)
from evenacre.planning.interseeding.solver.program import Slots, schedule_program

PROVEN_GAP = 1e-6
"""Relative; a value so near to the bound counts as proven."""
_RATE_STEP = 0.01  # of the range from the least rate to the highest
_TRIES = 8
_HALVINGS = 40
_LATENESS = 0.5  # below the cost of one visit, even at its worst


def solve_schedule(problem: ScheduleProblem, *, time_limit_s: float = 6.0) -> SeedingSchedule:
    """Seed the most valuable ground inside windows, hours and seed.

    First the most value, at the least rate; then the highest rate that keeps that value, so
    that the seed comes out even: up to ``most_rate_kg_per_m2`` where the seed on hand is known,
    else up to the rate wanted; then the fewest visits, and the earliest days.

    A paddock may be seeded in part or on several days, with set-up each time. The cart starts
    empty and is filled when it is empty, with a load or less, and the fill takes its time from
    that day; it may be filled on an earlier day than it is sown.

    The time limit is for all of the solving together: a problem that is solved in time has the
    same answer every time; one that is not may have another. ``bound`` and ``proven`` speak of
    the value, at every rate from the least to the highest and with loads of any size: what can
    be sown at one rate can be at a lower one, with every load smaller by as much. For the same
    reason the rates that keep the value have no gap below the highest, so halving finds it. Only
    where fills bind is the rate short of that, by a hundredth of its range at most when time
    suffices.
    """
    end = time.monotonic() + time_limit_s
    slots = Slots.of(problem, problem.open_days, problem.capacity_s)
    if len(slots):
        best, bound = _most_valuable(slots, time_limit_s=0.55 * time_limit_s)
        best = _at_highest_rate(slots, best, end=end - 0.25 * time_limit_s)
        best = _tidied(slots, best, end=min(end, time.monotonic() + 0.25 * time_limit_s))
    else:
        best = Candidate.of(problem, np.zeros(problem.shape), problem.rate_kg_per_m2)
        bound = 0.0
    bound = max(bound, best.value)
    gap = (bound - best.value) / bound if bound > 0 else 0.0
    return SeedingSchedule(
        best.share, best.fills, best.rate_kg_per_m2, best.value, bound, gap <= PROVEN_GAP, gap
    )


def _most_valuable(slots: Slots, *, time_limit_s: float) -> tuple[Candidate, float]:
    """Find the most value at the least rate, and what no schedule exceeds.

    Plain rules often reach what the linear relaxation allows; only where they do not is the
    whole-number program solved.
    """
    problem = slots.problem
    rate = problem.least_rate_kg_per_m2
    end = time.monotonic() + time_limit_s
    program = schedule_program(slots, rate)
    cost = {"share": -slots.worth}
    bound = whole = float(problem.value_per_m2 @ problem.area_m2)
    wanted = [np.ones(problem.shape[0])]
    relaxed = program.solve(cost, time_limit_s=time_limit_s, loose=frozenset(program.whole))
    if relaxed.optimal and relaxed.values is not None:
        bound = min(bound, -relaxed.cost * whole)
        wanted.append(np.minimum(slots.spread(relaxed.values["share"]).sum(axis=1), 1.0))
    best = Candidate.of(problem, np.zeros(problem.shape), rate)
    for amounts in wanted:
        for share in greedy_schedules(slots, rate, problem.capacity_s, amounts):
            found = Candidate.of(problem, share, rate)
            if found.fits and found.better_than(best):
                best = found
    if best.value >= bound * (1 - VALUE_TOLERANCE):
        return best, bound

    left_s = end - time.monotonic()
    solution = program.solve(cost, time_limit_s=left_s, start=best.start(slots))
    if solution.infeasible:
        return best, bound
    bound = min(bound, -solution.bound * whole)
    settling = settled(slots, program, solution, rate)
    if settling is not None and settling.better_than(best):
        best = settling
    return best, bound


def _at_highest_rate(slots: Slots, best: Candidate, *, end: float) -> Candidate:
    """Raise the rate as far as the value can be kept.

    The seed on hand over the ground seeded is the highest; the rate wanted where the seed is
    not limited. Where a higher rate means fills that the days have no time for, other days are
    tried, and the range is halved.
    """
    problem, known = slots.problem, best
    least, top = problem.least_rate_kg_per_m2, problem.rate_kg_per_m2
    if problem.on_hand_kg is not None:
        even = problem.on_hand_kg / best.area_m2 if best.area_m2 > 0 else top
        top = min(even, problem.most_rate_kg_per_m2)
    top = max(top, least)
    best = _raised(known, top)
    if not problem.counts_fills or top <= least:
        return best
    high = tried = top
    for _ in range(_TRIES):
        if high - best.rate_kg_per_m2 <= _RATE_STEP * (top - least) or time.monotonic() >= end:
            break
        kept = _kept(slots, known, tried, end=end)
        if kept is None:
            high = tried
        else:
            best = _raised(kept, top)
        tried = (best.rate_kg_per_m2 + high) / 2
    return best


def _raised(best: Candidate, top: float) -> Candidate:
    """Raise the rate of a candidate and leave its days as they are."""
    if top <= best.rate_kg_per_m2:
        return best
    at_top = Candidate.of(best.problem, best.share, top)
    if at_top.fits:
        return at_top
    low, high = best.rate_kg_per_m2, top
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        tried = Candidate.of(best.problem, best.share, middle)
        if tried.fits:
            best, low = tried, middle
        else:
            high = middle
    return best


def _kept(slots: Slots, known: Candidate, rate: float, *, end: float) -> Candidate | None:
    """Find a candidate at another rate that is worth as much, if one is found in time."""
    problem = slots.problem
    goal = known.value * (1 - VALUE_TOLERANCE)
    wanted = np.minimum(known.share.sum(axis=1), 1.0)
    for share in greedy_schedules(slots, rate, problem.capacity_s, wanted):
        other = Candidate.of(problem, share, rate)
        if other.value >= goal and other.fits:
            return other
    whole = float(problem.value_per_m2 @ problem.area_m2)
    program = schedule_program(slots, rate).narrowed({"share": slots.worth}, low=goal / whole)
    solution = program.solve({}, time_limit_s=(end - time.monotonic()) / 2)
    found = settled(slots, program, solution, rate)
    good = found is not None and found.value >= goal * (1 - VALUE_TOLERANCE) and found.fits
    return found if good else None


def _tidied(slots: Slots, best: Candidate, *, end: float) -> Candidate:
    """Look for a candidate of the same value and rate with fewer or earlier visits."""
    begin = time.monotonic()
    if begin >= end or not best.visits:
        return best
    problem = slots.problem
    goal = best.value / float(problem.value_per_m2 @ problem.area_m2)
    program = schedule_program(slots, best.rate_kg_per_m2)
    program.bind({"share": slots.worth}, low=goal * (1 - 1e-9))
    program.bind({"visit": np.ones(len(slots))}, high=float(best.visits))
    late = lateness(problem)[slots.paddock, slots.day]
    cost = {"visit": np.ones(len(slots)), "share": _LATENESS * late}
    solution = program.solve(cost, time_limit_s=end - begin, gap=1e-6, start=best.start(slots))
    found = settled(slots, program, solution, best.rate_kg_per_m2)
    return found if found is not None and found.fits and found.better_than(best) else best
