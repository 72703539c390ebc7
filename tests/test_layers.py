"""The map layers of an audit, piece by piece, against stacks of straight passes worked by hand."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from jobs import DRILL, SPEED_MPS, Floats, straight_job
from put_down import operation

from evenacre.coverage.audit import audit_operation
from evenacre.model import Settings
from evenacre.model.audit_result import AuditResult

WIDTH, LENGTH, TURN = DRILL.width_m, 120.0, 0.4
DEEP = (-4.0, -4.0, 0.25, -3.5, -4.1, 0.0, -1.0, 0.3)
ROUND = Settings(headland_rounds=1)


def low_edges(gaps: tuple[float, ...]) -> Floats:
    return np.concatenate([[0.0], np.cumsum(WIDTH + np.array(gaps))])


def audited(gaps: tuple[float, ...] = DEEP, **settings: object) -> AuditResult:
    job = straight_job(LENGTH, gaps)
    return audit_operation(operation(replace(job, **settings), turn=TURN))  # type: ignore[arg-type]


def cuts(gaps: tuple[float, ...]) -> list[tuple[float, float, int]]:
    """Across the stack: from, to and how many swaths lie there."""
    low = low_edges(gaps)
    edges = np.unique(np.round(np.concatenate([low, low + WIDTH]), 9))
    return [
        (a, b, int(((low < (a + b) / 2) & ((a + b) / 2 < low + WIDTH)).sum()))
        for a, b in itertools.pairwise(edges)
    ]


def test_each_swath_tells_its_pass_rows_and_what_was_covered_again() -> None:
    swaths = audited().layers["swaths"]
    low = low_edges(DEEP)
    assert swaths["piece"].tolist() == swaths["pass"].tolist() == list(range(1, len(low) + 1))
    assert (swaths["first_row"] == 1).all()
    assert (swaths["last_row"] == DRILL.rows).all()
    assert swaths["area_m2"].tolist() == pytest.approx([WIDTH * LENGTH] * len(low), rel=1e-4)
    laps = np.clip(WIDTH - np.abs(low[:, None] - low), 0, None)
    repeated = np.minimum(laps.sum(axis=1) - WIDTH, WIDTH) * LENGTH
    assert swaths["repeated_m2"].tolist() == pytest.approx(repeated.tolist(), rel=1e-3, abs=0.05)
    most = [max(n for a, b, n in cuts(DEEP) if y - 1e-6 < a and b < y + WIDTH + 1e-6) for y in low]
    assert swaths["max_cover"].tolist() == most
    assert set(most) == {1, 2, 3}


def test_the_cover_layers_add_up_to_the_figures() -> None:
    result = audited()
    cover = result.layers["cover"].set_index("cover")["area_m2"]
    assert cover.index.tolist() == [1, 2, 3]
    for count in (1, 2, 3):
        ground = sum(b - a for a, b, n in cuts(DEEP) if n == count) * LENGTH
        assert cover[count] == pytest.approx(ground, rel=1e-4)
    overlaps = result.layers["overlaps"]
    by_count = overlaps.groupby("cover")["area_m2"].sum()
    assert by_count.to_dict() == pytest.approx({2: cover[2], 3: cover[3]}, rel=1e-6)


def test_overlap_in_the_headland_is_told_apart() -> None:
    """A band of one width around takes in the ends of every lap and all of the outer ones."""
    result = audited(settings=ROUND)
    top = low_edges(DEEP)[-1] + WIDTH
    inner_m = LENGTH - 2 * WIDTH
    band = LENGTH * top - inner_m * (top - 2 * WIDTH)
    assert result.headland_area_m2 == pytest.approx(band, rel=1e-4)
    spared = sum(max(min(b, top - WIDTH) - max(a, WIDTH), 0.0) for a, b, n in cuts(DEEP) if n > 1)
    inside = result.overlap_area_m2 - spared * inner_m
    assert result.headland_overlap_m2 == pytest.approx(inside, rel=1e-3)
    overlaps = result.layers["overlaps"]
    outer = [b < WIDTH + 1e-6 or a > top - WIDTH - 1e-6 for a, b, n in cuts(DEEP) if n > 1]
    assert overlaps["in_headland"].sum() == sum(outer) > 0
    assert result.layers["headland"]["rounds"].tolist() == [1]
    assert result.layers["headland"]["area_m2"].item() == pytest.approx(band, rel=1e-4)


def test_each_pass_tells_its_way_time_and_place() -> None:
    result = audited((0.0, 0.5, -0.3), settings=ROUND)
    passes = result.layers["passes"]
    assert passes["pass"].tolist() == [1, 2, 3, 4]
    there, back = (90.0 - np.degrees(TURN)) % 360.0, (270.0 - np.degrees(TURN)) % 360.0
    assert passes["heading_deg"].tolist() == pytest.approx([there, back] * 2, abs=0.02)
    for name, value in (
        ("length_m", LENGTH),
        ("area_m2", LENGTH * WIDTH),
        ("mean_speed_mps", SPEED_MPS),
    ):
        assert passes[name].tolist() == pytest.approx([value] * 4, rel=1e-4), name
    assert (passes["end_s"] - passes["start_s"]).tolist() == pytest.approx([LENGTH / SPEED_MPS] * 4)
    assert passes["headland"].tolist() == [True, False, False, True]
    assert passes.length.tolist() == pytest.approx([LENGTH] * 4, rel=1e-4)


def test_ground_beyond_the_boundary_is_a_layer_of_its_own() -> None:
    job = straight_job(LENGTH, ())
    inner = job.boundary.buffer(-1.0, join_style="mitre")
    result = audit_operation(operation(replace(job, boundary=inner), turn=TURN))
    beyond = LENGTH * WIDTH - inner.area
    assert result.outside_area_m2 == pytest.approx(beyond, rel=1e-4)
    assert result.layers["outside"]["area_m2"].item() == pytest.approx(beyond, rel=1e-4)
    assert result.layers["field"]["area_m2"].item() == pytest.approx(inner.area, rel=1e-6)
    assert audited(()).layers["outside"]["area_m2"].sum() < 0.1
