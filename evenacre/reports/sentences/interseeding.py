"""The answer of an interseeding plan in plain words, and the plan as lines for a terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from evenacre.planning.interseeding.plan_types import BEYOND, InterseedPlan, PaddockPlan
from evenacre.reports import figure_text as figures
from evenacre.reports.sentences.audit import Card
from evenacre.reports.sentences.interseeding_cautions import interseed_cautions
from evenacre.reports.sentences.interseeding_facts import (
    chance_text,
    day_text,
    goal_m2,
    share_seeded,
    wanted,
    whole,
)
from evenacre.reports.sentences.interseeding_rules import (
    relaxation_words,
    shortage_words,
    shut_words,
)
from evenacre.reports.tables.interseeding_page import day_account, fill_account, paddock_account
from evenacre.reports.writers.as_html import PageTable
from evenacre.units.display import UnitSystem

_MOST_LINES = 6
_EVEN = 1e-3  # rates closer than this are the same


def interseed_answer(plan: InterseedPlan, units: UnitSystem) -> Card:
    """Say how much is seeded by when, with how much seed and how surely, and what is short."""
    lines = []
    if plan.visits:
        lines.append(("product", _seed(plan, units)))
    if plan.chance_all is not None:
        lines.append(("product", _chance(plan)))
    lines += [("missed", text) for text in _left_out(plan, units)]
    short = [("short", shortage_words(s, units)) for s in plan.herd.shortages]
    lines += short[:_MOST_LINES]
    if len(short) > _MOST_LINES:
        lines.append(("short", f"{len(short) - _MOST_LINES} more shortages are in the table."))
    if plan.visits and not plan.schedule.proven:
        lines.append(
            (
                "cost",
                "The search was stopped for time: another schedule might be worth up to "
                f"{100 * plan.schedule.gap:.1f} % more.",
            )
        )
    return Card(_headline(plan, units), tuple(lines))


def interseed_lines(
    plan: InterseedPlan,
    units: UnitSystem,
    *,
    warnings: Sequence[str] = (),
    files: Sequence[str] = (),
) -> list[str]:
    """Say the plan for a terminal, the answer first.

    Parameters
    ----------
    plan : InterseedPlan
    units : UnitSystem
    warnings : sequence of str
        What was found in the inputs.
    files : sequence of str
        Written, with what each is for if need be.
    """
    answer = interseed_answer(plan, units)
    lines = [f"{answer.headline}.", *(f"  {text}" for _, text in answer.lines)]
    for table in (
        paddock_account(plan, units),
        day_account(plan, units),
        fill_account(plan, units),
    ):
        if table.rows:
            lines += ["", f"{table.title}:", *_columns(table)]
    if plan.relaxations:
        lines += ["", f"{relaxation_title(plan)}:"]
        lines += [f"  {relaxation_words(r, units)}" for r in plan.relaxations]
    told = [*warnings, *plan.warnings]
    if told:
        lines += ["", *(f"warning: {text}" for text in dict.fromkeys(told))]
    if cautions := interseed_cautions(plan):
        lines += ["", "Take care:", *(f"  {text}" for text in cautions)]
    if files:
        lines += ["", "Files:", *(f"  {name}" for name in files)]
    return lines


def relaxation_title(plan: InterseedPlan) -> str:
    """Head the list of what to relax."""
    beyond = [r.rule == BEYOND for r in plan.relaxations]
    if all(beyond):
        return "What cannot be seeded"
    if any(beyond):
        return "What would let more be seeded"
    return "What would let every paddock be seeded whole"


def _headline(plan: InterseedPlan, units: UnitSystem) -> str:
    goals = wanted(plan)
    goal = sum(goal_m2(p) for p in goals)
    seeded = sum(p.seeded_m2 for p in goals)
    if not goals:
        return "No paddock is to be seeded"
    if not plan.visits:
        return f"None of {figures.size(goal, units, 3)} can be seeded"
    by = f"by {day_text(plan.visits[-1].day)}"
    if all(whole(p) for p in goals):
        return f"All {figures.size(goal, units, 3)} can be seeded, {by}"
    return f"{figures.size(seeded, units, 3)} of {figures.size(goal, units, 3)} can be seeded, {by}"


def _seed(plan: InterseedPlan, units: UnitSystem) -> str:
    s, rate = plan.seeding, plan.schedule.rate_kg_per_m2
    text = f"{units.mass.text(plan.seed_used_kg)} of {s.product.name} at {units.rate.text(rate)}"
    if abs(rate - s.rate_kg_per_m2) > _EVEN * s.rate_kg_per_m2:
        changed = "less, to reach further" if rate < s.rate_kg_per_m2 else "more, to come out even"
        text += f" ({changed}: {units.rate.text(s.rate_kg_per_m2)} was wanted)"
    if plan.fills:
        text += ", in 1 load" if len(plan.fills) == 1 else f", in {len(plan.fills)} loads"
    if plan.seed_left_kg is None or s.on_hand_kg is None:
        return f"{text}; how much is on hand was not told."
    if plan.seed_left_kg < _EVEN * s.on_hand_kg:
        return f"{text}; no seed is left over."
    left = units.mass.text(plan.seed_left_kg)
    return f"{text}; {left} of {units.mass.text(s.on_hand_kg)} is left over."


def _chance(plan: InterseedPlan) -> str:
    assert plan.chance_all is not None
    text = f"Chance that weather leaves time for all of it: {chance_text(plan.chance_all)}"
    known = [(p.chance, p.paddock.field.name) for p in plan.paddocks if p.chance is not None]
    chance, name = min(known, default=(1.0, ""))
    if len(known) > 1 and round(100 * chance) < 100:
        text += f"; least sure is {name}, {chance_text(chance)}"
    return f"{text}."


def _left_out(plan: InterseedPlan, units: UnitSystem) -> Iterator[str]:
    none = [p for p in wanted(plan) if not p.visits]
    part = [p for p in wanted(plan) if p.visits and not whole(p)]
    if part:
        named = ", ".join(
            f"{p.paddock.field.name} ({100 * share_seeded(p):.0f} %: {_of_goal(p, units)})"
            for p in part
        )
        yield f"Seeded in part: {named}."
    if none:
        yield f"Not seeded: {', '.join(_why_not(p, plan) for p in none)}."


def _of_goal(p: PaddockPlan, units: UnitSystem) -> str:
    return f"{figures.size(p.seeded_m2, units, 3)} of {figures.size(goal_m2(p), units, 3)}"


def _why_not(p: PaddockPlan, plan: InterseedPlan) -> str:
    name = p.paddock.field.name
    if p.window is not None and p.window.opens is None:
        return f"{name} ({shut_words(p.window, plan)})"
    return name


def _columns(table: PageTable) -> Iterator[str]:
    """The rows of a table side by side, words to the left and figures to the right."""
    rows = [table.head, *table.rows]
    widths = [max(len(row[place]) for row in rows) for place in range(len(table.head))]
    for row in rows:
        cells = [
            cell.ljust(width) if place < table.words else cell.rjust(width)
            for place, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        yield f"  {'  '.join(cells)}".rstrip().replace("\N{NO-BREAK SPACE}", " ")
