"""The interactive map: layers with the words of their popups, and three pieces of a page.

The pieces are an element, data and a script. Folium lays out the map and its layer groups; its own
page, which fetches scripts and styles from the network, is left aside.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from jinja2 import Template
from markupsafe import Markup

from evenacre.model.audit_result import AuditResult
from evenacre.reports import figure_text as figures
from evenacre.reports.geodata import centre_lon, encode, to_lonlat
from evenacre.reports.maps.folium_offline import MacroElement, folium
from evenacre.reports.quantities import Display
from evenacre.reports.sentences.fix_list import advice, kind_words, stops
from evenacre.reports.tables.audit import SKIPS
from evenacre.reports.writers.as_html import page_record
from evenacre.units.display import UnitSystem

_COVER = ("once", "twice", "more", "outside", "headland")
_ZOOM = 16  # until the script fits the map to the field
_MAX_ZOOM = 24  # about a centimetre a pixel
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


def map_frame(ground: gpd.GeoDataFrame, lon: float) -> dict[str, Any]:
    """Frame that a map of some ground is drawn in.

    It holds ``origin`` (lon, lat) of the geometries and ``bounds`` as south-west and north-east
    (lat, lon).
    """
    west, south, east, north = to_lonlat(ground, lon).total_bounds.tolist()
    corners = [[round(south, 7), round(west, 7)], [round(north, 7), round(east, 7)]]
    return {"origin": (round(lon, 7), round((south + north) / 2, 7)), "bounds": corners}


def interactive_map(r: AuditResult, units: UnitSystem, key: str) -> MapPieces:
    """Build the map of one operation, layers lowest first; ``key`` is as for `map_pieces`."""
    frame = map_frame(r.layers["field"], centre_lon(r))
    origin = frame["origin"]

    def plain(key: str, label: str, area_m2: float, ground: gpd.GeoDataFrame) -> MapLayer:
        return MapLayer(key, label, _area(area_m2, units), items=_items(ground, origin))

    cover, bare, outside = (r.layers[name] for name in ("cover", "unworkable", "outside"))
    if not r.boundary_given:
        outside = outside.iloc[:0]
    edge = "field boundary" if r.boundary_given else "edge of the worked ground"
    ground = [
        plain("once", "covered once", r.covered_once_m2, cover[cover["cover"] == 1]),
        plain("unworkable", "not to be worked", bare["area_m2"].sum(), bare),
        *_overlapped(r, units, origin),
        plain("outside", "worked outside the field", r.outside_area_m2, outside),
        _zones(r, units, origin),
        _setbacks(r, units, origin),
        plain("headland", "headland", r.headland_area_m2, r.layers["headland"]),
        plain("boundary", edge, r.boundary_area_m2, r.layers["field"]),
    ]
    # What is covered once or twice is not known where gaps between passes cannot be told.
    told = [layer for layer in ground if r.tells_places or layer.key not in _COVER]
    layers = [*told, _passes(r, units, origin), _skips(r, units, origin)]
    return map_pieces(layers, frame, key)


_Origin = tuple[float, float]
"""Longitude and latitude that geometries are counted from."""


def _items(
    frame: gpd.GeoDataFrame,
    origin: _Origin,
    told: Callable[[Any], dict[str, Any]] = lambda _row: {},
) -> list[dict[str, Any]]:
    """Each shape of a frame, and what is told of its row."""
    shapes = encode(frame, *origin)
    return [{"g": g, **told(row)} for g, row in zip(shapes, frame.itertuples(), strict=True)]


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

        def told(piece: Any, title: str = label.capitalize()) -> dict[str, Any]:
            where = "headland" if piece.in_headland else "inside the field"
            return {"t": title, "r": [["Area", _area(piece.area_m2, units)], ["Where", where]]}

        small = _items(rest[rest["cover"] == level], origin)
        merged = [part for item in small for part in item["g"]]
        items = _items(large[large["cover"] == level], origin, told)
        whole = [*([{"g": merged}] if merged else []), *items]
        out.append(MapLayer(key, label, _area(area_m2, units), items=whole))
    return out


def _with_places(frame: gpd.GeoDataFrame, origin: _Origin) -> gpd.GeoDataFrame:
    """With a place inside each shape for its name."""
    inner = frame.set_geometry(frame.geometry.representative_point())
    places = [[round(p.y, 7), round(p.x, 7)] for p in to_lonlat(inner, origin[0]).geometry]
    return frame.assign(at=places)


def _setbacks(r: AuditResult, units: UnitSystem, origin: _Origin) -> MapLayer:
    def told(row: Any) -> dict[str, Any]:
        found = [
            [p.product, units.mass.text(s.applied_kg)]
            for p in r.products
            for s in p.setbacks
            if s.name == row.name
        ]
        return {
            "t": f"Setback: {row.name}",
            "r": [["Distance kept", figures.distance(row.distance_m, units)], *found],
            "at": row.at,
            "n": str(row.name),
            "p": "" if found else "No product was found inside it.",
        }

    frame = _with_places(r.layers["setbacks"], origin)
    return MapLayer("setback", "setbacks", items=_items(frame, origin, told))


def _zones(r: AuditResult, units: UnitSystem, origin: _Origin) -> MapLayer:
    def told(row: Any) -> dict[str, Any]:
        applied = [
            [p.product, units.mass.text(z.applied_kg, 4)]
            for p in r.products
            for z in p.zones
            if z.zone == row.zone
        ]
        rows = [["Area", _area(row.area_m2, units)], *applied]
        return {"t": f"Zone: {row.zone}", "r": rows, "at": row.at, "n": str(row.zone)}

    frame = _with_places(r.layers["zones"], origin)
    return MapLayer("zone", "zones (tap a name)", items=_items(frame, origin, told))


def _passes(r: AuditResult, units: UnitSystem, origin: _Origin) -> MapLayer:
    def told(row: Any) -> dict[str, Any]:
        rows = [["Length", figures.distance(row.length_m, units)]]
        if math.isfinite(row.start_s):
            hours = (figures.clock(t, r.time_zone) for t in (row.start_s, row.end_s))
            rows += [["Time", " to ".join(hours)], ["Speed", units.speed.text(row.mean_speed_mps)]]
        return {"t": f"Pass {row.number}" + (" (headland)" if row.headland else ""), "r": rows}

    frame = r.layers["passes"].rename(columns={"pass": "number"})
    items, count = _items(frame, origin, told), f"{len(frame):,}"
    shown = not r.tells_places
    return MapLayer("pass", "passes (tap a line)", count, shown=shown, line=True, items=items)


def _skips(r: AuditResult, units: UnitSystem, origin: _Origin) -> MapLayer:
    def told(row: Any) -> dict[str, Any]:
        return {
            "t": f"Stop {row.skip}: {kind_words(row.kind, row.cause)}",
            "r": page_record(SKIPS, row, Display(units)).rows,
            "p": row.text,
            "at": [round(row.lat, 7), round(row.beside, 7)],
            "n": str(row.skip),
            "geo": f"geo:{row.lat:.6f},{row.lon:.6f}",
            **({"c": "doubtful"} if row.standing == "look first" else {}),
        }

    frame = stops(r)
    # The waypoint on this side of the antimeridian, as the shapes are.
    beside = origin[0] + (frame["lon"] - origin[0] + 180) % 360 - 180
    items = _items(frame.assign(text=advice(r, units), beside=beside), origin, told)
    total = _area(float(np.sum(pd.to_numeric(frame["area_m2"]))), units)
    doubtful = "; dashed: look first" if (frame["standing"] == "look first").any() else ""
    return MapLayer("skip", f"missed (numbered by size{doubtful})", total, items=items)


@dataclass(frozen=True)
class MapPieces:
    """Pieces of the page."""

    element: Markup
    data: Markup  # JSON text of the layers
    script: Markup  # draws them
    legend: list[MapLayer]


class _Fill(MacroElement):
    """Hands the groups of a map to the page's own script, which fills them from the data."""

    _template = Template(
        """
        {% macro script(this, kwargs) %}
        evenacre.fill({{ this._parent.get_name() }}, {{ this.key|tojson }}, {
            {%- for name, group in this.groups.items() %}
            {{ name|tojson }}: {{ group.get_name() }},
            {%- endfor %}
        });
        {% endmacro %}
        """
    )

    def __init__(self, key: str, groups: dict[str, Any]) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self._name = "Fill"
        self._id = key
        self.key = key
        self.groups = groups


def map_pieces(layers: list[MapLayer], frame: dict[str, Any], key: str) -> MapPieces:
    """Build a map of the layers that have something to show, in their `map_frame`.

    The key is letters and digits, unlike that of any other map on the page: the names in the
    script are made from it, so that equal results give equal pages.
    """
    layers = [layer for layer in layers if layer.items]
    (south, west), (north, east) = frame["bounds"]
    page_map = folium.Map(
        location=[(south + north) / 2, (west + east) / 2],
        tiles=None,
        zoom_start=_ZOOM,
        control_scale=True,
        zoom_control="bottomright",
        maxZoom=_MAX_ZOOM,
        zoom_snap=0.25,
        scroll_wheel_zoom=False,
        fade_animation=False,
    )
    page_map._id = key
    groups: dict[str, Any] = {}
    for layer in layers:
        group = folium.FeatureGroup(name=layer.label, show=layer.shown)
        group._id = f"{key}_{layer.key}"
        groups[layer.key] = group.add_to(page_map)
    _Fill(key, groups).add_to(page_map)

    page: Any = page_map.get_root()
    page.render()
    drawn = [{"key": a.key, "line": a.line, "items": a.items} for a in layers]
    return MapPieces(
        element=Markup(page.html.render()),
        data=script_json({**frame, "layers": drawn}),
        script=Markup(page.script.render()),
        legend=layers,
    )


def script_json(value: object) -> Markup:
    """Write JSON that is safe inside a script element, whatever names it holds."""
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return Markup(text)
