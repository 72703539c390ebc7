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
from evenacre.planning.finish.passes_seen import CORNER, PassesSeen, driven_again, passes_seen
from evenacre.planning.finish.rate_to_finish import Finish, GroundLeft
from evenacre.planning.ground import (
    layer_ground,
    left_of,
    opened,
    overlaid,
    whole_of,
    workable_ground,
)
from evenacre.planning.passes.strips import along, back_from, cut_strips, strip_steps

# Strips narrower than this share of the tool are skips behind it, not passes to come.
_NARROW = 0.25
# Ground thinner than this share of the tool beside a strip is no reason to drive along it.
_SLIVER = 0.1
_SLICES = 64
# Waterways and plugged rows to come that the passes so far did not meet (common practice, no
# source).
_UNLIKE = 0.005
# At the last pass rows that run over worked ground go off by sections, of which a drill has some
# six (common practice, no source).
_SECTION = 1 / 6
# No driver laps by more than this share of the width.
_MOST_LAP = 0.5


@dataclass(frozen=True)
class PassAhead:
    """One pass to come."""

    line: shapely.LineString  # its middle, in the direction of travel, in the working plane
    ground: BaseGeometry  # the undone ground it takes
    area_m2: float
    length_m: float
    width_m: float  # of the ground


def passes_ahead(
    undone: BaseGeometry,
    width_m: float,
    heading_rad: float,
    start: FloatArray,
    spacing_m: float | None = None,
) -> tuple[PassAhead, ...]:
    """Lay passes over ground in the working plane, parallel to a heading.

    They lie one width apart, or as far as told.

    Each part of the ground is begun from the side nearer to the machine, whose place is ``start``
    (2,), the nearest part first, and passes are driven to and fro. The heading is counter-clockwise
    from the x axis; a half turn makes no difference.
    """
    here = np.array(along(shapely.Point(start), heading_rad).coords[0])
    turned = shapely.get_parts(along(undone, heading_rad))
    parts = [p for p in turned if p.area > CORNER * width_m**2]
    passes: list[PassAhead] = []
    while parts:
        parts.sort(key=lambda p: (p.distance(shapely.Point(here)), p.bounds))
        # Strips along x, from the side nearer to the machine.
        part = parts.pop(0)
        _, south, _, north = part.bounds
        step = strip_steps(part, spacing_m or width_m)
        step[-1] = max(step[-1], north - south)
        low, high = south + step[:-1], south + step[1:]
        if abs(here[1] - north) < abs(here[1] - south):
            low, high = north - step[1:], north - step[:-1]
        for strip in cut_strips(part, low, high):
            pieces = [p for p in shapely.get_parts(strip) if p.area > CORNER * width_m**2]
            if not pieces:
                continue
            left, _, right, _ = shapely.total_bounds(pieces)
            backward = bool(abs(here[0] - right) < abs(here[0] - left))
            pieces.sort(key=lambda p: p.bounds[0], reverse=backward)
            for piece in pieces:
                # Nobody drives for a sliver beside the last pass.
                core = opened(piece, _SLIVER * width_m / 2, join_style="mitre")
                west, low_m, east, high_m = (piece if core.is_empty else core).bounds
                middle = (low_m + high_m) / 2
                ends = np.array([[west, middle], [east, middle]])[:: -1 if backward else 1]
                here = ends[1]
                line = shapely.LineString(back_from(ends, heading_rad))
                ground = along(piece, -heading_rad)
                deep = high_m - low_m
                passes.append(PassAhead(line, ground, piece.area, east - west, deep))
    return tuple(passes)


@dataclass(frozen=True)
class GroundAhead:
    """Ground not covered yet."""

    ground: GroundLeft  # of ``undone`` only
    undone: BaseGeometry  # in the working plane, wide enough for a pass
    skipped_m2: float  # missed ground too narrow for a pass; not counted as still to do
    passes: tuple[PassAhead, ...]  # in the order they would be driven
    drive_m2: FloatArray  # ground each of them is likely to drive
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
    lie side by side, lapped as those so far, parallel to the main heading of the passes so far.
    """
    workable = workable_ground(result)
    uncovered = left_of(workable, layer_ground(result, "cover"))
    width = result.width_m
    reach = _NARROW * width / 2
    open_ground = opened(uncovered, reach, join_style="mitre")
    undone = overlaid(shapely.intersection, open_ground, uncovered)
    undone = whole_of(p for p in shapely.get_parts(undone) if p.area > reach**2)
    track = result.layers["passes"].geometry
    start = np.array(track.iloc[-1].coords[-1]) if len(track) else np.zeros(2)
    under_way = len(track) > 0 and _under_way(track.iloc[-1], undone, width)
    seen = passes_seen(result, workable, left_of(uncovered, undone), under_way=under_way)
    spacing = width - np.clip(np.nan_to_num(seen.usual_lap_m), -_NARROW * width, _MOST_LAP * width)
    ahead = passes_ahead(undone, width, main_heading_rad(result), start, float(spacing))
    # What the receiver leaves open is the edge between done and undone.
    sigma = result.uncertainty.get("covered_area_m2", 0.0) if undone.area else 0.0
    drive, ground = _forecast(seen, ahead, undone.area, sigma, width, float(spacing))
    full = width * math.fsum(p.length_m for p in ahead)
    return GroundAhead(ground, undone, uncovered.area - undone.area, ahead, drive, full)


def _under_way(path: BaseGeometry, undone: BaseGeometry, width_m: float) -> bool:
    """Whether undone ground lies just ahead of where a pass stopped."""
    before, end = np.array(path.coords)[-2:]
    ahead = end + width_m / 4 * (end - before) / np.hypot(*(end - before))
    return bool(shapely.contains_xy(undone, *ahead))


def _forecast(
    seen: PassesSeen,
    ahead: Sequence[PassAhead],
    undone_m2: float,
    undone_sigma_m2: float,
    width_m: float,
    spacing_m: float,
) -> tuple[FloatArray, GroundLeft]:
    """Ground each pass to come will drive (k,), and all of it with its uncertainty."""
    area, length, deep = (
        np.array([getattr(p, name) for p in ahead]) for name in ("area_m2", "length_m", "width_m")
    )
    again = driven_again(seen, length, np.maximum(deep * length - area, 0.0), width_m)
    # Uniform up to a section, or to what the pass has to spare.
    spare = length * np.clip(spacing_m - deep, 0.0, _SECTION * width_m)
    drive = area + again.m2 + spare / 2
    whole = undone_m2 + float((drive - area).sum())
    overlap = float(again.m2.sum()) / undone_m2 if undone_m2 else 0.0
    spread = again.sigma_m2
    closing = math.sqrt(float((spare**2).sum()) / 12)
    sigma = math.hypot((1 + overlap) * undone_sigma_m2, spread, closing, _UNLIKE * undone_m2)
    # Welch-Satterthwaite (JCGM 100:2008, G.4.1): of these only the scatter is an estimate.
    freedom = again.freedom * (sigma / spread) ** 4 if spread > 0 else math.inf
    ground = GroundLeft(undone_m2, undone_sigma_m2, overlap, whole, sigma, freedom, len(seen))
    return drive, ground


def main_heading_rad(result: AuditResult) -> float:
    """Mean direction of the passes off the headland, counter-clockwise from the plane's x axis.

    Directions a half turn apart are the same (mean of doubled angles, weighted by length).
    """
    passes = result.layers["passes"]
    inner = passes[~passes["headland"].astype(bool)]
    chosen = inner if len(inner) else passes
    angle = np.radians(90.0 - chosen["heading_deg"].to_numpy(dtype=float))
    mean = (chosen["length_m"].to_numpy(dtype=float) * np.exp(2j * angle)).sum()
    return float(np.angle(mean)) / 2


def run_out(ahead: GroundAhead, finish: Finish, width_m: float) -> RunOut | None:
    """Follow the passes to come until the load is used up.

    None when no rate is known or the load outlasts the ground.
    """
    if finish.reach_m2 is None or finish.reach_sigma_m2 is None or not ahead.passes:
        return None
    before = np.cumsum([0.0, *ahead.drive_m2])
    reach = finish.reach_m2
    if reach >= before[-1]:
        return None
    share = math.hypot(
        finish.reach_sigma_m2 / finish.reach_m2 if finish.reach_m2 else 0.0,
        ahead.ground.drive_sigma_m2 / ahead.ground.drive_m2,
    )
    index = min(int(np.searchsorted(before, reach, side="right")) - 1, len(ahead.passes) - 1)
    strip = ahead.passes[index]
    share_of_pass = (reach - float(before[index])) / float(ahead.drive_m2[index])
    part = _part_of_length(strip, share_of_pass * strip.area_m2)
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
