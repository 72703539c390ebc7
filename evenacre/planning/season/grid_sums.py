"""Rasters of several operations on one field, added cell by cell."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from affine import Affine
from rasterio.features import rasterize
from shapely.geometry.base import BaseGeometry

from evenacre.model.audit_result import Grid

_ALIGNED_CELLS = 1e-6


def weighted_sum(grids: Sequence[Grid], weights: Sequence[float]) -> Grid | None:
    """Sum of rasters times weights over the ground that any of them covers.

    Parameters
    ----------
    grids : sequence of Grid
        Values where nothing is known (NaN) count as nothing.

    Returns
    -------
    Grid or None
        None when the rasters do not share their plane and lattice of cells.
    """
    if not grids:
        return None
    first = grids[0]
    offsets = [_offset(first, grid) for grid in grids]
    placed = [offset for offset in offsets if offset is not None]
    if len(placed) < len(grids):
        return None
    top, left = (min(offset[i] for offset in placed) for i in (0, 1))
    shape = tuple(
        max(o[i] + g.values.shape[i] for o, g in zip(placed, grids, strict=True)) - (top, left)[i]
        for i in (0, 1)
    )
    total = np.zeros(shape)
    for (row, col), grid, weight in zip(placed, grids, weights, strict=True):
        rows, cols = grid.values.shape
        at = np.s_[row - top : row - top + rows, col - left : col - left + cols]
        total[at] += weight * np.nan_to_num(grid.values.astype(float))
    cell, corner = first.cell_m, first.transform
    transform = Affine(cell, 0, corner.c + left * cell, 0, -cell, corner.f - top * cell)
    return Grid(total, transform, first.crs)


def _offset(first: Grid, other: Grid) -> tuple[int, int] | None:
    """Rows and columns from one raster's corner to another's; None when they do not align."""
    if first.cell_m != other.cell_m or first.crs != other.crs:
        return None
    col = (other.transform.c - first.transform.c) / first.cell_m
    row = (first.transform.f - other.transform.f) / first.cell_m
    if max(abs(col - round(col)), abs(row - round(row))) > _ALIGNED_CELLS:
        return None
    return round(row), round(col)


def inside(grid: Grid, region: BaseGeometry) -> npt.NDArray[np.bool_]:
    """Cells of a raster whose centre lies in a region."""
    if region.is_empty:
        return np.zeros(grid.values.shape, dtype=bool)
    burned = rasterize([(region, 1)], grid.values.shape, transform=grid.transform, dtype="uint8")
    return burned.astype(bool)
