"""Overlays may fail in floating point: all of them go through `geo/overlay.py`, which answers."""

import ast
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Polygon, box

import evenacre
from evenacre.geo import overlay

ROOT = Path(evenacre.__file__).parent
ROOMS = ("coverage", "io/maps", "io/logs/formats", "reports")
FRAGILE = {
    *("union", "union_all", "unary_union", "coverage_union", "coverage_union_all"),
    *("intersection", "intersection_all", "difference", "symmetric_difference", "clip_by_rect"),
    *("buffer", "offset_curve", "simplify", "overlay", "dissolve"),
}


def fragile_calls(file: Path) -> list[str]:
    """Calls of an overlay by its name, as a function of shapely or a method of a shape."""
    tree = ast.parse(file.read_text(encoding="utf-8"))
    calls = (node.func for node in ast.walk(tree) if isinstance(node, ast.Call))
    return [
        f"{file.relative_to(ROOT)}:{call.lineno} {call.attr}"
        for call in calls
        if isinstance(call, ast.Attribute) and call.attr in FRAGILE
    ]


def test_no_overlay_goes_round_the_guard() -> None:
    files = [file for room in ROOMS for file in (ROOT / room).rglob("*.py")]
    assert len(files) > 60
    assert [call for file in files for call in fragile_calls(file)] == []


def failing(times: int, real):  # type: ignore[no-untyped-def]
    """An operation that fails so many times, as the engine does on edges that all but coincide."""
    left = [times]

    def call(*args, **kwargs):  # type: ignore[no-untyped-def]
        if left[0]:
            left[0] -= 1
            raise shapely.GEOSException("TopologyException: side location conflict")
        return real(*args, **kwargs)

    return call


LEFT, RIGHT = box(0, 0, 10, 10), box(5, 0, 15, 10)


@pytest.mark.parametrize("times", [0, 1, 2, 3])
def test_an_overlay_that_fails_is_done_again_more_coarsely(times, monkeypatch) -> None:
    pair = np.array([LEFT, RIGHT])
    for name, area, run in (
        ("union_all", 150, lambda: overlay.union(pair)),
        ("intersection", 50, lambda: overlay.common(LEFT, RIGHT)),
        ("difference", 50, lambda: overlay.without(LEFT, RIGHT)),
    ):
        with monkeypatch.context() as patch:
            patch.setattr(shapely, name, failing(times, getattr(shapely, name)))
            assert run().area == pytest.approx(area, abs=0.1)


def test_lines_and_buffers_and_simpler_outlines_do_not_fail_either(monkeypatch) -> None:
    line = np.array([LineString([(-5, 5), (15, 5)])])
    for name in ("intersection", "buffer", "simplify"):
        monkeypatch.setattr(shapely, name, failing(1, getattr(shapely, name)))
    assert shapely.length(overlay.along(line, LEFT))[0] == pytest.approx(10)
    assert overlay.around(LEFT, 1.0, join_style="mitre").area == pytest.approx(144)
    assert overlay.simplified(np.array([LEFT]), 1.0)[0].equals(LEFT)


def test_unsound_outlines_can_be_overlaid() -> None:
    bow = Polygon([(0, 0), (10, 10), (10, 0), (0, 10)])
    assert overlay.common(bow, LEFT).area == pytest.approx(50, abs=1e-3)


def test_tiles_change_nothing() -> None:
    """A ground of 2,500 holes, narrowed and widened whole and by tiles."""
    rng = np.random.default_rng(1)
    x, y = np.meshgrid(np.arange(50) * 4.0, np.arange(50) * 3.0)
    wide, high = rng.uniform(1, 3.95, (2, x.size))
    holes = shapely.box(x.ravel(), y.ravel(), x.ravel() + wide, y.ravel() + high * 0.75)
    ground = shapely.difference(shapely.box(-1, -1, 201, 151), shapely.union_all(holes))

    def opened(part):  # type: ignore[no-untyped-def]
        return overlay.widen(overlay.widen(np.array([part]), -0.05), 0.05)[0]

    whole, tiled = opened(ground), overlay.by_tiles(ground, opened, 0.5)
    assert shapely.get_num_coordinates(ground) > 10_000
    assert tiled.is_valid
    assert shapely.symmetric_difference(whole, tiled).area < 1e-6


def test_drawn_outlines_stay_within_the_tolerance_and_none_is_lost() -> None:
    draw = np.random.default_rng(5)
    turn = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    way = np.column_stack([np.cos(turn), np.sin(turn)])
    shell, hole = (
        (r + draw.normal(0, 0.01, (400, 1))) * way + draw.normal(0, 0.01, (400, 2)) for r in (50, 9)
    )
    sliver = [(20, 0), (25, 0.01), (30, 0), (25, -0.01)]
    ground = np.array([Polygon(shell, [hole, sliver]), Polygon(sliver)])
    rings, owner = overlay.outlines(ground, 0.1)
    assert owner.tolist() == [0, 0, 0, 1]
    assert (shapely.get_num_coordinates(rings) >= 4).all()
    assert shapely.get_num_coordinates(rings[:2]).sum() < 200
    for ring, before in zip(rings, shapely.get_rings(ground), strict=True):
        assert shapely.hausdorff_distance(ring, before) <= 0.1 + 1e-9
