"""The printed map of planned passes: rounds, passes and turns, where it begins and ends."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patheffects import withStroke

from evenacre.geo.overlay import without
from evenacre.model import Field
from evenacre.planning.passes.pass_types import PassPlan, PlannedPass
from evenacre.reports import figure_text as figures
from evenacre.reports.maps import sheet
from evenacre.reports.sentences.passes import passes_text
from evenacre.units.display import UnitSystem

_CLEAR_PIXELS = 36
# How far along it the number of a run is tried. Rounds run close beside each other; passes
# that do are left without a number, or the numbers of a large field would hide it.
_PLACES = {"round": (0.3, 0.55, 0.8), "middle": (0.5,), "pass": (0.3,)}
_SEEN_M2 = 1.0
_ROUND: Any = {"color": sheet.ZONE, "linestyle": (0, (5, 1.6)), "linewidth": 1.5}
_PASS: Any = {"color": sheet.PASS, "linestyle": "solid", "linewidth": 1.0}
_TURN: Any = {"color": sheet.OUTSIDE, "linestyle": (0, (1, 1.4)), "linewidth": 0.8}
_MARK: Any = {"markeredgecolor": sheet.BOUNDARY, "markeredgewidth": 2.2, "linestyle": "none"}
_BEGIN: Any = {"marker": "o", "markersize": 11, "markerfacecolor": "white", **_MARK}
_WAY: Any = {"color": sheet.OUTSIDE, "linestyle": "solid", "linewidth": 0.8}
_GATE: Any = {"marker": "D", "markersize": 8, "markerfacecolor": "white", **_MARK}
_END: Any = {"marker": "s", "markersize": 9, "markerfacecolor": sheet.BOUNDARY, **_MARK}


def pass_map(field: Field, plan: PassPlan, units: UnitSystem) -> bytes:
    """Draw the passes of a field as a PNG; equal input gives equal bytes."""
    boundary = plan.plane.project(field.boundary)
    turns = [turn for turn in plan.turns if turn.length > 0]
    with rc_context(sheet.STYLE):
        made = sheet.outlined(
            gpd.GeoSeries([boundary]),
            shapely.total_bounds([boundary, *turns]),
            f"{plan.field}: passes to drive",
            f"{passes_text(plan)}, {figures.size(plan.workable_m2, units, 3)}",
            units,
        )
        rounds, passes = (
            [run.line for run in plan.passes if run.kind in kinds]
            for kinds in (("round", "middle"), ("pass",))
        )
        middle = any(run.kind == "middle" for run in plan.passes)
        made.draw(rounds, "headland round or middle" if middle else "headland round", 6, **_ROUND)
        made.draw(passes, "pass", 4, **_PASS)
        made.draw(turns, "turn, tool lifted", 3, **_TURN)
        if plan.passes:
            first, last = plan.passes[0].line.coords[0], plan.passes[-1].line.coords[-1]
            made.plot(first[0], first[1], "begin", 9, **_BEGIN)
            made.plot(last[0], last[1], "end", 9, **_END)
            ways = [way for way in (plan.way_in, plan.way_out) if way is not None]
            if ways:
                made.draw(ways, "from and to the gate", 3, **_WAY)
            if plan.gate is not None:
                made.plot(plan.gate.x, plan.gate.y, "gate", 9, **_GATE)
            _number(made.axes, plan.passes)
            style = {"color": _PASS["color"], "marker": ">", "linestyle": "none"}
            made.legend.append(Line2D([], [], label="order and way of driving", **style))
        off = without(boundary, plan.workable)
        if off.area >= _SEEN_M2:
            made.fill(gpd.GeoSeries([off]), "not to be worked", 1, **sheet.UNWORKABLE)
        return made.png(3)


def _number(axes: Axes, passes: Sequence[PlannedPass]) -> None:
    """Number passes in the order of driving, with an arrow; leave out what would overlap."""
    taken = np.empty((0, 2))
    for number, run in enumerate(passes, start=1):
        tried = [run.line.interpolate(share, normalized=True) for share in _PLACES[run.kind]]
        places = axes.transData.transform([(at.x, at.y) for at in tried])
        apart = np.linalg.norm(taken[None] - places[:, None], axis=2).min(axis=1, initial=np.inf)
        if not (apart >= _CLEAR_PIXELS).any():
            continue
        chosen = int(np.argmax(apart >= _CLEAR_PIXELS))
        taken = np.vstack([taken, places[chosen]])
        at = tried[chosen]
        ahead = run.line.interpolate(_PLACES[run.kind][chosen] + 0.01, normalized=True)
        turned = math.atan2(ahead.y - at.y, ahead.x - at.x)
        colour = (_PASS if run.kind == "pass" else _ROUND)["color"]
        arrow = (3, 0, math.degrees(turned) - 90)
        axes.plot(at.x, at.y, marker=arrow, markersize=7, color=colour, zorder=7, linestyle="none")
        axes.annotate(
            str(number),
            xy=(at.x, at.y),
            xytext=(-10 * math.cos(turned), -10 * math.sin(turned)),
            textcoords="offset points",
            ha="center",
            va="center",
            fontsize=7.5,
            color=colour,
            path_effects=[withStroke(linewidth=3.5, foreground="white")],
            zorder=7,
        )
