"""The ground swept by the active rows, as pieces that cannot cover themselves."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from evenacre.arrays import expand
from evenacre.coverage.row_patterns import RowPatterns
from evenacre.coverage.steps import Steps
from evenacre.geo.overlay import simplified, union, valid
from evenacre.model import BoolArray, FloatArray, Implement, IntArray

# A piece spans at most this much of heading, so both its edges run forward along one direction
# and its outline cannot cross itself.
_SECTOR_RAD = np.pi / 4
# Vertices closer than this to the straight line between their neighbours are dropped.
STRAIGHT_M = 0.0001
# So many steps are worked on at a time, for memory.
_BLOCK = 1 << 16
# A line that turns by more at a corner was not driven round it.
_SHARP_RAD = np.radians(120.0)
# Strips whose edges differ in length by more than this share are curved.
_CURVED = 0.02
# Steps that gain less than this and turn less than that are standing still.
_STILL_M = 1e-6
_TURNING_RAD = 1e-3


@dataclass(frozen=True)
class Strips:
    """Steps of the tool line cut into contiguous groups of active rows: m strips of ground.

    Attributes
    ----------
    step : (m,) int
        The step each strip belongs to.
    first_row, last_row : (m,) int
        Rows from 1 at the left, both included.
    quad : (m, 4, 2) float
        Left and right end of the tool line before the step, right and left end after it.
    folded : (m,) bool
        The two tool lines cross: the pivot of the turn lies inside the strip.
    piece : (m,) int
        The swath piece a strip is part of.
    """

    step: IntArray
    first_row: IntArray
    last_row: IntArray
    quad: FloatArray
    folded: BoolArray
    piece: IntArray

    def in_steps(self, span: slice) -> BoolArray:
        """Which strips belong to some consecutive steps."""
        return np.asarray((self.step >= span.start) & (self.step < span.stop))

    def at(self, chosen: IntArray | BoolArray | slice) -> Strips:
        """Some of the strips."""
        return Strips(*(getattr(self, name)[chosen] for name in self.__dataclass_fields__))

    def of_steps(self, span: slice) -> Strips:
        """Strips of some consecutive steps, which are numbered from 0 then."""
        own = self.at(self.in_steps(span))
        return replace(own, step=own.step - span.start)


@dataclass(frozen=True)
class Swaths:
    """Swath pieces: (p,) polygons, their rows and where they begin."""

    geometry: np.ndarray
    first_row: IntArray
    last_row: IntArray
    first_step: IntArray


def progress(steps: Steps) -> BoolArray:
    """Steps that gain ground along the heading; rolling back or standing still does not.

    While a tool stands, jitter moves it to and fro over ground it has covered already; within
    one working run only travel beyond the furthest point so far counts.
    """
    tool = steps.tool
    turn = np.angle(np.exp(1j * np.diff(tool.heading_rad)))
    middle = tool.heading_rad[:-1] + turn / 2
    gain = np.diff(tool.x_m) * np.cos(middle) + np.diff(tool.y_m) * np.sin(middle)
    work = steps.working
    gain = np.where(work, gain, 0.0)
    sequence = np.cumsum(~work)
    reached = np.cumsum(gain)
    # Lifting each sequence above all before it makes one running maximum serve them all.
    lift = sequence * (np.ptp(reached) + 1.0 if len(reached) else 1.0)
    furthest = np.maximum.accumulate(reached + lift)
    gains = np.diff(furthest, prepend=-1.0) > _STILL_M
    return steps.whole & (gains | (np.abs(turn) > _TURNING_RAD))


def build_strips(steps: Steps, active: RowPatterns, implement: Implement) -> Strips:
    """Split every step into strips of contiguous active rows and number the pieces.

    ``active`` is ``steps.active`` as a rule; blocked rows are swept the same way.
    """
    tool = steps.tool
    step, first, end = _groups(np.flatnonzero(progress(steps) & active.any), active)
    quad, folded = np.empty((len(step), 4, 2)), np.empty(len(step), dtype=bool)
    half = implement.width_m / 2

    def point(knot: IntArray, offset: FloatArray) -> FloatArray:
        h = tool.heading_rad[knot]
        return np.column_stack(
            [tool.x_m[knot] - offset * np.sin(h), tool.y_m[knot] + offset * np.cos(h)]
        )

    for start in range(0, len(step), _BLOCK):
        own = slice(start, start + _BLOCK)
        k, corners = step[own], quad[own]
        left = half - first[own].astype(float) * implement.row_spacing_m
        right = half - end[own].astype(float) * implement.row_spacing_m
        for i, (knot, offset) in enumerate(((k, left), (k, right), (k + 1, right), (k + 1, left))):
            corners[:, i] = point(knot, offset)
        along = (tool.heading_rad[k] + tool.heading_rad[k + 1]) / 2
        direction = np.column_stack([np.cos(along), np.sin(along)])
        ahead_left = np.einsum("ij,ij->i", corners[:, 3] - corners[:, 0], direction)
        ahead_right = np.einsum("ij,ij->i", corners[:, 2] - corners[:, 1], direction)
        folded[own] = ((ahead_left < 0) != (ahead_right < 0)) & _cross(corners)
    piece = _number_pieces(step, first, end, folded, tool.heading_rad)
    return Strips(step, first + 1, end, quad, folded, piece)


def _groups(steps: IntArray, active: RowPatterns) -> tuple[IntArray, IntArray, IntArray]:
    """Contiguous groups of active rows: the step of each, its first row and the one after it."""
    edge = np.diff(np.pad(active.pattern, ((0, 0), (1, 1))).astype(np.int8), axis=1)
    first, end, count = np.nonzero(edge == 1)[1], np.nonzero(edge == -1)[1], (edge == 1).sum(axis=1)
    number = active.number[steps]
    chosen, rank = expand(count[number])
    group = (np.cumsum(count) - count)[number][chosen] + rank
    order = np.lexsort((chosen, end[group], first[group]))
    return steps[chosen[order]], first[group[order]], end[group[order]]


def line_swaths(lines: np.ndarray, width_m: FloatArray) -> Swaths:
    """Outline the ground along lines, each as wide as told; both ends are square.

    ``first_step`` of the pieces is the line each belongs to.
    """
    points, line = shapely.get_coordinates(lines, return_index=True)
    moved = np.hypot(*np.diff(points, axis=0, prepend=np.nan).T) > _STILL_M
    moved |= np.diff(line, prepend=-1) != 0
    points, line = points[moved], line[moved]
    leg = np.flatnonzero(line[1:] == line[:-1])
    if not len(leg):
        nothing = np.zeros(0, dtype=np.int64)
        return Swaths(np.zeros(0, dtype=object), nothing, nothing, nothing)
    way = np.diff(points, axis=0)[leg]
    course = np.unwrap(np.arctan2(way[:, 1], way[:, 0]))
    turn = np.diff(course)
    # Legs of one line meet on the line that halves the angle between them.
    meets = (np.diff(leg) == 1) & (np.abs(turn) < _SHARP_RAD)
    half = np.where(meets, turn / 2, 0.0)
    before, after = np.append(0.0, half), np.append(half, 0.0)
    reach = width_m[line[leg]] / 2

    def across(at: FloatArray, angle: FloatArray, halved: FloatArray) -> tuple[FloatArray, ...]:
        side = np.column_stack([-np.sin(angle), np.cos(angle)])
        side *= (reach / np.cos(halved))[:, None]
        return at + side, at - side

    left, right = across(points[leg], course - before, before)
    left_after, right_after = across(points[leg + 1], course + after, after)
    quad = np.stack([left, right, right_after, left_after], axis=1)
    folded = _cross(quad)
    new = np.append(True, ~meets)
    first = np.maximum.accumulate(np.where(new, np.arange(len(leg)), 0))
    sector = np.rint((course - course[first]) / _SECTOR_RAD)
    new[1:] |= (np.diff(sector) != 0) | (folded[1:] != folded[:-1])
    rows = np.ones(len(leg), dtype=np.int64)
    swaths = build_swaths(Strips(line[leg], rows, rows, quad, folded, np.cumsum(new) - 1))
    return Swaths(swaths.geometry, 0 * swaths.first_row, 0 * swaths.last_row, swaths.first_step)


def split_strips(strips: Strips, bounds: Sequence[int]) -> Strips:
    """Cut strips where one section ends and the next begins.

    ``bounds`` are the first rows (from 0) of the sections, and the row count at the end.
    """
    first_section = np.searchsorted(bounds, strips.first_row - 1, side="right") - 1
    last_section = np.searchsorted(bounds, strips.last_row - 1, side="right") - 1
    strip, rank = expand(last_section - first_section + 1)
    section = first_section[strip] + rank
    edge = np.asarray(bounds)
    first = np.maximum(strips.first_row[strip], edge[section] + 1)
    last = np.minimum(strips.last_row[strip], edge[section + 1])
    rows = (strips.last_row - strips.first_row + 1)[strip]
    start = ((first - strips.first_row[strip]) / rows)[:, None]
    end = ((last - strips.first_row[strip] + 1) / rows)[:, None]
    a, b, d, c = (strips.quad[strip, i] for i in range(4))
    quad = np.stack(
        [a + start * (b - a), a + end * (b - a), c + end * (d - c), c + start * (d - c)], axis=1
    )
    folded = strips.folded[strip] & _cross(quad)
    return Strips(strips.step[strip], first, last, quad, folded, strips.piece[strip])


def strip_area_m2(strips: Strips) -> FloatArray:
    """Ground each strip sweeps, (m,)."""
    quad = strips.quad
    across, along = quad[:, 2] - quad[:, 0], quad[:, 3] - quad[:, 1]
    area = np.abs(across[:, 0] * along[:, 1] - across[:, 1] * along[:, 0]) / 2
    folded = np.flatnonzero(strips.folded)
    area[folded] = shapely.area(fan_triangles(quad[folded])).reshape(-1, 2).sum(axis=1)
    return np.asarray(area)


def curved(strips: Strips) -> BoolArray:
    """Strips whose rows have ways of different length, so that amounts lie unevenly on them."""
    quad = strips.quad
    left = np.hypot(*(quad[:, 3] - quad[:, 0]).T)
    right = np.hypot(*(quad[:, 2] - quad[:, 1]).T)
    return np.asarray(strips.folded | (np.abs(left - right) > _CURVED * (left + right) / 2))


def _cross(quad: FloatArray) -> BoolArray:
    """Whether the tool line after a step crosses the one before it."""
    a, b, d, c = quad[:, 0], quad[:, 1], quad[:, 2], quad[:, 3]

    def side(p: FloatArray, q: FloatArray, r: FloatArray) -> FloatArray:
        return (q[:, 0] - p[:, 0]) * (r[:, 1] - p[:, 1]) - (q[:, 1] - p[:, 1]) * (r[:, 0] - p[:, 0])

    return (side(a, b, c) * side(a, b, d) < 0) & (side(c, d, a) * side(c, d, b) < 0)


def _number_pieces(
    step: IntArray, first: IntArray, end: IntArray, folded: BoolArray, heading: FloatArray
) -> IntArray:
    """Number pieces: same rows, consecutive steps, one sector of heading, all or none folded."""
    if not len(step):
        return np.zeros(0, dtype=np.int64)
    new = (np.diff(step) != 1) | (np.diff(first) != 0) | (np.diff(end) != 0)
    new = np.concatenate([[True], new])
    start = np.maximum.accumulate(np.where(new, np.arange(len(step)), 0))
    middle = (heading[step] + heading[step + 1]) / 2
    sector = np.rint((middle - middle[start]) / _SECTOR_RAD)
    new[1:] |= (np.diff(sector) != 0) | (np.diff(folded.astype(int)) != 0)
    return np.cumsum(new) - 1


def build_swaths(strips: Strips, straight_m: float = STRAIGHT_M) -> Swaths:
    """Outline every piece.

    A plain piece is bounded by its left edge forward and its right edge backward. A folded
    piece, whose inner end runs backward about a pivot inside it, is the union of two fans of
    triangles. Vertices within ``straight_m`` of a straight edge are dropped.
    """
    count = int(strips.piece[-1]) + 1 if len(strips.piece) else 0
    at = np.searchsorted(strips.piece, np.arange(count))
    geometry = np.empty(count, dtype=object)
    plain = ~strips.folded[at] if count else np.zeros(0, dtype=bool)
    # Some at a time, and whole pieces: points of all at once take more than the strips.
    for start, end in itertools.pairwise(np.unique([*strips.piece[::_BLOCK], count])):
        own = strips.at(slice(at[start], at[end] if end < count else None))
        some = plain[start:end]
        geometry[start:end][some] = _outlines(
            replace(own, piece=own.piece - start), some, straight_m
        )
    _fill_fans(strips, ~plain, geometry)
    return Swaths(valid(geometry), strips.first_row[at], strips.last_row[at], strips.step[at])


def _outlines(strips: Strips, plain: BoolArray, straight_m: float) -> np.ndarray:
    """Polygons of the plain pieces."""
    if not plain.any():
        return np.empty(0, dtype=object)
    mine = plain[strips.piece]
    piece = np.cumsum(plain)[strips.piece[mine]] - 1
    quad = strips.quad[mine]
    last = np.concatenate([np.flatnonzero(np.diff(piece)), [len(piece) - 1]])
    # Chain of a piece: its strips' starts, then the end of its last strip.
    rank = np.arange(len(piece))
    key_piece = np.concatenate([piece, piece[last]])
    key_rank = np.concatenate([rank, last + 0.5])
    order = np.lexsort((key_rank, key_piece))
    owner = key_piece[order]
    left = np.concatenate([quad[:, 0], quad[last, 3]])[order]
    right = np.concatenate([quad[:, 1], quad[last, 2]])[order]
    left, left_owner = _straighten(left, owner, straight_m)
    right, right_owner = _straighten(right, owner, straight_m)
    points = np.concatenate([left, right[::-1]])
    owners = np.concatenate([left_owner, right_owner[::-1]])
    order = np.argsort(owners, kind="stable")
    return shapely.polygons(shapely.linearrings(points[order], indices=owners[order]))


def _straighten(
    points: FloatArray, owner: IntArray, straight_m: float
) -> tuple[FloatArray, IntArray]:
    """Drop vertices on straight stretches; ends stay, so that neighbouring pieces still meet."""
    chains = simplified(shapely.linestrings(points, indices=owner), straight_m, sound=False)
    kept, kept_owner = shapely.get_coordinates(chains, return_index=True)
    return kept, kept_owner


def _fill_fans(strips: Strips, fans: BoolArray, geometry: np.ndarray) -> None:
    """Unions of triangle pairs, one per folded piece (rare: only in turns on the spot)."""
    mine = np.flatnonzero(fans[strips.piece]) if len(strips.piece) else np.zeros(0, dtype=int)
    if not len(mine):
        return
    triangles = fan_triangles(strips.quad[mine])
    owner = np.repeat(strips.piece[mine], 2)
    starts = np.flatnonzero(np.diff(owner, prepend=-1))
    for a, b in zip(starts, [*starts[1:], len(owner)], strict=True):
        geometry[owner[a]] = union(triangles[a:b])


def pivots(quad: FloatArray) -> FloatArray:
    """Where the tool lines before and after folded strips cross, (m, 2)."""
    a, r = quad[:, 0], quad[:, 1] - quad[:, 0]
    c, s = quad[:, 3], quad[:, 2] - quad[:, 3]
    q = c - a
    t = (q[:, 0] * s[:, 1] - q[:, 1] * s[:, 0]) / (r[:, 0] * s[:, 1] - r[:, 1] * s[:, 0])
    return a + t[:, None] * r


def fan_triangles(quad: FloatArray) -> np.ndarray:
    """The two triangles swept by a tool line turning about a point inside it, (2 m,).

    Left and right triangle of each folded strip in turn.
    """
    pivot = pivots(quad)
    left = np.stack([quad[:, 0], quad[:, 3], pivot], axis=1)
    right = np.stack([quad[:, 1], quad[:, 2], pivot], axis=1)
    return shapely.polygons(np.stack([left, right], axis=1).reshape(-1, 3, 2))
