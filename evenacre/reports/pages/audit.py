"""The report as one HTML file that opens without a network."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from evenacre.model import InputFile
from evenacre.model.audit_result import AuditResult
from evenacre.planning.interseeding.comparison import PlannedDone
from evenacre.planning.loads.stock_balance import Balance, OperationLoads
from evenacre.planning.season.season_totals import Ledger
from evenacre.reports import figure_text as figures
from evenacre.reports.maps.interactive import interactive_map
from evenacre.reports.maps.load_charts import halfway_charts
from evenacre.reports.maps.printed import static_maps
from evenacre.reports.pages.frame import page, templates
from evenacre.reports.quantities import Display
from evenacre.reports.sentences.audit import Card, card, cautions, records_sentence
from evenacre.reports.sentences.findings import sentences
from evenacre.reports.sentences.fix_list import advice, kind_words, stops
from evenacre.reports.sentences.loads import halfway_sentence
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
    """A part of the page: HTML of its answer (may be empty) and section."""

    card: str
    section: str


@dataclass(frozen=True)
class RenderedOperation(RenderedPart):
    """The heavy part of a report, made operation by operation and in any process."""

    maps: dict[str, bytes]  # printed maps and charts, file stem to PNG


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
    maps, charts = static_maps(result, units), halfway_charts(loads, units) if loads else {}
    cover, *rates = maps.values()
    frame, checks = stops(result), loads.halfway if loads else ()
    part = _render(
        "operation.html.j2",
        card(result, units, currency=currency, loads=loads.loads if loads else ()),
        key=key,
        title=result.field,
        about=", ".join(w for w in (result.operation, result.date) if w and w != result.field),
        unbounded=not result.boundary_given,
        result=result,
        stops=[*zip(frame.itertuples(), advice(result, units), strict=True)],
        kind_words=kind_words,
        size=lambda area_m2: figures.size(area_m2, units),
        first=_UNFOLDED,
        rest_m2=float(frame["area_m2"].iloc[_UNFOLDED:].sum()),
        map=interactive_map(result, units, key),
        cover=cover,
        rates=[*zip(result.products, rates, strict=result.tells_places)],
        tables=[
            *audit_page_tables(result, display),
            *(load_page_tables(loads, display) if loads else ()),
        ],
        halfway=[
            (check.product, png, halfway_sentence(check, units))
            for check, png in zip(checks, charts.values(), strict=True)
        ],
        warnings=sentences(result.findings, "warning"),
        records=records_sentence(result, units),
        notes=sentences(result.findings, "note"),
        cautions=cautions(result),
    )
    return RenderedOperation(part.card, part.section, {**maps, **charts})


def _render(template: str, answer: Card | None, **context: Any) -> RenderedPart:
    context = {"unbounded": False, "card": answer, **context}
    pages = templates()
    card_html = pages.get_template("card.html.j2").render(context) if answer else ""
    return RenderedPart(card_html, pages.get_template(template).render(context))


def render_season(
    ledger: Ledger,
    units: UnitSystem,
    *,
    currency: str = "USD",
    balances: Sequence[Balance] = (),
) -> RenderedPart | None:
    """Render what all operations put down together; None when there is nothing to tell."""
    if not ledger.placements and not balances:
        return None
    display = Display(units, currency)
    return _render(
        "season.html.j2",
        season_card(ledger, units, currency=currency, balances=balances),
        key="season",
        title="The season",
        about="all operations together",
        warnings=sentences(ledger.findings, "warning"),
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
        title=TITLE,
        about=f"interseeding of {compared.planned.product}",
        table=planned_done_page_table(compared, Display(units)),
        warnings=sentences(compared.findings, "warning"),
    )


def document(
    rendered: Sequence[RenderedOperation],
    *,
    farm: str,
    inputs: Sequence[InputFile],
    warnings: Sequence[str],
    season: RenderedPart | None = None,
    planned_done: RenderedPart | None = None,
) -> str:
    """Join rendered operations, each with a key of its own, into the page.

    Warnings are of the inputs as a whole.
    """
    return page(
        "report.html.j2",
        title=farm or "Ground account",
        about="ground account",
        inputs=inputs,
        warnings=warnings,
        operations=rendered,
        parts=[part for part in (planned_done, season) if part],
    )
