"""Make grazing, and seeding behind the herd, of a season's pasture tables."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from evenacre.io.common.problem_collector import KeyPath, ProblemCollector
from evenacre.io.common.suggestions import listed
from evenacre.io.season.checks import check_order, is_defined, is_new
from evenacre.io.season.files import SeasonFiles
from evenacre.io.season.pasture.paddocks import Paddocks
from evenacre.io.season.pasture.schema import GrazingTable, HerdTable, MoveTable
from evenacre.io.season.pasture.seeding import seeding_of
from evenacre.io.season.schema import SeasonTable
from evenacre.io.season.under_way import plan_begin
from evenacre.language import tr
from evenacre.model import Field, Grazing, HerdClass, Implement, Paddock, Product, Seeding, Stay
from evenacre.units.display import ACRE_M2, POUND_KG, in_both

_LB_AC = POUND_KG / ACRE_M2

# Dry matter a day as a share of live weight. Beef cattle eat 2.5 to 3 %: NCAT ATTRA, Grazier's
# Math. Wider here for other stock. The other limits are common practice, no source.
_INTAKE = (0.015 * (1 - 1e-9), 0.04 * (1 + 1e-9))
_UTILIZATION = 0.8
_GROWTH_KG_PER_M2_PER_DAY = 200 * _LB_AC
_FORAGE_KG_PER_M2 = 9000 * _LB_AC
_WEIGHT_KG = (15.0, 1300.0)
_SEED_KG_PER_M2 = 300 * _LB_AC
_SPEED_MPS = 5.4  # 12 mph
_LOST = 0.8

_HOW_TO_COMPUTE = "or decide the moves under [[move]]."


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
        what = tr("What to seed behind the herd is not told.")
        problems.add(("seeding",), what, tr("Add [seeding] with product, implement and rate."))
    if not has_pasture(top):
        return Pasture()
    if fields and not seeded and _drives_fields(top):
        seeding, said = seeding_of(top.seeding, implements, products, files)
        warnings = [*said, *(_odd_seeding(seeding, ()) if seeding else ())]
        return Pasture(seeding=seeding, warnings=tuple(dict.fromkeys(warnings)))
    before = len(problems.problems)
    builder = _GrazingBuilder(top, files, fields)
    made, paddocks = builder.build(), builder.paddocks
    grazing = None if len(problems.problems) > before else made
    warnings = [*paddocks.warnings, *builder.warnings]
    seeding = None
    if top.seeding is not None:
        seeding, said = seeding_of(top.seeding, implements, products, files)
        warnings += said
        known = paddocks.made.values()
        if known and not any(paddock is None or paddock.seeded for paddock in known):
            remedy = tr("Take seed = false from one at least.")
            problems.add(("seeding",), tr("No paddock is to be seeded."), remedy)
    if seeding is not None and seeding.ready:
        _check_ready(seeding.ready, paddocks, problems)
        begin = seeding.first_day
        seeding = replace(seeding, ready_day=begin or plan_begin(None, top.time_zone))
        if begin is None:
            warnings.append(
                tr(
                    "No first_day is given: ready paddocks were taken to stand ready today, "
                    "{ready_day}.",
                    ready_day=seeding.ready_day,
                )
            )
    if grazing is not None:
        warnings += _odd_grazing(grazing)
    if seeding is not None:
        warnings += _odd_seeding(seeding, grazing.paddocks if grazing else ())
    return Pasture(
        grazing=grazing,
        seeding=seeding,
        paddocks=tuple(paddocks.made),
        fields=tuple(paddock.field for paddock in paddocks.made.values() if paddock),
        map_warnings=tuple(dict.fromkeys(paddocks.warnings)),
        warnings=tuple(dict.fromkeys(warnings)),
    )


def _drives_fields(top: SeasonTable) -> bool:
    """Whether seeding is told of with no paddock at all: then for how fields are driven."""
    pasture = (top.paddocks, top.grazing, top.paddock, top.herd, top.move)
    ready = isinstance(top.seeding, Mapping) and "ready" in top.seeding
    return top.seeding is not None and not ready and not any(pasture)


class _GrazingBuilder:
    """Puts herd, paddocks and moves together."""

    def __init__(
        self, top: SeasonTable, files: SeasonFiles, fields: Mapping[str, Field | None]
    ) -> None:
        self.top, self.problems = top, files.problems
        written = {} if top.grazing is None else top.grazing
        table = self.problems.check(GrazingTable, written, ("grazing",))
        self.readable = table is not None
        self.table = table or GrazingTable()
        self.written: Mapping[str, Any] = written if isinstance(written, Mapping) else {}
        grazed = bool(top.herd or top.move)
        self.paddocks = Paddocks(
            files, fields, self.table, top.paddocks, top.paddock, grazed=grazed
        )
        self.warnings: list[str] = []

    def build(self) -> Grazing:
        """Make the grazing, as far as it goes."""
        if not self.paddocks.made and self.paddocks.all_known:
            remedy = tr('Add [paddocks] with file = "paddocks.gpkg", or [[paddock]].')
            self.problems.add(("paddock",), tr("There is no paddock."), remedy)
        herd = tuple(self._herd())
        moves = self._moves()
        given = [key for key in ("start", "end", "order") if key in self.written]
        if self.top.move and given:
            keys = " and ".join(given)
            what = tr("The moves are decided under [[move]], so {keys} cannot be kept.", keys=keys)
            self.problems.add(
                ("grazing", given[0]), what, tr("Take out {keys}, or the moves.", keys=keys)
            )
        lacking = list(self._lacking()) if self.readable and not self.top.move else []
        if lacking and not self._known:
            for missing in lacking:
                self.problems.add(*missing)
        elif lacking and (self.top.herd or "start" in self.written):
            why = " ".join(what for _, what, _ in lacking)
            self.warnings.append(
                tr(
                    "{why} Paddocks are planned by their windows, and those that stand ready.",
                    why=why,
                )
            )
        start, end = self.table.start, self.table.end
        what = tr("Grazing ends on {end}, but starts only on {start}.", end=end, start=start)
        check_order(start, end, what, self.problems, ("grazing", "end"), apart=True)
        made = self.table.given(Grazing)
        made |= {"start": None, "end": None} if moves or lacking else {}
        return Grazing(**made | {"herd": herd, "paddocks": self._in_order(moves), "moves": moves})

    def _herd(self) -> Iterator[HerdClass]:
        names: list[str] = []
        for index, entry in enumerate(self.top.herd):
            table = self.problems.check(HerdTable, entry, ("herd", index))
            if table is not None:
                if is_new(table.kind, names, self.problems, ("herd", index, "class")):
                    names.append(table.kind)
                eaten = table.intake.kg_per_day(table.weight)
                yield HerdClass(table.kind, table.head, table.weight, eaten)

    def _moves(self) -> tuple[Stay, ...]:
        """Return the decided moves in order of time."""
        made: list[tuple[Stay, int]] = []
        for index, entry in enumerate(self.top.move):
            path: KeyPath = ("move", index)
            table = self.problems.check(MoveTable, entry, path)
            if table is None:
                continue
            self._check_known(table.paddock, (*path, "paddock"))
            if table.leave <= table.enter:
                what = tr(
                    "The herd leaves on {leave}, but enters only on {enter}.",
                    leave=table.leave,
                    enter=table.enter,
                )
                remedy = tr("Change them over, or correct one; it stays for one day at least.")
                self.problems.add((*path, "leave"), what, remedy)
                continue
            made.append((Stay(table.paddock, table.enter, table.leave), index))
        made.sort(key=lambda one: (one[0].enter, one[0].leave))
        before: Stay | None = None
        for after, index in made:
            if before is not None and after.enter < before.leave:
                self.problems.add(
                    ("move", index, "enter"),
                    tr(
                        'The herd enters "{paddock}" on {enter}, but leaves "{paddock_2}" '
                        "only on {leave}.",
                        paddock=after.paddock,
                        enter=after.enter,
                        paddock_2=before.paddock,
                        leave=before.leave,
                    ),
                    tr("Correct one: it cannot be in two places."),
                )
            # Of all earlier stays the one that lasts longest is in the way, not only the last.
            if before is None or after.leave > before.leave:
                before = after
        return tuple(stay for stay, _ in made)

    def _check_known(self, name: str, path: KeyPath) -> None:
        if self.paddocks.all_known:
            is_defined(name, "paddock", self.paddocks.made, self.problems, path)

    @property
    def _known(self) -> bool:
        """Whether some paddock can be planned whatever the herd does."""
        seeding = self.top.seeding if isinstance(self.top.seeding, Mapping) else {}
        windows = any(p is None or p.window for p in self.paddocks.made.values())
        return windows or bool(seeding.get("ready"))

    def _lacking(self) -> Iterator[tuple[KeyPath, str, str]]:
        """Yield what is missing to compute the moves from: the place, what, and the remedy."""
        if not self.top.herd and "start" not in self.written:
            what = tr("Nothing tells when a paddock can be seeded.")
            remedy = tr(
                "Name those that stand ready now as ready under [seeding]; or give "
                "window under [[paddock]], the moves under [[move]], or what to compute "
                "them from: [[herd]], with start and forage under [grazing]."
            )
            yield ("grazing",), what, remedy
            return
        if not self.top.herd:
            what = tr("There is no herd, so its moves cannot be computed.")
            yield ("herd",), what, f"Add [[herd]], {_HOW_TO_COMPUTE}"
        if "start" not in self.written:
            what = tr("The day the herd enters the first paddock is missing.")
            yield ("grazing", "start"), what, f"Add start = 2026-08-04, {_HOW_TO_COMPUTE}"
        lacking = [
            name
            for name, paddock in self.paddocks.made.items()
            if paddock is not None
            and paddock.forage_kg_per_m2 is None
            and "forage" not in {*self.written, *self.paddocks.written.get(name, ())}
        ]
        if lacking:
            yield (
                ("grazing", "forage"),
                tr(
                    "How much forage stands on {listed} is missing, so the moves cannot be "
                    "computed.",
                    listed=listed(lacking),
                ),
                f'Add forage = "1800 lb/ac" here or under [[paddock]], {_HOW_TO_COMPUTE}',
            )

    def _in_order(self, moves: Sequence[Stay]) -> tuple[Paddock, ...]:
        """Paddocks in the order they are grazed; the file's order where nothing else is said."""
        known, order = self.paddocks.made, self.table.order
        names = dict.fromkeys([*(stay.paddock for stay in moves), *known])
        if order is not None and not moves:
            names = {}
            for index, name in enumerate(order):
                place = ("grazing", "order", index)
                self._check_known(name, place)
                if name in names:
                    what = tr('"{name}" is listed twice.', name=name)
                    self.problems.add(
                        place, what, tr("Name each paddock once; rounds are repeated.")
                    )
                names[name] = None
            left_out = [name for name in known if name not in names]
            if not order:
                remedy = tr("Name the paddocks in the order they are grazed.")
                self.problems.add(("grazing", "order"), tr("The list is empty."), remedy)
            elif left_out:
                self.warnings.append(
                    tr(
                        "The order of grazing leaves out {listed}: the herd does not go "
                        "there, and they are not planned.",
                        listed=listed(left_out),
                    )
                )
        return tuple(paddock for name in names if (paddock := known.get(name)))


def _check_ready(ready: Sequence[str], paddocks: Paddocks, problems: ProblemCollector) -> None:
    """Complain of names that are no paddock to be seeded, or whose window is decided."""
    for index, name in enumerate(ready):
        at: KeyPath = ("seeding", "ready", index)
        if paddocks.all_known:
            is_defined(name, "paddock", paddocks.made, problems, at)
        paddock = paddocks.made.get(name)
        if paddock is not None and not paddock.seeded:
            problems.add(
                at, tr('"{name}" is not to be seeded.', name=name), tr("Take seed = false from it.")
            )
        if paddock is not None and paddock.window is not None:
            what = tr('The window of "{name}" is decided.', name=name)
            problems.add(at, what, tr("Take it out here, or window from the paddock."))


def _odd_grazing(grazing: Grazing) -> Iterator[str]:
    """Say which figures of herd and paddocks look wrong; they are used all the same."""
    for animals in grazing.herd:
        share = animals.intake_kg_per_day / animals.weight_kg
        if not _INTAKE[0] <= share <= _INTAKE[1]:
            yield tr(
                "{name}: an intake of {share:.2g} % of live weight a day is unusual; 2.5 "
                "to 3 % is usual for beef cattle.",
                name=animals.name,
                share=100 * share,
            )
        if not _WEIGHT_KG[0] <= animals.weight_kg <= _WEIGHT_KG[1]:
            weight = in_both("mass", animals.weight_kg)
            yield tr(
                "{name}: a live weight of {weight} is unusual.", name=animals.name, weight=weight
            )
    odd: tuple[tuple[str, Callable[[Paddock], bool]], ...] = (
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
        (
            "more forage stands than forage_most lets it grow to",
            lambda p: (
                p.forage_most_kg_per_m2 is not None
                and (p.forage_kg_per_m2 or 0.0) > p.forage_most_kg_per_m2
            ),
        ),
    )
    for what, is_odd in odd:
        if names := [p.field.name for p in grazing.paddocks if is_odd(p)]:
            yield f"{', '.join(names)}: {what}."


def _odd_seeding(seeding: Seeding, paddocks: Sequence[Paddock]) -> Iterator[str]:
    """Say which figures of seeding look wrong; they are used all the same."""
    name, lost = seeding.product.name, seeding.lost_chance
    rate = in_both("rate", seeding.rate_kg_per_m2)
    for is_odd, what in (
        (
            seeding.rate_kg_per_m2 > _SEED_KG_PER_M2,
            tr("{name}: a seed rate of {rate} is very high.", name=name, rate=rate),
        ),
        (seeding.speed_mps > _SPEED_MPS, tr("Drilling faster than 12 mph (19 km/h) is unusual.")),
        (
            seeding.turn_speed_mps > _SPEED_MPS,
            tr("Turning faster than 12 mph (19 km/h) is unusual."),
        ),
        (
            lost > _LOST,
            tr("With {lost:.0%} of days lost to weather hardly any is left to plan.", lost=lost),
        ),
        (seeding.on_hand_kg == 0.0, tr("There is no {name} on hand.", name=name)),
    ):
        if is_odd:
            yield what
    for paddock in paddocks:
        first, last = paddock.window or (None, None)
        early = last is not None and seeding.first_day is not None and last < seeding.first_day
        late = first is not None and seeding.last_day is not None and first > seeding.last_day
        if paddock.seeded and (early or late):
            yield tr(
                "{name}: its window lies outside the first and last day of seeding.",
                name=paddock.field.name,
            )
