"""A small hand-made plan of interseeding with everything a plan can hold, for the reports.

Six paddocks in two rows of three. ``Hill`` is not to be seeded, ``Creek 3`` never opens,
``Draw`` is seeded only in part and ``Bottom`` on two days; every sum is read off the parts.
"""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon, box
from shapely.geometry.base import BaseGeometry

from evenacre.geo.local_crs import WorkingPlane
from evenacre.model import (
    Booking,
    Field,
    Grazing,
    HerdClass,
    Implement,
    Paddock,
    Product,
    Seeding,
    Stay,
)
from evenacre.model.finding import Finding, reader_findings
from evenacre.planning.interseeding.plan_types import (
    CartFill,
    GrazingPlan,
    InterseedPlan,
    PaddockPlan,
    PlannedStay,
    Relaxation,
    Rule,
    SeedingSchedule,
    SeedingWindow,
    Shortage,
    Visit,
    WeatherTold,
    WorkDay,
)
from evenacre.planning.passes.pass_types import Drive, PassPlan, PlannedPass

NAMES = ("Creek 1", "Bottom", "Creek 3", "Hill", "Draw", "Oak Flat")
START = dt.date(2026, 4, 6)
DAYS = 42
WIDTH = 6.096
RATE = 0.00145  # kg/m2, 12.9 lb/ac
LOAD = 60.0
ON_HAND = 170.0
HOUR = 3600.0

# The days each paddock may be seeded on, counted from the start; nothing: none.
OPEN = {0: range(4, 18), 1: range(9, 23), 2: range(0), 4: range(24, 31), 5: range(29, 42)}
# Paddock, day, share of it, start, end.
DONE = (
    (0, 5, 1.0, 8.0, 10.5),
    (1, 9, 0.5, 7.5, 9.25),
    (1, 10, 0.5, 7.5, 9.0),
    (4, 25, 0.6, 8.0, 9.8),
    (5, 30, 1.0, 7.0, 10.0),
)


def said(text: str) -> tuple[Finding, ...]:
    """A warning in these words."""
    return tuple(reader_findings([text]))


def day(number: int) -> dt.date:
    """A day of the plan."""
    return START + dt.timedelta(days=number)


def outline(place: int, lon: float, lat: float) -> Polygon:
    """The outline of one paddock, degrees; the last is cut at a slant and has a pond in it."""
    plane = WorkingPlane(lon, lat)
    west, south = 260.0 * (place % 3) - 390.0, 135.0 * (place // 3) - 135.0
    shape: BaseGeometry = box(west, south, west + 255.0, south + 130.0)
    if place == 5:
        shape = Polygon(
            [
                (west, south),
                (west + 255, south + 20),
                (west + 230, south + 130),
                (west, south + 110),
            ],
            [
                Polygon(
                    [(west + 90, south + 50), (west + 120, south + 50), (west + 105, south + 75)]
                ).exterior.coords
            ],
        )

    def degrees(xy: np.ndarray) -> np.ndarray:
        return np.column_stack(plane.lonlat(xy[:, 0], xy[:, 1]))

    return shapely.transform(shape, degrees)


def drive(field: Field) -> PassPlan:
    """One round and straight passes over a field, in figures that add up."""
    assert field.boundary is not None
    plane = WorkingPlane.around(field.boundary)
    ground = plane.project(field.boundary)
    left, low, right, high = ground.bounds
    inner = ground.buffer(-WIDTH / 2)
    passes = [PlannedPass("round", 1, LineString(shapely.get_parts(inner)[0].exterior.coords))]
    for number in range(1, int((high - low - 2 * WIDTH) / WIDTH) + 1):
        y = low + WIDTH * (number + 0.5)
        line = ground.buffer(-WIDTH).intersection(LineString([(left, y), (right, y)]))
        passes.extend(
            PlannedPass("pass", number, part if number % 2 else shapely.reverse(part))
            for part in shapely.get_parts(line)
            if part.length > 1.0
        )
    turns = tuple(
        LineString([a.line.coords[-1], b.line.coords[0]]) for a, b in itertools.pairwise(passes)
    )
    work_m = sum(p.line.length for p in passes)
    turn_m = sum(t.length for t in turns)
    driven = work_m * WIDTH
    covered = 0.999 * ground.area
    return PassPlan(
        field=field.name,
        plane=plane,
        drive=Drive(width_m=WIDTH, rounds=1, heading_rad=0.0),
        workable=ground,
        passes=tuple(passes),
        turns=turns,
        workable_m2=ground.area,
        covered_m2=covered,
        overlap_m2=0.02 * ground.area,
        excess_m2=max(driven - covered, 0.0),
        missed_m2=0.001 * ground.area,
        outside_m2=0.0,
        work_m=work_m,
        turn_m=turn_m,
        work_s=work_m / 2.2352,
        turn_s=turn_m / 1.5,
        findings=said(f"A corner of {field.name} is too sharp for the drill.")
        if field.boundary.interiors
        else (),
    )


def window(place: int, name: str, stays: Sequence[PlannedStay]) -> SeedingWindow:
    """The window of one paddock; beside the open days the rules say what keeps it shut."""
    open_days = np.isin(np.arange(DAYS), list(OPEN[place]))
    first = OPEN[place].start if len(OPEN[place]) else DAYS
    blocked = {rule: np.zeros(DAYS, dtype=bool) for rule in Rule}
    if len(OPEN[place]):
        before = np.arange(DAYS) < first
        blocked[Rule.HERD] = before
        blocked[Rule.CLOSE] = ~open_days & ~before
    else:
        blocked[Rule.RESIDUAL][:] = True
    here = [s.stay for s in stays if s.stay.paddock == name]
    back = [s.enter for s in here if len(OPEN[place]) and s.enter > day(first)]
    return SeedingWindow(
        paddock=name,
        opens=day(first) if len(OPEN[place]) else None,
        closes=day(OPEN[place][-1]) if len(OPEN[place]) else None,
        opened_by=Rule.HERD if len(OPEN[place]) else Rule.RESIDUAL,
        closed_by=Rule.CLOSE if place != 5 else None,
        left=here[0].leave if here else None,
        back=back[0] if back else None,
        blocked=blocked,
    )


def make_plan(
    *,
    names: Sequence[str] = NAMES,
    product: Product | None = None,
    lon: float = -92.6,
    lat: float = 40.1,
) -> InterseedPlan:
    """The whole plan."""
    seed = product or Product(
        "meadow mix", kind="seed", parts=(("red clover", 3.0), ("orchardgrass", 2.0))
    )
    paddocks = tuple(
        Paddock(
            Field(name, outline(place, lon, lat)),
            forage_kg_per_m2=0.18,
            growth_kg_per_m2_per_day=0.002,
            seeded=place != 3,
        )
        for place, name in enumerate(names)
    )
    herd = GrazingPlan(
        stays=tuple(
            PlannedStay(
                Stay(names[place], day(enter), day(leave)),
                rested_days=None if enter < 34 else 30,
                entry_kg_per_m2=0.18 + 0.002 * enter,
                residual_kg_per_m2=0.09,
                available_kg=0.5 * (0.18 + 0.002 * enter) * 33_150.0,
                eaten_kg=570.0 * (leave - enter),
            )
            for place, enter, leave in (
                (0, 0, 4),
                (1, 4, 9),
                (2, 9, 14),
                (3, 14, 19),
                (4, 19, 24),
                (5, 24, 29),
                (0, 34, 39),
            )
        ),
        demand_kg_per_day=570.0,
        supply_kg=18_400.0,
        needed_kg=19_380.0,
        shortages=(
            Shortage("forage", names[2], day(13), 1.2, 684.0),
            Shortage("rest", names[0], day(34), 5.0, 2850.0),
        ),
        findings=said(f"Forage in {names[2]} is short by 1.2 days."),
    )
    plans = {place: drive(p.field) for place, p in enumerate(paddocks) if p.seeded}
    visits = tuple(
        Visit(
            paddock=names[place],
            day=day(number),
            start_s=start * HOUR,
            end_s=end * HOUR,
            area_m2=share * plans[place].covered_m2,
            seed_kg=share * plans[place].work_m * WIDTH * RATE,
            share=share,
        )
        for place, number, share, start, end in DONE
    )
    work = tuple(
        WorkDay(
            day(number),
            start_s=7.0 * HOUR,
            full_s=(0.0 if number in (3, 15) else 4.0 if number == 12 else 8.0) * HOUR,
            planned_s=(0.0 if number in (3, 15) else 3.2 if number == 12 else 6.4) * HOUR,
            lost=number in (3, 15),
            booked_s=4.0 * HOUR if number == 12 else 0.0,
            booked_for=("oats on the bench",) if number == 12 else (),
        )
        for number in range(DAYS)
    )
    used = sum(v.seed_kg for v in visits)
    seeding = Seeding(
        product=seed,
        implement=Implement(width_m=WIDTH, rows=32, rows_known=True),
        rate_kg_per_m2=0.0015,
        least_rate_kg_per_m2=0.0014,
        most_rate_kg_per_m2=0.0017,
        on_hand_kg=ON_HAND,
        lost_days=(day(3), day(15)),
        lost_chance=0.2,
        bookings=(Booking(day(12), day(12), "oats on the bench", 4.0 * HOUR),),
        load_kg=LOAD,
        withholding_days=30,
        treated=True,
    )
    windows = {place: window(place, names[place], herd.stays) for place in plans}
    chances = {0: 0.97, 1: 0.999, 4: 0.9, 5: 0.832}
    share = np.zeros((len(plans), DAYS))
    for place, number, part, *_ in DONE:
        share[list(plans).index(place), number] = part
    value = sum(v.area_m2 for v in visits)
    return InterseedPlan(
        grazing=Grazing(
            (HerdClass("cows", 40, 590.0, 13.0), HerdClass("calves", 10, 200.0, 5.0)),
            paddocks,
            start=START,
        ),
        seeding=seeding,
        herd=herd,
        days=work,
        paddocks=tuple(
            _paddock(
                place,
                paddock,
                herd,
                windows.get(place),
                plans.get(place),
                visits,
                chances.get(place),
                seeding.rest_days,
            )
            for place, paddock in enumerate(paddocks)
        ),
        visits=visits,
        fills=_fills(visits),
        schedule=SeedingSchedule(
            share=share,
            fills=np.bincount([(f.day - START).days for f in _fills(visits)], minlength=DAYS),
            rate_kg_per_m2=RATE,
            value=value,
            bound=value,
            proven=True,
            gap=0.0,
        ),
        seed_used_kg=used,
        seed_left_kg=ON_HAND - used,
        chance_all=0.74,
        weather=WeatherTold(0.2, 1.25, None),
        relaxations=(
            Relaxation("seed", None, 272.0),
            Relaxation(Rule.RESIDUAL, names[2], 2.0),
            Relaxation("booked: oats on the bench", None, 1.5 * HOUR),
        ),
        findings=said(f"Forage in {names[2]} is short by 1.2 days."),
    )


def _paddock(
    place: int,
    paddock: Paddock,
    herd: GrazingPlan,
    opening: SeedingWindow | None,
    passes: PassPlan | None,
    visits: Sequence[Visit],
    chance: float | None,
    rest_days: int,
) -> PaddockPlan:
    name = paddock.field.name
    here = tuple(v for v in visits if v.paddock == name)
    assert paddock.field.boundary is not None
    ground = WorkingPlane.around(paddock.field.boundary).project(paddock.field.boundary)
    return PaddockPlan(
        paddock=paddock,
        area_m2=ground.area,
        workable_m2=ground.area,
        stays=tuple(s for s in herd.stays if s.stay.paddock == name),
        window=opening,
        passes=passes,
        visits=here,
        seeded_m2=sum(v.area_m2 for v in here),
        seed_kg=sum(v.seed_kg for v in here),
        chance=chance if here else None,
        graze_from=here[-1].day + dt.timedelta(days=rest_days) if here else None,
    )


def _fills(visits: Sequence[Visit]) -> tuple[CartFill, ...]:
    """Loads of the cart, each filled when the one before is empty."""
    fills: list[CartFill] = []
    total = sum(v.seed_kg for v in visits)
    for number in range(1, math.ceil(total / LOAD) + 1):
        first, last = (number - 1) * LOAD, min(number * LOAD, total)
        serves: dict[str, float] = {}
        done, at = 0.0, None
        for v in visits:
            part = min(last, done + v.seed_kg) - max(first, done)
            if part > 1e-9:
                serves[v.paddock] = serves.get(v.paddock, 0.0) + part
                at = at or v
            done += v.seed_kg
        assert at is not None
        fills.append(
            CartFill(number, at.day, at.start_s, at.paddock, last - first, tuple(serves.items()))
        )
    return tuple(fills)


def empty_plan() -> InterseedPlan:
    """A plan in which nothing can be seeded: no day is open and no herd is known."""
    full = make_plan()
    name = "Creek 3"
    one = next(p for p in full.paddocks if p.paddock.field.name == name)
    assert one.passes is not None
    lone = PaddockPlan(
        one.paddock,
        one.area_m2,
        one.workable_m2,
        (),
        one.window,
        one.passes,
        (),
        0.0,
        0.0,
        None,
        None,
    )
    return InterseedPlan(
        grazing=Grazing((), (one.paddock,)),
        seeding=Seeding(
            product=Product("oats", kind="seed"),
            implement=Implement(width_m=WIDTH),
            rate_kg_per_m2=RATE,
            least_rate_kg_per_m2=RATE,
            most_rate_kg_per_m2=RATE,
        ),
        herd=GrazingPlan((), 0.0, None, 0.0),
        days=full.days,
        paddocks=(lone,),
        visits=(),
        fills=(),
        schedule=SeedingSchedule(
            np.zeros((1, DAYS)), np.zeros(DAYS, dtype=int), RATE, 0.0, 0.0, True, 0.0
        ),
        seed_used_kg=0.0,
        seed_left_kg=None,
        chance_all=None,
        relaxations=(Relaxation(Rule.RESIDUAL, name, 1.0),),
    )


def assert_days_end_with_a_pass(plan: InterseedPlan) -> None:
    """Each visit is of the passes it names, the first of them the one after those before it."""
    for paddock in plan.paddocks:
        if paddock.passes is None or not paddock.visits:
            continue
        lengths = np.array([run.line.length for run in paddock.passes.passes])
        done = np.concatenate([[0.0], np.cumsum(lengths) / lengths.sum()])
        by_then, next_pass = 0.0, 1
        for visit in paddock.visits:
            by_then += visit.share
            assert visit.first_pass == next_pass
            assert abs(by_then - done[visit.last_pass]) < 1e-6
            next_pass = visit.last_pass + 1
