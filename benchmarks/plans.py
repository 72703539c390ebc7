"""Time whole plans: the passes of one large odd field, and the interseeding of 40 paddocks.

    python benchmarks/plans.py [--hectares 65] [--paddocks 40] [--jobs 2]

The field is a ring of corners with a pond and a barn in it. The farm's paddocks are as odd,
grazed one after the other over about 120 days; seed is short, and days may be lost to weather.
Both are planned inside a fence and without one. Processor time is that of all processes.
"""

from __future__ import annotations

import argparse
import datetime as dt
import math
import os
import time
from dataclasses import replace

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from evenacre.geo.local_crs import WorkingPlane
from evenacre.model import Field, Grazing, HerdClass, Implement, Paddock, Product, Seeding
from evenacre.planning.interseeding.plan import plan_interseeding
from evenacre.planning.passes.pass_types import Drive
from evenacre.planning.passes.plan import plan_passes

WIDTH_M = 6.096
HECTARE = 1e4
PLANE = WorkingPlane(-92.6, 40.1)


def odd_field(hectares: float, seed: int, x_m: float = 0.0, y_m: float = 0.0) -> BaseGeometry:
    """A field of fourteen corners with a pond and a barn, of so much workable ground."""
    rng = np.random.default_rng(seed)
    angle = np.linspace(0, 2 * np.pi, 14, endpoint=False) + rng.uniform(-0.15, 0.15, 14)
    far = rng.uniform(0.75, 1.2, 14)
    outline = shapely.Polygon(np.column_stack([far * np.cos(angle), far * np.sin(angle)]))
    pond = shapely.Point(0.2, 0.3).buffer(0.08)
    barn = affinity.rotate(shapely.box(-0.4, -0.3, -0.25, -0.2), 20)
    shape = outline.difference(shapely.union_all([pond, barn]))
    scale = math.sqrt(hectares * HECTARE / shape.area)
    placed = affinity.translate(affinity.scale(shape, scale, scale, origin=(0, 0)), x_m, y_m)
    return shapely.transform(placed, lambda p: np.column_stack(PLANE.lonlat(p[:, 0], p[:, 1])))


def processor_s() -> float:
    """Processor time so far of this process and of the workers that have ended."""
    return sum(os.times()[:4])


def time_passes(hectares: float, *, fenced: bool) -> None:
    """Plan the passes of one field."""
    field = Field("field", odd_field(hectares, 7), fenced=fenced)
    started, used = time.perf_counter(), processor_s()
    plan = plan_passes(field, Drive(WIDTH_M))
    took, used = time.perf_counter() - started, processor_s() - used
    print(
        f"{plan.workable_m2 / HECTARE:.1f} ha, {'fenced' if fenced else 'open'}, "
        f"{len(plan.passes)} passes: {took:.2f} s, processor {used:.2f} s; covers "
        f"{plan.covered_m2 / plan.workable_m2:.3%}, overlap "
        f"{plan.overlap_m2 / plan.workable_m2:.2%}, field efficiency {plan.field_efficiency:.0%}"
    )


def time_interseeding(paddocks: int, jobs: int, *, fenced: bool) -> None:
    """Plan the moves, windows, passes, schedule, loads and chances of a farm."""
    rng = np.random.default_rng(3)
    sizes = rng.uniform(3, 8, paddocks)
    across = math.ceil(math.sqrt(paddocks))
    places = [
        Paddock(
            Field(
                f"paddock {n + 1}",
                odd_field(size, n, n % across * 400.0, n // across * 400.0),
                fenced=fenced,
            ),
            forage_kg_per_m2=0.2,
            growth_kg_per_m2_per_day=0.001,
            value=float(rng.choice([1.0, 1.5, 2.0])),
        )
        for n, size in enumerate(sizes)
    ]
    seed = Product("red clover", kind="seed")
    rate = 10.0 / HECTARE
    eaten = float(sizes.sum()) * HECTARE * 0.2 * 0.5 / 110
    grazing = Grazing(
        herd=(HerdClass("cows", 100, 550.0, eaten / 100),),
        paddocks=tuple(places),
        start=dt.date(2026, 5, 1),
        rest_days=35,
    )
    seeding = Seeding(
        seed,
        Implement(WIDTH_M, rows=32),
        rate,
        0.9 * rate,
        1.2 * rate,
        hours_most_s=6 * 3600.0,
        lost_chance=0.25,
        load_kg=400.0,
    )
    for words, kg in (("seed to spare", None), ("seed short", 0.7 * sizes.sum() * 10.0)):
        started, used = time.perf_counter(), processor_s()
        asked = replace(seeding, on_hand_kg=kg)
        plan = plan_interseeding(grazing, asked, time_zone="America/Chicago", jobs=jobs)
        took, used = time.perf_counter() - started, processor_s() - used
        worth = sum(p.paddock.value * p.passes.covered_m2 for p in plan.paddocks if p.passes)
        proof = "proven" if plan.schedule.proven else f"gap {plan.schedule.gap:.2%}"
        print(
            f"{paddocks} paddocks, {'fenced' if fenced else 'open'}, {len(plan.days)} days, "
            f"{words}: {took:.1f} s, processor {used:.1f} s; value seeded "
            f"{plan.schedule.value / worth:.1%} ({proof})"
        )


def main() -> None:
    """Print what was measured in this run."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hectares", type=float, default=65.0)
    parser.add_argument("--paddocks", type=int, default=40)
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    options = parser.parse_args()
    for fenced in (False, True):
        time_passes(options.hectares, fenced=fenced)
    for fenced in (False, True):
        time_interseeding(options.paddocks, options.jobs, fenced=fenced)


if __name__ == "__main__":
    main()
