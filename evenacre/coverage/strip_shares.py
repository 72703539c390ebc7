"""How much of each strip of ground lies in a region."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.coverage.swath import Strips, Swaths, fan_triangles
from evenacre.geo.overlay import intersect, valid
from evenacre.model import BoolArray, FloatArray, IntArray

# A strip whose edges differ in length by more than this is shared out row by row.
_CURVED = 0.02


class Shares:
    """Shares of strips, worked out only where they meet a region's edge.

    Parameters
    ----------
    strips : Strips
    swaths : Swaths
        The pieces the strips belong to.
    """

    def __init__(self, strips: Strips, swaths: Swaths) -> None:
        self._strips = strips
        self._pieces = swaths.geometry
        quad = strips.quad
        left = np.hypot(*(quad[:, 3] - quad[:, 0]).T)
        right = np.hypot(*(quad[:, 2] - quad[:, 1]).T)
        self._curved = strips.folded | (np.abs(left - right) > _CURVED * (left + right) / 2)

    def inside(self, region: BaseGeometry) -> FloatArray:
        """Share of each strip's mass that falls in a region.

        Rows get equal mass; on curves each row's mass is spread over its own shorter or longer
        ground.

        Parameters
        ----------
        region : polygonal geometry

        Returns
        -------
        (m,) float
            0..1.
        """
        strips = self._strips
        if region.is_empty or not len(strips.step):
            return np.zeros(len(strips.step))
        shapely.prepare(region)
        whole = shapely.covers(region, self._pieces)
        part = ~whole & shapely.intersects(region, self._pieces)
        share = whole[strips.piece].astype(float)
        index = np.flatnonzero(part[strips.piece])
        share[index], cut = _fractions(region, _polygons(strips.quad[index]))
        rows_differ = index[cut & self._curved[index]]
        share[rows_differ] = self._row_by_row(region, rows_differ)
        return share

    def _row_by_row(self, region: BaseGeometry, index: IntArray) -> FloatArray:
        """Mean over the rows of each strip of the share of the row's own ground."""
        strips = self._strips
        rows = strips.last_row[index] - strips.first_row[index] + 1
        owner = np.repeat(np.arange(len(index)), rows)
        rank = np.arange(len(owner)) - np.repeat(np.cumsum(rows) - rows, rows)
        f0 = (rank / rows[owner])[:, None]
        f1 = ((rank + 1) / rows[owner])[:, None]
        a, b, d, c = (strips.quad[index[owner], i] for i in range(4))
        corners = [a + f0 * (b - a), a + f1 * (b - a), c + f1 * (d - c), c + f0 * (d - c)]
        fraction, _ = _fractions(region, _polygons(np.stack(corners, axis=1)))
        return np.bincount(owner, fraction, minlength=len(index)) / rows


def _fractions(region: BaseGeometry, ground: np.ndarray) -> tuple[FloatArray, BoolArray]:
    """Share of each polygon's area in a (prepared) region, and which ones its edge cuts."""
    fraction = shapely.covers(region, ground).astype(float)
    cut = (fraction == 0) & shapely.intersects(region, ground)
    area = shapely.area(ground[cut])
    inside = shapely.area(intersect(ground[cut], region, None))
    fraction[cut] = np.divide(inside, area, out=np.zeros_like(area), where=area > 0)
    return np.minimum(fraction, 1.0), cut


def _polygons(quad: FloatArray) -> np.ndarray:
    """Ground swept between two positions of a tool line; two fans where they cross."""
    ground = shapely.polygons(quad)
    bad = np.flatnonzero(~shapely.is_valid(ground))
    if len(bad):
        fans = fan_triangles(quad[bad])
        ground[bad] = shapely.multipolygons(fans, indices=np.repeat(np.arange(len(bad)), 2))
        ground[bad] = valid(ground[bad])
    return ground
