"""What ``evenacre audit`` promises of its result folder, from the command line."""

from __future__ import annotations

import csv
import errno
import hashlib
import html
import json
import os
import re
import subprocess
from dataclasses import dataclass, replace
from fnmatch import fnmatch
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import geopandas as gpd
import numpy as np
import openpyxl
import pyogrio
import pytest
import rasterio
import shapely
from cli_jobs import (
    Files,
    command,
    evenacre,
    records_of,
    small_job,
    summary_of,
    warnings_of,
    write_boundary,
    write_files,
    write_log,
)
from put_down import MISSOURI, on_earth
from test_summary import OPERATION_KEYS, PRODUCT_KEYS

FILES_PAGE = Path(__file__).parents[1] / "docs" / "reference" / "files.md"
LENGTH, WIDTH = 60.0, 6.096
TOP = 3 * WIDTH + 0.1
RATE_KG_PER_HA = 168.0
HOSTILE = "<img src=x onerror=alert(1)> \"';--</script>"
FORMULA = '=HYPERLINK("http://a.example") <blink>'

SEASON = """
farm = '''{hostile}'''
[[product]]
name = '''{formula}'''
analysis = {{ N = 18, P2O5 = 46, K2O = 0 }}
price = "840 USD/ton"
[[implement]]
name = "drill"
width = "6.096 m"
[[field]]
name = '''{hostile}'''
boundary = "field.geojson"
zones = {{ file = "zones.geojson", name_column = "zone" }}
setbacks = {{ file = "well.geojson", distance = "5 m" }}
[[operation]]
name = "+Spring @home"
field = '''{hostile}'''
implement = "drill"
date = 2026-04-14
tracks = ["log.csv"]
products = [ {{ product = '''{formula}''', rate = "168 kg/ha" }} ]
[[operation]]
name = "-Fall"
field = '''{hostile}'''
implement = "drill"
tracks = ["fall.csv"]
"""


@dataclass(frozen=True)
class Result:
    """A season written into a folder, and its audit."""

    home: Path
    season: Path
    out: Path
    account: dict[str, Any]


def write_season(home: Path) -> Path:
    """Two operations on one field; every name taken from a file is hostile."""
    job = small_job()
    drive = job.drives[0].with_rate(FORMULA, RATE_KG_PER_HA / 1e4)
    files = write_files(home)
    write_log(files.log, records_of(replace(job, drives=(drive,))))
    write_log(home / "fall.csv", records_of(small_job(gaps=(0.2, -0.1))))
    half = shapely.box(0.0, 0.0, LENGTH / 2, TOP)
    write_boundary(
        home / "zones.geojson", on_earth(half, MISSOURI, 0.0, (0, 0)), {"zone": f"@{HOSTILE}"}
    )
    write_boundary(
        home / "well.geojson",
        on_earth(shapely.Point(LENGTH / 2, TOP / 2), MISSOURI, 0.0, (0, 0)),
        {"name": f"-{HOSTILE}"},
    )
    path = home / "season.toml"
    path.write_text(SEASON.format(hostile=HOSTILE, formula=FORMULA), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Result:
    home = tmp_path_factory.mktemp("season")
    season = write_season(home)
    ran = evenacre("audit", season, "--jobs", 1)
    assert ran.code == 0, ran
    out = home / "evenacre-out"
    return Result(home, season, out, summary_of(out))


@pytest.fixture
def files(tmp_path: Path) -> Files:
    return write_files(tmp_path)


def contents(folder: Path) -> dict[str, bytes]:
    """Every file below a folder by its name."""
    return {
        p.relative_to(folder).as_posix(): p.read_bytes()
        for p in sorted(folder.rglob("*"))
        if p.is_file()
    }


def untimed(folder: Path) -> dict[str, bytes]:
    """Every file of a result, without the key that tells the time and the checksum over it."""
    files = contents(folder)
    timed = rb'\n  "(generated|account_sha256)": "[^"]*",?'
    files["summary.json"], keys = re.subn(timed, b"", files["summary.json"])
    assert keys == 2
    return files


# --- every file and key ----------------------------------------------------------------------


def test_every_file_is_there_and_no_other(result: Result) -> None:
    present = set(contents(result.out))
    tables = (
        *("operations", "skips", "passes", "products", "zones", "nutrients", "setbacks", "trips"),
        *("notes", "placements", "season_nutrients", "money", "intervals"),
    )
    shared = {"summary.json", "report.html", "method.html", "layers.gpkg", "tables.xlsx"}
    shared |= {"fix_list.gpx", "fix_list.geojson"} | {f"tables/{name}.csv" for name in tables}
    assert shared <= present
    rest = present - shared
    assert sum(name.endswith("/cover_count.tif") for name in rest) == 2
    assert sum("/rate_" in name and name.endswith(".tif") for name in rest) == 1
    kinds = r"/(cover_count|rate_[\w-]+)\.tif$|/?maps/[\w-]+\.(png|svg)$|/fix_list\.(gpx|geojson)$"
    assert all(re.search(kinds, n) for n in rest)
    assert result.account["files"] == sorted(present)


@pytest.mark.skipif(not FILES_PAGE.exists(), reason="docs are not part of every archive")
def test_the_documentation_lists_every_file(result: Result) -> None:
    section = FILES_PAGE.read_text().partition("## An audit")[2].partition("\n## ")[0]
    told = re.findall(r"`([^`]+)`", " ".join(re.findall(r"^\| (.*?) \|", section, re.MULTILINE)))
    for file in contents(result.out):
        # What an operation has of its own lies in a folder of its name.
        inner = file.partition("/")[2] or file
        assert any(fnmatch(file, name) or fnmatch(inner, name) for name in told), file


def test_geoparquet_comes_beside_the_rest_when_asked_for(result: Result) -> None:
    out = result.home / "with-geoparquet"
    ran = evenacre("audit", result.season, "--out", out, "--geoparquet", "--jobs", 1)
    assert ran.code == 0, ran
    plain, more = untimed(result.out), untimed(out)
    layers = ("fields", "passes", "skips", "overlaps", "cover", "zones")
    added = {f"geoparquet/{name}.parquet" for name in (*layers, "tracks")}
    assert more.keys() - plain.keys() == added
    changed = {n for n in plain if plain[n] != more[n]}
    assert changed == {"summary.json", "method.html"}  # the latter says how to repeat it
    assert set(summary_of(out)["files"]) == set(more)
    for name in layers:
        frame = gpd.read_parquet(out / "geoparquet" / f"{name}.parquet")
        assert len(frame) == pyogrio.read_info(result.out / "layers.gpkg", layer=name)["features"]
    tracks = gpd.read_parquet(out / "geoparquet" / "tracks.parquet")
    logs = {"+Spring @home": "log.csv", "-Fall": "fall.csv"}
    assert set(tracks["operation"]) == set(logs)
    for operation, log in logs.items():
        rows = tracks[tracks["operation"] == operation]
        with (result.home / log).open(encoding="utf-8") as file:
            written = list(csv.DictReader(file))
        assert set(rows["field"]) == {HOSTILE}
        assert set(rows["machine"]) == {log}
        assert rows["work"].astype(int).to_list() == [int(r["work"]) for r in written]
        assert rows.geometry.x.to_list() == [float(r["longitude"]) for r in written]


def test_one_operation_keeps_its_rasters_at_the_root(files: Files) -> None:
    ran = evenacre(
        "audit", *files.options(product="18-46-0", rate="150 lb/ac", zones=files.boundary)
    )
    assert ran.code == 0, ran
    assert {"cover_count.tif", "rate_18-46-0.tif", "maps/cover.png"} <= set(contents(files.out))


def test_every_key_of_the_summary(result: Result) -> None:
    account = result.account
    assert list(account)[:2] == ["schema", "program"]
    assert account["schema"] == "evenacre/summary/1.8"
    assert set(account) >= {"inputs", "warnings", "operations", "generated"}
    for operation in account["operations"]:
        assert list(operation)[: len(OPERATION_KEYS)] == OPERATION_KEYS
        assert set(operation["uncertainty"]) == {
            *("covered_area_m2", "overlap_area_m2", "skip_area_m2")
        }
        for skip in operation["skips"]:
            assert list(skip)[:6] == ["kind", "area_m2", "mean_width_m", "length_m", "lon", "lat"]
    spring, fall = account["operations"]
    assert (spring["date"], spring["field"]) == ("2026-04-14", HOSTILE)
    assert fall["products"] == []
    (product,) = spring["products"]
    assert list(product)[: len(PRODUCT_KEYS)] == PRODUCT_KEYS
    assert set(product["nutrients"]) == {"N", "P2O5", "K2O"}


def test_figures_are_those_of_the_job(result: Result) -> None:
    spring = result.account["operations"][0]
    # Lengths times widths; half a millimetre of rounding in the log's degrees along each side.
    near = {"abs": 6 * LENGTH * 0.0005}
    assert spring["covered_area_m2"] == pytest.approx(LENGTH * (3 * WIDTH - 0.5), **near)
    assert spring["overlap_area_m2"] == pytest.approx(LENGTH * 0.5, **near)
    assert spring["skip_area_m2"] == pytest.approx(LENGTH * 0.6, **near)
    (product,) = spring["products"]
    logged = RATE_KG_PER_HA / 1e4 * 3 * WIDTH * LENGTH
    assert product["logged_kg"] == pytest.approx(logged, rel=1e-5)
    (zone,) = product["zones"]
    assert zone["area_m2"] == pytest.approx(LENGTH / 2 * TOP, rel=1e-5)
    assert zone["applied_kg"] == pytest.approx(logged / 2, rel=1e-4)
    assert product["nutrients"]["P2O5"]["applied_kg"] == pytest.approx(0.46 * logged, rel=1e-4)
    (setback,) = product["setbacks"]
    assert 0 < setback["area_m2"] < np.pi * 25


def test_inputs_are_named_with_their_sha256(result: Result) -> None:
    named = {i["path"]: i["sha256"] for i in result.account["inputs"]}
    expected = {
        name: hashlib.sha256((result.home / name).read_bytes()).hexdigest()
        for name in (
            *("season.toml", "field.geojson", "zones.geojson", "well.geojson"),
            *("log.csv", "fall.csv"),
        )
    }
    assert named == expected


def test_written_files_are_named_with_their_sha256(result: Result) -> None:
    named = result.account["sha256"]
    assert sorted([*named, "summary.json"]) == result.account["files"]
    for name, digest in named.items():
        assert digest == hashlib.sha256((result.out / name).read_bytes()).hexdigest(), name
    own = result.account["account_sha256"]
    raw = (result.out / "summary.json").read_bytes().replace(own.encode(), b"0" * 64)
    assert own == hashlib.sha256(raw).hexdigest()


def test_other_programs_read_what_was_written(result: Result) -> None:
    layers = {name for name, _ in pyogrio.list_layers(result.out / "layers.gpkg")}
    assert layers >= {*("fields", "passes", "swaths", "overlaps", "skips", "headland", "zones")}
    for path in result.out.rglob("*.tif"):
        with rasterio.open(path) as raster:
            assert raster.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
    assert ElementTree.parse(result.out / "fix_list.gpx").getroot().tag.endswith("gpx")
    assert json.loads((result.out / "fix_list.geojson").read_text())["features"]


def test_tables_and_summary_agree(result: Result) -> None:
    with (result.out / "tables" / "operations.csv").open(encoding="utf-8-sig") as file:
        rows = list(csv.DictReader(file))
    for row, operation in zip(rows, result.account["operations"], strict=True):
        # 1 acre = 4046.8564224 m2 (international foot; NIST SP 811, B.8).
        covered = float(row["covered [ac]"]) * 4046.8564224
        assert covered == pytest.approx(operation["covered_area_m2"], rel=1e-6)


# --- hostile names ---------------------------------------------------------------------------


class Tags(HTMLParser):
    """Names of the elements and attributes of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.names: set[str] = set()
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.names |= {tag, *(name for name, _ in attrs)}


def test_names_from_files_stay_text_in_the_report(result: Result) -> None:
    page = (result.out / "report.html").read_text(encoding="utf-8")
    assert html.escape(HOSTILE, quote=False)[:20] in page
    assert not Tags(page).names & {"onerror", "blink"}
    # A name within script data cannot end the script.
    assert "--</script>" not in page


def test_no_cell_runs_as_a_formula(result: Result) -> None:
    seen = set()
    for path in (result.out / "tables").glob("*.csv"):
        with path.open(encoding="utf-8-sig", newline="") as file:
            for cell in (cell for row in csv.reader(file) for cell in row):
                if cell.startswith("'"):
                    seen.add(cell[1])
                assert not re.match(r"[=+@\t\r]|-(?!\d)", cell), (path.name, cell)
    assert seen == set("=+-@")
    book = openpyxl.load_workbook(result.out / "tables.xlsx")
    kinds = [c.data_type for sheet in book for row in sheet.iter_rows() for c in row]
    assert "s" in kinds
    assert "f" not in kinds


def test_hostile_names_stay_inside_the_folder(tmp_path: Path) -> None:
    files = write_files(tmp_path)
    ran = evenacre(
        "audit",
        *files.options(
            field_name="../../up", operation_name="/etc", product="../x", rate="1 kg/ha"
        ),
    )
    assert ran.code == 0, ran
    assert sorted(p.name for p in tmp_path.iterdir()) == ["field.geojson", "log.csv", "out"]
    assert "rate_x.tif" in contents(files.out)


# --- identical for identical input -----------------------------------------------------------


def test_equal_runs_give_equal_bytes(result: Result) -> None:
    """Another process, another time zone and hash seed, two workers instead of none."""
    again = result.home / "again"
    done = subprocess.run(
        command("audit", result.season, "--out", again, "--jobs", 2, "--json"),
        env={**os.environ, "PYTHONHASHSEED": "12345", "TZ": "Asia/Tokyo", "LC_ALL": "C"},
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr
    first, second = untimed(result.out), untimed(again)
    assert first.keys() == second.keys()
    assert [name for name in first if first[name] != second[name]] == []
    before, after = (summary_of(folder)["generated"] for folder in (result.out, again))
    assert before != after
    stamps = (before.encode(), after.encode())
    assert not any(stamp in data for data in first.values() for stamp in stamps)
    assert json.loads(done.stdout) == summary_of(again)


def test_the_folders_name_is_in_no_file(result: Result) -> None:
    home = str(result.home).encode()
    assert [name for name, data in contents(result.out).items() if home in data] == []


# --- whole or not at all ---------------------------------------------------------------------


def fail(error: BaseException) -> Any:
    def raising(*_: object, **__: object) -> None:
        raise error

    return raising


WRITERS = ("write_geopackage", "write_cog", "write_account")  # early, late and last


@pytest.mark.parametrize("writer", WRITERS)
def test_a_full_disk(files: Files, monkeypatch: pytest.MonkeyPatch, writer: str) -> None:
    error = OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
    monkeypatch.setattr(f"evenacre.io.writers.results.{writer}", fail(error))
    before = contents(files.folder)
    ran = evenacre("audit", *files.options())
    assert ran.code == 2
    (complaint,) = ran.errors()
    assert str(files.out) in complaint
    assert "the disk is full" in complaint
    assert "Free some space" in complaint
    assert "Traceback" not in ran.err
    assert contents(files.folder) == before
    assert not files.out.exists()


def test_a_failed_run_leaves_the_earlier_result(
    files: Files, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert evenacre("audit", *files.options()).code == 0
    before = contents(files.folder)
    monkeypatch.setattr(
        "evenacre.io.writers.results.write_cog", fail(OSError(errno.ENOSPC, "full"))
    )
    assert evenacre("audit", *files.options(width="20 ft")).code == 2
    assert evenacre("audit", *files.options(width="20")).code == 2
    assert contents(files.folder) == before


def test_a_new_run_replaces_the_earlier_result(files: Files) -> None:
    assert evenacre("audit", *files.options(product="18-46-0", rate="150 lb/ac")).code == 0
    assert "rate_18-46-0.tif" in contents(files.out)
    assert evenacre("audit", *files.options()).code == 0
    assert "rate_18-46-0.tif" not in contents(files.out)
    assert sorted(p.name for p in files.folder.iterdir()) == ["field.geojson", "log.csv", "out"]


def test_a_folder_of_someone_elses_is_left_alone(files: Files) -> None:
    files.out.mkdir()
    (files.out / "letter.txt").write_text("dear")
    before = contents(files.folder)
    ran = evenacre("audit", *files.options())
    assert ran.code == 2
    (complaint,) = ran.errors()
    assert "holds no earlier Evenacre result" in complaint
    assert "--out" in complaint
    assert contents(files.folder) == before


@pytest.mark.skipif(not Path("/sys/kernel").is_dir(), reason="needs a place nobody may write to")
@pytest.mark.parametrize("out", ["/sys/kernel/result", "/sys/kernel/no/such/result"])
def test_a_read_only_place(files: Files, out: str) -> None:
    ran = evenacre("audit", *files.options(out=out))
    assert ran.code == 2
    (complaint,) = ran.errors()
    assert out in complaint
    assert "no permission, or the disk is read-only" in complaint
    assert "Choose another folder with --out" in complaint
    assert "Traceback" not in ran.err


def test_a_file_in_the_place_of_the_folder(files: Files) -> None:
    files.out.write_text("mine")
    ran = evenacre("audit", *files.options())
    assert ran.code == 2
    assert "is a file, not a folder" in ran.errors()[0]
    assert files.out.read_text() == "mine"


def test_warnings_reach_every_account(files: Files) -> None:
    records = files.records
    records.loc[50, "longitude"] = "=1+1"
    write_log(files.log, records)
    assert evenacre("audit", *files.options()).code == 0
    (warning,) = (w for w in warnings_of(summary_of(files.out)) if "=1+1" in w)
    notes = (files.out / "tables" / "notes.csv").read_text(encoding="utf-8-sig")
    assert warning.replace('"', '""') in notes
