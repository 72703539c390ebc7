"""The rates that are planned for the machine."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from evenacre.model import OperationPlan, PlannedRate
from evenacre.reports import quantities as q
from evenacre.reports.column import Table, named

SCHEMA = "evenacre/export/1.1"


@dataclass(frozen=True)
class RateRow:
    """A rate on one piece of ground; a zone of None is all ground that no zone has a rate for."""

    field: str
    operation: str
    product: str
    zone: str | None
    kg_per_m2: float
    nutrient: str


def rate_rows(jobs: Iterable[tuple[OperationPlan, tuple[PlannedRate, ...]]]) -> Iterator[RateRow]:
    """Every planned rate of operations, zones first."""
    for job, rates in jobs:
        for rate in rates:
            places: list[tuple[str | None, float]] = [*rate.by_zone.items()]
            if rate.kg_per_m2 is not None:
                places.append((None, rate.kg_per_m2))
            for zone, kg_per_m2 in places:
                needed = rate.nutrient if zone is not None else ""
                yield RateRow(job.field.name, job.name, rate.product, zone, kg_per_m2, needed)


RATES = Table(
    "rates",
    (
        named("field"),
        named("operation", "Job"),
        named("product"),
        named("zone", text=lambda v, _: v),
        named("rate_kg_per_m2=kg_per_m2", quantity=q.TOLD_RATE),
        named("nutrient", "To meet the need of"),
    ),
    title="What is planned",
    words=4,
    remark="Where no zone is named, the rate is for all ground that no zone has a rate for.",
    outputs=("json", "page"),
    why="the task data is the table for programs",
)
