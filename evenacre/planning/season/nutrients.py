"""What was put down in a season: products and nutrients by field and zone."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from evenacre.coverage.amounts import ELEMENT_IN_OXIDE, elements
from evenacre.model import Operation, OperationPlan, Product
from evenacre.model.audit_result import AuditResult, ProductResult
from evenacre.planning.intervals import Interval, Part, scaled, sum_90, told

UNZONED = "in no zone"
_NOTHING = 1e-6  # of a field's total: slivers between zones drawn by hand are no zone


@dataclass(frozen=True)
class AuditedJob:
    """An operation as audited, beside what was planned of it."""

    plan: OperationPlan | Operation
    result: AuditResult

    def product(self, name: str) -> Product:
        """Return what is known of a product; one named by the log alone is bare."""
        known = {a.product.name: a.product for a in self.plan.applications}
        return known.get(name, Product(name, {}, kind="other"))

    def content(self, name: str, nutrient: str) -> float:
        """Mass fraction of a nutrient in a product."""
        return content(self.product(name).analysis, nutrient)


@dataclass(frozen=True)
class Placement:
    """One product of one operation: a line for a landlord, lender or agency."""

    field: str
    operation: str
    date: str
    product: str
    kind: str
    analysis: Mapping[str, float]  # percent by mass in label terms
    rate_kg_per_m2: float  # mean over the covered ground of the field
    area_m2: float  # covered ground of the field
    # On the field, and beyond its boundary or on unworkable ground
    total_kg: float
    outside_kg: float
    amounts_from: str  # ``"flow"``, ``"rate"`` or ``"target"``
    method: str  # how it was placed, as the season says; empty when it does not
    sources: tuple[str, ...]  # the logs
    area_sigma_m2: float | None = None  # standard uncertainty of the area
    # 90 % intervals by key; empty where nothing tells
    interval_90: Mapping[str, Interval] = dataclasses.field(default_factory=dict)


@dataclass(frozen=True)
class ProductTotal:
    """One product of the whole season."""

    product: str
    # On the fields, and beyond their boundaries or on unworkable ground
    total_kg: float
    outside_kg: float
    # 90 % intervals by key; empty where nothing tells
    interval_90: Mapping[str, Interval] = dataclasses.field(default_factory=dict)
    # What makes each up, job by job
    total_each: tuple[float, ...] = ()
    outside_each: tuple[float, ...] = ()


@dataclass(frozen=True)
class SetbackPlacement:
    """Product found inside a setback, and where."""

    field: str
    operation: str
    date: str
    product: str
    setback: str
    area_m2: float
    applied_kg: float
    lon: float
    lat: float
    # 90 % intervals by key; empty where nothing tells
    interval_90: Mapping[str, Interval] = dataclasses.field(default_factory=dict)


@dataclass(frozen=True)
class NutrientAmount:
    """A nutrient on a field or a zone, from every product of every operation."""

    field: str  # empty for the whole season
    zone: str | None  # None for the whole field; ``UNZONED`` for its ground in no zone
    # In label terms
    nutrient: str
    kg: float
    # The same as the element
    element: str
    element_kg: float
    area_m2: float  # of the workable ground of the field or zone, covered or not
    # 90 % intervals by key; empty where nothing tells
    interval_90: Mapping[str, Interval] = dataclasses.field(default_factory=dict)
    kg_each: tuple[float, ...] = ()  # what makes up that of the season, field by field


def content(analysis: Mapping[str, float], nutrient: str) -> float:
    """Mass fraction of a nutrient, named in label terms (``"P2O5"``) or as element (``"P"``)."""
    named = {**elements(dict(analysis)), **analysis}
    return named.get(nutrient, 0.0) / 100.0


def element_of(nutrient: str) -> str:
    """Return the element of a nutrient in either way of naming it."""
    return ELEMENT_IN_OXIDE.get(nutrient, (nutrient, 1.0))[0]


def placements(jobs: Iterable[AuditedJob]) -> list[Placement]:
    """One line for every product of every operation, in order."""
    return [
        Placement(
            field=job.result.field,
            operation=job.result.operation,
            date=job.result.date,
            product=p.product,
            kind=job.product(p.product).kind,
            analysis=job.product(p.product).analysis,
            rate_kg_per_m2=p.mean_rate_kg_per_m2,
            area_m2=job.result.covered_area_m2,
            total_kg=p.applied_in_field_kg,
            outside_kg=p.outside_kg,
            amounts_from=p.source,
            method=job.plan.method,
            sources=job.result.sources,
            area_sigma_m2=job.result.uncertainty.get("covered_area_m2"),
            interval_90=told(
                total_kg=p.interval_90.get("applied_in_field_kg"),
                outside_kg=p.interval_90.get("outside_kg"),
                area_m2=job.result.interval_90.get("covered_area_m2"),
            ),
        )
        for job in jobs
        for p in job.result.products
    ]


def product_totals(jobs: Iterable[AuditedJob]) -> list[ProductTotal]:
    """Every product over all operations, in order of first mention."""
    placed: dict[str, list[tuple[AuditedJob, ProductResult]]] = {}
    for job in jobs:
        for p in job.result.products:
            placed.setdefault(p.product, []).append((job, p))

    def in_all(rows: list[tuple[AuditedJob, ProductResult]]) -> Interval | None:
        ends = ((p.interval_90.get("applied_in_field_kg"), id(job)) for job, p in rows)
        return sum_90(Part(interval, ground, rows[0][1].product) for interval, ground in ends)

    return [
        ProductTotal(
            product=name,
            total_kg=sum(p.applied_in_field_kg for _, p in rows),
            outside_kg=sum(p.outside_kg for _, p in rows),
            total_each=tuple(p.applied_in_field_kg for _, p in rows),
            outside_each=tuple(p.outside_kg for _, p in rows),
            interval_90=told(total_kg=in_all(rows)),
        )
        for name, rows in placed.items()
    ]


def setback_placements(jobs: Iterable[AuditedJob]) -> list[SetbackPlacement]:
    """Every product found inside a setback."""
    return [
        SetbackPlacement(
            field=job.result.field,
            operation=job.result.operation,
            date=job.result.date,
            product=p.product,
            setback=s.name,
            area_m2=s.area_m2,
            applied_kg=s.applied_kg,
            lon=s.lon,
            lat=s.lat,
            interval_90=s.interval_90,
        )
        for job in jobs
        for p in job.result.products
        for s in p.setbacks
    ]


def by_field(jobs: Iterable[AuditedJob]) -> dict[str, list[AuditedJob]]:
    """Group jobs by field, in order of first mention."""
    grouped: dict[str, list[AuditedJob]] = {}
    for job in jobs:
        grouped.setdefault(job.result.field, []).append(job)
    return grouped


def reference(jobs: Sequence[AuditedJob]) -> AuditResult:
    """Return the result that stands for a field's ground: the one that knows most of it.

    With a boundary all agree; without one each draws its own from its swaths.
    """
    return max((job.result for job in jobs), key=lambda r: (r.boundary_given, r.workable_area_m2))


def nutrient_amounts(jobs: Sequence[AuditedJob]) -> list[NutrientAmount]:
    """Nutrients of each field and zone, summed over products and operations.

    Zones of a field follow the field itself. A nutrient that nothing carries is left out.
    """
    return [row for field in by_field(jobs).values() for row in _field_amounts(field)]


def season_amounts(jobs: Sequence[AuditedJob]) -> list[NutrientAmount]:
    """Nutrients of the whole season."""
    whole = [row for row in nutrient_amounts(jobs) if row.zone is None]
    area = sum(reference(field).workable_area_m2 for field in by_field(jobs).values())
    totals: dict[str, list[float]] = {}
    for row in whole:
        totals.setdefault(row.nutrient, []).append(row.kg)
    made = {
        nutrient: _amount("", None, nutrient, sum(kg), area, parts(jobs, nutrient, None))
        for nutrient, kg in totals.items()
    }
    return [
        dataclasses.replace(one, kg_each=tuple(totals[nutrient])) for nutrient, one in made.items()
    ]


def _field_amounts(jobs: Sequence[AuditedJob]) -> Iterator[NutrientAmount]:
    ground = reference(jobs)
    zones = {str(z.zone): float(z.area_m2) for z in ground.layers["zones"].itertuples()}
    labels = [job.product(p.product).analysis for job in jobs for p in job.result.products]
    carried = [n for label in labels for n, percent in label.items() if percent > 0]
    for nutrient in dict.fromkeys(carried):
        masses = zone_masses(jobs, nutrient)
        total = sum(masses.values())
        rest = ground.workable_area_m2 - sum(zones.values())
        every: dict[str | None, tuple[float, float]]
        every = {None: (total, ground.workable_area_m2)}
        every |= {zone: (masses.get(zone, 0.0), area) for zone, area in zones.items()}
        if zones and masses[UNZONED] > _NOTHING * total:
            every[UNZONED] = masses[UNZONED], max(rest, 0.0)
        for zone, (kg, area) in every.items():
            yield _amount(ground.field, zone, nutrient, kg, area, parts(jobs, nutrient, zone))


def zone_masses(jobs: Iterable[AuditedJob], nutrient: str) -> dict[str, float]:
    """Mass of a nutrient in each zone of one field, and in none; together the field's."""
    masses = {UNZONED: 0.0}
    for job in jobs:
        for p in job.result.products:
            share = job.content(p.product, nutrient)
            for zone in p.zones:
                masses[zone.zone] = masses.get(zone.zone, 0.0) + share * zone.applied_kg
            masses[UNZONED] += share * p.unzoned_kg
    return masses


def parts(jobs: Iterable[AuditedJob], nutrient: str, zone: str | None) -> Iterator[Part]:
    """What makes up a nutrient of a zone (None: whole fields), and how far each may be off."""
    for job in jobs:
        for p in job.result.products:
            share = job.content(p.product, nutrient)
            for interval in _intervals(p, zone) if share else ():
                yield Part(interval, id(job), p.product, share)


def _intervals(p: ProductResult, zone: str | None) -> list[Interval | None]:
    if zone is None:
        return [p.interval_90.get("applied_in_field_kg")]
    if zone == UNZONED:
        return [p.interval_90.get("unzoned_kg")]
    return [z.interval_90.get("applied_kg") for z in p.zones if z.zone == zone]


def _amount(
    field: str,
    zone: str | None,
    nutrient: str,
    kg: float,
    area_m2: float,
    made_of: Iterable[Part],
) -> NutrientAmount:
    ((element, element_kg),) = elements({nutrient: kg}).items()
    ((_, share),) = elements({nutrient: 1.0}).items()
    ends = sum_90(made_of)
    intervals = told(kg=ends, element_kg=scaled(ends, share))
    return NutrientAmount(field, zone, nutrient, kg, element, element_kg, area_m2, intervals)
