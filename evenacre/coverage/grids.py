"""Rasters of cover count and rate, sampled at cell centres."""

from __future__ import annotations

import numpy as np
import shapely
from affine import Affine
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from evenacre.arrays import expand
from evenacre.coverage.swath import Strips, curved, pivots, strip_area_m2
from evenacre.model import FloatArray, IntArray
from evenacre.model.audit_result import Grid

# About this many cells on the field; a 25 ha field gets cells of 0.7 m.
_CELLS = 500_000
# Ground that lies scattered is mostly gaps, which take memory too (some 90 bytes a cell, while
# they are worked out and drawn): so many cells at most, or so many for each cell of worked ground
# up to an end of it.
_SCATTERED_CELLS, _PER_WORKED_CELL, _MOST_CELLS = 4_000_000, 4.0, 25_000_000
_MIN_CELL_M, _MAX_CELL_M = 0.1, 2.0


class GridFrame:
    """Where the cells of all rasters of one audit lie.

    Parameters
    ----------
    extent : geometry
        Ground to take in.
    area_m2 : float
        Sets the cell size.
    worked : geometry, optional
        Taken in alone, with cells of its own size, where the extent is too large for memory.

    Attributes
    ----------
    cropped, grown, coarse : bool
        Whether the rasters leave out ground that was not worked; whether their cells are larger
        than those of a field as large, because the ground reaches too far, and than any field's.
    """

    def __init__(
        self, extent: BaseGeometry, area_m2: float, crs: CRS, worked: BaseGeometry | None = None
    ) -> None:
        cell = _cell_m(area_m2)
        least = _least_cell_m(extent, area_m2 if worked is None else worked.area)
        self.cropped = worked is not None and least > cell
        if worked is not None and self.cropped:
            extent = worked
            cell, least = _cell_m(worked.area), _least_cell_m(worked, worked.area)
        west, south, east, north = extent.bounds
        self.cell_m = round(max(cell, least), 2)
        self.grown, self.coarse = least > cell, least > _MAX_CELL_M
        self.west = np.floor(west / self.cell_m) * self.cell_m
        self.north = np.ceil(north / self.cell_m) * self.cell_m
        self.shape = (
            int(np.ceil((self.north - south) / self.cell_m)) or 1,
            int(np.ceil((east - self.west) / self.cell_m)) or 1,
        )
        self.transform = Affine(self.cell_m, 0, self.west, 0, -self.cell_m, self.north)
        self.crs = crs

    def mask(self, region: BaseGeometry) -> np.ndarray:
        """Cells whose centre lies in a region."""
        return np.asarray(self._sums(np.array([region])) > 0)

    def cover(self, pieces: np.ndarray) -> Grid:
        """Number of pieces over each cell centre."""
        count = np.minimum(self._sums(pieces), np.iinfo(np.uint8).max)
        return Grid(count.astype(np.uint8), self.transform, self.crs)

    def sums(self, pieces: np.ndarray, values: FloatArray) -> Grid:
        """Sum of what the pieces over each cell centre are worth."""
        out = np.where(self._sums(pieces) > 0, self._sums(pieces, values), 0.0)
        return Grid(out.astype(np.float32), self.transform, self.crs)

    def _sums(self, shapes: np.ndarray, values: FloatArray | None = None) -> np.ndarray:
        """Sum of what the polygons over each cell centre are worth, or their number.

        On a row a spot lies in a polygon if more of its edges to the left lead down than up.
        """
        rows, columns = self.shape
        parts, shape = shapely.get_parts(shapely.orient_polygons(shapes), return_index=True)
        rings, part = shapely.get_rings(parts, return_index=True)
        points, ring = shapely.get_coordinates(rings, return_index=True)
        u = (points[:, 0] - self.west) / self.cell_m - 0.5
        v = (self.north - points[:, 1]) / self.cell_m - 0.5
        edge = np.flatnonzero(ring[1:] == ring[:-1])
        down = v[edge + 1] > v[edge]
        # Each edge from its upper end, so that both pieces on it cross it at the same place.
        upper, lower = np.where(down, edge, edge + 1), np.where(down, edge + 1, edge)
        first = np.clip(np.ceil(v[upper]), 0, rows).astype(np.int64)
        index, row = expand(np.clip(np.ceil(v[lower]), 0, rows).astype(np.int64) - first)
        row += first[index]
        upper, lower, down = upper[index], lower[index], down[index]
        share = (row - v[upper]) / (v[lower] - v[upper])
        at = np.ceil(u[upper] + share * (u[lower] - u[upper]))
        worth = np.where(down, 1, -1)
        if values is not None:
            worth = worth * values[shape[part[ring[upper]]]]
        cell = row * (columns + 1) + np.clip(at, 0, columns).astype(np.int64)
        steps = np.bincount(cell, worth, minlength=rows * (columns + 1))
        return np.asarray(np.cumsum(steps.reshape(rows, columns + 1), axis=1)[:, :-1])

    def rate(self, strips: Strips, mass_kg: FloatArray) -> Grid:
        """Rate at each cell centre, summed over the strips that cover it.

        Within a strip every row gets the same mass, so where the two edges differ in length
        the rate at a spot is the strip's mean rate times mean over local path length.
        """
        values = np.zeros(self.shape[0] * self.shape[1])
        mean = mass_kg / np.maximum(strip_area_m2(strips), 1e-9)
        uneven = curved(strips)
        for quad, owner in _convex_parts(strips):
            part, row, col = scan(quad, self)
            strip = owner[part]
            density = mean[strip]
            own = np.flatnonzero(uneven[strip])
            spots = self.centres(row[own], col[own])
            density[own] = _density(strips.quad, mass_kg, strip[own], *spots)
            values += np.bincount(row * self.shape[1] + col, density, minlength=len(values))
        return Grid(values.astype(np.float32).reshape(self.shape), self.transform, self.crs)

    def centres(self, row: IntArray, col: IntArray) -> tuple[FloatArray, FloatArray]:
        """Plane coordinates of cell centres."""
        return self.west + (col + 0.5) * self.cell_m, self.north - (row + 0.5) * self.cell_m


def _cell_m(area_m2: float) -> float:
    """Side of a cell for so much ground."""
    return float(np.clip(np.sqrt(area_m2 / _CELLS), _MIN_CELL_M, _MAX_CELL_M))


def _least_cell_m(extent: BaseGeometry, worked_m2: float) -> float:
    """Side of the smallest cell with which ground that reaches so far fits into memory."""
    west, south, east, north = extent.bounds
    worked_cells = worked_m2 / _cell_m(worked_m2) ** 2
    most = np.clip(_PER_WORKED_CELL * worked_cells, _SCATTERED_CELLS, _MOST_CELLS)
    return float(np.sqrt((east - west) * (north - south) / most))


def _convex_parts(strips: Strips) -> list[tuple[FloatArray, IntArray]]:
    """Outlines to scan: plain strips whole, folded ones as two triangles about the pivot."""
    plain = np.flatnonzero(~strips.folded)
    folded = np.flatnonzero(strips.folded)
    parts = [(strips.quad[plain], plain)]
    if len(folded):
        quad = strips.quad[folded]
        pivot = pivots(quad)
        left = np.stack([quad[:, 0], pivot, pivot, quad[:, 3]], axis=1)
        right = np.stack([quad[:, 1], pivot, pivot, quad[:, 2]], axis=1)
        parts += [(left, folded), (right, folded)]
    return parts


def scan(quad: FloatArray, frame: GridFrame) -> tuple[IntArray, IntArray, IntArray]:
    """Cells whose centres lie in each convex quadrilateral, row by row.

    Two quadrilaterals that share an edge share no cell: the crossing of an edge with a row is
    computed the same way from either side, and intervals are closed left and open right.

    Parameters
    ----------
    quad : (m, 4, 2) float

    Returns
    -------
    quad_index, row, col : (k,) int
    """
    cell = frame.cell_m
    v = (frame.north - quad[:, :, 1]) / cell - 0.5
    u = (quad[:, :, 0] - frame.west) / cell - 0.5
    low = np.clip(np.ceil(v.min(axis=1)), 0, frame.shape[0]).astype(np.int64)
    high = np.clip(np.ceil(v.max(axis=1)), 0, frame.shape[0]).astype(np.int64)
    index, row = expand(high - low)
    row += low[index]
    left, right = np.full(len(index), np.inf), np.full(len(index), -np.inf)
    for i in range(4):
        j = (i + 1) % 4
        # Order each edge's ends by height so that both its owners compute the same crossing.
        upper = np.where(v[:, i] <= v[:, j], i, j)
        lower = np.where(v[:, i] <= v[:, j], j, i)
        at = np.arange(len(quad))
        v0, v1, u0, u1 = v[at, upper], v[at, lower], u[at, upper], u[at, lower]
        v0, v1, u0, u1 = v0[index], v1[index], u0[index], u1[index]
        hit = (v0 <= row) & (row < v1)
        with np.errstate(divide="ignore", invalid="ignore"):
            crossing = u0 + (row - v0) / (v1 - v0) * (u1 - u0)
        left = np.where(hit, np.minimum(left, crossing), left)
        right = np.where(hit, np.maximum(right, crossing), right)
    some = np.isfinite(left)
    first = np.where(some, np.clip(np.ceil(left), 0, frame.shape[1]), 0).astype(np.int64)
    end = np.where(some, np.clip(np.ceil(right), 0, frame.shape[1]), 0).astype(np.int64)
    owner, col = expand(np.maximum(end - first, 0))
    return index[owner], row[owner], col + first[owner]


def _density(
    quad: FloatArray, mass_kg: FloatArray, strip: IntArray, x: FloatArray, y: FloatArray
) -> FloatArray:
    """Mass per area at points inside strips, by the local length of travel.

    ``strip`` (k,) says in which of the strips each point lies.
    """
    a, b, d, c = (quad[:, i] for i in range(4))
    point = np.column_stack([x, y])
    front, rear = b - a, d - c

    def across(origin: FloatArray, line: FloatArray) -> FloatArray:
        length2 = np.maximum(np.einsum("ij,ij->i", line, line), 1e-12)
        return np.einsum("ij,ij->i", point - origin[strip], line[strip]) / length2[strip]

    f = np.clip((across(a, front) + across(c, rear)) / 2, 0.0, 1.0)[:, None]
    local = np.hypot(*((c - a)[strip] + f * (rear - front)[strip]).T)
    width = (np.hypot(*front.T) + np.hypot(*rear.T)) / 2
    return mass_kg[strip] / np.maximum(width[strip] * local, 1e-9)


def area_within(rate: Grid, inside: np.ndarray, target_kg_per_m2: float, tolerance: float) -> float:
    """Area of masked cells whose rate lies within a share of the target."""
    off = np.abs(np.asarray(rate.values, dtype=float) / target_kg_per_m2 - 1.0)
    return float((inside & (off <= tolerance)).sum()) * rate.cell_m**2


def extent_of(*geometries: BaseGeometry) -> BaseGeometry:
    """One geometry around several."""
    return shapely.box(*shapely.total_bounds(np.array(geometries)))
