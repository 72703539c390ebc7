"""What the drive over a field comes to."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from evenacre import __version__
from evenacre.model import InputFile
from evenacre.planning.passes.pass_types import Drive, PassPlan
from evenacre.planning.passes.turn_room import turn_room
from evenacre.reports import figure_text as figures
from evenacre.reports.column import (
    AREA,
    COUNT,
    DISTANCE,
    HOURS,
    LENGTH,
    SHARE,
    SPEED,
    WORDS,
    Column,
    Table,
    columns,
    plain_number,
)
from evenacre.reports.sentences.interseeding_words import hours_text
from evenacre.reports.writers.as_json import record
from evenacre.reports.writers.json_types import json_types

SCHEMA = "evenacre/passes/1.1"

_IN_ALL = "the page gives the time of passes and turns together"
_SHARES = "the page gives what is doubled and missed"


def axis_deg(heading_rad: float) -> float:
    """Compass heading of a line, 0 to 180, whichever way it is driven."""
    return (90.0 - math.degrees(heading_rad)) % 180.0


def axis_words(drive: Drive) -> str:
    """How passes run: ``"east to west"``; empty where there is no heading."""
    angle = drive.heading_rad
    return "" if angle is None else figures.axis_words(math.cos(angle), math.sin(angle))


def runs_of(plan: PassPlan, kind: str) -> int:
    """How many runs are rounds, or passes."""
    return sum(run.kind == kind for run in plan.passes)


def _heading_deg(p: PassPlan) -> float | None:
    """Either way along a pass; clockwise from the plane's north."""
    return None if p.drive.heading_rad is None else axis_deg(p.drive.heading_rad)


DRIVE = Table(
    "passes",
    (
        Column("field", name="paddock", head="Paddock", json=False),
        Column(
            "heading_deg",
            _heading_deg,
            plain_number("deg"),
            name="heading [deg]",
            cell=lambda v: None if v is None else figures.significant([v], 4)[0],
        ),
        Column(
            "heading",
            lambda p: p,
            head="Passes run",
            text=lambda p, _: (
                ""
                if p.drive.heading_rad is None
                else f"{axis_words(p.drive)}, {_heading_deg(p):.0f}°"
            ),
            json=False,
            shows=("heading_deg",),
        ),
        Column("rounds", "drive.rounds", COUNT, name="headland rounds", head="Rounds"),
        Column("round_runs", lambda p: runs_of(p, "round"), COUNT),
        Column("passes", lambda p: runs_of(p, "pass"), COUNT, name="passes", head="Passes"),
        Column("turns", lambda p: len(p.turns), COUNT, name="turns", head="Turns"),
        Column("work_m", quantity=DISTANCE, name="seeding", why=_IN_ALL),
        Column("turn_m", quantity=DISTANCE, name="turning", why=_IN_ALL),
        Column("work_s", quantity=HOURS, name="seeding", why=_IN_ALL),
        Column("turn_s", quantity=HOURS, name="turning", why=_IN_ALL),
        Column(
            "field_time_s",
            quantity=HOURS,
            name="in all",
            head="Time",
            text=lambda v, _: hours_text(v),
        ),
        Column(
            "field_efficiency", quantity=SHARE, name="field efficiency", head="Field efficiency"
        ),
        Column("workable_m2", quantity=AREA, name="workable", why=_SHARES),
        Column("covered_m2", quantity=AREA, name="covered", why=_SHARES),
        Column("overlap_m2", quantity=AREA, name="overlap"),
        Column(
            "overlap",
            lambda p: figures.share(p.overlap_m2, p.workable_m2),
            head="Overlap",
            json=False,
            shows=("overlap_m2",),
        ),
        Column("excess_m2", quantity=AREA),
        Column("missed_m2", quantity=AREA, name="missed", head="Missed", digits=2),
        Column("outside_m2", quantity=AREA, name="outside", why=_SHARES),
    ),
    title="The drive",
    words=2,
    remark=(
        "Time is for passes and turns, without setting up and filling. Overlap is ground "
        "seeded twice or more, as a share of the paddock; seed is metered over it too."
    ),
)

WAY_OF_DRIVING = Table(
    "drive",
    columns(
        width_m=LENGTH,
        speed_mps=SPEED,
        turn_speed_mps=SPEED,
        turn_radius_m=LENGTH,
        rounds=COUNT,
        prefer=WORDS,
    ),
)


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
    generated : str
        ISO 8601 time of the run: the only value of its own that changes between equal runs.
    warnings : sequence of str
        What was found in the inputs; those of a plan stand with its field.
    maps : sequence of str
        File of each plan's map.
    heading_given : bool
        It was not for the plans to choose.
    """
    account = {
        "schema": SCHEMA,
        "program": {"name": "evenacre", "version": __version__},
        "generated": generated,
        "farm": farm,
        "inputs": [asdict(i) for i in inputs],
        "warnings": list(warnings),
        "drive": {**record(WAY_OF_DRIVING, plans[0].drive), "heading_given": heading_given},
        "field_time_s": sum(plan.field_time_s for plan in plans),
        "fields": [
            {
                "field": plan.field,
                "map": file,
                **record(DRIVE, plan),
                "turns_outside": turn_room(plan).turns,
                "turns_outside_by_m": turn_room(plan).beyond_m,
                "warnings": plan.warnings,
            }
            for plan, file in zip(plans, maps, strict=True)
        ],
    }
    clean: dict[str, Any] = json_types(account)
    return clean
