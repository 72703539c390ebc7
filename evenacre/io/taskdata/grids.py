"""Grids (GRD): cells of treatment zone codes (type 1) or of values (type 2)."""

from __future__ import annotations

from dataclasses import dataclass
from xml.etree.ElementTree import Element

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.geo.overlay import only_polygons
from evenacre.io.common.findings import Findings
from evenacre.io.taskdata.folder import TaskFiles
from evenacre.io.taskdata.tree import integer, number, text

_CODES, _VALUES = "1", "2"
_MOST_CELLS = 4_000_000
# Each change from cell to cell is a stretch of outline; noise has as many as cells.
_MOST_CHANGES = 50_000


@dataclass(frozen=True)
class Cells:
    """The cells of a grid.

    Attributes
    ----------
    west, south : float
        Degrees of the outer corner of the first cell.
    east_deg, north_deg : float
        Size of a cell.
    values : (rows, columns, layers) int
        Rows from the south, columns from the west.
    coded : bool
        True when the values are codes of treatment zones.
    """

    west: float
    south: float
    east_deg: float
    north_deg: float
    values: np.ndarray
    coded: bool


def read_grid(
    element: Element, layers: int, files: TaskFiles, about: str, findings: Findings
) -> Cells | None:
    """Read a grid; None (and a warning) when it cannot be used.

    Parameters
    ----------
    layers : int
        Values in each cell of a grid of values.
    """
    coded = text(element, "I") == _CODES
    columns, rows = integer(element, "E") or 0, integer(element, "F") or 0
    shape = (rows, columns, 1 if coded else layers)
    name = f"{text(element, 'G')}.BIN"
    dtype = np.dtype("u1" if coded else "<i4")
    why, data = _fault(element, rows, columns), b""
    if not why and not files.has(name):
        why = f"has no file ({name} is missing)"
    if not why:
        data, needed = files.read(name), int(np.prod(shape)) * dtype.itemsize
        if len(data) < needed:
            why = f"breaks off: it has {len(data):,} of {needed:,} bytes"
    if why:
        findings.warn(f"{about}: its grid {why}; it was left out.")
        return None
    values = np.frombuffer(data, dtype, int(np.prod(shape))).reshape(shape)
    south, west, north_deg, east_deg = (number(element, key) for key in "ABCD")
    return Cells(west, south, east_deg, north_deg, values, coded)


def _fault(element: Element, rows: int, columns: int) -> str:
    """Say what is wrong with the frame of a grid; empty when nothing is."""
    south, west, north_deg, east_deg = (number(element, key) for key in "ABCD")
    if text(element, "I") not in (_CODES, _VALUES):
        return f'is of type "{text(element, "I")[:8]}", which is not known'
    if not (np.isfinite([south, west]).all() and north_deg > 0 and east_deg > 0):
        return "does not say where its cells lie"
    if rows <= 0 or columns <= 0:
        return "has no cells"
    if rows * columns > _MOST_CELLS:
        return f"has {rows * columns:,} cells, more than any plan needs"
    lat, lon = (south, south + rows * north_deg), (west, west + columns * east_deg)
    if np.abs(lat).max() > 90 or np.abs(lon).max() > 360:
        return "reaches beyond the poles or around the earth"
    return ""


def grid_areas(
    cells: Cells, groups: np.ndarray, about: str, findings: Findings
) -> dict[int, BaseGeometry]:
    """Join neighbouring cells of one group into areas, in degrees.

    Parameters
    ----------
    groups : (rows, columns) int
    """
    from rasterio.features import shapes
    from rasterio.transform import Affine

    changes = int((np.diff(groups, axis=0) != 0).sum() + (np.diff(groups, axis=1) != 0).sum())
    if changes > _MOST_CHANGES:
        findings.warn(
            f"{about}: its grid changes from cell to cell {changes:,} times, too often for zones; "
            "it was left out."
        )
        return {}
    place = Affine(cells.east_deg, 0.0, cells.west, 0.0, cells.north_deg, cells.south)
    parts: dict[int, list[BaseGeometry]] = {}
    for outline, group in shapes(groups.astype(np.int32), transform=place):
        rings = [np.asarray(ring) for ring in outline["coordinates"]]
        parts.setdefault(int(group), []).append(shapely.Polygon(rings[0], rings[1:]))
    return {group: only_polygons(shapely.union_all(parts[group])) for group in sorted(parts)}
