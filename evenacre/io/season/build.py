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
from evenacre.io.season.checks import check_currency, is_defined, is_new
from evenacre.io.season.files import SeasonFiles
from evenacre.io.season.handover import handover_of
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
from evenacre.language import tr
from evenacre.model import Compartment, Field, Implement, Need, OperationPlan, Season, TowedUnit
from evenacre.units.display import in_both

MustHold = Literal["operations", "seeding", "either", "fields"]
"""What a season has to tell, by what it is read for."""

_NEEDED = {"product": ("analysis",), "implement": ("width", "rows", "row_spacing", "sections")}
_LABEL_TERMS = {"P": "P2O5", "K": "K2O"}
_MATCH = 0.01
# What the keys of an implement say of where its tool is and when product arrives, be it 0.
_TOLD = {
    "behind": {"antenna_ahead", "tow", "tool_behind"},
    "left": {"antenna_left"},
    "lag": {"delay"},
}


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
            what = tr("[[{key}]] stands for a list of tables.", key=key)
            problems.add((key,), what, tr("Write [{key}], in one bracket.", key=key))
            raw = {**raw, key: (raw[key] or [{}])[0]}
    for key in ENTRIES:
        if isinstance(raw.get(key), dict):
            what = tr("[{key}] stands for a single table.", key=key)
            problems.add((key,), what, tr("Write [[{key}]], in two brackets.", key=key))
            raw = {**raw, key: [raw[key]]}
    top = problems.check(SeasonTable, raw) or SeasonTable()
    if top.time_zone is not None:
        try:
            zone_of(top.time_zone)
        except InputError as error:
            near = did_you_mean(top.time_zone, sorted(available_timezones()))
            what = tr('"{time_zone}" is not a time zone.', time_zone=top.time_zone)
            problems.add(("time_zone",), what, near or error.problems[0].remedy)
            top = top.model_copy(update={"time_zone": None})
    return _Builder(top, files, logs).build(must_hold)


class _Builder(PlanBuilder):
    def build(self, must_hold: MustHold) -> SeasonDraft:
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
                drill, written, top.currency, problems, path, logged=self._has_logs(name, must_hold)
            )
            self.implements[name], self.said["implement", name] = built or (None, [])
        plots = self._tables("field", FieldTable)
        for name, path, plot in plots:
            drawn = plot and self.files.field(plot, path)
            self.fields[name], self.said["field", name] = drawn or (None, [])
        enough = has_pasture(top) if must_hold == "either" else must_hold != "operations"
        if not top.operation and not enough:
            remedy = tr("Add one under [[operation]].")
            problems.add(("operation",), tr("There is no operation."), remedy)
        plans, equipped, written_jobs = self._operations()
        handover = handover_of(top, [plot for _, _, plot in plots if plot], written_jobs, problems)
        defined = (self.fields, self.implements, self.products)
        pasture = pasture_of(top, self.files, *defined, seeded=must_hold == "seeding")
        used = {plan.field.name for plan in plans} | set(pasture.paddocks)
        warnings: list[str] = []
        if must_hold in ("operations", "either"):
            idle = [name for name in self.fields if name not in used]
            warnings += [tr('The field "{name}" has no operation.', name=name) for name in idle]
        if must_hold in ("seeding", "either"):
            # Of the drill, seed and fields that the pasture takes too.
            asked = top.seeding if isinstance(top.seeding, Mapping) else {}
            names = [("field", name) for name in pasture.paddocks]
            names += [(key, str(asked.get(key))) for key in ("implement", "product")]
            said = [text for key in names for text in self.said.get(key, [])]
            warnings += dict.fromkeys([*said, *pasture.warnings])
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
            language=top.language,
            needs=tuple(self._needs()),
            products=tuple(product for product in self.products.values() if product),
            time_zone=top.time_zone,
            grazing=pasture.grazing,
            seeding=pasture.seeding,
            fields=self._ground(pasture, needed=must_hold == "fields"),
            implements={name: tool for name, tool in self.implements.items() if tool},
            handover=handover,
        )
        return SeasonDraft(season, tuple(problems.problems), tuple(equipped), self.said)

    def _has_logs(self, implement: str, must_hold: MustHold) -> bool:
        """Whether logs of an implement may tell its width, and nothing else asks for it."""
        seeding = self.top.seeding if isinstance(self.top.seeding, Mapping) else {}
        logged = any(
            isinstance(job, Mapping) and job.get("implement") == implement
            for job in self.top.operation
        )
        audited = self.logs and must_hold != "fields"
        return audited and logged and seeding.get("implement") != implement

    def _ground(self, pasture: Pasture, *, needed: bool) -> tuple[Field, ...]:
        """Fields and paddocks; a paddock of a field's name is the field, drawn more fully."""
        found = {name: plot for name, plot in self.fields.items() if plot}
        found |= {plot.name: plot for plot in pasture.fields}
        for plot in pasture.fields:
            self.said.setdefault(("field", plot.name), [])
            self.said["field", plot.name] += pasture.map_warnings
        if needed and not (found or self.problems.problems):
            remedy = tr("Add one under [[field]], with its boundary.")
            self.problems.add(("field",), tr("There is no field."), remedy)
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

    def _operations(
        self,
    ) -> tuple[list[OperationPlan], list[bool], list[tuple[KeyPath, OperationTable]]]:
        plans: list[OperationPlan] = []
        tables: list[tuple[KeyPath, OperationTable]] = []
        equipped: list[bool] = []
        seen: set[tuple[str, str]] = set()
        for index, entry in enumerate(self.top.operation):
            path: KeyPath = ("operation", index)
            table = self.problems.check(OperationTable, entry, path)
            if table is None:
                continue
            if (table.field, table.name) in seen:
                what = tr(
                    'The field "{field}" has two operations called "{name}".',
                    field=table.field,
                    name=table.name,
                )
                self.problems.add((*path, "name"), what, tr("Rename one of them."))
            seen.add((table.field, table.name))
            plans.append(self.plan(table, path))
            tables.append((path, table))
            equipped.append(self.implements.get(table.implement) is not None)
        return plans, equipped, tables

    def _needs(self) -> list[Need]:
        """Check every need against the fields and zones there are."""
        needs: list[Need] = []
        seen: set[tuple[str, str | None, str]] = set()
        for index, entry in enumerate(self.top.need):
            path: KeyPath = ("need", index)
            table = self.problems.check(NeedTable, entry, path, ("field", "zone"))
            if table is None or not self._is_there(table, path):
                continue
            keys = ("field", "zone")
            asked = {k: rate for k, rate in table if k not in keys and rate is not None}
            if not asked and not set(entry) - {"field", "zone"}:
                remedy = tr('Add a nutrient, such as N = "120 lb/ac".')
                self.problems.add(path, tr("It asks for nothing."), remedy)
            for nutrient, rate in asked.items():
                key = (table.field, table.zone, _LABEL_TERMS.get(nutrient, nutrient))
                if key in seen:
                    where = f"{table.field}, {table.zone}" if table.zone else table.field
                    what = tr("{key} is asked for twice on {where}.", key=key[2], where=where)
                    self.problems.add((*path, nutrient), what, tr("Keep one of them."))
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
            what = tr('"{field}" has no zone "{zone}".', field=need.field, zone=need.zone)
            remedy = choice(need.zone, zones, tr("Give the field its zones, or leave zone out."))
            self.problems.add((*path, "zone"), what, remedy)
        return need.zone in zones


def implement_of(
    table: ImplementTable,
    written: Mapping[str, object],
    currency: str,
    problems: ProblemCollector,
    path: KeyPath,
    *,
    logged: bool,
) -> tuple[Implement | None, list[str]]:
    """Work out width and rows from whichever two of width, rows and spacing are given.

    ``logged``: logs will be read that may tell the width.
    Returns the implement, or None when something was wrong, and warnings.
    """
    before = len(problems.problems)
    warnings: list[str] = []
    width, rows = _width_and_rows(table, logged, problems, path)
    listed_rows = tuple(table.sections) if isinstance(table.sections, list) else ()
    rows = sum(listed_rows) if listed_rows and rows is None else rows
    known = rows is not None
    if rows is not None and isinstance(table.sections, int) and rows % table.sections:
        what = tr(
            "{rows} rows do not divide into {sections} equal sections.",
            rows=rows,
            sections=table.sections,
        )
        remedy = tr("List the rows of each section from the left: sections = [8, 8, 8, 8].")
        problems.add((*path, "sections"), what, remedy)
    elif rows is not None and isinstance(table.sections, list) and sum(listed_rows) != rows:
        together = f"The sections have {sum(listed_rows)} rows together"
        what = tr("{together}, but the implement has {rows}.", together=together, rows=rows)
        problems.add((*path, "sections"), what, tr("List the rows of each section from the left."))
    warnings += _check_towers(table, rows, problems, path)
    names = [bin_.name for bin_ in table.compartments]
    for index, name in enumerate(names):
        is_new(name, names[:index], problems, (*path, "compartments", index, "name"))
    if table.cost is not None:
        check_currency(written.get("cost"), currency, problems, (*path, "cost"))
    if len(problems.problems) > before:
        return None, warnings
    count = table.sections if isinstance(table.sections, int) else 0
    equal = ((rows or count) // count,) * count if count else ()
    if table.axle_to_antenna == 0 and table.antenna_ahead == 0 and table.tow:
        warnings.append(
            tr(
                "{name}: it is towed, but how far the antenna is ahead of the hitch pin is "
                "not given (antenna_ahead); the pin was taken to be right under the antenna.",
                name=table.name,
            )
        )
    said = {key for key in table.model_fields_set if getattr(table, key) != []}
    made = table.given(Implement) | {
        "width_m": width or 1.0,
        "width_known": width is not None,
        "rows": rows or max(count, 1),
        "rows_known": known,
        "section_rows": listed_rows or equal,
        "tow": tuple(TowedUnit(**unit.given(TowedUnit)) for unit in table.tow),
        "behind": tuple(TowedUnit(**unit.given(TowedUnit)) for unit in table.behind),
        "tool_to_pin_m": table.tool_to_pin,
        "transport_width_m": table.transport_width,
        "product_lag_s": table.delay,
        "told": tuple(told for told, keys in _TOLD.items() if keys & said),
        "compartments": tuple(Compartment(bin_.name, bin_.volume) for bin_ in table.compartments),
    }
    implement = Implement(**made)
    return implement.of_width(width) if width is not None else implement, warnings


def _check_towers(
    table: ImplementTable, rows: int | None, problems: ProblemCollector, path: KeyPath
) -> list[str]:
    place, fed = (*path, "rows_per_tower"), table.rows_per_tower
    if fed is None:
        return []
    if rows is None:
        what = tr("Towers feed rows, but the number of rows is not given.")
        problems.add(place, what, tr("Add rows = 32 or row_spacing."))
    elif fed > rows:
        what = tr("A tower cannot feed {fed} of {rows} rows.", fed=fed, rows=rows)
        problems.add(place, what, tr("Give the rows that one tower feeds."))
    elif last := rows % fed:
        apart = f"{rows} rows do not divide into towers of {fed}"
        return [
            tr(
                "{name}: {apart}; the last tower feeds {last}.",
                name=table.name,
                apart=apart,
                last=last,
            )
        ]
    return []


def _width_and_rows(
    table: ImplementTable, logged: bool, problems: ProblemCollector, path: KeyPath
) -> tuple[float | None, int | None]:
    width, rows, spacing = table.width, table.rows, table.row_spacing
    if width is None and rows is not None and spacing is not None:
        width = rows * spacing
        if not 0.1 <= width <= 60.0:
            what = tr(
                "{rows} rows so far apart make a width of {in_both}.",
                rows=rows,
                in_both=in_both("length", width),
            )
            remedy = tr(
                "Give rows and row_spacing that make between 0.1 m (4 in) and 60 m (197 ft)."
            )
            problems.add((*path, "rows"), what, remedy)
    elif width is None and not (logged and spacing is None):
        remedy = tr('Give it, such as "20 ft", or the number of rows and their spacing.')
        problems.add((*path, "width"), tr("The working width is missing."), remedy)
    elif width is not None and spacing is not None:
        rows = rows if rows is not None else max(1, round(width / spacing))
        if abs(rows * spacing - width) > _MATCH * width:
            key = "row_spacing" if table.rows is None else "rows"
            apart = f"{spacing / 0.0254:.3g} in ({spacing:.3g} m)"
            problems.add(
                (*path, key),
                tr(
                    "{rows} rows {apart} apart span {in_both}, but the width is {in_both_2}.",
                    rows=rows,
                    apart=apart,
                    in_both=in_both("length", rows * spacing),
                    in_both_2=in_both("length", width),
                ),
                tr("Correct one of them, or leave one out."),
            )
    return width, rows
