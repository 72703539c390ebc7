"""The chance that what is planned gets done, over many simulated seasons."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evenacre.model import BoolArray, FloatArray
from evenacre.planning.interseeding.fills import loads_of, sown_in
from evenacre.planning.interseeding.loads import LOAD_TOLERANCE
from evenacre.planning.interseeding.plan_types import ScheduleProblem, SeedingSchedule

_DONE = 2e-6
"""Part of a paddock, or of a load, that is not missed."""

_GRACE_S = 2e-3  # the solver keeps the hours of a day no closer


@dataclass(frozen=True)
class Chances:
    """How likely the plan is to be done in time."""

    # (m,); that all planned for a paddock is done inside its window; 1 where nothing is planned
    each: FloatArray
    all: float  # that all of it is done


def simulate(
    problem: ScheduleProblem,
    schedule: SeedingSchedule,
    full_s: FloatArray,
    lost_chance: float,
    lost: BoolArray,
    *,
    runs: int,
    random_seed: int,
) -> Chances:
    """Play the plan through so many seasons in which days are lost at random.

    A day is lost or good as a whole, each by itself; days known as lost (n,) are lost in every
    season. A good day has all its time, ``full_s`` (n,): first goes what is planned up to that
    day and not done yet, that first which closes first; then the drill goes on with what is
    planned for later, where it is open already. Work slides only to days that no rule forbids.
    Loads are those of the plan, in their order; a drill that has time left in the evening puts
    the next into an empty cart.

    Chances have a standard error of sqrt(chance (1 - chance) / runs).
    """
    m, n = schedule.share.shape
    draws = np.random.default_rng(random_seed).random((n, runs))
    good = (draws >= lost_chance) & ~lost[:, None]
    season = _Season(problem, schedule, runs)
    for day in range(n):
        season.play(day, np.where(good[day], full_s[day], 0.0))
    done = season.left <= season.slack_kg[:, None]
    return Chances(
        each=done.mean(axis=1) if runs else np.ones(m), all=float(done.all(axis=0).mean())
    )


class _Season:
    """All runs of a season, side by side: what is left of each paddock, and in the cart."""

    def __init__(self, problem: ScheduleProblem, schedule: SeedingSchedule, runs: int) -> None:
        self.setup_s, self.refill_s = problem.setup_s, problem.refill_s
        # Seed sown when each load is at an end; a cart that is never filled never runs empty.
        self.ends_kg, filled, load_kg = np.array([0.0, np.inf]), 1, 0.0
        if problem.load_kg is not None and problem.counts_fills and schedule.fills.any():
            load_kg, filled = problem.load_kg, 0
            plain, _ = loads_of(schedule.fills, schedule.sown_kg(problem), load_kg)
            self.ends_kg = plain if schedule.ends_kg is None else schedule.ends_kg
        full_kg = problem.seed_kg(schedule.rate_kg_per_m2)
        self.kg_per_s = np.divide(
            full_kg, problem.work_s, out=np.full(len(full_kg), 1e300), where=problem.work_s > 0
        )
        self.planned_kg = full_kg[:, None] * schedule.share
        self.due_kg = np.cumsum(self.planned_kg, axis=1)
        total = self.due_kg[:, -1] if self.due_kg.shape[1] else np.zeros(len(full_kg))
        self.total_kg = total
        self.left = np.repeat(total[:, None], runs, axis=1)
        self.slack_kg = _DONE * np.maximum(full_kg, load_kg)
        self.empty_kg = LOAD_TOLERANCE * load_kg
        self.sown_kg, self.filled = np.zeros(runs), np.full(runs, filled)
        self.open = problem.open_days
        days = np.arange(self.open.shape[1])
        self.last = np.where(self.open, days, -1).max(axis=1, initial=-1)
        self.first = np.where(self.planned_kg > 0, days, len(days)).min(axis=1, initial=len(days))

    def play(self, day: int, time: FloatArray) -> None:
        """Let one day pass; ``time`` is what each run has of it."""
        if not time.any():
            return
        here = [int(p) for p in np.nonzero(self.open[:, day] & (self.total_kg > 0))[0]]
        worked = {p: np.zeros(len(time), dtype=bool) for p in here}
        begun = [p for p in here if self.due_kg[p, day] > 0]
        for p in sorted(begun, key=lambda p: (self.last[p], p)):
            behind = self.left[p] - (self.total_kg[p] - self.due_kg[p, day])
            time, worked[p] = self._work(p, np.maximum(behind, 0.0), time, worked[p])
        for p in sorted(here, key=lambda p: (self.first[p], self.last[p])):
            time, worked[p] = self._work(p, self.left[p], time, worked[p])
        more = self.filled < len(self.ends_kg) - 1
        empty = self.ends_kg[self.filled] - self.sown_kg <= self.empty_kg
        self.filled += more & empty & (time + _GRACE_S >= self.refill_s)

    def _work(
        self, paddock: int, wanted_kg: FloatArray, time: FloatArray, here: BoolArray
    ) -> tuple[FloatArray, BoolArray]:
        """Sow up to ``wanted_kg`` in a paddock; set-up is paid once a day."""
        setup = np.where(here, 0.0, self.setup_s)
        work = (wanted_kg > self.slack_kg[paddock]) & (time + _GRACE_S > setup)
        if not work.any():
            return time, here
        sown, self.filled, spent = sown_in(
            np.where(work, wanted_kg, 0.0),
            self.sown_kg,
            self.filled,
            np.where(work, np.maximum(time - setup, 0.0) + _GRACE_S, 0.0),
            self.kg_per_s[paddock],
            self.ends_kg,
            self.refill_s,
        )
        self.left[paddock] -= sown
        self.sown_kg += sown
        work &= sown > 0
        time = np.maximum(time - np.where(work, spent + setup, 0.0), 0.0)
        return time, here | work
