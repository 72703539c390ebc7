"""Doubts about pasture figures: they are used, but look wrong."""

from __future__ import annotations

from collections.abc import Iterator

from evenacre.model import Grazing, Paddock, Seeding
from evenacre.units.display import ACRE_M2, POUND_KG, in_both

_LB_AC = POUND_KG / ACRE_M2

# Dry matter a day as a share of live weight. Beef cattle eat 2.5 to 3 %: NCAT ATTRA, Grazier's
# Math. Wider here for other stock. The other limits are common practice, no source.
_INTAKE = (0.015, 0.04)
_UTILIZATION = 0.8
_GROWTH_KG_PER_M2_PER_DAY = 200 * _LB_AC
_FORAGE_KG_PER_M2 = 9000 * _LB_AC
_WEIGHT_KG = (15.0, 1300.0)
_SEED_KG_PER_M2 = 300 * _LB_AC
_SPEED_MPS = 5.4  # 12 mph
_LOST = 0.8


def grazing_doubts(grazing: Grazing) -> Iterator[str]:
    """Say which figures of herd and paddocks look wrong."""
    for animals in grazing.herd:
        share = animals.intake_kg_per_day / animals.weight_kg
        if not _INTAKE[0] * (1 - 1e-9) <= share <= _INTAKE[1] * (1 + 1e-9):
            yield (
                f"{animals.name}: an intake of {100 * share:.2g} % of live weight a day is "
                "unusual; 2.5 to 3 % is usual for beef cattle."
            )
        if not _WEIGHT_KG[0] <= animals.weight_kg <= _WEIGHT_KG[1]:
            weight = in_both("mass", animals.weight_kg)
            yield f"{animals.name}: a live weight of {weight} is unusual."
    yield from _of_paddocks(
        [p for p in grazing.paddocks if p.utilization > _UTILIZATION],
        "more than 80 % of the forage is to be eaten; the stand may not recover",
    )
    yield from _of_paddocks(
        [p for p in grazing.paddocks if p.growth_kg_per_m2_per_day > _GROWTH_KG_PER_M2_PER_DAY],
        "a growth of more than 200 lb/ac/day (224 kg/ha/day) is very high",
    )
    yield from _of_paddocks(
        [p for p in grazing.paddocks if (p.forage_kg_per_m2 or 0.0) > _FORAGE_KG_PER_M2],
        "more than 9,000 lb/ac (10 t/ha) of forage is very much; it is dry matter",
    )
    yield from _of_paddocks(
        [
            p
            for p in grazing.paddocks
            if p.forage_most_kg_per_m2 is not None
            and p.forage_kg_per_m2 is not None
            and p.forage_most_kg_per_m2 < p.forage_kg_per_m2
        ],
        "more forage stands than forage_most lets it grow to",
    )


def seeding_doubts(seeding: Seeding, grazing: Grazing | None) -> Iterator[str]:
    """Say which figures of seeding look wrong."""
    if seeding.rate_kg_per_m2 > _SEED_KG_PER_M2:
        rate = in_both("rate", seeding.rate_kg_per_m2)
        yield f"{seeding.product.name}: a seed rate of {rate} is very high."
    if seeding.speed_mps > _SPEED_MPS:
        yield "Drilling faster than 12 mph (19 km/h) is unusual."
    if seeding.turn_speed_mps > _SPEED_MPS:
        yield "Turning faster than 12 mph (19 km/h) is unusual."
    if seeding.lost_chance > _LOST:
        yield f"With {seeding.lost_chance:.0%} of days lost to weather hardly any is left to plan."
    if seeding.on_hand_kg == 0.0:
        yield f"There is no {seeding.product.name} on hand."
    for paddock in grazing.paddocks if grazing else ():
        first, last = paddock.window or (None, None)
        early = last is not None and seeding.first_day is not None and last < seeding.first_day
        late = first is not None and seeding.last_day is not None and first > seeding.last_day
        if paddock.seeded and (early or late):
            yield (
                f"{paddock.field.name}: its window lies outside the first and last day of seeding."
            )


def _of_paddocks(paddocks: list[Paddock], what: str) -> Iterator[str]:
    if paddocks:
        yield f"{', '.join(p.field.name for p in paddocks)}: {what}."
