"""What the interactive map shows: layers of small items with the words of their popups."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from evenacre.model.audit_result import AuditResult
from evenacre.reports import figure_text as figures
from evenacre.reports.column import Display
from evenacre.reports.geodata import centre_lon, encode, to_lonlat
from evenacre.reports.sentences.fix_list import advice, kind_words, stops
from evenacre.reports.tables.audit import SKIPS, passes
from evenacre.reports.writers.as_html import page_record
from evenacre.units.display import UnitSystem

_CLICKABLE_OVERLAP_M2 = 5.0
_CLICKABLE_OVERLAPS = 300  # the largest; the rest are drawn as one


@dataclass(frozen=True)
class MapLayer:
    """One layer of the map.

    An item has ``g`` geometry (see `evenacre.reports.geodata.encode`), and where given ``t``
    title, ``r`` rows of label and value, ``p`` sentence, ``at`` latitude and longitude, ``n`` text
    of the label drawn there, ``c`` a class of its own.
    """

    key: str  # also the class its shapes are styled by
    label: str
    amount: str = ""  # beside the label in the legend
    shown: bool = True  # at first
    line: bool = False  # rather than polygons
    items: list[dict[str, Any]] = field(default_factory=list)


def map_layers(r: AuditResult, units: UnitSystem) -> tuple[list[MapLayer], dict[str, Any]]:
    """Build the layers that have something to show, lowest first, and the frame they are drawn in.

    The frame holds ``origin`` (lon, lat) of the geometries and ``bounds`` as south-west and
    north-east (lat, lon).
    """
    lon = centre_lon(r)
    box = to_lonlat(r.layers["field"], lon).total_bounds
    origin = (round(float(lon), 7), round(float((box[1] + box[3]) / 2), 7))

    def plain(key: str, label: str, area_m2: float, frame: gpd.GeoDataFrame) -> MapLayer:
        return MapLayer(key, label, _area(area_m2, units), items=_shapes(frame, origin))

    cover, bare, outside = (r.layers[name] for name in ("cover", "unworkable", "outside"))
    edge = "field boundary" if r.boundary_given else "edge of the worked ground"
    layers = [
        plain("once", "covered once", r.covered_once_m2, cover[cover["cover"] == 1]),
        plain("unworkable", "not to be worked", bare["area_m2"].sum(), bare),
        *_overlapped(r, units, origin),
        plain(
            "outside",
            "worked outside the field",
            r.outside_area_m2,
            outside if r.boundary_given else outside.iloc[:0],
        ),
        _zones(r, units, origin),
        _setbacks(r, units, origin),
        plain("headland", "headland", r.headland_area_m2, r.layers["headland"]),
        plain("boundary", edge, r.boundary_area_m2, r.layers["field"]),
        _passes(r, units, origin),
        _skips(r, units, origin),
    ]
    corners = [[round(float(box[i + 1]), 7), round(float(box[i]), 7)] for i in (0, 2)]
    return [layer for layer in layers if layer.items], {"origin": origin, "bounds": corners}


_Origin = tuple[float, float]
"""Longitude and latitude that geometries are counted from."""


def _shapes(frame: gpd.GeoDataFrame, origin: _Origin) -> list[dict[str, Any]]:
    return [{"g": g} for g in encode(frame, *origin)]


def _area(area_m2: float, units: UnitSystem) -> str:
    return figures.size(area_m2, units, 3)


def _overlapped(r: AuditResult, units: UnitSystem, origin: _Origin) -> list[MapLayer]:
    """The largest overlaps one by one, the rest as one shape."""
    every = r.layers["overlaps"]
    large = every[every["area_m2"] >= _CLICKABLE_OVERLAP_M2]
    large = large.sort_values("area_m2", ascending=False, kind="stable")
    large = large.iloc[:_CLICKABLE_OVERLAPS]
    rest = every.drop(index=large.index)
    out = []
    for level, key, label, area_m2 in (
        (2, "twice", "covered twice", r.covered_twice_m2),
        (3, "more", "covered three times or more", r.covered_more_m2),
    ):
        pieces = large[large["cover"] == level]
        items = _shapes(pieces, origin)
        for item, piece in zip(items, pieces.itertuples(), strict=True):
            item["t"] = label.capitalize()
            item["r"] = [
                ["Area", _area(piece.area_m2, units)],
                ["Where", "headland" if piece.in_headland else "inside the field"],
            ]
        small = _shapes(rest[rest["cover"] == level], origin)
        merged = [part for item in small for part in item["g"]]
        whole = [*([{"g": merged}] if merged else []), *items]
        out.append(MapLayer(key, label, _area(area_m2, units), items=whole))
    return out


def _named_places(
    frame: gpd.GeoDataFrame, origin: _Origin
) -> Iterator[tuple[dict[str, Any], Any, list[float]]]:
    """Items, their rows and a place inside each for its name."""
    inner = frame.set_geometry(frame.geometry.representative_point())
    places = [[round(p.y, 7), round(p.x, 7)] for p in to_lonlat(inner, origin[0]).geometry]
    return zip(_shapes(frame, origin), frame.itertuples(), places, strict=True)


def _setbacks(r: AuditResult, units: UnitSystem, origin: _Origin) -> MapLayer:
    items = []
    for item, row, at in _named_places(r.layers["setbacks"], origin):
        found = [
            [p.product, units.mass.text(s.applied_kg)]
            for p in r.products
            for s in p.setbacks
            if s.name == row.name
        ]
        kept = ["Distance kept", figures.distance(row.distance_m, units)]
        words = {
            "t": f"Setback: {row.name}",
            "r": [kept, *found],
            "at": at,
            "n": str(row.name),
            "p": "" if found else "No product was found inside it.",
        }
        items.append(item | words)
    return MapLayer("setback", "setbacks", items=items)


def _zones(r: AuditResult, units: UnitSystem, origin: _Origin) -> MapLayer:
    items = []
    for item, row, at in _named_places(r.layers["zones"], origin):
        applied = [
            [p.product, units.mass.text(z.applied_kg, 4)]
            for p in r.products
            for z in p.zones
            if z.zone == row.zone
        ]
        rows = [["Area", _area(row.area_m2, units)], *applied]
        items.append(item | {"t": f"Zone: {row.zone}", "r": rows, "at": at, "n": str(row.zone)})
    return MapLayer("zone", "zones (tap a name)", items=items)


def _passes(r: AuditResult, units: UnitSystem, origin: _Origin) -> MapLayer:
    items = _shapes(r.layers["passes"], origin)
    for item, row in zip(items, passes(r), strict=True):
        item["t"] = f"Pass {row.number}" + (" (headland)" if row.headland else "")
        item["r"] = [["Length", figures.distance(row.length_m, units)]]
        if math.isfinite(row.start_s):
            hours = (figures.clock(t, r.time_zone) for t in (row.start_s, row.end_s))
            item["r"] += [
                ["Time", " to ".join(hours)],
                ["Speed", units.speed.text(row.mean_speed_mps)],
            ]
    count = f"{len(items):,}"
    return MapLayer("pass", "passes (tap a line)", count, shown=False, line=True, items=items)


def _skips(r: AuditResult, units: UnitSystem, origin: _Origin) -> MapLayer:
    frame = stops(r)
    items = _shapes(frame, origin)
    # The waypoint on this side of the antimeridian, as the shapes are.
    lon = origin[0] + (frame["lon"] - origin[0] + 180) % 360 - 180
    for item, row, x, text in zip(items, frame.itertuples(), lon, advice(r, units), strict=True):
        item |= {
            "t": f"Stop {row.skip}: {kind_words(row.kind, row.cause)}",
            "r": page_record(SKIPS, row, Display(units)).rows,
            "p": text,
            "at": [round(row.lat, 7), round(x, 7)],
            "n": str(row.skip),
            "geo": f"geo:{row.lat:.6f},{row.lon:.6f}",
        }
        if row.kind == "no log":
            item["c"] = "doubtful"
    total = _area(float(np.sum(pd.to_numeric(frame["area_m2"]))), units)
    label = "missed (numbered by size"
    label += "; dashed: look first)" if (frame["kind"] == "no log").any() else ")"
    return MapLayer("skip", label, total, items=items)
