"""What is known to have left ground bare: rows blocked or off in the log, and holes in it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.coverage.cover import clip_areas
from evenacre.coverage.row_patterns import RowPatterns
from evenacre.coverage.steps import Steps, tool_ends
from evenacre.coverage.swath import build_strips, build_swaths
from evenacre.geo.overlay import union
from evenacre.model import Blockage, BoolArray, FloatArray, Implement, IntArray

# A gap in the log was probably driven straight on if its chord keeps to both headings and its
# speed is near the usual one.
_STRAIGHT_ON_RAD = np.radians(25.0)
_USUAL_SPEED = (0.3, 1.6)
# Outer rows that were shut off on purpose had worked ground, or none to work, under this share of
# their way; rows that stopped flowing had bare ground under most of it.
_BARE_SHARE = 0.7
# Where the rows did not come on again in the same pass, the ground beyond them has to be done: what
# was left to do there, or a slanted end of the passes, looks the same else.
_DONE_BEYOND = 0.5


@dataclass(frozen=True)
class SkipCause:
    """Ground a known cause left bare: blocked rows, or a hole in the log.

    ``swept`` is what would have been covered. Without a ``kind`` it may have been, so that it is
    no place to go back to.
    """

    kind: str
    cause: str
    swept: BaseGeometry


def find_causes(
    steps: Steps, implement: Implement, blockages: Sequence[Blockage], *, sides_told: bool = True
) -> list[SkipCause]:
    """Blocked rows by their event, rows off between rows on, and gaps in the log.

    ``blockages`` are those that ``steps.rows`` numbers. Where the log gives less than the full
    width without its side (not ``sides_told``), nothing is known of the rest of the tool.
    """
    found = [
        SkipCause(
            "blocked rows", blockage.cause, _swept(steps, steps.rows.states == state, implement)
        )
        for state, blockage in enumerate(blockages, start=2)
    ]
    found += _rows_off_between(steps, implement)
    if not sides_told:
        beside = (steps.working & steps.whole)[:, None] & ~steps.on.states
        found.append(SkipCause("", "", _swept(steps, beside, implement)))
    found += _log_gaps(steps, implement)
    return [s for s in found if not s.swept.is_empty]


@dataclass(frozen=True)
class OuterRows:
    """Runs of steps with the same rows off at one end of the tool, r runs.

    Attributes
    ----------
    ground, beyond : (p,) polygons and (p,) int
        What those rows would have covered, and as wide a strip as the tool beside its end; with
        the run each piece belongs to.
    cause : (r,) str
    closed : (r,) bool
        More rows were on before and after, in the same pass.
    long : (r,) bool
        At least as long as the tool is wide.
    """

    ground: tuple[np.ndarray, IntArray]
    beyond: tuple[np.ndarray, IntArray]
    cause: np.ndarray
    closed: BoolArray
    long: BoolArray


def outer_rows_off(
    steps: Steps, number: IntArray, implement: Implement, told: BoolArray
) -> list[OuterRows]:
    """Find where rows at the left and at the right end of the tool were off and others on.

    Parameters
    ----------
    number : (n - 1,) int
        Pass of each step.
    told : (n - 1,) bool
        Steps whose log tells the state of rows or sections one by one.
    """
    on = steps.on.states
    rows = np.arange(on.shape[1])
    threefold = replace(implement, width_m=3 * implement.width_m, rows=3)
    found = []
    for left in (True, False):
        inward = on if left else on[:, ::-1]
        count = np.where(told & (number > 0), inward.argmax(axis=1), 0)
        if not count.any():
            continue
        before, after = (np.pad(count, 1)[cut] for cut in (slice(-2), slice(2, None)))
        earlier, later = (np.pad(number, 1)[cut] for cut in (slice(-2), slice(2, None)))
        off = count > 0
        first = off & ((before != count) | (earlier != number))
        last = off & ((after != count) | (later != number))
        run = np.where(off, np.cumsum(first) - 1, 0)
        opened = (earlier == number) & (before < count)
        ended = (later == number) & (after < count)
        closed = opened[first] & ended[last]
        long = np.bincount(run[off], steps.distance_m[off]) >= implement.width_m
        # Stairs of short runs at slanted ends are no stop, so their ground is not asked for.
        asked = off & (closed | long)[run]
        if not asked.any():
            continue
        outer = asked[:, None] & ((rows if left else rows[::-1]) < count[:, None])
        asked &= ~closed[run]
        side = np.array([left, False, not left])
        # Every other run at a time: pieces of ground beside the tool would reach from run to run.
        sides = [(asked & (run % 2 == odd))[:, None] & side for odd in (0, 1)]
        whole = on.shape[1]
        bounds = [(1, n) if left else (whole - n + 1, whole) for n in count[first]]
        found.append(
            OuterRows(
                _pieces(steps, [outer], implement, run),
                _pieces(steps, sides, threefold, run),
                np.array([_rows(*each) for each in bounds], dtype=object),
                closed,
                long,
            )
        )
    return found


def blocked_outer_rows(
    found: Sequence[OuterRows], missed: BaseGeometry, workable: BaseGeometry
) -> list[SkipCause]:
    """Of outer rows that were off those that left bare what nothing else covered.

    Rows shut off on purpose run over worked ground, a headland, or ground that is none to work.
    """
    causes = []
    for outer in found:
        bare = _share(*outer.ground, missed, outer)
        done = _share(*outer.beyond, workable, outer) - _share(*outer.beyond, missed, outer)
        blocked = (bare >= _BARE_SHARE) & (outer.closed | (outer.long & (done > _DONE_BEYOND)))
        pieces, run = outer.ground
        for cause in np.unique(outer.cause[blocked]):
            mine = blocked[run] & (outer.cause == cause)[run]
            causes.append(SkipCause("blocked rows", cause, union(pieces[mine])))
    return causes


def _pieces(
    steps: Steps, active: Sequence[BoolArray], implement: Implement, run: IntArray
) -> tuple[np.ndarray, IntArray]:
    """Ground swept by some rows, and the run of each piece."""
    swept = (RowPatterns.of(rows) for rows in active if rows.any())
    swaths = [build_swaths(build_strips(steps, rows, implement)) for rows in swept]
    if not swaths:
        return np.zeros(0, dtype=object), np.zeros(0, dtype=np.int64)
    owner = run[np.concatenate([s.first_step for s in swaths])]
    return np.concatenate([s.geometry for s in swaths]), owner


def _share(pieces: np.ndarray, run: IntArray, region: BaseGeometry, outer: OuterRows) -> FloatArray:
    """Share of each run's pieces that lies in a region, (r,)."""
    runs = len(outer.cause)
    whole = np.bincount(run, shapely.area(pieces), minlength=runs)
    inside = np.bincount(run, clip_areas(pieces, region), minlength=runs)
    return np.divide(inside, whole, where=whole > 0, out=np.zeros(runs))


def _swept(steps: Steps, active: BoolArray, implement: Implement) -> shapely.Geometry:
    return union(build_swaths(build_strips(steps, RowPatterns.of(active), implement)).geometry)


def _rows_off_between(steps: Steps, implement: Implement) -> Iterator[SkipCause]:
    """Rows that the log has off while rows on both sides of them were on."""
    on = steps.on.states
    left = np.maximum.accumulate(on, axis=1)
    right = np.maximum.accumulate(on[:, ::-1], axis=1)[:, ::-1]
    off = ~on & left & right
    if not off.any():
        return
    strips = build_strips(steps, RowPatterns.of(off), implement)
    swaths = build_swaths(strips)
    rows = np.column_stack([swaths.first_row, swaths.last_row])
    for first, last in np.unique(rows, axis=0):
        mine = (rows == (first, last)).all(axis=1)
        yield SkipCause("blocked rows", _rows(first, last), union(swaths.geometry[mine]))


def _rows(first: int, last: int) -> str:
    name = f"row {first}" if first == last else f"rows {first}-{last}"
    return f"{name} off in the log"


def _log_gaps(steps: Steps, implement: Implement) -> Iterator[SkipCause]:
    """Cuts in the log with work on both sides, driven straight on."""
    tool = steps.tool
    cut = np.flatnonzero(~steps.whole[1:-1]) + 1
    cut = cut[steps.working[cut - 1] & steps.working[cut + 1]]
    if not len(cut):
        return
    dx, dy = tool.x_m[cut + 1] - tool.x_m[cut], tool.y_m[cut + 1] - tool.y_m[cut]
    seconds = tool.time_s[cut + 1] - tool.time_s[cut]
    chord = np.arctan2(dy, dx)
    straight = np.ones(len(cut), dtype=bool)
    for knot in (cut, cut + 1):
        apart = np.abs(np.angle(np.exp(1j * (chord - tool.heading_rad[knot]))))
        straight &= apart < _STRAIGHT_ON_RAD
    working = steps.working
    usual = steps.distance_m[working].sum() / steps.duration_s[working].sum()
    speed = np.hypot(dx, dy) / np.maximum(seconds, 1e-9)
    straight &= (speed > _USUAL_SPEED[0] * usual) & (speed < _USUAL_SPEED[1] * usual)
    left, right = tool_ends(tool, cut[straight], implement.width_m)
    left_after, right_after = tool_ends(tool, cut[straight] + 1, implement.width_m)
    quads = shapely.polygons(np.stack([left, right, right_after, left_after], axis=1))
    for quad, s in zip(quads, seconds[straight], strict=True):
        yield SkipCause("no log", f"no log for {s:.0f} s", quad)
