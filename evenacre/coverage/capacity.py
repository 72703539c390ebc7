"""Field capacity and efficiency, in the terms of ASABE EP496."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from evenacre.coverage.steps import Steps

# A gap in the log or a standstill longer than this is a break, not field time: turning, filling
# and unplugging belong to field time, meals and nights do not.
_BREAK_S = 3600.0
CAPACITY = (
    *("worked_distance_m", "worked_time_s", "field_time_s", "idle_time_s", "mean_speed_mps"),
    *("field_capacity_m2_per_s", "theoretical_capacity_m2_per_s", "field_efficiency"),
    *("start_s", "end_s"),
)
"""Names of the figures."""


def capacity_figures(
    steps: Steps, spans: Sequence[slice], width_m: float, covered_m2: float, *, timed: bool
) -> dict[str, float]:
    """Time, speed, capacity and efficiency, by the names of the result.

    Field time runs from first to last work, with breaks (idle time) taken out. Times of several
    machines are added up, so that speed and capacity are those of one.

    Parameters
    ----------
    steps : Steps
        Some of them working.
    spans : sequence of slice
        The steps of each machine.
    timed : bool
        Whether the log tells times; what hangs on them is NaN where it does not.
    """
    work = np.flatnonzero(steps.working)
    knot_s = steps.tool.time_s if timed else np.full(len(steps.tool.time_s), np.nan)
    idle_s = field_s = 0.0
    starts, ends = [], []
    for span in spans:
        own = work[(work >= span.start) & (work < span.stop)]
        if not len(own):
            continue
        starts.append(float(knot_s[own[0]]))
        ends.append(float(knot_s[own[-1] + 1]))
        off_s = knot_s[own[1:]] - knot_s[own[:-1] + 1]
        idle = float(off_s[off_s > _BREAK_S].sum()) if timed else np.nan
        idle_s += idle
        field_s += ends[-1] - starts[-1] - idle
    start_s, end_s = min(starts), max(ends)
    worked_s = float(steps.duration_s[work].sum()) if timed else np.nan
    worked_m = float(steps.distance_m[work].sum())
    speed = worked_m / worked_s if worked_s else 0.0
    theoretical = width_m * speed
    capacity = covered_m2 / field_s if field_s else 0.0
    return {
        "worked_distance_m": worked_m,
        "worked_time_s": worked_s,
        "field_time_s": field_s,
        "idle_time_s": idle_s,
        "mean_speed_mps": speed,
        "field_capacity_m2_per_s": capacity,
        "theoretical_capacity_m2_per_s": theoretical,
        "field_efficiency": capacity / theoretical if theoretical else 0.0,
        "start_s": start_s,
        "end_s": end_s,
    }
