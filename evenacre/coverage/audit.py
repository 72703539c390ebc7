"""Audit one operation on one field: from its logs to what it covered and placed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import shapely

from evenacre.coverage.amounts import running_totals, with_logged_products
from evenacre.coverage.capacity import capacity_figures
from evenacre.coverage.cover import area_figures, count_cover, part_ground
from evenacre.coverage.diagnostics import collect_findings, require_work
from evenacre.coverage.drive import follow
from evenacre.coverage.field_plane import PlaneField, lay_out, plane_for
from evenacre.coverage.grids import GridFrame, extent_of
from evenacre.coverage.headland import Headland, find_headland
from evenacre.coverage.layers import cover_layers, field_layers, swath_layer
from evenacre.coverage.passes import number_passes, pass_ends, pass_table
from evenacre.coverage.products import GroundShares, Region, Shares, product_result
from evenacre.coverage.rows import section_bounds, with_rows
from evenacre.coverage.skips import Surroundings, find_causes, find_skips, ground_beside
from evenacre.coverage.steps import Steps
from evenacre.coverage.swath import STRAIGHT_M, Strips, build_strips, build_swaths, split_strips
from evenacre.coverage.uncertainty import area_uncertainty, position_error
from evenacre.model import UNDATED_S, Implement, Operation, Settings, Track
from evenacre.model.audit_result import AuditResult

# Edges are kept finer than the jitter left in them, about a quarter of the receiver's own.
_STRAIGHT_PER_JITTER, _ROUGHEST_M = 0.2, 0.01
# Narrower gaps between passes are within what receivers can tell (common practice, no source).
_NARROWEST_SKIP_M = 0.10


def audit_operation(
    operation: Operation, progress: Callable[[str], None] | None = None
) -> AuditResult:
    """Work out what one operation covered, missed, repeated and placed.

    Parameters
    ----------
    operation : Operation
    progress : callable, optional
        Told the name of each stage as it begins.

    Returns
    -------
    AuditResult

    Raises
    ------
    FindingError
        When the logs hold no position or no working step.

    Examples
    --------
    >>> field = ev.load_season(Path("season.toml")).fields[0]
    >>> tracks = tuple(ev.read_tracks("log.csv"))
    >>> drill = ev.Implement(6.096, rows=32, rows_known=True)
    >>> result = ev.audit_operation(ev.Operation("spring", field, drill, tracks))
    >>> round(result.skip_area_m2)
    96
    """
    say = progress or (lambda _stage: None)
    tracks, settings = operation.tracks, operation.settings
    implement = with_rows(operation.implement, tracks)
    plane = plane_for(operation.field, tracks)

    say("cleaning positions")
    boundary = operation.field.boundary
    near = None if boundary is None else plane.project(boundary)
    applications = with_logged_products(operation.applications, tracks)
    drive = follow(operation, implement, applications, plane, near)
    tracks, fixes, steps = drive.tracks, drive.fixes, drive.steps
    require_work(operation, fixes, steps)

    say("sweeping the ground")
    strips = build_strips(steps, steps.active, implement)
    straight_m = np.clip(_STRAIGHT_PER_JITTER * drive.jitter_m, STRAIGHT_M, _ROUGHEST_M)
    swaths = build_swaths(strips, float(straight_m))
    say("counting cover")
    cover = count_cover(swaths.geometry)
    land = lay_out(operation.field, plane, cover.once_or_more, implement.width_m)
    number = number_passes(steps)
    headland = _headland(land, steps, implement, settings.headland_rounds)
    passes = pass_table(steps, number, swaths, headland.band, plane.crs)
    timed = all(track.timed for track in tracks)
    if not timed:
        passes[["start_s", "end_s", "mean_speed_mps"]] = np.nan

    say("finding skips")
    parted = part_ground(cover, land.workable)
    around = Surroundings(
        land.workable,
        land.given,
        pass_ends(steps, number, implement),
        headland.band,
        implement.width_m,
        ground_beside(steps, implement),
        find_causes(steps, implement, operation.blockages),
    )
    skips = find_skips(
        parted.missed,
        around,
        plane,
        min_width_m=_skip_min_width_m(settings, implement),
        min_area_m2=settings.skip_min_area_m2,
    )

    say("sharing out amounts")
    areas = area_figures(parted, swaths.geometry, land.workable, headland.band)
    placed = _by_section(strips, tracks, implement)
    shares = Shares(placed, swaths)
    ground = GroundShares(
        Region(operation.field.name, land.workable, shares.inside(land.workable)),
        [Region(name, zone, shares.inside(zone)) for name, zone in land.zones],
        [Region(name, area, shares.inside(area)) for name, _, area in land.setbacks],
        areas["covered_area_m2"],
        areas["excess_area_m2"],
    )
    masses, amounts = drive.masses(applications, placed, implement)
    frame = GridFrame(extent_of(land.boundary, cover.once_or_more), land.workable.area, plane.crs)
    products = tuple(
        product_result(a, m, placed, steps.active, cover, ground, frame, plane)
        for a, m in zip(applications, masses, strict=True)
    )

    sigma_m = fixes.take(tracks, lambda t: t.sigma_m)
    error = position_error(steps, number, settings, sigma_m)
    layers = field_layers(operation.field.name, land, headland, parted.outside, plane.crs)
    layers |= cover_layers(parted, headland, plane.crs)
    layers |= {
        "passes": passes,
        "swaths": swath_layer(swaths, number, cover, plane.crs),
        "skips": skips,
    }
    return AuditResult(
        field=operation.field.name,
        operation=operation.name,
        date=operation.date or _day(float(fixes.time_s[0]), operation.time_zone),
        crs=plane.crs,
        boundary_given=land.given,
        width_m=implement.width_m,
        boundary_area_m2=land.boundary.area,
        **areas,
        headland_rounds=headland.rounds,
        pass_count=len(passes),
        **capacity_figures(
            steps, drive.spans, implement.width_m, areas["covered_area_m2"], timed=timed
        ),
        uncertainty=area_uncertainty(steps, number, cover, land.workable, implement, error),
        products=products,
        layers=layers,
        cover_grid=frame.cover(swaths.geometry),
        time_zone=operation.time_zone,
        cleaning=fixes.counts,
        cleaning_m=fixes.metres,
        sources=tuple(t.source for t in operation.tracks),
        findings=collect_findings(operation, drive, land, frame, amounts),
        totals=running_totals(
            steps,
            drive.spans,
            implement,
            {a.product.name: m for a, m in zip(applications, masses, strict=True)},
        ),
    )


def _by_section(strips: Strips, tracks: Sequence[Track], implement: Implement) -> Strips:
    """Strips as amounts are shared out on them: cut where sections have rates of their own."""
    counts = {rates.shape[1] for t in tracks for rates in t.section_rates.values()}
    for count in counts:
        strips = split_strips(strips, section_bounds(implement, count))
    return strips


def _day(time_s: float, zone: str | None) -> str:
    """Date of the first record; empty where the log tells no date."""
    if time_s < UNDATED_S:
        return ""
    return datetime.fromtimestamp(time_s, ZoneInfo(zone) if zone else UTC).date().isoformat()


def _skip_min_width_m(settings: Settings, implement: Implement) -> float:
    if settings.skip_min_width_m is not None:
        return settings.skip_min_width_m
    half_row = implement.row_spacing_m / 2 if implement.rows_known else 0.0
    return max(_NARROWEST_SKIP_M, half_row)


def _headland(land: PlaneField, steps: Steps, implement: Implement, rounds: int | None) -> Headland:
    if not land.given and rounds is None:
        return Headland(0, shapely.Polygon())
    knot = np.flatnonzero(steps.working)
    tool = steps.tool
    return find_headland(
        land.boundary,
        land.workable,
        tool.x_m[knot],
        tool.y_m[knot],
        tool.heading_rad[knot],
        implement.width_m,
        rounds,
    )
