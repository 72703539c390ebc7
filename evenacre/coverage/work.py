"""What an audit asks of work, whether a drive tells it or shapes of ground do."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Protocol

import geopandas as gpd
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from evenacre.coverage.amounts import StepMass
from evenacre.coverage.clean import Fixes
from evenacre.coverage.cover import Cover
from evenacre.coverage.field_plane import PlaneField
from evenacre.coverage.headland import Headland
from evenacre.coverage.products import GroundPieces
from evenacre.coverage.skips import Surroundings
from evenacre.coverage.swath import Swaths
from evenacre.coverage.uncertainty.area_draws import AreaDraws, Laid
from evenacre.geo.local_crs import WorkingPlane
from evenacre.model import Application, Implement, IntArray, Operation
from evenacre.model.audit_result import DriveRecord, RunningTotals
from evenacre.model.finding import Finding
from evenacre.model.measured import Measured
from evenacre.model.receiver import Receiver


class Work(Protocol):
    """Ground that was worked, and what is known of how.

    Attributes
    ----------
    records : Fixes
        With the balance of what was read.
    swaths : Swaths
        The p pieces of ground that cover is counted of.
    """

    records: Fixes
    swaths: Swaths

    def __init__(
        self,
        operation: Operation,
        implement: Implement,
        applications: Sequence[Application],
        plane: WorkingPlane,
        boundary: BaseGeometry | None,
        say: Callable[[str], None],
    ) -> None:
        """Follow the logs of an operation over the plane, in which its boundary lies."""

    @property
    def pass_of_piece(self) -> IntArray:
        """Number of the pass of each swath piece, (p,); 0 where there are no passes."""

    @property
    def shares(self) -> GroundPieces:
        """The ground that amounts are shared out on."""

    @property
    def masses(self) -> list[StepMass]:
        """Mass of every product."""

    @property
    def receiver(self) -> Receiver | None:
        """How well the log knows its place; None where no positions in time tell it."""

    @property
    def tells_places(self) -> bool:
        """Whether the places that were missed between passes can be told."""

    @property
    def measured(self) -> tuple[Measured, ...]:
        """What the logs tell of the drill."""

    def cover(self) -> Cover:
        """Count how often the ground was covered."""

    def headland(self, land: PlaneField) -> Headland:
        """Find the band along the boundary that was worked in rounds."""

    def passes(self, headland: BaseGeometry, crs: CRS) -> gpd.GeoDataFrame:
        """Every pass, as `passes.pass_table` has them."""

    def surroundings(self, land: PlaneField, headland: BaseGeometry) -> Surroundings:
        """What skips may lie against."""

    def least_widths_m(self, min_width_m: float) -> dict[str, float]:
        """Width from which a skip is told, by kind."""

    def capacity(self, covered_m2: float) -> dict[str, float]:
        """Figures of distance, time and speed; NaN where they cannot be told."""

    def draws(
        self, cover: Cover, land: PlaneField, headland: BaseGeometry
    ) -> tuple[AreaDraws, Sequence[Laid]] | None:
        """Areas as they may truly be, and where edges then lie; None where that is not told."""

    @property
    def by_speed(self) -> bool:
        """Whether nothing but the speed tells of work."""

    def driven_90_m2(self, areas: dict[str, float], land: PlaneField) -> tuple[float, float] | None:
        """90 % interval of the ground driven with the tool down; None where that is not told."""

    def record(self) -> DriveRecord | None:
        """Return the drive step by step; None where that is not told."""

    def totals(self) -> RunningTotals | None:
        """How far the job had come at any moment; None where that is not told."""

    def doubts(self) -> tuple[Finding, ...]:
        """What throws doubt on all of the result."""

    def findings(self) -> tuple[Finding, ...]:
        """What else is worth telling."""
