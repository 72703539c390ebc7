"""What the interactive map shows: layers of small items with the words of their popups."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from evenacre.model.audit_result import AuditResult
from evenacre.reports import figure_text as figures
from evenacre.reports.maps.geodata import centre_lon, encode, to_lonlat
from evenacre.reports.tables.fix_list import advice, kind_words, stops
from evenacre.units.display import UnitSystem

_CLICKABLE_OVERLAP_M2 = 5.0
_CLICKABLE_OVERLAPS = 300  # the largest; the rest are drawn as one


@dataclass(frozen=True)
class MapLayer:
    """One layer of the map.

    Attributes
    ----------
    key : str
        Also the class its shapes are styled by.
    label : str
        Words in the legend.
    amount : str
        Figure beside them.
    shown : bool
        Whether it shows at first.
    line : bool
        Lines rather than polygons.
    items : list of dict
        ``g`` geometry (see :func:`evenacre.reports.maps.geodata.encode`), and where given ``t``
        title, ``r`` rows of label and value, ``p`` sentence, ``at`` latitude and longitude,
        ``n`` text of the label drawn there, ``c`` a class of its own.
    """

    key: str
    label: str
    amount: str = ""
    shown: bool = True
    line: bool = False
    items: list[dict[str, Any]] = field(default_factory=list)


def map_layers(result: AuditResult, units: UnitSystem) -> tuple[list[MapLayer], dict[str, Any]]:
    """Build the layers from the ground up, and the frame they are drawn in.

    Returns
    -------
    layers : list of MapLayer
        Those with something to show, lowest first.
    frame : dict
        ``origin`` (lon, lat) of the geometries and ``bounds`` as south-west and north-east
        (lat, lon).
    """
    lon = centre_lon(result)
    box = to_lonlat(result.layers["field"], lon).total_bounds
    origin = (round(float(lon), 7), round(float((box[1] + box[3]) / 2), 7))
    maker = _Maker(result, units, origin)
    layers = [
        maker.once(),
        maker.unworkable(),
        *maker.overlapped(),
        maker.outside(),
        maker.zones(),
        maker.setbacks(),
        maker.headland(),
        maker.boundary(),
        maker.passes(),
        maker.skips(),
    ]
    corners = [[round(float(box[i + 1]), 7), round(float(box[i]), 7)] for i in (0, 2)]
    return [layer for layer in layers if layer.items], {"origin": origin, "bounds": corners}


class _Maker:
    def __init__(self, result: AuditResult, units: UnitSystem, origin: tuple[float, float]) -> None:
        self.result = result
        self.units = units
        self.origin = origin

    def _shapes(self, frame: gpd.GeoDataFrame) -> list[dict[str, Any]]:
        return [{"g": g} for g in encode(frame, *self.origin)]

    def _points(self, frame: gpd.GeoDataFrame) -> list[list[float]]:
        inner = frame.set_geometry(frame.geometry.representative_point())
        places = to_lonlat(inner, self.origin[0]).geometry
        return [[round(p.y, 7), round(p.x, 7)] for p in places]

    def _area(self, area_m2: float) -> str:
        return figures.size(area_m2, self.units, 3)

    def once(self) -> MapLayer:
        cover = self.result.layers["cover"]
        items = self._shapes(cover[cover["cover"] == 1])
        return MapLayer(
            "once", "covered once", self._area(self.result.covered_once_m2), items=items
        )

    def overlapped(self) -> list[MapLayer]:
        r = self.result
        every = r.layers["overlaps"]
        large = every[every["area_m2"] >= _CLICKABLE_OVERLAP_M2]
        large = large.sort_values("area_m2", ascending=False, kind="stable")
        large = large.iloc[:_CLICKABLE_OVERLAPS]
        rest = every.drop(index=large.index)
        out = []
        for level, key, label, area in (
            (2, "twice", "covered twice", r.covered_twice_m2),
            (3, "more", "covered three times or more", r.covered_more_m2),
        ):
            pieces = large[large["cover"] == level]
            items = self._shapes(pieces)
            for item, piece in zip(items, pieces.itertuples(), strict=True):
                item["t"] = label.capitalize()
                item["r"] = [
                    ["Area", self._area(piece.area_m2)],
                    ["Where", "headland" if piece.in_headland else "inside the field"],
                ]
            small = self._shapes(rest[rest["cover"] == level])
            merged = [part for item in small for part in item["g"]]
            out.append(
                MapLayer(
                    key,
                    label,
                    self._area(area),
                    items=[*([{"g": merged}] if merged else []), *items],
                )
            )
        return out

    def unworkable(self) -> MapLayer:
        frame = self.result.layers["unworkable"]
        return MapLayer(
            "unworkable",
            "not to be worked",
            self._area(frame["area_m2"].sum()),
            items=self._shapes(frame),
        )

    def outside(self) -> MapLayer:
        frame = self.result.layers["outside"]
        if not self.result.boundary_given:
            frame = frame.iloc[:0]
        return MapLayer(
            "outside",
            "worked outside the field",
            self._area(self.result.outside_area_m2),
            items=self._shapes(frame),
        )

    def boundary(self) -> MapLayer:
        given = self.result.boundary_given
        return MapLayer(
            "boundary",
            "field boundary" if given else "edge of the worked ground",
            self._area(self.result.boundary_area_m2),
            items=self._shapes(self.result.layers["field"]),
        )

    def headland(self) -> MapLayer:
        frame = self.result.layers["headland"]
        return MapLayer(
            "headland",
            "headland",
            self._area(self.result.headland_area_m2),
            items=self._shapes(frame),
        )

    def setbacks(self) -> MapLayer:
        frame = self.result.layers["setbacks"]
        items = self._shapes(frame)
        for item, row, at in zip(items, frame.itertuples(), self._points(frame), strict=True):
            found = [
                [p.product, self.units.mass.text(s.applied_kg)]
                for p in self.result.products
                for s in p.setbacks
                if s.name == row.name
            ]
            item |= {
                "t": f"Setback: {row.name}",
                "r": [["Distance kept", figures.distance(row.distance_m, self.units)], *found],
                "at": at,
                "n": str(row.name),
                "p": "" if found else "No product was found inside it.",
            }
        return MapLayer("setback", "setbacks", items=items)

    def zones(self) -> MapLayer:
        frame = self.result.layers["zones"]
        items = self._shapes(frame)
        for item, row, at in zip(items, frame.itertuples(), self._points(frame), strict=True):
            applied = [
                [p.product, self.units.mass.text(z.applied_kg, 4)]
                for p in self.result.products
                for z in p.zones
                if z.zone == row.zone
            ]
            item |= {
                "t": f"Zone: {row.zone}",
                "r": [["Area", self._area(row.area_m2)], *applied],
                "at": at,
                "n": str(row.zone),
            }
        return MapLayer("zone", "zones (tap a name)", items=items)

    def passes(self) -> MapLayer:
        frame = self.result.layers["passes"]
        items = self._shapes(frame)
        rows: list[Any] = list(frame.rename(columns={"pass": "number"}).itertuples())
        zone = self.result.time_zone
        for item, row in zip(items, rows, strict=True):
            item["t"] = f"Pass {row.number}" + (" (headland)" if row.headland else "")
            item["r"] = [["Length", figures.distance(row.length_m, self.units)]]
            if math.isfinite(row.start_s):
                hours = (figures.clock(t, zone) for t in (row.start_s, row.end_s))
                item["r"] += [
                    ["Time", " to ".join(hours)],
                    ["Speed", self.units.speed.text(row.mean_speed_mps)],
                ]
        count = f"{self.result.pass_count:,}"
        return MapLayer("pass", "passes (tap a line)", count, shown=False, line=True, items=items)

    def skips(self) -> MapLayer:
        frame = stops(self.result)
        items = self._shapes(frame)
        # The waypoint on this side of the antimeridian, as the shapes are.
        lon = self.origin[0] + (frame["lon"] - self.origin[0] + 180) % 360 - 180
        sentences = advice(self.result, self.units)
        for item, row, x, text in zip(items, frame.itertuples(), lon, sentences, strict=True):
            item |= {
                "t": f"Stop {row.skip}: {kind_words(row.kind, row.cause)}",
                "r": [
                    ["Size", self._area(row.area_m2)],
                    ["Mean width", self.units.length.text(row.mean_width_m, 2)],
                    ["Length", figures.distance(row.length_m, self.units)],
                    ["Latitude, longitude", f"{row.lat:.6f}, {row.lon:.6f}"],
                ],
                "p": text,
                "at": [round(row.lat, 7), round(x, 7)],
                "n": str(row.skip),
                "geo": f"geo:{row.lat:.6f},{row.lon:.6f}",
            }
            if row.kind == "no log":
                item["c"] = "doubtful"
        total = self._area(float(np.sum(pd.to_numeric(frame["area_m2"]))))
        label = "missed (numbered by size"
        label += "; dashed: look first)" if (frame["kind"] == "no log").any() else ")"
        return MapLayer("skip", label, total, items=items)
