"""What the drive over a field comes to."""

from __future__ import annotations

from dataclasses import replace

from evenacre.language import tr
from evenacre.planning.passes.pass_types import PassPlan
from evenacre.planning.passes.turns import turn_room
from evenacre.reports import figure_text as figures
from evenacre.reports import quantities as q
from evenacre.reports.column import Table, joined, json_only, named, nested
from evenacre.reports.sentences.interseeding_words import hours_text
from evenacre.reports.sentences.passes import axis_deg, axis_words, block_rows, runs_of, spot_record


def _heading_deg(p: PassPlan) -> float | None:
    """Either way along a pass; clockwise from the plane's north."""
    return None if p.drive.heading_rad is None else axis_deg(p.drive.heading_rad)


def _passes_run(p: PassPlan, _: q.Display) -> str:
    if p.blocks:
        return tr("{count} blocks, ", count=len(p.blocks)) + ", ".join(
            f"{axis_deg(block.heading_rad):.0f}°" for block in p.blocks
        )
    degrees = _heading_deg(p)
    return "" if degrees is None else f"{axis_words(p.drive)}, {degrees:.0f}°"


_IN_ALL = "the page gives the time of passes and turns together"
_MISSED = "the page gives what is doubled and missed"
_ROUNDS = "the page gives rounds"
_OUTSIDE = "the page counts them"
_GATE = "the page tells where each load is filled"

BLOCKS = json_only(
    "blocks",
    named("heading_deg", None, None, q.plain_number("deg")),
    named("passes", None, None, q.COUNT),
    "area_m2",
    why="a layer shows them, and the page gives their headings",
)
DRIVE = Table(
    "passes",
    (
        named("field", "Paddock", "paddock", json=False),
        named(
            "heading_deg",
            None,
            "heading [deg]",
            q.plain_number("deg"),
            _heading_deg,
            cell=lambda v: None if v is None else figures.significant(v, 4),
        ),
        joined("heading", "Passes run", _passes_run, "heading_deg"),
        nested("blocks", BLOCKS, block_rows),
        named("drive.rounds", name="headland rounds", quantity=q.COUNT),
        named(
            "round_runs",
            None,
            "runs on the rounds",
            q.COUNT,
            lambda p: runs_of(p, "round"),
            why=_ROUNDS,
        ),
        named("passes", quantity=q.COUNT, of=lambda p: runs_of(p, "pass")),
        named(
            "middle_runs",
            None,
            "runs along the middle of narrow ground",
            q.COUNT,
            lambda p: runs_of(p, "middle"),
            why=_ROUNDS,
        ),
        named("turns", quantity=q.COUNT, of=lambda p: len(p.turns)),
        named("work_m", None, "seeding", q.DISTANCE, why=_IN_ALL),
        named("turn_m", None, "turning", q.DISTANCE, why=_IN_ALL),
        named("work_s", None, "seeding", why=_IN_ALL),
        named("turn_s", None, "turning", why=_IN_ALL),
        named("field_time_s", "Time", "in all", text=lambda v, _: hours_text(v)),
        named("field_efficiency", quantity=q.SHARE),
        named("workable_m2", None, why=_MISSED),
        named("covered_m2", None, why=_MISSED),
        named("covered_share", "Covered", quantity=q.SHARE),
        named("overlap_m2", None),
        joined(
            "overlap",
            "Overlap",
            lambda p, _: figures.share(p.overlap_m2, p.workable_m2),
            "overlap_m2",
        ),
        named("excess_m2", None, why=_MISSED),
        named("missed_m2"),
        named("left_places", "Places left", quantity=q.COUNT),
        named("outside_m2", None, why=_MISSED),
        named("turns_outside", quantity=q.COUNT, of=lambda p: turn_room(p).turns),
        named("turns_outside_by_m", None, of=lambda p: turn_room(p).beyond_m, why=_OUTSIDE),
        named(
            "turns_backed_up",
            None,
            "turns backed up in",
            quantity=q.COUNT,
            of=lambda p: sum(back > 0 for back in p.backs_m),
            why=_OUTSIDE,
        ),
        named("fenced", None, why=_OUTSIDE),
        named(
            "way_in_m",
            None,
            "from the gate to the first run",
            q.DISTANCE,
            lambda p: None if p.way_in is None else p.way_in.length,
            why=_GATE,
        ),
        named(
            "way_out_m",
            None,
            "from the last run to the gate",
            q.DISTANCE,
            lambda p: None if p.way_out is None else p.way_out.length,
            why=_GATE,
        ),
        named(
            "fills", None, None, q.NESTED, lambda p: [spot_record(s) for s in p.fills], why=_GATE
        ),
    ),
    title="The drive",
    page="field heading rounds passes turns turns_outside field_time_s field_efficiency "
    "covered_share overlap missed_m2 left_places",
    words=2,
    remark=(
        "Time is for passes and turns, without setting up and filling. Overlap is ground "
        "seeded twice or more, as a share of the paddock; seed is metered over it too."
    ),
)
DRIVE_OF_FIELD = replace(
    DRIVE,
    page=str(DRIVE.page).removeprefix("field "),
    words=1,
    remark=(
        "Time is for passes and turns, without setting up and filling. Overlap is ground driven "
        "twice or more, as a share of the field."
    ),
)
"""The same of one field by itself."""
WAY_OF_DRIVING = json_only(
    "drive",
    "width_m speed_mps turn_speed_mps turn_radius_m rounds prefer",
    why="a sentence below the fields tells it",
    rounds=q.COUNT,
)
