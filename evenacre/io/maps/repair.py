"""Make sound polygons of what people draw and programs export."""

from __future__ import annotations

from collections.abc import Callable

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.errors import InputError
from evenacre.geo.geodesy import WGS84_GEOD, ShapeArray, geodesic_area_m2
from evenacre.geo.overlay import polygonal
from evenacre.io.untrusted import budget
from evenacre.language import tr
from evenacre.model import FloatArray
from evenacre.units.display import in_both

# Ends this far apart still meet: someone walked or drove around the field.
_GAP_M, _GAP_SHARE = 1.0, 0.01


def to_polygons(
    frame: gpd.GeoDataFrame, file: str, what: str
) -> tuple[gpd.GeoDataFrame, list[str]]:
    """Keep the polygons of a layer, sound and not empty.

    A line whose ends meet is taken for the outline it draws, and an outline that crosses
    itself is mended; both with a warning.
    The layer is two-dimensional, in EPSG:4326; each polygon stands for a ``what``.
    """
    _check_work(frame.geometry.array, file)
    warnings: list[str] = []
    shapes = [
        _polygon(shape, f"{file}, feature {number}", what, warnings.append)
        for number, shape in zip(frame.index, frame.geometry.array, strict=True)
    ]
    keep = np.array([shape is not None for shape in shapes])
    if not keep.any():
        kinds = sorted(set(frame.geom_type))
        drawn = all(kind in ("Polygon", "MultiPolygon") for kind in kinds)
        wrong = tr(
            "It holds {plain}, but a {what} has to be an area.", plain=_plain(kinds), what=what
        )
        raise InputError.at(
            file,
            "",
            tr("Its outlines enclose no ground.") if drawn else wrong,
            tr("Draw the outline as a polygon and export it again."),
        )
    kept = frame[keep]
    return kept.set_geometry([s for s in shapes if s is not None], crs=frame.crs), warnings


def _check_work(shapes: ShapeArray, file: str) -> None:
    """Refuse outlines that would take minutes to be laid over a field."""
    west, south, east, north = shapely.bounds(shapes).T
    rings = shapely.get_parts(shapely.get_parts(shapes))
    found = {
        "outlines": (len(shapes), budget.OUTLINES),
        "corners": (int(shapely.get_num_coordinates(shapes).sum()), budget.OUTLINE_CORNERS),
        "holes": (int(shapely.get_num_interior_rings(rings).sum()), budget.OUTLINE_HOLES),
        "pairs that may overlap": (
            min(_meeting(west, east), _meeting(south, north)),
            budget.OUTLINE_PAIRS,
        ),
    }
    for what, (count, most) in found.items():
        if count > most:
            raise InputError.at(
                file,
                "",
                tr(
                    "Its outlines have too much in them: {count:,} {what}, where up to "
                    "{most:,} are read.",
                    count=count,
                    what=what,
                    most=most,
                ),
                tr("Simplify them, select some by an attribute, or export those of one field."),
            )


def _meeting(low: FloatArray, high: FloatArray) -> int:
    """Count the pairs of intervals that meet."""
    begun = np.searchsorted(np.sort(low), high, side="right")
    return int(begun.sum()) - len(low) * (len(low) + 1) // 2


def _plain(kinds: list[str]) -> str:
    names = {"Point": "points", "MultiPoint": "points"}
    return " and ".join(
        sorted({names.get(k, "lines" if "Line" in k else "mixed shapes") for k in kinds})
    )


def _polygon(
    shape: BaseGeometry, place: str, what: str, warn: Callable[[str], None]
) -> BaseGeometry | None:
    """Return one shape as a valid polygon or multipolygon; None when it is no area."""
    if shape.geom_type in ("LineString", "LinearRing", "MultiLineString"):
        rings = [r for r in map(_close, shapely.get_parts(shape)) if r is not None]
        if not rings:
            return None
        warn(
            tr(
                "{place}: the {what} is drawn as a line whose ends meet; it was taken for an area.",
                place=place,
                what=what,
            )
        )
        shape = shapely.multipolygons(rings) if len(rings) > 1 else rings[0]
    elif shape.geom_type == "GeometryCollection":
        shape = polygonal(np.array([shape]))[0]
        if not shape.is_empty:
            warn(
                tr(
                    "{place}: only its areas were used; the points and lines with them were "
                    "left out.",
                    place=place,
                )
            )
    if shape.geom_type not in ("Polygon", "MultiPolygon"):
        return None
    if not shapely.is_valid(shape):
        reason, before = shapely.is_valid_reason(shape), geodesic_area_m2(shape)
        # Sound parts that share an edge, as when a field is cut at the antimeridian, need
        # joining but no word about it.
        sound = (
            shape.geom_type == "MultiPolygon" and shapely.is_valid(shapely.get_parts(shape)).all()
        )
        sound_parts = shapely.make_valid(shape, method="structure", keep_collapsed=False)
        shape = polygonal(np.array([sound_parts]))[0]
        after = geodesic_area_m2(shape)
        if not sound or abs(after - before) > 1e-9 * before:
            warn(
                tr(
                    "{place}: {plain_reason}. It was mended, and its area went from "
                    "{in_both} to {in_both_2}: look at it on the map.",
                    place=place,
                    plain_reason=plain_reason(reason),
                    in_both=in_both("area", before),
                    in_both_2=in_both("area", after),
                )
            )
    return None if shape.is_empty or geodesic_area_m2(shape) == 0 else shape


def _close(line: BaseGeometry) -> BaseGeometry | None:
    """Return the polygon a line encloses when its ends meet, or nearly so."""
    points = shapely.get_coordinates(line)
    gap = WGS84_GEOD.inv(*points[0], *points[-1])[2]
    if len(points) < 4 or gap > max(_GAP_M, _GAP_SHARE * WGS84_GEOD.geometry_length(line)):
        return None
    return shapely.polygons(np.vstack([points, points[:1]]))


def plain_reason(reason: str, *, latitude_first: bool = False) -> str:
    """What GEOS finds unsound, in plain words, and where."""
    words, _, where = reason.partition("[")
    text = {
        "Self-intersection": "the outline crosses itself",
        "Ring Self-intersection": "the outline touches itself",
        "Hole lies outside shell": "a hole lies outside the outline",
        "Nested shells": "one outline lies inside another",
        "Holes are nested": "one hole lies inside another",
        "Too few points in geometry component": "an outline has too few corners",
    }.get(words.strip(), f"the outline is not sound ({words.strip().lower()})")
    degrees = where.rstrip("]").split()[:: -1 if latitude_first else 1]
    spot = ", ".join(f"{float(one):.6f}" for one in degrees)
    return f"{text} near {spot}" if where else text
