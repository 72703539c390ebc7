"""Whatever a file holds, a reader answers with something usable or with a clear complaint.

Some 6,600 cases: the good files and the corpus that fuzzing by coverage has left behind
(``tests/fuzz_atheris.py``), each read as it is and after accidents. Never another kind of error,
never a hang, never two gigabytes.
"""

from __future__ import annotations

import faulthandler
import json
import resource
import time
import warnings
import zipfile
from collections.abc import Iterator
from pathlib import Path
from random import Random

import geopandas as gpd
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import shapely
from accidents import spoil, unpacked
from complaints import complaint
from corpus import corpus_of
from fuzzed_readers import READERS, prepare
from shapely import LineString, Polygon
from small_files import LOGS, map_files, plan, points, season_pasture, summary, task_data, zipped

from evenacre.errors import InputError
from evenacre.geo.geodesy import unwrap
from evenacre.io.logs.read_tracks import read_tracks
from evenacre.io.settings_book.book import read_book

MOST_S, MOST_KB = 30, 2 << 20


@pytest.fixture(autouse=True)
def _within_two_gigabytes() -> Iterator[None]:
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < MOST_KB


@pytest.mark.parametrize("name", READERS)
def test_good_files_are_taken(tmp_path: Path, name: str) -> None:
    prepare(tmp_path)
    took = [READERS[name].try_out(content, tmp_path) for content in READERS[name].seeds()]
    assert any(took)


@pytest.mark.parametrize("name", LOGS)
def test_good_logs_are_read(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(LOGS[name])
    crs = "EPSG:26915" if name == "semicolon.csv" else None
    (track,) = read_tracks(tmp_path / name, crs=crs)
    assert np.isfinite(track.lon).all()


@pytest.mark.parametrize("name", READERS)
def test_any_file_is_read_or_complained_of(tmp_path: Path, name: str) -> None:
    prepare(tmp_path)
    reader, chance = READERS[name], Random(name)
    good = reader.seeds()
    known = good + corpus_of(name)
    slowest, took = 0.0, 0
    for number in range(reader.cases):
        content = known[number] if number < len(known) else None
        if content is None:
            content = spoil(chance.choice(chance.choice((good, known))), chance, reader.kind)
        # A hang within a library cannot be stopped from here: the process ends, and says where.
        faulthandler.dump_traceback_later(MOST_S, exit=True)
        start = time.perf_counter()
        try:
            took += reader.try_out(content, tmp_path)
        except Exception as error:
            kept = tmp_path / f"fault-{reader.file}"
            kept.write_bytes(content)
            raise AssertionError(f"{kept} is the file that broke it") from error
        finally:
            faulthandler.cancel_dump_traceback_later()
        slowest = max(slowest, time.perf_counter() - start)
    print(f"{name}: {reader.cases} cases, {took} of them taken, the slowest in {slowest:.2f} s")
    assert slowest < MOST_S


def test_every_feature_with_an_attribute_of_its_own(tmp_path: Path) -> None:
    # Half a megabyte whose table would take gigabytes.
    features = ",".join(
        f'{{"type":"Feature","properties":{{"k{i}":1}},"geometry":'
        f'{{"type":"Point","coordinates":[-93.5,{40 + i * 1e-6:.7f}]}}}}'
        for i in range(5000)
    )
    text = f'{{"type":"FeatureCollection","features":[{features}]}}'
    (tmp_path / "log.geojson").write_text(text)
    assert "5,000 attributes" in complaint(tmp_path / "log.geojson")


def test_attributes_that_are_lists_and_objects(tmp_path: Path) -> None:
    text = (
        LOGS["log.geojson"].decode().replace('"work":', '"more":{"a":[1,2]},"list":["x"],"work":')
    )
    (tmp_path / "log.geojson").write_text(text)
    (track,) = read_tracks(tmp_path / "log.geojson")
    assert track.working is not None


def test_too_many_columns_cells_too_long_and_sections_without_end(tmp_path: Path) -> None:
    file = tmp_path / "log.csv"
    file.write_text(",".join(f"c{i}" for i in range(20_000)) + "\n" + "," * 19_999)
    assert "20,000 columns" in complaint(file)
    rows = [f"-93.5,{40 + i * 1e-5},{i},{'1' * (4 if i else 90_000)}" for i in range(20_000)]
    file.write_text("lon,lat,time,sections\n" + "\n".join(rows))
    (track,) = read_tracks(file)
    assert track.sections is None
    file.write_text("lon,lat,time,sections\n" + "1" * 200_000 + "\n")
    assert "no table" in complaint(file)


def test_texts_without_end_are_no_times_and_are_cut_in_complaints(tmp_path: Path) -> None:
    file = tmp_path / "log.csv"
    file.write_text('lon,lat,time\n1,2,"' + "a\n" * 1_000_000)
    said = complaint(file)
    assert "is not a time" in said
    assert len(said) < 500
    rows = [f"-93.5,{40 + i * 1e-6},odd {i}th of Nonsense" for i in range(200_000)]
    file.write_text("lon,lat,time\n" + "\n".join(rows))  # tried one by one it takes a minute
    assert "is not a time" in complaint(file)


def test_files_that_point_to_other_files_are_refused(tmp_path: Path) -> None:
    (tmp_path / "other.geojson").write_bytes(LOGS["log.geojson"])
    pointer = (
        f'<OGRVRTDataSource><OGRVRTLayer name="other"><SrcDataSource>{tmp_path / "other.geojson"}'
        "</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>"
    )
    (tmp_path / "log.kml").write_text(pointer)
    assert "points to other files" in complaint(tmp_path / "log.kml")
    with zipfile.ZipFile(tmp_path / "log.zip", "w") as archive:
        archive.writestr("log.geojson", pointer)
    assert "points to other files" in complaint(tmp_path / "log.zip")


@pytest.mark.parametrize("suffix", ["kml", "gml", "geojson"])
def test_entities_in_map_files_do_no_harm(tmp_path: Path, suffix: str) -> None:
    entities = '<!ENTITY a0 "aaaaaaaaaa">' + "".join(
        f'<!ENTITY a{i} "{f"&a{i - 1};" * 10}">' for i in range(1, 10)
    )
    (tmp_path / f"log.{suffix}").write_text(
        f'<?xml version="1.0"?><!DOCTYPE kml [{entities}]><kml xmlns="http://www.opengis.net/kml/2.2">'
        "<Document><Placemark><name>&a9;</name><Point><coordinates>-93.5,40</coordinates></Point>"
        "</Placemark></Document></kml>"
    )
    assert complaint(tmp_path / f"log.{suffix}")


@pytest.mark.parametrize("odd", ["[" * 5000, "9" * 5000])
@pytest.mark.parametrize("name", ["season", "plan", "account"])
def test_brackets_and_numbers_without_end_are_complained_of(
    tmp_path: Path, name: str, odd: str
) -> None:
    prepare(tmp_path)
    text = f"a = {odd}" if name == "season" else odd
    assert not READERS[name].try_out(text.encode(), tmp_path)


def test_a_coordinate_system_that_can_be_read_but_not_written(tmp_path: Path) -> None:
    table = pq.read_table(pa.BufferReader(map_files("parquet")[0]))
    about = json.loads(table.schema.metadata[b"geo"])
    system = about["columns"]["geometry"]["crs"]["coordinate_system"]
    del system["axis"][1]["unit"]
    pq.write_table(
        table.replace_schema_metadata({"geo": json.dumps(about)}), tmp_path / "log.parquet"
    )
    READERS["parquet"].try_out((tmp_path / "log.parquet").read_bytes(), tmp_path)


def test_names_are_stripped_of_all_that_does_not_show(tmp_path: Path) -> None:
    prepare(tmp_path)
    text = season_pasture().replace(b'name = "part 1"', b'name = "\\u001fpart 1"')
    assert READERS["season"].try_out(text + b"#" * (-len(text) % 4 + 1), tmp_path)


def test_a_pass_around_the_world_is_refused(tmp_path: Path) -> None:
    around = LineString([(-93.5, 40.0), (86.0, 40.0)])
    gpd.GeoDataFrame(geometry=[around], crs=4326).to_file(tmp_path / "log.geojson")
    assert "no drill drives" in complaint(tmp_path / "log.geojson")


def test_a_scatter_below_zero_is_none(tmp_path: Path) -> None:
    (tmp_path / "book.csv").write_text("product,scatter [%],catches\nrye,-3,-2\noats,3,2\n")
    rye, oats = read_book(tmp_path / "book.csv").settings
    assert (rye.scatter, rye.catches) == (None, None)
    assert (oats.scatter, oats.catches) == (0.03, 2)


def test_digits_that_no_number_is_written_with(tmp_path: Path) -> None:
    members = dict(unpacked(task_data()))
    main = members["TASKDATA/TASKDATA.XML"]
    members["TASKDATA/TASKDATA.XML"] = main.replace(b'"4"', '"²"'.encode(), 1)
    (tmp_path / "farm.zip").write_bytes(zipped(members))
    (track,) = read_tracks(tmp_path / "farm.zip")
    assert any("version ²" in warning for warning in track.warnings)
    (tmp_path / "log.csv").write_bytes(LOGS["log.csv"])
    for odd in ("²", "9" * 5000):
        with pytest.raises(InputError):
            read_tracks(tmp_path / "log.csv", columns={f"section:{odd}": "work"})


def test_half_a_character_in_a_plan_is_complained_of(tmp_path: Path) -> None:
    for good in (b"2026-09-01", b"Creek 0"):
        assert not READERS["plan"].try_out(plan().replace(good, rb"\ud800"), tmp_path)


def test_whole_numbers_of_many_digits_are_numbers(tmp_path: Path) -> None:
    points().assign(width_ft=2**62 + 1).to_file(tmp_path / "log.fgb")
    assert "width" in complaint(tmp_path / "log.fgb")  # as too large, by its value


def test_an_outline_over_half_the_globe_stays_whole_beside_a_field() -> None:
    wide = np.array([Polygon([(-93.5, 40), (-93.5, 40.1), (0, 40.1), (179, 40)])])
    assert shapely.is_valid(wide).all()
    assert shapely.is_valid(unwrap(wide, -93.5)).all()


def test_attributes_of_one_name_are_told_apart(tmp_path: Path) -> None:
    points().assign(wore=1).to_file(tmp_path / "log.fgb")
    content = (tmp_path / "log.fgb").read_bytes()
    (tmp_path / "log.fgb").write_bytes(content.replace(b"wore", b"work"))
    (track,) = read_tracks(tmp_path / "log.fgb")
    assert any('"work (2)" not used' in note for note in track.notes)


def test_an_account_that_lists_what_is_no_file(tmp_path: Path) -> None:
    odd = summary().replace(b'["report.html"', b'[1, "report.html"')
    assert READERS["account"].try_out(odd + b" " * (-len(odd) % 10), tmp_path)
