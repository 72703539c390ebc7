"""A receiver's jitter must not invent ground, nor hide a strip that was missed."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import shapely
from jobs import DRILL, Job, straight_job
from put_down import MISSOURI, on_earth, operation
from whole_fields import reference_field

from evenacre.coverage.audit import audit_operation
from evenacre.model import Blockage
from evenacre.model.audit_result import AuditResult

JITTER_M = 0.02
ROW_M = DRILL.row_spacing_m


@cache
def clean_and_jittered(name: str, seed: int) -> tuple[AuditResult, AuditResult]:
    job = reference_field() if name == "reference field" else straight_job(240.0, (0.0,) * 7)
    clean = audit_operation(operation(job, turn=0.4)) if seed < 0 else None
    if clean is not None:
        return clean, clean
    noisy = audit_operation(operation(job, turn=0.4, jitter_m=JITTER_M, seed=seed))
    return clean_and_jittered(name, -1)[0], noisy


@pytest.mark.parametrize("area", ["covered_area_m2", "overlap_area_m2", "skip_area_m2"])
@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("name", ["reference field", "passes that just meet"])
def test_jitter_changes_no_area_by_a_thousandth_of_the_field(
    name: str, seed: int, area: str
) -> None:
    clean, noisy = clean_and_jittered(name, seed)
    difference = getattr(noisy, area) - getattr(clean, area)
    assert abs(difference) < 1e-3 * clean.boundary_area_m2


def found_length(job: Job, line: shapely.LineString, seed: int) -> float:
    """Length of a line that lies in the skips the audit lists."""
    result = audit_operation(operation(job, jitter_m=JITTER_M, seed=seed))
    skips = result.layers["skips"].to_crs("EPSG:4326").geometry
    return float(
        on_earth(line, MISSOURI, 0.0, (0.0, 0.0)).intersection(skips.union_all()).length
        / on_earth(line, MISSOURI, 0.0, (0.0, 0.0)).length
    )


@pytest.mark.parametrize("seed", [3, 4, 5])
def test_a_strip_one_row_wide_between_passes_is_still_found(seed: int) -> None:
    y = 2 * DRILL.width_m + ROW_M / 2
    line = shapely.LineString([(1, y), (239, y)])
    assert found_length(straight_job(240.0, (0.0, ROW_M, 0.0)), line, seed) > 0.99


@pytest.mark.parametrize("seed", [6, 7])
def test_one_blocked_row_is_still_found(seed: int) -> None:
    job = straight_job(240.0, (0.0, 0.0))
    begin, end = np.interp([60.0, 180.0], job.drives[0].x_m[:500], job.drives[0].time_s[:500])
    job = replace(job, blockages=(Blockage(float(begin), float(end), (11,), "rows 11"),))
    y = DRILL.width_m - 10.5 * ROW_M
    assert found_length(job, shapely.LineString([(61, y), (179, y)]), seed) > 0.99
