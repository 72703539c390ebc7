"""Read a map of paddocks, and find ground that lies in two of them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.geo.local_crs import WorkingPlane
from evenacre.geo.overlay import intersect, only_polygons, valid
from evenacre.io.maps.field_layers import NAME_COLUMNS, check_reach, names_of, number_unnamed
from evenacre.io.maps.read_layer import LayerCache, Source, read_layer
from evenacre.io.maps.repair import to_polygons

# Two fences walked one after the other leave a sliver between them; anything wider or larger
# is ground that would be grazed and seeded twice.
_SLIVER_M, _SLIVER_SHARE, _SEEN_M2 = 3.0, 0.02, 1.0


def read_paddocks(
    source: Source, *, name_column: str | None = None, cache: LayerCache | None = None
) -> tuple[gpd.GeoDataFrame, list[str]]:
    """Read a map whose every feature is a paddock; those without a name are numbered.

    Returns
    -------
    GeoDataFrame
        Columns ``name`` and geometry, EPSG:4326; the index is the feature's number.
    list of str
        Warnings.

    Raises
    ------
    InputError
        When the file or the column cannot be used.
    """
    frame, warnings = read_layer(source, cache=cache)
    warnings += check_reach(frame, source.name, "paddock")
    frame, mended = to_polygons(frame, source.name, "paddock")
    names = names_of(frame, NAME_COLUMNS, source, name_column)
    if not all(names):
        bare = sum(not name for name in names)
        warnings.append(f"{source.name}: {bare} paddocks have no name; they were numbered.")
    shapes = [only_polygons(shape) for shape in frame.geometry.array]
    named = gpd.GeoDataFrame(
        {"name": number_unnamed(names, "paddock")}, geometry=shapes, index=frame.index, crs=4326
    )
    return named, warnings + mended


def overlaps(
    shapes: Mapping[str, BaseGeometry],
) -> Iterator[tuple[str, str, float, bool]]:
    """Pairs of outlines with ground in common, its area (m2), and whether it is a mere sliver.

    A sliver is narrow, on average, and a small part of the smaller of the two.

    Parameters
    ----------
    shapes : mapping
        Polygons by name, degrees.
    """
    if len(shapes) < 2:
        return
    names, degrees = list(shapes), np.array(list(shapes.values()), dtype=object)
    flat = valid(WorkingPlane.around(degrees).project(degrees))
    first, second = shapely.STRtree(flat).query(flat, predicate="intersects")
    pairs = first < second
    first, second = first[pairs], second[pairs]
    shared = intersect(flat[first], flat[second])
    area, around = shapely.area(shared), shapely.length(shared)
    smaller = np.minimum(shapely.area(flat[first]), shapely.area(flat[second]))
    narrow = 2.0 * area < _SLIVER_M * around
    sliver = narrow & (area < _SLIVER_SHARE * smaller)
    for i in np.flatnonzero(area > _SEEN_M2):
        yield names[first[i]], names[second[i]], float(area[i]), bool(sliver[i])
