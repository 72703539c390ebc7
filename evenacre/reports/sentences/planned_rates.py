"""What is planned to be placed where, in plain words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from evenacre.io.common.findings import counted
from evenacre.model import OperationPlan, PlannedRate
from evenacre.units.display import UnitSystem


def planned_rate_lines(
    jobs: Iterable[tuple[OperationPlan, tuple[PlannedRate, ...]]], units: UnitSystem
) -> Iterator[str]:
    """Say the rates of every operation, and those of zones."""
    for job, rates in jobs:
        zones = 0 if job.field.zones is None else len(job.field.zones)
        drawn = f" ({counted(zones, 'zone')})" if zones else ""
        yield f"{job.field.name}{drawn}, {job.name}:"
        for rate in rates:
            yield f"  {_line(rate, units)}"
        if not rates:
            yield "  no target rate: the boundary and zones alone"


def _line(rate: PlannedRate, units: UnitSystem) -> str:
    parts = [f"{zone} {units.rate.text(value)}" for zone, value in rate.by_zone.items()]
    if rate.kg_per_m2 is not None:
        text = units.rate.text(rate.kg_per_m2)
        parts.append(f"elsewhere {text}" if parts else text)
    why = f" (as {rate.nutrient} is needed)" if rate.by_zone and rate.nutrient else ""
    return f"{rate.product}: {', '.join(parts)}{why}"
