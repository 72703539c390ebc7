"""Outer rows that were off: stopped over bare ground, or shut off on purpose; both planted."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from jobs import DRILL, Drive, Floats, Job, Turtle, straight_job
from put_down import operation

from evenacre.coverage.audit import audit_operation
from evenacre.model import Settings

WIDTH, SECTIONS = DRILL.width_m, 4
LENGTH, TOWER_M = 96.0, DRILL.width_m / 4
FROM, TO = 24.0, 72.0


def sectioned(drive: Drive) -> np.ndarray:
    return np.repeat(drive.working[:, None], SECTIONS, axis=1)


def pass_of(drive: Drive, number: int) -> np.ndarray:
    return np.abs(drive.y_m - (number + 0.5) * WIDTH) < WIDTH / 4


def found(job: Job, *, turn: float = 0.4) -> list[tuple[str, str, float]]:
    job = replace(job, settings=Settings(skip_min_area_m2=0.5))
    skips = audit_operation(operation(job, turn=turn)).layers["skips"]
    return list(zip(skips["kind"], skips["cause"], skips["area_m2"], strict=True))


def with_sections(job: Job, sections: np.ndarray) -> Job:
    return replace(job, drives=(replace(job.drives[0], sections=sections),))


@pytest.mark.parametrize("number", [0, 1, 2], ids=["first pass", "middle", "last"])
@pytest.mark.parametrize(("section", "rows"), [(0, "rows 1-8"), (3, "rows 25-32")])
def test_an_outer_tower_that_stops_for_a_while_is_named(
    number: int, section: int, rows: str
) -> None:
    """Beside another pass, and beside the boundary: the first and the last have one to a side."""
    job = straight_job(LENGTH, (0.0, 0.0))
    drive = job.drives[0]
    sections = sectioned(drive)
    sections[pass_of(drive, number) & (drive.x_m > FROM) & (drive.x_m < TO), section] = False
    expected = pytest.approx((TO - FROM) * TOWER_M, rel=1e-3)
    assert found(with_sections(job, sections)) == [
        ("blocked rows", f"{rows} off in the log", expected)
    ]


def test_two_outer_towers_one_after_the_other() -> None:
    """The second stops while the first still does: stairs, both of bare ground."""
    job = straight_job(LENGTH, (0.0, 0.0))
    drive = job.drives[0]
    sections, mine = sectioned(drive), pass_of(drive, 1)
    sections[mine & (drive.x_m > 24.0) & (drive.x_m < 72.0), 3] = False
    sections[mine & (drive.x_m > 36.0) & (drive.x_m < 72.0), 2] = False
    kinds = found(with_sections(job, sections))
    assert {kind for kind, _, _ in kinds} == {"blocked rows"}
    assert sum(area for *_, area in kinds) == pytest.approx((48 + 36) * TOWER_M, rel=1e-3)


def test_a_tower_that_stays_blocked_through_the_turn_is_named_on_both_passes() -> None:
    job = straight_job(LENGTH, (0.0, 0.0, 0.0))
    drive = job.drives[0]
    sections = sectioned(drive)
    sections[(pass_of(drive, 1) | pass_of(drive, 2)) & (drive.x_m < 48.0), 3] = False
    kinds = found(with_sections(job, sections))
    # Westward the right side is the far one from the first pass, eastward the near one: one strip.
    assert {kind for kind, *_ in kinds} == {"blocked rows"}
    assert sum(area for *_, area in kinds) == pytest.approx(2 * 48 * TOWER_M, rel=1e-2)


@pytest.mark.parametrize("left_bare", [0.0, 0.1, 0.25])
def test_a_section_shut_off_next_to_worked_ground_is_not_blocked(left_bare: float) -> None:
    """A pass that laps by most of a section runs it over worked ground: it is off all the way."""
    lap = TOWER_M * (1 - left_bare)
    job = straight_job(LENGTH, (0.0, -lap))
    drive = job.drives[0]
    sections = sectioned(drive)
    third = drive.y_m > 2.25 * WIDTH - lap
    sections[third, 3] = False  # on the way east the right side is the south
    assert [kind for kind, *_ in found(with_sections(job, sections))] == (
        ["between passes"] if left_bare * TOWER_M > 0.1 else []
    )


# Slanted ends


def line_x(y: Floats | float, slope: float = 0.7) -> Floats:
    """Where the inner edge of a slanted headland lies."""
    return np.asarray((LENGTH - 10.0 if slope < 1 else 3 * LENGTH - 30.0) - slope * y)


def switched_at_the_slant(job: Job, *, early: bool, slope: float = 0.7) -> np.ndarray:
    """Each section on up to the slant: off as it first touches it, or when it is all beyond."""
    drive = job.drives[0]
    sections = sectioned(drive)
    hand = np.sign(np.cos(drive.heading_rad))
    for s in range(SECTIONS):
        edges = [drive.y_m + hand * (WIDTH / 2 - k * TOWER_M) for k in (s, s + 1)]
        ends = [line_x(edge, slope) for edge in edges]
        reach = np.minimum(*ends) if early else np.maximum(*ends)
        sections[:, s] &= drive.x_m < reach
    return sections


def slanted(passes: int = 5) -> Job:
    return straight_job(LENGTH, (0.0,) * (passes - 1))


def headland_round(passes: int, late_s: float) -> tuple[Drive, shapely.Polygon]:
    """A pass along the slant, just beyond it, and the ground inside its far edge."""
    top = passes * WIDTH
    heading = math.atan2(1.0, -0.7)
    across = np.array([math.sin(heading), -math.cos(heading)])
    start = np.array([line_x(-8.0), -8.0]) + WIDTH / 2 * across
    turtle = Turtle(*start, heading).forward((top + 16.0) / math.sin(heading), work=True)
    low, high = (np.array([line_x(y), y]) + WIDTH * across for y in (-20.0, top + 20))
    whole = shapely.Polygon([(0, -20), tuple(low), tuple(high), (0, top + 20)])
    return turtle.sample().later(late_s), whole & shapely.box(0, 0, 200, top)


@pytest.mark.parametrize("early", [False, True])
def test_sections_switched_at_a_slanted_headland_are_not_blocked(early: bool) -> None:
    job = slanted()
    along, ground = headland_round(5, 5000.0)
    passes = replace(job.drives[0], sections=switched_at_the_slant(job, early=early))
    along = replace(along, sections=np.ones((len(along.time_s), SECTIONS), dtype=bool))
    kinds = [k for k, *_ in found(replace(job, boundary=ground, drives=(passes, along)))]
    assert "blocked rows" not in kinds
    assert bool(kinds) is early  # what was shut off early left corners


@pytest.mark.parametrize("early", [False, True])
def test_sections_switched_at_a_slanted_boundary_are_not_blocked(early: bool) -> None:
    job = slanted()
    top = 5 * WIDTH
    inside = shapely.Polygon([(0, 0), (line_x(0.0), 0), (line_x(top), top),
                              (0, top)])  # fmt: skip
    job = replace(job, boundary=inside)
    kinds = [k for k, *_ in found(with_sections(job, switched_at_the_slant(job, early=early)))]
    assert "blocked rows" not in kinds


@pytest.mark.parametrize("slope", [0.7, 5.0])
def test_sections_switched_at_a_headland_still_to_do_are_not_blocked(slope: float) -> None:
    """At 5 to 1 each section goes on for 7.6 m more than the next: longer than the tool is wide."""
    job = straight_job(3 * LENGTH, (0.0,) * 4)
    low, high = line_x(0.0, slope), line_x(5 * WIDTH, slope)
    band = shapely.Polygon([(0, 0), (low + 30, 0), (high + 30, 5 * WIDTH), (0, 5 * WIDTH)])
    sections = switched_at_the_slant(job, early=False, slope=slope)
    kinds = [kind for kind, *_ in found(with_sections(replace(job, boundary=band), sections))]
    assert "blocked rows" not in kinds


def test_a_tower_that_stops_for_a_while_is_named_before_the_ground_beside_it_is_done() -> None:
    job = straight_job(LENGTH, (0.0, 0.0))
    drive = job.drives[0]
    sections = sectioned(drive)
    sections[pass_of(drive, 2) & (drive.x_m > FROM) & (drive.x_m < TO), 0] = False
    field = shapely.box(0.0, 0.0, LENGTH, 9 * WIDTH)
    (largest, stopped) = found(with_sections(replace(job, boundary=field), sections))
    assert largest[0] == "unworked"
    assert stopped[:2] == ("blocked rows", "rows 1-8 off in the log")
    assert stopped[2] == pytest.approx((TO - FROM) * TOWER_M, rel=1e-3)


def test_a_section_that_drops_a_second_late_is_not_blocked() -> None:
    job = straight_job(LENGTH, (0.0, 0.0))
    drive = job.drives[0]
    sections = sectioned(drive)
    late = pass_of(drive, 1) & (drive.x_m > LENGTH - 2.4)  # it begins at the far end
    sections[late, 0] = False
    assert [kind for kind, *_ in found(with_sections(job, sections))] == ["edge"]


def test_rows_off_beside_ground_not_to_be_worked_are_not_blocked() -> None:
    job = straight_job(LENGTH, (0.0, 0.0))
    drive = job.drives[0]
    pond = shapely.box(FROM, 0.0, TO, TOWER_M)
    sections = sectioned(drive)
    sections[pass_of(drive, 0) & (drive.x_m > FROM - 1) & (drive.x_m < TO + 1), 3] = False
    job = replace(with_sections(job, sections), unworkable=pond)
    assert "blocked rows" not in [kind for kind, *_ in found(job)]


def test_half_a_width_logged_without_its_side_is_not_blocked() -> None:
    """A width alone is laid about the middle: which rows were off nobody said."""
    job = straight_job(LENGTH, (0.0, 0.0))
    put = operation(job)
    (track,) = put.tracks
    width = np.where(track.working, WIDTH, 0.0)
    half = pass_of(job.drives[0], 1) & (job.drives[0].x_m > FROM) & (job.drives[0].x_m < TO)
    width[half] = WIDTH / 2
    result = audit_operation(replace(put, tracks=(replace(track, width_m=width),)))
    assert "blocked rows" not in result.layers["skips"]["kind"].tolist()
