"""Turn the tables of a season into operations ready to be audited."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal
from zoneinfo import available_timezones

from evenacre.errors import InputError, Problem
from evenacre.io.common.problem_collector import KeyPath, ProblemCollector
from evenacre.io.common.suggestions import did_you_mean
from evenacre.io.common.time_zones import zone_of
from evenacre.io.season.blends import with_blends
from evenacre.io.season.files import SeasonFiles
from evenacre.io.season.implements import implement_of
from evenacre.io.season.needs import needs_of
from evenacre.io.season.operations import PlanBuilder
from evenacre.io.season.pasture.pasture import Pasture, has_pasture, pasture_of
from evenacre.io.season.products import product_of
from evenacre.io.season.schema import (
    ENTRIES,
    SINGLES,
    FieldTable,
    ImplementTable,
    OperationTable,
    ProductTable,
    SeasonTable,
    Table,
)
from evenacre.model import Field, Implement, OperationPlan, Product, Season

MustHold = Literal["operations", "seeding", "either", "fields"]
"""What a season has to tell, by what it is read for."""

_NEEDED = {
    "product": ("analysis",),
    "implement": ("width", "rows", "row_spacing", "sections"),
}


@dataclass(frozen=True)
class SeasonDraft:
    """A season as far as it could be made, and what is wrong with it.

    Attributes
    ----------
    season : Season
        With stand-ins for fields and implements that could not be made.
    problems : tuple of Problem
    equipped : tuple of bool
        For each operation: whether its implement could be made.
    said : dict of (str, str) to list of str
        Warnings by kind and name of a field (or paddock), implement or product.
    """

    season: Season
    problems: tuple[Problem, ...]
    equipped: tuple[bool, ...]
    said: Mapping[tuple[str, str], list[str]] = field(default_factory=dict)


def build_season(
    raw: dict[str, Any],
    files: SeasonFiles,
    *,
    logs: bool = True,
    must_hold: MustHold = "operations",
) -> SeasonDraft:
    """Check every table of a season and make what can be made of it.

    Parameters
    ----------
    raw : dict
    files : SeasonFiles
    logs : bool
        False when operations need not name any.
    must_hold : str
        ``"seeding"``: paddocks and seeding, operations or not; ``"either"``: one of them;
        ``"fields"``: fields or paddocks, whatever is done there.
    """
    complaints = files.complaints
    for key in SINGLES:
        if isinstance(raw.get(key), list):
            complaints.add(
                (key,), f"[[{key}]] stands for a list of tables.", f"Write [{key}], in one bracket."
            )
            raw = {**raw, key: (raw[key] or [{}])[0]}
    for key in ENTRIES:
        if isinstance(raw.get(key), dict):
            complaints.add(
                (key,), f"[{key}] stands for a single table.", f"Write [[{key}]], in two brackets."
            )
            raw = {**raw, key: [raw[key]]}
    top = complaints.check(SeasonTable, raw) or SeasonTable()
    if top.time_zone is not None:
        try:
            zone_of(top.time_zone)
        except InputError as error:
            near = did_you_mean(top.time_zone, sorted(available_timezones()))
            complaints.add(
                ("time_zone",),
                f'"{top.time_zone}" is not a time zone.',
                near or error.problems[0].remedy,
            )
            top = top.model_copy(update={"time_zone": None})
    return _Builder(top, files, complaints, logs, must_hold).build()


class _Builder:
    """Holds the named nouns while operations are put together."""

    def __init__(
        self,
        top: SeasonTable,
        files: SeasonFiles,
        complaints: ProblemCollector,
        logs: bool,
        must_hold: MustHold,
    ) -> None:
        self.top, self.files, self.complaints, self.logs = top, files, complaints, logs
        self.must_hold = must_hold
        # A noun that could not be made is None: it is known, and already complained about.
        self.products: dict[str, Product | None] = {}
        self.implements: dict[str, Implement | None] = {}
        self.fields: dict[str, Field | None] = {}
        self.said: dict[tuple[str, str], list[str]] = {}

    def build(self) -> SeasonDraft:
        for name, path, table in self._tables("product", ProductTable):
            written = self.top.product[int(path[1])]
            made = table and product_of(table, written, self.top.currency, self.complaints, path)
            self.products[name], self.said["product", name] = made or (None, [])
        self.products = with_blends(self.products, self.top.product, self.complaints)
        for name, path, drill in self._tables("implement", ImplementTable):
            written = self.top.implement[int(path[1])]
            built = drill and implement_of(drill, written, self.top.currency, self.complaints, path)
            self.implements[name], self.said["implement", name] = built or (None, [])
        for name, path, plot in self._tables("field", FieldTable):
            drawn = plot and self.files.field(plot, path)
            self.fields[name], self.said["field", name] = drawn or (None, [])
        plans, equipped = self._operations()
        pasture = pasture_of(
            self.top,
            self.files,
            self.fields,
            self.implements,
            self.products,
            seeded=self.must_hold == "seeding",
        )
        used = {plan.field.name for plan in plans} | set(pasture.paddocks)
        warnings: list[str] = []
        if self.must_hold in ("operations", "either"):
            warnings += [
                f'The field "{name}" has no operation.' for name in self.fields if name not in used
            ]
        if self.must_hold in ("seeding", "either"):
            warnings += self._said_of(pasture)
        try:
            inputs = self.files.inputs()
        except InputError as error:
            self.complaints.take(error)
            inputs = ()
        season = Season(
            farm=self.top.farm,
            operations=tuple(plans),
            inputs=inputs,
            warnings=tuple(warnings),
            currency=self.top.currency,
            units=self.top.units,
            needs=needs_of(self.top.need, self.fields, self.complaints),
            products=tuple(product for product in self.products.values() if product),
            time_zone=self.top.time_zone,
            grazing=pasture.grazing,
            seeding=pasture.seeding,
            fields=self._ground(pasture),
            implements={name: tool for name, tool in self.implements.items() if tool},
        )
        return SeasonDraft(season, tuple(self.complaints.problems), tuple(equipped), self.said)

    def _ground(self, pasture: Pasture) -> tuple[Field, ...]:
        """Fields and paddocks; a paddock of a field's name is the field, drawn more fully."""
        found = {name: plot for name, plot in self.fields.items() if plot}
        found |= {plot.name: plot for plot in pasture.fields}
        for plot in pasture.fields:
            self.said["field", plot.name] = [
                *self.said.get(("field", plot.name), []),
                *pasture.map_warnings,
            ]
        if not (found or self.complaints.problems) and self.must_hold == "fields":
            self.complaints.add(
                ("field",), "There is no field.", "Add one under [[field]], with its boundary."
            )
        return tuple(found.values())

    def _tables(self, key: str, model: type[Table]) -> list[tuple[str, KeyPath, Any]]:
        """Return name, place and table of each entry; the table is None when it is faulty."""
        found: list[tuple[str, KeyPath, Any]] = []
        for index, entry in enumerate(getattr(self.top, key)):
            path: KeyPath = (key, index)
            name = entry.get("name") if isinstance(entry, Mapping) else None
            if isinstance(name, str) and any(name.strip() == other for other, _, _ in found):
                self.complaints.add((*path, "name"), f'"{name}" is defined twice.', "Rename one.")
                continue
            table = self.complaints.check(model, entry, path, _NEEDED.get(key, ()))
            if isinstance(name, str):
                found.append((name.strip(), path, table))
        return found

    def _said_of(self, pasture: Pasture) -> list[str]:
        """Warnings of the pasture and of the drill, seed and fields that it takes."""
        asked = self.top.seeding if isinstance(self.top.seeding, Mapping) else {}
        names = [("field", name) for name in pasture.paddocks]
        names += [(key, str(asked.get(key))) for key in ("implement", "product")]
        said = [text for key in names for text in self.said.get(key, [])]
        return list(dict.fromkeys([*said, *pasture.warnings]))

    def _operations(self) -> tuple[list[OperationPlan], list[bool]]:
        enough = self.must_hold in ("seeding", "fields")
        if self.must_hold == "either":
            enough = has_pasture(self.top)
        if not self.top.operation and not enough:
            self.complaints.add(
                ("operation",), "There is no operation.", "Add one under [[operation]]."
            )
        nouns = (self.products, self.implements, self.fields, self.said)
        builder = PlanBuilder(self.top, self.files, self.complaints, *nouns, self.logs)
        plans: list[OperationPlan] = []
        equipped: list[bool] = []
        seen: set[tuple[str, str]] = set()
        for index, entry in enumerate(self.top.operation):
            path: KeyPath = ("operation", index)
            table = self.complaints.check(OperationTable, entry, path)
            if table is None:
                continue
            if (table.field, table.name) in seen:
                self.complaints.add(
                    (*path, "name"),
                    f'The field "{table.field}" has two operations called "{table.name}".',
                    "Rename one of them.",
                )
            seen.add((table.field, table.name))
            plans.append(builder.plan(table, path))
            equipped.append(self.implements.get(table.implement) is not None)
        return plans, equipped
