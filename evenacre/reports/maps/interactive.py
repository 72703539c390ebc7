"""The interactive map: layers and what is told of each shape, as data for the script."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import geopandas as gpd
from markupsafe import Markup

from evenacre.language import number, tr
from evenacre.model.audit_result import AuditResult
from evenacre.reports import figure_text as figures
from evenacre.reports.geodata import centre_lon, encode, to_lonlat
from evenacre.reports.maps.marks import mark_data
from evenacre.reports.maps.rates import rate_words
from evenacre.reports.maps.replay import replay_data
from evenacre.reports.printed_ground import PrintedGround
from evenacre.reports.quantities import Display
from evenacre.reports.sentences.audit import missed_texts
from evenacre.reports.sentences.fix_list import advice, kind_words, stops
from evenacre.reports.tables.audit import SKIPS
from evenacre.reports.writers.as_html import page_record
from evenacre.units.display import UnitSystem

_BY_COUNT = ("once", "twice", "more")
_COVER = ("once", "twice", "more", "outside", "headland")
_CLICKABLE_OVERLAP_M2 = 5.0
_CLICKABLE_OVERLAPS = 300  # the largest; the rest are drawn as one


@dataclass(frozen=True)
class MapLayer:
    """One layer of the map.

    An item has ``g`` geometry (see `evenacre.reports.geodata.encode`), and where given ``t``
    title, ``r`` rows of label and value, ``p`` sentence, ``at`` latitude and longitude, ``n`` text
    of the label drawn there, ``m`` standing, if that is a flag (see `evenacre.reports.maps.marks`),
    ``w`` how much ground it stands for: of labels that would meet the largest are set, ``c`` a
    class of its own.
    """

    key: str  # also the class its shapes are styled by, unless there is a style
    label: str
    amount: str = ""  # beside the label in the legend
    shown: bool = True  # at first
    line: bool = False  # rather than polygons
    view: str = ""  # the one of the map's views that it is part of; all where none
    style: str = ""  # classes its shapes are styled by, instead of the key
    items: list[dict[str, Any]] = field(default_factory=list)


def map_frame(ground: gpd.GeoDataFrame, lon: float) -> dict[str, Any]:
    """Frame that a map of some ground is drawn in.

    It holds ``origin`` (lon, lat) of the geometries and ``bounds`` as south-west and north-east
    (lat, lon).
    """
    west, south, east, north = to_lonlat(ground, lon).total_bounds.tolist()
    corners = [[round(south, 7), round(west, 7)], [round(north, 7), round(east, 7)]]
    return {"origin": (round(lon, 7), round((south + north) / 2, 7)), "bounds": corners}


def interactive_map(r: AuditResult, units: UnitSystem) -> MapPieces:
    """Build the map of one operation, layers lowest first."""
    frame = map_frame(r.layers["field"], centre_lon(r))
    origin = frame["origin"]

    printed = PrintedGround(r, units)

    def plain(key: str, label: str, area: str, ground: gpd.GeoDataFrame) -> MapLayer:
        amount = printed.text(area) if area else units.area.text(ground["area_m2"].sum())
        return MapLayer(key, label, amount, items=_items(ground, origin))

    cover, bare, outside = (r.layers[name] for name in ("cover", "unworkable", "outside"))
    if not r.boundary_given:
        outside = outside.iloc[:0]
    edge = tr("field boundary") if r.boundary_given else tr("edge of the worked ground")
    ground = [
        plain("once", tr("covered once"), "covered_once_m2", cover[cover["cover"] == 1]),
        plain("unworkable", tr("not to be worked"), "", bare),
        *_overlapped(r, units, origin),
        plain("outside", tr("worked outside the field"), "outside_area_m2", outside),
        _zones(r, units, origin),
        _setbacks(r, units, origin),
        plain("headland", tr("headland"), "headland_area_m2", r.layers["headland"]),
        plain("boundary", edge, "boundary_area_m2", r.layers["field"]),
    ]
    ground = [replace(a, view="cover") if a.key in _BY_COUNT else a for a in ground]
    # What is covered once or twice is not known where gaps between passes cannot be told.
    told = [layer for layer in ground if r.tells_places or layer.key not in _COVER]
    rates = _rates(r, units, origin) if r.tells_places else []
    layers = [*rates, *told, _passes(r, units, origin), _skips(r, units, origin)]
    views = {"cover": tr("how often it was covered")}
    views |= {
        f"rate{n}": tr("rate of {product}", product=p.product) for n, p in enumerate(r.products)
    }
    return map_pieces(layers, frame, views, replay_data(r, units, origin))


def _rates(r: AuditResult, units: UnitSystem, origin: _Origin) -> list[MapLayer]:
    """Ground of each class of each product's rate; the last of a product lies above."""
    made = []
    for n, product in enumerate(r.products):
        ground, words = product.rate_ground, rate_words(product, units)
        for kind in ground["kind"]:
            items = _items(ground[ground["kind"] == kind], origin)
            style = f"rate_{kind}"
            layer = MapLayer(f"rate{n}_{kind}", words[kind], view=f"rate{n}", style=style)
            made.append(replace(layer, items=items))
    return made


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
    return figures.size(area_m2, units)


def _overlapped(r: AuditResult, units: UnitSystem, origin: _Origin) -> list[MapLayer]:
    """The largest overlaps one by one, the rest as one shape."""
    every = r.layers["overlaps"]
    large = every[every["area_m2"] >= _CLICKABLE_OVERLAP_M2]
    large = large.sort_values("area_m2", ascending=False, kind="stable")
    large = large.iloc[:_CLICKABLE_OVERLAPS]
    rest = every.drop(index=large.index)
    out = []
    for level, key, label, area in (
        (2, "twice", tr("covered twice"), "covered_twice_m2"),
        (3, "more", tr("covered three times or more"), "covered_more_m2"),
    ):

        def told(piece: Any, title: str = label.capitalize()) -> dict[str, Any]:
            where = tr("headland") if piece.in_headland else tr("inside the field")
            return {
                "t": title,
                "r": [[tr("Area"), _area(piece.area_m2, units)], [tr("Where"), where]],
            }

        small = _items(rest[rest["cover"] == level], origin)
        merged = [part for item in small for part in item["g"]]
        items = _items(large[large["cover"] == level], origin, told)
        whole = [*([{"g": merged}] if merged else []), *items]
        out.append(MapLayer(key, label, PrintedGround(r, units).text(area), items=whole))
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
            "t": tr("Setback: {name}", name=row.name),
            "r": [[tr("Distance kept"), figures.distance(row.distance_m, units)], *found],
            "at": row.at,
            "n": str(row.name),
            "p": "" if found else tr("No product was found inside it."),
        }

    frame = _with_places(r.layers["setbacks"], origin)
    return MapLayer("setback", tr("setbacks"), items=_items(frame, origin, told))


def _zones(r: AuditResult, units: UnitSystem, origin: _Origin) -> MapLayer:
    def told(row: Any) -> dict[str, Any]:
        applied = [
            [p.product, units.mass.text(z.applied_kg)]
            for p in r.products
            for z in p.zones
            if z.zone == row.zone
        ]
        rows = [[tr("Area"), units.area.text(row.area_m2)], *applied]
        return {"t": tr("Zone: {zone}", zone=row.zone), "r": rows, "at": row.at, "n": str(row.zone)}

    frame = _with_places(r.layers["zones"], origin)
    return MapLayer("zone", tr("zones (tap a name)"), items=_items(frame, origin, told))


def _passes(r: AuditResult, units: UnitSystem, origin: _Origin) -> MapLayer:
    def told(row: Any) -> dict[str, Any]:
        rows = [[tr("Length"), figures.distance(row.length_m, units)]]
        if math.isfinite(row.start_s):
            hours = (figures.clock(t, r.time_zone) for t in (row.start_s, row.end_s))
            rows += [
                [tr("Time"), figures.span(*hours)],
                [tr("Speed"), units.speed.text(row.mean_speed_mps)],
            ]
        return {
            "t": tr("Pass {number}", number=row.number)
            + (tr(" (headland)") if row.headland else ""),
            "r": rows,
        }

    frame = r.layers["passes"].rename(columns={"pass": "number"})
    items, count = _items(frame, origin, told), number(len(frame), ",")
    shown = not r.tells_places
    return MapLayer("pass", tr("passes (tap a line)"), count, shown=shown, line=True, items=items)


def _skips(r: AuditResult, units: UnitSystem, origin: _Origin) -> MapLayer:
    def told(row: Any) -> dict[str, Any]:
        return {
            "t": tr("Stop {skip}: {kind}", skip=row.skip, kind=kind_words(row.kind, row.cause)),
            "r": page_record(SKIPS, row, Display(units)).rows,
            "p": row.text,
            "at": [round(row.lat, 7), round(row.beside, 7)],
            "n": str(row.skip),
            "geo": f"geo:{row.lat:.6f},{row.lon:.6f}",
            "m": row.standing,
            "w": round(row.area_m2, 2),
            **({"c": "doubtful"} if row.standing == "look first" else {}),
        }

    frame = stops(r)
    # The waypoint on this side of the antimeridian, as the shapes are.
    beside = origin[0] + (frame["lon"] - origin[0] + 180) % 360 - 180
    items = _items(frame.assign(text=advice(r, units), beside=beside), origin, told)
    *_, places = missed_texts(r, units)
    label = tr("places missed (numbered as in the list)")
    if (frame["standing"] == "look first").any():
        label = tr("places missed (numbered as in the list; dashed: look first)")
    return MapLayer("skip", label, places, items=items)


@dataclass(frozen=True)
class MapPieces:
    """Pieces of the page."""

    data: Markup  # JSON text of the layers, which the page's script draws
    legend: list[MapLayer]
    views: dict[str, str]  # ways to colour the ground, with their words: the first is shown
    replays: bool  # whether it shows the drive again

    @property
    def standings(self) -> set[str]:
        """How sure the places are that have marks on it."""
        return {item["m"] for layer in self.legend for item in layer.items if "m" in item}


def map_pieces(
    layers: list[MapLayer],
    frame: dict[str, Any],
    views: Mapping[str, str] | None = None,
    drive: dict[str, Any] | None = None,
) -> MapPieces:
    """Build a map of the layers that have something to show, in their `map_frame`.

    ``views`` are ways to colour the ground, with their words; ``drive`` is what is shown again, as
    `replay_data` has it.
    """
    layers = [layer for layer in layers if layer.items]
    some = {layer.view for layer in layers}
    drawn = [
        {"key": a.key, "line": a.line, "style": a.style or a.key, "items": a.items} for a in layers
    ]
    data = {**frame, "marks": mark_data(), "layers": drawn}
    told = {view: words for view, words in (views or {}).items() if view in some}
    if drive is not None:
        data["drive"] = drive
    return MapPieces(script_json(data), layers, told, drive is not None)


def script_json(value: object) -> Markup:
    """Write JSON that is safe inside a script element, whatever names it holds."""
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return Markup(text)
