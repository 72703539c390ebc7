"""The plan of interseeding as one HTML page that opens without a network, and for a terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from evenacre.language import tr
from evenacre.model import InputFile
from evenacre.planning.interseeding.plan_types import BEYOND, InterseedPlan
from evenacre.reports.charts.timeline import HEAD, ROW, timeline
from evenacre.reports.maps.interactive import script_json
from evenacre.reports.maps.interseeding import interseed_map
from evenacre.reports.maps.paddock_states import STATES, steps
from evenacre.reports.pages.frame import asset, page
from evenacre.reports.quantities import Display
from evenacre.reports.sentences import interseeding as say
from evenacre.reports.sentences import interseeding_words as iw
from evenacre.reports.sentences.findings import sentences
from evenacre.reports.tables.interseeding import interseed_page_tables
from evenacre.reports.tables.interseeding_days import VISITS, loads, numbered_visits
from evenacre.reports.tables.interseeding_paddocks import paddocks_page
from evenacre.reports.writers.as_html import PageTable, page_table
from evenacre.units.display import UnitSystem

_KEY = "plan"
_UNFOLDED = 12  # visits in sight; a tired reader goes no further at once


def interseed_page(
    plan: InterseedPlan,
    units: UnitSystem,
    *,
    farm: str,
    inputs: Sequence[InputFile],
    warnings: Sequence[str] = (),
    time_zone: str | None = None,
) -> str:
    """Render a plan: the answer, what to do when, timeline, map by date, tables, cautions.

    Warnings are of the inputs; without a time zone times are local mean time.
    """
    by_day, step_of = steps(plan, units)
    used = {state for step in by_day for state in step.states}
    return page(
        "interseed.html.j2",
        title=farm or tr("Interseeding"),
        about=tr("plan of interseeding"),
        inputs=inputs,
        key=_KEY,
        seed=plan.seeding.product.name,
        card=say.interseed_answer(plan, units),
        warnings=list(dict.fromkeys([*warnings, *sentences(plan.findings, "warning")])),
        fewest=plan.relaxed_fewest,
        relaxation_title=say.relaxation_title(plan),
        relaxations=[
            ("missed" if r.rule == BEYOND else "over", say.relaxation_words(r, units))
            for r in plan.relaxations
        ],
        shortages=[say.shortage_words(s, units) for s in plan.herd.shortages],
        stops=[(n, v, iw.fills_at(plan, v)) for v, n in iw.numbered(plan).items()],
        step_of=step_of,
        iw=iw,
        units=units,
        first=_UNFOLDED,
        timeline=timeline(plan),
        row=ROW,
        head=HEAD,
        map=interseed_map(plan, units),
        states=[(key, tr(words)) for key, words in STATES.items() if key in used],
        steps=len(by_day) - 1,
        whole=by_day[0],
        days=script_json([step.plain() for step in by_day]),
        names=script_json([p.paddock.field.name for p in plan.paddocks]),
        tables=interseed_page_tables(plan, Display(units)),
        method=[*say.method_words(plan, units, time_zone), *sentences(plan.findings, "note")],
        cautions=say.interseed_cautions(plan),
        plan_style=asset("interseed.css"),
        plan_script=asset("interseed.js"),
    )


def interseed_lines(
    plan: InterseedPlan, units: UnitSystem, *, warnings: Sequence[str] = ()
) -> list[str]:
    """Say the plan for a terminal, the answer first; warnings are of the inputs."""
    answer, display = say.interseed_answer(plan, units), Display(units)
    lines = [f"{answer.headline}.", *(f"  {text}" for _, text in answer.lines)]
    for table in (
        paddocks_page(plan, display),
        page_table(VISITS, numbered_visits(plan), display),
        page_table(*loads(plan), display),
    ):
        if table.rows:
            lines += ["", f"{table.title}:", *_side_by_side(table)]
    if plan.relaxations:
        lines += ["", f"{say.relaxation_title(plan)}:"]
        lines += [f"  {say.relaxation_words(r, units)}" for r in plan.relaxations]
    told = [*warnings, *sentences(plan.findings, "warning")]
    if told:
        lines += ["", *(tr("warning: {said}", said=text) for text in dict.fromkeys(told))]
    if notes := sentences(plan.findings, "note"):
        lines += ["", *(tr("note: {said}", said=text) for text in notes)]
    if cautions := say.interseed_cautions(plan):
        lines += ["", tr("Take care:"), *(f"  {text}" for text in cautions)]
    return lines


def _side_by_side(table: PageTable) -> Iterator[str]:
    """The rows of a table, words to the left and figures to the right."""
    rows = [table.head, *table.rows]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        cells = [
            cell.ljust(width) if place < table.words else cell.rjust(width)
            for place, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        yield f"  {'  '.join(cells)}".rstrip().replace("\N{NO-BREAK SPACE}", " ")
