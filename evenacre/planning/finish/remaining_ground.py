"""The ground still to do: how much, how it will be driven, and where a load would end."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.model import FloatArray
from evenacre.model.audit_result import AuditResult
from evenacre.planning.finish.rate_to_finish import Finish, GroundLeft, ground_left
from evenacre.planning.ground import (
    layer_ground,
    left_of,
    opened,
    overlaid,
    whole_of,
    workable_ground,
)
from evenacre.planning.passes.strips import along, back_from, cut_strips, strip_steps

# Pieces of a strip smaller than this share of a square of the tool's width are corners.
_CORNER = 0.05
# Strips narrower than this share of the tool are skips behind it, not passes to come.
_NARROW = 0.25
# Fewer passes than this off the headland say too little; then all of them count.
_FEWEST_INNER = 3
_SLICES = 64
# Point rows, waterways and plugged rows to come that the passes so far did not meet (common
# practice, no source).
_UNLIKE = 0.01


@dataclass(frozen=True)
class PassAhead:
    """One pass to come."""

    line: shapely.LineString  # its middle, in the direction of travel, in the working plane
    ground: BaseGeometry  # the undone ground it takes
    area_m2: float
    length_m: float


def passes_ahead(
    undone: BaseGeometry, width_m: float, heading_rad: float, start: FloatArray
) -> tuple[PassAhead, ...]:
    """Lay passes at one width over ground in the working plane, parallel to a heading.

    Each part of the ground is begun from the side nearer to the machine, whose place is ``start``
    (2,), the nearest part first, and passes are driven to and fro. The heading is counter-clockwise
    from the x axis; a half turn makes no difference.
    """
    here = np.array(along(shapely.Point(start), heading_rad).coords[0])
    turned = shapely.get_parts(along(undone, heading_rad))
    parts = [p for p in turned if p.area > _CORNER * width_m**2]
    passes: list[PassAhead] = []
    while parts:
        parts.sort(key=lambda p: (p.distance(shapely.Point(here)), p.bounds))
        # Strips along x, from the side nearer to the machine.
        part = parts.pop(0)
        _, south, _, north = part.bounds
        step = strip_steps(part, width_m)
        step[-1] = max(step[-1], north - south)
        low, high = south + step[:-1], south + step[1:]
        if abs(here[1] - north) < abs(here[1] - south):
            low, high = north - step[1:], north - step[:-1]
        for strip in cut_strips(part, low, high):
            pieces = [p for p in shapely.get_parts(strip) if p.area > _CORNER * width_m**2]
            if not pieces:
                continue
            left, _, right, _ = shapely.total_bounds(pieces)
            backward = bool(abs(here[0] - right) < abs(here[0] - left))
            pieces.sort(key=lambda p: p.bounds[0], reverse=backward)
            for piece in pieces:
                west, south, east, north = piece.bounds
                middle = (south + north) / 2
                ends = np.array([[west, middle], [east, middle]])[:: -1 if backward else 1]
                here = ends[1]
                line = shapely.LineString(back_from(ends, heading_rad))
                ground = along(piece, -heading_rad)
                passes.append(PassAhead(line, ground, piece.area, east - west))
    return tuple(passes)


@dataclass(frozen=True)
class GroundAhead:
    """Ground not covered yet."""

    ground: GroundLeft  # of ``undone`` only
    undone: BaseGeometry  # in the working plane, wide enough for a pass
    skipped_m2: float  # missed ground too narrow for a pass; not counted as still to do
    passes: tuple[PassAhead, ...]  # in the order they would be driven
    # Ground driven if every one of them is driven at full width, the narrow last ones too
    full_width_m2: float


@dataclass(frozen=True)
class RunOut:
    """Where the load runs out at the present rate."""

    pass_number: int  # of the passes to come, from 1
    # In the working plane
    x_m: float
    y_m: float
    # Driven in work from now
    distance_m: float
    distance_sigma_m: float
    into_pass_m: float  # from the start of that pass


def ground_ahead(result: AuditResult) -> GroundAhead:
    """Find the ground still to do from an audit of the tracks so far, inside a given boundary.

    Strips too narrow for a pass are left out: the driver has left them behind. Passes to come
    lie side by side at one width, parallel to the main heading of the passes so far.
    """
    workable = workable_ground(result)
    uncovered = left_of(workable, layer_ground(result, "cover"))
    reach = _NARROW * result.width_m / 2
    open_ground = opened(uncovered, reach, join_style="mitre")
    undone = overlaid(shapely.intersection, open_ground, uncovered)
    undone = whole_of(p for p in shapely.get_parts(undone) if p.area > reach**2)
    new, again = pass_overlaps(result, workable)
    track = result.layers["passes"].geometry
    start = np.array(track.iloc[-1].coords[-1]) if len(track) else np.zeros(2)
    ahead = passes_ahead(undone, result.width_m, main_heading_rad(result), start)
    # What the receiver leaves open is the edge between done and undone.
    sigma = result.uncertainty.get("covered_area_m2", 0.0) if undone.area else 0.0
    ground = ground_left(undone.area, sigma, new, again, max(len(ahead), 1), unlike=_UNLIKE)
    full = result.width_m * math.fsum(p.length_m for p in ahead)
    return GroundAhead(ground, undone, uncovered.area - undone.area, ahead, full)


def main_heading_rad(result: AuditResult) -> float:
    """Mean direction of the passes off the headland, counter-clockwise from the plane's x axis.

    Directions a half turn apart are the same (mean of doubled angles, weighted by length).
    """
    passes = result.layers["passes"]
    inner = passes[~passes["headland"].astype(bool)]
    chosen = inner if len(inner) >= _FEWEST_INNER else passes
    angle = np.radians(90.0 - chosen["heading_deg"].to_numpy(dtype=float))
    mean = (chosen["length_m"].to_numpy(dtype=float) * np.exp(2j * angle)).sum()
    return float(np.angle(mean)) / 2


def pass_overlaps(result: AuditResult, workable: BaseGeometry) -> tuple[FloatArray, FloatArray]:
    """New ground of each pass (n,), and what it drove beside it: overlap, and ground outside.

    Ground belongs to the pass that covered it first. Passes off the headland count, as the
    ground to come is mostly theirs; all of them while those are few.
    """
    swaths = result.layers["swaths"]
    number = swaths["pass"].to_numpy(dtype=int)
    order = np.argsort(number, kind="stable")
    pieces = np.asarray(swaths.geometry.to_numpy(), dtype=object)[order]
    names, first = np.unique(number[order], return_index=True)
    whole = np.array([whole_of(g) for g in np.split(pieces, first[1:])], dtype=object)
    swept = np.bincount(number, shapely.area(swaths.geometry.to_numpy()))[names]
    tree = shapely.STRtree(whole)
    new = np.zeros(len(whole))
    for i, ground in enumerate(whole):
        earlier = whole_of(whole[[j for j in tree.query(ground) if j < i]])
        fresh = overlaid(shapely.difference, ground, earlier)
        new[i] = overlaid(shapely.intersection, fresh, workable).area
    passes = result.layers["passes"].set_index("pass")
    inner = ~passes["headland"].reindex(names, fill_value=False).to_numpy(dtype=bool)
    if inner.sum() < _FEWEST_INNER:
        inner[:] = True
    return new[inner], np.maximum(swept - new, 0.0)[inner]


def run_out(ahead: GroundAhead, finish: Finish, width_m: float) -> RunOut | None:
    """Follow the passes to come until the load is used up.

    None when no rate is known or the load outlasts the ground.
    """
    if finish.reach_m2 is None or finish.reach_sigma_m2 is None or not ahead.passes:
        return None
    laid = math.fsum(p.area_m2 for p in ahead.passes)
    per_new = ahead.ground.drive_m2 / laid if laid else math.inf
    reach = finish.reach_m2 / per_new
    if reach >= laid:
        return None
    share = math.hypot(
        finish.reach_sigma_m2 / finish.reach_m2 if finish.reach_m2 else 0.0,
        ahead.ground.drive_sigma_m2 / ahead.ground.drive_m2,
    )
    before = np.cumsum([0.0, *(p.area_m2 for p in ahead.passes)])
    index = min(int(np.searchsorted(before, reach, side="right")) - 1, len(ahead.passes) - 1)
    strip = ahead.passes[index]
    part = _part_of_length(strip, reach - float(before[index]))
    at = strip.line.interpolate(part, normalized=True)
    into = part * strip.length_m
    driven = math.fsum(p.length_m for p in ahead.passes[:index]) + into
    return RunOut(index + 1, at.x, at.y, driven, share * reach / width_m, into)


def _part_of_length(strip: PassAhead, area_m2: float) -> float:
    """Share of a strip's length at which so much of its area is done."""
    ends = np.array(strip.line.coords)[[0, -1]]
    along = (ends[1] - ends[0]) / strip.length_m
    side = np.array([-along[1], along[0]]) * 10 * math.sqrt(strip.area_m2 + strip.length_m**2)
    cuts = ends[0] + np.linspace(0, 1, _SLICES + 1)[:, None] * (ends[1] - ends[0])
    corners = np.stack([cuts[:-1] + side, cuts[1:] + side, cuts[1:] - side, cuts[:-1] - side], 1)
    slices = overlaid(shapely.intersection, shapely.polygons(corners), strip.ground)
    areas = shapely.area(slices)
    return float(np.interp(area_m2, np.r_[0.0, np.cumsum(areas)], np.linspace(0, 1, _SLICES + 1)))


def split_lines(
    passes: Sequence[PassAhead], out: RunOut | None
) -> list[tuple[int, BaseGeometry, bool]]:
    """Passes to come as lines, cut where the load runs out: number, line, fed."""
    lines: list[tuple[int, BaseGeometry, bool]] = []
    for number, strip in enumerate(passes, start=1):
        if out is None or number != out.pass_number:
            lines.append((number, strip.line, out is None or number < out.pass_number))
            continue
        here = (out.x_m, out.y_m)
        fed, unfed = ([strip.line.coords[0], here], [here, strip.line.coords[-1]])
        lines += [(number, shapely.LineString(fed), True)]
        lines += [(number, shapely.LineString(unfed), False)]
    return lines
