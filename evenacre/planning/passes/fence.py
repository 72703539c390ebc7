"""Ground that a rig must stay on, asked many times whether it holds all of a rig along a way."""

from __future__ import annotations

from functools import cached_property

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.model import BoolArray, FloatArray
from evenacre.planning.ground import buffered

# Between the places at which a rig is looked at a corner of it may swing out by so much.
_SWING_M = 0.03
_CELL_M = 1.0
# A body with all of its outline in cells this far inside is inside itself: half a cell's diagonal,
# and half the way between two points of an outline.
_DEEP_M = 1.5

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
    def _cells(self) -> tuple[FloatArray, BoolArray]:
        """South-west corner of a raster, and which of its cells lie deep inside."""
        west, south, east, north = self.ground.bounds
        x = np.arange(west, east + _CELL_M, _CELL_M) + _CELL_M / 2
        y = np.arange(south, north + _CELL_M, _CELL_M) + _CELL_M / 2
        deep = buffered(self.ground, -_DEEP_M, quad_segs=4)
        shapely.prepare(deep)
        inside = shapely.contains_xy(deep, *np.meshgrid(x, y))
        # A border of cells outside, for what lies beyond the raster.
        return np.array([west, south]), np.pad(inside, 1)

    def _deep(self, xy: FloatArray) -> BoolArray:
        corner, inside = self._cells
        at = np.floor((xy - corner) / _CELL_M).astype(int) + 1
        column = np.clip(at[..., 0], 0, inside.shape[1] - 1)
        row = np.clip(at[..., 1], 0, inside.shape[0] - 1)
        return np.asarray(inside[row, column])

    def holds_each(self, bodies: Bodies) -> BoolArray:
        """At which places all bodies are inside, shape (n,)."""
        held = np.ones(len(bodies[0][1]), dtype=bool)
        for outline, xy, heading in bodies:
            placed = _placed(outline, xy, heading)
            doubtful = np.flatnonzero(held & ~self._deep(placed).all(axis=1))
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
            unsure = placed[~self._deep(placed).all(axis=1)]
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
