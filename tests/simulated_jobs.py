"""Jobs driven at random in a plane: what was truly covered, and what a receiver logged of it.

Shares no code with the engine. The axle of the tool follows a path laid out first; what tows it
is where it must be for that (a pulled axle moves towards its pin, so the pin is ahead along the
path), and so is the antenna. The receiver then errs, and the log is what it says.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from jobs import DRILL, START_S, Floats
from put_down import MISSOURI, lonlat_of, on_earth
from pyproj import Transformer
from scipy.signal import lfilter
from shapely.geometry.base import BaseGeometry

from evenacre.model import Application, Field, Implement, Operation, Product, Settings, Track

_DT_S = 0.1
_LEAD_M, _TAIL_M = 25.0, 12.0
_CORRELATION_M = 30.0
SEED, RATE = "seed", 0.01
"""What every job puts down, and how much of it is logged, kg per m2."""


@dataclass(frozen=True)
class Receiver:
    """Standard deviations of a receiver's error along each axis.

    ``white_m`` from record to record, ``drift_m`` a constant of each pass, ``within_m`` what
    holds over 30 m of travel, ``wander_m`` a first-order process with a memory.
    """

    white_m: float = 0.0
    drift_m: float = 0.0
    within_m: float = 0.0
    wander_m: float = 0.0
    memory_s: float = 180.0


@dataclass(frozen=True)
class Driver:
    """How passes are laid: the ground left between them, and how that scatters.

    ``gap_m`` is meant (negative: lapped), ``scatter_m`` from pass to pass, ``weave_m`` within a
    pass. ``end_m`` is the ground meant to be left between the end of a pass and the headland,
    ``end_scatter_m`` its scatter; a hand that is late by ``late_m`` leaves more where a pass begins
    and less where it ends. ``steered``: the machine holds the line that the receiver tells.
    ``missed_m`` is ground left between two passes by mistake. ``rounds_by_hand_m``: the rounds were
    driven by hand all the same, and weave so much.
    """

    gap_m: float = 0.0
    scatter_m: float = 0.08
    weave_m: float = 0.03
    end_m: float = -0.5
    end_scatter_m: float = 0.6
    late_m: float = 0.0
    steered: bool = False
    missed_m: float = 0.0
    rounds_by_hand_m: float = 0.0


@dataclass(frozen=True)
class Simulated:
    """A job as it is logged, and the truth of it in the plane."""

    operation: Operation
    true_drill: Implement
    field: BaseGeometry
    passes: np.ndarray  # polygons of true ground
    tool: Floats  # (n, 2) the tool line's middle at each record
    error: Floats  # (n, 2) the receiver's error at each record
    missed: BaseGeometry
    covered_m2: float
    missed_m2: float
    overlap_m2: float
    excess_m2: float
    outside_m2: float
    meter: float  # what truly went down for each kg that was logged

    @property
    def areas_m2(self) -> dict[str, float]:
        """Areas by the key that an audit gives them under."""
        return {
            "covered_area_m2": self.covered_m2,
            "skip_area_m2": self.missed_m2,
            "overlap_area_m2": self.overlap_m2,
            "excess_area_m2": self.excess_m2,
            "outside_area_m2": self.outside_m2,
        }

    @property
    def applied_in_field_kg(self) -> float:
        return self.meter * RATE * (self.covered_m2 + self.excess_m2)

    @property
    def outside_kg(self) -> float:
        swept_m2 = float(shapely.area(self.passes).sum())
        return self.meter * RATE * (swept_m2 - self.covered_m2 - self.excess_m2)

    @property
    def overlap_kg(self) -> float:
        return self.meter * RATE * self.excess_m2

    def bare_share(self, places: np.ndarray, crs: object) -> Floats:
        """Share of each place (in ``crs``) that is truly bare."""
        back = Transformer.from_crs(crs, "EPSG:4326", always_xy=True)

        def put(points: Floats) -> Floats:
            lon, lat = back.transform(points[:, 0], points[:, 1])
            return np.column_stack(plane_of(lon, lat))

        moved = shapely.transform(np.asarray(places), put)
        return shapely.area(shapely.intersection(moved, self.missed)) / shapely.area(moved)


def plane_of(lon: Floats, lat: Floats) -> tuple[Floats, Floats]:
    """Plane positions of longitudes and latitudes; undoes `put_down.lonlat_of`."""
    lon0, lat0 = MISSOURI
    plane = f"+proj=laea +lon_0={lon0} +lat_0={lat0 - 0.01} +datum=WGS84 +units=m"
    to_plane = Transformer.from_crs("EPSG:4326", plane, always_xy=True)
    x0, y0 = to_plane.transform(lon0, lat0)
    x, y = to_plane.transform(lon, lat)
    return np.asarray(x) - x0, np.asarray(y) - y0


@dataclass(frozen=True)
class _Line:
    """One pass as it is meant: from start to stop of work, both on the tool's middle."""

    start: Floats
    stop: Floats

    @property
    def ahead(self) -> Floats:
        way = self.stop - self.start
        return way / np.hypot(*way)


def simulate(
    seed: int,
    receiver: Receiver,
    driver: Driver | None = None,
    drill: Implement = DRILL,
    told: Implement | None = None,
    *,
    length_m: float = 120.0,
    passes: int = 12,
    rounds: int = 1,
    hz: float = 1.0,
    speed_mps: float = 2.4,
    settings: Settings | None = None,
    meter: float = 1.0,
) -> Simulated:
    """Drive a rectangular field: rounds along its edges, then passes up and down.

    Parameters
    ----------
    drill, told : Implement
        As it truly is, and as the season describes it (the same where None).
    length_m : float
        Of the passes inside the headland.
    passes : int
        Their number.
    meter : float
        What truly goes down for each kg that is logged.
    """
    rng = np.random.default_rng(seed)
    driver = driver or Driver()
    lines, field = _lines(rng, driver, drill.width_m, length_m, passes, rounds)
    # Turns take different times: else records would fall alike on the ends of all passes.
    lead_m = _LEAD_M + np.random.default_rng([seed, 1]).uniform(0.0, speed_mps / hz, len(lines))
    time, x, y, number = _path(lines, speed_mps, drill.tool_behind_m, lead_m)
    error = _errors(rng, receiver, time, number, speed_mps)
    side = _weave(rng, 0.01 if driver.steered else driver.weave_m, len(time), speed_mps)
    ahead = _along(x, y)
    across = np.column_stack([-ahead[:, 1], ahead[:, 0]])
    off = across * side[:, None]
    if driver.steered:
        off -= across * (error * across).sum(axis=1, keepdims=True)
    if driver.rounds_by_hand_m:
        by_hand = np.random.default_rng([seed, 2])
        side = _weave(by_hand, driver.rounds_by_hand_m, len(time), speed_mps)
        off = np.where(number[:, None] > 4 * rounds, off, across * side[:, None])
    axle = np.column_stack([x, y]) + off * np.minimum(1.0, (number > 0) + 0.0)[:, None]
    axle = _smoothed(axle, 15)
    tool, antenna = _towed(axle, drill)

    on_s, off_s, polygons = [], [], []
    for i, line in enumerate(lines, start=1):
        mine = np.flatnonzero(number == i)
        went = (tool[mine] - line.start) @ line.ahead
        a, b = np.interp([0.0, (line.stop - line.start) @ line.ahead], went, time[mine])
        polygons.append(_swath(time[mine], tool[mine], a, b, drill.width_m))
        on_s.append(a)
        off_s.append(b)

    kept = np.arange(int(rng.integers(round(1 / (hz * _DT_S)))), len(time), round(1 / (hz * _DT_S)))
    metered = time[kept] + drill.product_lag_s
    pass_at = np.searchsorted(np.array(on_s), metered, side="right") - 1
    working = (pass_at >= 0) & (metered < np.array(off_s)[np.maximum(pass_at, 0)])
    seen = antenna[kept] + error[kept] + rng.normal(0.0, 1.0, (len(kept), 2)) * receiver.white_m
    lon, lat = lonlat_of(seen[:, 0], seen[:, 1], MISSOURI)
    rates = {SEED: np.where(working, RATE, 0.0)}
    track = Track("simulated.csv", time[kept] + START_S, lon, lat, working=working, rates=rates)
    operation = Operation(
        "job",
        Field("job", on_earth(field, MISSOURI, 0.0, (0.0, 0.0))),
        told or drill,
        (track,),
        (Application(Product(SEED), RATE),),
        settings=settings or Settings(),
    )
    swaths = np.array(polygons)
    return _with_truth(operation, drill, field, swaths, tool[kept], error[kept], meter)


def _with_truth(
    operation: Operation,
    drill: Implement,
    field: BaseGeometry,
    polygons: np.ndarray,
    tool: Floats,
    error: Floats,
    meter: float,
) -> Simulated:
    covered = shapely.union_all(polygons)
    i, j = shapely.STRtree(polygons).query(polygons, predicate="intersects")
    laps = shapely.intersection(polygons[i[i < j]], polygons[j[i < j]])
    inside = shapely.intersection(polygons, field)
    covered_m2 = shapely.area(shapely.intersection(covered, field))
    missed = shapely.difference(field, covered)
    return Simulated(
        operation,
        drill,
        field,
        polygons,
        tool,
        error,
        missed,
        float(covered_m2),
        float(missed.area),
        float(shapely.intersection(shapely.union_all(laps), field).area),
        float(shapely.area(inside).sum() - covered_m2),
        float(covered.area - covered_m2),
        meter,
    )


def _lines(
    rng: np.random.Generator, driver: Driver, width: float, length: float, passes: int, rounds: int
) -> tuple[list[_Line], BaseGeometry]:
    """Headland passes round by round, outermost first, then the inner ones; and the field."""
    scatter = 0.01 if driver.steered else driver.scatter_m

    def gaps(count: int) -> Floats:
        return rng.normal(driver.gap_m, scatter, count)

    def edges(gap: Floats) -> Floats:
        """Outer edges of passes stacked on a line, each after the ground left before it."""
        return np.cumsum(np.append(0.0, width + gap))

    inner = gaps(passes)
    if driver.missed_m:
        inner[1 + rng.integers(passes - 1)] = driver.missed_m
    # Upwards: the lower headland, the inner passes, the upper headland; likewise across.
    stack = np.concatenate([gaps(rounds), inner, gaps(rounds)])
    edge = edges(stack)
    middle = edge[1:] - width / 2
    top = edge[-1] + rng.normal(-0.1, scatter)
    west = edges(gaps(rounds))
    low, high = west[-1], west[-1] + length
    east = high + edges(gaps(rounds))
    right = east[-1] + rng.normal(-0.1, scatter)

    def end() -> float:
        return float(rng.normal(driver.end_m, driver.end_scatter_m))

    lines = []
    for k in range(rounds):
        bottom, upper = middle[k], middle[-1 - k]
        left, far = west[k + 1] - width / 2, east[rounds - k] - width / 2
        # Nobody stops at the fence to the centimetre.
        a, b, c, d = rng.normal(0.2, 0.4, 4)
        lines.append(_Line(np.array([a, bottom]), np.array([right - b, bottom])))
        y0, y1 = edge[rounds], middle[-rounds] - width / 2
        lines.append(_Line(np.array([far, y0 + end()]), np.array([far, y1 - end()])))
        lines.append(_Line(np.array([right - c, upper]), np.array([d, upper])))
        lines.append(_Line(np.array([left, y1 - end()]), np.array([left, y0 + end()])))
    for i in range(passes):
        y = middle[rounds + i]
        a, b = np.array([low + end(), y]), np.array([high - end(), y])
        lines.append(_Line(a, b) if i % 2 == 0 else _Line(b, a))
    late = driver.late_m
    lines = [_Line(a.start + late * a.ahead, a.stop + late * a.ahead) for a in lines]
    return lines, shapely.box(0.0, 0.0, right, top)


def _path(
    lines: list[_Line], speed: float, tool_behind: float, lead_m: Floats
) -> tuple[Floats, Floats, Floats, np.ndarray]:
    """The axle's path at every tenth of a second, and the pass that each place belongs to.

    Each pass is driven straight from ``lead_m`` before work begins.
    """
    step = speed * _DT_S
    points, number = [], []
    for i, line in enumerate(lines, start=1):
        first = line.start - (lead_m[i - 1] - tool_behind) * line.ahead
        last = line.stop + (_TAIL_M + tool_behind) * line.ahead
        if points:
            end, way = points[-1][-1], lines[i - 2].ahead
            reach = max(10.0, float(np.hypot(*(first - end))) / 3)
            u = np.linspace(0.0, 1.0, 400)[1:-1, None]
            b, c = end + reach * way, first - reach * line.ahead
            curve = (1 - u) ** 3 * end + 3 * u * (1 - u) ** 2 * b + 3 * u**2 * (1 - u) * c
            points.append(curve + u**3 * first)
            number.append(np.zeros(len(u), dtype=int))
        count = int(np.hypot(*(last - first)) / step)
        u = np.linspace(0.0, 1.0, count)[:, None]
        points.append(first + u * (last - first))
        number.append(np.full(count, i))
    path, of = np.concatenate(points), np.concatenate(number)
    went = np.append(0.0, np.cumsum(np.hypot(*np.diff(path, axis=0).T)))
    at = np.arange(0.0, went[-1], step)
    near = np.searchsorted(went, at, side="right") - 1
    return at / speed, *(np.interp(at, went, path[:, k]) for k in (0, 1)), of[near]


def _along(x: Floats, y: Floats) -> Floats:
    way = np.column_stack([np.gradient(x), np.gradient(y)])
    return way / np.hypot(*way.T)[:, None]


def _smoothed(points: Floats, count: int) -> Floats:
    """Running mean, so that no axle is asked to jump sideways between two passes."""
    kernel = np.ones(count) / count
    padded = np.pad(points, ((count // 2, count // 2), (0, 0)), mode="edge")
    return np.column_stack([np.convolve(padded[:, k], kernel, mode="valid") for k in (0, 1)])


def _towed(axle: Floats, drill: Implement) -> tuple[Floats, Floats]:
    """Middle of the tool line, and the antenna, for the last axle's path."""
    ahead = _along(*axle.T)
    tool = axle - drill.tool_behind_m * ahead
    point = axle
    for unit in reversed(drill.tow):
        point = point + unit.hitch_to_axle_m * _along(*point.T)
    way = _along(*point.T)
    across = np.column_stack([-way[:, 1], way[:, 0]])
    return tool, point + drill.antenna_ahead_m * way + drill.antenna_left_m * across


def _errors(
    rng: np.random.Generator, receiver: Receiver, time: Floats, number: np.ndarray, speed: float
) -> Floats:
    """What the receiver is off at every moment; between two passes it goes over to the next."""
    out = np.zeros((len(time), 2))
    work = np.flatnonzero(number)
    constant = rng.normal(0.0, receiver.drift_m, (number.max() + 1, 2))
    stretch = np.floor(time * speed / _CORRELATION_M).astype(int)
    within = rng.normal(0.0, receiver.within_m, (stretch[-1] + 1, 2))
    for k in (0, 1):
        out[:, k] = np.interp(time, time[work], constant[number[work], k]) + within[stretch, k]
        if receiver.wander_m:
            keep = np.exp(-_DT_S / receiver.memory_s)
            kick = rng.normal(0.0, receiver.wander_m, len(time))
            kick[1:] *= np.sqrt(1 - keep**2)
            out[:, k] += lfilter([1.0], [1.0, -keep], kick)
    return out


def _weave(rng: np.random.Generator, sigma: float, count: int, speed: float) -> Floats:
    """A smooth random sidestep, alike over some 30 m."""
    knots = int(count * _DT_S * speed / (_CORRELATION_M / 2)) + 4
    coarse = rng.normal(0.0, sigma, knots)
    at = np.linspace(0, knots - 1, count)
    return np.interp(at, np.arange(knots), coarse) * np.sqrt(1.5)


def _swath(time: Floats, tool: Floats, on_s: float, off_s: float, width: float) -> BaseGeometry:
    """Ground of one pass between two moments."""
    at = np.concatenate([[on_s], time[(time > on_s) & (time < off_s)][::5], [off_s]])
    point = np.column_stack([np.interp(at, time, tool[:, k]) for k in (0, 1)])
    way = _along(*point.T)
    side = width / 2 * np.column_stack([-way[:, 1], way[:, 0]])
    outline = np.concatenate([point + side, (point - side)[::-1]])
    return shapely.make_valid(shapely.polygons(outline))


def off_by(drill: Implement, rng: np.random.Generator) -> Implement:
    """The drill as somebody measured it: its figures off by what its error allows."""

    def drawn(name: str) -> float:
        doubt = getattr(drill.error, name)
        return float(rng.normal(0.0, doubt.sigma) + rng.uniform(doubt.low, doubt.high))

    return replace(
        drill,
        tool_behind_m=drill.tool_behind_m - drawn("behind_m"),
        antenna_left_m=drill.antenna_left_m - drawn("left_m"),
        product_lag_s=drill.product_lag_s - drawn("lag_s"),
        width_m=drill.width_m - drawn("width_m"),
    )
