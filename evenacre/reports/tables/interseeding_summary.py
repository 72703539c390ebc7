"""The machine-readable account of an interseeding plan."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from evenacre import __version__
from evenacre.model import InputFile
from evenacre.planning.interseeding.plan_types import (
    InterseedPlan,
    PaddockPlan,
    SeedingWindow,
    WorkDay,
)
from evenacre.reports.sentences.findings import sentences
from evenacre.reports.sentences.interseeding_cautions import interseed_cautions
from evenacre.reports.sentences.interseeding_facts import (
    goal_m2,
    numbered,
    share_seeded,
    spells,
    wanted,
    whole,
)
from evenacre.reports.tables.passes import drive_account
from evenacre.reports.writers.json_types import json_types

SCHEMA = "evenacre/plan/1.1"


def interseed_account(
    plan: InterseedPlan,
    *,
    farm: str,
    generated: str,
    inputs: Sequence[InputFile],
    warnings: Sequence[str] = (),
    time_zone: str | None = None,
) -> dict[str, Any]:
    """Account of a plan in SI units, as JSON types in a stable order.

    Parameters
    ----------
    plan : InterseedPlan
    farm : str
    generated : str
        ISO 8601 time of the run: the only value of its own that changes between equal runs.
    inputs : sequence of InputFile
        Files read, with their SHA-256.
    warnings : sequence of str
        What was found in the inputs; those of the plan follow.
    time_zone : str or None
        IANA name of the clock times; None: local mean time.

    Returns
    -------
    dict
        Ready for ``json.dumps(..., allow_nan=False)``: what is not known is null. Dates are
        ISO 8601; clock times (``start_s``, ``end_s``) are seconds after local midnight.
    """
    solved = plan.schedule
    account = {
        "schema": SCHEMA,
        "program": {"name": "evenacre", "version": __version__},
        "generated": generated,
        "farm": farm,
        "time_zone": time_zone,
        "inputs": [{"path": i.path, "sha256": i.sha256} for i in inputs],
        "warnings": [*warnings, *sentences(plan.findings, "warning")],
        "cautions": interseed_cautions(plan),
        "goal_m2": sum(goal_m2(p) for p in wanted(plan)),
        "seeded_m2": sum(p.seeded_m2 for p in plan.paddocks),
        "first_day": plan.visits[0].day if plan.visits else None,
        "last_day": plan.visits[-1].day if plan.visits else None,
        "chance_all": plan.chance_all,
        "value_m2": solved.value,
        "bound_m2": solved.bound,
        "proven": solved.proven,
        "gap": solved.gap,
        "seed": _seed(plan),
        "paddocks": [_paddock(p, plan) for p in plan.paddocks],
        "fills": [
            {
                "number": f.number,
                "date": f.day,
                "start_s": f.start_s,
                "paddock": f.paddock,
                "mass_kg": f.mass_kg,
                "parts": _parts(plan, f.mass_kg),
                "serves": [{"paddock": name, "seed_kg": kg} for name, kg in f.serves],
            }
            for f in plan.fills
        ],
        "relaxations": [
            {"rule": r.rule, "paddock": r.paddock, "amount": r.amount} for r in plan.relaxations
        ],
        "herd": _herd(plan),
        "days": [
            {
                "date": d.day,
                "start_s": d.start_s,
                "full_s": d.full_s,
                "planned_s": d.planned_s,
                "lost": d.lost,
                "booked_s": d.booked_s,
                "booked_for": d.booked_for,
            }
            for d in plan.days
        ],
        "drill": _drill(plan),
        "rules": _rules(plan),
    }
    clean: dict[str, Any] = json_types(account)
    return clean


def _seed(plan: InterseedPlan) -> dict[str, Any]:
    s = plan.seeding
    return {
        "product": s.product.name,
        "parts": [{"product": name, "share": part} for name, part in s.product.shares.items()],
        "on_hand_kg": s.on_hand_kg,
        "used_kg": plan.seed_used_kg,
        "left_kg": plan.seed_left_kg,
        "rate_kg_per_m2": plan.schedule.rate_kg_per_m2,
        "wanted_rate_kg_per_m2": s.rate_kg_per_m2,
        "least_rate_kg_per_m2": s.least_rate_kg_per_m2,
        "most_rate_kg_per_m2": s.most_rate_kg_per_m2,
        "treated": s.treated,
        "withholding_days": s.withholding_days,
    }


def _parts(plan: InterseedPlan, mass_kg: float) -> list[dict[str, Any]]:
    """What a mass of a blend is mixed of; nothing for a seed that is no blend."""
    if not plan.seeding.product.parts:
        return []
    found = plan.seeding.product.shares
    return [{"product": name, "mass_kg": part * mass_kg} for name, part in found.items()]


def _paddock(p: PaddockPlan, plan: InterseedPlan) -> dict[str, Any]:
    numbers = numbered(plan)
    return {
        "paddock": p.paddock.field.name,
        "to_be_seeded": p.window is not None,
        "area_m2": p.area_m2,
        "workable_m2": p.workable_m2,
        "value": p.paddock.value,
        "seeded_m2": p.seeded_m2,
        "seed_kg": p.seed_kg,
        "share": share_seeded(p),
        "whole": whole(p),
        "chance": p.chance,
        "graze_from": p.graze_from,
        "window": _window(p.window, plan.days) if p.window else None,
        "visits": [
            {
                "order": numbers[v],
                "date": v.day,
                "start_s": v.start_s,
                "end_s": v.end_s,
                "share": v.share,
                "area_m2": v.area_m2,
                "seed_kg": v.seed_kg,
            }
            for v in p.visits
        ],
        "passes": drive_account(p.passes) if p.passes else None,
    }


def _window(w: SeedingWindow, days: Sequence[WorkDay]) -> dict[str, Any]:
    return {
        "opens": w.opens,
        "closes": w.closes,
        "opened_by": w.opened_by,
        "closed_by": w.closed_by,
        "left": w.left,
        "back": w.back,
        "spells": [{"first": first, "last": last} for first, last in spells(w, days)],
    }


def _herd(plan: InterseedPlan) -> dict[str, Any]:
    h = plan.herd
    return {
        "classes": [
            {
                "name": c.name,
                "head": c.head,
                "weight_kg": c.weight_kg,
                "intake_kg_per_day": c.intake_kg_per_day,
            }
            for c in plan.grazing.herd
        ],
        "rest_days": plan.grazing.rest_days,
        "demand_kg_per_day": h.demand_kg_per_day,
        "supply_kg": h.supply_kg,
        "needed_kg": h.needed_kg,
        "stays": [
            {
                "paddock": s.stay.paddock,
                "enter": s.stay.enter,
                "leave": s.stay.leave,
                "days": s.stay.days,
                "rested_days": s.rested_days,
                "entry_kg_per_m2": s.entry_kg_per_m2,
                "residual_kg_per_m2": s.residual_kg_per_m2,
                "available_kg": s.available_kg,
                "eaten_kg": s.eaten_kg,
            }
            for s in h.stays
        ],
        "shortages": [
            {
                "kind": s.kind,
                "paddock": s.paddock,
                "date": s.day,
                "days": s.days,
                "feed_kg": s.feed_kg,
            }
            for s in h.shortages
        ],
    }


def _drill(plan: InterseedPlan) -> dict[str, Any]:
    s = plan.seeding
    return {
        "width_m": s.implement.width_m,
        "speed_mps": s.speed_mps,
        "turn_speed_mps": s.turn_speed_mps,
        "turn_radius_m": s.turn_radius_m,
        "setup_s": s.setup_s,
        "refill_s": s.refill_s,
        "load_kg": s.load_kg,
        "rounds": s.rounds,
        "prefer": s.prefer,
    }


def _rules(plan: InterseedPlan) -> dict[str, Any]:
    s = plan.seeding
    return {
        "opens_after_days": s.opens_after_days,
        "closes_after_days": s.closes_after_days,
        "residual_most_kg_per_m2": s.residual_most_kg_per_m2,
        "regrowth_most_kg_per_m2": s.regrowth_most_kg_per_m2,
        "first_day": s.first_day,
        "last_day": s.last_day,
        "day_from_s": s.day_from_s,
        "day_to_s": s.day_to_s,
        "hours_most_s": s.hours_most_s,
        "lost_chance": s.lost_chance,
        "rest_days": s.rest_days,
        "runs": s.runs,
        "random_seed": s.random_seed,
    }
