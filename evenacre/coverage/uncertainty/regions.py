"""Where edges run through a region, and how much of it they sweep when they move."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.coverage.uncertainty.edges import Edges
from evenacre.geo.overlay import along
from evenacre.model import BoolArray, FloatArray, IntArray


@dataclass(frozen=True)
class Ways:
    """The region on the line square to each of the k samples that come near it.

    Attributes
    ----------
    sample : (k,) int
        Which samples, ascending.
    from_m, to_m : (k,) float
        Outward ways to where the region begins and ends.
    """

    sample: IntArray
    from_m: FloatArray
    to_m: FloatArray

    def holds(self, part: slice) -> BoolArray:
        """Which of some samples lie in the region."""
        a, b = np.searchsorted(self.sample, (part.start, part.stop))
        within = np.zeros(part.stop - part.start, dtype=bool)
        within[self.sample[a:b] - part.start] = (self.from_m[a:b] < 0) & (self.to_m[a:b] > 0)
        return within

    def moved_inside_m(self, part: slice, moved_m: FloatArray) -> tuple[IntArray, FloatArray]:
        """Way swept inside the region when some samples move outward by (m, n).

        Returns
        -------
        (j,) int, (j, n) float
            Which of ``part`` come near the region, and their ways.
        """
        a, b = np.searchsorted(self.sample, (part.start, part.stop))
        near = self.sample[a:b] - part.start
        low, high = self.from_m[a:b, None], self.to_m[a:b, None]
        return near, np.clip(moved_m[near], low, high) - np.clip(0.0, low, high)


def ways_through(edges: Edges, region: BaseGeometry, reach_m: float) -> Ways:
    """Find the region on the lines square to edges, so far to either side."""
    start, end = (np.column_stack(edges.beyond(way)) for way in (-reach_m, reach_m))
    lines = shapely.linestrings(np.stack([start, end], axis=1))
    shapely.prepare(region)
    sample = np.flatnonzero(shapely.intersects(region, lines))
    inside = along(lines[sample], region)
    found = shapely.length(inside) > 0
    sample, inside = sample[found], inside[found]
    points, owner = shapely.get_coordinates(inside, return_index=True)
    which = sample[owner]
    off = points - np.column_stack([edges.x_m[which], edges.y_m[which]])
    way = off[:, 0] * edges.out_x[which] + off[:, 1] * edges.out_y[which]
    low, high = np.full(len(sample), np.inf), np.full(len(sample), -np.inf)
    np.minimum.at(low, owner, way)
    np.maximum.at(high, owner, way)
    return Ways(sample, low, high)
