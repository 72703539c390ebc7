"""Map files are told by their content and read in a process that a file cannot use."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time
import zipfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pyogrio
import pytest
import shapely

from evenacre.errors import InputError
from evenacre.io.logs.read_tracks import read_tracks
from evenacre.io.maps.crs import parse_crs
from evenacre.io.maps.field_layers import read_boundary
from evenacre.io.maps.read_layer import Source, read_layer
from evenacre.io.untrusted import budget, gdal
from evenacre.io.untrusted.files import read_whole
from evenacre.io.untrusted.kinds import MapKind, map_kind
from evenacre.io.untrusted.map_reader import MapReader, map_reader

SQUARE = shapely.box(-92.41, 40.10, -92.40, 40.11)


def square(path: Path, **how: object) -> Path:
    gpd.GeoDataFrame({"name": ["A"]}, geometry=[SQUARE], crs=4326).to_file(path, **how)
    return path


def complaint(path: Path) -> str:
    with pytest.raises(InputError) as caught:
        read_boundary(Source(path))
    (problem,) = caught.value.problems
    assert path.name in problem.file
    assert problem.what
    assert problem.remedy
    return str(problem)


def test_the_kind_is_told_by_content(tmp_path: Path) -> None:
    drivers = {"GPKG": MapKind.GEOPACKAGE, "FlatGeobuf": MapKind.FLATGEOBUF}
    drivers |= {"GeoJSON": MapKind.GEOJSON, "KML": MapKind.KML, "GML": MapKind.GML}
    drivers |= {"GeoJSONSeq": MapKind.GEOJSON, "ESRI Shapefile": MapKind.SHAPEFILE}
    suffixes = {MapKind.GEOPACKAGE: ".gpkg", MapKind.FLATGEOBUF: ".fgb", MapKind.GML: ".gml"}
    suffixes |= {MapKind.GEOJSON: ".json", MapKind.KML: ".kml", MapKind.SHAPEFILE: ".shp"}
    for driver, kind in drivers.items():
        path = square(tmp_path / f"{driver}{suffixes[kind]}", driver=driver)
        if kind is not MapKind.SHAPEFILE:  # which is several files of one name
            path = path.rename(tmp_path / f"{driver}.map")
        assert map_kind(path.read_bytes()) is kind
        assert read_boundary(Source(path))[0].equals(SQUARE), driver
    assert map_kind("\ufeff<kml xmlns='x'/>".encode("utf-16")) is MapKind.KML
    assert map_kind(b"<!-- <gpx> --><?xml version='1.0'?><kml/>") is MapKind.KML
    for other in (b"", b"plain words", b"<html><body/></html>", b"%PDF-1.7", b"II*\0"):
        assert map_kind(other) is None


def test_a_map_under_any_name(tmp_path: Path) -> None:
    path = square(tmp_path / "f.gpkg")
    renamed = path.rename(tmp_path / "PG:host=127.0.0.1 user=x.txt")
    assert read_boundary(Source(renamed))[0].equals(SQUARE)


@pytest.mark.parametrize("kind", [k for k in MapKind if k not in (MapKind.ZIP, MapKind.GEOPARQUET)])
def test_no_driver_but_those_of_the_kind_is_left(kind: MapKind) -> None:
    told = "import sys, pyogrio; from evenacre.io.untrusted import gdal, kinds; "
    told += f"gdal.close_ways_out(); gdal.allow_only(kinds.MapKind.{kind.name}); "
    told += "print(*sorted(pyogrio.list_drivers()), sep='|')"
    done = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True)
    left = set(done.stdout.strip().split("|"))
    assert left
    assert left <= set(gdal._DRIVERS[kind])
    assert left <= set(pyogrio.list_drivers())


def test_nothing_is_imported_from_the_folder_of_the_map(tmp_path: Path) -> None:
    path = square(tmp_path / "f.geojson")
    for module in ("json", "numpy", "pyogrio", "evenacre"):
        (tmp_path / f"{module}.py").write_text("open('ran', 'w')")
    told = "from pathlib import Path; from evenacre.io.maps.read_layer import *; "
    told += f"print(read_layer(Source(Path({path.name!r}))))"
    # Only the reader is at stake: the program that starts it is told where its modules are.
    subprocess.run([sys.executable, "-P", "-c", told], cwd=tmp_path, check=True)
    assert not (tmp_path / "ran").exists()


def test_nothing_is_written_beside_a_map(tmp_path: Path) -> None:
    square(tmp_path / "f.gml", driver="GML")
    (tmp_path / "f.xsd").unlink()
    wal = square(tmp_path / "wal.gpkg")
    with sqlite3.connect(wal) as db:
        db.execute("PRAGMA journal_mode = WAL")
    db.close()
    before = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    for name in ("f.gml", "wal.gpkg"):
        assert read_boundary(Source(tmp_path / name))[0].equals(SQUARE)
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == before


@pytest.mark.parametrize("suffix", ["-wal", "-journal"])
def test_a_geopackage_that_was_not_saved_to_its_end(tmp_path: Path, suffix: str) -> None:
    path = square(tmp_path / "f.gpkg")
    (tmp_path / f"f.gpkg{suffix}").write_bytes(b"rest")
    assert "not saved to its end" in complaint(path)


def test_a_geopackage_that_lists_a_table_it_does_not_hold(tmp_path: Path) -> None:
    path = square(tmp_path / "f.gpkg")
    with sqlite3.connect(path) as db:
        db.execute(
            "INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id)"
            " VALUES ('lost', 'features', 'lost', 4326)"
        )
        db.execute(
            "INSERT INTO gpkg_geometry_columns VALUES ('lost', 'geom', 'POLYGON', 4326, 0, 0)"
        )
    db.close()
    assert [name for name, _ in map_reader().layers(path, "f.gpkg")] == ["f"]
    assert read_boundary(Source(path, layer="f"))[0].equals(SQUARE)


@pytest.mark.parametrize(
    "statements",
    [
        ["ALTER TABLE f RENAME TO g", "CREATE VIEW f AS SELECT * FROM g"],
        ["ALTER TABLE f ADD COLUMN x GENERATED ALWAYS AS (hex(zeroblob(100000000)))"],
        ["CREATE VIRTUAL TABLE spare USING fts5(x)"],
        ["CREATE VIEW gpkg_metadata AS SELECT 1", "SELECT 1"],
        ["CREATE VIEW rtree_f_geometry AS SELECT 1"],
    ],
)
def test_a_geopackage_that_would_compute(tmp_path: Path, statements: list[str]) -> None:
    path = square(tmp_path / "f.gpkg", SPATIAL_INDEX="NO")
    with sqlite3.connect(path) as db:
        for statement in statements:
            db.execute(statement)
    db.close()
    assert "computed when it is read" in complaint(path)


@pytest.mark.parametrize(
    "crs",
    [
        '"crs": {"type": "link", "properties": {"href": "http://127.0.0.1:9/"}}',
        '"crs": {"type": "url", "properties": {"url": "http://127.0.0.1:9/"}}',
        r'"\u0063rs" : {"ty\u0070e": "l\u0069nk", "properties": {"href": "http://127.0.0.1:9/"}}',
        '"crs" /* x */ : {"type": "LINK", "properties": {"href": "http://127.0.0.1:9/"}}',
    ],
)
def test_a_linked_coordinate_system_is_not_fetched(tmp_path: Path, crs: str) -> None:
    path = square(tmp_path / "f.geojson")
    text = path.read_text()
    path.write_text('{"type": "FeatureCollection", ' + crs + "," + text[text.index('"features"') :])
    assert "where to fetch it" in complaint(path)


def test_a_named_coordinate_system_is_read(tmp_path: Path) -> None:
    path = tmp_path / "f.geojson"
    gpd.GeoDataFrame(geometry=[SQUARE], crs=4326).to_crs(26915).to_file(path, RFC7946="NO")
    assert '"crs"' in path.read_text()
    boundary, _ = read_boundary(Source(path))
    assert shapely.hausdorff_distance(boundary, SQUARE) < 1e-7


@pytest.mark.parametrize(
    "crs",
    [
        "+proj=longlat +datum=WGS84 +nadgrids=/etc/passwd",
        "+proj=longlat +datum=WGS84 +nadgrids=@/etc/passwd",
        "+proj=utm +zone=15 +datum=WGS84 +geoidgrids=x.gtx +vunits=m",
        "+init=/etc/passwd:4326",
    ],
)
def test_a_coordinate_system_that_names_a_file(tmp_path: Path, crs: str) -> None:
    with pytest.raises(InputError):
        parse_crs(crs, "season.toml")


def test_web_mercator_in_the_old_spelling_names_no_file() -> None:
    parse_crs("+proj=merc +a=6378137 +b=6378137 +nadgrids=@null +wktext +no_defs", "season.toml")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes on this system")
@pytest.mark.parametrize("read", [read_tracks, lambda path: read_layer(Source(path)), read_whole])
def test_what_is_no_file_is_not_waited_for(tmp_path: Path, read: object) -> None:
    os.mkfifo(tmp_path / "pipe.geojson")
    (tmp_path / "zero.geojson").symlink_to("/dev/zero")
    for name in ("pipe.geojson", "zero.geojson"):
        with pytest.raises(InputError, match="not a file"):
            read(tmp_path / name)  # type: ignore[operator]


def test_a_file_larger_than_its_budget(tmp_path: Path) -> None:
    for name in ("log.csv", "map.geojson"):
        with (tmp_path / name).open("wb") as file:
            file.write(b'{"type"')
            file.truncate(1 << 40)
        with pytest.raises(InputError, match="larger than"):
            read_boundary(Source(tmp_path / name)) if name == "map.geojson" else read_whole(
                tmp_path / name
            )


def test_a_small_parquet_that_unpacks_into_gigabytes(tmp_path: Path) -> None:
    path = tmp_path / "bomb.parquet"
    gpd.GeoDataFrame({"name": ["x"]}, geometry=[SQUARE], crs=4326).to_parquet(path)
    table = pq.read_table(path)
    many = 6000
    alike = pa.DictionaryArray.from_arrays(
        pa.array([0] * many, pa.int32()), pa.array(["x" * 1_000_000])
    )
    swollen = pa.table(
        {"name": alike, "geometry": pa.array(table["geometry"].to_pylist() * many, pa.binary())}
    )
    # Without its schema a reader takes the column for plain text.
    with pq.ParquetWriter(path, swollen.schema, store_schema=False) as writer:
        writer.write_table(swollen)
        writer.add_key_value_metadata({"geo": table.schema.metadata[b"geo"].decode()})
    assert path.stat().st_size < 400_000
    assert "memory" in complaint(path)


def test_more_corners_than_any_map_has(tmp_path: Path) -> None:
    turn = np.linspace(0, 2 * np.pi, budget.OUTLINE_CORNERS + 10)
    ring = shapely.polygons(np.column_stack([np.cos(turn), np.sin(turn)]) * 0.01 + [-92.4, 40.1])
    path = tmp_path / "f.fgb"
    gpd.GeoDataFrame(geometry=[ring], crs=4326).to_file(path)
    assert "corners" in complaint(path)


@pytest.mark.parametrize(
    ("what", "shapes"),
    [
        ("outlines", [shapely.box(i, 0, i + 0.5, 1) for i in range(budget.OUTLINES + 1)]),
        ("pairs", [shapely.box(0, 0, 1, 1)] * 4000),
        (
            "holes",
            [
                shapely.Polygon(
                    shapely.box(-1, -1, budget.OUTLINE_HOLES + 2, 1).exterior,
                    [
                        shapely.box(i, 0, i + 0.5, 0.5).exterior
                        for i in range(budget.OUTLINE_HOLES + 1)
                    ],
                )
            ],
        ),
    ],
)
def test_more_outlines_than_can_be_laid_over_a_field(
    tmp_path: Path, what: str, shapes: list[shapely.Polygon]
) -> None:
    path = tmp_path / "f.fgb"
    scaled = shapely.transform(np.array(shapes), lambda p: p * 1e-6 + [-92.4, 40.1])
    gpd.GeoDataFrame(geometry=scaled, crs=4326).to_file(path)
    assert what in complaint(path)


def test_a_zip_with_too_many_members(tmp_path: Path) -> None:
    path = tmp_path / "many.zip"
    with zipfile.ZipFile(path, "w") as archive:
        for i in range(budget.ARCHIVE_MEMBERS + 1):
            archive.writestr(f"{i}.txt", b"")
    assert "too many" in complaint(path)


def test_a_reader_that_stands_still_is_ended(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = square(tmp_path / "f.geojson")
    reader = MapReader()
    (name,) = (name for name, _ in reader.layers(path, "f"))
    monkeypatch.setattr(budget, "map_seconds", lambda _size: 0.5)
    monkeypatch.setattr("evenacre.io.untrusted.map_reader._GRACE_S", 0.5)
    stopped = reader._running()
    os.kill(stopped.pid, signal.SIGSTOP)
    begun = time.monotonic()
    with pytest.raises(InputError, match="not read to its end"):
        reader.read(path, name, "f")
    assert time.monotonic() - begun < 10
    monkeypatch.undo()
    assert len(reader.read(path, name, "f")) == 1  # the next one is served by a new process
    assert stopped.poll() is not None
    reader._end()


def test_a_reader_that_dies_takes_nothing_with_it(tmp_path: Path) -> None:
    path = square(tmp_path / "f.geojson")
    reader = MapReader()
    (name,) = (name for name, _ in reader.layers(path, "f"))
    os.kill(reader._running().pid, signal.SIGSTOP)
    threading.Timer(0.5, reader._running().kill).start()
    with pytest.raises(InputError, match="damaged"):
        reader.read(path, name, "f")
    assert len(reader.read(path, name, "f")) == 1
    reader._end()


@pytest.mark.skipif(not Path("/proc").exists(), reason="processes are not listed here")
def test_the_reader_ends_with_the_process_that_started_it(tmp_path: Path) -> None:
    path = square(tmp_path / "f.geojson")
    told = "from pathlib import Path; from evenacre.io.untrusted.map_reader import map_reader; "
    told += f"map_reader().layers(Path({str(path)!r}), 'f'); "
    told += "print(map_reader()._running().pid, flush=True); import time; time.sleep(60)"
    with subprocess.Popen([sys.executable, "-c", told], stdout=subprocess.PIPE) as parent:
        assert parent.stdout
        reader = int(parent.stdout.readline())
        assert Path(f"/proc/{reader}").exists()
        parent.kill()
    for _ in range(100):
        if not Path(f"/proc/{reader}").exists():
            return
        time.sleep(0.1)
    raise AssertionError("the reader outlived its parent")
