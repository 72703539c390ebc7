"""Ground that a rig must stay on, asked many times whether it holds all of a rig along a way."""

from __future__ import annotations

from functools import cached_property

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.model import BoolArray, FloatArray, IntArray
from evenacre.planning.ground import buffered

# Between the places at which a rig is looked at a corner of it may swing out by so much.
_SWING_M = 0.03
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
        self._inside = buffered(ground, -_SWING_M, join_style="mitre")
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
        return np.array([west, south]), np.pad(inside, 1, constant_values=-1)

    def may_hold(self, xy: FloatArray) -> BoolArray:
        """Whether none of some points lies well outside; shape (..., p, 2) to (...)."""
        return np.asarray((self._where(xy) >= 0).all(axis=-1))

    def _where(self, xy: FloatArray) -> IntArray:
        """Deep inside (1), outside (-1), or near the edge (0)."""
        corner, cells = self._cells
        # Beyond the raster, too, a cell of the border is looked up.
        at = np.clip((xy - corner) / _CELL_M + 1.0, 0.0, np.array(cells.shape[::-1]) - 1.0)
        column, row = np.moveaxis(at.astype(np.intp), -1, 0)
        return np.asarray(cells[row, column])

    def holds_each(self, bodies: Bodies) -> BoolArray:
        """At which places all bodies are inside, shape (n,)."""
        held = np.ones(len(bodies[0][1]), dtype=bool)
        for outline, xy, heading in bodies:
            placed = _placed(outline, xy, heading)
            least = self._where(placed).min(axis=1)
            held &= least >= 0
            doubtful = np.flatnonzero(held & (least == 0))
            if len(doubtful):
                some = placed[doubtful]
                fine = shapely.contains_xy(self._inside, some[..., 0], some[..., 1]).all(axis=1)
                held[doubtful[~fine]] = False
                left = doubtful[fine]
                held[left] = shapely.contains(self._inside, shapely.polygons(placed[left]))
        return held

    def holds(self, bodies: Bodies) -> bool:
        """Whether all bodies are inside all along."""
        doubtful = []
        for outline, xy, heading in bodies:
            placed = _placed(outline, xy, heading)
            least = self._where(placed).min(axis=1)
            if least.min() < 0:
                return False
            unsure = placed[least == 0]
            if not shapely.contains_xy(self._inside, unsure[..., 0], unsure[..., 1]).all():
                return False
            doubtful.append(unsure)
        return all(
            bool(shapely.contains(self._inside, shapely.polygons(unsure)).all())
            for unsure in doubtful
        )


def _placed(outline: FloatArray, xy: FloatArray, heading: FloatArray) -> FloatArray:
    """Points of an outline where a body stands, shape (n, p, 2)."""
    cos, sin = np.cos(heading)[:, None], np.sin(heading)[:, None]
    x, y = outline[:, 0], outline[:, 1]
    return np.stack([xy[:, :1] + cos * x - sin * y, xy[:, 1:] + sin * x + cos * y], axis=-1)
