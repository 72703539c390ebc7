"""Read what is drawn on the map: boundary, unworkable ground, zones, setbacks."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.errors import InputError
from evenacre.geo.geodesy import WGS84_GEOD, geodesic_area_m2, unwrap
from evenacre.geo.local_crs import WorkingPlane
from evenacre.geo.overlay import around, common, in_degrees, union, without
from evenacre.io.common.suggestions import choice, listed
from evenacre.io.maps.read_layer import LayerCache, Source, attribute_text, read_layer
from evenacre.io.maps.repair import to_polygons
from evenacre.language import tr
from evenacre.model import FloatArray
from evenacre.units.display import in_both

_ZONE_COLUMNS = ("zone", "zones", "zone_name", "zone_id", "name", "label", "class", "id")
NAME_COLUMNS = ("name", "label", "id", "type")
_FARTHEST_M, _STRANGE_M, _STRANGE_TIMES = 25_000.0, 2_000.0, 8.0
_SELECT = (
    'To take one, select it: where = { name = "..." } (on the command line '
    '--boundary-where "name=...").'
)
_SMALLEST_FIELD_M2, _LARGEST_FIELD_M2 = 50.0, 2e8
_SEEN_OVERLAP_M2 = 1.0


def read_boundary(
    source: Source, *, cache: LayerCache | None = None
) -> tuple[BaseGeometry, list[str]]:
    """Read a field's boundary, a polygon or multipolygon."""
    frame, warnings = read_layer(source, cache=cache)
    warnings += check_reach(frame, source.name, "field")  # before mending renumbers the corners
    frame, mended = to_polygons(frame, source.name, "boundary")
    warnings += mended
    names = names_of(frame, NAME_COLUMNS)
    known = f" ({listed(dict.fromkeys(n for n in names if n))})" if any(names) else ""
    if _off_middle_m(shapely.get_coordinates(frame.geometry.array)).max() > _FARTHEST_M:
        raise source.error(
            tr(
                "It holds {count} outlines{known} too far apart to be one field.",
                count=len(frame),
                known=known,
            ),
            _SELECT,
        )
    if len(frame) > 1 and (len(set(names)) > 1 or not names[0]):
        warnings.append(
            tr(
                "{name}: it holds {count} outlines{known}, and all were taken together for "
                "one field. {select}",
                name=source.name,
                count=len(frame),
                known=known,
                select=_SELECT,
            )
        )
    boundary = in_degrees(union, frame.geometry.array)
    return boundary, warnings + odd_size(boundary, f"{source.name}: the field")


def check_reach(frame: gpd.GeoDataFrame, file: str, what: str) -> list[str]:
    """Refuse an outline that no field has: with a corner far from its own middle.

    Each feature, which is a ``what``, is judged by itself. Corners that are strange without being
    impossible get a warning.
    """
    warnings = []
    west, south, east, north = frame.geometry.bounds.to_numpy().T
    wide = WGS84_GEOD.inv(west, south, east, north)[2] > _STRANGE_M
    for number, outline in frame.geometry[wide].items():
        corners = shapely.get_coordinates(outline)
        off_m = _off_middle_m(corners)
        farthest = int(np.argmax(off_m))
        lon, lat = corners[farthest]
        place = f"feature {number}, corner {farthest + 1:,}"
        said = tr(
            "The corner at {lat:.5f}, {lon:.5f} (latitude, longitude) lies {in_both} "
            "from the middle of the {what}",
            lat=lat,
            lon=lon,
            in_both=in_both("distance", off_m[farthest]),
            what=what,
        )
        if off_m[farthest] > _FARTHEST_M:
            remedy = tr("Move or delete that corner, or check the coordinate system.")
            raise InputError.at(
                file, place, tr("{said}; no {what} is so large.", said=said, what=what), remedy
            )
        if off_m[farthest] > max(_STRANGE_M, _STRANGE_TIMES * np.median(off_m)):
            warnings.append(
                tr(
                    "{file}, {place}: {said}: look at it on the map.",
                    file=file,
                    place=place,
                    said=said,
                )
            )
    return warnings


def _off_middle_m(corners: FloatArray) -> FloatArray:
    """Distance of each corner from the middle of most of them."""
    lon, lat = np.broadcast_to(np.median(corners, axis=0), corners.shape).T
    off_m: FloatArray = WGS84_GEOD.inv(lon, lat, *corners.T)[2]
    return off_m


def odd_size(boundary: BaseGeometry, what: str) -> list[str]:
    """Warn of a field that is too small or too large to be one."""
    area = geodesic_area_m2(boundary)
    if _SMALLEST_FIELD_M2 < area < _LARGEST_FIELD_M2:
        return []
    return [
        tr(
            "{what} measures {in_both}: is the coordinate system right?",
            what=what,
            in_both=in_both("area", area),
        )
    ]


def read_unworkable(
    source: Source, boundary: BaseGeometry | None = None, *, cache: LayerCache | None = None
) -> tuple[BaseGeometry, list[str]]:
    """Read the ground inside a field that is not worked, as one geometry."""
    frame, warnings = _areas(source, "piece of unworkable ground", boundary, cache)
    return in_degrees(union, frame.geometry.array), warnings


def read_crossed(
    width_m: float | None,
    source: Source,
    boundary: BaseGeometry | None = None,
    *,
    cache: LayerCache | None = None,
) -> tuple[BaseGeometry, list[str]]:
    """Read ground that is not worked but may be crossed, as one geometry; lines get a width."""
    frame, warnings = read_layer(source, polygons=False, cache=cache)
    lines = frame.geom_type.isin(["LineString", "MultiLineString"]).to_numpy()
    if lines.any() and width_m is None:
        what = tr("It is drawn as a line, and a line does not tell how wide the ground is.")
        raise source.error(what, tr('Give its width: width = "30 ft" (--cross-width "30 ft").'))
    shapes = []
    if lines.any():
        drawn = frame.geometry.array[lines]
        plane = WorkingPlane.around(drawn)
        wide = around(plane.project(np.asarray(drawn)), (width_m or 0.0) / 2, cap_style="flat")
        shapes += list(plane.unproject(wide))
    if not lines.all():
        areas, mended = to_polygons(frame[~lines], source.name, "piece of ground to cross")
        warnings += mended
        shapes += list(areas.geometry.array)
    whole = np.array(shapes, dtype=object)
    if boundary is not None:
        whole = unwrap(whole, boundary.centroid.x)
        if not shapely.intersects(whole, boundary).any():
            warnings.append(tr("{name}: nothing in it lies inside the field.", name=source.name))
    return in_degrees(union, whole), warnings


def with_crossed(
    unworkable: BaseGeometry | None, crossed: BaseGeometry | None
) -> BaseGeometry | None:
    """All ground that is not worked, what is crossed too."""
    every = [shape for shape in (unworkable, crossed) if shape is not None]
    return (
        in_degrees(union, np.array(every, dtype=object))
        if len(every) > 1
        else next(iter(every), None)
    )


def read_zones(
    source: Source,
    boundary: BaseGeometry | None = None,
    *,
    name_column: str | None = None,
    cache: LayerCache | None = None,
) -> tuple[gpd.GeoDataFrame, list[str]]:
    """Read the zones a field is divided into, in columns ``zone`` and geometry.

    Features of one name become one zone, features without a name are numbered, and where
    zones overlap the first listed keeps the ground, so that none is counted twice.
    Without ``name_column`` the attribute that looks most like it gives the names.
    """
    frame, warnings = _areas(source, "zone", boundary, cache)
    names = names_of(frame, _ZONE_COLUMNS, source, name_column)
    if not any(names):
        warnings.append(
            tr("{name}: the zones have no names; they were numbered.", name=source.name)
        )
    elif not all(names):
        warnings.append(
            tr(
                "{name}: {value} zones have no name; they were numbered.",
                name=source.name,
                value=sum(not n for n in names),
            )
        )
    names = number_unnamed(names, "zone")
    shapes: dict[str, list[BaseGeometry]] = {}
    for name, shape in zip(names, frame.geometry.array, strict=True):
        shapes.setdefault(name, []).append(shape)
    zones, overlaps = without_overlap(
        {name: in_degrees(union, np.array(parts)) for name, parts in shapes.items()}
    )
    warnings += [
        f'{source.name}: zones "{a}" and "{b}" overlap by {in_both("area", area)}; "{a}" is '
        "listed first and keeps that ground."
        for a, b, area in overlaps
    ]
    table = gpd.GeoDataFrame({"zone": list(zones)}, geometry=list(zones.values()), crs="EPSG:4326")
    return table, warnings


def read_setbacks(
    source: Source,
    distance_m: float,
    boundary: BaseGeometry | None = None,
    *,
    name_column: str | None = None,
    cache: LayerCache | None = None,
) -> tuple[gpd.GeoDataFrame, list[str]]:
    """Read what a product must keep away from: points, lines and areas.

    Columns ``name``, ``distance_m`` and geometry.
    """
    frame, warnings = read_layer(source, polygons=False, cache=cache)
    areas = frame.geom_type.isin(["Polygon", "MultiPolygon", "GeometryCollection"]).to_numpy()
    if areas.any():
        mended_areas, mended = to_polygons(frame[areas], source.name, "setback feature")
        warnings += mended
        frame = frame[~areas | frame.index.isin(mended_areas.index)].copy()
        frame.loc[mended_areas.index, frame.geometry.name] = mended_areas.geometry
    if boundary is not None:
        frame = frame.set_geometry(unwrap(frame.geometry.array, boundary.centroid.x), crs=frame.crs)
    names = names_of(frame, NAME_COLUMNS, source, name_column)
    labels = [name or f"setback {number}" for number, name in zip(frame.index, names, strict=True)]
    columns = {"name": labels, "distance_m": float(distance_m)}
    return gpd.GeoDataFrame(columns, geometry=list(frame.geometry.array), crs=frame.crs), warnings


def _areas(
    source: Source, what: str, boundary: BaseGeometry | None, cache: LayerCache | None
) -> tuple[gpd.GeoDataFrame, list[str]]:
    """Areas on the boundary's turn of the globe, with a warning when none touches the field."""
    frame, warnings = read_layer(source, cache=cache)
    frame, mended = to_polygons(frame, source.name, what)
    warnings += mended
    if boundary is not None:
        frame = frame.set_geometry(unwrap(frame.geometry.array, boundary.centroid.x), crs=frame.crs)
        if not shapely.intersects(frame.geometry.array, boundary).any():
            warnings.append(tr("{name}: nothing in it lies inside the field.", name=source.name))
    return frame, warnings


def names_of(
    frame: gpd.GeoDataFrame,
    usual: tuple[str, ...],
    source: Source | None = None,
    column: str | None = None,
) -> list[str]:
    """Return the name of each feature, empty where it has none."""
    columns = {str(c): c for c in frame.columns if c != frame.geometry.name}
    if column is not None and column not in columns:
        raise InputError.at(
            source.name if source else "",
            "",
            tr('There is no attribute "{column}" to take names from.', column=column),
            choice(column, columns, tr("The file has no attributes.")),
        )
    if column is None:
        lower = {name.lower(): name for name in reversed(columns)}
        column = next((lower[name] for name in usual if name in lower), None)
    if column is None:
        return [""] * len(frame)
    return [attribute_text(value) for value in frame[columns[column]]]


def number_unnamed(names: list[str], what: str) -> list[str]:
    """Give a number to what has no name."""
    taken, numbered = set(names), []
    for number, name in enumerate(names, 1):
        label = name or f"{what} {number}"
        while not name and label in taken:
            label += "*"
        taken.add(label)
        numbered.append(label)
    return numbered


def without_overlap(
    zones: dict[str, BaseGeometry],
) -> tuple[dict[str, BaseGeometry], list[tuple[str, str, float]]]:
    """Take from each zone the ground of those listed before it."""
    names, shapes = list(zones), np.array(list(zones.values()), dtype=object)
    tree = shapely.STRtree(shapes)
    later, earlier = tree.query(shapes, predicate="intersects")
    overlaps: list[tuple[str, str, float]] = []
    result = dict(zones)
    for i in np.unique(later[later > earlier]):
        before = np.sort(earlier[(later == i) & (earlier < i)])
        for j in before:
            area = geodesic_area_m2(in_degrees(common, shapes[i], shapes[j]))
            if area > _SEEN_OVERLAP_M2:
                overlaps.append((names[j], names[i], area))
        result[names[i]] = in_degrees(without, shapes[i], in_degrees(union, shapes[before]))
    return {name: shape for name, shape in result.items() if not shape.is_empty}, overlaps
