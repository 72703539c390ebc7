"""How a result was worked out: what it was made from, what was set, found and meant."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

from evenacre.language import mark, tr
from evenacre.model import InputFile, Settings
from evenacre.model.audit_result import AuditResult
from evenacre.model.finding import Finding
from evenacre.planning.season.nutrients import AuditedJob
from evenacre.reports import quantities as q
from evenacre.reports.column import Column, Table, joined, json_only, named, nested
from evenacre.reports.sentences.findings import sentence
from evenacre.reports.tables import audit, audit_products, loads, season
from evenacre.reports.writers.as_html import PageTable, page_table

SCHEMA = "evenacre/method/1.0"

_ON_ITS_PAGE = "JSON and the page on method have it"


_SECONDS = replace(q.plain_number("s"), text=lambda v, _, __: tr("{seconds:g} s", seconds=v))


INPUTS = Table(
    "inputs",
    (
        named("path", "File", quantity=q.WORDS),
        named("size_bytes", "Bytes", quantity=q.COUNT),
        named("sha256", "SHA-256", quantity=q.WORDS),
    ),
    title="What it was made from",
    outputs=("json", "page"),
    why=_ON_ITS_PAGE,
)

SAID, LOGGED, USUAL = mark("said"), mark("from the log"), mark("taken as usual")


@dataclass(frozen=True)
class Setting:
    """What a job was worked out with, and where that comes from."""

    field: str
    operation: str
    name: str
    value: Any
    kind: q.Quantity
    origin: str  # `SAID`, `LOGGED` or `USUAL`


SETTINGS = Table(
    "settings",
    (
        named("field"),
        named("operation", "Job"),
        named("setting=name", "Setting", text=lambda name, _: tr(name)),
        named("origin", "Where from", text=lambda origin, _: tr(origin)),
        named("value", None, why="the page writes it in the unit of its kind"),
        named("unit", None, of=lambda s: s.kind.si, why="SI, for programs"),
        joined("shown", "Value", lambda s, d: s.kind.text(s.value, d, 3), "value unit"),
    ),
    title="What it was worked out with",
    json="field operation setting value unit origin",
    page="field operation setting shown origin",
    words=3,
    outputs=("json", "page"),
    why=_ON_ITS_PAGE,
    remark=(
        "Said is what the season or an option has; from the log is what the log itself tells; "
        "taken as usual is what stands in where neither tells."
    ),
)

_NUMBERS = {setting.name: setting.default for setting in fields(Settings)}
_OF_DRILL = (
    ("behind", mark("tool behind antenna"), q.LENGTH, "behind_m"),
    ("left", mark("antenna left of the middle"), q.LENGTH, "antenna_left_m"),
    ("lag", mark("delay from meter to ground"), _SECONDS, "product_lag_s"),
)
_RECEIVER_SAID, _RECEIVER_USUAL = ("stated",), ("usual", "device", "kind of log")


def settings_used(jobs: Iterable[AuditedJob]) -> Iterator[Setting]:
    """Everything that the figures of jobs hang on, job by job."""
    for job in jobs:
        r = job.result
        for name, value, kind, origin in (*_drill(job), *_fine_points(job), *_rates(r)):
            yield Setting(r.field, r.operation, name, value, kind, origin)


_Told = tuple[str, Any, q.Quantity, str]


def _drill(job: AuditedJob) -> Iterator[_Told]:
    tool, r = job.plan.implement, job.result
    yield mark("working width"), r.width_m, q.LENGTH, SAID if tool.width_known else LOGGED
    yield mark("rows"), tool.rows, q.COUNT, SAID if tool.rows_known else USUAL
    measured = {one.setting: one.value for one in r.measured if one.used}
    for setting, name, kind, attribute in _OF_DRILL:
        if setting in measured:
            yield name, measured[setting], kind, LOGGED
        else:
            yield name, getattr(tool, attribute), kind, SAID if tool.tells(setting) else USUAL


def _fine_points(job: AuditedJob) -> Iterator[_Told]:
    settings, r = job.plan.settings, job.result
    if r.receiver is not None:
        told = r.receiver.told_by
        origin = SAID if told in _RECEIVER_SAID else USUAL if told in _RECEIVER_USUAL else LOGGED
        yield mark("receiver, from pass to pass"), r.receiver.pass_m, season.SHORT, origin
        within = LOGGED if origin == LOGGED else USUAL
        within = within if settings.within_pass_m is None else SAID
        yield mark("receiver, within a pass"), r.receiver.within_m, season.SHORT, within
    said = settings.headland_rounds is not None
    yield mark("headland rounds"), r.headland_rounds, q.COUNT, SAID if said else LOGGED
    for key, name, kind, unset in (
        ("skip_min_width_m", mark("narrowest place listed"), season.SHORT, mark("half a row")),
        ("skip_min_area_m2", mark("smallest place listed"), q.SMALL_AREA, ""),
        ("max_gap_s", mark("longest silence bridged"), _SECONDS, mark("by the log's interval")),
        ("max_speed_mps", mark("fastest move that is no jump"), q.SPEED, ""),
        ("smooth", mark("positions smoothed"), q.YES_NO, ""),
    ):
        value = getattr(settings, key)
        origin = USUAL if value == _NUMBERS[key] else SAID
        yield (name, tr(unset), q.WORDS, origin) if value is None else (name, value, kind, origin)
    zone = r.time_zone
    yield mark("clock"), zone or tr("the log's own"), q.WORDS, SAID if zone else LOGGED


_AMOUNTS = {
    "flow": (mark("flow in the log"), LOGGED),
    "rate": (mark("rate in the log"), LOGGED),
    "target": (mark("target rate"), USUAL),
}


def _rates(r: AuditResult) -> Iterator[_Told]:
    for p in r.products:
        words, origin = _AMOUNTS[p.source]
        yield tr("amounts of {product}", product=p.product), tr(words), q.WORDS, origin
        if p.target_kg_per_m2 is not None:
            name = tr("target rate of {product}", product=p.product)
            yield name, p.target_kg_per_m2, q.TOLD_RATE, SAID


@dataclass(frozen=True)
class Told:
    """A finding of a job, or of the season where field and operation are empty."""

    field: str
    operation: str
    finding: Finding


_SEVERITY = {"warning": mark("warning"), "note": mark("note")}

FINDINGS = Table(
    "findings",
    (
        named("field"),
        named("operation", "Job"),
        named("severity", of=lambda t: t.finding.severity, text=lambda s, _: tr(_SEVERITY[s])),
        named("code", of=lambda t: t.finding.code),
        named("text", "What was found or taken", of=lambda t: sentence(t.finding)),
    ),
    title="What was guessed, and what looked wrong",
    words=5,
    outputs=("json", "page"),
    why=_ON_ITS_PAGE,
)


def findings_told(results: Iterable[AuditResult], of_season: Iterable[Finding]) -> list[Told]:
    """Every finding with what it is of; warnings first."""
    every = [Told("", "", finding) for finding in of_season]
    every += [Told(r.field, r.operation, finding) for r in results for finding in r.findings]
    return sorted(every, key=lambda told: told.finding.severity != "warning")


@dataclass(frozen=True)
class Meaning:
    """What a figure is, as it is declared."""

    table: Table
    key: str
    head: str
    unit: str
    means: str


FIGURES = Table(
    "figures",
    (
        named("table", of=lambda m: m.table.name, text=lambda name, _: name),
        named("key", "Key in the files"),
        named("head", "Figure"),
        named("unit", "Unit in JSON"),
        named("means", "What it is", text=lambda text, _: tr(text)),
    ),
    title="What each figure is",
    page="head key unit means",
    words=4,
    outputs=("json", "page"),
    why=_ON_ITS_PAGE,
)
_DEFINED = (
    *(audit.GROUND, audit.WORK, audit.SKIPS),
    *(audit_products.PRODUCTS, audit_products.ZONES, audit_products.NUTRIENTS),
    *(season.NEEDS, season.SEED, season.COSTS, loads.LOADS, loads.BALANCES),
)


def _head(column: Column, display: q.Display) -> str:
    """What a figure is called on the page, or in tables of data where that has it not."""
    if column.head is None:
        return f"{column.name}"[:1].upper() + f"{column.name}"[1:]
    return column.heading(display)


def meanings(display: q.Display) -> list[Meaning]:
    """Every declared figure that has a definition."""
    return [
        Meaning(table, column.key, _head(column, display), column.quantity.si, column.means)
        for table in _DEFINED
        for column in table.columns
        if column.means
    ]


@dataclass(frozen=True)
class Version:
    """A part of the software, or of the data that it brings."""

    name: str
    version: str


VERSIONS = Table(
    "versions",
    (named("name", "Software or data"), named("version")),
    title="What worked it out",
    words=2,
    outputs=("json", "page"),
    why=_ON_ITS_PAGE,
)


@dataclass(frozen=True)
class Method:
    """How a result was worked out, enough for someone else to repeat it.

    Attributes
    ----------
    command : tuple of str
        What repeats it, beside the files; empty where a program called for it.
    inputs : sequence of InputFile
    settings : sequence of Setting
    findings : sequence of Told
    versions : sequence of Version
    figures : sequence of Meaning
    """

    command: tuple[str, ...]
    inputs: Sequence[InputFile]
    settings: Sequence[Setting]
    findings: Sequence[Told]
    versions: Sequence[Version]
    figures: Sequence[Meaning]


METHOD = json_only(
    "method",
    named("command", None, quantity=q.NESTED, of=lambda m: list(m.command)),
    *(nested(table.name, table) for table in (INPUTS, SETTINGS, FINDINGS, FIGURES, VERSIONS)),
    why="the page has each part by itself",
)


def method_tables(method: Method, display: q.Display) -> list[PageTable]:
    """Every part of a method that has rows, for the page."""
    every = (
        (INPUTS, method.inputs),
        (SETTINGS, method.settings),
        (FINDINGS, method.findings),
        (FIGURES, method.figures),
        (VERSIONS, method.versions),
    )
    return [page_table(table, rows, display) for table, rows in every if rows]
