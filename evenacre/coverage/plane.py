"""The working plane: an equal-area plane centred on the field."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from pyproj import CRS, Transformer
from shapely.geometry.base import BaseGeometry

from evenacre.model import FloatArray


@dataclass(frozen=True)
class WorkingPlane:
    """Lambert azimuthal equal-area plane on the WGS 84 ellipsoid, in metres.

    Areas in it are true everywhere; distances within 2 km of the centre are true to
    better than 1e-7, since the scale differs from one by (r / 2R)^2 at distance r
    (Snyder 1987, Map Projections: A Working Manual, USGS Professional Paper 1395, p. 182).

    Attributes
    ----------
    lon0, lat0 : float
        Centre, degrees.
    """

    lon0: float
    lat0: float

    @classmethod
    def around(cls, geometry: BaseGeometry) -> WorkingPlane:
        """Centre the plane on the middle of a lon/lat geometry's bounds."""
        west, south, east, north = geometry.bounds
        return cls((west + east) / 2, (south + north) / 2)

    @cached_property
    def crs(self) -> CRS:
        """The plane as a coordinate reference system."""
        lon = (self.lon0 + 180.0) % 360.0 - 180.0
        return CRS.from_proj4(
            f"+proj=laea +lat_0={self.lat0:.9f} +lon_0={lon:.9f} +datum=WGS84 +units=m +no_defs"
        )

    @cached_property
    def _forward(self) -> Transformer:
        return Transformer.from_crs("EPSG:4326", self.crs, always_xy=True)

    def xy(self, lon: FloatArray, lat: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Degrees to metres; NaN stays NaN."""
        x, y = self._forward.transform(lon, lat)
        bad = ~(np.isfinite(x) & np.isfinite(y))
        return np.where(bad, np.nan, x), np.where(bad, np.nan, y)

    def lonlat(self, x_m: FloatArray, y_m: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Metres to degrees, longitudes in -180..180."""
        lon, lat = self._forward.transform(x_m, y_m, direction="INVERSE")
        return lon, lat

    def project(self, geometry: BaseGeometry) -> BaseGeometry:
        """Bring a lon/lat geometry into the plane, vertex by vertex."""
        return shapely.transform(geometry, lambda p: np.column_stack(self.xy(p[:, 0], p[:, 1])))
