"""Gates, and lines that passes follow: places and maps of them, held against a field's outline."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.errors import InputError
from evenacre.geo.geodesy import unwrap
from evenacre.geo.local_crs import WorkingPlane
from evenacre.geo.overlay import in_degrees, union
from evenacre.io.maps.read_layer import LayerCache, Source, read_layer
from evenacre.language import tr
from evenacre.model import FloatArray
from evenacre.units.display import in_both

# A gate this near to the fence is in it, as receivers go; from here on its move is told.
_AT_FENCE_M, _MOVED_M = 10.0, 1.0
# A line shorter than this tells no direction; one farther from the field is another field's.
_SHORTEST_M, _FARTHEST_M = 10.0, 500.0


def read_gate(
    source: Source, boundary: BaseGeometry, *, cache: LayerCache | None = None
) -> tuple[shapely.Point, list[str]]:
    """Read the one gate of a map that is in a field's fence; a line across it counts as its middle.

    It is moved onto the fence.
    """
    frame, warnings = read_layer(source, polygons=False, cache=cache)
    shapes = shapely.get_parts(frame.geometry.array)
    kinds = shapely.get_type_id(shapes)
    if not np.isin(kinds, (0, 1)).all():
        raise source.error(
            tr("It holds areas; a gate is a point."), tr("Mark the gate with a point.")
        )
    points = np.array(shapes)
    points[kinds == 1] = shapely.line_interpolate_point(points[kinds == 1], 0.5, normalized=True)
    try:
        gate, said = gate_in(boundary, shapely.get_coordinates(points))
    except InputError as error:
        problem = error.problems[0]
        raise source.error(problem.what, problem.remedy) from None
    return gate, [*warnings, *(f"{source.name}: {text}" for text in said)]


def gate_in(boundary: BaseGeometry, lonlat: FloatArray) -> tuple[shapely.Point, list[str]]:
    """The one of some places, shape (n, 2) in degrees, that is in the fence, and what was done.

    Raises
    ------
    InputError
        When none is, or several are.
    """
    plane = WorkingPlane.around(boundary)
    fence = plane.project(boundary).boundary
    away = _away_m(lonlat, boundary, plane, fence)
    near = np.flatnonzero(away <= _AT_FENCE_M)
    if not len(near):
        places = "The gate lies" if len(away) == 1 else f"The nearest of {len(away)} gates lies"
        swapped = lonlat[:, ::-1]
        remedy = tr("Give a place in the fence itself.")
        if (np.abs(swapped[:, 1]) <= 90).all() and (
            _away_m(swapped, boundary, plane, fence).min() <= _AT_FENCE_M
        ):
            remedy = tr("Latitude and longitude are the wrong way about: latitude comes first.")
        what = tr(
            "{places} {in_both} from the fence.",
            places=places,
            in_both=in_both("distance", float(away.min())),
        )
        raise InputError.at("gate", "", what, remedy)
    if len(near) > 1:
        what = tr("{count} gates are in this fence.", count=len(near))
        raise InputError.at("gate", "", what, tr('Pick one: where = { name = "..." }.'))
    (at,) = near
    point = plane.project(_unwrapped(lonlat[at : at + 1], boundary)[0])
    x, y = shapely.get_coordinates(shapely.line_interpolate_point(fence, fence.project(point)))[0]
    lon, lat = plane.lonlat(np.array([x]), np.array([y]))
    said = []
    if away[at] >= _MOVED_M:
        said = [
            tr(
                "the gate was {in_both} off the fence, and moved onto it.",
                in_both=in_both("length", float(away[at])),
            )
        ]
    return shapely.Point(lon[0], lat[0]), said


def _unwrapped(lonlat: FloatArray, boundary: BaseGeometry) -> np.ndarray:
    return np.asarray(unwrap(shapely.points(lonlat), boundary.centroid.x))


def _away_m(
    lonlat: FloatArray, boundary: BaseGeometry, plane: WorkingPlane, fence: BaseGeometry
) -> FloatArray:
    """Distance of places from a fence; infinite beyond what the plane can show."""
    away = shapely.distance(plane.project(_unwrapped(lonlat, boundary)), fence)
    return np.asarray(np.where(np.isfinite(away), away, np.inf))


def read_line(
    source: Source, boundary: BaseGeometry, *, cache: LayerCache | None = None
) -> tuple[shapely.LineString, list[str]]:
    """Read the line that passes follow: one, or pieces that join to one."""
    frame, warnings = read_layer(source, polygons=False, cache=cache)
    shapes = shapely.get_parts(frame.geometry.array)
    if not (shapely.get_type_id(shapes) == 1).all():
        what = tr("It holds something that is no line.")
        raise source.error(what, tr("Draw the line that passes are to follow, and nothing else."))
    line = shapely.line_merge(in_degrees(union, unwrap(shapes, boundary.centroid.x)))
    if line.geom_type != "LineString":
        if all(shape.is_simple for shape in shapes):
            what = tr(
                "It holds {count} lines that do not join end to end.",
                count=len(shapely.get_parts(line)),
            )
            raise source.error(what, tr('Pick one: where = { name = "..." }, or join them.'))
        raise source.error(tr("The line crosses itself."), tr("Draw it so that it does not."))
    if line.is_closed:
        what = tr("The line is closed: passes beside it would have no end.")
        raise source.error(what, tr("Open it where passes may begin."))
    plane = WorkingPlane.around(boundary)
    flat = plane.project(line)
    if not flat.length >= _SHORTEST_M:
        what = tr("The line is only {in_both} long.", in_both=in_both("length", flat.length))
        raise source.error(what, tr("Draw it along the whole slope or row."))
    away = flat.distance(plane.project(boundary))
    if not away <= _FARTHEST_M:
        what = tr("The line lies {in_both} from the field.", in_both=in_both("distance", away))
        raise source.error(what, tr("Check that it is of this field, and its coordinate system."))
    return line, warnings
