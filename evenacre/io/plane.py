"""A local plane in metres for measuring shapes given in degrees."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from pyproj import Transformer

from evenacre.model import FloatArray

ShapeArray = npt.NDArray[np.object_]


@dataclass(frozen=True)
class LocalPlane:
    """Lambert azimuthal equal-area plane around some shapes; metres, x east, y north."""

    _to_plane: Transformer
    _middle_lon: float

    @classmethod
    def around(cls, shapes: ShapeArray) -> LocalPlane:
        """Centre a plane on shapes in WGS 84 degrees."""
        west, south, east, north = shapely.total_bounds(shapes)
        lon, lat = (west + east) / 2, (south + north) / 2
        plane = f"+proj=laea +lat_0={lat} +lon_0={(lon + 180) % 360 - 180} +datum=WGS84 +units=m"
        return cls(Transformer.from_crs(4326, plane, always_xy=True), float(lon))

    def to_plane(self, shapes: ShapeArray) -> ShapeArray:
        """Shapes in metres."""

        def move(xy: FloatArray) -> FloatArray:
            return np.column_stack(self._to_plane.transform(xy[:, 0], xy[:, 1]))

        moved: ShapeArray = shapely.transform(shapes, move)
        return moved

    def to_degrees(self, xy: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Longitude and latitude of ``(n, 2)`` plane coordinates."""
        lon, lat = self._to_plane.transform(xy[:, 0], xy[:, 1], direction="INVERSE")
        # Degrees that ran past 180 do so again.
        lon = self._middle_lon + (lon - self._middle_lon + 180) % 360 - 180
        return np.asarray(lon, dtype=float), np.asarray(lat, dtype=float)
