"""Ground that a rig must stay on, asked many times whether it holds all of a rig along a way."""

from __future__ import annotations

from functools import cached_property

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.model import BoolArray, FloatArray, IntArray
from evenacre.planning.ground import buffered
from evenacre.planning.passes.rig import SWING_M, Rig

_CELL_M = 1.0
# A body with all of its outline in cells this far inside is inside itself: half a cell's diagonal,
# and half the way between two points of an outline.
_DEEP_M = 1.5
# All of a cell with its middle this far outside is outside, by a quarter of a metre at least.
_OUT_M = 1.0

Bodies = list[tuple[FloatArray, FloatArray, FloatArray]]


class Fence:
    """Ground that no part of a rig leaves, in the working plane."""

    def __init__(self, ground: BaseGeometry) -> None:
        self.ground = ground
        self._inside = buffered(ground, -SWING_M, join_style="mitre")
        shapely.prepare(self._inside)

    @cached_property
    def wide_places(self) -> list[FloatArray]:
        """The middle of the widest place of each part."""
        parts = shapely.get_parts(self.ground)
        circles = shapely.maximum_inscribed_circle(parts, tolerance=2.0)
        return [np.asarray(circle.coords[0]) for circle in circles]

    @cached_property
    def _cells(self) -> tuple[FloatArray, IntArray]:
        """South-west corner of a raster, and whether its cells lie deep inside (1) or outside (-1).

        Others, on or near the edge, are 0.
        """
        west, south, east, north = self.ground.bounds + _CELL_M * np.array([-1.0, -1.0, 2.0, 2.0])
        x = np.arange(west, east, _CELL_M) + _CELL_M / 2
        y = np.arange(south, north, _CELL_M) + _CELL_M / 2
        middles = np.meshgrid(x, y)
        deep = buffered(self.ground, -_DEEP_M, quad_segs=4)
        near = buffered(self._inside, _OUT_M, quad_segs=4)
        shapely.prepare([deep, near])
        inside = shapely.contains_xy(deep, *middles).astype(np.int8)
        inside -= ~shapely.contains_xy(near, *middles)
        # A border of cells outside, for what lies beyond the raster.
        return np.array([west, south]) - _CELL_M, np.pad(inside, 1, constant_values=-1)

    def may_hold(self, corners: np.ndarray) -> BoolArray:
        """Whether none of some points x + iy lies well outside; shape (..., p) to (...)."""
        return np.asarray((self._where(corners) >= 0).all(axis=-1))

    def _where(self, z: np.ndarray) -> IntArray:
        """Deep inside (1), outside (-1), or near the edge (0)."""
        (west, south), cells = self._cells
        row = ((z.imag - south) / _CELL_M).astype(np.intp)
        column = ((z.real - west) / _CELL_M).astype(np.intp)
        # What lies beyond the raster is looked up in its border.
        at = np.ravel_multi_index((row, column), cells.shape, mode="clip")
        return np.asarray(cells.ravel()[at])

    def stands(self, rig: Rig, poses: FloatArray) -> BoolArray:
        """Whether all of a rig is inside where it stands in line at each of some poses, (n,)."""
        bodies = [(outline, poses[:, :2], poses[:, 2]) for outline in rig.in_line]
        return self.holds_each(bodies)

    def has_straight(self, rig: Rig, lines: FloatArray) -> BoolArray:
        """Whether all of a rig in line is inside along straights of the openers (n, 2, 2), (n,)."""
        begin, end = (lines @ [1.0, 1j]).T
        length = np.abs(end - begin)[:, None]
        ahead = (end - begin)[:, None] / length
        held = np.ones(len(lines), dtype=bool)
        for outline in rig.in_line:
            z = outline @ [1.0, 1j] + rig.tool_behind_m
            # A rectangle with its front moved on by the way there is.
            swept = begin[:, None] + ahead * (z + np.where(z.real > z.real.min(), length, 0.0))
            xy = np.stack([swept.real, swept.imag], axis=-1)
            held &= shapely.contains(self._inside, shapely.polygons(xy))
        return held

    def holds_each(self, bodies: Bodies) -> BoolArray:
        """At which places all bodies are inside, shape (n,)."""
        held = np.ones(len(bodies[0][1]), dtype=bool)
        for outline, xy, heading in bodies:
            placed = _placed(outline, xy, heading)
            least = self._where(placed).min(axis=1)
            held &= least >= 0
            doubtful = np.flatnonzero(held & (least == 0))
            if len(doubtful):
                held[doubtful] = self._contains(placed[doubtful])
        return held

    def holds(self, bodies: Bodies) -> bool:
        """Whether all bodies are inside all along."""
        doubtful = []
        for outline, xy, heading in bodies:
            placed = _placed(outline, xy, heading)
            least = self._where(placed).min(axis=1)
            if least.min() < 0:
                return False
            if (least == 0).any():
                doubtful.append((placed, least == 0))
        return all(self._contains(p[unsure]).all() for p, unsure in doubtful) and all(
            self._contains_between(placed, unsure) for placed, unsure in doubtful
        )

    def _contains_between(self, placed: np.ndarray, unsure: BoolArray) -> bool:
        """Whether a body is inside from each place to the next: a post may stand in between."""
        some = unsure[:-1] | unsure[1:]
        z = np.concatenate([placed[:-1][some], placed[1:][some]], axis=1)
        moved = shapely.convex_hull(shapely.multipoints(np.stack([z.real, z.imag], axis=-1)))
        return bool(shapely.contains(self._inside, moved).all())

    def _contains(self, placed: np.ndarray) -> BoolArray:
        """Whether each of some outlines (n, p) is inside."""
        held = shapely.contains_xy(self._inside, placed.real, placed.imag).all(axis=1)
        fine = placed[held]
        xy = np.stack([fine.real, fine.imag], axis=-1)
        held[held] = shapely.contains(self._inside, shapely.polygons(xy))
        return np.asarray(held)


def _placed(outline: FloatArray, xy: FloatArray, heading: FloatArray) -> np.ndarray:
    """Points x + iy of an outline where a body stands, shape (n, p)."""
    turned = np.exp(1j * heading)[:, None] * (outline @ [1.0, 1j])
    return np.asarray((xy @ [1.0, 1j])[:, None] + turned)
