"""Work told by a drive: records in order of time, carried to the tool and its rows."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from evenacre.coverage.amounts import running_totals
from evenacre.coverage.capacity import capacity_figures
from evenacre.coverage.cover import Cover, count_cover
from evenacre.coverage.diagnostics import (
    loss_findings,
    position_findings,
    require_work,
    unlike_findings,
)
from evenacre.coverage.field_plane import PlaneField
from evenacre.coverage.headland import Headland, find_headland
from evenacre.coverage.legs import Legs, follow
from evenacre.coverage.measure.findings import settings_findings
from evenacre.coverage.passes import number_passes, pass_ends, pass_table
from evenacre.coverage.products import StripShares
from evenacre.coverage.receiver.judgement import (
    least_widths_m,
    pass_errors_m,
    receiver_findings,
    tells_gaps,
)
from evenacre.coverage.row_patterns import RowPatterns
from evenacre.coverage.rows import section_bounds
from evenacre.coverage.skip_causes import find_causes, outer_rows_off
from evenacre.coverage.skips import KINDS, Surroundings, ground_beside
from evenacre.coverage.steps import Steps
from evenacre.coverage.stretches import joined_steps
from evenacre.coverage.swath import (
    STRAIGHT_M,
    Strips,
    Swaths,
    build_strips,
    build_swaths,
    split_strips,
)
from evenacre.coverage.uncertainty.area_draws import AreaDraws, Ground, Laid, draw_areas
from evenacre.coverage.uncertainty.driven import driven_90_m2, driven_sigma_m2
from evenacre.coverage.uncertainty.position_error import PositionError, logging_interval_s
from evenacre.geo.local_crs import WorkingPlane
from evenacre.model import Application, Implement, IntArray, Operation, Settings, Track
from evenacre.model.audit_result import DriveRecord, RunningTotals
from evenacre.model.finding import Finding
from evenacre.model.measured import Measured
from evenacre.model.receiver import Receiver

# Edges are kept finer than the jitter left in them, about a quarter of the receiver's own.
_STRAIGHT_PER_JITTER, _ROUGHEST_M = 0.2, 0.01
_NO_GROUND_M2 = 1e-6


class Drive:
    """A drive over the plane, and the ground it swept.

    Raises
    ------
    FindingError
        When the logs hold no position or no working step.
    """

    def __init__(
        self,
        operation: Operation,
        implement: Implement,
        applications: Sequence[Application],
        plane: WorkingPlane,
        boundary: BaseGeometry | None,
        say: Callable[[str], None],
    ) -> None:
        say("cleaning positions")
        legs = follow(operation, implement, applications, plane, boundary)
        steps, implement = legs.steps, legs.implement
        require_work(operation, legs.fixes, steps)
        say("sweeping the ground")
        strips = build_strips(steps, steps.active, implement)
        rough_m = np.clip(_STRAIGHT_PER_JITTER * legs.jitter_m, STRAIGHT_M, _ROUGHEST_M)
        self._straight_m = float(rough_m)
        self.swaths = build_swaths(strips, self._straight_m)
        self._operation, self._implement, self._applications = operation, implement, applications
        self._steps, self._number = steps, number_passes(steps)
        self._long, self._first = joined_steps(
            steps, self._number, implement.width_m, self._straight_m
        )
        self._long_number = self._number[self._first]
        strips = _by_section(strips, operation.tracks, implement)
        self.masses, unlike_amounts = legs.masses(applications, strips, implement)
        self._timed = all(track.timed for track in operation.tracks)
        sectioned = np.array([track.sections is not None for track in legs.tracks])
        self._sectioned = sectioned[legs.fixes.track[self._long.record]]
        self.error = _position_error(legs, self._number, operation.settings)
        self._doubts = (
            *legs.findings,
            *loss_findings(legs.fixes),
            *unlike_findings(legs, implement),
            *receiver_findings(legs.receiver, implement.width_m, self.error.steered[1:]),
            *settings_findings(legs.evidence.measured, implement),
        )
        self._findings = (
            *legs.fixes.findings,
            *legs.states,
            *position_findings(operation, legs),
            *unlike_amounts,
        )
        # From here on the steps tell all, and records take as much memory again.
        self._legs = legs = legs.without_records()
        self.records = legs.fixes
        rows_on = steps.active.count
        self.shares = StripShares(strips, self.swaths, rows_on, self.masses, self._straight_m)

    @property
    def measured(self) -> tuple[Measured, ...]:
        """What the logs tell of the drill."""
        return self._legs.evidence.measured

    @property
    def pass_of_piece(self) -> IntArray:
        """Number of the pass each swath piece is of."""
        return self._number[self.swaths.first_step]

    def cover(self) -> Cover:
        """Count how often the ground was covered."""
        return count_cover(self.swaths.geometry)

    def headland(self, land: PlaneField) -> Headland:
        """Find the band along the boundary that was worked in rounds."""
        rounds = self._operation.settings.headland_rounds
        if not land.given and rounds is None:
            return Headland(0, shapely.Polygon())
        knot = np.flatnonzero(self._steps.working)
        tool = self._steps.tool
        return find_headland(
            land.boundary,
            land.workable,
            tool.x_m[knot],
            tool.y_m[knot],
            tool.heading_rad[knot],
            self._implement.width_m,
            rounds,
        )

    def passes(self, headland: BaseGeometry, crs: CRS) -> gpd.GeoDataFrame:
        """Every pass; its times and speed are NaN where the log tells no times."""
        passes = pass_table(self._steps, self._number, self.swaths, headland, crs)
        if not self._timed:
            passes[["start_s", "end_s", "mean_speed_mps"]] = np.nan
        return passes

    def surroundings(self, land: PlaneField, headland: BaseGeometry) -> Surroundings:
        """What skips may lie against."""
        return Surroundings(
            land.workable,
            land.given,
            pass_ends(self._long, self._long_number, self._implement),
            headland,
            self._implement.width_m,
            ground_beside(self._long, self._implement),
            find_causes(
                self._long,
                self._implement,
                self._operation.blockages,
                sides_told=all(f.code != "partial_width" for f in self._legs.states),
            ),
            outer_rows_off(self._long, self._long_number, self._implement, self._sectioned),
        )

    def capacity(self, covered_m2: float) -> dict[str, float]:
        """Passes apart, the figures of the work."""
        width_m, spans = self._implement.width_m, self._legs.spans
        return capacity_figures(self._steps, spans, width_m, covered_m2, timed=self._timed)

    def draws(
        self, cover: Cover, land: PlaneField, headland: BaseGeometry
    ) -> tuple[AreaDraws, Sequence[Laid]]:
        """Areas as they may truly be, those of zones as well, and where edges then lie."""
        implement = self._implement
        if any(track.at_tool for track in self._legs.tracks):
            implement = implement.at_its_own_places()

        def sweep(steps: Steps, rows: RowPatterns) -> Swaths:
            return build_swaths(build_strips(steps, rows, implement), self._straight_m)

        zones, setbacks = [z for _, z in land.zones], [area for _, _, area in land.setbacks]
        return draw_areas(
            self._long,
            self._long_number,
            cover,
            sweep,
            Ground(land.workable, zones, headland, setbacks),
            implement,
            self.error,
            self._legs.left_m,
            anew=self.tells_places,
        )

    @property
    def receiver(self) -> Receiver:
        """How well the log knows its place."""
        return self._legs.receiver

    @property
    def tells_places(self) -> bool:
        """Whether the places that were missed between passes can be told."""
        return self._legs.told_apart and tells_gaps(self.receiver, self._implement.width_m)

    def least_widths_m(self, min_width_m: float) -> dict[str, float]:
        """Width from which a skip is told, by kind."""
        if not self._legs.told_apart:  # between whose passes ground was missed cannot be told
            return dict.fromkeys(KINDS, np.inf)
        return least_widths_m(self.receiver, self._implement.width_m, min_width_m)

    @property
    def by_speed(self) -> bool:
        """Whether nothing but the speed tells of work."""
        return self._legs.by_speed

    def driven_90_m2(self, areas: dict[str, float], land: PlaneField) -> tuple[float, float]:
        """90 % interval of the ground driven with the tool down, laps counted again."""
        excess, by_speed = self.receiver.way_excess, self.by_speed
        sigma_m2 = driven_sigma_m2(self._steps, self._number, self._implement, self.error, excess)
        brim_m2 = land.boundary.length * 2 * self.receiver.pass_m if land.given else np.inf
        return driven_90_m2(areas, sigma_m2, by_speed=by_speed, brim_m2=brim_m2)

    def record(self) -> DriveRecord | None:
        """Return the drive step by step; None where no times are told."""
        if not self._timed:
            return None
        steps, implement = self._long, self._implement
        active = steps.active.states
        first = active.argmax(axis=1)
        end = active.shape[1] - active[:, ::-1].argmax(axis=1)
        half, spacing = implement.width_m / 2, implement.row_spacing_m
        on = steps.working
        left, right = (np.where(on, half - row * spacing, 0.0) for row in (first, end))
        swept = np.maximum(steps.active.count * spacing * steps.distance_m, _NO_GROUND_M2)
        rates = {
            a.product.name: np.where(on, np.add.reduceat(m.mass_kg, self._first) / swept, 0.0)
            for a, m in zip(self._applications, self.masses, strict=True)
        }
        return DriveRecord(steps.tool, steps.whole, self._long_number, left, right, rates)

    def totals(self) -> RunningTotals:
        """How far the job had come at any moment."""
        named = zip(self._applications, self.masses, strict=True)
        masses = {a.product.name: m for a, m in named}
        return running_totals(self._steps, self._legs.spans, self._implement, masses)

    def doubts(self) -> tuple[Finding, ...]:
        """What throws doubt on all of the result."""
        return self._doubts

    def findings(self) -> tuple[Finding, ...]:
        """What is worth telling of positions, rows and amounts."""
        return self._findings


def _position_error(legs: Legs, number: IntArray, settings: Settings) -> PositionError:
    """How far each pass may be off."""
    receiver = legs.receiver
    pass_m = np.full(int(number.max(initial=0)) + 1, receiver.pass_m)
    steered = np.zeros(len(pass_m), dtype=bool)
    for leg, span in zip(legs.legs, legs.spans, strict=True):
        sigma_m = leg.fixes.take(leg.tracks, lambda t: t.sigma_m)
        own_m = pass_errors_m(leg.receiver, number[span], leg.steps.record, sigma_m)
        mine = np.unique(number[span])
        pass_m[mine] = own_m[mine]
        if leg.receiver.steered:
            by_hand_m = leg.by_hand[leg.steps.record] * leg.steps.distance_m
            steered[mine] = np.bincount(number[span], by_hand_m)[mine] <= 0
    fine, driven = receiver.grade == "centimetre", steered[1:]
    return PositionError(
        pass_m,
        max(leg.receiver.within_m for leg in legs.legs),
        steered,
        receiver.memory_s if np.isfinite(receiver.memory_s) else None,
        # Where gaps scatter little, the driver may have made what was taken for the receiver's.
        assumed=receiver.told_by == "usual" or (receiver.told_by == "spacing" and fine),
        # What a receiver that steered wanders is not in the log, and bends of a hand's are both's.
        within_assumed=settings.within_pass_m is None
        and (fine or bool(driven.any() and not driven.all())),
        interval_s=logging_interval_s(legs.steps),
    )


def _by_section(strips: Strips, tracks: Sequence[Track], implement: Implement) -> Strips:
    """Strips as amounts are shared out on them: cut where sections have rates of their own."""
    counts = {rates.shape[1] for t in tracks for rates in t.section_rates.values()}
    for count in counts:
        strips = split_strips(strips, section_bounds(implement, count))
    return strips
