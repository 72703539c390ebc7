"""Maps of two audits of a field, in one frame."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from evenacre.geo.local_crs import WorkingPlane
from evenacre.language import tr
from evenacre.reports import figure_text as figures
from evenacre.reports.geodata import encode
from evenacre.reports.maps.interactive import MapLayer, MapPieces, map_frame, map_pieces
from evenacre.reports.maps.marks import MARKS
from evenacre.reports.sentences.data_words import in_words
from evenacre.units.display import UnitSystem

Layers = Mapping[str, gpd.GeoDataFrame]


def compared_maps(
    records: tuple[Mapping[str, Any], Mapping[str, Any]],
    layers: tuple[Layers, Layers],
    units: UnitSystem,
) -> tuple[MapPieces, MapPieces]:
    """Build two maps of the same ground at the same scale.

    Parameters
    ----------
    records : pair of mappings
        Figures of each audit, by key, in SI.
    layers : pair of mappings
        Layers of each, EPSG:4326: ``fields``, and those that have something in them of
        ``unworkable``, ``cover``, ``outside``, ``skips``, ``passes``.
    units : UnitSystem
    """
    outlines = np.concatenate([one["fields"].geometry.to_numpy() for one in layers])
    plane = WorkingPlane.around(outlines)
    both = gpd.GeoDataFrame(geometry=list(plane.project(outlines)), crs=plane.crs)
    frame = map_frame(both, plane.lon0)
    first, second = (
        map_pieces(_drawn(record, own, plane, frame["origin"], units), frame)
        for record, own in zip(records, layers, strict=True)
    )
    return first, second


def _drawn(
    record: Mapping[str, Any],
    layers: Layers,
    plane: WorkingPlane,
    origin: tuple[float, float],
    units: UnitSystem,
) -> list[MapLayer]:
    def items(frame: gpd.GeoDataFrame, kind: str = "Polygon") -> list[dict[str, Any]]:
        parts = shapely.get_parts(frame.geometry.to_numpy())
        kept = [part for part in parts if part.geom_type == kind]
        if not kept:
            return []
        whole = shapely.MultiPolygon(kept) if kind == "Polygon" else shapely.MultiLineString(kept)
        shape = plane.project(np.array([whole]))
        return [{"g": g} for g in encode(gpd.GeoDataFrame(geometry=shape, crs=plane.crs), *origin)]

    def numbered(frame: gpd.GeoDataFrame) -> list[dict[str, Any]]:
        made = []
        for row in frame.itertuples():
            number = pd.to_numeric(row.skip, errors="coerce")
            for item in items(frame.loc[[row.Index]]) if np.isfinite(number) else ():
                at = {"at": [row.lat, row.lon], "n": f"{number:.0f}", "w": row.area_m2}
                standing = getattr(row, "standing", "")
                at["m"] = standing if standing in MARKS else ""
                size = [tr("Size"), figures.size(row.area_m2, units)]
                made.append(
                    {
                        **item,
                        "t": tr(
                            "Stop {number:.0f}: {kind}", number=number, kind=in_words(row.kind)
                        ),
                        "r": [size],
                        **at,
                    }
                )
        return made

    def amount(key: str) -> str:
        value = record.get(key)
        return figures.size(value, units) if isinstance(value, int | float) else ""

    empty = layers["fields"].iloc[:0]
    cover, skips = layers.get("cover", empty), layers.get("skips", empty)
    made: list[MapLayer] = []
    if record.get("tells_places", True) and len(cover):
        for times, key, label in (
            (1, "once", tr("covered once")),
            (2, "twice", tr("covered twice")),
            (3, "more", tr("covered three times or more")),
        ):
            own = items(cover[pd.to_numeric(cover["cover"], errors="coerce") == times])
            made.append(MapLayer(key, label, amount(f"covered_{key}_m2"), items=own))
        if record.get("boundary_given"):
            outside = items(layers.get("outside", empty))
            label = tr("worked outside the field")
            made.append(MapLayer("outside", label, amount("outside_area_m2"), items=outside))
    made += [
        MapLayer(
            "unworkable", tr("not to be worked"), items=items(layers.get("unworkable", empty))
        ),
        MapLayer("boundary", tr("edge of the field"), items=items(layers["fields"])),
        MapLayer(
            "pass",
            tr("passes"),
            shown=not record.get("tells_places", True),
            line=True,
            items=items(layers.get("passes", empty), "LineString"),
        ),
        MapLayer("skip", tr("missed (numbered)"), amount("skip_area_m2"), items=numbered(skips)),
    ]
    return made
