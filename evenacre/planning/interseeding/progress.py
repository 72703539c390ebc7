"""A season under way: what is seeded of each paddock so far, and the passes that are left."""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely

from evenacre.geo.overlay import Geometries, union, valid, without
from evenacre.model import InputFile, PlannedSeeding, Product, Seeding
from evenacre.model.audit_result import AuditResult
from evenacre.model.finding import Finding
from evenacre.planning.ground import buffered, overlaid
from evenacre.planning.interseeding.comparison import DoneDay, compare
from evenacre.planning.passes.pass_types import PassPlan, PlannedPass

# Of the tool's width: bare strips between two passes that are narrower are places to fix, and a
# piece of a pass that is shorter than a width is none to go back for.
_GAP = 0.5
_NOTHING = 0.02  # of a paddock's passes: with less left it is done


@dataclass(frozen=True)
class DoneGround:
    """What of a paddock is seeded so far."""

    operations: tuple[str, ...]
    days: tuple[DoneDay, ...]
    area_m2: float  # workable ground covered, once however often
    seed_kg: float | None  # None: neither log nor target tells
    cover: Geometries  # polygons, longitude and latitude

    @property
    def last_day(self) -> dt.date | None:
        """The last day it was seeded on; None where one is not known."""
        known = [one.day for one in self.days]
        return None if None in known else max(filter(None, known), default=None)


@dataclass(frozen=True)
class Progress:
    """A season of seeding as it stands on a day."""

    day: dt.date
    done: Mapping[str, DoneGround] = field(default_factory=dict)  # by paddock
    findings: tuple[Finding, ...] = ()

    @property
    def seed_kg(self) -> float:
        """Seed sown so far, as far as that is known."""
        return sum(d.seed_kg or 0.0 for d in self.done.values())


def progress_of(
    day: dt.date,
    product: Product,
    paddocks: Sequence[str],
    results: Iterable[AuditResult],
    *,
    cart_told: bool = True,
) -> Progress:
    """Take what was seeded from the audits of operations in paddocks, before a day is planned.

    An operation counts when it placed the seed: the product itself, or every part of the blend.
    ``cart_told``: what the cart holds since is known.
    """
    here = [r for r in results if r.field in paddocks]
    planned = PlannedSeeding(product.name, tuple(product.shares), (), InputFile("", ""))
    done: dict[str, DoneGround] = {}
    counted: set[tuple[str, str]] = set()
    for p in compare(planned, here).paddocks:
        own = [r for r in here if r.field == p.name and r.operation in p.operations]
        counted |= {(r.field, r.operation) for r in own}
        cover = np.concatenate(
            [r.layers["cover"].geometry.to_crs(4326).to_numpy(dtype=object) for r in own]
        )
        done[p.name] = DoneGround(p.operations, p.days, p.done_m2, p.applied_kg, cover)
    untold = () if cart_told or not done else (Finding.warning("cart_taken_empty"),)
    return Progress(day, done, (*untold, *_findings(day, product, here, counted, done)))


def _findings(
    day: dt.date,
    product: Product,
    results: Sequence[AuditResult],
    counted: set[tuple[str, str]],
    done: Mapping[str, DoneGround],
) -> Iterator[Finding]:
    for r in results:
        if (r.field, r.operation) not in counted and r.covered_area_m2 > 0:
            placed = tuple(p.product for p in r.products) or ("nothing known",)
            yield Finding.warning(
                "other_seed", operation=r.operation, placed=placed, product=product.name
            ).at(r.field)
    if not done:
        yield Finding.warning("nothing_done")
    for name, ground in done.items():
        if ground.seed_kg is None:
            yield Finding.warning("seed_used_unknown").at(name)
        last = ground.last_day
        if last is None:
            yield Finding.warning("seeding_undated").at(name)
        elif last > day:
            yield Finding.warning("done_later", last=str(last), day=str(day)).at(name)


def seeding_left(seeding: Seeding, progress: Progress) -> Seeding:
    """The seed there still is, and the day that the plan begins."""
    on_hand = seeding.on_hand_kg
    left = None if on_hand is None else max(on_hand - progress.seed_kg, 0.0)
    return replace(seeding, on_hand_kg=left, from_day=progress.day)


def passes_left(plan: PassPlan, cover: Geometries) -> PassPlan:
    """The passes of a plan, or pieces of them, whose ground is not covered (lon, lat) yet.

    They keep their order and direction. Between passes that no longer follow one another the turn
    is taken as the straight way. Ground in strips narrower than half the tool's width is left.
    """
    width_m = plan.drive.width_m
    reach = _GAP / 2 * width_m
    done = buffered(buffered(union(valid(plan.plane.project(cover))), reach), -reach)
    kept: list[tuple[int, PlannedPass]] = []
    for number, run in enumerate(plan.passes):
        left = overlaid(shapely.difference, run.line, done)
        pieces = shapely.get_parts(shapely.line_merge(left))
        along = [(run.line.project(shapely.Point(p.coords[0])), p) for p in pieces]
        for _, piece in sorted(along, key=lambda one: one[0]):
            if piece.length >= min(width_m, run.line.length):
                kept.append((number, replace(run, line=piece)))
    work_m = float(sum(run.line.length for _, run in kept))
    if work_m < _NOTHING * plan.work_m:
        kept, work_m = [], 0.0
    turns = [_turn(plan, one, other) for one, other in itertools.pairwise(kept)]
    turn_m = float(sum(turn.length for turn in turns))
    bare = without(plan.workable, done)
    driven = work_m * width_m
    covered = min(float(bare.area), driven)
    return replace(
        plan,
        passes=tuple(run for _, run in kept),
        turns=tuple(turns),
        pin_runs=(),
        pin_turns=(),
        backs_m=(),
        covered_m2=covered,
        excess_m2=max(driven - covered, 0.0),
        overlap_m2=plan.overlap_m2 * work_m / plan.work_m if plan.work_m else 0.0,
        missed_m2=max(float(bare.area) - covered, 0.0),
        outside_m2=0.0,
        work_m=work_m,
        work_s=work_m / plan.drive.speed_mps,
        turn_m=turn_m,
        turn_s=plan.turn_s * turn_m / plan.turn_m if plan.turn_m else 0.0,
        left=without(plan.left, done),
    )


def _turn(
    plan: PassPlan, one: tuple[int, PlannedPass], other: tuple[int, PlannedPass]
) -> shapely.LineString:
    (before, first), (after, second) = one, other
    begin, end = first.line.coords[-1], second.line.coords[0]
    if after == before + 1 and len(plan.turns) == len(plan.passes) - 1:
        turn = plan.turns[before]
        if turn.length and turn.coords[0] == begin and turn.coords[-1] == end:
            return turn
    return shapely.LineString([begin, end])
