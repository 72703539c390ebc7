"""Grids (GRD): cells of treatment zone codes (type 1) or of values (type 2)."""

from __future__ import annotations

from dataclasses import dataclass
from xml.etree.ElementTree import Element

import numpy as np
import shapely
from affine import Affine
from shapely.geometry.base import BaseGeometry

from evenacre.io.maps.repair import only_polygons
from evenacre.io.taskdata.folder import TaskFiles
from evenacre.io.taskdata.subject import Subject
from evenacre.io.taskdata.tree import integer, number, text

_CODES, _VALUES = "1", "2"
_MOST_CELLS = 4_000_000
# Each change from cell to cell is a stretch of outline; noise has as many as cells.
_MOST_CHANGES = 50_000


@dataclass(frozen=True)
class Cells:
    """The cells of a grid."""

    values: np.ndarray  # (rows, columns, layers) Rows from the south, columns from the west
    coded: bool  # True when the values are codes of treatment zones
    to_degrees: Affine  # From columns and rows to longitude and latitude


def read_grid(element: Element, layers: int, files: TaskFiles, about: Subject) -> Cells | None:
    """Read a grid; None (and a warning) when it cannot be used.

    Parameters
    ----------
    layers : int
        Values in each cell of a grid of values.
    """
    south, west, north_deg, east_deg = (number(element, key) for key in "ABCD")
    columns, rows = integer(element, "E") or 0, integer(element, "F") or 0
    coded = text(element, "I") == _CODES
    lat, lon = (south, south + rows * north_deg), (west, west + columns * east_deg)
    why = ""
    if text(element, "I") not in (_CODES, _VALUES):
        why = f'is of type "{text(element, "I")[:8]}", which is not known'
    elif not (np.isfinite([south, west]).all() and north_deg > 0 and east_deg > 0):
        why = "does not say where its cells lie"
    elif rows <= 0 or columns <= 0:
        why = "has no cells"
    elif rows * columns > _MOST_CELLS:
        why = f"has {rows * columns:,} cells, more than any plan needs"
    elif np.abs(lat).max() > 90 or np.abs(lon).max() > 360:
        why = "reaches beyond the poles or around the earth"
    elif not files.has(name := f"{text(element, 'G')}.BIN"):
        why = f"has no file ({name} is missing)"
    else:
        shape = (rows, columns, 1 if coded else layers)
        dtype = np.dtype("u1" if coded else "<i4")
        data, needed = files.read(name), int(np.prod(shape)) * dtype.itemsize
        if len(data) >= needed:
            values = np.frombuffer(data[:needed], dtype).reshape(shape)
            return Cells(values, coded, Affine(east_deg, 0.0, west, 0.0, north_deg, south))
        why = f"breaks off: it has {len(data):,} of {needed:,} bytes"
    about.warn(f"its grid {why}; it was left out.")
    return None


def grid_areas(cells: Cells, groups: np.ndarray, about: Subject) -> dict[int, BaseGeometry]:
    """Join neighbouring cells of one group, (rows, columns) int, into areas in degrees."""
    from rasterio.features import shapes

    changes = int((np.diff(groups, axis=0) != 0).sum() + (np.diff(groups, axis=1) != 0).sum())
    if changes > _MOST_CHANGES:
        about.warn(
            f"its grid changes from cell to cell {changes:,} times, too often for zones; it was "
            "left out."
        )
        return {}
    parts: dict[int, list[BaseGeometry]] = {}
    for outline, group in shapes(groups.astype(np.int32), transform=cells.to_degrees):
        rings = [np.asarray(ring) for ring in outline["coordinates"]]
        parts.setdefault(int(group), []).append(shapely.Polygon(rings[0], rings[1:]))
    return {group: only_polygons(shapely.union_all(parts[group])) for group in sorted(parts)}
