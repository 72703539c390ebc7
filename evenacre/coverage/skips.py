"""Ground that was missed: found, measured and named by kind."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.coverage.cover import overlapping_pairs, strip_size
from evenacre.coverage.row_patterns import RowPatterns
from evenacre.coverage.skip_causes import OuterRows, SkipCause, blocked_outer_rows
from evenacre.coverage.steps import Steps
from evenacre.coverage.swath import build_strips, build_swaths
from evenacre.geo.geodesy import wrapped
from evenacre.geo.local_crs import WorkingPlane
from evenacre.geo.overlay import (
    along,
    around,
    first_consistent,
    intersect,
    subtract,
    union,
    widen,
)
from evenacre.model import BoolArray, FloatArray, Implement

NARROWEST_M = 0.10
"""Narrower gaps are within what receivers can tell (common practice, no source)."""

KINDS = ("between passes", "blocked rows", "turn", "edge", "unworked", "no log")
CAUSED = ("blocked rows", "no log")
"""Kinds of skips, and those of a known cause."""

# Skips are told apart at this width: thinner necks between two of them do not join them.
_NECK_M = 0.05
# Smaller bits need not be told apart.
_SMALL_M2 = 0.5
# Lines this close count as touching.
_TOUCH_M = 0.10
# This share of a skip's outline against the boundary (or against pass ends) decides its kind.
_EDGE_SHARE = 0.15
_TURN_SHARE = 0.10
# Passes wander; ground is wider than the tool only beyond this.
_WIDER_THAN_TOOL = 1.05
# Ground beside passes only tells skips apart; it need not be finer than this.
_ROUGHLY_M = 0.01


@dataclass(frozen=True)
class Beside:
    """Ground up to one tool width beside each of k pieces of passes, and the direction away."""

    geometry: np.ndarray
    outward_rad: FloatArray


@dataclass(frozen=True)
class Surroundings:
    """What a skip may lie against.

    ``pass_ends`` are tool lines where a pass starts or stops; ``headland``, the band, may be
    empty; ``width_m`` is the full tool's.
    """

    workable: BaseGeometry
    boundary_given: bool
    pass_ends: BaseGeometry
    headland: BaseGeometry
    width_m: float
    beside: Beside
    causes: Sequence[SkipCause]
    outer_rows: Sequence[OuterRows] = ()


def find_skips(
    missed: BaseGeometry,
    around: Surroundings,
    plane: WorkingPlane,
    *,
    min_width_m: Mapping[str, float],
    min_area_m2: float,
) -> gpd.GeoDataFrame:
    """List the skips wide and large enough to matter, largest first.

    Parameters
    ----------
    missed : geometry
        Workable ground with no cover.
    min_width_m : mapping of str to float
    min_area_m2 : float
        Smallest skip to list, by kind and of all kinds. What separates one skip from the next
        does not depend on them, so raising either never lists more skips.

    Returns
    -------
    GeoDataFrame
        skip (number from 1), kind, cause, area_m2, mean_width_m, length_m, lon, lat (a point
        inside), geometry.
    """
    rest = _open(shapely.get_parts(missed), _NECK_M)
    parts: list[np.ndarray] = []
    kinds: list[str] = []
    causes: list[str] = []

    def add(pieces: np.ndarray, kind: Iterable[str], cause: str = "") -> None:
        parts.append(pieces)
        kinds.extend(kind)
        causes.extend([cause] * len(pieces))

    outer = blocked_outer_rows(around.outer_rows, missed, around.workable)
    for known in (*around.causes, *outer):
        mine, rest = _split(rest, known.swept)
        if known.kind:
            add(mine, [known.kind] * len(mine), known.cause)
    # A drawn boundary bridges the notches between pass ends; they prove nothing.
    drawn = not around.boundary_given
    if drawn:
        rest = rest[~_at_edge(rest, around)]
    wide_core = _open(rest, _WIDER_THAN_TOOL * around.width_m)
    wide, rest = _split(rest, union(wide_core))
    add(wide, ["unworked"] * len(wide))
    between, rest = _split(rest, _beside_twice(rest, around.beside))
    if drawn:
        # Those that open into a gap between passes have only now been told apart from it.
        between = between[~_at_edge(between, around)]
    # Beyond the end of a pass, its neighbours that went on say nothing.
    late = _at_pass_end(between, around) & _at_edge(between, around) & (not drawn)
    turn = np.where(_at_turn(between, around), "turn", "between passes")
    add(between, np.where(late, "edge", turn))
    edge = _at_edge(rest, around) & (not drawn)
    add(rest, np.where(edge, "edge", np.where(_at_turn(rest, around), "turn", "between passes")))
    geometry = np.concatenate(parts)
    area = shapely.area(geometry)
    length, width = strip_size(area, shapely.length(geometry))
    least = np.array([min_width_m[kind] for kind in kinds])
    kept = (width >= least) & (area >= min_area_m2)
    inside = shapely.point_on_surface(geometry)
    lon, lat = plane.lonlat(shapely.get_x(inside), shapely.get_y(inside))
    table = pd.DataFrame(
        {
            "kind": pd.Series(kinds, dtype=object),
            "cause": pd.Series(causes, dtype=object),
            "area_m2": area,
            "mean_width_m": width,
            "length_m": length,
            "lon": wrapped(lon),
            "lat": lat,
            "geometry": geometry,
        }
    )[kept]
    table = table.sort_values(["area_m2", "lon"], ascending=[False, True], kind="stable")
    table.insert(0, "skip", np.arange(1, len(table) + 1))
    return gpd.GeoDataFrame(table.reset_index(drop=True), geometry="geometry", crs=plane.crs)


def _open(parts: np.ndarray, width_m: float) -> np.ndarray:
    """Keep what is at least so wide, as single polygons; corners stay square."""
    core = widen(parts, -width_m / 2)
    left = ~shapely.is_empty(core)
    grown = widen(core[left], width_m / 2)
    opened = shapely.get_parts(intersect(grown, parts[left]))
    return opened[shapely.area(opened) > 0]


def _split(parts: np.ndarray, region: BaseGeometry) -> tuple[np.ndarray, np.ndarray]:
    """What of the parts lies in a region, and the rest."""
    shapely.prepare(region)
    hit = shapely.intersects(parts, region)
    mine, others = intersect(parts[hit], region), subtract(parts[hit], region)
    inside, outside = _open(mine, _NECK_M), _open(others, _NECK_M)
    return inside, np.concatenate([parts[~hit], outside])


def _beside_twice(parts: np.ndarray, beside: Beside) -> BaseGeometry:
    """Ground with worked ground on two sides: beside passes that face each other."""
    parts = parts[shapely.area(parts) > _SMALL_M2]
    part, piece = shapely.STRtree(beside.geometry).query(parts, predicate="intersects")

    def facing(grid_m: float | None) -> BaseGeometry:
        shadow = intersect(parts[part], beside.geometry[piece], grid_m)
        real = shapely.area(shadow) > 0
        first, second, shared = overlapping_pairs(shadow[real], grid_m)
        outward = beside.outward_rad[piece[real]]
        return union(shared[np.cos(outward[first] - outward[second]) < 0], grid_m)

    # Only the names of skips hang on this, so what does not fail is good enough.
    return first_consistent(facing, lambda _ground: True)


def _share(skips: np.ndarray, lines: BaseGeometry) -> FloatArray:
    """Share of each skip's outline that lies against some lines."""
    outline = shapely.boundary(skips)
    near = along(outline, around(lines, _TOUCH_M))
    return shapely.length(near) / shapely.length(outline)


def _at_edge(skips: np.ndarray, around: Surroundings) -> BoolArray:
    return _share(skips, shapely.boundary(around.workable)) >= _EDGE_SHARE


def _at_pass_end(skips: np.ndarray, around: Surroundings) -> BoolArray:
    return _share(skips, around.pass_ends) >= _TURN_SHARE


def _at_turn(skips: np.ndarray, around: Surroundings) -> BoolArray:
    """Between a pass end and the headland."""
    return _at_pass_end(skips, around) & shapely.dwithin(skips, around.headland, 2 * _TOUCH_M)


def ground_beside(steps: Steps, implement: Implement) -> Beside:
    """Ground up to one tool width to the left and right of every working step."""
    threefold = replace(implement, width_m=3 * implement.width_m, rows=3)
    sides = RowPatterns.of(steps.working[:, None] & np.array([True, False, True]))
    swaths = build_swaths(build_strips(steps, sides, threefold), _ROUGHLY_M)
    ahead = steps.tool.heading_rad[swaths.first_step]
    return Beside(swaths.geometry, ahead + np.where(swaths.first_row == 1, np.pi / 2, -np.pi / 2))
