"""Turn the tables of a season into operations ready to be audited."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal
from zoneinfo import available_timezones

from evenacre.errors import InputError, Problem
from evenacre.io.common.problem_collector import KeyPath, ProblemCollector
from evenacre.io.common.suggestions import choice, did_you_mean
from evenacre.io.common.time_zones import zone_of
from evenacre.io.season.checks import is_defined, is_new
from evenacre.io.season.files import SeasonFiles
from evenacre.io.season.implements import implement_of
from evenacre.io.season.operations import PlanBuilder
from evenacre.io.season.pasture.pasture import Pasture, has_pasture, pasture_of
from evenacre.io.season.products import product_of, with_blends
from evenacre.io.season.schema import (
    ENTRIES,
    SINGLES,
    FieldTable,
    ImplementTable,
    KeyTable,
    NeedTable,
    OperationTable,
    ProductTable,
    SeasonTable,
)
from evenacre.model import Field, Implement, Need, OperationPlan, Product, Season

MustHold = Literal["operations", "seeding", "either", "fields"]
"""What a season has to tell, by what it is read for."""

_NEEDED = {"product": ("analysis",), "implement": ("width", "rows", "row_spacing", "sections")}
_LABEL_TERMS = {"P": "P2O5", "K": "K2O"}


@dataclass(frozen=True)
class SeasonDraft:
    """A season as far as it could be made, and what is wrong with it."""

    season: Season  # with stand-ins for fields and implements that could not be made
    problems: tuple[Problem, ...]
    equipped: tuple[bool, ...]  # for each operation: whether its implement could be made
    # Warnings by kind and name of a field (or paddock), implement or product.
    said: Mapping[tuple[str, str], list[str]] = field(default_factory=dict)


def build_season(
    raw: dict[str, Any],
    files: SeasonFiles,
    *,
    logs: bool = True,
    must_hold: MustHold = "operations",
) -> SeasonDraft:
    """Check every table of a season and make what can be made of it.

    ``logs`` and ``must_hold`` are as for :func:`evenacre.io.season.load.load_season`.
    """
    problems = files.problems
    for key in SINGLES:
        if isinstance(raw.get(key), list):
            what = f"[[{key}]] stands for a list of tables."
            problems.add((key,), what, f"Write [{key}], in one bracket.")
            raw = {**raw, key: (raw[key] or [{}])[0]}
    for key in ENTRIES:
        if isinstance(raw.get(key), dict):
            what = f"[{key}] stands for a single table."
            problems.add((key,), what, f"Write [[{key}]], in two brackets.")
            raw = {**raw, key: [raw[key]]}
    top = problems.check(SeasonTable, raw) or SeasonTable()
    if top.time_zone is not None:
        try:
            zone_of(top.time_zone)
        except InputError as error:
            near = did_you_mean(top.time_zone, sorted(available_timezones()))
            what = f'"{top.time_zone}" is not a time zone.'
            problems.add(("time_zone",), what, near or error.problems[0].remedy)
            top = top.model_copy(update={"time_zone": None})
    return _Builder(top, files, problems, logs, must_hold).build()


class _Builder:
    def __init__(
        self,
        top: SeasonTable,
        files: SeasonFiles,
        problems: ProblemCollector,
        logs: bool,
        must_hold: MustHold,
    ) -> None:
        self.top, self.files, self.problems = top, files, problems
        self.logs, self.must_hold = logs, must_hold
        # By name; None where something was wrong.
        self.products: dict[str, Product | None] = {}
        self.implements: dict[str, Implement | None] = {}
        self.fields: dict[str, Field | None] = {}
        self.said: dict[tuple[str, str], list[str]] = {}

    def build(self) -> SeasonDraft:
        top, problems = self.top, self.problems
        lots = self._tables("product", ProductTable)
        for name, path, table in lots:
            written = top.product[int(path[1])]
            made = table and product_of(table, written, top.currency, problems, path)
            self.products[name], self.said["product", name] = made or (None, [])
        places = [(name, path, top.product[int(path[1])]) for name, path, _ in lots]
        self.products = with_blends(self.products, places, problems)
        for name, path, drill in self._tables("implement", ImplementTable):
            written = top.implement[int(path[1])]
            built = drill and implement_of(
                drill, written, top.currency, problems, path, logged=self._has_logs(name)
            )
            self.implements[name], self.said["implement", name] = built or (None, [])
        for name, path, plot in self._tables("field", FieldTable):
            drawn = plot and self.files.field(plot, path)
            self.fields[name], self.said["field", name] = drawn or (None, [])
        plans, equipped = self._operations()
        pasture = pasture_of(
            top,
            self.files,
            self.fields,
            self.implements,
            self.products,
            seeded=self.must_hold == "seeding",
        )
        used = {plan.field.name for plan in plans} | set(pasture.paddocks)
        warnings: list[str] = []
        if self.must_hold in ("operations", "either"):
            idle = [name for name in self.fields if name not in used]
            warnings += [f'The field "{name}" has no operation.' for name in idle]
        if self.must_hold in ("seeding", "either"):
            warnings += self._said_of(pasture)
        try:
            inputs = self.files.inputs()
        except InputError as error:
            problems.take(error)
            inputs = ()
        season = Season(
            farm=top.farm,
            operations=tuple(plans),
            inputs=inputs,
            warnings=tuple(warnings),
            currency=top.currency,
            units=top.units,
            needs=tuple(self._needs()),
            products=tuple(product for product in self.products.values() if product),
            time_zone=top.time_zone,
            grazing=pasture.grazing,
            seeding=pasture.seeding,
            fields=self._ground(pasture),
            implements={name: tool for name, tool in self.implements.items() if tool},
        )
        return SeasonDraft(season, tuple(problems.problems), tuple(equipped), self.said)

    def _has_logs(self, implement: str) -> bool:
        """Whether logs of an implement may tell its width, and nothing else asks for it."""
        seeding = self.top.seeding if isinstance(self.top.seeding, Mapping) else {}
        logged = any(
            isinstance(job, Mapping) and job.get("implement") == implement
            for job in self.top.operation
        )
        audited = self.logs and self.must_hold in ("operations", "either")
        return audited and logged and seeding.get("implement") != implement

    def _ground(self, pasture: Pasture) -> tuple[Field, ...]:
        """Fields and paddocks; a paddock of a field's name is the field, drawn more fully."""
        found = {name: plot for name, plot in self.fields.items() if plot}
        found |= {plot.name: plot for plot in pasture.fields}
        for plot in pasture.fields:
            self.said.setdefault(("field", plot.name), [])
            self.said["field", plot.name] += pasture.map_warnings
        if not (found or self.problems.problems) and self.must_hold == "fields":
            remedy = "Add one under [[field]], with its boundary."
            self.problems.add(("field",), "There is no field.", remedy)
        return tuple(found.values())

    def _tables(self, key: str, model: type[KeyTable]) -> list[tuple[str, KeyPath, Any]]:
        """Return name, place and table of each entry; the table is None when it is faulty."""
        found: list[tuple[str, KeyPath, Any]] = []
        for index, entry in enumerate(getattr(self.top, key)):
            path: KeyPath = (key, index)
            name = entry.get("name") if isinstance(entry, Mapping) else None
            others = [other for other, _, _ in found]
            if isinstance(name, str) and not is_new(name, others, self.problems, (*path, "name")):
                continue
            table = self.problems.check(model, entry, path, _NEEDED.get(key, ()))
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
            remedy = "Add one under [[operation]]."
            self.problems.add(("operation",), "There is no operation.", remedy)
        defined = (self.products, self.implements, self.fields, self.said)
        builder = PlanBuilder(self.top, self.files, self.problems, *defined, self.logs)
        plans: list[OperationPlan] = []
        equipped: list[bool] = []
        seen: set[tuple[str, str]] = set()
        for index, entry in enumerate(self.top.operation):
            path: KeyPath = ("operation", index)
            table = self.problems.check(OperationTable, entry, path)
            if table is None:
                continue
            if (table.field, table.name) in seen:
                what = f'The field "{table.field}" has two operations called "{table.name}".'
                self.problems.add((*path, "name"), what, "Rename one of them.")
            seen.add((table.field, table.name))
            plans.append(builder.plan(table, path))
            equipped.append(self.implements.get(table.implement) is not None)
        return plans, equipped

    def _needs(self) -> list[Need]:
        """Check every need against the fields and zones there are."""
        needs: list[Need] = []
        seen: set[tuple[str, str | None, str]] = set()
        for index, entry in enumerate(self.top.need):
            path: KeyPath = ("need", index)
            table = self.problems.check(NeedTable, entry, path, ("field", "zone"))
            if table is None or not self._is_there(table, path):
                continue
            asked = table.asked()
            if not asked and not set(entry) - {"field", "zone"}:
                remedy = 'Add a nutrient, such as N = "120 lb/ac".'
                self.problems.add(path, "It asks for nothing.", remedy)
            for nutrient, rate in asked.items():
                key = (table.field, table.zone, _LABEL_TERMS.get(nutrient, nutrient))
                if key in seen:
                    where = f"{table.field}, {table.zone}" if table.zone else table.field
                    what = f"{key[2]} is asked for twice on {where}."
                    self.problems.add((*path, nutrient), what, "Keep one of them.")
                seen.add(key)
                needs.append(Need(table.field, table.zone, nutrient, rate))
        return needs

    def _is_there(self, need: NeedTable, path: KeyPath) -> bool:
        """Whether field and zone exist; a field that could not be read is let through."""
        if not is_defined(need.field, "field", self.fields, self.problems, (*path, "field")):
            return False
        field = self.fields[need.field]
        if need.zone is None or field is None:
            return True
        zones = [] if field.zones is None else [str(zone) for zone in field.zones["zone"]]
        if need.zone not in zones:
            what = f'"{need.field}" has no zone "{need.zone}".'
            remedy = choice(need.zone, zones, "Give the field its zones, or leave zone out.")
            self.problems.add((*path, "zone"), what, remedy)
            return False
        return True
