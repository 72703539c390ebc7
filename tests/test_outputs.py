"""The result folder, read back by other people's libraries; whole or not at all."""

from __future__ import annotations

import errno
import json
import math
import os
import subprocess
import sys
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import openpyxl
import pandas as pd
import pyogrio
import pyproj
import pytest
import rasterio
from synthetic_result import empty_result, make_result

from evenacre.errors import InputError
from evenacre.io.result_folder.staging import staged_folder
from evenacre.io.writers.results import write_outputs
from evenacre.io.writers.tables import write_csv, write_workbook
from evenacre.io.writers.vector_layers import write_geopackage
from evenacre.model.audit_result import AuditResult
from evenacre.model.outputs import Deliverables, OperationFiles
from evenacre.reports.figure_text import operation_slugs
from evenacre.reports.maps.printed import static_maps
from evenacre.reports.maps.stored_layers import join_layers, operation_layers, rasters
from evenacre.reports.quantities import Display
from evenacre.reports.tables.accounts import summary
from evenacre.reports.tables.audit import audit_frames, fix_lists
from evenacre.reports.writers.as_frame import stacked
from evenacre.units.display import US


def deliver(*results: AuditResult, maps: bool = False) -> Deliverables:
    lists = fix_lists(results, US)
    return Deliverables(
        summary=summary(results, farm="F", inputs=[], warnings=[], generated="now"),
        report="<!DOCTYPE html>",
        method="<!DOCTYPE html>",
        layers=join_layers([operation_layers(r) for r in results]),
        tables=audit_frames(results, Display(US)),
        fix_list=stacked(lists),
        operations=tuple(
            OperationFiles(
                slug, rasters(r), static_maps(r, US) if maps else {"cover": b"x"}, {}, stops
            )
            for slug, r, stops in zip(operation_slugs(results), results, lists, strict=True)
        ),
    )


def write(out: Path, *results: AuditResult, maps: bool = False) -> Path:
    with staged_folder(out) as stage:
        write_outputs(stage, deliver(*results, maps=maps))
    return out


@pytest.fixture(scope="module")
def result() -> AuditResult:
    return make_result()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory, result: AuditResult) -> Path:
    return write(tmp_path_factory.mktemp("written") / "out", result, maps=True)


def test_every_file_of_the_contract_is_there(folder: Path) -> None:
    files = sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())
    assert files == sorted(
        [
            "cover_count.tif",
            "fix_list.geojson",
            "method.html",
            "fix_list.gpx",
            "layers.gpkg",
            *(f"maps/{n}.{kind}" for n in ("cover", "rate_18-46-0") for kind in ("png", "svg")),
            "rate_18-46-0.tif",
            "report.html",
            "summary.json",
            "tables.xlsx",
            *(
                f"tables/{n}.csv"
                for n in (
                    [
                        "operations",
                        "products",
                        "zones",
                        "nutrients",
                        "setbacks",
                        "skips",
                        "passes",
                        "notes",
                        "trips",
                    ]
                )
            ),
        ]
    )
    assert json.loads((folder / "summary.json").read_text())["files"] == files


def test_equal_results_give_equal_bytes(folder: Path, tmp_path: Path) -> None:
    again = write(tmp_path / "again", make_result(), maps=True)
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        assert path.read_bytes() == (again / path.relative_to(folder)).read_bytes(), path.name


def test_geopackage_layers_lie_where_they_should(folder: Path, result: AuditResult) -> None:
    path = folder / "layers.gpkg"
    names = [name for name, _ in pyogrio.list_layers(path)]
    assert names == [
        "fields",
        "unworkable",
        "passes",
        "swaths",
        "cover",
        "overlaps",
        "skips",
        "headland",
        "outside",
        "zones",
        "setbacks",
    ]
    geod = pyproj.Geod(ellps="WGS84")
    for name in names:
        frame = pyogrio.read_dataframe(path, layer=name)
        assert frame.crs == "EPSG:4326"
        assert list(frame.columns[:2]) == ["field", "operation"]
        assert set(frame["field"]) == {"Creek Forty"}
        if name != "passes":
            measured = [abs(geod.geometry_area_perimeter(g)[0]) for g in frame.geometry]
            if name != "setbacks":  # that one is cut to the field
                assert measured == pytest.approx(list(frame["area_m2"]), rel=1e-5, abs=1e-3)
    passes = pyogrio.read_dataframe(path, layer="passes")
    lengths = [geod.geometry_length(g) for g in passes.geometry]
    assert lengths == pytest.approx(list(passes["length_m"]), rel=1e-5)
    zones = pyogrio.read_dataframe(path, layer="zones")
    applied = [z.applied_kg for z in result.products[0].zones]
    assert list(zones["applied_kg_18-46-0"]) == pytest.approx(applied)


def test_skips_hold_their_own_waypoints(folder: Path) -> None:
    skips = pyogrio.read_dataframe(folder / "layers.gpkg", layer="skips")
    points = pyogrio.read_dataframe(folder / "fix_list.geojson")
    assert list(skips["skip"]) == [1, 2, 3, 4]
    for shape, point in zip(skips.geometry, points.geometry, strict=True):
        assert shape.buffer(1e-7).contains(point)


def test_rasters_are_cloud_optimized_and_true(folder: Path, result: AuditResult) -> None:
    with rasterio.open(folder / "rate_18-46-0.tif") as rate:
        assert rate.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert rate.profile["tiled"]
        assert rate.block_shapes == [(256, 256)]
        assert rate.overviews(1)
        assert rate.dtypes == ("float32",)
        assert rate.units == ("kg m-2",)
        assert rate.tags()["UNITS"] == "kg m-2"
        assert "18-46-0" in rate.descriptions[0]
        assert np.isnan(rate.nodata)
        assert pyproj.CRS.from_wkt(rate.crs.to_wkt()) == result.crs
        assert rate.transform == result.products[0].rate.transform
        np.testing.assert_array_equal(rate.read(1), result.products[0].rate.values)
    with rasterio.open(folder / "cover_count.tif") as count:
        assert count.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert count.dtypes == ("uint8",)
        assert count.nodata == 255
        values = count.read(1)
        np.testing.assert_array_equal(values, result.cover_grid.values)


def test_gpx_is_read_by_gdal_in_the_order_of_the_list(folder: Path) -> None:
    waypoints = pyogrio.read_dataframe(folder / "fix_list.gpx", layer="waypoints")
    listed = pyogrio.read_dataframe(folder / "fix_list.geojson")
    left = listed["verdict"] == "leave it"
    assert 0 < left.sum() < len(listed)
    assert list(waypoints["name"]) == list(listed["name"][~left])
    root = ElementTree.parse(folder / "fix_list.gpx").getroot()
    assert root.tag == "{http://www.topografix.com/GPX/1/1}gpx"
    assert root.attrib["version"] == "1.1"
    # GPX 1.1 wants these children in this order.
    order = [child.tag.split("}")[1] for child in root[0]]
    assert order == ["name", "desc", "type"]


def test_names_from_files_are_escaped_in_gpx(tmp_path: Path) -> None:
    write(tmp_path / "out", make_result(field='A & B <"\x07>'))
    waypoints = pyogrio.read_dataframe(tmp_path / "out/fix_list.gpx", layer="waypoints")
    assert 'A & B <">' in waypoints["desc"].iloc[0]


def test_waypoints_across_the_antimeridian_stay_within_180(tmp_path: Path) -> None:
    # The field is 400 m wide, so that it reaches 200 m to both sides of the line.
    out = write(tmp_path / "out", make_result(lon=180.0, lat=-17.0))
    points = json.loads((out / "fix_list.geojson").read_text())["features"]
    lons = [p["geometry"]["coordinates"][0] for p in points]
    assert all(-180 <= lon <= 180 for lon in lons)
    assert min(lons) < -179.9 < 179.9 < max(lons)
    fields = pyogrio.read_dataframe(out / "layers.gpkg", layer="fields")
    west, _, east, _ = fields.total_bounds
    assert east - west < 0.01  # one continuous field, not a belt around the earth


def test_several_operations_get_a_folder_each(tmp_path: Path, result: AuditResult) -> None:
    out = write(tmp_path / "out", result, make_result(operation="Cover crop"), result)
    slugs = ["creek-forty-cover-crop", "creek-forty-spring-fertilizer"]
    slugs.append("creek-forty-spring-fertilizer-2")
    assert sorted(p.parent.name for p in out.glob("*/cover_count.tif")) == slugs
    assert not (out / "cover_count.tif").exists()
    skips = pyogrio.read_dataframe(out / "layers.gpkg", layer="skips")
    assert len(skips) == 12
    whole = json.loads((out / "fix_list.geojson").read_text())["features"]
    parts = [json.loads((out / slug / "fix_list.geojson").read_text()) for slug in sorted(slugs)]
    names = [point["properties"]["name"] for point in whole]
    by_job = [point["properties"]["name"] for part in parts for point in part["features"]]
    assert sorted(names) == sorted(by_job)
    assert len(set(names)) == 12


def test_empty_layers_are_written_all_the_same(tmp_path: Path) -> None:
    out = write(tmp_path / "out", empty_result())
    info = {n: pyogrio.read_info(out / "layers.gpkg", layer=n)["features"] for n in ("skips",)}
    assert info == {"skips": 0}
    assert json.loads((out / "fix_list.geojson").read_text())["features"] == []
    assert len(pyogrio.read_dataframe(out / "fix_list.gpx", layer="waypoints")) == 0


def test_workbook_has_numbers_as_numbers_and_a_frozen_head(folder: Path) -> None:
    book = openpyxl.load_workbook(folder / "tables.xlsx")
    sheet = book["operations"]
    assert sheet.freeze_panes == "C2"  # field and operation stay in sight too
    head = [c.value for c in sheet[1]]
    covered = sheet.cell(2, head.index("covered [ac]") + 1)
    assert covered.data_type == "n"
    assert covered.value == pytest.approx(19.51, abs=0.01)
    assert covered.number_format == "#,##0.00"
    csv = pd.read_csv(folder / "tables/operations.csv")
    assert csv["covered [ac]"].iloc[0] == covered.value
    start = sheet.cell(2, head.index("start") + 1)
    assert start.is_date
    assert start.value == datetime(2026, 4, 14, 10)  # as the drive begins, on the log's clock
    for sheet in book:
        for column in sheet.iter_cols(min_row=1):
            told = [cell.value for cell in column[1:] if isinstance(cell.value, float)]
            unitless = ("longitude", "latitude")
            assert not told or "[" in column[0].value or column[0].value in unitless


def test_days_and_money_are_such_in_the_workbook(tmp_path: Path) -> None:
    table = pd.DataFrame(
        {
            "date": ["2026-04-14", "", "1900-03-01"],
            "no day": ["2026-04-14", "2026-02-30", ""],
            "too early": ["1899-12-31", "2026-04-14", ""],
            "cost [USD]": [12.5, 1234.0, math.nan],
            "time": ["2026-04-14T08:20:11-05:00", "", "2026-11-03T23:59:59"],
            "no time": ["2026-04-14T08:20:11-05:00", "8:20:11", ""],
        }
    )
    write_workbook(tmp_path / "t.xlsx", {"t": table})
    sheet = openpyxl.load_workbook(tmp_path / "t.xlsx")["t"]
    days = [sheet.cell(row, 1).value for row in (2, 4)]
    assert days == [datetime(2026, 4, 14), datetime(1900, 3, 1)]
    assert [sheet.cell(row, 2).value for row in (2, 3)] == ["2026-04-14", "2026-02-30"]
    assert sheet["C2"].value == "1899-12-31"
    assert sheet["D3"].value == 1234.0
    assert sheet["D3"].number_format == "#,##0.00"
    times = [sheet.cell(row, 5).value for row in (2, 4)]
    assert times == [datetime(2026, 4, 14, 8, 20, 11), datetime(2026, 11, 3, 23, 59, 59)]
    assert sheet["F2"].value == "2026-04-14T08:20:11-05:00"


# What the OWASP page "CSV Injection" lists, and the same behind space.
@pytest.mark.parametrize(
    "text",
    [
        *("=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", " =1", "\u3000=1"),
        *("\uff1d1", "\uff0b1", "\uff0d1", "\uff20A1"),
    ],
)
def test_text_never_becomes_a_formula(text: str, tmp_path: Path) -> None:
    table = pd.DataFrame({"field": [text], "area": [-1.5], text: ["x"]})
    write_csv(tmp_path / "t.csv", table)
    raw = (tmp_path / "t.csv").read_text(encoding="utf-8-sig")
    for cell in pd.read_csv(tmp_path / "t.csv", header=None, dtype=str).to_numpy().ravel():
        assert cell[0] not in "=+@\t\r\n \u3000\uff1d\uff0b\uff0d\uff20", raw
    kept = text.replace("\r", "")
    assert f"'{kept}" in (tmp_path / "t.csv").read_bytes().decode("utf-8-sig")
    assert "-1.5" in raw  # a number keeps its sign
    write_workbook(tmp_path / "t.xlsx", {"t": table})
    sheet = openpyxl.load_workbook(tmp_path / "t.xlsx")["t"]
    assert sheet["A2"].data_type == "s"
    assert sheet["C1"].data_type == "s"
    assert sheet["B2"].value == -1.5


def leftovers(parent: Path) -> list[str]:
    return sorted(p.name for p in parent.iterdir())


def fail_midway(out: Path, error: BaseException) -> None:
    with staged_folder(out) as stage:
        (stage / "half.txt").write_text("x")
        raise error


def test_a_failure_leaves_the_earlier_result_alone(tmp_path: Path, result: AuditResult) -> None:
    out = write(tmp_path / "out", result)
    before = (out / "summary.json").read_bytes()
    with pytest.raises(ZeroDivisionError):
        fail_midway(out, ZeroDivisionError())
    assert leftovers(tmp_path) == ["out"]
    assert (out / "summary.json").read_bytes() == before


def test_an_interrupt_leaves_nothing_behind(tmp_path: Path) -> None:
    with pytest.raises(KeyboardInterrupt):
        fail_midway(tmp_path / "new" / "out", KeyboardInterrupt())
    assert leftovers(tmp_path) == []


def test_a_second_run_replaces_the_first(tmp_path: Path, result: AuditResult) -> None:
    out = write(tmp_path / "out", result, make_result(operation="Cover crop"))
    (out / "Thumbs.db").write_text("left by a desktop")
    write(out, result)
    assert leftovers(tmp_path) == ["out"]
    assert (out / "cover_count.tif").exists()
    assert not (out / "creek-forty-cover-crop").exists()


def test_a_folder_of_someone_else_is_refused(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "letters.txt").write_text("dear")
    with pytest.raises(InputError, match="no earlier Evenacre result"):
        write(tmp_path / "out", empty_result())
    assert leftovers(tmp_path / "out") == ["letters.txt"]
    assert leftovers(tmp_path) == ["out"]


def test_a_file_added_to_a_result_is_not_thrown_away(tmp_path: Path) -> None:
    out = write(tmp_path / "out", empty_result())
    (out / "my notes.txt").write_text("keep")
    with pytest.raises(InputError, match=r"my notes\.txt"):
        write(out, empty_result())
    assert (out / "my notes.txt").read_text() == "keep"


def test_an_empty_folder_is_taken_and_a_file_is_not(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    write(tmp_path / "out", empty_result())
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="is a file"):
        write(tmp_path / "file", empty_result())


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (errno.ENOSPC, "the disk is full"),
        (errno.EROFS, "read-only"),
        (errno.EACCES, "no permission"),
        (errno.EIO, "could not be written"),
    ],
)
def test_disk_troubles_are_told_plainly(tmp_path: Path, code: int, words: str) -> None:
    with pytest.raises(InputError, match=words) as caught, staged_folder(tmp_path / "out"):
        raise OSError(code, os.strerror(code))
    assert "--out" in str(caught.value)
    assert leftovers(tmp_path) == []


def test_trouble_elsewhere_is_not_blamed_on_the_output(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError), staged_folder(tmp_path / "out" / "deep"):
        (tmp_path / "no such log.csv").read_text()


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may write anywhere")
def test_a_read_only_parent_is_told_plainly(tmp_path: Path) -> None:
    tmp_path.chmod(0o555)
    with pytest.raises(InputError, match="no permission"):
        write(tmp_path / "out", empty_result())


_LIMITED = """
import resource, sys
sys.path.insert(0, {tests!r})
from pathlib import Path
from synthetic_result import make_result
from test_outputs import write
from evenacre.errors import InputError
for limit in 100, 5_000, 30_000, 300_000:
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, resource.RLIM_INFINITY))
    try:
        write(Path({out!r}), make_result())
    except InputError as error:
        print(error)
"""


def test_a_disk_that_takes_no_more_leaves_nothing(tmp_path: Path) -> None:
    # A limit on the size of files stands in for a full disk: the system refuses the write.
    script = _LIMITED.format(tests=str(Path(__file__).parent), out=str(tmp_path / "out"))
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert done.stdout.count("--out") == 4
    assert leftovers(tmp_path) == []


def test_the_geopackage_date_option_is_put_back(tmp_path: Path, result: AuditResult) -> None:
    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    write_geopackage(tmp_path / "a.gpkg", {"fields": operation_layers(result)["fields"]})
    assert pyogrio.get_gdal_config_option("OGR_CURRENT_DATE") == before


def test_static_maps_are_png_and_svg_and_draw_without_products(result: AuditResult) -> None:
    maps = static_maps(result, US)
    assert set(maps) == {
        f"{n}.{kind}" for n in ("cover", "rate_18-46-0") for kind in ("png", "svg")
    }
    for name, drawing in maps.items():
        assert drawing.startswith(b"\x89PNG\r\n\x1a\n" if name.endswith("png") else b"<?xml ")
    assert set(static_maps(empty_result(), US)) == {"cover.png", "cover.svg"}
    dollars = replace(result, field="$10 \\frac field")  # not a formula
    assert static_maps(dollars, US)["cover.png"].startswith(b"\x89PNG")
