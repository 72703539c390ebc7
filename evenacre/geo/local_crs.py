"""The working plane: an equal-area plane centred on the field."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TypeVar

import numpy as np
import numpy.typing as npt
import shapely
from pyproj import CRS, Transformer
from shapely.geometry.base import BaseGeometry

from evenacre.arrays import FloatArray

Shapes = TypeVar("Shapes", BaseGeometry, npt.NDArray[np.object_])


@dataclass(frozen=True)
class WorkingPlane:
    """Lambert azimuthal equal-area plane on the WGS 84 ellipsoid, in metres.

    Areas in it are true everywhere; distances within 2 km of the centre are true to
    better than 1e-7, since the scale differs from one by (r / 2R)^2 at distance r
    (Snyder 1987, Map Projections: A Working Manual, USGS Professional Paper 1395, p. 182).
    """

    # Centre, degrees
    lon0: float
    lat0: float

    @classmethod
    def around(cls, shapes: Shapes) -> WorkingPlane:
        """Centre the plane on the middle of the bounds of lon/lat geometries."""
        west, south, east, north = shapely.total_bounds(shapes)
        return cls(float(west + east) / 2, float(south + north) / 2)

    @cached_property
    def crs(self) -> CRS:
        """The plane as a coordinate reference system."""
        lon = (self.lon0 + 180.0) % 360.0 - 180.0
        return CRS.from_proj4(
            f"+proj=laea +lat_0={self.lat0:.9f} +lon_0={lon:.9f} +datum=WGS84 +units=m +no_defs"
        )

    def xy(self, lon: FloatArray, lat: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Degrees to metres; NaN stays NaN."""
        x, y = _into(self).transform(lon, lat)
        bad = ~(np.isfinite(x) & np.isfinite(y))
        return np.where(bad, np.nan, x), np.where(bad, np.nan, y)

    def lonlat(self, x_m: FloatArray, y_m: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Metres to degrees; longitudes run past 180 where those of the plane's centre do."""
        lon, lat = _into(self).transform(x_m, y_m, direction="INVERSE")
        return self.lon0 + (lon - self.lon0 + 180.0) % 360.0 - 180.0, lat

    def project(self, shapes: Shapes) -> Shapes:
        """Bring lon/lat geometries into the plane, vertex by vertex."""
        return shapely.transform(shapes, lambda p: np.column_stack(self.xy(p[:, 0], p[:, 1])))

    def unproject(self, shapes: Shapes) -> Shapes:
        """Bring geometries of the plane back to degrees, vertex by vertex."""
        return shapely.transform(shapes, lambda p: np.column_stack(self.lonlat(p[:, 0], p[:, 1])))


# Planes about the same place are made over and over, and what leads into one takes as long to make
# as a small paddock takes to lay out.
@lru_cache(maxsize=256)
def _into(plane: WorkingPlane) -> Transformer:
    return Transformer.from_crs("EPSG:4326", plane.crs, always_xy=True)
