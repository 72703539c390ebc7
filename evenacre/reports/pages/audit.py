"""The report as one HTML file that opens without a network."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from evenacre.language import tr
from evenacre.model import InputFile
from evenacre.model.audit_result import AuditResult
from evenacre.model.going_back import LEAVE, WHEN_THERE, WORTH_IT
from evenacre.planning.interseeding.comparison import PlannedDone
from evenacre.planning.loads.stock_balance import Balance, OperationLoads
from evenacre.planning.season.season_totals import Ledger
from evenacre.reports import figure_text as figures
from evenacre.reports.charts.job import job_charts
from evenacre.reports.charts.plot import Chart, page_style, swatch
from evenacre.reports.maps.interactive import interactive_map
from evenacre.reports.maps.printed import static_maps
from evenacre.reports.maps.thumbnail import HEIGHT, WIDTH, thumbnail
from evenacre.reports.pages.frame import page, templates
from evenacre.reports.quantities import Display
from evenacre.reports.sentences.audit import (
    Card,
    JobLine,
    card,
    cautions,
    job_line,
    records_sentence,
)
from evenacre.reports.sentences.findings import sentences
from evenacre.reports.sentences.fix_list import advice, basis, kind_words, stops
from evenacre.reports.sentences.plan_against_done import TITLE, planned_done_card
from evenacre.reports.sentences.season import season_card
from evenacre.reports.tables.audit import audit_page_tables
from evenacre.reports.tables.loads import BALANCES, load_page_tables
from evenacre.reports.tables.plan_against_done import planned_done_page_table
from evenacre.reports.tables.season import season_page_tables
from evenacre.reports.writers.as_html import page_table
from evenacre.units.display import UnitSystem

_UNFOLDED = 12  # stops of the fix list in sight; a tired reader goes no further at once


@dataclass(frozen=True)
class RenderedPart:
    """A part of the page: HTML of its answer (may be empty) and section, and its heading."""

    key: str
    title: str
    about: str
    card: str
    section: str


@dataclass(frozen=True)
class RenderedOperation(RenderedPart):
    """The heavy part of a report, made operation by operation and in any process."""

    line: JobLine
    picture: str  # its map, small, as SVG paths
    maps: dict[str, bytes]  # printed maps, by file name
    charts: dict[str, bytes]  # file stem to SVG


def render_operation(
    result: AuditResult,
    units: UnitSystem,
    *,
    key: str = "op1",
    currency: str = "USD",
    loads: OperationLoads | None = None,
) -> RenderedOperation:
    """Render one operation's maps, answer and section.

    ``key`` is letters and digits, unlike that of any other operation of the report; ``loads`` are
    what its load tickets tell.
    """
    display = Display(units, currency)
    maps, charts = static_maps(result, units), job_charts(result, loads, units)
    cover, *rates = (drawn for name, drawn in maps.items() if name.endswith(".png"))
    places = [*zip(stops(result).itertuples(), advice(result, units), strict=True)]
    answer = card(result, units, currency=currency, loads=loads.loads if loads else ())
    told = (result.operation, figures.day(result.date))
    part = _render(
        "operation.html.j2",
        answer,
        key=key,
        title=result.field,
        about=", ".join(w for w in told if w and w != result.field),
        result=result,
        stops=places,
        go=[p for p in places if p[0].verdict == WORTH_IT],
        there=[p for p in places if p[0].verdict == WHEN_THERE],
        leave=[p for p in places if p[0].verdict == LEAVE],
        basis=basis(result, units, currency),
        kind_words=kind_words,
        size=lambda area_m2: figures.size(area_m2, units),
        first=_UNFOLDED,
        map=interactive_map(result, units),
        cover=cover,
        rates=[*zip(result.products, rates, strict=result.tells_places)],
        tables=[
            *audit_page_tables(result, display),
            *(load_page_tables(loads, display) if loads else ()),
        ],
        charts=charts,
        swatch=swatch,
        warnings=sentences(result.findings, "warning"),
        records=records_sentence(result, units),
        notes=sentences(result.findings, "note"),
        cautions=cautions(result),
    )
    return RenderedOperation(
        **vars(part),
        line=job_line(result, answer, units),
        picture=thumbnail(result),
        maps=maps,
        charts=chart_files(charts),
    )


def chart_files(charts: Iterable[Chart]) -> dict[str, bytes]:
    """Charts by themselves, file stem to SVG."""
    return {chart.name: chart.alone().encode() for chart in charts}


def _render(
    template: str, answer: Card | None, *, key: str, title: str, about: str, **context: Any
) -> RenderedPart:
    heading = {"key": key, "title": title, "about": about}
    context = {"card": answer, **heading, **context}
    pages = templates()
    card_html = pages.get_template("card.html.j2").render(context) if answer else ""
    return RenderedPart(
        **heading, card=card_html, section=pages.get_template(template).render(context)
    )


def render_season(
    ledger: Ledger,
    units: UnitSystem,
    *,
    currency: str = "USD",
    balances: Sequence[Balance] = (),
    charts: Sequence[Chart] = (),
) -> RenderedPart | None:
    """Render what all operations put down together; None when there is nothing to tell."""
    if not ledger.placements and not balances:
        return None
    display = Display(units, currency)
    return _render(
        "season.html.j2",
        season_card(ledger, units, currency=currency, balances=balances),
        key="season",
        title=tr("The season"),
        about=tr("all operations together"),
        warnings=sentences(ledger.findings, "warning"),
        charts=charts,
        swatch=swatch,
        tables=[
            *season_page_tables(ledger, display),
            *([page_table(BALANCES, balances, display)] if balances else []),
        ],
    )


def render_planned_done(compared: PlannedDone, units: UnitSystem) -> RenderedPart:
    """Render a plan of interseeding beside what was done."""
    return _render(
        "planned_done.html.j2",
        planned_done_card(compared, units),
        key="planned-done",
        title=tr(TITLE),
        about=tr("interseeding of {product}", product=compared.planned.product),
        table=planned_done_page_table(compared, Display(units)),
        warnings=sentences(compared.findings, "warning"),
    )


def document(
    rendered: Sequence[RenderedOperation],
    *,
    farm: str,
    inputs: Sequence[InputFile],
    warnings: Sequence[str],
    costs: Sequence[str] = (),
    season: RenderedPart | None = None,
    planned_done: RenderedPart | None = None,
) -> str:
    """Join rendered operations, each with a key of its own, into the page.

    Several stand in a table first, folded below it. Warnings are of the inputs as a whole;
    ``costs`` say what each operation cost, empty where no price is known.
    """
    return page(
        "report.html.j2",
        title=farm or tr("What was covered"),
        about=tr("ground account"),
        inputs=inputs,
        warnings=warnings,
        operations=rendered,
        chart_style=page_style(),
        pairs=_of_one_field(rendered),
        costs=costs or [""] * len(rendered),
        picture_size=(WIDTH, HEIGHT),
        parts=[part for part in (season, planned_done) if part],
    )


def _of_one_field(rendered: Sequence[RenderedOperation]) -> list[RenderedOperation]:
    """Jobs that there is another one of their field to compare with, field by field."""
    by_field: dict[str, list[RenderedOperation]] = {}
    for one in rendered:
        by_field.setdefault(one.title, []).append(one)
    return [one for jobs in by_field.values() if len(jobs) > 1 for one in jobs]
