"""Ground told by shapes instead of a drive: polygons, and lines as wide as the tool."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from evenacre.coverage.amounts import StepMass, product_at
from evenacre.coverage.capacity import CAPACITY
from evenacre.coverage.clean import NEAR_FIELD_M, Fixes
from evenacre.coverage.cover import Cover, clip_areas, count_cover
from evenacre.coverage.diagnostics import away_finding, loss_findings
from evenacre.coverage.field_plane import PlaneField
from evenacre.coverage.grids import GridFrame
from evenacre.coverage.headland import Headland, find_headland
from evenacre.coverage.passes import no_passes
from evenacre.coverage.rate_ground import RatedParts, rate_layers
from evenacre.coverage.skips import KINDS, NARROWEST_M, Beside, Surroundings
from evenacre.coverage.swath import Swaths, line_swaths
from evenacre.geo.local_crs import WorkingPlane
from evenacre.geo.overlay import around, by_tiles, intersect, union, valid, widen
from evenacre.model import Application, BoolArray, FloatArray, Implement, IntArray, Operation, Track
from evenacre.model.audit_result import Grid
from evenacre.model.finding import Finding, FindingError
from evenacre.model.measured import Measured

# Of the ground: less that was closed or taken off is not worth a word.
_WORTH_SAYING = 1e-4
_REACH = 5.0  # times the width of a crack, how far off its buffers may be felt
_MOST_TIMES = 3  # covers that are told apart


@dataclass(frozen=True)
class ShapedGround:
    """The shapes of all logs in the plane, as p pieces of which none covers itself.

    Attributes
    ----------
    records : Fixes
        The records that have ground, in the order of the logs; positions are within it.
    swaths : Swaths
        ``first_step`` is the record of each piece; rows are not known.
    length_m : float
        Of all lines; NaN where some shapes are polygons.
    """

    records: Fixes
    swaths: Swaths
    length_m: float
    findings: tuple[Finding, ...]

    @property
    def piece_m2(self) -> FloatArray:
        """Ground of each piece."""
        return np.asarray(shapely.area(self.swaths.geometry))

    @property
    def record_m2(self) -> FloatArray:
        """Ground of each record, its laps over itself counted each time."""
        owner, count = self.swaths.first_step, len(self.records.time_s)
        return np.asarray(np.bincount(owner, self.piece_m2, minlength=count), dtype=float)


def shaped_ground(
    tracks: Sequence[Track], plane: WorkingPlane, width_m: float, boundary: BaseGeometry | None
) -> ShapedGround:
    """Bring the shapes of all logs into the plane and mend them.

    Parameters
    ----------
    width_m : float
        Of lines whose log does not tell their width.
    boundary : geometry, optional
        In the plane. Shapes far from it belong to other fields.
    """
    track = np.repeat(np.arange(len(tracks)), [len(t) for t in tracks])
    record = np.concatenate([np.arange(len(t)) for t in tracks]).astype(np.int64)
    shapes = plane.project(np.concatenate([t.ground for t in tracks if t.ground is not None]))
    widths = [np.full(len(t), np.nan) if t.width_m is None else t.width_m for t in tracks]
    width = np.concatenate(widths)
    width = np.where(width > 0, width, width_m)
    counts = {"read": len(shapes)}
    kept = np.isfinite(shapely.bounds(shapes)).all(axis=1)
    counts["without ground"] = int((~kept).sum())
    off, found = _off(tracks)
    counts["not worked"] = int((kept & off).sum())
    kept &= ~off
    if boundary is not None:
        near = around(boundary, NEAR_FIELD_M)
        shapely.prepare(near)
        here = kept.copy()
        here[kept] = shapely.intersects(near, valid(shapes[kept]))
        counts["away from the field"] = int((kept & ~here).sum())
        kept = here
    counts["used"] = int(kept.sum())
    rows = np.flatnonzero(kept)
    geometry, owner = _pieces(shapes[rows], width[rows])
    inside = _inside(geometry, owner, len(rows))
    time = np.concatenate([t.time_s for t in tracks])[rows]
    fixes = Fixes(
        time,
        shapely.get_x(inside),
        shapely.get_y(inside),
        track[rows].astype(np.int64),
        record[rows],
        np.arange(len(rows)),
        (time[1:] + time[:-1]) / 2,
        counts,
        {"read": 0.0},
    )
    nothing = np.zeros(len(owner), dtype=np.int64)
    found.insert(0, Finding.note("shapes_not_drive"))
    repeats = len(rows) - len(np.unique(shapely.to_wkb(shapely.normalize(shapes[rows]))))
    if repeats:
        found.append(Finding.warning("repeated_shapes", records=repeats, read=len(rows)))
    lines = (shapely.get_dimensions(shapes[rows]) < 2).all()
    length_m = float(shapely.length(shapes[rows]).sum()) if lines else np.nan
    swaths = Swaths(geometry, nothing, nothing, owner)
    return ShapedGround(fixes, swaths, length_m, tuple(found))


def _off(tracks: Sequence[Track]) -> tuple[BoolArray, list[Finding]]:
    """Records that say they were not worked, or that nothing was put down, and how that is told."""
    off, findings = [], []
    for track in tracks:
        logged = [*track.rates.values(), *track.flows.values()]
        if track.working is not None:
            off.append(~track.working)
        elif logged:
            off.append(np.logical_and.reduce([values == 0 for values in logged]))
            if off[-1].all():
                off[-1][:] = False
            if off[-1].any():
                findings.append(Finding.note("work_from_amount"))
        else:
            off.append(np.zeros(len(track), dtype=bool))
    return np.concatenate(off), findings[:1]


def _inside(geometry: np.ndarray, owner: IntArray, count: int) -> np.ndarray:
    """Return a point in the first piece of each record."""
    first = np.full(count, len(geometry))
    np.minimum.at(first, owner, np.arange(len(geometry)))
    return shapely.point_on_surface(np.append(geometry, shapely.Polygon())[first])


def _pieces(shapes: np.ndarray, width_m: FloatArray) -> tuple[np.ndarray, IntArray]:
    """Polygons none of which covers itself, and the shape each is of."""
    parts, owner = shapely.get_parts(shapes, return_index=True)
    flat = shapely.get_dimensions(parts) == 2
    lines = line_swaths(parts[~flat], width_m[owner[~flat]])
    polygons, owners = parts[flat], owner[flat]
    crossing = ~shapely.is_valid(polygons)
    mended = [_by_times_covered(polygon) for polygon in polygons[crossing]]
    geometry = np.concatenate([polygons[~crossing], *mended, lines.geometry])
    times = [len(layers) for layers in mended]
    owner = np.concatenate(
        [owners[~crossing], np.repeat(owners[crossing], times), owner[~flat][lines.first_step]]
    )
    real = shapely.area(geometry) > 0
    order = np.argsort(owner[real], kind="stable")
    return geometry[real][order], owner[real][order].astype(np.int64)


def _by_times_covered(polygon: BaseGeometry) -> np.ndarray:
    """Part an outline that crosses itself: ground within it, ground within it twice ...

    A swath that runs over its own ground goes round it once for every time it was there, so its
    winding number, whichever way round, counts the covers.
    """
    rings = [shapely.get_coordinates(ring) for ring in shapely.get_rings(polygon)]
    noded = union(np.array([shapely.linestrings(ring) for ring in rings]))
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(noded)))
    if not len(faces):
        return faces
    spots = shapely.get_coordinates(shapely.point_on_surface(faces))
    times = np.abs(_winding(rings[0], spots))
    for hole in rings[1:]:
        times[_winding(hole, spots) != 0] = 0
    layers = [union(faces[times >= n]) for n in range(1, min(times.max(), _MOST_TIMES) + 1)]
    return shapely.get_parts(np.array(layers, dtype=object))


def _winding(ring: FloatArray, spots: FloatArray) -> IntArray:
    """How often a closed ring goes round each spot, anticlockwise."""
    (x0, y0), (x1, y1) = ring[:-1].T[:, :, None], ring[1:].T[:, :, None]
    x, y = spots.T[:, None, :]
    left = (x1 - x0) * (y - y0) - (x - x0) * (y1 - y0)
    up = (y0 <= y) & (y1 > y) & (left > 0)
    down = (y0 > y) & (y1 <= y) & (left < 0)
    return np.asarray(up.sum(axis=0) - down.sum(axis=0), dtype=np.int64)


def shape_cover(pieces: np.ndarray) -> tuple[Cover, list[Finding]]:
    """Count the cover with cracks between shapes closed, and laps as narrow taken for none."""
    cover = count_cover(pieces, NARROWEST_M)
    drawn = cover.once_or_more
    once = widen(widen(np.array([drawn]), NARROWEST_M / 2), -NARROWEST_M / 2)[0]
    if once.area < drawn.area:  # sharp corners were cut
        once = union(np.array([drawn, once]))
    twice, thrice = _wide(cover.twice_or_more), _wide(cover.thrice_or_more)
    cracks_m2 = max(once.area - drawn.area, 0.0)
    laps_m2 = cover.narrow_m2 + cover.twice_or_more.area - twice.area
    settled = replace(
        cover,
        once_or_more=once,
        twice_or_more=twice,
        thrice_or_more=thrice,
        narrow_m2=laps_m2 - cracks_m2,
    )
    if cracks_m2 + laps_m2 < _WORTH_SAYING * once.area:
        return settled, []
    told = Finding.note("cracks", cracks_m2=cracks_m2, laps_m2=laps_m2, limit_m=NARROWEST_M)
    return settled, [told]


def _wide(ground: BaseGeometry) -> BaseGeometry:
    """What of some ground is wider than a crack."""
    return by_tiles(ground, _opened, _REACH * NARROWEST_M)


def _opened(ground: BaseGeometry) -> BaseGeometry:
    parts = shapely.get_parts(ground)
    core = widen(parts, -NARROWEST_M / 2)
    left = ~shapely.is_empty(core)
    # Parts of one ground share none of it, so there is nothing to join.
    opened = intersect(widen(core[left], NARROWEST_M / 2), parts[left])
    return shapely.MultiPolygon(list(shapely.get_parts(opened)))


class ShapeShares:
    """Shares of pieces in a region: their mass lies evenly on them."""

    def __init__(self, ground: ShapedGround) -> None:
        self.piece = np.arange(len(ground.swaths.geometry))
        self._pieces, self._area = ground.swaths.geometry, ground.piece_m2

    def inside(self, region: BaseGeometry) -> FloatArray:
        """Share of each piece's mass that falls in a region, (p,)."""
        if region.is_empty:
            return np.zeros(len(self._area))
        return clip_areas(self._pieces, region) / self._area

    def mass_kg(self, mass: StepMass) -> FloatArray:
        """Mass of each piece."""
        return mass.mass_kg

    def rate(self, frame: GridFrame, mass_kg: FloatArray) -> Grid:
        """Rate at each cell centre, summed over the pieces that cover it."""
        return frame.sums(self._pieces, mass_kg / self._area)

    def rate_ground(
        self, mass_kg: FloatArray, edges_kg_per_m2: FloatArray, cover: Cover, crs: CRS
    ) -> gpd.GeoDataFrame:
        """Ground of each class of rates; laps that count for no cover add nothing up."""
        parts = RatedParts(self._pieces, mass_kg / self._area, self.piece)
        return rate_layers(parts, edges_kg_per_m2, cover, crs, NARROWEST_M)


def shape_masses(
    applications: Sequence[Application], tracks: Sequence[Track], ground: ShapedGround
) -> tuple[list[StepMass], list[Finding]]:
    """Mass of each product on each shape: its rate, else its flow for its time, else the target."""
    area, fixes = ground.record_m2, ground.records
    interval = fixes.take(tracks, lambda t: t.interval_s)
    masses, findings = [], []
    for i, application in enumerate(applications):
        name = application.product.name
        rate = product_at(fixes, tracks, "rates", name, unnamed=i == 0)
        flow = product_at(fixes, tracks, "flows", name, unnamed=i == 0)
        if rate is not None:
            logged, mass, source = rate, np.nan_to_num(rate) * area, "rate"
        elif flow is not None and interval is not None:
            logged, mass, source = flow, np.nan_to_num(flow * interval), "flow"
        else:
            logged, source = None, "target"
            mass = (application.target_kg_per_m2 or 0.0) * area
            if application.target_kg_per_m2 is None:
                findings.append(Finding.warning("no_amount", product=name))
        blank = 0.0 if logged is None else float(area[~np.isfinite(logged)].sum() / area.sum())
        if blank:
            findings.append(Finding.warning("blank_ground", product=name, share=blank))
        owner = ground.swaths.first_step
        masses.append(StepMass(mass[owner] * ground.piece_m2 / area[owner], mass, source, 0.0))
    return masses, findings


def shaped(operation: Operation) -> bool:
    """Tell whether the logs hold shapes of ground, and not a drive.

    Raises
    ------
    FindingError
        When some of them do and others do not.
    """
    kinds = [track.ground is not None for track in operation.tracks]
    if any(kinds) and not all(kinds):
        sources = [t.source for t in operation.tracks if t.ground is not None]
        raise FindingError("drive_and_shapes", ", ".join(dict.fromkeys(sources)))
    return any(kinds)


class Shapes:
    """Ground told by shapes, in place of a `Drive`: no passes, times or headland follow from it.

    Raises
    ------
    FindingError
        When the logs hold no ground near the field.
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
        say("mending shapes")
        self._operation, self._width_m = operation, implement.width_m
        ground = shaped_ground(operation.tracks, plane, implement.width_m, boundary)
        self.records, self.swaths = ground.records, ground.swaths
        if not len(self.swaths.geometry):
            raise FindingError("no_shape", ", ".join(t.source for t in operation.tracks))
        self.pass_of_piece = np.zeros(len(self.swaths.geometry), dtype=np.int64)
        self.shares, self._length_m = ShapeShares(ground), ground.length_m
        self.receiver, self.tells_places = None, True
        self.masses, amounts = shape_masses(applications, operation.tracks, ground)
        self._findings = [*ground.findings, *away_finding(self.records.counts), *amounts]
        if operation.blockages:
            self._findings.append(Finding.warning("blockages_unplaced"))

    def cover(self) -> Cover:
        """Count how often the ground was covered."""
        cover, found = shape_cover(self.swaths.geometry)
        self._findings += found
        return cover

    def headland(self, land: PlaneField) -> Headland:
        """Return the band of as many rounds as were stated."""
        rounds = self._operation.settings.headland_rounds
        if rounds is None:
            return Headland(0, shapely.Polygon())
        none = np.zeros(0)
        return find_headland(land.boundary, land.workable, none, none, none, self._width_m, rounds)

    def passes(self, headland: BaseGeometry, crs: CRS) -> gpd.GeoDataFrame:
        """Return no passes."""
        return no_passes(crs)

    def surroundings(self, land: PlaneField, headland: BaseGeometry) -> Surroundings:
        """What skips may lie against: the boundary alone."""
        nothing = Beside(np.zeros(0, dtype=object), np.zeros(0))
        ends = shapely.MultiLineString()
        return Surroundings(
            land.workable, land.given, ends, headland, self._width_m, nothing, (), ()
        )

    def least_widths_m(self, min_width_m: float) -> dict[str, float]:
        """Width from which a skip is told, by kind."""
        return dict.fromkeys(KINDS, min_width_m)

    def capacity(self, covered_m2: float) -> dict[str, float]:
        """First and last time where the log tells times; what hangs on a drive is not known."""
        timed = all(track.timed for track in self._operation.tracks)
        time_s = self.records.time_s if timed else np.full(1, np.nan)
        return dict.fromkeys(CAPACITY, np.nan) | {
            "worked_distance_m": self._length_m,
            "start_s": float(time_s.min()),
            "end_s": float(time_s.max()),
        }

    def draws(self, cover: Cover, land: PlaneField, headland: BaseGeometry) -> None:
        """How the edges were found is not told, so neither is how far they may be off."""

    @property
    def by_speed(self) -> bool:
        """Never: shapes are of worked ground."""
        return False

    def driven_90_m2(self, areas: dict[str, float], land: PlaneField) -> None:
        """What was driven is not told."""

    def record(self) -> None:
        """How the ground was driven is not told."""

    def totals(self) -> None:
        """When each shape was worked is not told."""

    @property
    def measured(self) -> tuple[Measured, ...]:
        """Nothing: shapes of ground tell of no drill."""
        return ()

    def doubts(self) -> tuple[Finding, ...]:
        """What throws doubt on all of the result."""
        return tuple(loss_findings(self.records))

    def findings(self) -> tuple[Finding, ...]:
        """What is worth telling of the shapes and the amounts."""
        return tuple(self._findings)
