"""The plan of interseeding as one HTML page that opens without a network."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from evenacre.model import InputFile
from evenacre.planning.interseeding.plan_types import BEYOND, Fill, InterseedPlan, Visit
from evenacre.reports import figure_text as figures
from evenacre.reports.maps.interactive import script_json
from evenacre.reports.maps.interseeding import interseed_map
from evenacre.reports.maps.paddock_states import STATES, steps
from evenacre.reports.maps.timeline import HEAD, ROW, timeline
from evenacre.reports.pages.frame import asset, page
from evenacre.reports.sentences.interseeding import interseed_answer, relaxation_title
from evenacre.reports.sentences.interseeding_cautions import interseed_cautions
from evenacre.reports.sentences.interseeding_facts import clock, numbered, part_text, short_weekday
from evenacre.reports.sentences.interseeding_method import method_words
from evenacre.reports.sentences.interseeding_rules import relaxation_words, shortage_words
from evenacre.reports.tables.interseeding_page import (
    fill_account,
    lost_account,
    move_account,
    paddock_account,
    pass_account,
    window_account,
)
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

    Parameters
    ----------
    plan : InterseedPlan
    units : UnitSystem
    farm : str
        Title of the page; may be empty.
    inputs : sequence of InputFile
        Files read.
    warnings : sequence of str
        What was found in them.
    time_zone : str or None
        IANA name of the clock times; None: local mean time.
    """
    by_day, step_of = steps(plan, units)
    used = {state for step in by_day for state in step.states}
    accounts = [
        paddock_account(plan, units),
        fill_account(plan, units),
        move_account(plan, units),
        window_account(plan),
        pass_account(plan, units),
        lost_account(plan),
    ]
    return page(
        "interseed.html.j2",
        title=farm or "Interseeding",
        about="plan of interseeding",
        inputs=inputs,
        key=_KEY,
        seed=plan.seeding.product.name,
        card=interseed_answer(plan, units),
        warnings=list(dict.fromkeys([*warnings, *plan.warnings])),
        relaxation_title=relaxation_title(plan),
        relaxations=[
            ("missed" if r.rule == BEYOND else "over", relaxation_words(r, units))
            for r in plan.relaxations
        ],
        shortages=[shortage_words(s, units) for s in plan.herd.shortages],
        stops=[_stop(v, n, plan, units, step_of[n]) for v, n in numbered(plan).items()],
        first=_UNFOLDED,
        timeline=timeline(plan),
        row=ROW,
        head=HEAD,
        map=interseed_map(plan, units, _KEY),
        states=[(key, words) for key, words in STATES.items() if key in used],
        steps=len(by_day) - 1,
        whole=by_day[0],
        days=script_json([step.plain() for step in by_day]),
        names=script_json([p.paddock.field.name for p in plan.paddocks]),
        accounts=[table for table in accounts if table.rows],
        method=method_words(plan, units, time_zone),
        cautions=interseed_cautions(plan),
        plan_style=asset("interseed.css"),
        plan_script=asset("interseed.js"),
    )


def _stop(
    v: Visit, number: int, plan: InterseedPlan, units: UnitSystem, step: int
) -> dict[str, Any]:
    """One visit of the list of what to do."""
    fills = [f for f in plan.fills if _at(f, v)]
    loads = ", ".join(f"load {f.number} ({units.mass.text(f.mass_kg)})" for f in fills)
    return {
        "number": number,
        "step": step,
        "day": short_weekday(v.day),
        "paddock": v.paddock,
        "text": (
            f"{part_text(v.share)}, {figures.size(v.area_m2, units, 3)}, "
            f"{units.mass.text(v.seed_kg)} of seed; {clock(v.start_s)} to {clock(v.end_s)}."
        ),
        "loads": f"Fill {loads}." if loads else "",
    }


def _at(fill: Fill, v: Visit) -> bool:
    return (
        fill.paddock == v.paddock
        and fill.day == v.day
        and (v.start_s - 1 <= fill.start_s <= v.end_s + 1)
    )
