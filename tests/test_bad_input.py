"""Bad input from the command line: one clear complaint and nothing written, or a warning kept.

Every case runs the whole command. A refusal exits with 2 and names the file, the place, what
is wrong and what to do; suspicious input that is used is told on the terminal, in
``summary.json`` and in ``report.html``.
"""

from __future__ import annotations

import html
import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import shapely
from cli_jobs import (
    Files,
    evenacre,
    small_job,
    summary_of,
    warnings_of,
    write_boundary,
    write_files,
    write_log,
)
from put_down import MISSOURI, on_earth

LENGTH, WIDTH = 60.0, 6.096
CLEAN = {
    "covered_area_m2": LENGTH * (3 * WIDTH - 0.5),
    "overlap_area_m2": LENGTH * 0.5,
    "skip_area_m2": LENGTH * 0.6,
}


@pytest.fixture
def files(tmp_path: Path) -> Files:
    return write_files(tmp_path)


def refused(files: Files, *words: str, **changes: object) -> str:
    """Run an audit that has to be refused; return its one complaint."""
    before = sorted(files.folder.rglob("*"))
    ran = evenacre("audit", *files.options(**changes))
    assert ran.code == 2, ran
    assert ran.out == ""
    assert "Traceback" not in ran.err
    assert len(ran.err.strip().splitlines()) == len(ran.errors()) == 1, ran.err
    assert sorted(files.folder.rglob("*")) == before
    (complaint,) = ran.errors()
    for word in words:
        assert word in complaint
    return complaint


def used(files: Files, *words: str, **changes: object) -> dict[str, float]:
    """Run an audit that has to warn; return its operation after finding the words everywhere."""
    ran = evenacre("audit", *files.options(**changes))
    assert ran.code == 0, ran
    account = summary_of(files.out)
    page = html.unescape((files.out / "report.html").read_text(encoding="utf-8"))
    for word in words:
        said = [w for w in warnings_of(account) if word in w]
        assert said, warnings_of(account)
        assert all(w in page and w in ran.out for w in said)
    operation: dict[str, float] = account["operations"][0]
    return operation


def is_clean(operation: dict[str, float]) -> None:
    for key, area in CLEAN.items():
        # Half a millimetre of rounding in the log's degrees along each side of a swath.
        assert operation[key] == pytest.approx(area, abs=6 * LENGTH * 0.0005), key


def outline(files: Files) -> shapely.Polygon:
    features = json.loads(files.boundary.read_text())["features"]
    return shapely.from_geojson(json.dumps(features[0]["geometry"]))


def test_the_job_itself_is_sound(files: Files) -> None:
    operation = used(files)
    is_clean(operation)
    assert operation["warnings"] == []


# --- files -----------------------------------------------------------------------------------


def test_missing_boundary(files: Files) -> None:
    files.boundary.unlink()
    refused(files, "--boundary", "There is no file", "field.geojson", "Check the name")


def test_missing_log(files: Files) -> None:
    files.log.unlink()
    refused(files, "--tracks", "There is no file", "log.csv", "Check the name")


def test_two_missing_files_are_named_together(files: Files) -> None:
    files.log.unlink()
    files.boundary.unlink()
    ran = evenacre("audit", *files.options())
    assert ran.code == 2
    assert [line.split(":")[1].strip() for line in ran.errors()] == ["--boundary", "--tracks"]


@pytest.mark.parametrize("content", ["", " \n\n", "﻿"])
def test_empty_log(files: Files, content: str) -> None:
    files.log.write_text(content, encoding="utf-8")
    refused(files, "log.csv", "empty", "Export the log again")


@pytest.mark.parametrize("content", ["", "{}", "not a map"])
def test_boundary_without_content(files: Files, content: str) -> None:
    files.boundary.write_text(content)
    refused(files, "field.geojson", "xport")


def test_boundary_without_features(files: Files) -> None:
    files.boundary.write_text('{"type": "FeatureCollection", "features": []}')
    refused(files, "field.geojson", "no features")


def test_a_folder_for_a_log(files: Files) -> None:
    refused(files, "--tracks", "is a folder", "Name the file in it", tracks=files.folder)


def test_neither_season_nor_log() -> None:
    ran = evenacre("audit")
    assert ran.code == 2
    (complaint,) = ran.errors()
    assert "evenacre audit season.toml" in complaint
    assert "--tracks" in complaint


def test_a_log_in_the_season_files_place(files: Files) -> None:
    ran = evenacre("audit", files.log)
    assert ran.code == 2
    (complaint,) = ran.errors()
    assert "log.csv: The working width is missing" in complaint
    assert '--width "20 ft"' in complaint


@pytest.mark.parametrize("name", ["none.toml", "."])
@pytest.mark.parametrize("command", ["audit", "check"])
def test_no_season_file(tmp_path: Path, command: str, name: str) -> None:
    ran = evenacre(command, tmp_path / name)
    assert ran.code == 2
    assert (ran.err + ran.out).count("error") == 1
    remedy = "Give the season file" if name != "." else "Name the folder with the logs"
    assert remedy in ran.err + ran.out
    assert "Errno" not in ran.err + ran.out


# --- the boundary ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("shape", "kind"),
    [
        (shapely.Point(-92.6, 40.1), "points"),
        (shapely.LineString([(-92.6, 40.1), (-92.59, 40.1), (-92.59, 40.11)]), "lines"),
    ],
)
def test_not_a_polygon(files: Files, shape: shapely.Geometry, kind: str) -> None:
    write_boundary(files.boundary, shape)
    refused(files, "field.geojson", kind, "has to be an area", "Draw the outline")


def test_tracks_nowhere_near(files: Files) -> None:
    write_boundary(files.boundary, shapely.box(-92.5, 40.2, -92.49, 40.21))
    complaint = refused(files, "log.csv", "south-west", "Check that log and boundary")
    # 13.9 km by the geodesic between the two corners (pyproj.Geod, WGS 84).
    assert "13.9 km" in complaint


def test_swapped_columns_of_the_log(files: Files) -> None:
    swapped = {"longitude": "latitude", "latitude": "longitude"}
    write_log(files.log, files.records.rename(columns=swapped))
    complaint = refused(files, "log.csv", '"longitude" and "latitude"', "swapped")
    assert "--column lon=" in complaint


def test_swapped_columns_that_stay_on_earth(tmp_path: Path) -> None:
    files = write_files(tmp_path, place=(25.3, 66.2))
    swapped = {"longitude": "latitude", "latitude": "longitude"}
    write_log(files.log, files.records.rename(columns=swapped))
    refused(files, "log.csv", "swapped", "swap the two columns")


def test_a_swapped_boundary(files: Files) -> None:
    write_boundary(files.boundary, shapely.transform(outline(files), lambda xy: xy[:, ::-1]))
    refused(files, "field.geojson", "swapped", "Export it with longitude first")


def test_a_boundary_that_crosses_itself(files: Files) -> None:
    corners = shapely.get_coordinates(outline(files))[:4]
    write_boundary(files.boundary, shapely.Polygon(corners[[0, 2, 1, 3]]))
    operation = used(files, "crosses itself", "look at it on the map")
    # The bow tie's two triangles are half of the rectangle.
    assert operation["boundary_area_m2"] == pytest.approx(LENGTH * (3 * WIDTH + 0.1) / 2, rel=1e-5)


# --- the drill and quantities ----------------------------------------------------------------


def test_no_width(files: Files) -> None:
    refused(files, "--width", "missing", '"20 ft"', width=None)


@pytest.mark.parametrize("width", ["0 ft", "-20 ft", "1 in", "2000 ft", "1e400 ft"])
def test_absurd_width(files: Files, width: str) -> None:
    refused(files, "--width", f'"{width}"', width=width)


def test_rows_that_do_not_span_the_width(files: Files) -> None:
    refused(
        files, "--rows", "span", "Correct one of them", width="20 ft", rows=64, row_spacing="7.5 in"
    )


@pytest.mark.parametrize(
    ("option", "value", "remedy"),
    [
        ("width", "20", '"20 ft"'),
        ("width", "20 lb", '"20 ft"'),
        ("width", "nan ft", '"20 ft"'),
        ("row_spacing", "7.5", '"7.5 ft"'),
        ("delay", "2.5", '"2.5 s"'),
        ("skip_min_width", "4", '"4 ft"'),
    ],
)
def test_quantity_without_a_fitting_unit(
    files: Files, option: str, value: str, remedy: str
) -> None:
    refused(files, f"--{option.replace('_', '-')}", f'"{value}"', "unit", **{option: value})


@pytest.mark.parametrize(
    ("option", "value"), [("rate", "150"), ("price", "840"), ("price", "840 USD")]
)
def test_product_quantity_without_a_unit(files: Files, option: str, value: str) -> None:
    changes = {"product": "18-46-0", option: value}
    refused(files, f"--{option}", f'"{value}"', "with its unit, such as", **changes)


# --- tables of text --------------------------------------------------------------------------


@pytest.mark.parametrize("sep", [";", "\t", "|"])
def test_other_separators(files: Files, sep: str) -> None:
    write_log(files.log, files.records, sep=sep)
    is_clean(used(files))


def decimal_commas(records: pd.DataFrame) -> pd.DataFrame:
    places = ["longitude", "latitude"]
    return records.assign(**{p: records[p].str.replace(".", ",") for p in places})


def test_decimal_commas(files: Files) -> None:
    write_log(files.log, decimal_commas(files.records), sep=";")
    operation = used(files)
    is_clean(operation)
    assert any("decimal mark" in note for note in operation["notes"])


def test_decimal_commas_between_commas(files: Files) -> None:
    records = decimal_commas(files.records)
    lines = [",".join(records.columns), *map(",".join, records.to_numpy())]
    files.log.write_text("\n".join(lines))
    refused(files, "log.csv, line 2", "columns than the header", "semicolons")


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16"])
def test_byte_order_mark(files: Files, encoding: str) -> None:
    write_log(files.log, files.records, encoding=encoding)
    is_clean(used(files))


def test_header_only(files: Files) -> None:
    write_log(files.log, files.records[:0])
    refused(files, "log.csv, line 1", "no records", "Export the log again")


def test_no_header(files: Files) -> None:
    east = files.records["longitude"].astype(float) + 100  # it may be a latitude as well
    files.records.assign(longitude=east).to_csv(files.log, header=False, index=False)
    refused(files, "log.csv", "no line of column names", "--column lon=2 --column lat=3")


def test_a_word_in_a_number_column(files: Files) -> None:
    files.records.loc[100, "latitude"] = "somewhere"
    write_log(files.log, files.records)
    is_clean(used(files, '"somewhere" at line 102'))


def test_words_in_a_number_column(files: Files) -> None:
    files.records.loc[7::10, "latitude"] = "somewhere"
    write_log(files.log, files.records)
    refused(
        files,
        'log.csv, line 9, column "latitude"',
        '"somewhere" is not a number',
        "read as the latitude",
        "Mend the cells",
    )


@pytest.mark.parametrize("value", ["nan", "inf", "-Infinity"])
def test_values_that_are_no_numbers(files: Files, value: str) -> None:
    files.records.loc[100:101, "latitude"] = value
    write_log(files.log, files.records)
    is_clean(used(files, "2 records have no position"))


def test_no_position_at_all(files: Files) -> None:
    write_log(files.log, files.records.assign(latitude="nan"))
    refused(files, "log.csv", '"longitude" and "latitude"', "no record has a position", "Check")


def test_infinite_rates(files: Files) -> None:
    rates = np.where(np.arange(len(files.records)) % 50 == 0, "inf", "150")
    write_log(files.log, files.records.assign(**{"Rate [lb/ac]": rates}))
    blank = (files.records["work"] == "1") & (rates == "inf")
    share = blank.sum() / (files.records["work"] == "1").sum()
    operation = used(
        files,
        "12 infinite values",
        f"no amount for {100 * share:.1f} % of the time in work",
        product="18-46-0",
        rate="150 lb/ac",
    )
    (product,) = operation["products"]
    # 150 lb/ac on three passes, less what no figure tells of (lb and ac: NIST SP 811, B.8).
    expected = 150 * 0.45359237 / 4046.8564224 * 3 * WIDTH * LENGTH * (1 - share)
    assert product["logged_kg"] == pytest.approx(expected, rel=1e-5)


def test_columns_without_positions(files: Files) -> None:
    write_log(files.log, files.records[["time", "work"]])
    refused(files, "log.csv", "time, work", "--column lon=COLUMN")


# --- times and records -----------------------------------------------------------------------


def test_time_going_backwards(files: Files) -> None:
    r = files.records
    write_log(files.log, pd.concat([r[:200], r[400:], r[200:400]]))
    is_clean(used(files, "time goes backwards 1 time"))


def test_mixed_time_zones(files: Files) -> None:
    r = files.records
    local = r["time"].str.replace("T07", "T02").str.replace("Z", "-05:00")
    write_log(files.log, r.assign(time=local.where(r.index < 300, r["time"])))
    is_clean(used(files, "mixes time zones"))


def test_zones_on_some_times_only(files: Files) -> None:
    r = files.records
    bare = r["time"].str.removesuffix("Z")
    write_log(files.log, r.assign(time=bare.where(r.index >= 300, r["time"])))
    is_clean(used(files, "276 times name no zone"))


def test_duplicate_records(files: Files) -> None:
    write_log(files.log, files.records.loc[files.records.index.repeat(2)])
    operation = used(files, "576 of 1,152 records repeat")
    is_clean(operation)
    assert operation["cleaning"]["exact repeats"] == 576


def test_a_log_given_twice(files: Files) -> None:
    refused(files, "--tracks", "listed twice", tracks=[files.log, files.log])


def test_a_copy_of_the_log(files: Files) -> None:
    copy = write_log(files.folder / "copy.csv", files.records)
    is_clean(used(files, "576 of 1,152 records repeat", tracks=[files.log, copy]))


def test_a_single_fix(files: Files) -> None:
    write_log(files.log, files.records[100:101])
    refused(files, "log.csv", "a single usable position", "Check that the export is complete")


def test_a_log_of_no_work(files: Files) -> None:
    write_log(files.log, files.records.assign(work="0"))
    refused(files, "log.csv", "no record shows work", "--column work=NAME")


# --- longitudes and latitudes far from home --------------------------------------------------


@pytest.mark.parametrize(
    "place",
    [(179.9999, -16.85), (-179.9999, 65.0), (25.3, 70.0), (171.9, -60.0)],
    ids=["antimeridian", "antimeridian from the east", "far north", "far south"],
)
def test_the_same_job_elsewhere(tmp_path: Path, place: tuple[float, float]) -> None:
    operation = used(write_files(tmp_path, place=place))
    is_clean(operation)
    assert operation["boundary_area_m2"] == pytest.approx(LENGTH * (3 * WIDTH + 0.1), rel=1e-6)
    assert operation["warnings"] == []
    (skip,) = operation["skips"]
    assert -180 <= skip["lon"] <= 180


def test_a_boundary_cut_at_the_antimeridian(tmp_path: Path) -> None:
    # RFC 7946, section 3.1.9: cut in two, so that no part crosses it.
    place = (179.9999, -16.85)
    files = write_files(tmp_path, place=place)
    whole = on_earth(small_job().boundary, place, 0.0, (0, 0))
    west, east = (whole & shapely.box(x, -90, x + 180, 90) for x in (0, 180))
    assert east.area > west.area > 0
    turned = shapely.transform(east, lambda xy: xy - [360, 0])
    write_boundary(files.boundary, shapely.MultiPolygon([west, turned]))
    operation = used(files)
    is_clean(operation)
    assert operation["warnings"] == []


# --- seasons ---------------------------------------------------------------------------------

SEASON = """
[[implement]]
name = "drill"
width = "6.096 m"
[[field]]
name = "Creek Forty"
boundary = "field.geojson"
[[operation]]
name = "Spring"
field = "Creek Forty"
implement = "drill"
tracks = ["log.csv"]
"""


def season(files: Files, text: str) -> Path:
    path = files.folder / "season.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("key", "place", "hint"),
    [
        ('widht = "20 ft"', 'implement "drill", widht', '"width"'),
        ('boundry = "f.gpkg"', 'field "Creek Forty", boundry', '"boundary"'),
        ('track = ["log.csv"]', 'operation "Spring", track', '"tracks"'),
    ],
)
@pytest.mark.parametrize("command", ["audit", "check"])
def test_unknown_key(files: Files, command: str, key: str, place: str, hint: str) -> None:
    table = place.split()[0]
    text = SEASON.replace(f"[[{table}]]", f"[[{table}]]\n{key}")
    ran = evenacre(command, season(files, text))
    assert ran.code == 2
    said = ran.err if command == "audit" else ran.out
    (complaint,) = (line for line in said.splitlines() if line.startswith("error"))
    for word in ("season.toml", place, "not a key", "Did you mean", hint):
        assert word in complaint
    assert not (files.folder / "evenacre-out").exists()


def test_a_season_that_is_not_toml(files: Files) -> None:
    ran = evenacre("audit", season(files, SEASON + "name = \n"))
    assert ran.code == 2
    (complaint,) = ran.errors()
    assert "season.toml, line 13" in complaint
    assert "Check quotes" in complaint


def test_all_complaints_of_all_operations_at_once(files: Files) -> None:
    write_log(files.folder / "lost.csv", files.records.assign(latitude="nan"))
    write_log(files.folder / "idle.csv", files.records.assign(work="0"))
    second, third = (
        SEASON[SEASON.index("[[operation]]") :].replace("Spring", name).replace("log.csv", log)
        for name, log in [("Summer", "lost.csv"), ("Fall", "idle.csv")]
    )
    ran = evenacre("audit", season(files, SEASON + second + third), "--jobs", 1)
    assert ran.code == 2
    assert len(ran.errors()) == 2
    assert "lost.csv" in ran.errors()[0]
    assert "idle.csv" in ran.errors()[1]
    assert not (files.folder / "evenacre-out").exists()


def test_two_operations_on_one_field(files: Files) -> None:
    second = small_job(gaps=(0.2, 0.2))
    other = write_files(files.folder / "fall", second, MISSOURI)
    text = SEASON + SEASON[SEASON.index("[[operation]]") :].replace("Spring", "Fall").replace(
        "log.csv", other.log.relative_to(files.folder).as_posix()
    )
    ran = evenacre("audit", season(files, text), "--jobs", 1)
    assert ran.code == 0, ran
    spring, fall = summary_of(files.folder / "evenacre-out")["operations"]
    assert (spring["field"], spring["operation"]) == ("Creek Forty", "Spring")
    assert (fall["field"], fall["operation"]) == ("Creek Forty", "Fall")
    is_clean(spring)
    assert fall["overlap_area_m2"] == pytest.approx(0.0, abs=0.1)
    assert fall["boundary_area_m2"] == spring["boundary_area_m2"]


def test_two_operations_of_one_name_on_one_field(files: Files) -> None:
    ran = evenacre("audit", season(files, SEASON + SEASON[SEASON.index("[[operation]]") :]))
    assert ran.code == 2
    (complaint,) = ran.errors()
    assert 'two operations called "Spring"' in complaint
    assert "Rename" in complaint
