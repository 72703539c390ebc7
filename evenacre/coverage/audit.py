"""Audit one operation on one field: from its logs to an account of the ground."""

from __future__ import annotations

from collections.abc import Callable

import geopandas as gpd
import numpy as np
import shapely

from evenacre.coverage.capacity import theoretical_capacity_m2_per_s, work_time
from evenacre.coverage.clean import NEAR_FIELD_M, Fixes, clean
from evenacre.coverage.cover import Cover, GroundAccount, account, clip_areas, count_cover
from evenacre.coverage.grids import GridFrame, extent_of
from evenacre.coverage.ground import PlaneField, lay_out, plane_for
from evenacre.coverage.headland import Headland, find_headland
from evenacre.coverage.layers import cover_layers, field_layers, swath_layer
from evenacre.coverage.passes import first_and_last, number_passes, pass_table
from evenacre.coverage.products import (
    Ground,
    Region,
    product_masses,
    product_result,
    with_logged_products,
)
from evenacre.coverage.result import AuditResult
from evenacre.coverage.rows import row_states, with_rows
from evenacre.coverage.shares import Shares
from evenacre.coverage.skips import Surroundings, find_skips
from evenacre.coverage.smooth import SmoothPath, smooth_path
from evenacre.coverage.steps import Steps, build_steps
from evenacre.coverage.suspects import find_suspects, ground_beside
from evenacre.coverage.swath import STRAIGHT_M, Swaths, build_strips, build_swaths
from evenacre.coverage.totals import running_totals
from evenacre.coverage.uncertainty import area_uncertainty
from evenacre.errors import InputError
from evenacre.model import FloatArray, Implement, IntArray, Operation, Settings
from evenacre.plane import WorkingPlane

# A pass belongs to the headland when this share of its length runs inside the band.
_HEADLAND_SHARE = 0.6
# Edges are kept finer than the jitter left in them, about a quarter of the receiver's own.
_STRAIGHT_PER_JITTER, _ROUGHEST_M = 0.2, 0.01
# Narrower gaps between passes are within what receivers can tell (common practice, no source).
_NARROWEST_SKIP_M = 0.10
# The distance sensor and the positions should agree about this well.
_DISTANCE_TOLERANCE = 0.03
# A receiver repeats a record now and then; more than this comes of the export.
_REPEATS_SHARE = 0.01


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
    InputError
        When the logs hold no position or no working step.
    """
    say = progress or (lambda _stage: None)
    tracks, settings = operation.tracks, operation.settings
    implement = with_rows(operation.implement, tracks)
    plane = plane_for(operation.field, tracks)

    say("cleaning positions")
    boundary = operation.field.boundary
    near = None if boundary is None else plane.project(boundary)
    fixes = clean(tracks, plane, settings, near)
    path = smooth_path(fixes.time_s, fixes.x_m, fixes.y_m, fixes.run, smooth=settings.smooth)
    speed = _speed(fixes, path)
    states = row_states(fixes, tracks, implement, speed, _turn_radius(fixes, path, speed))
    steps = build_steps(fixes, path, states.active, implement, operation.blockages)
    _require_work(operation, fixes, steps)

    say("sweeping the ground")
    strips = build_strips(steps, steps.active, implement)
    swaths = build_swaths(strips, _straight_m(path))
    say("counting cover")
    cover = count_cover(swaths.geometry)
    land = lay_out(operation.field, plane, cover.once_or_more, implement.width_m)
    number = number_passes(steps)
    headland = _headland(land, steps, implement, settings.headland_rounds)
    passes = _passes(steps, number, swaths, headland, plane)

    say("finding skips")
    parted = account(cover, land.workable)
    around = Surroundings(
        land.workable,
        land.given,
        _pass_ends(steps, number, implement),
        headland.band,
        implement.width_m,
        ground_beside(steps, implement),
        find_suspects(steps, implement, operation.blockages),
    )
    skips = find_skips(
        parted.missed,
        around,
        plane,
        min_width_m=_skip_min_width_m(settings, implement),
        min_area_m2=settings.skip_min_area_m2,
    )

    say("sharing out amounts")
    areas = _areas(parted, cover, swaths, land, headland)
    shares = Shares(strips, swaths)
    ground = Ground(
        Region(operation.field.name, land.workable, shares.inside(land.workable)),
        [Region(name, zone, shares.inside(zone)) for name, zone in land.zones],
        [Region(name, area, shares.inside(area)) for name, _, area in land.setbacks],
        areas["covered_area_m2"],
        areas["excess_area_m2"],
    )
    applications = with_logged_products(operation.applications, tracks)
    masses, mass_warnings = product_masses(applications, tracks, fixes, steps, implement)
    frame = GridFrame(extent_of(land.boundary, cover.once_or_more), land.workable.area, plane.crs)
    rows_on = steps.active.sum(axis=1)
    products = tuple(
        product_result(a, m, strips, rows_on, cover, ground, frame, plane)
        for a, m in zip(applications, masses, strict=True)
    )

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
        date=operation.date,
        crs=plane.crs,
        boundary_given=land.given,
        width_m=implement.width_m,
        **areas,
        outside_area_m2=parted.outside.area,
        headland_rounds=headland.rounds,
        pass_count=len(passes),
        **_capacity(steps, implement, areas["covered_area_m2"]),
        uncertainty=area_uncertainty(steps, number, cover, land.workable, implement, settings),
        products=products,
        layers=layers,
        cover_grid=frame.cover(swaths.geometry),
        cleaning=fixes.counts,
        sources=tuple(t.source for t in tracks),
        notes=_notes(operation, fixes, path, states.notes),
        warnings=(
            *operation.warnings,
            *(w for t in tracks for w in t.warnings),
            *states.warnings,
            *_away_warnings(fixes),
            *_repeat_warnings(fixes),
            *_distance_warnings(operation, fixes),
            *mass_warnings,
            *_boundary_warnings(land),
        ),
        totals=running_totals(
            steps,
            implement,
            {a.product.name: m for a, m in zip(applications, masses, strict=True)},
        ),
    )


def _speed(fixes: Fixes, path: SmoothPath) -> FloatArray:
    """Ground speed at each fix from the positions around it."""
    if len(fixes.time_s) < 2:
        return np.zeros(len(fixes.time_s))
    same = fixes.run[1:] == fixes.run[:-1]
    moved = np.where(same, np.hypot(np.diff(path.x_m), np.diff(path.y_m)), 0.0)
    time = np.where(same, np.diff(fixes.time_s), 0.0)
    around = np.append(moved, 0.0) + np.insert(moved, 0, 0.0)
    span = np.append(time, 0.0) + np.insert(time, 0, 0.0)
    return np.divide(around, span, out=np.zeros_like(around), where=span > 0)


def _turn_radius(fixes: Fixes, path: SmoothPath, speed: FloatArray) -> FloatArray:
    """Radius of the path at each fix; infinite where it runs straight."""
    turn = np.abs(np.angle(np.exp(1j * np.diff(path.course_rad))))
    turn = np.where(fixes.run[1:] == fixes.run[:-1], turn, 0.0)
    rate = (np.append(turn, 0.0) + np.insert(turn, 0, 0.0)) / 2
    dt = np.gradient(fixes.time_s) if len(fixes.time_s) > 1 else np.ones(len(turn) + 1)
    rate = rate / np.maximum(dt, 1e-9)
    return np.divide(speed, rate, out=np.full(len(speed), np.inf), where=rate > 1e-9)


def _require_work(operation: Operation, fixes: Fixes, steps: Steps) -> None:
    """Refuse logs that hold nothing to audit."""
    files = ", ".join(t.source for t in operation.tracks)
    if len(fixes.time_s) < 2:
        raise InputError.at(
            files,
            "",
            f"it holds {'a single' if len(fixes.time_s) else 'no'} usable position, and one drive "
            "needs at least two.",
            "Check that the export is complete and that the position columns are right.",
        )
    if not steps.working.any():
        raise InputError.at(
            files,
            "",
            "no record shows work: the work state, width, sections or rate is off throughout.",
            "Check which column holds the work state, or map another one "
            "(--column work=NAME or columns in the season file).",
        )


def _straight_m(path: SmoothPath) -> float:
    return float(np.clip(_STRAIGHT_PER_JITTER * path.jitter_m, STRAIGHT_M, _ROUGHEST_M))


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


def _passes(
    steps: Steps, number: IntArray, swaths: Swaths, headland: Headland, plane: WorkingPlane
) -> gpd.GeoDataFrame:
    owner = number[swaths.first_step]
    swept = np.asarray(shapely.area(swaths.geometry), dtype=float)
    area = np.bincount(owner, swept, minlength=int(number.max()) + 1)[1:].astype(float)
    table = pass_table(steps, number, area, np.zeros(len(area), dtype=bool))
    paths = np.array(table["geometry"], dtype=object)
    inside = shapely.length(shapely.intersection(paths, headland.band))
    table["headland"] = inside > _HEADLAND_SHARE * shapely.length(paths)
    return gpd.GeoDataFrame(table, geometry="geometry", crs=plane.crs)


def _pass_ends(steps: Steps, number: IntArray, implement: Implement) -> shapely.Geometry:
    """Tool lines where passes start and stop."""
    first, last = first_and_last(number)
    knot = np.concatenate([first, last + 1])
    tool, half = steps.tool, implement.width_m / 2
    side = half * np.column_stack([-np.sin(tool.heading_rad[knot]), np.cos(tool.heading_rad[knot])])
    centre = np.column_stack([tool.x_m[knot], tool.y_m[knot]])
    return shapely.multilinestrings(
        shapely.linestrings(np.stack([centre + side, centre - side], axis=1))
    )


def _areas(
    parted: GroundAccount, cover: Cover, swaths: Swaths, land: PlaneField, headland: Headland
) -> dict[str, float]:
    """The account of the ground, m2."""
    swept_inside = float(clip_areas(swaths.geometry, land.workable).sum())
    covered, doubled = parted.covered.area, parted.twice_or_more
    return {
        "boundary_area_m2": land.boundary.area,
        "workable_area_m2": land.workable.area,
        "covered_area_m2": covered,
        "covered_once_m2": parted.once.area,
        "covered_twice_m2": parted.twice.area,
        "covered_more_m2": parted.more.area,
        "overlap_area_m2": doubled.area,
        "excess_area_m2": max(swept_inside - covered, 0.0),
        "skip_area_m2": parted.missed.area,
        "headland_area_m2": headland.band.area,
        "headland_overlap_m2": shapely.intersection(doubled, headland.band).area,
        "swept_area_m2": float(cover.piece_area_m2.sum()),
    }


def _capacity(steps: Steps, implement: Implement, covered_m2: float) -> dict[str, float]:
    time = work_time(steps)
    speed = time.worked_m / time.worked_s if time.worked_s else 0.0
    theoretical = theoretical_capacity_m2_per_s(implement.width_m, speed)
    capacity = covered_m2 / time.field_s if time.field_s else 0.0
    return {
        "worked_distance_m": time.worked_m,
        "worked_time_s": time.worked_s,
        "field_time_s": time.field_s,
        "idle_time_s": time.idle_s,
        "mean_speed_mps": speed,
        "field_capacity_m2_per_s": capacity,
        "theoretical_capacity_m2_per_s": theoretical,
        "field_efficiency": capacity / theoretical if theoretical else 0.0,
        "start_s": time.start_s,
        "end_s": time.end_s,
    }


def _notes(
    operation: Operation, fixes: Fixes, path: SmoothPath, inferred: tuple[str, ...]
) -> tuple[str, ...]:
    if not operation.settings.smooth:
        jitter = "Positions were not smoothed, as asked."
    elif path.x_m is fixes.x_m:
        jitter = "No receiver jitter worth smoothing was found."
    else:
        jitter = (
            f"Receiver jitter of about {path.jitter_m * 100:.1f} cm was smoothed along the path."
        )
    logged = (note for track in operation.tracks for note in track.notes)
    return (*operation.notes, *logged, *fixes.notes, *inferred, jitter)


def _away_warnings(fixes: Fixes) -> list[str]:
    away = fixes.counts.get("away from the field", 0)
    if not away:
        return []
    return [
        f"{away:,} of {fixes.counts['read']:,} records lie more than {NEAR_FIELD_M:.0f} m from the "
        "field and were left out: another field or the road, or a boundary that is too small."
    ]


def _repeat_warnings(fixes: Fixes) -> list[str]:
    repeats, read = fixes.counts.get("exact repeats", 0), fixes.counts["read"]
    if repeats <= _REPEATS_SHARE * read:
        return []
    return [
        f"{repeats:,} of {read:,} records repeat another one exactly and were counted once: the "
        "log may have been exported twice."
    ]


def _distance_warnings(operation: Operation, fixes: Fixes) -> list[str]:
    """Compare the machine's own distance sensor with the positions, record by record."""
    logged = fixes.take(operation.tracks, lambda t: t.distance_m)
    if logged is None:
        return []
    same = fixes.run[1:] == fixes.run[:-1]
    moved = np.hypot(np.diff(fixes.x_m), np.diff(fixes.y_m))
    ok = same & np.isfinite(logged[1:])
    if not moved[ok].sum():
        return []
    ratio = float(logged[1:][ok].sum() / moved[ok].sum())
    if abs(ratio - 1) <= _DISTANCE_TOLERANCE:
        return []
    return [
        f"The logged distance is {ratio:.3f} times the distance between positions; positions "
        "were used. Check the distance sensor's setting or the unit of its column."
    ]


def _boundary_warnings(land: PlaneField) -> list[str]:
    if land.given:
        return []
    return [
        "No boundary was given: one was drawn around the worked ground, so skips at the edge "
        "of the field cannot be judged."
    ]
