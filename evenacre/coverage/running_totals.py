"""How far the job had come at any moment: ground swept and mass metered since its start."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from evenacre.coverage.amounts import StepMass
from evenacre.coverage.steps import Steps
from evenacre.model import Implement
from evenacre.model.audit_result import RunningTotals

# Loads are told apart by minutes; a second is fine enough.
_EVERY_S = 1.0


def running_totals(
    steps: Steps, implement: Implement, masses: Mapping[str, StepMass]
) -> RunningTotals:
    """Add up the steps in the order of time.

    Parameters
    ----------
    steps : Steps
    implement : Implement
    masses : dict of str to StepMass
        By product.

    Returns
    -------
    RunningTotals
        Exact at its times, which are a second or more apart.
    """
    time = steps.tool.time_s
    swept = steps.active.sum(axis=1) * implement.row_spacing_m * steps.distance_m
    second = np.floor(time / _EVERY_S)
    kept = np.flatnonzero(np.diff(second, prepend=-np.inf) > 0)
    kept = np.union1d(kept, [len(time) - 1])
    return RunningTotals(
        time[kept],
        np.concatenate([[0.0], np.cumsum(swept)])[kept],
        {
            name: np.concatenate([[0.0], np.cumsum(mass.metered_kg)])[kept]
            for name, mass in masses.items()
        },
    )
