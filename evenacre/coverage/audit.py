"""Audit one operation on one field: from its logs to what it covered and placed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
from threadpoolctl import threadpool_limits

from evenacre.coverage.amounts import with_logged_products
from evenacre.coverage.cover import area_figures, part_ground
from evenacre.coverage.diagnostics import collect_findings, require_ground
from evenacre.coverage.drive import Drive
from evenacre.coverage.field_plane import lay_out, plane_for
from evenacre.coverage.grids import GridFrame, extent_of
from evenacre.coverage.layers import cover_layers, field_layers, swath_layer
from evenacre.coverage.products import GroundShares, Region, product_result
from evenacre.coverage.receiver.judgement import untold_90_kg, untold_90_m2
from evenacre.coverage.rows import with_rows
from evenacre.coverage.shapes import Shapes, shaped
from evenacre.coverage.skips import NARROWEST_M, find_skips
from evenacre.coverage.uncertainty.area_draws import interval_90
from evenacre.coverage.uncertainty.chances import bare_chances
from evenacre.coverage.uncertainty.driven import by_speed_90_kg, by_speed_90_m2
from evenacre.coverage.uncertainty.mass_draws import with_intervals
from evenacre.coverage.work import Work
from evenacre.geo.overlay import common
from evenacre.model import UNDATED_S, Implement, Operation, Settings
from evenacre.model.audit_result import AuditResult

_WITH_ERROR = ("covered_area_m2", "overlap_area_m2", "skip_area_m2")


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
    # Matrices are small: threads of theirs would wait for one another longer than they work, and
    # how many there are must not show in the last digits.
    with threadpool_limits(1, user_api="blas"):
        return _audited(operation, progress or (lambda _stage: None))


def _audited(operation: Operation, say: Callable[[str], None]) -> AuditResult:
    tracks, settings = operation.tracks, operation.settings
    implement = with_rows(operation.implement, tracks)
    plane = plane_for(operation.field, tracks)
    boundary = operation.field.boundary
    near = None if boundary is None else plane.project(boundary)
    applications = with_logged_products(operation.applications, tracks)
    kind: type[Work] = Shapes if shaped(operation) else Drive
    work = kind(operation, implement, applications, plane, near, say)

    say("counting cover")
    cover = work.cover()
    require_ground(operation, cover.once_or_more)
    land = lay_out(operation.field, plane, cover.once_or_more, implement.width_m)
    headland = work.headland(land)
    passes = work.passes(headland.band, plane.crs)

    say("finding skips")
    parted = part_ground(cover, land.workable)
    skips = find_skips(
        parted.missed,
        work.surroundings(land, headland.band),
        plane,
        min_width_m=work.least_widths_m(_skip_min_width_m(settings, implement)),
        min_area_m2=settings.skip_min_area_m2,
    )

    say("sharing out amounts")
    swaths = work.swaths
    areas = area_figures(parted, swaths.geometry, land.workable, headland.band, cover.narrow_m2)
    shares = work.shares
    ground = GroundShares(
        Region(operation.field.name, land.workable, shares.inside(land.workable)),
        [Region(name, zone, shares.inside(zone)) for name, zone in land.zones],
        [Region(name, area, shares.inside(area)) for name, _, area in land.setbacks],
        [common(cover.once_or_more, area) for _, _, area in land.setbacks],
        areas["covered_area_m2"],
        areas["excess_area_m2"],
    )
    drawn = work.draws(cover, land, headland.band)
    draws = {} if drawn is None else drawn[0].of_figures(areas)
    chance = None if drawn is None else bare_chances(drawn[1], skips, implement.width_m)
    skips.insert(len(skips.columns) - 1, "chance", np.nan if chance is None else chance)
    extent = extent_of(land.boundary, cover.once_or_more)
    frame = GridFrame(extent, land.workable.area, plane.crs, cover.once_or_more)
    products = tuple(
        product_result(a, m, shares, cover, ground, frame, plane)
        for a, m in zip(applications, work.masses, strict=True)
    )
    if drawn is not None:
        reached = [i for i, inside in enumerate(ground.in_setbacks) if inside.area > 0]
        products = tuple(
            with_intervals(product, drawn[0], draws, areas, reached, number)
            for number, product in enumerate(products)
        )

    layers = field_layers(operation.field.name, land, headland, parted.outside, plane.crs)
    layers |= cover_layers(parted, headland, plane.crs)
    layers |= {
        "passes": passes,
        "swaths": swath_layer(swaths, work.pass_of_piece, cover, plane.crs),
        "skips": skips,
    }
    intervals = {}
    if drawn is not None:
        receiver = drawn[0].kind
        intervals = {key: interval_90(values, receiver) for key, values in draws.items()}
    if intervals and not work.tells_places:
        intervals = untold_90_m2(intervals, areas["workable_area_m2"])
        products = tuple(replace(p, interval_90=untold_90_kg(p.interval_90)) for p in products)
    driven = work.driven_90_m2(areas, land)
    if intervals and work.by_speed and driven is not None:
        intervals = by_speed_90_m2(intervals, driven)
        products = tuple(by_speed_90_kg(p, areas["swept_area_m2"], driven) for p in products)
    return AuditResult(
        field=operation.field.name,
        operation=operation.name,
        date=operation.date or _day(float(work.records.time_s[0]), operation.time_zone),
        crs=plane.crs,
        boundary_given=land.given,
        width_m=implement.width_m,
        boundary_area_m2=land.boundary.area,
        **areas,
        headland_rounds=headland.rounds,
        **work.capacity(areas["covered_area_m2"]),
        pass_count=len(passes) if isinstance(work, Drive) else None,
        uncertainty={key: float(draws[key].std()) for key in _WITH_ERROR if draws},
        expected={key: float(values.mean()) for key, values in draws.items()},
        interval_90=intervals,
        products=products,
        layers=layers,
        cover_grid=frame.cover(swaths.geometry),
        time_zone=operation.time_zone,
        cleaning=work.records.counts,
        cleaning_m=work.records.metres,
        sources=tuple(t.source for t in tracks),
        tells_places=work.tells_places,
        receiver=work.receiver,
        driven_90_m2=driven,
        findings=collect_findings(operation, work.doubts(), work.findings(), land, frame),
        drive=work.record(),
        totals=work.totals(),
        measured=work.measured,
        going_back=None,
    )


def _day(time_s: float, zone: str | None) -> str:
    """Date of the first record; empty where the log tells no date."""
    if time_s < UNDATED_S:
        return ""
    return datetime.fromtimestamp(time_s, ZoneInfo(zone) if zone else UTC).date().isoformat()


def _skip_min_width_m(settings: Settings, implement: Implement) -> float:
    if settings.skip_min_width_m is not None:
        return settings.skip_min_width_m
    half_row = implement.row_spacing_m / 2 if implement.rows_known else 0.0
    return max(NARROWEST_M, half_row)
