"""The tool line step by step: positions, rows on and time, with every switch at its place."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from evenacre.arrays import expand
from evenacre.coverage.clean import Fixes
from evenacre.coverage.row_patterns import RowPatterns
from evenacre.coverage.smooth import SmoothPath
from evenacre.coverage.tow import tool_path
from evenacre.model import Blockage, BoolArray, FloatArray, Implement, IntArray
from evenacre.model.audit_result import ToolPath

# A step turns at most this far, so that chords lose at most a^2 / 6 = 4e-4 of a sector.
_MAX_TURN_RAD = 0.05
_MAX_SUBSTEPS = 40
# So many knots are interpolated at a time, for memory.
_BLOCK = 1 << 16
# A course change above this between two records is a cusp (a reversal), not a curve.
_CUSP_RAD = 2.1


@dataclass(frozen=True)
class Steps:
    """Moves of the tool line between n knots; step k goes from knot k to knot k + 1.

    Attributes
    ----------
    tool : ToolPath
        The n knots.
    whole : (n - 1,) bool
        False where the step would bridge a cut in the log.
    rows : RowPatterns
        Of (n - 1) steps: 0 where a row was off, 1 where it was placing, and where it was on and
        had stopped flowing, 2 + the index of the blockage.
    record : (n - 1,) int
        The fix whose state and rates hold for the step (the product lag taken off).
    distance_m : (n - 1,) float
        Travel of the tool-line centre.
    duration_s : (n - 1,) float
    """

    tool: ToolPath
    whole: BoolArray
    rows: RowPatterns
    record: IntArray
    distance_m: FloatArray
    duration_s: FloatArray

    @property
    def active(self) -> RowPatterns:
        """Rows placing."""
        return RowPatterns.numbered(self.rows.number, self.rows.pattern == 1)

    @property
    def on(self) -> RowPatterns:
        """Rows that were on, those that had stopped flowing too."""
        return RowPatterns.numbered(self.rows.number, self.rows.pattern > 0)

    @property
    def working(self) -> BoolArray:
        """Steps with at least one row placing."""
        return self.active.any

    def switched_later(self, way_m: float) -> tuple[Steps, IntArray]:
        """The same drive with rows on and off so much farther along it (negative: sooner).

        Blocked rows stop and start where they did. The steps are parts of these: of which.
        """
        way = np.append(0.0, np.cumsum(self.distance_m))
        run = np.append(0, np.cumsum(~self.whole))
        on = self.on
        switch = 1 + np.flatnonzero(on.changes)
        at = way[switch] + way_m
        k = np.clip(np.searchsorted(way, at, side="right") - 1, 0, len(self.whole) - 1)
        inside = (at > way[k]) & (at < way[k + 1])
        k, at = k[inside], at[inside]
        # Knots by their number, and those between two of them.
        knot = np.append(np.arange(len(way), dtype=float), k + (at - way[k]) / self.distance_m[k])
        knot = np.unique(knot)
        step = knot[:-1].astype(np.int64)
        part = np.diff(knot)
        before = np.minimum(knot.astype(np.int64), len(way) - 1)
        after = np.minimum(before + 1, len(way) - 1)

        def between(values: FloatArray) -> FloatArray:
            return np.asarray(values[before] + (knot - before) * (values[after] - values[before]))

        tool = self.tool
        heading = np.unwrap(tool.heading_rad)
        moved = ToolPath(*map(between, (tool.time_s, tool.x_m, tool.y_m, heading)))
        middle = np.interp((knot[:-1] + knot[1:]) / 2, np.arange(len(way)), way) - way_m
        source = np.searchsorted(way, middle, side="right") - 1
        told = (source >= 0) & (source < len(self.whole)) & self.whole[step]
        source = np.clip(source, 0, len(self.whole) - 1)
        told &= run[source] == run[step]
        still_on = on.at(source).where(told).states
        here = self.rows.states[step]
        later = Steps(
            moved,
            self.whole[step],
            RowPatterns.of(np.where(still_on, np.maximum(here, 1), 0)),
            self.record[step],
            self.distance_m[step] * part,
            self.duration_s[step] * part,
        )
        return later, step


def build_steps(
    fixes: Fixes,
    path: SmoothPath,
    on: RowPatterns,
    implement: Implement,
    blockages: Sequence[Blockage],
    leap: BoolArray | None = None,
) -> Steps:
    """Lay knots along the path wherever something changes and carry them to the tool line.

    Where one record logs one state and the next another, the change is laid at their
    handover (midway, as a rule); the meter's states arrive at the openers ``product_lag_s``
    later; a blockage sits at the opener and is not delayed.

    Parameters
    ----------
    fixes, path
        n cleaned fixes and their smoothed positions.
    on : RowPatterns
        Rows on at each fix, bool.
    leap : (n - 1,) bool, optional
        Where a logged amount changes so much between two fixes that the change, too, has to
        lie at its place.
    """
    time, run = fixes.time_s, fixes.run
    inside = run[1:] == run[:-1]
    switch = on.changes
    if leap is not None:
        switch |= leap
    switch &= inside
    extra = [fixes.handover_s[switch] + implement.product_lag_s]
    extra.append(np.array([t for b in blockages for t in (b.start_s, b.end_s)], dtype=float))
    extra.append(_turn_times(time, path.course_rad, inside))
    knots, knot_run, tool = _knots(fixes, path, np.concatenate(extra), implement)

    whole = knot_run[1:] == knot_run[:-1]
    mid = (knots[1:] + knots[:-1]) / 2
    record = np.searchsorted(fixes.handover_s, mid - implement.product_lag_s, side="right")
    first = np.searchsorted(run, knot_run[:-1], side="left")
    last = np.searchsorted(run, knot_run[:-1], side="right") - 1
    record = np.clip(record, first, last).astype(np.int32)
    distance = np.hypot(np.diff(tool.x_m), np.diff(tool.y_m))
    return Steps(
        tool,
        whole,
        _flowing(on.at(record), whole, blockages, mid),
        record,
        np.where(whole, distance, 0.0),
        np.where(whole, np.diff(knots), 0.0),
    )


def _flowing(
    on: RowPatterns, whole: BoolArray, blockages: Sequence[Blockage], time_s: FloatArray
) -> RowPatterns:
    """States of the rows in steps, from the rows that were on and what was blocked when."""
    on = on.where(whole)
    number, pattern = on.number.copy(), on.pattern.astype(np.int64)
    for blockage, state in zip(blockages, itertools.count(2)):
        during = (time_s >= blockage.start_s) & (time_s < blockage.end_s)
        rows = np.array(blockage.rows, dtype=int) - 1
        before, same = np.unique(number[during], return_inverse=True)
        stopped = pattern[before]
        stopped[:, rows] = np.where(stopped[:, rows] > 0, state, 0)
        number[during] = len(pattern) + same
        pattern = np.concatenate([pattern, stopped])
    return RowPatterns.numbered(number, pattern)


def tool_ends(tool: ToolPath, knot: IntArray, width_m: float) -> tuple[FloatArray, FloatArray]:
    """Left and right end of the whole tool line at some knots, (k, 2) each."""
    heading = tool.heading_rad[knot]
    centre = np.column_stack([tool.x_m[knot], tool.y_m[knot]])
    side = width_m / 2 * np.column_stack([-np.sin(heading), np.cos(heading)])
    return centre + side, centre - side


def _turn_times(time: FloatArray, course: FloatArray, inside: BoolArray) -> FloatArray:
    """Times that cut each curved stretch between two records into small turns."""
    turn = np.abs(np.angle(np.exp(1j * np.diff(course))))
    count = np.ceil(turn / _MAX_TURN_RAD).astype(int)
    count = np.where(inside & (turn < _CUSP_RAD), np.clip(count, 1, _MAX_SUBSTEPS), 1)
    step, rank = expand(count - 1)
    return time[step] + (time[step + 1] - time[step]) * (rank + 1) / count[step]


def _knots(
    fixes: Fixes, path: SmoothPath, extra: FloatArray, implement: Implement
) -> tuple[FloatArray, IntArray, ToolPath]:
    """Interpolate the antenna at records and extra times; cubic Hermite on courses."""
    time, run = fixes.time_s, fixes.run
    step = np.searchsorted(time, extra, side="right") - 1
    usable = (step >= 0) & (step < len(time) - 1)
    usable &= run[np.clip(step, 0, None)] == run[np.clip(step + 1, 0, len(run) - 1)]
    extra = np.setdiff1d(extra[usable], time)
    knots = np.concatenate([time, extra])
    order = np.argsort(knots, kind="stable")
    knots = knots[order]
    k = np.clip(np.searchsorted(time, knots, side="right") - 1, 0, len(time) - 1)
    after = np.minimum(k + 1, len(time) - 1)
    span = np.where(after > k, time[after] - time[k], 1.0)
    u = np.clip((knots - time[k]) / span, 0.0, 1.0)
    u = np.where(run[after] == run[k], u, 0.0)
    x, y, course = np.empty((3, len(knots)))
    for first in range(0, len(knots), _BLOCK):
        own = slice(first, first + _BLOCK)
        x[own], y[own], course[own] = _hermite(path, k[own], after[own], u[own])
    tool = tool_path(knots, x, y, course, run[k], implement)
    return knots, run[k], tool


def _hermite(
    path: SmoothPath, k: IntArray, after: IntArray, u: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Position and course at fraction u of the step from fix k to fix after."""
    x0, y0, x1, y1 = path.x_m[k], path.y_m[k], path.x_m[after], path.y_m[after]
    chord = np.hypot(x1 - x0, y1 - y0)
    c0, c1 = path.course_rad[k], path.course_rad[after]
    turn = np.angle(np.exp(1j * (c1 - c0)))
    smooth = np.abs(turn) < _CUSP_RAD
    # The cubic that leaves and meets a circular arc of this turn with the arc's midpoint on it.
    reach = chord / np.cos(np.where(smooth, turn, 0.0) / 4) ** 2
    h00, h10 = (1 + 2 * u) * (1 - u) ** 2, u * (1 - u) ** 2
    h01, h11 = u**2 * (3 - 2 * u), u**2 * (u - 1)
    x = h00 * x0 + h10 * reach * np.cos(c0) + h01 * x1 + h11 * reach * np.cos(c1)
    y = h00 * y0 + h10 * reach * np.sin(c0) + h01 * y1 + h11 * reach * np.sin(c1)
    x = np.where(smooth, x, x0 + u * (x1 - x0))
    y = np.where(smooth, y, y0 + u * (y1 - y0))
    course = c0 + np.where(smooth, u * turn, 0.0)
    return x, y, course
