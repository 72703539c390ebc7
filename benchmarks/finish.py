"""Hold the interval of ``finish`` against jobs stopped at a random moment and driven to the end.

    python benchmarks/finish.py [--jobs 600] [--seed 0] [--processes 2]

Prints, by how many passes off the headland were begun and by kind of field, in how many jobs the
rate that came out even in the end lies in the interval of nine tenths, and how far the forecast of
ground to drive was off.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))


@dataclass(frozen=True)
class Told:
    """What was forecast of a job, and what came."""

    shape: str
    rounds: int
    switched: bool
    seen: int
    off: float  # share of the ground driven
    sigma: float
    held: bool


def judge(seed: int) -> Told:
    """Stop a job, forecast, and look what was driven in the end."""
    from stopped_jobs import RATE, stopped_job

    from evenacre.coverage.audit import audit_operation
    from evenacre.planning.finish.rate_to_finish import come_out_even
    from evenacre.planning.finish.remaining_ground import ground_ahead
    from evenacre.planning.loads.loads import Amount

    job = stopped_job(seed)
    ground = ground_ahead(audit_operation(job.operation)).ground
    found = come_out_even(ground, Amount(RATE * job.driven_m2, 0.0))
    return Told(
        job.shape,
        job.rounds,
        job.switched,
        job.inner_seen,
        ground.drive_m2 / job.driven_m2 - 1,
        ground.drive_sigma_m2 / ground.drive_m2,
        found.low_kg_per_m2 <= RATE <= found.high_kg_per_m2,
    )


def main() -> None:
    """Judge the jobs and print the shares."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--jobs", type=int, default=600)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--processes", type=int, default=2)
    args = parser.parse_args()
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    with ProcessPoolExecutor(args.processes) as pool:
        jobs = [*pool.map(judge, range(args.seed, args.seed + args.jobs), chunksize=4)]

    def line(name: str, chosen: Callable[[Told], bool]) -> None:
        mine = [job for job in jobs if chosen(job)]
        if not mine:
            return
        off = np.array([job.off for job in mine])
        print(
            f"{name:24}{len(mine):5}   held {np.mean([job.held for job in mine]):6.1%}   off by "
            f"{np.median(np.abs(off)):.2%} (rms {np.sqrt((off**2).mean()):.2%}, mean "
            f"{off.mean():+.2%})   sigma {np.median([job.sigma for job in mine]):.2%}"
        )

    line("all", lambda _: True)
    for name, low, high in (("under 6 passes", 0, 5), ("6 to 12", 6, 12), ("more", 13, 999)):
        line(name, lambda job, low=low, high=high: low <= job.seen <= high)  # type: ignore[misc]
    for shape in sorted({job.shape for job in jobs}):
        line(shape, lambda job, shape=shape: job.shape == shape)  # type: ignore[misc]
    for rounds in sorted({job.rounds for job in jobs}):
        line(f"{rounds} rounds", lambda job, rounds=rounds: job.rounds == rounds)  # type: ignore[misc]
    line("sections shut at ends", lambda job: job.switched)


if __name__ == "__main__":
    main()
