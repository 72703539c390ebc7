"""The report as one HTML file that opens without a network."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from evenacre.model import InputFile
from evenacre.model.audit_result import AuditResult
from evenacre.planning.interseeding.comparison import PlannedDone
from evenacre.planning.loads.operation_loads import OperationLoads
from evenacre.planning.loads.stock_balance import Balance
from evenacre.planning.season.season_totals import Ledger
from evenacre.reports import figure_text as figures
from evenacre.reports.column import Display
from evenacre.reports.maps.interactive import interactive_map
from evenacre.reports.maps.load_charts import halfway_charts
from evenacre.reports.maps.printed import static_maps
from evenacre.reports.pages.frame import page, templates
from evenacre.reports.sentences.audit import card
from evenacre.reports.sentences.cautions import cautions
from evenacre.reports.sentences.findings import sentences
from evenacre.reports.sentences.loads import halfway_sentence
from evenacre.reports.sentences.plan_against_done import (
    TITLE,
    planned_done_account,
    planned_done_card,
)
from evenacre.reports.sentences.season import season_card
from evenacre.reports.tables.audit_page import accounts
from evenacre.reports.tables.fix_list import advice, kind_words, stops
from evenacre.reports.tables.loads_page import balance_account_table, load_accounts
from evenacre.reports.tables.season import season_page_tables
from evenacre.units.display import UnitSystem

_UNFOLDED = 12  # stops of the fix list in sight; a tired reader goes no further at once


@dataclass(frozen=True)
class RenderedOperation:
    """The heavy part of a report, made operation by operation and in any process.

    Attributes
    ----------
    card, section : str
        HTML of the answer and of everything below it.
    maps : dict of str to bytes
        Printed maps and charts, file stem to PNG.
    """

    card: str
    section: str
    maps: dict[str, bytes]


def render_operation(
    result: AuditResult,
    units: UnitSystem,
    *,
    key: str = "op1",
    currency: str = "USD",
    loads: OperationLoads | None = None,
) -> RenderedOperation:
    """Render one operation's maps, answer and section.

    Parameters
    ----------
    result : AuditResult
    units : UnitSystem
    key : str
        Letters and digits; unlike that of any other operation of the report.
    currency : str
        Of the costs.
    loads : OperationLoads, optional
        What its load tickets tell.
    """
    maps = static_maps(result, units)
    charts = halfway_charts(loads, units) if loads else {}
    frame = stops(result)
    places = [
        {
            "number": s.skip,
            "kind": kind_words(s.kind, s.cause),
            "size": figures.size(s.area_m2, units),
            "where": text,
            "geo": f"{s.lat:.6f},{s.lon:.6f}",
            "place": f"{s.lat:.6f}, {s.lon:.6f}",
        }
        for s, text in zip(frame.itertuples(), advice(result, units), strict=True)
    ]
    context = {
        "key": key,
        "r": result,
        "card": card(result, units, currency=currency, loads=loads.loads if loads else ()),
        "job": ", ".join(w for w in (result.operation, result.date) if w and w != result.field),
        "stops": places,
        "first": _UNFOLDED,
        "rest": figures.size(float(frame["area_m2"].iloc[_UNFOLDED:].sum()), units),
        "map": interactive_map(result, units, key),
        "cover": _data_uri(maps["cover"]),
        "rates": [
            (p.product, _data_uri(png))
            for p, (stem, png) in zip(
                result.products, [m for m in maps.items() if m[0] != "cover"], strict=True
            )
        ],
        "accounts": [
            *accounts(result, units, currency=currency),
            *(load_accounts(loads, units) if loads else ()),
        ],
        "halfway": [
            (check.product, _data_uri(png), halfway_sentence(check, units))
            for check, png in zip(loads.halfway if loads else (), charts.values(), strict=True)
        ],
        "warnings": sentences(result.findings, "warning"),
        "notes": sentences(result.findings, "note"),
        "cautions": cautions(result),
        "cleaning": [(name, f"{n:,}") for name, n in result.cleaning.items() if n],
    }
    pages = templates()
    return RenderedOperation(
        card=pages.get_template("card.html.j2").render(context),
        section=pages.get_template("operation.html.j2").render(context),
        maps={**maps, **charts},
    )


@dataclass(frozen=True)
class RenderedPart:
    """A part of the page about several fields: HTML of its answer (may be empty) and section."""

    card: Markup
    section: Markup


def render_season(
    ledger: Ledger,
    units: UnitSystem,
    *,
    currency: str = "USD",
    balances: Sequence[Balance] = (),
) -> RenderedPart | None:
    """Render what all operations put down together; None when there is nothing to tell.

    Parameters
    ----------
    ledger : Ledger
    units : UnitSystem
    currency : str
        Of the costs.
    balances : sequence of Balance
        Of what was bought.
    """
    if not ledger.placements and not balances:
        return None
    pages = templates()
    answer = season_card(ledger, units, currency=currency, balances=balances)
    card_html = ""
    if answer:
        about = {"key": "season", "title": "The season", "about": "all operations together"}
        card_html = pages.get_template("part_card.html.j2").render(card=answer, **about)
    section = pages.get_template("season.html.j2").render(
        warnings=ledger.warnings,
        accounts=[
            *season_page_tables(ledger, Display(units, currency)),
            *([balance_account_table(balances, units)] if balances else []),
        ],
    )
    return RenderedPart(Markup(card_html), Markup(section))


def render_planned_done(compared: PlannedDone, units: UnitSystem) -> RenderedPart:
    """Render a plan of interseeding beside what was done."""
    context = {
        "key": "planned-done",
        "title": TITLE,
        "about": f"interseeding of {compared.planned.product}",
        "card": planned_done_card(compared, units),
        "account": planned_done_account(compared, units),
        "warnings": compared.warnings,
    }
    pages = templates()
    return RenderedPart(
        card=Markup(pages.get_template("part_card.html.j2").render(context)),
        section=Markup(pages.get_template("planned_done.html.j2").render(context)),
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
    """Join rendered operations into the page.

    Parameters
    ----------
    rendered : sequence of RenderedOperation
        In the order of the page; each with a ``key`` of its own.
    farm : str
        Title of the page; may be empty.
    inputs : sequence of InputFile
    warnings : sequence of str
        Of the inputs as a whole.
    season, planned_done : RenderedPart, optional
    """
    return page(
        "report.html.j2",
        title=farm or "Ground account",
        about="ground account",
        inputs=inputs,
        warnings=warnings,
        cards=[Markup(r.card) for r in rendered],
        sections=[Markup(r.section) for r in rendered],
        parts=[part for part in (planned_done, season) if part],
    )


def _data_uri(png: bytes) -> str:
    return f"data:image/png;base64,{base64.b64encode(png).decode('ascii')}"
