"""Edges of the ground that passes swept, sampled, and what lies across each of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from scipy.spatial import KDTree
from shapely.geometry.base import BaseGeometry

from evenacre.arrays import expand
from evenacre.coverage.cover import Cover
from evenacre.coverage.steps import Steps
from evenacre.geo.overlay import along
from evenacre.model import BoolArray, FloatArray, Implement, IntArray

# Sides of passes are looked at this often, the lines where work begins and ends this often.
_SIDE_M, _END_M = 3.0, 1.5
# What lies across an edge is asked this far off: farther than outlines are simplified.
_MARGIN_M = 0.03
# Edges that face each other may be so much off parallel.
_FACING = -0.3
# Edges farther apart do not come to meet, but for the largest errors.
_NEAREST_M = 0.5
# Neighbours looked at for the one across; a boundary counts as across within so much of square.
_NEIGHBOURS, _NEIGHBOURS_OF_ENDS = 24, 64
_FARTHEST_M = 20.0
# How far a pass may run into another is asked where figures of the drill leave this much open.
_DEEP_M = 4.0
_SQUARE_ON = 0.7

SEAM, BOUNDARY, OPEN, AWAY, FACED = range(5)
"""Across lies: another edge, the end of the workable ground, ground alike, or no field; or the
end of a pass, from which the same is seen."""


@dataclass(frozen=True)
class Edges:
    """Samples of edges: sides of passes first, then the lines where rows went on or off.

    Attributes
    ----------
    step, owner : (m,) int
        Step of the tool line each belongs to, and its pass.
    x_m, y_m : (m,) float
    out_x, out_y : (m,) float
        The outward normal, of unit length.
    length_m : (m,) float
        Length of edge each stands for.
    side : (m,) int
        1 on the left, -1 on the right; 0 where rows went on or off.
    event : (m,) int
        Which switching of rows it is of; -1 on the sides.
    began : (m,) bool
        Rows went on there.
    travelled_m : (m,) float
        Way worked before it.
    """

    step: IntArray
    owner: IntArray
    x_m: FloatArray
    y_m: FloatArray
    out_x: FloatArray
    out_y: FloatArray
    length_m: FloatArray
    side: IntArray
    event: IntArray
    began: BoolArray
    travelled_m: FloatArray

    def at(self, chosen: IntArray | BoolArray) -> Edges:
        """Some of the samples."""
        return Edges(*(getattr(self, name)[chosen] for name in self.__dataclass_fields__))

    def beyond(self, distance_m: FloatArray | float) -> tuple[FloatArray, FloatArray]:
        """Points so far outward of each sample."""
        return self.x_m + distance_m * self.out_x, self.y_m + distance_m * self.out_y


@dataclass(frozen=True)
class Across:
    """What lies across each sample.

    Attributes
    ----------
    kind : (m,) int
        ``SEAM``, ``BOUNDARY``, ``OPEN`` or ``AWAY``.
    gap_m : (m,) float
        Outward way to it; negative where the edge lies beyond it.
    partner : (m,) int
        The sample on the other side of a seam.
    slant : (m,) float
        Product of the two normals: -1 where they are parallel.
    others : (m,) int
        How often yet other passes cover the ground between.
    depth_m : (m,) float
        Way from the partner of an end to the end of the field.
    """

    kind: IntArray
    gap_m: FloatArray
    partner: IntArray
    slant: FloatArray
    others: IntArray
    depth_m: FloatArray

    def at(self, chosen: IntArray | BoolArray) -> Across:
        """Of some of the samples."""
        return Across(*(getattr(self, name)[chosen] for name in self.__dataclass_fields__))


def sample_edges(
    steps: Steps, number: IntArray, implement: Implement, part: IntArray | None = None
) -> Edges:
    """Sample all edges.

    Parameters
    ----------
    number : (n - 1,) int
        Pass of each step.
    part : (n - 1,) int, optional
        Parts that sides are cut into; of part 0 there are no samples.
    """
    part = np.ones_like(number) if part is None else part
    sides, ends = _sides(steps, number, implement, part), _ends(steps, number, implement)
    names = Edges.__dataclass_fields__
    return Edges(*(np.concatenate([getattr(e, name) for e in (*sides, ends)]) for name in names))


def _sides(steps: Steps, number: IntArray, implement: Implement, part: IntArray) -> list[Edges]:
    working = np.flatnonzero(number)
    travelled = np.cumsum(steps.distance_m[working])
    # Every pass in pieces of equal length, each looked at in its middle.
    change = np.diff(number[working], append=-1) != 0
    last = np.flatnonzero(change | (np.diff(part[working], append=-1) != 0))
    ends = travelled[last]
    length = np.diff(ends, prepend=0.0)
    count = np.maximum(1, np.ceil(length / _SIDE_M)).astype(int)
    count[part[working[last]] == 0] = 0
    owner, rank = expand(count)
    piece = length / np.maximum(count, 1)
    way = (ends - length)[owner] + (rank + 0.5) * piece[owner]
    at = np.minimum(np.searchsorted(travelled, way), len(working) - 1)
    chosen = working[at]
    moved = steps.distance_m[chosen]
    gone = np.where(moved > 0, 1 - (travelled[at] - way) / np.where(moved > 0, moved, 1.0), 0.0)
    active = steps.active.at(chosen).states
    spacing, half = implement.row_spacing_m, implement.width_m / 2
    left = half - active.argmax(axis=1) * spacing
    right = -half + active[:, ::-1].argmax(axis=1) * spacing
    tool = steps.tool
    x, y, h = (
        v[chosen] + gone * (v[chosen + 1] - v[chosen])
        for v in (tool.x_m, tool.y_m, np.unwrap(tool.heading_rad))
    )
    none = np.full(len(chosen), -1)
    return [
        Edges(
            chosen,
            number[chosen],
            x - offset * np.sin(h),
            y + offset * np.cos(h),
            -side * np.sin(h),
            side * np.cos(h),
            piece[owner],
            np.full(len(chosen), side),
            none,
            np.zeros(len(chosen), dtype=bool),
            way,
        )
        for offset, side in ((left, 1), (right, -1))
    ]


def _ends(steps: Steps, number: IntArray, implement: Implement) -> Edges:
    """Lines where rows went on or off; rows side by side that switch together are one event."""
    # Blocked rows stopped when their event says, not between two records.
    on = np.pad(steps.on.states, ((1, 1), (0, 0))).astype(np.int8)
    turned = np.diff(on, axis=0)
    switched = np.flatnonzero(turned.any(axis=1))
    turned = np.pad(turned[switched], ((0, 0), (1, 1)))
    change = np.diff(turned, axis=1) != 0
    at, first = np.nonzero(change & (turned[:, 1:] != 0))
    _, end = np.nonzero(change & (turned[:, :-1] != 0))
    knot, began = switched[at], turned[at, first + 1] > 0
    width = (end - first) * implement.row_spacing_m
    count = np.maximum(2, np.ceil(width / _END_M)).astype(int)
    event, rank = expand(count)
    left = implement.width_m / 2 - first * implement.row_spacing_m
    offset = left[event] - (rank + 0.5) / count[event] * width[event]
    tool = steps.tool
    knot, began = knot[event], began[event]
    h = tool.heading_rad[knot]
    sign = np.where(began, -1.0, 1.0)
    step = np.where(began, knot, knot - 1)
    way = np.zeros(len(steps.whole))
    working = np.flatnonzero(number)
    way[working] = np.cumsum(steps.distance_m[working])
    return Edges(
        step,
        number[step],
        tool.x_m[knot] - offset * np.sin(h),
        tool.y_m[knot] + offset * np.cos(h),
        sign * np.cos(h),
        sign * np.sin(h),
        width[event] / count[event],
        np.zeros(len(event), dtype=np.int64),
        event,
        began,
        way[step],
    )


def look_across(
    edges: Edges,
    cover: Cover,
    workable: BaseGeometry,
    width_m: float,
    reach_m: float,
    end_reach_m: float,
    chosen: IntArray,
) -> Across:
    """Find what lies across some of the samples.

    Parameters
    ----------
    reach_m, end_reach_m : float
        Edges farther apart than this do not come to meet: sides of passes, and their ends.
    chosen : (k,) int
        Which samples to look from: all ends and some of the sides.
    """
    reach_m = float(np.clip(reach_m, _NEAREST_M, width_m / 2))
    end_reach_m = float(np.clip(end_reach_m, _NEAREST_M, _FARTHEST_M))
    mine = edges.at(chosen)
    at_end = mine.side == 0
    reach = np.where(at_end, end_reach_m, reach_m)
    tree = KDTree(np.column_stack([edges.x_m, edges.y_m]))
    found = [np.full(len(chosen), start) for start in (-1.0, np.inf, -1.0)]
    for some, far_m, near in (
        (at_end, end_reach_m, _NEIGHBOURS_OF_ENDS),
        (~at_end, reach_m, _NEIGHBOURS),
    ):
        for whole, part in zip(
            found, _facing(edges, tree, mine.at(some), width_m, far_m, near), strict=True
        ):
            whole[some] = part
    partner, gap, slant = found[0].astype(np.int64), found[1], found[2]
    margin = mine.beyond(_MARGIN_M)
    usable = _holds(workable, margin)
    edge_gap = _to_boundary(mine, workable, reach)
    at_seam = np.abs(gap) <= np.minimum(reach, np.abs(edge_gap))
    at_edge = ~at_seam & (np.abs(edge_gap) <= reach)
    # What else lies there: asked half-way, or within the other pass where both just meet.
    meets = at_seam & (np.abs(gap) < 2 * _MARGIN_M)
    halfway = np.where(meets, np.maximum(gap, 0.0) + _MARGIN_M, np.where(at_seam, gap / 2, 0.0))
    inside = np.where(at_seam, _holds(workable, mine.beyond(halfway)), usable)
    # Beyond the boundary nothing is counted: what else lies there is asked inside it.
    brim = np.where(edge_gap > 0, edge_gap / 2, edge_gap - _MARGIN_M)
    spot = mine.beyond(np.where(at_seam, halfway, np.where(at_edge, brim, _MARGIN_M)))
    count = sum(
        _holds(region, spot).astype(np.int64)
        for region in (cover.once_or_more, cover.twice_or_more, cover.thrice_or_more)
    )
    own = np.where(at_edge & (edge_gap <= 0), 1, np.where(at_seam & (gap < 0), 2, 0))
    own = np.where(meets, 1, own)
    # Lapped ground has both passes, ground inside an edge beyond the boundary the one.
    kind = np.where(at_seam & inside, SEAM, np.where(usable, OPEN, AWAY))
    kind = np.where(at_edge, BOUNDARY, kind)
    gap = np.where(kind == BOUNDARY, edge_gap, gap)
    faced = np.zeros(len(edges.side), dtype=bool)
    faced[partner[at_end & (kind == SEAM)]] = True
    kind = np.where(~at_end & faced[chosen], FACED, kind)
    depth = np.full(len(chosen), np.inf)
    if end_reach_m > _DEEP_M:
        ends = np.flatnonzero(at_end & (kind == SEAM))
        depth[ends] = _depth(mine.at(ends), workable, end_reach_m + 4 * width_m) - gap[ends]
    return Across(kind, gap, partner, slant, np.maximum(count - own, 0), np.maximum(depth, 0.0))


def _depth(mine: Edges, workable: BaseGeometry, reach_m: float) -> FloatArray:
    """Way outward over workable ground."""
    start, end = (np.column_stack(mine.beyond(way)) for way in (0.0, reach_m))
    rays = shapely.linestrings(np.stack([start, end], axis=1))
    return np.asarray(shapely.length(along(rays, workable)))


def _facing(
    edges: Edges, tree: KDTree, mine: Edges, width_m: float, reach_m: float, most: int
) -> tuple[IntArray, FloatArray, FloatArray]:
    """The nearest edge that faces each sample: which, how far outward, product of normals."""
    ahead = np.maximum(edges.length_m.max(initial=0.0), _SIDE_M) / 2
    near = min(most, len(edges.x_m))
    _, other = tree.query(
        np.column_stack([mine.x_m, mine.y_m]),
        k=near,
        distance_upper_bound=float(np.hypot(reach_m, ahead)),
    )
    other = np.reshape(other, (len(mine.x_m), near))
    real = other < len(edges.x_m)
    j = np.where(real, other, 0)
    across_x, across_y = edges.x_m[j] - mine.x_m[:, None], edges.y_m[j] - mine.y_m[:, None]
    nx, ny = edges.out_x[j], edges.out_y[j]
    slant = mine.out_x[:, None] * nx + mine.out_y[:, None] * ny
    real &= slant < _FACING
    slant = np.where(real, slant, -1.0)
    gap = (across_x * nx + across_y * ny) / slant
    # The spot on the other's line that lies square across, and whether the other stands for it.
    off_x, off_y = gap * mine.out_x[:, None] - across_x, gap * mine.out_y[:, None] - across_y
    along = np.abs(off_y * nx - off_x * ny)
    real &= along <= 0.55 * edges.length_m[j]
    # A pass does not face itself before it has turned round.
    lately = np.abs(edges.travelled_m[j] - mine.travelled_m[:, None]) <= width_m
    real &= ~lately | (edges.owner[j] != mine.owner[:, None])
    real &= np.abs(gap) <= reach_m
    far = np.where(real, np.abs(gap), np.inf)
    best = np.argmin(far, axis=1)
    row = np.arange(len(best))
    found = np.isfinite(far[row, best])
    return (
        np.where(found, j[row, best], -1),
        np.where(found, gap[row, best], np.inf),
        np.where(found, slant[row, best], -1.0),
    )


def _to_boundary(mine: Edges, workable: BaseGeometry, reach_m: FloatArray) -> FloatArray:
    """Way outward to the end of the workable ground; infinite where it is far or lies aslant."""
    outline = shapely.boundary(workable)
    shapely.prepare(outline)
    points = shapely.points(mine.x_m, mine.y_m)
    near = np.flatnonzero(shapely.dwithin(points, outline, reach_m))
    way = np.full(len(points), np.inf)
    if not len(near):
        return way
    ends = shapely.get_coordinates(shapely.shortest_line(points[near], outline))
    line = ends.reshape(-1, 2, 2)
    to = line[:, 1] - line[:, 0]
    length = np.hypot(*to.T)
    outward = to[:, 0] * mine.out_x[near] + to[:, 1] * mine.out_y[near]
    square = np.where(length > 1e-6, np.abs(outward) / np.maximum(length, 1e-6), 1.0)
    signed = np.where(outward >= 0, 1.0, -1.0) * length / np.maximum(square, _SQUARE_ON)
    way[near] = np.where(square >= _SQUARE_ON, signed, np.inf)
    return way


def _holds(region: BaseGeometry, point: tuple[FloatArray, ...]) -> BoolArray:
    shapely.prepare(region)
    return np.asarray(shapely.contains_xy(region, *point))
