"""The machine-readable account of planned passes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from evenacre import __version__
from evenacre.model import InputFile
from evenacre.planning.passes.pass_types import PassPlan
from evenacre.planning.passes.turns import turn_room
from evenacre.reports.sentences.findings import sentences
from evenacre.reports.writers.json_types import json_types

SCHEMA = "evenacre/passes/1.1"


def pass_account(
    plans: Sequence[PassPlan],
    *,
    farm: str,
    generated: str,
    inputs: Sequence[InputFile],
    warnings: Sequence[str] = (),
    maps: Sequence[str],
    heading_given: bool,
) -> dict[str, Any]:
    """Account of planned passes in SI units, as JSON types in a stable order.

    Parameters
    ----------
    plans : sequence of PassPlan
        Driven in the same way, but for the heading.
    farm : str
    generated : str
        ISO 8601 time of the run: the only value of its own that changes between equal runs.
    inputs : sequence of InputFile
    warnings : sequence of str
        What was found in the inputs; those of a plan stand with its field.
    maps : sequence of str
        File of each plan's map.
    heading_given : bool
        It was not for the plans to choose.
    """
    drive = plans[0].drive
    account = {
        "schema": SCHEMA,
        "program": {"name": "evenacre", "version": __version__},
        "generated": generated,
        "farm": farm,
        "inputs": [{"path": i.path, "sha256": i.sha256} for i in inputs],
        "warnings": list(warnings),
        "drive": {
            "width_m": drive.width_m,
            "speed_mps": drive.speed_mps,
            "turn_speed_mps": drive.turn_speed_mps,
            "turn_radius_m": drive.turn_radius_m,
            "rounds": drive.rounds,
            "prefer": drive.prefer,
            "heading_given": heading_given,
        },
        "field_time_s": sum(plan.field_time_s for plan in plans),
        "fields": [
            {
                "field": plan.field,
                "map": file,
                **drive_account(plan),
                "turns_outside": turn_room(plan).turns,
                "turns_outside_by_m": turn_room(plan).beyond_m,
                "warnings": sentences(plan.findings, "warning"),
            }
            for plan, file in zip(plans, maps, strict=True)
        ],
    }
    clean: dict[str, Any] = json_types(account)
    return clean


def drive_account(p: PassPlan) -> dict[str, Any]:
    """Figures of the drive over one field."""
    heading = p.drive.heading_rad
    return {
        # Either way along a pass; clockwise from the plane's north.
        "heading_deg": None if heading is None else axis_deg(heading),
        "rounds": p.drive.rounds,
        "round_runs": sum(run.kind == "round" for run in p.passes),
        "passes": sum(run.kind == "pass" for run in p.passes),
        "turns": len(p.turns),
        "work_m": p.work_m,
        "turn_m": p.turn_m,
        "work_s": p.work_s,
        "turn_s": p.turn_s,
        "field_time_s": p.field_time_s,
        "field_efficiency": p.field_efficiency,
        "workable_m2": p.workable_m2,
        "covered_m2": p.covered_m2,
        "overlap_m2": p.overlap_m2,
        "excess_m2": p.excess_m2,
        "missed_m2": p.missed_m2,
        "outside_m2": p.outside_m2,
    }


def axis_deg(heading_rad: float) -> float:
    """Compass heading of a line, 0 to 180, whichever way it is driven."""
    return (90.0 - math.degrees(heading_rad)) % 180.0
