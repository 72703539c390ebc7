"""Time the planning of when to seed which paddock: 40 paddocks over 120 days.

    python benchmarks/interseed.py [--paddocks 40] [--days 120]

Prints, for farms from roomy to short of everything, what part of the value is seeded, whether
that is proven or by how much more there might be, and the seconds that the schedule, what to
relax, whole passes, the loads, and 2,000 simulated seasons take; whether there is a schedule with
all of it relaxed, and how much less is seeded for days that end with a pass.
"""

from __future__ import annotations

import argparse
import datetime as dt
import time
from collections.abc import Iterator
from dataclasses import replace
from functools import partial

import numpy as np

from evenacre.planning.interseeding.fills import Rounds
from evenacre.planning.interseeding.plan_types import (
    BOOKED,
    ScheduleProblem,
    WeatherTold,
    WorkDay,
)
from evenacre.planning.interseeding.solver.relaxation import smallest_relaxation
from evenacre.planning.interseeding.solver.solve import solve_schedule
from evenacre.planning.interseeding.solver.whole_passes import Granular, in_whole_passes
from evenacre.planning.interseeding.weather import SeasonsLost, simulate

HOUR = 3600.0
HECTARE = 1e4
HECTARES_PER_HOUR = 3.4
LOST_CHANCE = 0.2
TOLD = WeatherTold(LOST_CHANCE, 1.25, None)


def farm(
    paddocks: int,
    days: int,
    *,
    size: float = 1.0,
    window_days: int = 14,
    booked_days: int = 0,
    on_hand_kg: float | None = None,
    seed: int = 1,
) -> ScheduleProblem:
    """A herd that goes round its paddocks once; each is open for some days after it left."""
    rng = np.random.default_rng(seed)
    area = rng.uniform(3, 12, paddocks) * HECTARE * size
    day = np.arange(days)
    left = np.arange(paddocks) * days // (paddocks + 3) + 2
    full = np.full(days, 9 * HOUR * (1 - LOST_CHANCE))
    booked = np.where((day >= days // 3) & (day < days // 3 + booked_days), full, 0.0)
    return ScheduleProblem(
        area_m2=area,
        value_per_m2=rng.choice([1.0, 1.0, 1.5, 2.0], paddocks),
        work_s=area / HECTARE / HECTARES_PER_HOUR * HOUR,
        forbidden={
            "herd": np.where((day >= left[:, None] - 3) & (day < left[:, None]), np.inf, 0.0),
            "wait": np.maximum(left[:, None] - day, 0.0),
            "close": np.maximum(day - left[:, None] - window_days + 1.0, 0.0),
        },
        capacity_s=full - booked,
        taken_s={BOOKED + "hay": booked},
        longer_s=np.where(booked < full, 3 * HOUR, 0.0),
        least_rate_kg_per_m2=0.001,
        rate_kg_per_m2=0.0015,
        most_rate_kg_per_m2=0.002,
        on_hand_kg=on_hand_kg,
        load_kg=500.0,
        refill_s=1200.0,
        setup_s=900.0,
    )


def farms(paddocks: int, days: int) -> Iterator[tuple[str, ScheduleProblem]]:
    yield "roomy", farm(paddocks, days)
    yield "seed to spare", farm(paddocks, days, on_hand_kg=130.0 * paddocks)
    yield "seed short", farm(paddocks, days, on_hand_kg=50.0 * paddocks)
    yield "booked 3 weeks", farm(paddocks, days, booked_days=21)
    yield "booked, big", farm(paddocks, days, size=3.0, booked_days=21)
    yield "hours short", farm(paddocks, days, size=12.0)
    yield "windows short", farm(paddocks, days, size=12.0, window_days=5)
    yield "all open", farm(paddocks, days, window_days=days)
    yield "two days a load", replace(farm(paddocks, days, size=4.0), within_days=2, load_kg=60.0)
    yield "all open, short", farm(paddocks, days, size=10.0, window_days=days)


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--paddocks", type=int, default=40)
    options.add_argument("--days", type=int, default=120)
    given = options.parse_args()
    head = f"{'':16}{'value':>8}{'gap':>10}{'visits':>8}{'fills':>7}{'solve s':>9}{'relax s':>9}"
    head += f"{'whole s':>9}"
    print(f"{head}{'loads s':>8}{'play s':>8}  to relax: holds, in whole passes")
    begin = dt.date(2026, 4, 1)
    calendar = [
        WorkDay(begin + dt.timedelta(d), 7 * HOUR, 9 * HOUR, 9 * HOUR) for d in range(given.days)
    ]
    rng = np.random.default_rng(1)
    weather = SeasonsLost(rng.random((given.days, 2000)) < LOST_CHANCE, TOLD)
    for name, problem in farms(given.paddocks, given.days):
        begin = time.perf_counter()
        found = solve_schedule(problem)
        solved = time.perf_counter()
        holds = ""
        if (found.share.sum(axis=1) < 1 - 1e-6).any():
            eased = smallest_relaxation(problem)
            holds = f"{len(eased.told)}: {'yes' if eased.share is not None else 'not known'}"
        told = time.perf_counter()
        names = [f"paddock {number:02}" for number in range(given.paddocks)]
        passes = [np.full(40, 200.0)] * given.paddocks
        closes = [None] * given.paddocks
        rounds = Rounds(names, calendar, closes, passes)
        granular, loads = Granular(rounds.parts_done), partial(rounds.has_loads, problem)
        anyhow = found.value
        found = in_whole_passes(problem, found, granular, loads)
        whole = time.perf_counter()
        _, fills, found = rounds.visits_and_fills(problem, found)
        walked = time.perf_counter()
        simulate(problem, found, problem.capacity_s / (1 - LOST_CHANCE), weather)
        end = time.perf_counter()
        value = found.value / float(problem.value_per_m2 @ problem.area_m2)
        gap = "proven" if found.proven else f"{found.gap:.2%}"
        print(
            f"{name:16}{value:8.1%}{gap:>10}{np.count_nonzero(found.share):8}"
            f"{len(fills):7}{solved - begin:9.2f}{told - solved:9.2f}{whole - told:9.2f}"
            f"{walked - whole:8.2f}{end - walked:8.2f}  {holds}{found.value / anyhow - 1:10.3%}",
            flush=True,
        )


if __name__ == "__main__":
    main()
