"""What an audit knows about one operation on one field."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import numpy.typing as npt
from affine import Affine
from pyproj import CRS

from evenacre.model import FloatArray
from evenacre.model.finding import Finding


@dataclass(frozen=True)
class Grid:
    """A north-up raster in the working plane; values at cell centres.

    Attributes
    ----------
    values : (rows, cols) array
        NaN (float grids) or 255 (count grids) where nothing is known.
    transform : affine.Affine
        Cell to plane coordinates, metres.
    crs : pyproj.CRS
        The working plane.
    """

    values: npt.NDArray[np.generic]
    transform: Affine
    crs: CRS

    @property
    def cell_m(self) -> float:
        """Side of a cell."""
        return float(self.transform.a)


@dataclass(frozen=True)
class ZoneAmount:
    """What one zone received of one product."""

    zone: str
    area_m2: float
    applied_kg: float


@dataclass(frozen=True)
class SetbackFinding:
    """Product found inside a setback."""

    name: str
    area_m2: float
    applied_kg: float
    lon: float
    lat: float


@dataclass(frozen=True)
class ProductResult:
    """Amounts of one product.

    ``zones`` plus ``unzoned_kg`` plus ``outside_kg`` make ``logged_kg``; with no logged rate
    ``source`` is ``"target"`` and logged means target rate times swept area.

    Attributes
    ----------
    source : str
        ``"flow"``, ``"rate"`` or ``"target"``: where the amounts come from.
    nutrients_kg : dict of str to float
        Label nutrient to mass applied in the field (oxide terms as on the label).
    elements_kg : dict of str to float
        The same as elements (P, K ...).
    overlap_kg : float
        Mass placed as second and further covers inside the workable field.
    overlap_cost : float or None
        The price of ``overlap_kg``.
    within_10_percent_of_target_area_m2 : float or None
        None when there is no target or no logged amount to compare with it.
    unplaced_kg : float
        Logged flow while no row was down; not in ``logged_kg``.
    """

    product: str
    source: str
    logged_kg: float
    applied_in_field_kg: float
    outside_kg: float
    unzoned_kg: float
    unplaced_kg: float
    overlap_kg: float
    overlap_cost: float | None
    target_kg: float | None
    target_kg_per_m2: float | None
    mean_rate_kg_per_m2: float
    within_10_percent_of_target_area_m2: float | None
    zones: tuple[ZoneAmount, ...]
    nutrients_kg: dict[str, float]
    elements_kg: dict[str, float]
    setbacks: tuple[SetbackFinding, ...]
    rate: Grid


@dataclass(frozen=True)
class RunningTotals:
    """Ground swept and mass metered since the start; any stretch of time is a difference.

    Attributes
    ----------
    time_s : (n,) float
        Ascending, on the clock of the log.
    swept_m2 : (n,) float
        Width placing times distance: overlap counts as often as it was driven.
    metered_kg : dict of str to (n,) float
        By product, flow logged while no row was placing included.
    """

    time_s: FloatArray
    swept_m2: FloatArray
    metered_kg: dict[str, FloatArray]


@dataclass(frozen=True)
class AuditResult:
    """Every figure and layer of one audited operation.

    Geometry columns are in ``crs``, the working plane (metres). Areas are m2.

    Attributes
    ----------
    boundary_given : bool
        False when the boundary was drawn from the swaths themselves.
    layers : dict of str to GeoDataFrame
        ``field`` (name, area_m2), ``unworkable`` (area_m2),
        ``passes`` (pass, start_s, end_s, length_m, area_m2, mean_speed_mps, heading_deg,
        headland),
        ``swaths`` (piece, pass, first_row, last_row, area_m2, repeated_m2, max_cover),
        ``cover`` (cover: 1, 2, 3 where 3 means three or more; area_m2),
        ``overlaps`` (cover, area_m2, in_headland),
        ``skips`` (skip, kind, cause, area_m2, mean_width_m, length_m, lon, lat),
        ``headland`` (rounds, area_m2), ``outside`` (area_m2), ``zones`` (zone, area_m2),
        ``setbacks`` (name, distance_m, area_m2). Any of them may be empty.
    time_zone : str or None
        The zone to show times in; None: the log's own clock.
    worked_time_s, field_time_s, mean_speed_mps, start_s, ... : float
        Whatever hangs on times is NaN where the log tells none.
    cleaning : dict of str to int
        Records read, used and dropped, by reason.
    totals : RunningTotals or None
        How far the job had come at any moment.

    Examples
    --------
    >>> (result,) = ev.audit("season.toml").operations
    >>> round(result.skip_area_m2)
    96
    """

    field: str
    operation: str
    date: str
    crs: CRS
    boundary_given: bool
    width_m: float
    boundary_area_m2: float
    workable_area_m2: float
    covered_area_m2: float
    covered_once_m2: float
    covered_twice_m2: float
    covered_more_m2: float
    overlap_area_m2: float
    excess_area_m2: float
    skip_area_m2: float
    outside_area_m2: float
    headland_rounds: int
    headland_area_m2: float
    headland_overlap_m2: float
    swept_area_m2: float
    pass_count: int
    worked_distance_m: float
    worked_time_s: float
    field_time_s: float
    idle_time_s: float
    mean_speed_mps: float
    field_capacity_m2_per_s: float
    theoretical_capacity_m2_per_s: float
    field_efficiency: float
    start_s: float
    end_s: float
    uncertainty: dict[str, float]
    products: tuple[ProductResult, ...]
    layers: dict[str, gpd.GeoDataFrame]
    cover_grid: Grid
    time_zone: str | None = None
    cleaning: dict[str, int] = dataclasses.field(default_factory=dict)
    sources: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    totals: RunningTotals | None = None


@dataclass(frozen=True)
class ToolPath:
    """The tool line through time: n positions in the working plane.

    Attributes
    ----------
    time_s : (n,) float
    x_m, y_m : (n,) float
        Centre of the tool line.
    heading_rad : (n,) float
        Direction the tool points, counter-clockwise from the plane's x axis (east).
    """

    time_s: FloatArray
    x_m: FloatArray
    y_m: FloatArray
    heading_rad: FloatArray
