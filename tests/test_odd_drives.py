"""Drives that are hardly any: an audit answers or says what is wrong, in bounded memory."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from shapely.geometry import Polygon, box

from evenacre.coverage.audit import audit_operation
from evenacre.errors import InputError
from evenacre.model import Application, Field, Implement, Operation, Product, Track
from evenacre.model.audit_result import AuditResult

WIDTH = 6.096
LAT, LON, DEGREE_M = 40.0, -93.0, 111_195.0
EAST_M = DEGREE_M * np.cos(np.radians(LAT))
ALONG = np.arange(0, 200, 2.0)
RNG = np.random.default_rng(1)
MOST_CELLS = 4_100_000


def track(x: object, y: object, time_s: object = None, **rest: object) -> Track:
    east, north = np.asarray(x, float), np.asarray(y, float)
    seconds = np.arange(len(east), dtype=float) if time_s is None else np.asarray(time_s, float)
    lon, lat = LON + east / EAST_M, LAT + north / DEGREE_M
    return Track("odd.csv", 1.776e9 + seconds, lon, lat, **rest)  # type: ignore[arg-type]


def ground(west: float, south: float, east: float, north: float) -> Polygon:
    return box(
        LON + west / EAST_M, LAT + south / DEGREE_M, LON + east / EAST_M, LAT + north / DEGREE_M
    )


def hike() -> Track:
    """296 points over 20 km, a step a minute or so."""
    way = np.cumsum(RNG.normal(0, 0.3, 296))
    step = 20_000 / 296
    return track(
        np.cumsum(np.cos(way)) * step, np.cumsum(np.sin(way)) * step, np.arange(296) * 52.0
    )


def astray(count: int) -> Track:
    """Out and back, and between them some records 500 km away, hours off."""
    far = 5e5 + 2.0 * np.arange(count)
    seconds = [np.arange(100), 1e5 + np.arange(count), 2e5 + np.arange(100)]
    x = np.concatenate([ALONG, far, ALONG[::-1]])
    y = np.concatenate([0 * ALONG, 0 * far, 0 * ALONG + 6])
    return track(x, y, np.concatenate(seconds), working=np.ones(len(x), dtype=bool))


DRIVES: dict[str, tuple[Callable[[], Track], str]] = {
    "nothing": (lambda: track([], []), "no_position"),
    "one fix": (lambda: track([0], [0]), "single_position"),
    "two fixes": (lambda: track([0, 2], [0, 0]), ""),
    "two at one place": (lambda: track([0, 0], [0, 0]), "no_ground no_work"),
    "all at one place": (lambda: track(0 * ALONG, 0 * ALONG), "no_ground no_work"),
    "at work in one place": (
        lambda: track(0 * ALONG, 0 * ALONG, working=np.ones(100, dtype=bool)), "no_ground",
    ),
    "out and back": (lambda: track([*ALONG, *ALONG[::-1]], [0] * 200), ""),
    "a last pass of one record": (
        lambda: track(ALONG, 0 * ALONG, working=(np.arange(100) < 50) | (np.arange(100) == 99)), "",
    ),
    "records of work one by one": (
        lambda: track(ALONG, 0 * ALONG, working=np.arange(100) % 7 == 0), "",
    ),
    "no position": (lambda: track(ALONG * np.nan, ALONG), "no_position"),
    "wandering about a place": (
        lambda: track(*np.cumsum(RNG.normal(0, 0.2, (2, 300)), axis=1)), "no_work",
    ),
    "a hike": (hike, ""),
    "one record far away": (lambda: astray(1), ""),
    "three records far away": (lambda: astray(3), ""),
}  # fmt: skip
FIELDS = {
    "no boundary": None,
    "boundary": ground(-10, -10, 210, 20),
    "huge boundary": ground(-2e4, -2e4, 2e4, 2e4),
    "boundary far away": ground(3e5, 3e5, 3.001e5, 3.001e5),
}


def audit(drive: Track, field: Polygon | None) -> AuditResult:
    apply = (Application(Product("18-46-0"), 0.0168),)
    return audit_operation(
        Operation("odd", Field("f", field), Implement(WIDTH), (drive,), applications=apply)
    )


@pytest.mark.filterwarnings("ignore::RuntimeWarning")
@pytest.mark.parametrize("field", FIELDS)
@pytest.mark.parametrize("name", DRIVES)
def test_odd_drives_are_audited_or_refused(name: str, field: str) -> None:
    drive, codes = DRIVES[name]
    try:
        result = audit(drive(), FIELDS[field])
    except InputError as refusal:
        code = getattr(refusal, "code", "")
        near = field in ("no boundary", "huge boundary")
        assert code in codes.split() or not near or name == "wandering about a place"
        return
    assert not codes or name == "wandering about a place"
    assert result.covered_area_m2 + result.outside_area_m2 > 0
    assert result.cover_grid.values.size < MOST_CELLS
    assert result.products[0].rate.values.size < MOST_CELLS


def test_a_huge_field_shows_the_worked_ground_alone() -> None:
    result = audit(track(ALONG, 0 * ALONG), FIELDS["huge boundary"])
    assert "cropped_cells" in {finding.code for finding in result.findings}
    rate = result.products[0].rate
    held = np.asarray(rate.values, dtype=float).sum() * rate.cell_m**2
    assert held == pytest.approx(result.products[0].logged_kg, rel=0.02)
    assert result.workable_area_m2 == pytest.approx(1.6e9, rel=0.01)


def test_scattered_ground_is_told_with_its_cells() -> None:
    result = audit(astray(3), None)
    told = {f.code: f.values for f in result.findings}
    assert told["coarse_cells"]["cell_m"] == pytest.approx(result.cover_grid.cell_m)
