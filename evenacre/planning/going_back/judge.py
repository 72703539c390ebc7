"""Which missed places are worth going back for: ground gained against ground doubled and time.

A *trip* lets the drill down over one place, or over several that one pass takes. It is laid as
straight lanes along or across the place, each as wide as the drill, let down `LIFT_M` before bare
ground and lifted as far behind it. What comes of it:

- *gained*: bare ground of its places, and slivers beside them, under the lanes; ground of another
  listed place is left to that one;
- *doubled*: covered ground under them;
- *time*: the lanes at the mean speed of the job, `LIFT_S` for each letting down and lifting, and
  the shortest turns from lane to lane that the drill can be led through.

It is *worth* what its ground loses if it stays bare, times the chance that it is; it *costs* what
is put down on ground gained, doubled and outside, and the time. Ground that stays bare loses what
somebody says, else `BARE_TIMES` what working it cost: product at its price, and time in the field
at that of an hour. Where product or hour has no price, ground is the measure: a square metre as
this job worked it costs 1, `PRODUCT_SHARE` of it for what is put down.

A trip is *worth it* where it is in the drive that leaves most, the way to each place from the one
before it counted (:mod:`evenacre.planning.going_back.tour`); *only when you are there* where it
pays without that way; else it is to be *left*.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from pyproj import CRS, Transformer
from shapely.geometry.base import BaseGeometry

from evenacre.geo.overlay import first_consistent, intersect, subtract, union
from evenacre.model import FloatArray, Implement, Operation, OperationPlan
from evenacre.model.audit_result import AuditResult, ProductResult
from evenacre.model.going_back import LEAVE, WHEN_THERE, WORTH_IT, GoingBack, Trip
from evenacre.planning.going_back.lanes import Lanes, lanes_over
from evenacre.planning.going_back.tour import Ways, best_tour
from evenacre.planning.passes.gates import pose_in_gate
from evenacre.planning.passes.rig import least_radius_m
from evenacre.planning.passes.turns import shortest_turns

BARE_TIMES = 3.0
"""Bare ground loses so many times what working it cost: common practice, no source."""

PRODUCT_SHARE = 0.75
"""Of that cost, seed and fertilizer where they have no price: common practice, no source."""

LIFT_S = 5.0
"""To let the drill down and to lift it again: common practice, no source."""

# Where the log tells no speed or capacity: common practice, no source.
_SPEED_MPS = 2.2352
_EFFICIENCY = 0.7
# Places are joined with so many of the nearest, no farther away than so many widths of the drill.
_NEIGHBOURS, _NEAR_WIDTHS = 4, 15.0
_SIDES = (0.5, 0.0, 1.0)
# Ground outside counts so much more where lanes are chosen: of two alike that one inside is taken.
_KEEP_INSIDE = 0.01
_SPECK_M2 = 0.01


def judge(
    result: AuditResult,
    implement: Implement | None = None,
    *,
    price_per_kg: dict[str, float | None] | None = None,
    bare_per_m2: float | None = None,
    gate: shapely.Point | None = None,
) -> GoingBack:
    """Judge every listed place of an operation.

    Parameters
    ----------
    result : AuditResult
    implement : Implement, optional
        The drill to go back with; without it only its width is known.
    price_per_kg : dict of str to float or None
        By product.
    bare_per_m2 : float, optional
        What ground that stays bare loses; used where product and hour have prices.
    gate : Point, optional
        Where the drive begins, in the working plane; else where the work ended.
    """
    drill = (implement or Implement(result.width_m)).of_width(result.width_m)
    measure = _measure(result, drill, price_per_kg or {}, bare_per_m2)
    ground = _Ground(result, drill, measure)
    groups = _grouped(ground, [(n,) for n in range(len(ground.places))])
    laid = [ground.laid(group) for group in groups]
    trips = [ground.trip(group, lanes) for group, lanes in zip(groups, laid, strict=True)]
    net = np.array([trip.worth - trip.put_down - trip.time for trip in trips])
    start, called = _start(result, gate)
    paying = np.flatnonzero(net > 0)
    ends = [_ends(laid[i]) for i in paying]
    ways = Ways(
        np.array([e[0] for e in ends]).reshape(-1, 3),
        np.array([e[1] for e in ends]).reshape(-1, 3),
        measure.radius_m,
        start,
    )
    tour = best_tour(net[paying], ways, measure.time_per_s / measure.speed_mps)
    driven = []
    for (k, way), drive_m in zip(tour, ways.legs_m(tour), strict=True):
        trip, drive_s = trips[paying[k]], float(drive_m) / measure.speed_mps
        lanes = tuple(line.reverse() for line in reversed(trip.lanes)) if way else trip.lanes
        driven.append(
            replace(
                trip,
                verdict=WORTH_IT,
                lanes=lanes,
                places=_along(trip.places, lanes, ground.spot),
                drive_s=drive_s,
                time=trip.time + drive_s * measure.time_per_s,
            )
        )
    in_tour = {int(paying[k]) for k, _ in tour}
    others = [
        replace(trips[i], verdict=WHEN_THERE if net[i] > 0 else LEAVE)
        for i in range(len(trips))
        if i not in in_tour
    ]
    others.sort(key=lambda trip: (trip.verdict == LEAVE, -trip.worth_per_s, trip.places))
    return replace(measure, trips=(*driven, *others), start=called if driven else "")


def judged(result: AuditResult, plan: Operation | OperationPlan) -> AuditResult:
    """Put the judgement of its places into a result."""
    gate = None
    if plan.field.gate is not None:
        to_plane = Transformer.from_crs(CRS(4326), result.crs, always_xy=True)
        gate = shapely.Point(to_plane.transform(plan.field.gate.x, plan.field.gate.y))
    prices = {a.product.name: a.product.price_per_kg for a in plan.applications}
    found = judge(
        result,
        plan.implement,
        price_per_kg=prices,
        bare_per_m2=plan.bare_loss_per_m2,
        gate=gate,
    )
    return dataclasses.replace(result, going_back=found)


def _measure(
    r: AuditResult,
    drill: Implement,
    prices: dict[str, float | None],
    bare_per_m2: float | None,
) -> GoingBack:
    """What ground and time are worth, with no trips yet."""
    speed = r.mean_speed_mps if r.mean_speed_mps > 0 else _SPEED_MPS
    capacity = r.field_capacity_m2_per_s
    if not capacity > 0:
        capacity = _EFFICIENCY * speed * r.width_m
    hourly, costs = drill.cost_per_s, [_per_m2(p, prices.get(p.product)) for p in r.products]
    known = [cost for cost in costs if cost is not None]
    in_money = hourly is not None and bool(costs) and len(known) == len(costs)
    if in_money and hourly is not None:
        product, per_s = sum(known), hourly
    else:
        product, per_s, bare_per_m2 = PRODUCT_SHARE, (1.0 - PRODUCT_SHARE) * capacity, None
    bare = BARE_TIMES * (product + per_s / capacity) if bare_per_m2 is None else bare_per_m2
    return GoingBack(
        trips=(),
        in_money=in_money,
        bare_per_m2=bare,
        bare_given=bare_per_m2 is not None,
        put_down_per_m2=product,
        time_per_s=per_s,
        speed_mps=speed,
        radius_m=least_radius_m(r.width_m, drill.tow),
        start="",
    )


def _per_m2(p: ProductResult, price: float | None) -> float | None:
    """What a product costs on ground worked once more, at its target or mean rate."""
    rate = p.mean_rate_kg_per_m2 if p.target_kg_per_m2 is None else p.target_kg_per_m2
    return rate * price if price is not None and rate > 0 else None


def _start(r: AuditResult, gate: shapely.Point | None) -> tuple[FloatArray | None, str]:
    """Pose from which the drive begins, and what is there."""
    if gate is not None:
        return pose_in_gate(union(r.layers["field"].geometry.to_numpy()), gate), "gate"
    passes = r.layers["passes"]
    if not len(passes) or not math.isfinite(r.end_s):
        return None, ""
    xy = shapely.get_coordinates(passes.geometry.iloc[int(np.argmax(passes["end_s"]))])
    dx, dy = xy[-1] - xy[-2]
    return np.array([*xy[-1], math.atan2(dy, dx)]), "end of work"


def _ends(lanes: Lanes) -> tuple[FloatArray, FloatArray]:
    """Poses where a trip begins and ends."""
    first, last = _poses(lanes.lines[:1]), _poses(lanes.lines[-1:])
    return first[0][0], last[1][0]


def _poses(lines: Sequence[shapely.LineString]) -> tuple[FloatArray, FloatArray]:
    """Poses where straight lines begin and end, (n, 3) each."""
    xy = np.array([shapely.get_coordinates(line)[[0, -1]] for line in lines])
    heading = np.arctan2(*(xy[:, 1] - xy[:, 0]).T[::-1])[:, None]
    return np.hstack([xy[:, 0], heading]), np.hstack([xy[:, 1], heading])


def _along(
    places: Iterable[int], lanes: Sequence[shapely.LineString], spot: dict[int, shapely.Point]
) -> tuple[int, ...]:
    """Places in the order that lanes come to them."""
    way = shapely.LineString(np.concatenate([shapely.get_coordinates(line) for line in lanes]))
    return tuple(sorted(places, key=lambda n: float(way.project(spot[n]))))


@dataclass
class _Found:
    """Lanes over a group, and what they bring where slivers beside it count as covered."""

    lanes: Lanes
    net: float


class _Ground:
    """Places, what lies round them, and what trips over them come to."""

    def __init__(self, r: AuditResult, drill: Implement, measure: GoingBack) -> None:
        skips = r.layers["skips"]
        self.places = skips.geometry.to_numpy()
        self.number = [int(n) for n in skips["skip"]]
        inside = shapely.point_on_surface(self.places)
        self.spot = dict(zip(self.number, inside, strict=True))
        self.chance = skips["chance"].to_numpy(float)
        self.drill, self.measure = drill, measure
        whole = r.layers["field"].geometry.to_numpy()
        taken = r.layers["unworkable"].geometry.to_numpy()
        self.workable: BaseGeometry = subtract(np.array([union(whole)]), union(taken))[0]
        self.swaths = r.layers["swaths"].geometry.to_numpy()
        self._found: dict[tuple[int, ...], _Found] = {}
        self._among = shapely.STRtree(self.places)
        self._pieces = shapely.STRtree(self.swaths)

    def found(self, group: tuple[int, ...]) -> _Found:
        """The best lanes over some places."""
        if group not in self._found:
            self._found[group] = max(self._options(group), key=lambda option: option.net)
        return self._found[group]

    def laid(self, group: tuple[int, ...]) -> Lanes:
        """Likewise, without what they bring."""
        return self.found(group).lanes

    def _options(self, group: tuple[int, ...]) -> Iterable[_Found]:
        places = self.places[list(group)]
        bare, chance = union(places), self._chance(group)
        for heading in _headings(places, self.drill.width_m):
            for side in _SIDES:
                lanes = lanes_over(places, heading, self.drill, self.workable, side)
                swept = float(shapely.area(lanes.ground).sum())
                own = _common_m2(bare, lanes.ground)
                worth = self.measure.bare_per_m2 * chance * own
                net = worth - self._cost(swept) - self.work_s(lanes) * self.measure.time_per_s
                outside = max(swept - _common_m2(self.workable, lanes.ground), 0.0)
                yield _Found(lanes, net - _KEEP_INSIDE * self._cost(outside))
                if outside < _SPECK_M2:
                    break  # beside one another, others do no better

    def _chance(self, group: tuple[int, ...]) -> float:
        """How likely a group is bare by its ground; sure where nothing is known."""
        area = shapely.area(self.places[list(group)])
        chance = np.nan_to_num(self.chance[list(group)], nan=1.0)
        return float((area * chance).sum() / area.sum()) if area.sum() else 1.0

    def _cost(self, swept_m2: float) -> float:
        return self.measure.put_down_per_m2 * swept_m2

    def work_s(self, lanes: Lanes) -> float:
        """Time from the first letting down to the last lifting."""
        down_m = sum(line.length for line in lanes.lines)
        turn_m = 0.0
        if len(lanes.lines) > 1:
            begin, end = _poses(lanes.lines)
            _, turns = shortest_turns(end[:-1], begin[1:], self.measure.radius_m)
            turn_m = float(turns.sum()) * self.measure.radius_m
        return (down_m + turn_m) / self.measure.speed_mps + LIFT_S * lanes.downs

    def trip(self, group: tuple[int, ...], lanes: Lanes) -> Trip:
        """What a trip over a group comes to, with no verdict yet."""
        ground = lanes.ground
        swept = float(shapely.area(ground).sum())
        inside_m2 = float(shapely.area(intersect(ground, self.workable)).sum())
        lane, piece = self._pieces.query(ground, predicate="intersects")
        doubled_m2 = 0.0
        for k in np.unique(lane):
            parts = intersect(self.swaths[piece[lane == k]], ground[k])
            doubled_m2 += float(shapely.area(intersect(np.array([union(parts)]), self.workable))[0])
        lane, other = self._among.query(ground, predicate="intersects")
        mine = np.isin(other, group)
        others_m2 = float(
            shapely.area(intersect(self.places[other[~mine]], ground[lane[~mine]])).sum()
        )
        gained_m2 = max(inside_m2 - doubled_m2 - others_m2, 0.0)
        chance, work_s = self._chance(group), self.work_s(lanes)
        known = bool(np.isfinite(self.chance[list(group)]).all())
        return Trip(
            places=_along([self.number[n] for n in group], lanes.lines, self.spot),
            verdict=LEAVE,
            lanes=lanes.lines,
            gained_m2=gained_m2,
            doubled_m2=doubled_m2,
            outside_m2=max(swept - inside_m2, 0.0),
            chance=chance if known else math.nan,
            work_s=work_s,
            drive_s=math.nan,
            worth=self.measure.bare_per_m2 * chance * gained_m2,
            put_down=self._cost(swept),
            time=self.measure.time_per_s * work_s,
        )


def _common_m2(ground: BaseGeometry, lanes: np.ndarray) -> float:
    """How much ground lies under lanes, near enough to choose by."""
    both = first_consistent(lambda grid: intersect(lanes, ground, grid))
    return float(shapely.area(both).sum())


def _headings(places: np.ndarray, width_m: float) -> list[float]:
    """Along the longest side of some places, and across where that takes few lanes more."""
    sides = _sides(places)
    if not len(sides):
        return [0.0]
    long, short = sides[np.argsort(-np.hypot(*sides.T), kind="stable")]
    heading = math.atan2(long[1], long[0])
    along, across = (max(math.ceil(np.hypot(*side) / width_m), 1) for side in (short, long))
    return [heading, heading + np.pi / 2] if across <= 2 * along else [heading]


def _sides(places: np.ndarray) -> FloatArray:
    """Two sides of the smallest rectangle round some places, (2, 2); none of no ground."""
    box = shapely.get_coordinates(
        shapely.minimum_rotated_rectangle(shapely.geometrycollections(places))
    )
    return np.diff(box, axis=0)[:2]


def _grouped(ground: _Ground, groups: list[tuple[int, ...]]) -> list[tuple[int, ...]]:
    """Join places that one pass takes where it brings more than a pass for each of them.

    What is compared leaves out the way to either, so that only what lies close by is joined.
    """
    width = ground.drill.width_m

    def joins(a: tuple[int, ...], b: tuple[int, ...]) -> tuple[float, tuple[int, ...]] | None:
        both = tuple(sorted((*a, *b)))
        places = ground.places[list(both)]
        if np.hypot(*_sides(places).T).min(initial=np.inf) > width:
            return None
        way_s = (
            float(
                shapely.distance(
                    shapely.geometrycollections(ground.places[list(a)]),
                    shapely.geometrycollections(ground.places[list(b)]),
                )
            )
            / ground.measure.speed_mps
        )
        apart = ground.found(a).net + ground.found(b).net - way_s * ground.measure.time_per_s
        more = ground.found(both).net - apart
        return (more, both) if more > 0 else None

    while True:
        shapes = np.array([shapely.geometrycollections(ground.places[list(g)]) for g in groups])
        if len(groups) < 2:
            return groups
        options = []
        for a, b in _neighbours(shapes, _NEAR_WIDTHS * width):
            if found := joins(groups[a], groups[b]):
                options.append((-found[0], a, b, found[1]))
        taken: set[int] = set()
        new = []
        for _, a, b, both in sorted(options):
            if not taken & {a, b}:
                taken |= {a, b}
                new.append(both)
        if not new:
            return groups
        groups = sorted([*(g for n, g in enumerate(groups) if n not in taken), *new])


def _neighbours(shapes: np.ndarray, within_m: float) -> list[tuple[int, int]]:
    """Pairs of each shape and the nearest of the others."""
    a, b = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=within_m)
    a, b = a[a != b], b[a != b]
    away = shapely.distance(shapes[a], shapes[b])
    order = np.lexsort((b, away, a))
    a, b = a[order], b[order]
    first = np.flatnonzero(np.diff(a, prepend=-1))
    rank = np.arange(len(a)) - np.repeat(first, np.diff([*first, len(a)]))
    near = rank < _NEIGHBOURS
    return sorted({(min(p), max(p)) for p in zip(a[near].tolist(), b[near].tolist(), strict=True)})
