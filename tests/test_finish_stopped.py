"""Jobs stopped at a random moment and driven to the end: what was still driven was forecast.

`benchmarks/finish.py` holds hundreds of them, by how many passes were seen.
"""

from __future__ import annotations

import numpy as np
import pytest
from stopped_jobs import RATE, StoppedJob, stopped_job

from evenacre.coverage.audit import audit_operation
from evenacre.planning.finish.rate_to_finish import GroundLeft, come_out_even
from evenacre.planning.finish.remaining_ground import ground_ahead
from evenacre.planning.loads.loads import Amount


def forecast(job: StoppedJob) -> GroundLeft:
    return ground_ahead(audit_operation(job.operation)).ground


@pytest.mark.parametrize("seed", [1, 4, 5, 7, 8, 11, 19, 23])
def test_a_driver_who_never_wavers_is_foreseen(seed: int) -> None:
    """Slanted ends, corners, rounds and late lifts of all kinds; what is left is the last pass."""
    job = stopped_job(seed, steady=True)
    ground = forecast(job)
    assert ground.drive_m2 == pytest.approx(job.driven_m2, rel=0.008)
    assert abs(ground.drive_m2 - job.driven_m2) < 2 * ground.drive_sigma_m2


def test_the_rate_that_came_out_even_lies_in_the_interval() -> None:
    held, off = 0, []
    for seed in range(12):
        job = stopped_job(seed)
        ground = forecast(job)
        found = come_out_even(ground, Amount(RATE * job.driven_m2, 0.0))
        held += found.low_kg_per_m2 <= RATE <= found.high_kg_per_m2
        off.append(ground.drive_m2 / job.driven_m2 - 1)
    assert held >= 8  # fewer of twelve: four times in a thousand at nine tenths
    assert np.median(np.abs(off)) < 0.012
