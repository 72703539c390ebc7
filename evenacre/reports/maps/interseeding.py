"""The map of an interseeding plan: paddocks by day, and the passes to drive."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
import shapely.ops
from shapely.geometry.base import BaseGeometry

from evenacre.geo.local_crs import WorkingPlane
from evenacre.language import tr, trn
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
class _Ground:
    """A plan, the plane it is drawn in, and the origin (lon, lat) it is encoded from."""

    plan: InterseedPlan
    plane: WorkingPlane
    origin: tuple[float, float]

    def encoded(self, shapes: Iterable[BaseGeometry]) -> list[Any]:
        """Shapes of this plane as the page's script wants them."""
        return encode(gpd.GeoDataFrame(geometry=list(shapes), crs=self.plane.crs), *self.origin)

    def lines(
        self,
        of: Callable[[PassPlan], Iterable[shapely.LineString]],
        told: Callable[[PaddockPlan, Any], dict[str, Any]] = lambda _paddock, _shape: {},
    ) -> list[dict[str, Any]]:
        """One item a paddock: its lines of one kind, and what is told of them."""
        found: dict[int, BaseGeometry] = {}
        for place, p in enumerate(self.plan.paddocks):
            if p.passes and (lines := [line for line in of(p.passes) if line.length > 0]):
                shape = pass_layers.to_lonlat(shapely.MultiLineString(lines), p.passes.plane)
                found[place] = self.plane.project(shape)
        return [
            {"g": g, **told(self.plan.paddocks[place], g), "c": f"p{place}"}
            for place, g in zip(found, self.encoded(found.values()), strict=True)
        ]


def interseed_map(plan: InterseedPlan, units: UnitSystem) -> MapPieces:
    """Build the map of a plan; item ``p0``, ``p1`` ... belongs to the paddock of that place."""
    outlines = np.array([p.paddock.field.boundary for p in plan.paddocks])
    plane = WorkingPlane.around(outlines)
    outlined = gpd.GeoDataFrame(geometry=plane.project(outlines), crs=plane.crs)
    frame = map_frame(outlined, plane.lon0)
    ground = _Ground(plan, plane, frame["origin"])

    def told(p: PaddockPlan, _: Any) -> dict[str, Any]:
        return {"t": p.paddock.field.name, "r": _facts(p, plan, units)}

    def beginning(p: PaddockPlan, g: Any) -> dict[str, Any]:
        lon, lat = (start + step / SCALE for start, step in zip(ground.origin, g[0], strict=False))
        title = tr("The drive in {name} begins here", name=p.paddock.field.name)
        return {"t": title, "at": [round(lat, 7), round(lon, 7)], "n": "start"}

    turns = ground.lines(lambda d: d.turns)
    passes = ground.lines(lambda d: [run.line for run in d.passes], told)
    begun = ground.lines(_first_metres, beginning)
    layers = [
        MapLayer("paddock", tr("paddocks (tap one)"), items=_paddocks(ground, outlined, units)),
        MapLayer("unworkable", tr("not to be worked"), items=_unworkable(ground)),
        MapLayer("turn", tr("turns between them"), shown=False, line=True, items=turns),
        MapLayer("pass", tr("passes to drive"), line=True, items=passes),
        MapLayer("begin", tr("where each drive begins"), shown=False, line=True, items=begun),
    ]
    return map_pieces(layers, frame)


def _first_metres(drive: PassPlan) -> list[shapely.LineString]:
    line = drive.passes[0].line if drive.passes else shapely.LineString()
    return [shapely.ops.substring(line, 0.0, _BEGIN_M)] if line.length else []


def _paddocks(
    ground: _Ground, outlined: gpd.GeoDataFrame, units: UnitSystem
) -> list[dict[str, Any]]:
    middle, inside = outlined.geometry.centroid, outlined.geometry.representative_point()
    inner = outlined.set_geometry(middle.where(outlined.geometry.contains(middle), inside))
    places = to_lonlat(inner, ground.origin[0]).geometry
    shapes, plan = ground.encoded(outlined.geometry), ground.plan
    return [
        {
            "g": shape,
            "t": p.paddock.field.name,
            "r": _facts(p, plan, units),
            "at": [round(at.y, 7), round(at.x, 7)],
            "n": p.paddock.field.name,
            "c": f"p{place}",
        }
        for place, (p, shape, at) in enumerate(zip(plan.paddocks, shapes, places, strict=True))
    ]


def _unworkable(ground: _Ground) -> list[dict[str, Any]]:
    shapes = [p.paddock.field.unworkable for p in ground.plan.paddocks]
    kept = np.array([shape for shape in shapes if shape is not None and not shape.is_empty])
    return [{"g": g} for g in ground.encoded(ground.plane.project(kept))] if len(kept) else []


def _facts(p: PaddockPlan, plan: InterseedPlan, units: UnitSystem) -> list[list[str]]:
    ground = [tr("Ground"), units.area.text(p.workable_m2)]
    if p.window is None:
        return [ground, [tr("Seeding"), tr("not to be seeded")]]
    window = [
        figures.span(iw.day_text(a), iw.day_text(b)) for a, b in iw.spells(p.window, plan.days)
    ]
    numbers = iw.numbered(plan)
    days = [tr("{day} (no. {number})", day=iw.day_text(v.day), number=numbers[v]) for v in p.visits]
    rows = {
        tr("Window"): ", ".join(window)
        or tr("no day open: {shut}", shut=iw.shut_words(p.window, plan)),
        tr("Seeding"): ", ".join(days) or tr("not planned"),
        tr("Seeded"): units.area.text(p.seeded_m2) if p.visits else "",
        tr("Seed"): units.mass.text(p.seed_kg) if p.visits else "",
        tr("Chance"): iw.chance_of(plan, p.chance),
        tr("Graze from"): iw.day_text(p.graze_from) if p.graze_from else "",
        tr("The drive"): _drive(p.passes) if p.passes else "",
    }
    return [ground, *([name, text] for name, text in rows.items() if text)]


def _drive(p: PassPlan) -> str:
    way = tr("in {count} blocks", count=len(p.blocks)) if p.blocks else axis_words(p.drive)
    passes = tr("{count} passes {way}", count=runs_of(p, "pass"), way=way).rstrip()
    return tr(
        "{rounds}, then {passes}; {hours}",
        rounds=trn("{count:,} round", "{count:,} rounds", p.drive.rounds or 0),
        passes=passes,
        hours=iw.hours_text(p.field_time_s),
    )
