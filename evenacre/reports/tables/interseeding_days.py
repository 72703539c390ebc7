"""Days and loads of an interseeding plan."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any, NamedTuple

from evenacre.language import mark, tr
from evenacre.model import SeedBin
from evenacre.planning.interseeding.plan_types import CartFill, InterseedPlan, Visit
from evenacre.reports import figure_text as figures
from evenacre.reports import quantities as q
from evenacre.reports.column import Column, Table, joined, named, several
from evenacre.reports.printed_ground import shared
from evenacre.reports.sentences import interseeding_words as iw
from evenacre.reports.sentences.passes import spot_record, spot_text
from evenacre.reports.writers.as_html import PageTable, page_table

DAY = q.worded(iw.short_weekday, cell=lambda v: "" if v is None else str(v))
CLOCK = q.worded(iw.clock)
ROUNDED_SHARE = replace(
    q.SHARE, cell=lambda v, _: None if v is None else figures.significant(100 * v, 4)
)
WHOLE_PERCENT = replace(q.SHARE, text=lambda v, _, __: f"{100 * v:.0f} %")
CHANCE = replace(ROUNDED_SHARE, text=lambda v, _, __: iw.chance_text(v))
WORK_TIME = replace(q.HOURS, text=lambda v, _, __: iw.hours_text(v))
_ALWAYS_SHOWN = 20  # lost and booked days in sight


def some(quantity: q.Quantity, nothing: str = "") -> Callable[[Any, q.Display], str]:
    """Write a value that leaves its cell empty when it is none."""
    return lambda v, d: quantity.text(v, d, 3) if v else tr(nothing)


class NumberedVisit(NamedTuple):
    """A visit and its place in the order of time, from 1."""

    order: int
    visit: Visit


VISITS = Table(
    "days",
    (
        named("order", "No.", quantity=q.COUNT),
        named("date=visit.day", "Day", quantity=DAY),
        named("visit.paddock"),
        *several("visit.start_s visit.end_s", None, quantity=CLOCK),
        joined(
            "time",
            "Time",
            lambda v, _: figures.span(iw.clock(v.visit.start_s), iw.clock(v.visit.end_s)),
            "start_s end_s",
        ),
        *several("visit.first_pass visit.last_pass", None, quantity=q.COUNT),
        joined("passes", "Passes", lambda v, _: iw.passes_text(v.visit), "first_pass last_pass"),
        named("visit.area_m2", "Ground"),
        named("visit.share", "Of it", "share of the paddock", WHOLE_PERCENT),
        named("visit.seed_kg"),
    ),
    title="Day by day",
    json="order date start_s end_s share area_m2 seed_kg first_pass last_pass",
    page="order date time paddock passes area_m2 share seed_kg",
    words=5,
    remark="Times include setting up and filling, on a day that weather leaves whole. Passes are "
    "counted as they are driven; one that two days share is done in part on each.",
)


def numbered_visits(plan: InterseedPlan) -> list[NumberedVisit]:
    """Every visit, in order of time."""
    return [NumberedVisit(number, visit) for visit, number in iw.numbered(plan).items()]


class Load(NamedTuple):
    """A fill, and what it is mixed of: kg by part, nothing for a seed that is no blend."""

    fill: CartFill
    parts: Mapping[str, float]
    bags: tuple[float | None, ...]  # of each compartment; None: it does not come in bags


def _served(serves: Sequence[Mapping[str, Any]], d: q.Display) -> Iterator[str]:
    return (f"{to['paddock']} {d.units.mass.text(to['seed_kg'])}" for to in serves)


_SERVED = q.Quantity(
    lambda v, d: "; ".join(_served(v, d)), lambda v, d, _: ", ".join(_served(v, d))
)


def _parts(load: Load) -> list[dict[str, Any]]:
    return [{"product": name, "mass_kg": kg} for name, kg in load.parts.items()]


def _bins(load: Load) -> list[dict[str, Any]]:
    return [
        {
            "compartment": one.name,
            "product": one.product,
            "mass_kg": one.mass_kg,
            "bags": bags,
            "left_kg": one.left_kg,
        }
        for one, bags in zip(load.fill.bins, load.bags, strict=True)
    ]


def _in_bins(load: Load, d: q.Display) -> str:
    told = zip(load.fill.bins, load.bags, strict=True)
    return ", ".join(iw.bin_text(one, bags, d.units) for one, bags in told if one.name or bags)


def _serves(load: Load) -> list[dict[str, Any]]:
    return [{"paddock": name, "seed_kg": kg} for name, kg in load.fill.serves]


_SPOT = q.Quantity(
    lambda v, d: "" if v is None else spot_text(v, d.units), lambda v, d, _: spot_text(v, d.units)
)


def _spot(load: Load) -> dict[str, Any] | None:
    return None if load.fill.spot is None else spot_record(load.fill.spot)


FILLS = Table(
    "fills",
    (
        named("fill.number", "Load", "fill", q.COUNT),
        named("date=fill.day", "Day", quantity=DAY),
        named("fill.start_s", "Time", quantity=CLOCK),
        named("fill.paddock", "Filled at", "filled at"),
        *several("fill.passes_done fill.into_pass", None, quantity=q.NUMBER),
        joined("where", "When", lambda r, _: iw.stop_text(r.fill), "passes_done into_pass"),
        named("spot", "Where", "where", _SPOT, _spot),
        named("fill.left_kg", None, "in the cart before", why="the page tells it of compartments"),
        named("fill.mass_kg", "Weighs", "load"),
        named("compartments", None, None, q.NESTED, _bins),
        joined("put_into", "Put in", _in_bins, "compartments"),
        named("parts", None, None, q.NESTED, _parts),
        named("serves", "Sown in", quantity=_SERVED, of=_serves),
    ),
    title="Loads",
    page="number date start_s paddock where spot serves put_into mass_kg",
    words=8,
)
_MIX = mark(
    "Weigh the parts of each load and mix them before they go in: a blend cannot be topped "
    "up with one of its parts."
)
_SMALLER = mark(
    "A load that is smaller than the cart holds ends with a paddock, a day or a pass: more would "
    "stand in the cart, or run out on the way."
)
_TAKE_OUT = mark(
    "What is left in the cart from an earlier day is taken out before a load goes in, and mixed "
    "into it."
)
_WHOLE = 1.0 - 1e-4  # of a load, from here on


def _part_column(name: str) -> Column:
    def told(load: Load, display: q.Display) -> str:
        texts = shared([*load.parts.values()], display.units.mass)
        return dict(zip(load.parts, texts, strict=True))[name]

    return Column(f"part {name}", lambda load: load.parts[name], q.MASS, name, name, told=told)


def _parts_of(fill: CartFill, parts: Mapping[str, float]) -> dict[str, float]:
    """Mass of each part of a blend in a load, mixed or each in its own compartment."""
    found = dict.fromkeys(parts, 0.0)
    for one in fill.bins or (fill,):
        own = {getattr(one, "product", ""): 1.0}
        for name, part in (own if own.keys() <= parts.keys() else parts).items():
            found[name] += part * one.mass_kg
    return found


def _bags_of(fill: CartFill, bins: Sequence[SeedBin]) -> tuple[float | None, ...]:
    pairs = zip(fill.bins, bins, strict=bool(fill.bins))
    return tuple(one.mass_kg / b.bag_kg if b.bag_kg else None for one, b in pairs)


def loads(plan: InterseedPlan) -> tuple[Table, list[Load]]:
    """Every load, with a column for each part of a blend."""
    product = plan.seeding.product
    parts = product.shares if product.parts else {}
    bins = plan.seeding.bins
    rows = [Load(f, _parts_of(f, parts), _bags_of(f, bins)) for f in plan.fills]
    full_kg = sum(b.load_kg for b in bins)
    smaller = any(f.mass_kg + f.left_kg < _WHOLE * full_kg for f in plan.fills[:-1])
    mixed = bool(parts) and any(b.product == product.name for b in bins)
    stale = plan.seeding.sow_within_days is not None and any(
        after.left_kg > 0 and after.day > before.day for before, after in pairwise(plan.fills)
    )
    remarks = [_SMALLER] * smaller + [_MIX] * mixed + [_TAKE_OUT] * stale
    fills = replace(FILLS, remark=" ".join(map(tr, remarks)))
    if not any(b.name or b.bag_kg for b in bins):
        shown = tuple(c.key for c in FILLS.of("page") if c.key != "put_into")
        fills = replace(fills, page=shown, words=FILLS.words - 1)
    if not parts:
        return fills, rows
    more = tuple(map(_part_column, parts))
    *lead, serves = FILLS.columns
    table = replace(
        fills,
        columns=(*lead, *more, serves),
        json=tuple(FILLS.by_key),
        page=tuple(c.key for c in (*fills.of("page"), *more)),
    )
    return table, rows


WORK_DAYS = Table(
    "work_days",
    (
        named("date=day", "Day", quantity=DAY),
        named("start_s", None, None, CLOCK),
        joined(
            "taken_by",
            "Why",
            lambda d, _: ", ".join([*([tr("lost to weather")] if d.lost else []), *d.booked_for]),
            "lost booked_for",
        ),
        named("full_s", "Left to drill", quantity=WORK_TIME, text=some(WORK_TIME, mark("none"))),
        named("planned_s", None, None, why="the page gives days that weather or others take"),
        named("lost", None, None, q.YES_NO),
        named("booked_s", "Booked", quantity=WORK_TIME, text=some(WORK_TIME)),
        named("booked_for", None, None, q.NAMES),
    ),
    title="Days the drill does not have",
    page="date taken_by booked_s full_s",
    words=2,
    outputs=("json", "page"),
    why="tables of data give the days of seeding",
)


def days_lost_page(plan: InterseedPlan, display: q.Display) -> PageTable:
    """Days that the drill cannot have, or not whole."""
    rows = [d for d in plan.days if d.lost or d.booked_s or d.booked_for]
    table = page_table(WORK_DAYS, rows, display)
    return replace(table, folded=len(rows) > _ALWAYS_SHOWN)
