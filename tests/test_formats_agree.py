"""The same drive in every format gives the same areas, as far as the format can tell it.

GPX and sentences carry no work state. So the drive that all formats hold is one of passes
alone: the log is silent over the turns, every record of it is work at a steady speed, and that
is what the audit infers. A second drive, turns and switched sections included, goes through
the formats that can hold its states.

What each format resolves, and so how far a pass may lie from where it was driven: half a unit
of the last digit. An area between passes may then differ by that on each side of each pass, and
by as much at the ends.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import log_exports as exports
import numpy as np
import pytest
from jobs import Job, all_work_job, straight_job
from put_down import operation

from evenacre.coverage.audit import audit_operation
from evenacre.io.logs.read_tracks import read_tracks
from evenacre.model import Operation
from evenacre.model.audit_result import AuditResult

DEGREE_M = 111_195.0  # of latitude on a sphere of the mean radius
AREAS = ("covered_area_m2", "overlap_area_m2", "skip_area_m2")
# Last digit of a position, in metres.
FORMATS = {
    "csv": (exports.as_csv, 1e-9 * DEGREE_M),
    "gpx": (exports.as_gpx, 1e-9 * DEGREE_M),
    "sentences, 7 decimals": (exports.as_nmea(7), 1e-7 / 60 * DEGREE_M),
    "sentences, 5 decimals": (exports.as_nmea(5), 1e-5 / 60 * DEGREE_M),
    "geopackage": (exports.as_geopackage, 1e-9),
    "geoparquet": (exports.as_geoparquet, 1e-9),
    "task data": (exports.as_taskdata, 1e-7 * DEGREE_M),
}
WITH_STATES = ("csv", "geopackage", "geoparquet", "task data")
LENGTH_M, GAPS_M = 240.0, (0.0, -0.3, 0.5)


def audit(job: Operation, file: Path) -> AuditResult:
    return audit_operation(replace(job, tracks=tuple(read_tracks(file))))


def allowed_m2(job: Job, digit_m: float) -> float:
    """How far an area may be off when every edge is off by half a digit (and 0.1 mm)."""
    passes = len(GAPS_M) + 1
    edges = passes * 2 * (LENGTH_M + job.implement.width_m)
    return edges * (digit_m / 2 + 1e-4)


@pytest.fixture(scope="module")
def passes_alone() -> tuple[Job, Operation, AuditResult]:
    job = all_work_job(LENGTH_M, GAPS_M)
    given = operation(job, turn=0.3)
    (track,) = given.tracks
    bare = replace(given, tracks=(replace(track, working=None),))
    return job, bare, audit_operation(bare)


@pytest.fixture(scope="module")
def with_turns() -> tuple[Job, Operation, AuditResult]:
    job = straight_job(LENGTH_M, GAPS_M)
    given = operation(job, turn=0.3)
    (track,) = given.tracks
    # The two sections on the right are off over the middle third of each pass.
    sections = np.ones((len(track), 4), dtype=bool)
    middle = np.abs(job.drives[0].x_m - LENGTH_M / 2) < LENGTH_M / 6
    sections[middle, 2:] = False
    switched = replace(given, tracks=(replace(track, sections=sections),))
    return job, switched, audit_operation(switched)


def test_passes_alone_are_what_geometry_says(passes_alone) -> None:
    job, _, whole = passes_alone
    width, exact = job.implement.width_m, allowed_m2(job, 0.0)
    assert whole.covered_area_m2 == pytest.approx(LENGTH_M * (4 * width - 0.3), abs=exact)
    assert whole.overlap_area_m2 == pytest.approx(LENGTH_M * 0.3, abs=exact)
    assert whole.skip_area_m2 == pytest.approx(LENGTH_M * 0.5, abs=exact)


@pytest.mark.parametrize("name", FORMATS)
def test_passes_alone(tmp_path: Path, passes_alone, name: str) -> None:
    export, digit_m = FORMATS[name]
    job, given, whole = passes_alone
    read = audit(given, export(tmp_path, given.tracks[0]))
    inferred = {"work_from_amount", "work_from_speed"}
    assert any(finding.code in inferred for finding in read.findings)
    for area in AREAS:
        expected = pytest.approx(getattr(whole, area), abs=allowed_m2(job, digit_m))
        assert getattr(read, area) == expected, area
    assert read.pass_count == whole.pass_count
    assert read.start_s == pytest.approx(whole.start_s, abs=1e-3)
    assert read.worked_time_s == pytest.approx(whole.worked_time_s, abs=0.01)


@pytest.mark.parametrize("name", WITH_STATES)
def test_turns_and_sections(tmp_path: Path, with_turns, name: str) -> None:
    export, digit_m = FORMATS[name]
    job, given, whole = with_turns
    read = audit(given, export(tmp_path, given.tracks[0]))
    third = LENGTH_M / 3 * job.implement.width_m / 2 * 4
    assert whole.skip_area_m2 > third * 0.9  # the sections are seen to be off
    for area in AREAS:
        # The edges where sections switch count too.
        expected = pytest.approx(getattr(whole, area), abs=1.5 * allowed_m2(job, digit_m))
        assert getattr(read, area) == expected, area
    assert read.pass_count == whole.pass_count
