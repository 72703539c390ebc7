"""The map of an interseeding plan: paddocks by day, and the passes to drive."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
import shapely.ops
from shapely.geometry.base import BaseGeometry

from evenacre.geo.local_crs import WorkingPlane
from evenacre.io.common.findings import counted
from evenacre.planning.interseeding.plan_types import InterseedPlan, PaddockPlan
from evenacre.planning.passes.pass_types import PassPlan
from evenacre.reports import figure_text as figures
from evenacre.reports.geodata import SCALE, encode, to_lonlat
from evenacre.reports.maps import pass_layers
from evenacre.reports.maps.interactive import MapLayer, MapPieces, map_frame, map_pieces
from evenacre.reports.sentences import interseeding_words as iw
from evenacre.reports.sentences.passes import axis_words, runs_of
from evenacre.units.display import UnitSystem

_BEGIN_M = 10.0  # of the first pass, drawn to show where a drive begins


@dataclass(frozen=True)
class _Frame:
    """The plane that all is drawn in, and the origin (lon, lat) it is encoded from."""

    plane: WorkingPlane
    origin: tuple[float, float]

    def brought(self, shape: shapely.MultiLineString, plane: WorkingPlane) -> BaseGeometry:
        """Bring a shape here from another plane."""
        moved: BaseGeometry = self.plane.project(pass_layers.to_lonlat(shape, plane))
        return moved

    def encoded(self, shapes: Sequence[BaseGeometry]) -> list[Any]:
        """Shapes of this plane as the page's script wants them."""
        return encode(gpd.GeoDataFrame(geometry=list(shapes), crs=self.plane.crs), *self.origin)


def interseed_map(plan: InterseedPlan, units: UnitSystem, key: str) -> MapPieces:
    """Build the map of a plan; item ``p0``, ``p1`` ... belongs to the paddock of that place.

    The key is as for `map_pieces`.
    """
    outlines = np.array([p.paddock.field.boundary for p in plan.paddocks])
    plane = WorkingPlane.around(outlines)
    ground = gpd.GeoDataFrame(geometry=plane.project(outlines), crs=plane.crs)
    shown = map_frame(ground, plane.lon0)
    frame = _Frame(plane, shown["origin"])
    layers = [
        _paddocks(plan, ground, units, frame),
        _unworkable(plan, frame),
        _turns(plan, frame),
        _passes(plan, units, frame),
        _beginnings(plan, frame),
    ]
    return map_pieces(layers, shown, key)


def _paddocks(
    plan: InterseedPlan, ground: gpd.GeoDataFrame, units: UnitSystem, frame: _Frame
) -> MapLayer:
    middle, inside = ground.geometry.centroid, ground.geometry.representative_point()
    inner = ground.set_geometry(middle.where(ground.geometry.contains(middle), inside))
    places = to_lonlat(inner, frame.origin[0]).geometry
    items = [
        {
            "g": shape,
            "t": p.paddock.field.name,
            "r": _facts(p, plan, units),
            "at": [round(at.y, 7), round(at.x, 7)],
            "n": p.paddock.field.name,
            "c": f"p{place}",
        }
        for place, (p, shape, at) in enumerate(
            zip(plan.paddocks, frame.encoded(ground.geometry), places, strict=True)
        )
    ]
    return MapLayer("paddock", "paddocks (tap one)", items=items)


def _facts(p: PaddockPlan, plan: InterseedPlan, units: UnitSystem) -> list[list[str]]:
    ground = ["Ground", figures.size(p.workable_m2, units, 3)]
    if p.window is None:
        return [ground, ["Seeding", "not to be seeded"]]
    window = [f"{iw.day_text(a)} to {iw.day_text(b)}" for a, b in iw.spells(p.window, plan.days)]
    numbers = iw.numbered(plan)
    days = [f"{iw.day_text(v.day)} (no. {numbers[v]})" for v in p.visits]
    rows = {
        "Window": ", ".join(window) or f"no day open: {iw.shut_words(p.window, plan)}",
        "Seeding": ", ".join(days) or "not planned",
        "Seeded": figures.size(p.seeded_m2, units, 3) if p.visits else "",
        "Seed": units.mass.text(p.seed_kg) if p.visits else "",
        "Chance": "" if p.chance is None else iw.chance_text(p.chance),
        "Graze from": iw.day_text(p.graze_from) if p.graze_from else "",
        "The drive": _drive(p.passes) if p.passes else "",
    }
    return [ground, *([name, text] for name, text in rows.items() if text)]


def _drive(p: PassPlan) -> str:
    passes = f"{runs_of(p, 'pass')} passes {axis_words(p.drive)}".rstrip()
    return f"{counted(p.drive.rounds, 'round')}, then {passes}; {iw.hours_text(p.field_time_s)}"


def _unworkable(plan: InterseedPlan, frame: _Frame) -> MapLayer:
    shapes = [p.paddock.field.unworkable for p in plan.paddocks]
    kept = np.array([shape for shape in shapes if shape is not None and not shape.is_empty])
    items = [{"g": g} for g in frame.encoded(frame.plane.project(kept))] if len(kept) else []
    return MapLayer("unworkable", "not to be worked", items=items)


def _lines(
    plan: InterseedPlan, frame: _Frame, of: Callable[[PassPlan], list[shapely.LineString]]
) -> list[tuple[int, PaddockPlan, Any]]:
    """One item a paddock: its lines of one kind, encoded."""
    found = [
        (place, p, frame.brought(shapely.MultiLineString(lines), p.passes.plane))
        for place, p in enumerate(plan.paddocks)
        if p.passes
        for lines in [[line for line in of(p.passes) if line.length > 0]]
        if lines
    ]
    encoded = frame.encoded([shape for *_, shape in found])
    return [(place, p, g) for (place, p, _), g in zip(found, encoded, strict=True)]


def _passes(plan: InterseedPlan, units: UnitSystem, frame: _Frame) -> MapLayer:
    items = [
        {"g": g, "t": p.paddock.field.name, "r": _facts(p, plan, units), "c": f"p{place}"}
        for place, p, g in _lines(plan, frame, lambda d: [run.line for run in d.passes])
    ]
    return MapLayer("pass", "passes to drive", line=True, items=items)


def _turns(plan: InterseedPlan, frame: _Frame) -> MapLayer:
    items = [
        {"g": g, "c": f"p{place}"} for place, _, g in _lines(plan, frame, lambda d: list(d.turns))
    ]
    return MapLayer("turn", "turns between them", shown=False, line=True, items=items)


def _beginnings(plan: InterseedPlan, frame: _Frame) -> MapLayer:
    def first_metres(drive: PassPlan) -> list[shapely.LineString]:
        line = drive.passes[0].line if drive.passes else shapely.LineString()
        return [shapely.ops.substring(line, 0.0, _BEGIN_M)] if line.length else []

    def item(place: int, p: PaddockPlan, g: Any) -> dict[str, Any]:
        lon, lat = (start + step / SCALE for start, step in zip(frame.origin, g[0], strict=False))
        return {
            "g": g,
            "t": f"The drive in {p.paddock.field.name} begins here",
            "at": [round(lat, 7), round(lon, 7)],
            "n": "start",
            "c": f"p{place}",
        }

    items = [item(*found) for found in _lines(plan, frame, first_metres)]
    return MapLayer("begin", "where each drive begins", shown=False, line=True, items=items)
