"""Field capacity and efficiency, in the terms of ASABE EP496."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evenacre.coverage.steps import Steps

# A silence or standstill longer than this is a break, not field time: turning, filling and
# unplugging belong to field time, meals and nights do not.
_BREAK_S = 3600.0


def theoretical_capacity_m2_per_s(width_m: float, speed_mps: float) -> float:
    """Area per time at full width and full speed (ASABE EP496)."""
    return width_m * speed_mps


def effective_capacity_m2_per_s(width_m: float, speed_mps: float, efficiency: float) -> float:
    """Area per time after turning, filling and overlap: theoretical times field efficiency."""
    return theoretical_capacity_m2_per_s(width_m, speed_mps) * efficiency


@dataclass(frozen=True)
class WorkTime:
    """Where the time went.

    Attributes
    ----------
    worked_s, worked_m : float
        Time and tool-line travel with at least one row placing.
    field_s : float
        From first to last work, breaks taken out.
    idle_s : float
        The breaks.
    start_s, end_s : float
        First and last work.
    """

    worked_s: float
    worked_m: float
    field_s: float
    idle_s: float
    start_s: float
    end_s: float


def work_time(steps: Steps) -> WorkTime:
    """Sum up working time; ``steps.working`` must hold somewhere."""
    working = steps.working
    time = steps.tool.time_s
    index = np.flatnonzero(working)
    start, end = time[index[0]], time[index[-1] + 1]
    between = time[index[1:]] - time[index[:-1] + 1]
    idle = float(between[between > _BREAK_S].sum())
    return WorkTime(
        float(steps.duration_s[working].sum()),
        float(steps.distance_m[working].sum()),
        float(end - start) - idle,
        idle,
        float(start),
        float(end),
    )


def capacity_figures(
    steps: Steps, width_m: float, covered_m2: float, *, timed: bool
) -> dict[str, float]:
    """Time, speed, capacity and efficiency, by the names of the result.

    Parameters
    ----------
    timed : bool
        Whether the log tells times; what hangs on them is NaN where it does not.
    """
    time = work_time(steps)
    if not timed:
        time = WorkTime(np.nan, time.worked_m, np.nan, np.nan, np.nan, np.nan)
    speed = time.worked_m / time.worked_s if time.worked_s else 0.0
    theoretical = theoretical_capacity_m2_per_s(width_m, speed)
    capacity = covered_m2 / time.field_s if time.field_s else 0.0
    return {
        "worked_distance_m": time.worked_m,
        "worked_time_s": time.worked_s,
        "field_time_s": time.field_s,
        "idle_time_s": time.idle_s,
        "mean_speed_mps": speed,
        "field_capacity_m2_per_s": capacity,
        "theoretical_capacity_m2_per_s": theoretical,
        "field_efficiency": capacity / theoretical if theoretical else 0.0,
        "start_s": time.start_s,
        "end_s": time.end_s,
    }
