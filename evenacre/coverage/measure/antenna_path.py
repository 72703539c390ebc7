"""The drive of the antenna as the log shows it: where it went, how fast, and what was on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evenacre.arrays import BoolArray, FloatArray, IntArray
from evenacre.coverage.row_patterns import RowPatterns

# A turn tighter than this is no straight pass, whatever the width.
_STRAIGHT_M = 80.0
# A turn or lift shorter than this does not end a straight stretch.
_TURN_S = 2.0


@dataclass(frozen=True)
class AntennaPath:
    """Smoothed antenna positions of one machine at n fixes.

    Attributes
    ----------
    time_s, x_m, y_m, course_rad, speed_mps, radius_m : (n,) float
    run : (n,) int
        Unbroken stretches of the log.
    handover_s : (n - 1,) float
        When the state of one fix gives way to that of the next.
    on : RowPatterns
        Rows that were on at each fix, bool.
    rate : (n,) float or None
        Logged rate of a product, in any unit; NaN where none is logged.
    """

    time_s: FloatArray
    x_m: FloatArray
    y_m: FloatArray
    course_rad: FloatArray
    speed_mps: FloatArray
    radius_m: FloatArray
    run: IntArray
    handover_s: FloatArray
    on: RowPatterns
    rate: FloatArray | None = None

    @property
    def middle(self) -> BoolArray:
        """Whether the middle of the tool was on, (n,): it meets slants as the antenna does."""
        pattern, rows = self.on.pattern, self.on.rows
        return np.asarray((pattern[:, (rows - 1) // 2] | pattern[:, rows // 2])[self.on.number])

    @property
    def straight(self) -> BoolArray:
        """Fixes on a straight line, (n,)."""
        return np.asarray(self.radius_m > _STRAIGHT_M)

    @property
    def stretch(self) -> IntArray:
        """Straight stretch at work (from 1) of each fix; 0 where it turned or the tool was up."""
        on = np.flatnonzero(self.on.any & self.straight)
        number = np.zeros(len(self.time_s), dtype=np.int64)
        if len(on):
            apart = np.diff(self.time_s[on]) - self.interval_s
            new = (apart >= _TURN_S) | (np.diff(self.run[on]) != 0)
            number[on] = np.concatenate([[1], 1 + np.cumsum(new)])
        return number

    @property
    def interval_s(self) -> float:
        """Usual time between fixes."""
        step = np.diff(self.time_s)
        step = step[step > 0]
        return float(np.median(step)) if len(step) else 1.0
