"""Check that a log and a boundary are of the same place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.errors import InputError
from evenacre.geo.geodesy import WGS84_GEOD, far, near
from evenacre.language import tr
from evenacre.model import FloatArray, Track
from evenacre.units.display import MILE_M, in_both

_NEAR_DEG = 0.02  # about two kilometres
_SAMPLE = 2000
_FAR_SHARE = 0.5
_WINDS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


def place_tracks(
    tracks: Sequence[Track], boundary: BaseGeometry, *, field: str
) -> tuple[tuple[Track, ...], list[str]]:
    """Put tracks on the boundary's turn of the globe and check that they meet it.

    Returns them and the warnings.

    Raises
    ------
    InputError
        When no record of any track falls inside the boundary: it says how far off they
        are and in which direction, and which slip would explain it.
    """
    placed = turn_tracks(tracks, boundary.centroid.x)
    shapely.prepare(boundary)
    counts = [int(shapely.contains_xy(boundary, t.lon, t.lat).sum()) for t in placed]
    seen = [int((np.isfinite(t.lon) & np.isfinite(t.lat)).sum()) for t in placed]
    if sum(seen) and not sum(counts):
        sources = ", ".join(dict.fromkeys(t.source for t in placed))
        lon = np.concatenate([t.lon for t in placed])
        lat = np.concatenate([t.lat for t in placed])
        what, remedy = _where_it_is(lon, lat, boundary, field)
        raise InputError.at(sources, "", what, remedy)
    warnings = []
    for track, inside, total in zip(placed, counts, seen, strict=True):
        if total and inside < _FAR_SHARE * total:
            share = "none" if not inside else f"only {100 * max(inside / total, 0.001):.1f} %"
            warnings.append(
                tr(
                    "{source}: {share} of its {total:,} positions lie inside the boundary of "
                    "{field}; the rest counts as ground outside the field.",
                    source=track.source,
                    share=share,
                    total=total,
                    field=field,
                )
            )
    return placed, warnings


def turn_tracks(tracks: Sequence[Track], middle: float | None = None) -> tuple[Track, ...]:
    """Put tracks within half a turn of the globe from a longitude; None: from their first."""
    if middle is None:
        known = (lon[0] for t in tracks if len(lon := t.lon[np.isfinite(t.lon)]))
        middle = next(known, 0.0)
    return tuple(replace(t, lon=near(t.lon, middle)) if far(t.lon, middle) else t for t in tracks)


def _where_it_is(
    lon: FloatArray, lat: FloatArray, boundary: BaseGeometry, field: str
) -> tuple[str, str]:
    """Return what to say of a log that misses the boundary, and the remedy."""
    good = np.isfinite(lon) & np.isfinite(lat)
    lon, lat = lon[good], lat[good]
    step = max(1, len(lon) // _SAMPLE)
    x, y = lon[::step], lat[::step]
    if (beyond := np.abs(y).max()) > 90:
        return tr(
            "The log has latitudes of {beyond:.4f}, beyond the pole.", beyond=beyond
        ), _remedy(x, y, boundary)
    squeeze = np.array([np.cos(np.radians(boundary.centroid.y)), 1.0])
    flat = shapely.transform(boundary, lambda xy: xy * squeeze)
    points = shapely.points(np.column_stack([x, y]) * squeeze)
    nearest = points[np.argmin(shapely.distance(points, flat))]
    on_edge, at_log = shapely.get_coordinates(shapely.shortest_line(flat, nearest)) / squeeze
    bearing, _, metres = WGS84_GEOD.inv(*on_edge, *at_log)
    wind = _WINDS[round(bearing / 45.0) % 8]
    far = in_both("distance" if metres >= MILE_M else "length", metres)
    what = tr(
        "No position of the log lies inside the boundary of {field}: the nearest is "
        "{far} {wind} of it.",
        field=field,
        far=far,
        wind=wind,
    )
    return what, _remedy(x, y, boundary)


def _remedy(x: FloatArray, y: FloatArray, boundary: BaseGeometry) -> str:
    west, south, east, north = boundary.bounds
    turned = np.mod(west + 180.0, 360.0) - 180.0 - west

    def beside(lon: FloatArray, lat: FloatArray) -> bool:
        inside = (lon > west + turned - _NEAR_DEG) & (lon < east + turned + _NEAR_DEG)
        inside &= (lat > south - _NEAR_DEG) & (lat < north + _NEAR_DEG)
        return bool(inside.mean() > _FAR_SHARE)

    lon = np.mod(x + 180.0, 360.0) - 180.0
    slips = {
        "longitude and latitude of one of them are swapped: swap the two columns of the log, or "
        "export the boundary with longitude first.": (y, lon),
        "the longitudes of one of them change sign: west of Greenwich they have to be negative.": (
            -lon,
            y,
        ),
        "the latitudes of one of them change sign: south of the equator they have to be "
        "negative.": (lon, -y),
    }
    for slip, (other_lon, other_lat) in slips.items():
        if beside(other_lon, other_lat):
            return f"They come together when {slip}"
    return tr("Check that log and boundary are of the same field and in the coordinates they say.")
