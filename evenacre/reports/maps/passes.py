"""The printed map of planned passes: rounds, passes and turns, where it begins and ends."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from evenacre.geo.overlay import without
from evenacre.language import tr
from evenacre.model import Field
from evenacre.planning.passes.pass_types import PassPlan, PlannedPass
from evenacre.reports.maps import sheet
from evenacre.reports.sentences.passes import passes_text
from evenacre.units.display import UnitSystem

_CLEAR = 20.0  # points between numbers
# How far along it the number of a run is tried. Rounds run close beside each other; passes
# that do are left without a number, or the numbers of a large field would hide it.
_PLACES = {"round": (0.3, 0.55, 0.8), "middle": (0.5,), "pass": (0.3,)}
_SEEN_M2 = 1.0
_ROUND: Any = {"color": sheet.ZONE, "linestyle": (0, (5, 1.6)), "linewidth": 1.5}
_PASS: Any = {"color": sheet.PASS, "linestyle": "solid", "linewidth": 1.0}
_TURN: Any = {"color": sheet.OUTSIDE, "linestyle": (0, (1, 1.4)), "linewidth": 0.8}
_MARK: Any = {"edge": sheet.BOUNDARY, "width": 2.2}
_BEGIN: Any = {"shape": "circle", "size": 11, "fill": "white", **_MARK}
_WAY: Any = {"color": sheet.OUTSIDE, "linestyle": "solid", "linewidth": 0.8}
_GATE: Any = {"shape": "diamond", "size": 8, "fill": "white", **_MARK}
_END: Any = {"shape": "square", "size": 9, "fill": sheet.BOUNDARY, **_MARK}
_ARROW: Any = {"shape": "arrow", "size": 7}


def pass_map(field: Field, plan: PassPlan, units: UnitSystem) -> bytes:
    """Draw the passes of a field as a PNG; equal input gives equal bytes."""
    boundary = plan.plane.project(field.boundary)
    turns = [turn for turn in plan.turns if turn.length > 0]
    made = sheet.outlined(
        gpd.GeoSeries([boundary]),
        shapely.total_bounds([boundary, *turns]),
        tr("{field}: passes to drive", field=plan.field),
        f"{passes_text(plan)}, {units.area.text(plan.workable_m2)}",
        units,
    )
    rounds, passes = (
        [run.line for run in plan.passes if run.kind in kinds]
        for kinds in (("round", "middle"), ("pass",))
    )
    middle = any(run.kind == "middle" for run in plan.passes)
    made.draw(
        rounds, tr("headland round or middle") if middle else tr("headland round"), 6, **_ROUND
    )
    made.draw(passes, "pass", 4, **_PASS)
    made.draw(turns, tr("turn, tool lifted"), 3, **_TURN)
    if plan.passes:
        first, last = plan.passes[0].line.coords[0], plan.passes[-1].line.coords[-1]
        made.spot(first[0], first[1], 9, "begin", **_BEGIN)
        made.spot(last[0], last[1], 9, "end", **_END)
        ways = [way for way in (plan.way_in, plan.way_out) if way is not None]
        if ways:
            made.draw(ways, tr("from and to the gate"), 3, **_WAY)
        if plan.gate is not None:
            made.spot(plan.gate.x, plan.gate.y, 9, "gate", **_GATE)
        _number(made, plan.passes)
        made.told(tr("order and way of driving"), fill=_PASS["color"], **_ARROW)
    off = without(boundary, plan.workable)
    if off.area >= _SEEN_M2:
        made.fill(gpd.GeoSeries([off]), tr("not to be worked"), 1, **sheet.UNWORKABLE)
    return made.png(3)


def _number(made: sheet.Sheet, passes: Sequence[PlannedPass]) -> None:
    """Number passes in the order of driving, with an arrow; leave out what would overlap."""
    taken = np.empty((0, 2))
    for number, run in enumerate(passes, start=1):
        tried = [run.line.interpolate(share, normalized=True) for share in _PLACES[run.kind]]
        places = made.in_points(np.array([(at.x, at.y) for at in tried]))
        apart = np.linalg.norm(taken[None] - places[:, None], axis=2).min(axis=1, initial=np.inf)
        if not (apart >= _CLEAR).any():
            continue
        chosen = int(np.argmax(apart >= _CLEAR))
        taken = np.vstack([taken, places[chosen]])
        at = tried[chosen]
        ahead = run.line.interpolate(_PLACES[run.kind][chosen] + 0.01, normalized=True)
        turned = math.atan2(ahead.y - at.y, ahead.x - at.x)
        colour = (_PASS if run.kind == "pass" else _ROUND)["color"]
        made.spot(at.x, at.y, 7, fill=colour, turn=turned, **_ARROW)
        behind = np.array([-10 * math.cos(turned), 10 * math.sin(turned)])
        made.label(np.array([at.x, at.y]), behind, str(number), 7.5, colour)
