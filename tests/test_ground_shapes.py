"""Audits of shapes without a drive, against closed forms and shapely's own unions."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely
from pyproj import CRS
from shapely import affinity
from shapely.geometry import LineString, MultiPolygon, Polygon, box
from shapely.geometry.base import BaseGeometry

from evenacre.coverage.audit import audit_operation
from evenacre.errors import InputError
from evenacre.io.logs.read_tracks import read_tracks
from evenacre.model import Application, Blockage, Field, Implement, Operation, Product, Settings
from evenacre.model.audit_result import AuditResult
from evenacre.model.finding import FindingError

# Centred on the ground, so that its straight edges are straight in the plane of the audit too.
PLANE = CRS.from_proj4("+proj=laea +lat_0=40 +lon_0=-93 +datum=WGS84 +units=m")
WIDTH = 6.0


def saved(folder: Path, shapes: list[BaseGeometry], **columns: object) -> Path:
    file = folder / "ground.gpkg"
    file.unlink(missing_ok=True)
    gpd.GeoDataFrame(columns, geometry=shapes, crs=PLANE).to_file(file, engine="pyogrio")
    return file


def audit(
    folder: Path,
    shapes: list[BaseGeometry],
    field: BaseGeometry | None = None,
    *,
    settings: Settings = Settings(),  # noqa: B008
    blockages: tuple[Blockage, ...] = (),
    applications: tuple[Application, ...] = (),
    **columns: object,
) -> AuditResult:
    file = saved(folder, shapes, **columns)
    boundary = None if field is None else gpd.GeoSeries([field], crs=PLANE).to_crs(4326)[0]
    return audit_operation(
        Operation(
            "work",
            Field("field", boundary),
            Implement(WIDTH),
            tuple(read_tracks(file)),
            applications=applications,
            settings=settings,
            blockages=blockages,
        )
    )


def rows(pitch: float, count: int = 10, width: float = WIDTH) -> list[BaseGeometry]:
    return [box(-50, pitch * i - 30, 50, pitch * i - 30 + width) for i in range(count)]


def codes(result: AuditResult) -> set[str]:
    return {finding.code for finding in result.findings}


def close(value: float, abs_m2: float = 0.05) -> object:
    return pytest.approx(value, abs=abs_m2)


def test_rows_that_touch_overlap_or_leave_gaps(tmp_path: Path) -> None:
    whole = audit(tmp_path, rows(6.0), box(-50, -30, 50, 30))
    assert (whole.covered_area_m2, whole.covered_once_m2) == (close(6000), close(6000))
    assert (whole.skip_area_m2, whole.overlap_area_m2) == (close(0), close(0))
    lapped = audit(tmp_path, rows(5.5), box(-50, -30, 50, 25.5))
    assert lapped.covered_area_m2 == close(5550)
    assert lapped.overlap_area_m2 == close(9 * 0.5 * 100)
    assert lapped.excess_area_m2 == close(9 * 0.5 * 100)
    assert lapped.skip_area_m2 == close(0)
    gaps = audit(tmp_path, rows(7.0, 5), box(-50, -30, 50, 4))
    assert gaps.skip_area_m2 == close(400)
    assert gaps.layers["skips"]["area_m2"].tolist() == [close(100)] * 4
    assert gaps.layers["skips"]["mean_width_m"].tolist() == pytest.approx([1.0] * 4, rel=1e-3)


def test_what_hangs_on_a_drive_is_not_told(tmp_path: Path) -> None:
    result = audit(
        tmp_path, rows(6.0), box(-50, -30, 50, 30), blockages=(Blockage(0.0, 9.0, (1,), "row 1"),)
    )
    assert result.pass_count is None
    assert len(result.layers["passes"]) == result.headland_rounds == 0
    for name in ("worked_distance_m", "worked_time_s", "mean_speed_mps", "field_efficiency"):
        assert np.isnan(getattr(result, name))
    assert result.uncertainty == {}
    assert result.totals is None
    assert {"shapes_not_drive", "blockages_unplaced"} <= codes(result)
    stated = audit(tmp_path, rows(6.0), box(-50, -30, 50, 30), settings=Settings(headland_rounds=2))
    assert stated.headland_area_m2 == close(6000 - 76 * 36)


def test_covered_once_twice_and_thrice(tmp_path: Path) -> None:
    shapes = [box(-20, -5, 10, 5), box(-10, -5, 20, 5), box(0, -5, 5, 5), box(0, -5, 5, 5)]
    result = audit(tmp_path, shapes, box(-20, -5, 20, 5))
    assert result.covered_once_m2 == close(200)
    assert result.covered_twice_m2 == close(150)
    assert result.covered_more_m2 == close(50)
    assert result.excess_area_m2 == close(300)
    assert "repeated_shapes" in codes(result)


def test_cracks_and_laps_of_drawing_are_neither_skips_nor_overlaps(tmp_path: Path) -> None:
    field = box(-50, -30, 50, 30)
    cracked = audit(tmp_path, rows(6.0, width=5.98), field)
    assert cracked.skip_area_m2 == close(2.0)  # at the edge of the field, where it is not closed
    assert len(cracked.layers["skips"]) == 0
    lapped = audit(tmp_path, rows(6.0, width=6.02), field)
    assert (lapped.overlap_area_m2, lapped.excess_area_m2) == (close(0), close(0))
    assert lapped.covered_area_m2 == close(6000)
    for result in (cracked, lapped):
        (told,) = (f.values for f in result.findings if f.code == "cracks")
        assert told["cracks_m2"] + told["laps_m2"] == close(9 * 0.02 * 100)
    wide = audit(tmp_path, rows(6.0, width=5.8), field)
    assert wide.skip_area_m2 == close(0.2 * 1000)


def swath(line: LineString) -> Polygon:
    """The outline a recorder draws: the left end forward, the right end back."""
    at = np.array(line.coords)
    way = np.gradient(at, axis=0)
    side = WIDTH / 2 * np.column_stack([-way[:, 1], way[:, 0]]) / np.hypot(*way.T)[:, None]
    return Polygon(np.vstack([at + side, (at - side)[::-1]]))


def bent(*parts: tuple[float, float]) -> LineString:
    """A line of straights (length, 0) and arcs (radius, angle), a point every half metre."""
    points, heading = [np.array([-40.0, -20.0])], 0.0
    for size, angle in parts:
        count = int(np.ceil((abs(angle) * size if angle else size) / 0.5))
        for _ in range(count):
            step = 2 * size * np.sin(abs(angle) / count / 2) if angle else size / count
            way = heading + angle / count / 2
            points.append(points[-1] + step * np.array([np.cos(way), np.sin(way)]))
            heading += angle / count
    return LineString(points)


U_TURN = bent((80, 0), (10, np.pi), (80, 0))
LOOP = bent((40, 0), (15, 1.5 * np.pi), (60, 0))


@pytest.mark.parametrize("line", [U_TURN, LOOP], ids=["U-turn", "loop over itself"])
@pytest.mark.parametrize("kind", [LineString, Polygon])
def test_a_long_swath_is_covered_as_often_as_it_was_driven(
    tmp_path: Path, line: LineString, kind: type
) -> None:
    shape = line if kind is LineString else swath(line)
    result = audit(tmp_path, [shape])
    once = line.buffer(WIDTH / 2, cap_style="flat").area
    assert result.covered_area_m2 == pytest.approx(once, rel=1e-3)
    assert result.overlap_area_m2 == close(line.length * WIDTH - once, 0.5)
    assert (line is LOOP) == (result.overlap_area_m2 > 30)
    assert (kind is Polygon and line is LOOP) == (not shape.is_valid)


def test_holes_parts_and_bows(tmp_path: Path) -> None:
    ring = box(-20, -20, 20, 20) - box(-10, -10, 10, 10)
    result = audit(tmp_path, [ring], box(-20, -20, 20, 20))
    assert (result.covered_area_m2, result.skip_area_m2) == (close(1200), close(400))
    parts = MultiPolygon([box(-20, -5, -10, 5), box(10, -5, 20, 5)])
    mass = {"Applied (kg)": [50.0]}
    result = audit(tmp_path, [parts], box(-20, -5, 20, 5), **mass)
    assert result.covered_area_m2 == close(200)
    assert result.products[0].logged_kg == pytest.approx(50.0)
    bow = Polygon([(-5, -5), (5, 5), (5, -5), (-5, 5)])
    assert audit(tmp_path, [bow]).covered_area_m2 == close(50)


def test_amounts_are_rate_times_own_area(tmp_path: Path) -> None:
    rates = np.linspace(100, 190, 10)
    field = box(-50, -30, 0, 25.5)
    apply = (Application(Product("18-46-0"), 0.0145),)
    result = audit(tmp_path, rows(5.5), field, applications=apply, **{"Rate (kg/ha)": rates})
    (product,) = result.products
    assert product.source == "rate"
    assert product.logged_kg == pytest.approx(rates.sum() * 600 / 1e4, rel=1e-4)
    assert product.applied_in_field_kg == pytest.approx(product.logged_kg / 2, rel=1e-4)
    lapped = (rates[1:] + rates[:-1]) / 2 * 0.5 * 50 / 1e4
    assert product.overlap_kg == pytest.approx(lapped.sum(), rel=0.01)
    held = np.asarray(product.rate.values, dtype=float).sum() * product.rate.cell_m**2
    assert held == pytest.approx(product.logged_kg, rel=0.02)


def test_an_outline_that_tells_of_no_work_is_doubted(tmp_path: Path) -> None:
    def doubted(**columns: object) -> bool:
        found = audit(tmp_path, rows(6.0), **columns).findings
        return any("nothing in it tells of work" in str(f.values.get("text")) for f in found)

    assert doubted(id=range(10))
    assert doubted(crop=["rye"] * 10)
    assert not doubted(**{"rate (kg/ha)": [100.0] * 10})


def test_ground_without_amount_or_work(tmp_path: Path) -> None:
    rates = [100.0] * 8 + [0.0, np.nan]
    result = audit(tmp_path, rows(6.0), **{"Rate (kg/ha)": rates})
    assert result.covered_area_m2 == close(5400)  # nothing went down on the ninth
    assert {"work_from_amount", "blank_ground"} <= codes(result)
    states = audit(tmp_path, rows(6.0), work=[1] * 7 + [0] * 3)
    assert states.covered_area_m2 == close(4200)
    assert states.cleaning["not worked"] == 3


def test_lines_are_as_wide_as_told_or_as_the_tool(tmp_path: Path) -> None:
    lines = [LineString([(-50, y), (50, y)]) for y in (-20, 0, 20)]
    assert audit(tmp_path, lines).covered_area_m2 == close(3 * 600)
    widths = {"width (m)": [4.0, 8.0, np.nan]}
    assert audit(tmp_path, lines, **widths).covered_area_m2 == close(100 * (4 + 8 + 6))


def test_shapes_away_from_the_field_and_mixed_logs(tmp_path: Path) -> None:
    far = affinity.translate(box(0, 0, 100, 6), 500)
    result = audit(tmp_path, [*rows(6.0), far], box(-50, -30, 50, 30))
    assert result.cleaning["away from the field"] == 1
    assert "away_from_field" in codes(result)
    with pytest.raises(FindingError) as caught:
        audit(tmp_path, [far], box(-50, -30, 50, 30))
    assert caught.value.code == "no_shape"
    time = "2026-04-14T12:00:0"
    csv = tmp_path / "drive.csv"
    csv.write_text(
        "time,lon,lat\n" + "".join(f"{time}{i}Z,{-93 + i * 2e-5},40.0\n" for i in range(9))
    )
    tracks = (*read_tracks(tmp_path / "ground.gpkg"), *read_tracks(csv))
    with pytest.raises(FindingError) as caught:
        audit_operation(Operation("work", Field("f", None), Implement(WIDTH), tracks))
    assert caught.value.code == "drive_and_shapes"


def test_slanted_patchwork_against_a_union(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    shapes = [
        affinity.rotate(box(6 * i - 30, 2 * j - 20, 6 * i - 24, 2 * j - 18), rng.normal(0, 20))
        for i in range(10)
        for j in range(20)
    ]
    field = box(-30, -20, 30, 20)
    result = audit(tmp_path, shapes, field)
    inside = [s & field for s in shapes]
    covered = shapely.union_all(inside).area
    # What is narrower than a hand is closed or taken off.
    assert result.covered_area_m2 == pytest.approx(covered, rel=0.01)
    assert result.skip_area_m2 == pytest.approx(field.area - covered, rel=0.05)
    pairs = [a & b for k, a in enumerate(inside) for b in inside[:k]]
    assert result.overlap_area_m2 == pytest.approx(shapely.union_all(pairs).area, rel=0.02)


def shuffled(xy: np.ndarray, seed: int = 0) -> list[BaseGeometry]:
    order = np.random.default_rng(seed).permutation(len(xy))
    return list(shapely.points(xy[order]))


def test_points_in_no_order_lie_along_passes(tmp_path: Path) -> None:
    """Straight: each pass ends half a step beyond its ends. Round: rings as wide as the tool."""
    along = np.arange(-50.0, 50.1, 2.0)
    passes = [np.column_stack([along, np.full_like(along, 6.0 * i - 27)]) for i in range(10)]
    result = audit(tmp_path, shuffled(np.concatenate(passes)), box(-60, -40, 60, 40))
    assert result.covered_area_m2 == close(102 * 60)
    assert result.overlap_area_m2 == close(0)
    assert result.skip_area_m2 == close(120 * 80 - 102 * 60)
    assert "shapes_not_drive" in codes(result)
    turn = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    unit = np.column_stack([np.cos(turn), np.sin(turn)])
    rings = shuffled(np.concatenate([r * unit for r in (100.0, 106.0, 118.0)]))
    (track,) = read_tracks(saved(tmp_path, rings))
    assert not track.timed
    result = audit(tmp_path, rings)
    # Chords lie within their circles: by 1 - cos(half a step), a few m2 here.
    assert result.covered_area_m2 == pytest.approx(2 * np.pi * (100 + 106 + 118) * WIDTH, rel=2e-3)


def test_a_point_that_is_missing_is_bridged_and_a_lone_one_has_no_ground(tmp_path: Path) -> None:
    along = np.delete(np.arange(0.0, 200.0, 2.0), 40)
    xy = np.vstack([np.column_stack([along, np.zeros_like(along)]), [[100.0, 80.0]]])
    result = audit(tmp_path, shuffled(xy))
    assert result.covered_area_m2 == close(200 * WIDTH)
    assert result.cleaning["without ground"] == 1


@pytest.mark.parametrize("scattered", [False, True])
def test_points_that_lie_in_no_lines_are_refused(tmp_path: Path, scattered: bool) -> None:
    grid = np.stack(np.meshgrid(np.arange(30.0), np.arange(30.0)), axis=-1).reshape(-1, 2) * 3
    cloud = np.random.default_rng(2).uniform(0, 100, (900, 2))
    file = saved(tmp_path, shuffled(cloud if scattered else grid))
    with pytest.raises(InputError, match="do not lie in lines"):
        read_tracks(file)
