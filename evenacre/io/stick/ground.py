"""Outlines on a stick: which are fields, which zones, unworkable ground or setbacks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.geo.geodesy import geodesic_area_m2
from evenacre.geo.local_crs import WorkingPlane
from evenacre.geo.overlay import common, union, valid
from evenacre.io.common.findings import one_line
from evenacre.io.maps.field_layers import NAME_COLUMNS, names_of
from evenacre.io.maps.read_layer import attribute_text
from evenacre.io.stick.drives import Drive, Piece, piece_of
from evenacre.io.stick.files import StickFile
from evenacre.io.stick.identify import Found
from evenacre.io.tables.headers import read_header

ZONE_COLUMNS = ("zone", "zones", "zone_name", "zone_id", "soil", "soils", "soil_type", "mgmt_zone")
_FIELD_COLUMNS = ("field", "field_name", "fieldname", "field_id", *NAME_COLUMNS)
_KIND_COLUMNS = ("kind", "type", "class", "use", "category", "description")
_BOUNDARY = {"boundary", "boundaries", "border", "borders", "outline", "outlines", "perimeter"}
_BOUNDARY |= {"field", "fields", "paddock", "paddocks", "pasture"}
_ZONE = {"zone", "zones", "soil", "soils", "management", "mgmt", "prescription", "rx"}
_UNWORKABLE = {"unworkable", "waterway", "waterways", "rock", "rocks", "pile", "obstacle"}
_UNWORKABLE |= {"obstacles", "pond", "wetland", "exclusion", "exclusions", "trees", "building"}
_SETBACK = {"setback", "setbacks", "well", "wells", "buffer", "buffers", "ditch", "ditches"}
_SETBACK |= {"stream", "streams", "creek", "spring", "sinkhole"}
_ALIKE, _INSIDE, _TILES, _MOSTLY = 0.97, 0.9, 0.8, 0.5
# Working across a line more often than this, records at a time, shows that it is no fence.
_CROSSINGS, _CROSSING_SHARE = 4, 5e-4
_LEAST_M2, _MOST_M2 = 200.0, 2e8
_MOST_OUTLINES = 5_000
_EDGE_M, _FEW = 15.0, 10
_SAMPLE = 20_000
_NEAR_M = 50.0
_IDLE = 0.1


class Role(StrEnum):
    """What an outline is for."""

    FIELD = "field boundary"
    ZONE = "zone"
    UNWORKABLE = "unworkable ground"
    SETBACK = "setback"
    UNSURE = "outline"


_KEYS = {Role.ZONE: "zones", Role.UNWORKABLE: "unworkable", Role.SETBACK: "setbacks"}


@dataclass(frozen=True)
class Layer:
    """A layer of a map on the stick."""

    file: StickFile
    layer: str | None  # to be named, as the file holds several
    frame: gpd.GeoDataFrame
    role: Role
    why: str

    @property
    def name(self) -> str:
        """What it is called in sentences."""
        return f"{self.file.name} ({self.layer})" if self.layer else self.file.name

    @property
    def column(self) -> str | None:
        """Column with the zones' names."""
        return _column(self.frame, (*ZONE_COLUMNS, *NAME_COLUMNS))


@dataclass(frozen=True, eq=False)
class Outline:
    """An area that may be a field."""

    name: str
    shape: BaseGeometry  # WGS 84
    plane: BaseGeometry  # m
    layer: Layer | None = None
    where: dict[str, Any] = field(default_factory=dict)  # what picks it from its layer
    key: str = ""  # name of the field in the season that is there already


@dataclass
class Plot:
    """A field as it is to be written."""

    outline: Outline | None
    name: str
    pieces: list[Piece] = field(default_factory=list)
    zones: Layer | None = None
    planned: tuple[gpd.GeoDataFrame, str] | None = None  # zones of task data, and whose
    unworkable: Layer | None = None
    setbacks: Layer | None = None


def layer_of(file: StickFile, found: Found, *, several: bool) -> Layer:
    """Judge a map's layer by its words, else leave the role open."""
    assert found.shapes is not None
    role, why = _role(found.shapes, f"{found.layer} {Path(file.name).stem}")
    layer = found.layer if several else None
    return Layer(file, layer, found.shapes, role, why)


def _role(frame: gpd.GeoDataFrame, names: str) -> tuple[Role, str]:
    columns = [str(c) for c in frame.columns if c != frame.geometry.name]
    headers = {word for column in columns for word in read_header(column).words}
    kinds = {
        word
        for column in columns
        if column.lower() in _KIND_COLUMNS
        for value in frame[column].map(attribute_text).unique()[:50]
        for word in read_header(value or "-").words
    }
    called = set(read_header(names).words)
    areal = frame.geom_type.isin(["Polygon", "MultiPolygon"]).all()
    if not areal:
        return Role.SETBACK, "it holds no areas"
    for words, where in (
        (headers, "its columns say"),
        (kinds, "its kinds say"),
        (called, "its name says"),
    ):
        for role, telling in (
            (Role.ZONE, _ZONE),
            (Role.UNWORKABLE, _UNWORKABLE),
            (Role.SETBACK, _SETBACK),
            (Role.FIELD, _BOUNDARY),
        ):
            # A column "field" says which field something is of, as zones and ponds do too.
            if (seen := words & telling) and not (role is Role.FIELD and words is headers):
                return role, f'{where} "{min(seen)}"'
    return Role.UNSURE, ""


def _column(frame: gpd.GeoDataFrame, usual: Sequence[str]) -> str | None:
    lower = {str(c).lower(): str(c) for c in frame.columns if c != frame.geometry.name}
    return next((lower[name] for name in usual if name in lower), None)


def outlines_of(layers: Iterable[Layer], plane: WorkingPlane) -> list[Outline]:
    """Every area that may be a field, largest first."""
    found: list[Outline] = []
    for layer in layers:
        if layer.role not in (Role.FIELD, Role.UNSURE):
            continue
        frame = layer.frame[layer.frame.geom_type.isin(["Polygon", "MultiPolygon"])]
        column = _column(frame, _FIELD_COLUMNS)
        names = frame[column].map(attribute_text).tolist() if column else [""] * len(frame)
        for name, shape in zip(names, frame.geometry, strict=True):
            where = {column: name} if column and len(frame) > 1 and names.count(name) == 1 else {}
            if len(frame) > 1 and not where:
                continue  # nothing picks it out
            title = one_line(name or Path(layer.file.name).stem)
            found.append(Outline(title, shape, _flat(shape, plane), layer, where))
    found = [o for o in found if _LEAST_M2 < o.plane.area < _MOST_M2]
    return sorted(found, key=lambda o: -o.plane.area)[:_MOST_OUTLINES]


def _flat(shape: BaseGeometry, plane: WorkingPlane) -> BaseGeometry:
    return valid(np.array([plane.project(shape)]))[0]


def drawn(name: str, shape: BaseGeometry, plane: WorkingPlane, **more: Any) -> Outline:
    """An outline that no map file holds: of the season that is there, or of task data."""
    return Outline(name, shape, _flat(shape, plane), **more)


def distinct(outlines: Sequence[Outline]) -> list[Outline]:
    """Outlines that differ; of those alike the first."""
    kept: dict[int, Outline] = {}  # by number
    tree = shapely.STRtree([outline.plane for outline in outlines])
    for number, outline in enumerate(outlines):
        near = (kept[n] for n in tree.query(outline.plane).tolist() if n in kept)
        if not any(_is_alike(other.plane, outline.plane) for other in near):
            kept[number] = outline
    return list(kept.values())


def _is_alike(a: BaseGeometry, b: BaseGeometry) -> bool:
    if not (_ALIKE < a.area / b.area < 1 / _ALIKE) or not a.intersects(b):
        return False
    return bool(common(a, b).area > _ALIKE * max(a.area, b.area))


@dataclass(frozen=True)
class Sorted:
    """Outlines by what the drives show them to be."""

    fields: list[Outline]
    zones: dict[int, list[Outline]]  # by id of the field
    idle: dict[int, list[Outline]]  # inside a field, and nothing worked there


def sort_outlines(
    outlines: Sequence[Outline], drives: Sequence[Drive], plane: WorkingPlane
) -> Sorted:
    """Tell fields from what lies in them by where the work went on.

    An outline inside another is a field of its own when the work keeps to it; where passes cross
    from one to the next they are zones of the outer.
    """
    points = [_working_xy(drive, plane) for drive in drives]
    children: dict[int, list[Outline]] = {id(o): [] for o in outlines}
    roots: list[Outline] = []
    tree = shapely.STRtree([outline.plane for outline in outlines])
    for number, outline in enumerate(outlines):  # largest first
        around = (outlines[n] for n in sorted(tree.query(outline.plane).tolist()) if n < number)
        holders = [
            other
            for other in around
            if other.plane.area > outline.plane.area / _INSIDE
            and common(other.plane, outline.plane).area > _INSIDE * outline.plane.area
        ]
        # Of all around it the smallest.
        (children[id(holders[-1])] if holders else roots).append(outline)
    result = Sorted([], {}, {})
    for root in roots:
        _decide(root, children, points, result)
    return result


def _working_xy(drive: Drive, plane: WorkingPlane) -> np.ndarray:
    at = np.flatnonzero(drive.working)
    at = at[:: max(1, len(at) // _SAMPLE)]
    return np.column_stack(plane.xy(drive.lon[at], drive.lat[at]))


def _decide(
    outline: Outline,
    children: dict[int, list[Outline]],
    points: Sequence[np.ndarray],
    result: Sorted,
) -> None:
    inner = children[id(outline)]
    if not inner:
        result.fields.append(outline)
        return
    inside = within = crossings = 0
    counts = np.zeros(len(inner))
    for xy in points:
        in_it = _contains(outline.plane, xy)
        if not in_it.any():
            continue
        own = np.full(len(xy), -1)
        for number, child in enumerate(inner):
            hit = _contains(child.plane, xy)
            own[hit] = number
            counts[number] += hit.sum()
        inside += int(in_it.sum())
        within += int((own >= 0).sum())
        crossings += int(((np.diff(own) != 0) & (own[1:] >= 0) & (own[:-1] >= 0)).sum())
    fenced = crossings <= max(_CROSSINGS, _CROSSING_SHARE * inside)
    tiled = union(np.array([c.plane for c in inner])).area > _TILES * outline.plane.area
    if fenced and (within >= _INSIDE * inside if inside else tiled):
        for child in inner:
            _decide(child, children, points, result)
        return
    result.fields.append(outline)
    density = inside / outline.plane.area
    for child, count in zip(inner, counts, strict=True):
        idle = inside and count < _IDLE * density * child.plane.area
        held = result.idle if idle and not tiled else result.zones
        held.setdefault(id(outline), []).append(child)


def _contains(area: BaseGeometry, xy: np.ndarray) -> np.ndarray:
    west, south, east, north = area.bounds
    x, y = xy[:, 0], xy[:, 1]
    hit = (x >= west) & (x <= east) & (y >= south) & (y <= north)
    if hit.any():
        shapely.prepare(area)
        hit[hit] = shapely.contains_xy(area, x[hit], y[hit])
    return np.asarray(hit)


def assign(
    drives: Sequence[Drive], fields: Sequence[Outline], plane: WorkingPlane
) -> tuple[list[Plot], list[tuple[Drive, float]]]:
    """Cut drives into the pieces on each field.

    Returns the fields, in the order given, with the pieces on them; and for each drive the share
    of its working records that lie in none.
    """
    plots = [Plot(outline, outline.name) for outline in fields]
    cores = [_core(outline.plane) for outline in fields]
    around = [shapely.buffer(outline.plane, _NEAR_M) for outline in fields]
    tree = shapely.STRtree(around)
    rest: list[tuple[Drive, float]] = []
    for drive in drives:
        xy = np.column_stack(plane.xy(drive.lon, drive.lat))
        free = drive.working.copy()
        ends = (*np.nanmin(xy, axis=0), *np.nanmax(xy, axis=0))
        inside: dict[int, int] = {}
        for number in tree.query(shapely.box(*ends)).tolist():
            free &= ~_contains(around[number], xy)
            count = int((_contains(cores[number], xy) & drive.working).sum())
            if count >= _FEW:
                inside[number] = count
        taken: list[int] = []
        for number in sorted(inside, key=lambda n: (-inside[n], n)):
            if not any(_are_one(fields[number], fields[other]) for other in taken):
                taken.append(number)
        for number in sorted(taken):
            piece = piece_of(drive, _contains(around[number], xy), plane)
            plots[number].pieces.append(piece)
        rest.append((drive, float(free.sum() / max(1, drive.working.sum()))))
    return plots, rest


def _are_one(a: Outline, b: Outline) -> bool:
    """Whether two outlines are mostly the same ground, drawn twice."""
    if not a.plane.intersects(b.plane):
        return False
    return bool(common(a.plane, b.plane).area > _MOSTLY * min(a.plane.area, b.plane.area))


def _core(area: BaseGeometry) -> BaseGeometry:
    """Ground where nobody works who works the next field."""
    edge = min(_EDGE_M, 0.1 * float(np.sqrt(area.area)))
    core = shapely.buffer(area, -edge)
    return area if core.is_empty else core


def open_plots(drives: Sequence[Drive], plane: WorkingPlane) -> list[Plot]:
    """Fields of drives that lie in no outline: those on the same ground are of one field."""
    plots: list[Plot] = []
    grounds: list[BaseGeometry] = []
    for drive in drives:
        xy = _working_xy(drive, plane)[:: max(1, int(drive.working.sum()) // 4000)]
        ground = union(shapely.buffer(shapely.points(xy), 30.0, quad_segs=2))
        piece = piece_of(drive, np.ones(len(drive.time_s), dtype=bool), plane)
        for number, other in enumerate(grounds):
            shared = common(ground, other).area if ground.intersects(other) else 0.0
            if shared > 0.5 * min(ground.area, other.area):
                plots[number].pieces.append(piece)
                grounds[number] = union(np.array([ground, other]))
                break
        else:
            plots.append(Plot(None, drive.field or Path(drive.file.name).stem, [piece]))
            grounds.append(ground)
    return plots


def furnish(plots: Sequence[Plot], layers: Sequence[Layer], plane: WorkingPlane) -> list[Layer]:
    """Give fields the zones, unworkable ground and setbacks that lie on them; what is left."""
    used: set[int] = set()
    for plot in plots:
        if plot.outline is None:
            continue
        area = plot.outline.plane
        for role in _KEYS:
            best, most = None, 0.0
            for layer in (one for one in layers if one.role is role):
                shared = _shared(layer, area, plane)
                if shared > most:
                    best, most = layer, shared
            if best is None:
                continue
            used.add(id(best))
            setattr(plot, _KEYS[role], best)
    return [one for one in layers if id(one) not in used and one.role in _KEYS]


def _shared(layer: Layer, area: BaseGeometry, plane: WorkingPlane) -> float:
    """How much of a layer is of a field: m2, or features near it."""
    shapes = plane.project(np.asarray(layer.frame.geometry.array))
    if layer.role is Role.SETBACK:
        return float(shapely.dwithin(shapes, area, 2 * _NEAR_M).sum())
    near = shapes[shapely.intersects(shapes, area)]
    if not len(near):
        return 0.0
    shared = common(union(valid(near)), area).area
    least = 0.2 * area.area if layer.role is Role.ZONE else 1.0
    return float(shared) if shared > least else 0.0


def by_geometry(result: Sorted) -> list[Layer]:
    """Layers whose outlines the drives show to be zones or idle ground of a field."""
    found: dict[int, Layer] = {}
    for role, held, why in (
        (Role.ZONE, result.zones, "passes cross from one of its areas to the next"),
        (Role.UNWORKABLE, result.idle, "it lies in a field and nothing worked there"),
    ):
        for outlines in held.values():
            for outline in outlines:
                if outline.layer is not None and outline.layer.role is Role.UNSURE:
                    found[id(outline.layer)] = replace(outline.layer, role=role, why=why)
    return list(found.values())


def area_m2(outline: Outline) -> float:
    """True area."""
    return geodesic_area_m2(outline.shape)


def named(layer: Layer) -> list[str]:
    """Names of a layer's features."""
    names = names_of(layer.frame, ("zone", *NAME_COLUMNS))
    return [one_line(name) for name in names if name]
