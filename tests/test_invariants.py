"""What must hold for any job whatever, on jobs drawn at random."""

import itertools
import os
from dataclasses import dataclass, replace

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from jobs import DRILL, START_S, STEP_M, Drive, Job, Turtle, straight_job
from put_down import operation, split
from shapely.geometry import Polygon

from evenacre.coverage.audit import audit_operation
from evenacre.model import Application, Blockage, Product, Settings
from evenacre.model.audit_result import AuditResult

few = settings(
    max_examples=int(os.environ.get("INVARIANT_EXAMPLES", "8")),
    deadline=None,
    derandomize=True,
    # A failure is reported as it was drawn: making it smaller takes minutes.
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
AREAS = (
    "boundary_area_m2",
    "workable_area_m2",
    "covered_area_m2",
    "covered_once_m2",
    "covered_twice_m2",
    "covered_more_m2",
    "overlap_area_m2",
    "excess_area_m2",
    "skip_area_m2",
    "outside_area_m2",
    "swept_area_m2",
)

leg = st.tuples(
    st.floats(6.0, 60.0),
    st.floats(4.0, 25.0),
    st.floats(-2.9, 2.9),
    st.booleans(),
)


@dataclass(frozen=True, repr=False)
class QuietJob(Job):
    """A job that does not print its thousands of records when a check fails."""

    def __repr__(self) -> str:
        return f"<job of {len(self.drives[0].time_s)} records>"


@st.composite
def jobs(draw: st.DrawFn) -> Job:
    """A wandering drive over a field with zones, a waterway, sections and a blockage."""
    turtle = Turtle(40.0, 40.0, draw(st.floats(0.0, 6.28))).forward(5.0)
    for length, radius, angle, work in draw(st.lists(leg, min_size=3, max_size=7)):
        turtle.forward(length, work).arc(radius, angle, work)
    drive = turtle.forward(10.0, work=True).forward(5.0).sample()
    rng = np.random.default_rng(draw(st.integers(0, 2**20)))
    n = len(drive.time_s)
    # Sections flip every four seconds or so; the last metres always work.
    sections = np.repeat(rng.random((n // 20 + 1, 4)) > 0.15, 20, axis=0)[:n]
    sections[-25:] = True
    rate = np.repeat(rng.uniform(0.005, 0.03, n // 25 + 1), 25)[:n] * drive.working
    drive = replace(drive, sections=sections & drive.working[:, None], rates={"seed": rate})
    start = START_S + draw(st.floats(0.0, 40.0))
    # The boundary cuts the outer swaths, by less than what counts as another field.
    west, east = drive.x_m.min() + draw(st.floats(-5.0, 25.0)), drive.x_m.max() + 2.0
    south, north = drive.y_m.min() - 1.0, drive.y_m.max() - draw(st.floats(-5.0, 25.0))
    east, north = max(east, west + 30.0), max(north, south + 30.0)
    boundary = Polygon([(west, south), (east, south + 7), (east - 9, north), (west + 4, north - 5)])
    mid_x, mid_y = (west + east) / 2, (south + north) / 2
    ditch = Polygon(
        [(mid_x - 8, mid_y - 6), (mid_x + 12, mid_y - 9), (mid_x + 16, mid_y + 30), (mid_x, mid_y)]
    )
    return QuietJob(
        boundary,
        (drive,),
        unworkable=ditch,
        zones={
            "a": shapely.box(west - 50, south - 50, mid_x + 3.3, north + 50),
            "b": shapely.box(mid_x + 3.3, south + 11, east - 3, north + 50),
        },
        blockages=(Blockage(start, start + 17.3, DRILL.tower_rows(2), "tower 2"),),
        applications=(Application(Product("seed"), 0.02),),
    )


def same(one: AuditResult, other: AuditResult, relative: float) -> None:
    scale = one.boundary_area_m2
    for name in AREAS:
        got, expected = getattr(other, name), getattr(one, name)
        assert got == pytest.approx(expected, rel=0, abs=relative * scale), name


def audited(job: Job, **put: object) -> AuditResult:
    """Audit a job: every square metre counted once, every pound in a zone, in none or outside."""
    r = audit_operation(operation(job, **put))  # type: ignore[arg-type]
    counted = r.covered_once_m2 + r.covered_twice_m2 + r.covered_more_m2 + r.skip_area_m2
    assert counted == pytest.approx(r.workable_area_m2, rel=1e-6)
    assert r.covered_area_m2 + r.skip_area_m2 == pytest.approx(r.workable_area_m2, rel=1e-6)
    assert r.overlap_area_m2 == pytest.approx(r.covered_twice_m2 + r.covered_more_m2, rel=1e-9)
    assert r.excess_area_m2 >= r.overlap_area_m2 - 1e-6
    assert r.layers["skips"]["area_m2"].sum() <= r.skip_area_m2 * (1 + 1e-6)
    for product in r.products:
        in_field = product.applied_in_field_kg
        assert in_field + product.outside_kg == pytest.approx(product.logged_kg, rel=1e-9)
        zoned = sum(z.applied_kg for z in product.zones)
        assert zoned + product.unzoned_kg == pytest.approx(in_field, rel=1e-9)
    return r


@few
@given(jobs(), st.floats(0.0, 6.28), st.floats(-400.0, 400.0), st.floats(-400.0, 400.0))
def test_turning_moving_and_renaming_change_nothing(
    job: Job, turn: float, dx: float, dy: float
) -> None:
    there = audited(job)
    here = audited(replace(job, name="Other"), turn=turn, shift=(dx, dy))
    same(there, here, 1e-6)
    for a, b in zip(there.products, here.products, strict=True):
        assert b.logged_kg == pytest.approx(a.logged_kg, rel=1e-6)
        assert b.outside_kg == pytest.approx(a.outside_kg, abs=1e-6 * a.logged_kg)
        for za, zb in zip(a.zones, b.zones, strict=True):
            assert zb.applied_kg == pytest.approx(za.applied_kg, abs=1e-6 * a.logged_kg)


def reversed_drive(drive: Drive) -> Drive:
    """The same ground driven the other way: the left of the tool is now its right."""
    assert drive.sections is not None
    return Drive(
        time_s=START_S + (drive.time_s[-1] - drive.time_s[::-1]),
        x_m=drive.x_m[::-1],
        y_m=drive.y_m[::-1],
        heading_rad=drive.heading_rad[::-1] + np.pi,
        working=drive.working[::-1],
        sections=drive.sections[::-1, ::-1],
    )


@few
@given(jobs())
def test_driving_a_mounted_tool_the_other_way_changes_no_area(job: Job) -> None:
    plain = replace(job, blockages=(), applications=(), drives=(replace(job.drives[0], rates={}),))
    back = replace(plain, drives=(reversed_drive(plain.drives[0]),))
    same(audited(plain), audited(back), 1e-6)


@few
@given(jobs(), st.lists(st.floats(0.0, 1.0), min_size=1, max_size=5))
def test_splitting_the_log_at_any_record_changes_nothing(job: Job, cuts: list[float]) -> None:
    whole = operation(job)
    at = [int(c * (len(whole.tracks[0]) - 1)) for c in cuts]
    parts = replace(whole, tracks=split(whole.tracks[0], at))
    one, other = audit_operation(whole), audit_operation(parts)
    same(one, other, 1e-12)
    assert one.pass_count == other.pass_count
    assert one.products[0].logged_kg == pytest.approx(other.products[0].logged_kg, rel=1e-12)


@few
@given(jobs(), st.lists(st.floats(0.0, 3.0), min_size=2, max_size=2).map(sorted))
def test_more_skip_tolerance_never_finds_more_skips(job: Job, widths: list[float]) -> None:
    found = []
    for width in widths:
        tolerant = Settings(skip_min_width_m=width, skip_min_area_m2=10 * width)
        skips = audited(replace(job, settings=tolerant)).layers["skips"]
        found.append((len(skips), float(skips["area_m2"].sum())))
    for less, more in itertools.pairwise(found):
        assert more[0] <= less[0]
        assert more[1] <= less[1] + 1e-6


@few
@given(st.lists(st.floats(-3.0, 1.5), min_size=2, max_size=5))
def test_stacked_passes_in_any_order_of_files(gaps: list[float]) -> None:
    one = operation(straight_job(25 * STEP_M, gaps))
    track = one.tracks[0]
    shuffled = split(track, [len(track) // 3, len(track) // 2])[::-1]
    same(audit_operation(one), audit_operation(replace(one, tracks=shuffled)), 1e-12)
