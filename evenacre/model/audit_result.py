"""What an audit knows about one operation on one field."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from evenacre.arrays import BoolArray, FloatArray, IntArray
from evenacre.model.finding import Finding
from evenacre.model.going_back import GoingBack
from evenacre.model.measured import Measured
from evenacre.model.receiver import Receiver

if TYPE_CHECKING:
    import geopandas as gpd
    from affine import Affine
    from pyproj import CRS

RATE_SHARES = (0.5, 0.9, 1.1, 1.5)
"""Shares of the target rate, or the mean, between which rates are of one class."""


@dataclass(frozen=True)
class Grid:
    """A north-up raster in the working plane; values at cell centres."""

    # (rows, cols) NaN (float grids) or 255 (count grids) where nothing is known
    values: npt.NDArray[np.generic]
    transform: Affine  # cell to plane coordinates, metres
    crs: CRS  # the working plane

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
    # 90 % interval of what was truly applied, by key; empty where nothing tells
    interval_90: dict[str, tuple[float, float]] = dataclasses.field(default_factory=dict)


@dataclass(frozen=True)
class SetbackFinding:
    """Product found inside a setback."""

    name: str
    area_m2: float
    applied_kg: float
    lon: float
    lat: float
    # 90 % intervals of what truly lies there, by key; empty where nothing tells
    interval_90: dict[str, tuple[float, float]] = dataclasses.field(default_factory=dict)


@dataclass(frozen=True)
class ProductResult:
    """Amounts of one product.

    ``zones`` plus ``unzoned_kg`` plus ``outside_kg`` make ``logged_kg``; with no logged rate
    ``source`` is ``"target"`` and logged means target rate times swept area.
    """

    product: str
    source: str  # ``"flow"``, ``"rate"`` or ``"target"``: where the amounts come from
    logged_kg: float
    applied_in_field_kg: float
    outside_kg: float
    unzoned_kg: float
    unplaced_kg: float  # logged flow while no row was down; not in ``logged_kg``
    overlap_kg: float  # mass placed as second and further covers inside the workable field
    overlap_cost: float | None  # the price of ``overlap_kg``
    target_kg: float | None
    target_kg_per_m2: float | None
    mean_rate_kg_per_m2: float
    # None when there is no target or no logged amount to compare with it
    within_10_percent_of_target_area_m2: float | None
    zones: tuple[ZoneAmount, ...]
    # Label nutrient to mass applied in the field (oxide terms as on the label)
    nutrients_kg: dict[str, float]
    elements_kg: dict[str, float]  # the same as elements (P, K ...)
    setbacks: tuple[SetbackFinding, ...]
    rate: Grid
    # Where what was put down is of a class about the target, or the mean without one (``kind``:
    # how many of `RATE_SHARES` it reaches). Shapes are laid one over the other: the last at a spot
    # is what it is of. Empty where nothing was put down.
    rate_ground: gpd.GeoDataFrame
    # 90 % intervals of what was truly applied, by key; empty where nothing tells
    interval_90: dict[str, tuple[float, float]] = dataclasses.field(default_factory=dict)

    @property
    def middle_kg_per_m2(self) -> float:
        """Rate that the classes of ``rate_ground`` are about."""
        return self.target_kg_per_m2 or self.mean_rate_kg_per_m2


@dataclass(frozen=True)
class RunningTotals:
    """Ground swept and mass metered since the start; any stretch of time is a difference."""

    time_s: FloatArray  # (n,) ascending, on the clock of the log
    # (n,) Width placing times distance: overlap counts as often as it was driven
    swept_m2: FloatArray
    metered_kg: dict[str, FloatArray]  # by product, flow logged while no row was placing included


@dataclass(frozen=True)
class ToolPath:
    """The tool line through time: n positions in the working plane."""

    time_s: FloatArray  # (n,)
    # (n,) Centre of the tool line
    x_m: FloatArray
    y_m: FloatArray
    # (n,) Direction the tool points, counter-clockwise from the plane's x axis (east)
    heading_rad: FloatArray


@dataclass(frozen=True)
class DriveRecord:
    """The drive as it was followed, in steps of some metres: n knots and n - 1 steps."""

    tool: ToolPath  # the knots; times on the clock of the log
    whole: BoolArray  # (n - 1,) False where the log was cut: nothing was driven there
    number: IntArray  # (n - 1,) pass that a step is of
    # (n - 1,) from the middle of the tool to the left and right edge of the rows placing, positive
    # to the left; equal where none was
    left_m: FloatArray
    right_m: FloatArray
    kg_per_m2: dict[str, FloatArray]  # (n - 1,) by product, on the ground of the step


@dataclass(frozen=True, eq=False)  # frames cannot be told equal by their truth
class AuditResult:
    """Every figure and layer of one audited operation.

    Geometry columns are in ``crs``, the working plane (metres). Areas are m2.

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
    boundary_given: bool  # False when the boundary was drawn from the swaths themselves
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
    pass_count: int | None  # None where the log holds shapes of ground, not a drive
    worked_distance_m: float
    # Whatever hangs on a drive, or on times, is NaN where the log tells none
    worked_time_s: float
    field_time_s: float
    idle_time_s: float
    mean_speed_mps: float
    field_capacity_m2_per_s: float
    theoretical_capacity_m2_per_s: float
    field_efficiency: float
    start_s: float
    end_s: float
    uncertainty: dict[str, float]  # standard uncertainties, by key of the figure
    # Means and 90 % intervals of what may truly be, by key; not there where nothing tells
    expected: dict[str, float]
    interval_90: dict[str, tuple[float, float]]
    products: tuple[ProductResult, ...]
    # ``field`` (name, area_m2), ``unworkable`` (area_m2), ``passes`` (pass, start_s, end_s,
    # length_m, area_m2, mean_speed_mps, heading_deg, headland), ``swaths`` (piece, pass, first_row,
    # last_row, area_m2, repeated_m2, max_cover), ``cover`` (cover: 1, 2, 3 where 3 means three or
    # more; area_m2), ``overlaps`` (cover, area_m2, in_headland), ``skips`` (skip, kind, cause,
    # area_m2, mean_width_m, length_m, lon, lat, chance that it is bare: NaN where not known),
    # ``headland`` (rounds, area_m2), ``outside`` (area_m2), ``zones`` (zone, area_m2), ``setbacks``
    # (name, distance_m, area_m2). Any of them may be empty.
    layers: dict[str, gpd.GeoDataFrame]
    cover_grid: Grid
    time_zone: str | None = None  # the zone to show times in; None: the log's own clock
    # Records read, used and left out, by cause, and where the log was cut
    cleaning: dict[str, int] = dataclasses.field(default_factory=dict)
    # The way between the records by the same keys: all but ``"read"`` make up that
    cleaning_m: dict[str, float] = dataclasses.field(default_factory=dict)
    sources: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    # Whether places between passes that were missed can be told from this log. Where not, only
    # ground far wider than the tool is listed, if any; ``driven_90_m2`` still holds.
    tells_places: bool = True
    # 90 % interval of the ground driven with the tool down, laps counted again; None as for:
    driven_90_m2: tuple[float, float] | None = None
    receiver: Receiver | None = None  # None where the log holds shapes of ground, not a drive
    drive: DriveRecord | None = None  # None where the log tells no drive, or no times
    totals: RunningTotals | None = None  # how far the job had come at any moment
    # What the logs tell of the drill, where they hold a drive
    measured: tuple[Measured, ...] = ()
    # What going back to the places missed would bring; None: not judged
    going_back: GoingBack | None = None
