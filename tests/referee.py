"""A brute-force referee: the ground as 5 cm cells, every row of every step scan-converted.

It shares nothing with the engine: no geometry library overlays, no pieces, no union. Each
row's strip of ground between two consecutive tool lines is filled cell by cell, and each cell
keeps count of how often it was covered. A cell is covered anew when another working run
comes over it, or when the same run comes back after ``forget_m`` of travel.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from jobs import Drive, Job
from shapely.geometry.base import BaseGeometry

from evenacre.model import Blockage

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Verdict:
    """Areas by cell count, m2, in the words the engine's result uses."""

    workable_area_m2: float
    covered_area_m2: float
    covered_once_m2: float
    covered_twice_m2: float
    covered_more_m2: float
    overlap_area_m2: float
    excess_area_m2: float
    skip_area_m2: float
    outside_area_m2: float


@dataclass(frozen=True)
class _Steps:
    """Ground between consecutive tool lines: m tool lines, m - 1 steps."""

    left_x: Floats  # (m, rows + 1): the edges of the rows
    left_y: Floats
    active: npt.NDArray[np.bool_]  # (m - 1, rows)
    travel_m: Floats  # (m - 1,): middle of each step


class _Canvas:
    """Cells with a cover count and the memory of who covered them last."""

    def __init__(self, bounds: Sequence[float], cell: float) -> None:
        x0, y0, x1, y1 = bounds
        # An odd origin, so that no edge of a tidy job runs along a line of cell centres.
        self.x0, self.y0, self.cell = x0 - 0.0137, y0 - 0.0291, cell
        self.cols = int(np.ceil((x1 - self.x0) / cell)) + 1
        self.rows = int(np.ceil((y1 - self.y0) / cell)) + 1
        size = self.rows * self.cols
        self.count = np.zeros(size, np.uint8)
        self.run = np.full(size, -1, np.int32)
        self.seen = np.zeros(size, np.float32)

    def to_cells(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Plane metres to cell units, where cell i's centre is at i."""
        return (x - self.x0) / self.cell - 0.5, (y - self.y0) / self.cell - 0.5


def judge(job: Job, cell: float = 0.05, forget_m: float = 15.0) -> Verdict:
    """Count the cells of a job."""
    width, rows = job.implement.width_m, job.implement.rows
    steps = [_steps(d, width, rows, job.implement.product_lag_s, job.blockages) for d in job.drives]
    reach = [(s.left_x.min(), s.left_y.min(), s.left_x.max(), s.left_y.max()) for s in steps]
    low, high = np.array(reach).min(axis=0), np.array(reach).max(axis=0)
    bx0, by0, bx1, by1 = job.boundary.bounds
    canvas = _Canvas(
        (min(low[0], bx0), min(low[1], by0), max(high[2], bx1), max(high[3], by1)), cell
    )
    run = 0
    for s in steps:
        run = _cover(canvas, s, run, forget_m)
    workable = _inside(canvas, job.boundary)
    if job.unworkable is not None:
        workable &= ~_inside(canvas, job.unworkable)
    count = canvas.count

    def area(mask: npt.NDArray[np.bool_]) -> float:
        return float(np.count_nonzero(mask)) * cell * cell

    extra = count[workable & (count > 1)] - 1
    return Verdict(
        workable_area_m2=area(workable),
        covered_area_m2=area(workable & (count > 0)),
        covered_once_m2=area(workable & (count == 1)),
        covered_twice_m2=area(workable & (count == 2)),
        covered_more_m2=area(workable & (count > 2)),
        overlap_area_m2=area(workable & (count > 1)),
        excess_area_m2=float(extra.sum(dtype=np.int64)) * cell * cell,
        skip_area_m2=area(workable & (count == 0)),
        outside_area_m2=area(~workable & (count > 0)),
    )


def _steps(
    drive: Drive, width: float, rows: int, delay: float, blockages: Iterable[Blockage]
) -> _Steps:
    """Tool lines at every record and at every change of state.

    A state belongs to the half interval either side of its record, later by the delay; a
    blockage begins and ends when it says.
    """
    t, states = drive.time_s, drive.row_states(rows)
    changed = np.flatnonzero((states[1:] != states[:-1]).any(axis=1))
    switches = (t[changed] + t[changed + 1]) / 2 + delay
    stops = [x for b in blockages for x in (b.start_s, b.end_s)]
    when = np.unique(np.concatenate([t, switches, stops, [t[0] + delay]]))
    when = when[(when >= t[0]) & (when <= t[-1])]
    x, y, heading = (np.interp(when, t, v) for v in (drive.x_m, drive.y_m, drive.heading_rad))
    middle = (when[1:] + when[:-1]) / 2
    meter = middle - delay
    later = np.clip(np.searchsorted(t, meter), 1, len(t) - 1)
    nearest = np.where(meter - t[later - 1] < t[later] - meter, later - 1, later)
    active = states[nearest] & (meter >= t[0])[:, None]
    for b in blockages:
        during = (middle > b.start_s) & (middle < b.end_s)
        active[np.ix_(during, np.array(b.rows) - 1)] = False
    offset = width / 2 - np.arange(rows + 1) * width / rows
    moved = np.hypot(np.diff(x), np.diff(y))
    return _Steps(
        left_x=x[:, None] - np.sin(heading)[:, None] * offset,
        left_y=y[:, None] + np.cos(heading)[:, None] * offset,
        active=active,
        travel_m=np.cumsum(moved) - moved / 2,
    )


def _cover(canvas: _Canvas, steps: _Steps, run: int, forget_m: float) -> int:
    """Lay one drive on the canvas; returns the next free run number."""
    down = steps.active.any(axis=1)
    lifts = np.flatnonzero(np.diff(np.concatenate([[False], down, [False]]).astype(np.int8)))
    for start, stop in zip(lifts[::2], lifts[1::2], strict=True):
        travel = steps.travel_m[start:stop]
        # Slices shorter than the memory: within one, ground is covered once.
        slices = ((travel - travel[0]) // (forget_m / 2)).astype(int)
        for k in np.unique(slices):
            _lay(canvas, steps, start + np.flatnonzero(slices == k), run, forget_m)
        run += 1
    return run


def _lay(canvas: _Canvas, steps: _Steps, which: Ints, run: int, forget_m: float) -> None:
    step, row = np.nonzero(steps.active[which])
    step = which[step]
    corners = ((step, row), (step, row + 1), (step + 1, row + 1), (step + 1, row))
    x, y = canvas.to_cells(
        np.stack([steps.left_x[c] for c in corners], axis=1),
        np.stack([steps.left_y[c] for c in corners], axis=1),
    )
    quad, cell = _fill(x, y, canvas.cols)
    seen = steps.travel_m[step][quad].astype(np.float32)
    anew = (canvas.run[cell] != run) | (seen - canvas.seen[cell] > forget_m)
    canvas.count[cell[anew]] += 1  # a cell that several rows fill is counted up once
    canvas.run[cell] = run
    canvas.seen[cell] = seen


def _fill(x: Floats, y: Floats, cols: int) -> tuple[Ints, Ints]:
    """Cells whose centre is inside each quadrilateral, even-odd: (quad number, flat cell).

    A tool line that turns about a point on itself leaves a bow-tie, whose two triangles the
    even-odd rule both fills.
    """
    first = np.ceil(y.min(axis=1)).astype(np.int64)
    lines = np.maximum(np.floor(y.max(axis=1)).astype(np.int64) - first + 1, 0)
    quad, line = _expand(lines)
    line += first[quad]
    crossings = np.full((len(quad), 4), np.inf)
    for i in range(4):
        ya, yb = y[quad, i], y[quad, (i + 1) % 4]
        xa, xb = x[quad, i], x[quad, (i + 1) % 4]
        hit = (ya <= line) != (yb <= line)
        crossings[hit, i] = xa[hit] + (xb - xa)[hit] * (line - ya)[hit] / (yb - ya)[hit]
    crossings.sort(axis=1)
    quads, cells = [], []
    for a, b in ((0, 1), (2, 3)):
        some = np.isfinite(crossings[:, b])
        begin = np.ceil(crossings[some, a]).astype(np.int64)
        many = np.ceil(crossings[some, b]).astype(np.int64) - begin
        span, column = _expand(many)
        quads.append(quad[some][span])
        cells.append(line[some][span] * cols + begin[span] + column)
    return np.concatenate(quads), np.concatenate(cells)


def _expand(counts: Ints) -> tuple[Ints, Ints]:
    """Item i ``counts[i]`` times, with a running number from 0 within each."""
    item = np.repeat(np.arange(len(counts)), counts)
    start = np.repeat(np.cumsum(counts) - counts, counts)
    return item, np.arange(len(item)) - start


def _inside(canvas: _Canvas, geometry: BaseGeometry) -> npt.NDArray[np.bool_]:
    """Cells whose centre is inside a polygon, by counting ring crossings along each line."""
    mask = np.zeros((canvas.rows, canvas.cols), bool)
    rings = [
        canvas.to_cells(*np.asarray(ring.coords).T)
        for polygon in shapely.get_parts(geometry)
        for ring in (polygon.exterior, *polygon.interiors)
    ]
    xa, ya, xb, yb = (
        np.concatenate(v)
        for v in zip(*((x[:-1], y[:-1], x[1:], y[1:]) for x, y in rings), strict=True)
    )
    for line in range(canvas.rows):
        hit = (ya <= line) != (yb <= line)
        if not hit.any():
            continue
        cross = xa[hit] + (xb - xa)[hit] * (line - ya[hit]) / (yb - ya)[hit]
        edges = np.ceil(np.sort(cross)).astype(int)
        for begin, end in zip(edges[::2], edges[1::2], strict=True):
            mask[line, begin:end] = True
    return mask.ravel()
