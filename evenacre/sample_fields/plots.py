"""The shape of a field: boundary, ground not to be worked, soil zones.

Each field has its own frame: metres, passes along the x axis. ``rotation_deg`` turns the
frame counter-clockwise from east, and its ``origin`` falls on ``lon``, ``lat``.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pyproj
import shapely
from shapely.geometry import Point, Polygon
from shapely.geometry.base import BaseGeometry

from evenacre.sample_fields.paths import FloatArray, Path, rounded_loop

CORNER_RAMP_M = 6.0


@dataclass(frozen=True)
class Ellipse:
    """Centre and half axes along x and y, metres."""

    x: float
    y: float
    half_x: float
    half_y: float

    @property
    def path(self) -> Path:
        """Once round, counter-clockwise, from its lowest point."""
        t = np.linspace(-0.5 * np.pi, 1.5 * np.pi, 1201)
        dx, dy = -self.half_x * np.sin(t), self.half_y * np.cos(t)
        s = np.concatenate(([0.0], np.cumsum(np.hypot(dx, dy)[1:] * (t[1] - t[0]))))
        return Path(
            self.x + self.half_x * np.cos(t),
            self.y + self.half_y * np.sin(t),
            np.unwrap(np.arctan2(dy, dx)),
            self.half_x * self.half_y / np.hypot(dx, dy) ** 3,
            s,
        )

    @property
    def polygon(self) -> Polygon:
        """The ellipse as a polygon."""
        return Polygon(np.column_stack((self.path.x, self.path.y))[:-1:4])


@dataclass(frozen=True)
class Plot:
    """One field of the farm.

    Attributes
    ----------
    corners, radii_m
        The boundary before its corners were rounded by driving round it, counter-clockwise.
    sharp : tuple of int
        Corners that the boundary keeps and a drill cannot reach.
    waterway : geometry or None
        Grass that is crossed with the drill up.
    pile : Ellipse or None
        Rocks to drive round.
    soils : tuple of (name, line)
        Soil zones from low x to high x, each ending at a line of (x, y) points; the last
        takes the rest and has no line.
    """

    name: str
    slug: str
    lon: float
    lat: float
    rotation_deg: float
    corners: tuple[tuple[float, float], ...]
    radii_m: tuple[float, ...]
    sharp: tuple[int, ...] = ()
    waterway: BaseGeometry | None = None
    pile: Ellipse | None = None
    soils: tuple[tuple[str, tuple[tuple[float, float], ...]], ...] = ()
    well: tuple[float, float] | None = None

    @cached_property
    def loop(self) -> Path:
        """The boundary as it can be driven."""
        return rounded_loop(self.corners, self.radii_m, CORNER_RAMP_M)

    @cached_property
    def boundary(self) -> BaseGeometry:
        """The boundary as it is mapped."""
        driven = Polygon(np.column_stack((self.loop.x, self.loop.y))[:-1]).simplify(0.002)
        square = Polygon(self.corners)
        kept = [square.intersection(self.corner_area(i)) for i in self.sharp]
        return shapely.union_all([driven, *kept])

    def corner_area(self, corner: int) -> BaseGeometry:
        """The surroundings of a corner that a rounded loop cuts off."""
        return Point(self.corners[corner]).buffer(self.radii_m[corner] + CORNER_RAMP_M)

    @cached_property
    def unworkable(self) -> BaseGeometry | None:
        """Waterway and rocks within the boundary."""
        parts = [p for p in (self.waterway, self.pile and self.pile.polygon) if p is not None]
        return shapely.intersection(shapely.union_all(parts), self.boundary) if parts else None

    @cached_property
    def workable(self) -> BaseGeometry:
        """The ground to be worked."""
        if self.unworkable is None:
            return self.boundary
        return shapely.difference(self.boundary, self.unworkable)

    @cached_property
    def zones(self) -> dict[str, BaseGeometry]:
        """Soil zones clipped to the boundary."""
        min_x = self.boundary.bounds[0] - 10.0
        rest = self.boundary
        zones: dict[str, BaseGeometry] = {}
        for name, line in self.soils:
            if line:
                ends = [(min_x, line[-1][1]), (min_x, line[0][1])]
                low = Polygon([*line, *ends])
                zones[name] = shapely.intersection(rest, low)
                rest = shapely.difference(rest, low)
            else:
                zones[name] = rest
        return zones

    def to_lonlat(self, x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Frame coordinates to WGS 84 degrees, through an equal-area plane at the origin."""
        turn = np.radians(self.rotation_deg)
        east = np.cos(turn) * x - np.sin(turn) * y
        north = np.sin(turn) * x + np.cos(turn) * y
        lon, lat = self._to_degrees.transform(east, north)
        return lon, lat

    @cached_property
    def _to_degrees(self) -> pyproj.Transformer:
        plane = pyproj.CRS.from_dict(
            {"proj": "laea", "lat_0": self.lat, "lon_0": self.lon, "ellps": "WGS84"}
        )
        return pyproj.Transformer.from_crs(plane, 4326, always_xy=True)

    def geometry_to_lonlat(self, geometry: BaseGeometry, digits: int = 9) -> BaseGeometry:
        """A geometry of the frame in WGS 84 degrees."""

        def moved(points: FloatArray) -> FloatArray:
            lonlat = np.column_stack(self.to_lonlat(points[:, 0], points[:, 1]))
            return np.asarray(np.round(lonlat, digits), dtype=np.float64)

        return shapely.transform(geometry, moved)
