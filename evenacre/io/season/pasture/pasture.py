"""Check a season's pasture tables: grazing, and seeding behind the herd."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from evenacre.io.season.files import SeasonFiles
from evenacre.io.season.pasture.grazing import GrazingBuilder
from evenacre.io.season.pasture.seeding import seeding_of
from evenacre.io.season.schema import SeasonTable
from evenacre.model import Field, Grazing, Implement, Paddock, Product, Seeding
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


@dataclass(frozen=True)
class Pasture:
    """What a season says of grazing and of seeding behind the herd."""

    grazing: Grazing | None = None  # None: not told, or something is wrong with it
    seeding: Seeding | None = None
    paddocks: tuple[str, ...] = ()  # names, whether or not they could be made
    fields: tuple[Field, ...] = ()  # of the paddocks that could be made
    map_warnings: tuple[str, ...] = ()  # of where they are drawn; among warnings too
    warnings: tuple[str, ...] = ()


def has_pasture(top: SeasonTable) -> bool:
    """Whether a season says anything of grazing or of seeding behind the herd."""
    single = (top.paddocks, top.grazing, top.seeding)
    return any(table is not None for table in single) or bool(top.paddock or top.herd or top.move)


def pasture_of(
    top: SeasonTable,
    files: SeasonFiles,
    fields: Mapping[str, Field | None],
    implements: Mapping[str, Implement | None],
    products: Mapping[str, Product | None],
    *,
    seeded: bool = False,
) -> Pasture:
    """Check the pasture tables of a season and make what can be made of them.

    Of ``fields``, ``implements`` and ``products``, one that could not be made is None: that was
    told already. When ``seeded``, paddocks and seeding have to be told.
    """
    problems = files.problems
    if seeded and top.seeding is None:
        what = "What to seed behind the herd is not told."
        problems.add(("seeding",), what, "Add [seeding] with product, implement and rate.")
    if not has_pasture(top):
        return Pasture()
    before = len(problems.problems)
    builder = GrazingBuilder(top, files)
    made, paddocks = builder.build(fields)
    grazing = None if len(problems.problems) > before else made
    warnings = [*paddocks.warnings, *builder.warnings]
    seeding = None
    if top.seeding is not None:
        seeding, said = seeding_of(top.seeding, implements, products, problems)
        warnings += said
        known = paddocks.made.values()
        if known and not any(paddock is None or paddock.seeded for paddock in known):
            remedy = "Take seed = false from one at least."
            problems.add(("seeding",), "No paddock is to be seeded.", remedy)
    if grazing is not None:
        warnings += _odd_grazing(grazing)
    if seeding is not None:
        warnings += _odd_seeding(seeding, grazing)
    return Pasture(
        grazing=grazing,
        seeding=seeding,
        paddocks=tuple(paddocks.made),
        fields=tuple(paddock.field for paddock in paddocks.made.values() if paddock),
        map_warnings=tuple(dict.fromkeys(paddocks.warnings)),
        warnings=tuple(dict.fromkeys(warnings)),
    )


def _odd_grazing(grazing: Grazing) -> Iterator[str]:
    """Say which figures of herd and paddocks look wrong; they are used all the same."""
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
    for what, is_odd in (
        (
            "more than 80 % of the forage is to be eaten; the stand may not recover",
            lambda p: p.utilization > _UTILIZATION,
        ),
        (
            "a growth of more than 200 lb/ac/day (224 kg/ha/day) is very high",
            lambda p: p.growth_kg_per_m2_per_day > _GROWTH_KG_PER_M2_PER_DAY,
        ),
        (
            "more than 9,000 lb/ac (10 t/ha) of forage is very much; it is dry matter",
            lambda p: (p.forage_kg_per_m2 or 0.0) > _FORAGE_KG_PER_M2,
        ),
        ("more forage stands than forage_most lets it grow to", _is_above_most),
    ):
        if names := [p.field.name for p in grazing.paddocks if is_odd(p)]:
            yield f"{', '.join(names)}: {what}."


def _is_above_most(paddock: Paddock) -> bool:
    most, forage = paddock.forage_most_kg_per_m2, paddock.forage_kg_per_m2
    return most is not None and forage is not None and most < forage


def _odd_seeding(seeding: Seeding, grazing: Grazing | None) -> Iterator[str]:
    """Say which figures of seeding look wrong; they are used all the same."""
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
