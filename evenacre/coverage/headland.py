"""The band along the boundary worked by the perimeter rounds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from evenacre.geo.overlay import around, common, union, valid
from evenacre.model import BoolArray, FloatArray

_PARALLEL_RAD = np.radians(15.0)
# Edges within this of the main direction of work say nothing: ordinary passes follow them too.
_MAIN_DIRECTION_RAD = np.radians(25.0)
_FOLLOWED_SHARE = 0.6
_MAX_ROUNDS = 8


@dataclass(frozen=True)
class Headland:
    """Rounds along the outer boundary, and the band they make of the workable ground."""

    rounds: int
    band: BaseGeometry


def find_headland(
    boundary: BaseGeometry,
    workable: BaseGeometry,
    x_m: FloatArray,
    y_m: FloatArray,
    heading_rad: FloatArray,
    width_m: float,
    given_rounds: int | None,
) -> Headland:
    """Find how many rounds follow each ring of the boundary.

    Round k counts where worked tool-line centres lie near (k - 1/2) widths inside the ring and
    parallel to it along at least six tenths of the ring, edges parallel to the main direction
    of work left out. The band is as deep as the rounds found.

    Parameters
    ----------
    boundary, workable : polygonal geometry
        The band is the part of the workable ground near the boundary's rings; waterways and
        other unworkable ground inside have no headland of their own.
    x_m, y_m, heading_rad : (n,) float
        Tool-line centres while working.
    given_rounds : int or None
        Rounds along the outer ring as stated by the user.
    """
    tree = cKDTree(np.column_stack([x_m, y_m]))
    bands, outer_rounds = [], 0
    for polygon in shapely.get_parts(boundary):
        for nth, ring in enumerate([polygon.exterior, *polygon.interiors]):
            outer = nth == 0
            if outer and given_rounds is not None:
                rounds = given_rounds
            else:
                rounds = _count_rounds(ring, polygon, tree, heading_rad, width_m)
            if outer:
                outer_rounds = max(outer_rounds, rounds)
            if rounds:
                bands.append(around(ring, rounds * width_m, join_style="mitre"))
    band = common(union(valid(np.array(bands, dtype=object))), workable)
    return Headland(outer_rounds, band)


def _count_rounds(
    ring: BaseGeometry,
    polygon: BaseGeometry,
    tree: cKDTree,
    heading_rad: FloatArray,
    width_m: float,
) -> int:
    spacing = min(width_m / 2, ring.length / 40)
    at = np.arange(spacing / 2, ring.length, spacing)
    points = shapely.get_coordinates(shapely.line_interpolate_point(ring, at))
    before = shapely.get_coordinates(
        shapely.line_interpolate_point(ring, np.maximum(at - spacing / 2, 0))
    )
    tangent = points - before
    tangent /= np.maximum(np.hypot(tangent[:, 0], tangent[:, 1]), 1e-12)[:, None]
    inward = np.column_stack([-tangent[:, 1], tangent[:, 0]])
    probe = shapely.points(points + 0.2 * width_m * inward)
    inward = np.where(shapely.contains(polygon, probe)[:, None], inward, -inward)
    direction = np.arctan2(tangent[:, 1], tangent[:, 0])
    telling = _telling(direction, heading_rad)
    if not tree.n or telling.sum() < 0.1 * len(telling):
        return 0
    rounds = 0
    for k in range(1, _MAX_ROUNDS + 1):
        followed = _followed(
            points + (k - 0.5) * width_m * inward, direction, tree, heading_rad, width_m
        )
        if followed[telling].mean() < _FOLLOWED_SHARE:
            break
        rounds = k
    return rounds


def _telling(direction: FloatArray, heading_rad: FloatArray) -> BoolArray:
    """Ring samples not parallel to the main direction of work, if there is one."""
    mean = np.exp(2j * heading_rad).mean() if len(heading_rad) else 0j
    if abs(mean) < 0.3:
        return np.ones(len(direction), dtype=bool)
    return _apart(direction, np.angle(mean) / 2) > _MAIN_DIRECTION_RAD


def _followed(
    target: FloatArray,
    direction: FloatArray,
    tree: cKDTree,
    heading_rad: FloatArray,
    width_m: float,
) -> BoolArray:
    distance, index = tree.query(target, k=min(6, tree.n), distance_upper_bound=0.45 * width_m)
    distance, index = distance.reshape(len(target), -1), index.reshape(len(target), -1)
    near = np.isfinite(distance)
    heading = heading_rad[np.where(near, index, 0)]
    return (near & (_apart(heading, direction[:, None]) < _PARALLEL_RAD)).any(axis=1)


def _apart(a: FloatArray, b: FloatArray | float) -> FloatArray:
    """Angle between two undirected directions, 0..pi/2."""
    return np.abs(np.angle(np.exp(2j * (a - b)))) / 2
