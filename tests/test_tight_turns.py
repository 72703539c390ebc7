"""Own sweep inside a very tight turn: sectors about the pivot, by closed form."""

from __future__ import annotations

import math

import pytest
from jobs import DRILL, arc_job
from put_down import operation

from evenacre.coverage.audit import audit_operation


@pytest.mark.parametrize("half_turns", [0.5, 1.0, 1.25, 1.5, 1.75])
@pytest.mark.parametrize("radius", [1.0, 2.0])
def test_the_inner_end_covers_again_what_the_outer_end_swept(
    half_turns: float, radius: float
) -> None:
    """The pivot lies inside the tool line.

    The outer part of the line sweeps a sector of its length about the pivot, the inner part one on
    the other side. Beyond half a turn each comes over the other's ground, out to the shorter of
    the two, for the angle beyond it.
    """
    job = arc_job(radius, half_turns * math.pi, step=0.05, speed=0.25, lead_m=1.0)
    result = audit_operation(operation(job))
    step = 0.05
    angle = math.ceil(radius * half_turns * math.pi / step) * step / radius
    outer, inner = DRILL.width_m / 2 + radius, DRILL.width_m / 2 - radius
    again = inner**2 * max(angle - math.pi, 0.0)
    swept = angle / 2 * (outer**2 + inner**2)
    assert result.overlap_area_m2 == pytest.approx(again, abs=0.01 * swept)
    assert result.excess_area_m2 == pytest.approx(again, abs=0.01 * swept)
    assert result.covered_area_m2 == pytest.approx(swept - again, rel=0.01)
