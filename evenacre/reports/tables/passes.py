"""What the drive over a field comes to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from evenacre import __version__
from evenacre.model import InputFile
from evenacre.planning.passes.pass_types import PassPlan
from evenacre.planning.passes.turns import turn_room
from evenacre.reports import figure_text as figures
from evenacre.reports.column import (
    COUNT,
    DISTANCE,
    SHARE,
    Display,
    Table,
    in_json,
    joined,
    json_only,
    named,
    plain_number,
)
from evenacre.reports.sentences.findings import sentences
from evenacre.reports.sentences.interseeding_words import hours_text
from evenacre.reports.sentences.passes import axis_deg, axis_words, runs_of
from evenacre.reports.writers.as_json import json_types, record

SCHEMA = "evenacre/passes/1.1"


def _heading_deg(p: PassPlan) -> float | None:
    """Either way along a pass; clockwise from the plane's north."""
    return None if p.drive.heading_rad is None else axis_deg(p.drive.heading_rad)


def _four_digits(degrees: float | None) -> float | None:
    return None if degrees is None else figures.significant([degrees], 4)[0]


def _passes_run(p: PassPlan, _: Display) -> str:
    degrees = _heading_deg(p)
    return "" if degrees is None else f"{axis_words(p.drive)}, {degrees:.0f}°"


def _overlap(p: PassPlan, _: Display) -> str:
    return figures.share(p.overlap_m2, p.workable_m2)


_DEGREES = plain_number("deg")
_IN_ALL = "the page gives the time of passes and turns together"
_MISSED = "the page gives what is doubled and missed"
_ROUNDS = "the page gives rounds"
_OUTSIDE = "the page counts them"
DRIVE = Table(
    "passes",
    (
        named("field", "Paddock", "paddock", json=False),
        named("heading_deg", None, "heading [deg]", _DEGREES, _heading_deg, cell=_four_digits),
        joined("heading", "Passes run", _passes_run, "heading_deg"),
        named("rounds", name="headland rounds", quantity=COUNT, of="drive.rounds"),
        named(
            "round_runs",
            None,
            "runs on the rounds",
            COUNT,
            lambda p: runs_of(p, "round"),
            why=_ROUNDS,
        ),
        named("passes", quantity=COUNT, of=lambda p: runs_of(p, "pass")),
        named("turns", quantity=COUNT, of=lambda p: len(p.turns)),
        named("work_m", None, "seeding", DISTANCE, why=_IN_ALL),
        named("turn_m", None, "turning", DISTANCE, why=_IN_ALL),
        named("work_s", None, "seeding", why=_IN_ALL),
        named("turn_s", None, "turning", why=_IN_ALL),
        named("field_time_s", "Time", "in all", text=lambda v, _: hours_text(v)),
        named("field_efficiency", quantity=SHARE),
        named("workable_m2", None, why=_MISSED),
        named("covered_m2", None, why=_MISSED),
        named("overlap_m2", None),
        joined("overlap", "Overlap", _overlap, "overlap_m2"),
        named("excess_m2", None, why=_MISSED),
        named("missed_m2", digits=2),
        named("outside_m2", None, why=_MISSED),
        named("turns_outside", quantity=COUNT, of=lambda p: turn_room(p).turns),
        named("turns_outside_by_m", None, of=lambda p: turn_room(p).beyond_m, why=_OUTSIDE),
    ),
    title="The drive",
    page="field heading rounds passes turns turns_outside field_time_s field_efficiency overlap "
    "missed_m2",
    words=2,
    remark=(
        "Time is for passes and turns, without setting up and filling. Overlap is ground "
        "seeded twice or more, as a share of the paddock; seed is metered over it too."
    ),
)
WAY_OF_DRIVING = json_only(
    "drive",
    *in_json("width_m speed_mps turn_speed_mps turn_radius_m rounds prefer", rounds=COUNT),
    why="a sentence below the fields tells it",
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
                "warnings": sentences(plan.findings, "warning"),
            }
            for plan, file in zip(plans, maps, strict=True)
        ],
    }
    clean: dict[str, Any] = json_types(account)
    return clean
