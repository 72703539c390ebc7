"""What truly happened on the ground, from the clean drive.

Straight swaths are exact rectangles. Curved ones are polygons with a corner every 0.2 m,
within 1 mm of the arc at the tightest turn worked. Figures are what the log can show:
ground worked while the log was lost counts as skipped, of kind "no log".
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from scipy.integrate import cumulative_trapezoid
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from evenacre.sample_fields import spans
from evenacre.sample_fields.chain import Rig, tool_line
from evenacre.sample_fields.clock import Schedule
from evenacre.sample_fields.logbook import TOWER_M, WIDTH_M, Hint, tower_edges
from evenacre.sample_fields.paths import FloatArray
from evenacre.sample_fields.plots import Plot

CURVE_STEP = 2
STRAIGHT_STEP = 40
SLIVER_M = 0.03
SECTOR_RAD = np.pi / 4.0
LISTED_M2 = 1.0


@dataclass(frozen=True)
class Skip:
    """Ground left out, and why."""

    kind: str
    cause: str
    area: BaseGeometry


@dataclass(frozen=True)
class Ground:
    """Steps of swath and what they add up to.

    Attributes
    ----------
    steps : (n,) polygons
        Ground swept by one tower in a short step.
    from_s, to_s : (n,) float
        The step's stretch of the path.
    """

    steps: np.ndarray
    from_s: FloatArray
    to_s: FloatArray
    covered: BaseGeometry
    overlap: BaseGeometry
    swept_m2: float
    in_field_m2: float
    skips: list[Skip]


def feeding(timed: Schedule, gaps: tuple[tuple[float, float], ...]) -> list[FloatArray]:
    """For each tower, where along the path it fed openers and the log can show it."""
    stretches = [on.copy() for on in timed.drive.on]
    for tower, start, end in timed.blocked:
        at = timed.where(np.array([start, end]))
        stretches[tower - 1] = spans.without(stretches[tower - 1], at[0], at[1])
    for start, end in gaps:
        at = timed.where(np.array([start, end]))
        stretches = [spans.without(stretch, at[0], at[1]) for stretch in stretches]
    return stretches


def ground(plot: Plot, timed: Schedule, rig: Rig, gaps: tuple[tuple[float, float], ...]) -> Ground:
    """Lay every swath on the ground and find what was covered, lapped and left."""
    path = timed.drive.path
    curved = np.abs(path.curvature) > 1e-4
    index = np.arange(len(path.s))
    turning = curved | np.roll(curved, 1) | np.roll(curved, -1)
    knots = path.s[(turning & (index % CURVE_STEP == 0)) | (index % STRAIGHT_STEP == 0)]
    runs = np.asarray(timed.drive.runs)
    cuts = np.unique(np.concatenate((knots, runs.ravel())))
    tool_x, tool_y = tool_line(path, rig)
    pieces: list[np.ndarray] = []
    laid: list[list[Polygon]] = [[] for _ in runs]
    starts: list[FloatArray] = []
    ends: list[FloatArray] = []
    for tower, stretches in enumerate(feeding(timed, gaps)):
        edges = np.unique(np.concatenate((cuts, stretches.ravel())))
        use = spans.contains(stretches, (edges[:-1] + edges[1:]) / 2.0)
        heading = np.interp(edges, path.s, path.heading)
        x, y = np.interp(edges, path.s, tool_x), np.interp(edges, path.s, tool_y)
        left, right = (
            np.column_stack((x - e * np.sin(heading), y + e * np.cos(heading)))
            for e in tower_edges(tower)
        )
        rings = np.stack((left[:-1], right[:-1], right[1:], left[1:]), axis=1)[use]
        pieces.append(shapely.polygons(rings))
        run_of = np.searchsorted(runs[:, 0], (edges[:-1] + edges[1:]) / 2.0, side="right") - 1
        for chain in _chains(np.flatnonzero(use), run_of, heading):
            knots = np.append(chain, chain[-1] + 1)
            outline = Polygon(np.concatenate((left[knots], right[knots[::-1]])))
            laid[run_of[chain[0]]].append(outline)
        starts.append(edges[:-1][use])
        ends.append(edges[1:][use])
    steps, from_s, to_s = np.concatenate(pieces), np.concatenate(starts), np.concatenate(ends)
    swaths = np.array([shapely.union_all(outlines) for outlines in laid if outlines])
    covered = shapely.union_all(swaths)
    inside = shapely.intersection(swaths, plot.workable)
    return Ground(
        steps,
        from_s,
        to_s,
        covered,
        shapely.intersection(_met_twice(swaths), plot.workable),
        float(shapely.area(swaths).sum()),
        float(shapely.area(inside).sum()),
        _skips(plot, covered, timed, rig, gaps),
    )


def _chains(step: np.ndarray, run_of: np.ndarray, heading: FloatArray) -> list[np.ndarray]:
    """Steps in a row, of one run and one sector of heading: their outline cannot cross itself."""
    sector = np.rint(heading[step] / SECTOR_RAD)
    new = (np.diff(step) > 1) | (np.diff(run_of[step]) != 0) | (np.diff(sector) != 0)
    return np.split(step, np.flatnonzero(new) + 1)


def _met_twice(swaths: np.ndarray) -> BaseGeometry:
    """Ground under two or more swaths."""
    first, second = shapely.STRtree(swaths).query(swaths, predicate="intersects")
    pair = first < second
    return shapely.union_all(shapely.intersection(swaths[first[pair]], swaths[second[pair]]))


def _skips(
    plot: Plot,
    covered: BaseGeometry,
    timed: Schedule,
    rig: Rig,
    gaps: tuple[tuple[float, float], ...],
) -> list[Skip]:
    """Every patch of ground left out, matched to the fault that was meant to leave it."""
    left = shapely.difference(plot.workable, covered)
    opened = shapely.buffer(left, -SLIVER_M, join_style="mitre")
    opened = shapely.buffer(opened, SLIVER_M, join_style="mitre")
    hints = [*timed.drive.hints, *_timed_hints(timed, rig, gaps)]
    skips: list[Skip] = []
    for part in shapely.get_parts(opened):
        if part.area < LISTED_M2:
            continue
        shares = [shapely.intersection(part, hint.area).area for hint in hints]
        if not shares or max(shares) < 0.4 * part.area:
            where = part.representative_point()
            raise ValueError(
                f"{plot.name}: {part.area:.1f} m2 left at {where.wkt} that no fault explains"
            )
        hint = hints[int(np.argmax(shares))]
        skips.append(Skip(hint.kind, hint.cause, part))
    return sorted(skips, key=lambda skip: -skip.area.area)


def _timed_hints(timed: Schedule, rig: Rig, gaps: tuple[tuple[float, float], ...]) -> list[Hint]:
    """Ground under blocked towers and under lost stretches of the log."""
    path = timed.drive.path
    x, y = tool_line(path, rig)
    events = [
        (start, end, tower_edges(tower - 1), "blocked rows", f"tower {tower}")
        for tower, start, end in timed.blocked
    ]
    whole = (WIDTH_M / 2.0, -WIDTH_M / 2.0)
    events += [(start, end, whole, "no log", "log lost") for start, end in gaps]
    hints = []
    for start, end, edges, kind, cause in events:
        at = (timed.time_s >= start) & (timed.time_s <= end)
        line = np.column_stack((x[at], y[at]))
        middle = sum(edges) / 2.0
        if middle:
            across = np.column_stack((-np.sin(path.heading[at]), np.cos(path.heading[at])))
            line = line + middle * across
        band = LineString(line).buffer((edges[0] - edges[1]) / 2.0, cap_style="flat")
        hints.append(Hint(band, kind, cause))
    return hints


def step_masses(result: Ground, timed: Schedule, rig: Rig, rate: FloatArray) -> FloatArray:
    """Mass of each step: rate x width of a tower x distance of the tool line's centre.

    Parameters
    ----------
    rate : (n,) float
        On the ground at each point of the path, kg per m2.
    """
    path = timed.drive.path
    stretch = np.hypot(1.0, rig.tool_behind_m * path.curvature)
    laid = cumulative_trapezoid(rate * stretch * TOWER_M, path.s, initial=0.0)
    to_s, from_s = (np.interp(s, path.s, laid) for s in (result.to_s, result.from_s))
    return np.asarray(to_s - from_s)


def shares(result: Ground, area: BaseGeometry) -> FloatArray:
    """The share of each step's ground that lies in ``area``."""
    share = np.zeros(len(result.steps))
    if area.is_empty:
        return share
    shapely.prepare(area)
    whole = shapely.contains_properly(area, result.steps)
    share[whole] = 1.0
    partly = ~whole & shapely.intersects(area, result.steps)
    cut = shapely.intersection(result.steps[partly], area)
    share[partly] = shapely.area(cut) / shapely.area(result.steps[partly])
    return share
