"""Make operations of their tables and of the products, implements and fields they name."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from evenacre.errors import InputError
from evenacre.io.common.problem_collector import KeyPath, ProblemCollector
from evenacre.io.common.suggestions import choice
from evenacre.io.logs.blockages import BlockageNote, blockages_of
from evenacre.io.logs.columns.column_roles import ROLES
from evenacre.io.season.checks import check_currency, is_defined
from evenacre.io.season.files import SeasonFiles
from evenacre.io.season.products import bulk_target
from evenacre.io.season.schema import BlockageTable, OperationTable, SeasonTable
from evenacre.language import tr
from evenacre.model import (
    Application,
    Blockage,
    Field,
    Implement,
    OperationPlan,
    Product,
    Settings,
    WithSeed,
)
from evenacre.model.product import analysis_in_name
from evenacre.units.display import in_both

_MUCH_KG_PER_M2 = 3.0  # 30 t/ha
_ROUNDING = 1e-9


@dataclass
class PlanBuilder:
    """Puts operations together from what a season defines."""

    top: SeasonTable
    files: SeasonFiles
    logs: bool = True  # False when operations need not name any
    # By name. One that could not be made is None: that was told already.
    products: dict[str, Product | None] = field(default_factory=dict)
    implements: dict[str, Implement | None] = field(default_factory=dict)
    fields: dict[str, Field | None] = field(default_factory=dict)
    # Warnings by kind and name of one of them
    said: dict[tuple[str, str], list[str]] = field(default_factory=dict)

    @property
    def problems(self) -> ProblemCollector:
        """Everything that is wrong with the season."""
        return self.files.problems

    def plan(self, table: OperationTable, path: KeyPath) -> OperationPlan:
        """Make one operation; stand-ins take the place of what it names in vain."""
        for key, defined in (("field", self.fields), ("implement", self.implements)):
            is_defined(getattr(table, key), key, defined, self.problems, (*path, key))
        ground, implement = self.fields.get(table.field), self.implements.get(table.implement)
        applications = self._applications(table, path)
        compartment_of = self._compartments(table, implement, path)
        for name in ("quote", "bare_loss"):
            asked = self.top.operation[int(path[1])].get(name)
            if asked is not None:
                check_currency(asked, self.top.currency, self.problems, (*path, name))
        self._check_columns(table, path)
        date = table.date.isoformat() if table.date else ""
        tracks = self._tracks(table, path)
        stops = dict.fromkeys(
            self.files.find(name, (*path, "blockages")) for name in table.blockages if name
        )
        ticket_file = self.files.find(table.loads, (*path, "loads")) if table.loads else None
        names = [("field", table.field), ("implement", table.implement)]
        names += [("product", use.product) for use in table.products]
        warnings = [text for key in names for text in self.said.get(key, [])]
        warnings += _odd_targets(applications)
        return OperationPlan(
            name=table.name,
            field=ground or Field(table.field),
            implement=implement or Implement(width_m=1.0),
            track_files=tuple(file for file, _, _ in tracks),
            track_layers=tuple(layer for _, layer, _ in tracks),
            track_crs=tuple(crs for _, _, crs in tracks),
            columns=dict(table.columns),
            time_zone=self.top.time_zone,
            applications=applications,
            date=date,
            blockage_files=tuple(file for file in stops if file is not None),
            blockages=self._blockages(table.blockage, implement, date, path),
            settings=Settings(**self.top.settings.given(Settings) | table.given(Settings)),
            notes=tuple(
                tr(
                    "{name}: its analysis is that of its name: {shown}.",
                    name=a.product.name,
                    shown=shown,
                )
                for a in applications
                if a.product.analysis and a.product.analysis == analysis_in_name(a.product.name)
                if (shown := ", ".join(f"{v:g} % {k}" for k, v in a.product.analysis.items()))
            ),
            warnings=tuple(dict.fromkeys(warnings)),
            ticket_file=ticket_file,
            method=table.method,
            quote_per_m2=table.quote,
            bare_loss_per_m2=table.bare_loss,
            compartment_of=compartment_of,
            with_seed=self._with_seed(table, implement, (*path, "with_seed")),
        )

    def _applications(self, table: OperationTable, path: KeyPath) -> tuple[Application, ...]:
        made: dict[str, Application] = {}
        for index, use in enumerate(table.products):
            where = (*path, "products", index)
            place = (*where, "product")
            if use.product in made:
                self.problems.add(
                    place,
                    tr('"{product}" is listed twice.', product=use.product),
                    tr("Keep one of them."),
                )
                continue
            is_defined(use.product, "product", self.products, self.problems, place)
            if product := self.products.get(use.product):
                told = (use.rate, use.pls_rate, product, self.products, self.problems)
                made[use.product] = Application(product, bulk_target(*told, where))
        return tuple(made.values())

    def _compartments(
        self, table: OperationTable, implement: Implement | None, path: KeyPath
    ) -> tuple[tuple[str, str], ...]:
        """Pair products with the compartments they ride in."""
        if implement is None:
            return ()
        known = [compartment.name for compartment in implement.compartments]
        pairs: dict[tuple[str, str], None] = {}
        for index, use in enumerate(table.products):
            for name in use.compartment:
                pairs[use.product, name] = None
                if name not in known:
                    what = tr(
                        '"{implement}" has no compartment "{name}".',
                        implement=table.implement,
                        name=name,
                    )
                    remedy = choice(name, known, tr("List its compartments under [[implement]]."))
                    self.problems.add((*path, "products", index, "compartment"), what, remedy)
        return tuple(pairs)

    def _check_columns(self, table: OperationTable, path: KeyPath) -> None:
        roles = {role.partition(":")[0] for role in ROLES}
        for role in table.columns:
            name, colon, key = role.partition(":")
            place = (*path, "columns", role)
            if name not in roles:
                what = tr('"{role}" is not what a column can be.', role=role)
                self.problems.add(place, what, choice(name, ROLES))
            elif name in ("rate", "flow") and colon:
                self._check_placed(key, table, place)

    def _check_placed(self, name: str, table: OperationTable, path: KeyPath) -> None:
        """Refuse the name of a product that the operation does not place."""
        products = [use.product for use in table.products]
        if name not in products:
            what = tr('The operation has no product "{name}".', name=name)
            self.problems.add(path, what, choice(name, products, tr("Add it to products.")))

    def _tracks(
        self, table: OperationTable, path: KeyPath
    ) -> list[tuple[Path, str | None, str | None]]:
        found: dict[tuple[Path, str | None], str | None] = {}
        if self.logs and not table.tracks:
            self.problems.add((*path, "tracks"), tr("The list is empty."), tr("Name at least one."))
        for index, track in enumerate(table.tracks):
            place = (*path, "tracks", index)
            file = self.files.find(track.file, place)
            if file is not None and (file, track.layer) in found:
                what = tr(
                    'The log "{file}" is listed twice and would count twice.', file=track.file
                )
                self.problems.add(place, what, tr("Keep one of them."))
            elif file is not None:
                found[file, track.layer] = track.crs
        return [(*log, crs) for log, crs in found.items()]

    def _blockages(
        self, tables: list[BlockageTable], implement: Implement | None, date: str, path: KeyPath
    ) -> tuple[Blockage, ...]:
        if implement is None:
            return ()
        made: list[Blockage] = []
        for index, table in enumerate(tables):
            rows = table.rows
            note = BlockageNote(
                file="",
                place="",
                start=table.start,
                end=table.end,
                tower="" if table.tower is None else str(table.tower),
                rows=", ".join(map(str, rows)) if isinstance(rows, list) else str(rows or ""),
                cause=table.cause or "",
            )
            try:
                made += blockages_of([note], implement, date=date, time_zone=self.top.time_zone)
            except InputError as error:
                for problem in error.problems:
                    self.problems.add((*path, "blockage", index), problem.what, problem.remedy)
        return tuple(made)

    def _with_seed(
        self, table: OperationTable, implement: Implement | None, path: KeyPath
    ) -> WithSeed | None:
        """What is said of fertilizer placed with the seed."""
        asked = table.with_seed
        if asked is None or implement is None:
            return None
        for name in asked.slopes:
            self._check_placed(name, table, (*path, "slopes", name))
        if not (implement.rows_known and implement.width_known):
            what = tr("How far apart the rows are is not known.")
            self.problems.add(path, what, tr("Give the implement rows or row_spacing."))
            return None
        if asked.spread > implement.row_spacing_m:
            what = tr("The opener spreads wider than the rows are apart.")
            remedy = tr("Give the width of the band that one opener leaves.")
            self.problems.add((*path, "spread"), what, remedy)
        return WithSeed(
            crop=asked.crop,
            spread_m=asked.spread,
            row_spacing_m=implement.row_spacing_m,
            tolerated_loss_percent=asked.tolerated_loss,
            soil_factor=asked.soil_factor,
            slopes=tuple(asked.slopes.items()),
        )


def _odd_targets(applications: Iterable[Application]) -> Iterator[str]:
    """Say which targets are very high, or, by the product's own range, cannot be placed."""
    asked = [(a.product, a.target_kg_per_m2) for a in applications]
    targets = [(product, target) for product, target in asked if target is not None]
    for product, target in targets:
        if target > _MUCH_KG_PER_M2:
            yield tr(
                "{name}: the target rate of {in_both} is very high.",
                name=product.name,
                in_both=in_both("rate", target),
            )
    for product, target in targets:
        least, most = product.rate_min_kg_per_m2, product.rate_max_kg_per_m2
        if least is not None and target < least * (1 - _ROUNDING):
            yield tr("{name}: the target rate is under the product's rate_min.", name=product.name)
        if most is not None and target > most * (1 + _ROUNDING):
            yield tr("{name}: the target rate is over the product's rate_max.", name=product.name)
