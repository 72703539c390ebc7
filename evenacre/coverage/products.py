"""Each product shared out over the field, its zones and its setbacks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from evenacre.arrays import expand
from evenacre.coverage.amounts import StepMass, elements, nutrients
from evenacre.coverage.cover import Cover
from evenacre.coverage.grids import GridFrame, area_within
from evenacre.coverage.rate_ground import rate_layers, rated_strips
from evenacre.coverage.stretches import joined_strips
from evenacre.coverage.swath import Strips, Swaths, curved, fan_triangles
from evenacre.geo.geodesy import wrapped
from evenacre.geo.local_crs import WorkingPlane
from evenacre.geo.overlay import first_consistent, intersect, valid
from evenacre.model import Application, BoolArray, FloatArray, IntArray
from evenacre.model.audit_result import (
    RATE_SHARES,
    Grid,
    ProductResult,
    SetbackFinding,
    ZoneAmount,
)

_NEAR_TARGET = 0.10


class GroundPieces(Protocol):
    """The m pieces of ground that amounts are shared out on."""

    piece: IntArray  # (m,) the piece of the cover that each is, or is part of

    def inside(self, region: BaseGeometry) -> FloatArray:
        """Share of each piece's mass that falls in a region, (m,)."""

    def mass_kg(self, mass: StepMass) -> FloatArray:
        """Mass of each piece, (m,)."""

    def rate(self, frame: GridFrame, piece_kg: FloatArray) -> Grid:
        """Rate at each cell centre."""

    def rate_ground(
        self, piece_kg: FloatArray, edges_kg_per_m2: FloatArray, cover: Cover, crs: CRS
    ) -> gpd.GeoDataFrame:
        """Ground of each class of rates, as `rate_layers` has it."""


@dataclass(frozen=True)
class Region:
    """A piece of ground and the share of every strip that lies in it.

    ``geometry`` lies in the working plane; ``share`` is (m,), 0..1.
    """

    name: str
    geometry: BaseGeometry
    share: FloatArray


@dataclass(frozen=True)
class GroundShares:
    """The ground that amounts are shared among.

    Zones are clipped to the workable ground, setbacks already widened by their distance.
    """

    workable: Region
    zones: Sequence[Region]
    setbacks: Sequence[Region]
    # What of each setback was covered
    in_setbacks: Sequence[BaseGeometry]
    covered_m2: float
    excess_m2: float


def product_result(
    application: Application,
    mass: StepMass,
    shares: GroundPieces,
    cover: Cover,
    ground: GroundShares,
    frame: GridFrame,
    plane: WorkingPlane,
) -> ProductResult:
    """Share one product out over the field, its zones and setbacks."""
    product, target = application.product, application.target_kg_per_m2
    strip_kg = shares.mass_kg(mass)
    logged = float(strip_kg.sum())
    in_field = float((strip_kg * ground.workable.share).sum())
    zones = tuple(
        ZoneAmount(z.name, z.geometry.area, float((strip_kg * z.share).sum())) for z in ground.zones
    )
    overlap = _overlap_kg(strip_kg, shares.piece, cover, ground.excess_m2)
    grid = shares.rate(frame, strip_kg)
    within = None
    if target and mass.source != "target":
        inside = frame.mask(ground.workable.geometry)
        within = area_within(grid, inside, target, _NEAR_TARGET)
    label = nutrients(product.analysis, in_field)
    mean = in_field / ground.covered_m2 if ground.covered_m2 else 0.0
    edges = (target or mean) * np.array(RATE_SHARES)
    return ProductResult(
        product=product.name,
        source=mass.source,
        logged_kg=logged,
        applied_in_field_kg=in_field,
        outside_kg=logged - in_field,
        unzoned_kg=in_field - sum(z.applied_kg for z in zones),
        unplaced_kg=mass.unplaced_kg + float(mass.mass_kg.sum()) - logged,
        overlap_kg=overlap,
        overlap_cost=None if product.price_per_kg is None else overlap * product.price_per_kg,
        target_kg=None if target is None else target * ground.workable.geometry.area,
        target_kg_per_m2=target,
        mean_rate_kg_per_m2=mean,
        within_10_percent_of_target_area_m2=within,
        zones=zones,
        nutrients_kg=label,
        elements_kg=elements(label),
        setbacks=_setbacks(strip_kg, ground, plane),
        rate=grid,
        rate_ground=shares.rate_ground(strip_kg, edges, cover, frame.crs),
    )


def _overlap_kg(strip_kg: FloatArray, piece: IntArray, cover: Cover, excess_m2: float) -> float:
    """Excess area times the mean rate of the pieces that overlap, weighted by shared area."""
    shared = cover.pair_area_m2
    if not shared.sum():
        return 0.0
    area = cover.piece_area_m2
    mass = np.bincount(piece, strip_kg, minlength=len(area))
    rate = np.divide(mass, area, out=np.zeros(len(area)), where=area > 0)
    mean = (rate[cover.first] + rate[cover.second]) / 2
    return excess_m2 * float((mean * shared).sum() / shared.sum())


def _setbacks(
    strip_kg: FloatArray, ground: GroundShares, plane: WorkingPlane
) -> tuple[SetbackFinding, ...]:
    found = []
    for region, inside in zip(ground.setbacks, ground.in_setbacks, strict=True):
        if inside.area == 0:
            continue
        spot = shapely.point_on_surface(inside)
        lon, lat = plane.lonlat(np.array([spot.x]), np.array([spot.y]))
        lon = wrapped(lon)
        applied = float((strip_kg * region.share).sum())
        found.append(
            SetbackFinding(region.name, inside.area, applied, float(lon[0]), float(lat[0]))
        )
    return tuple(found)


class StripShares:
    """Shares of strips, worked out only where they meet a region's edge.

    Parameters
    ----------
    rows_on : (n - 1,) int
        Rows placing in each step.
    masses : sequence of StepMass
        That will be shared out.
    straight_m : float, optional
        Strips that are alike and so straight are joined.
    """

    def __init__(
        self,
        strips: Strips,
        swaths: Swaths,
        rows_on: IntArray,
        masses: Sequence[StepMass] = (),
        straight_m: float | None = None,
    ) -> None:
        self._strips, part_of = strips, np.arange(len(strips.step))
        # What was told strip by strip is not kept: there are many times as many as are joined.
        spread_kg = [mass.spread(strips, rows_on) for mass in masses]
        if straight_m is not None:
            self._strips, part_of = joined_strips(strips, spread_kg, straight_m)
        self.piece = self._strips.piece
        self._masses_kg = [
            (mass, np.bincount(part_of, kg, minlength=len(self.piece)).astype(float))
            for mass, kg in zip(masses, spread_kg, strict=True)
        ]
        self._pieces = swaths.geometry
        self._curved = curved(self._strips)

    def mass_kg(self, mass: StepMass) -> FloatArray:
        """Mass of each strip."""
        return next(kg for one, kg in self._masses_kg if one is mass)

    def rate(self, frame: GridFrame, strip_kg: FloatArray) -> Grid:
        """Rate at each cell centre."""
        return frame.rate(self._strips, strip_kg)

    def rate_ground(
        self, strip_kg: FloatArray, edges_kg_per_m2: FloatArray, cover: Cover, crs: CRS
    ) -> gpd.GeoDataFrame:
        """Ground of each class of rates."""
        parts = rated_strips(self._strips, strip_kg, edges_kg_per_m2)
        return rate_layers(parts, edges_kg_per_m2, cover, crs)

    def inside(self, region: BaseGeometry) -> FloatArray:
        """Share of each strip's mass that falls in a region.

        Rows get equal mass; on curves each row's mass is spread over its own shorter or longer
        ground.

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
        owner, rank = expand(rows)
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
    clipped = first_consistent(lambda grid: intersect(ground[cut], region, grid))
    inside = shapely.area(clipped)
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
