"""A zip is opened whatever lies beside the log or the map in it."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from complaints import complaint

from evenacre.io.logs.read_tracks import read_tracks
from evenacre.io.maps.field_layers import read_boundary
from evenacre.io.maps.read_layer import Source
from evenacre.io.untrusted import budget

SQUARE = shapely.box(-92.41, 40.10, -92.40, 40.11)
N = 60
TIMES = pd.date_range("2019-05-05T04:19:04", periods=N, freq="s")
POINTS = gpd.GeoDataFrame(
    {"time": TIMES.strftime("%Y-%m-%dT%H:%M:%SZ"), "swath (ft)": [20.0] * N},
    geometry=shapely.points(np.linspace(-92.409, -92.401, N), 40.105),
    crs=4326,
)
CSV = "time,lon,lat\n" + "".join(
    f"{stamp:%Y-%m-%dT%H:%M:%SZ},{lon:.7f},40.105\n"
    for stamp, lon in zip(TIMES, POINTS.geometry.x, strict=True)
)
BESIDE = {
    "meta.xml": "<?xml version='1.0'?><metadata><title>export</title></metadata>",
    "points.shp.xml": "<metadata/>",
    "read me.txt": "Exported by hand.\nAsk at the office.\n",
    "meta.json": '{"title": "export", "features": 3}',
    "list.json": "[1, 2, 3]",
    "broken.json": "{",
    "picture.png": b"\x89PNG\r\n\x1a\n" + bytes(99),
    "map.pdf": b"%PDF-1.7",
    "points.sbn": bytes(99),
    "points.qix": bytes(99),
    "__MACOSX/._points.shp": bytes(120),
    "._points.shp": bytes(120),
    ".hidden/points.shp": bytes(120),
    "Thumbs.db": bytes(99),
}


def parts(frame: gpd.GeoDataFrame, folder: Path, stem: str) -> dict[str, bytes]:
    """A Shapefile, by the endings of its parts."""
    folder.mkdir(exist_ok=True)
    frame.to_file(folder / f"{stem}.shp")
    return {part.name: part.read_bytes() for part in folder.glob(f"{stem}.*")}


def packed(members: dict[str, bytes | str]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return out.getvalue()


def zipped(path: Path, members: dict[str, bytes | str]) -> Path:
    path.write_bytes(packed(members))
    return path


@pytest.fixture
def points(tmp_path: Path) -> dict[str, bytes]:
    return parts(POINTS, tmp_path / "parts", "points")


@pytest.fixture
def outline(tmp_path: Path) -> dict[str, bytes]:
    frame = gpd.GeoDataFrame({"name": ["A"]}, geometry=[SQUARE], crs=4326)
    return parts(frame, tmp_path / "parts", "outline")


def is_the_drive(path: Path, **how: str) -> bool:
    (track,) = read_tracks(path, **how)
    return np.allclose(track.lon, POINTS.geometry.x) and np.allclose(
        track.time_s, TIMES.to_numpy().astype("datetime64[s]").astype(float)
    )


def test_a_layer_among_all_that_exporters_add(tmp_path: Path, points: dict[str, bytes]) -> None:
    path = zipped(tmp_path / "log.zip", BESIDE | {f"a/b/{n}": c for n, c in points.items()})
    assert is_the_drive(path)


def test_a_boundary_among_all_that_exporters_add(tmp_path: Path, outline: dict[str, bytes]) -> None:
    path = zipped(tmp_path / "field.zip", BESIDE | outline)
    assert read_boundary(Source(path))[0].equals(SQUARE)


def test_endings_in_capitals_and_parts_of_two_spellings(
    tmp_path: Path, points: dict[str, bytes]
) -> None:
    names = {".shp": "POINTS.SHP", ".dbf": "Points.DBF", ".shx": "points.shx", ".prj": "points.PRJ"}
    members = {names[Path(n).suffix]: c for n, c in points.items() if Path(n).suffix in names}
    assert is_the_drive(zipped(tmp_path / "log.zip", members))


def test_each_is_taken_for_what_it_is(
    tmp_path: Path, points: dict[str, bytes], outline: dict[str, bytes]
) -> None:
    path = zipped(tmp_path / "both.zip", points | outline)
    (track,) = read_tracks(path)
    assert len(track) == N
    assert any('"points" was read' in text for text in track.warnings)
    assert read_boundary(Source(path))[0].equals(SQUARE)


def test_two_logs_are_asked_about_by_names_that_answer(
    tmp_path: Path, points: dict[str, bytes]
) -> None:
    spelled = {f"north/{n}": c for n, c in points.items()}
    members = spelled | {f"south/{n}": c for n, c in points.items()}
    path = zipped(tmp_path / "logs.zip", members)
    said = complaint(path)
    assert "north/points.shp" in said
    assert "south/points.shp" in said
    assert "--tracks-layer" in said
    assert is_the_drive(path, layer="south/points.shp")
    assert "Several layers" in complaint(path, layer="points")


@pytest.mark.parametrize("name", ["log.csv", "deep/er/log.txt", "LOG.CSV"])
def test_a_table_in_a_zip(tmp_path: Path, name: str, outline: dict[str, bytes]) -> None:
    alone = zipped(tmp_path / "log.zip", {name: CSV, "read me.txt": "Call me."})
    assert is_the_drive(alone)
    (track,) = read_tracks(alone)
    assert track.source == f"log.zip, {name.split('/')[-1].replace('CSV', 'csv')}"
    assert is_the_drive(zipped(tmp_path / "both.zip", {name: CSV} | outline))


def test_tables_and_layers_are_asked_about(tmp_path: Path, points: dict[str, bytes]) -> None:
    path = zipped(tmp_path / "logs.zip", {"a.csv": CSV, "b.csv": CSV} | points)
    said = complaint(path)
    assert '"a.csv", "b.csv", "points"' in said
    assert is_the_drive(path, layer="b.csv")
    assert is_the_drive(path, layer="points")


def test_a_zip_without_a_log(tmp_path: Path) -> None:
    assert "no map file" in complaint(zipped(tmp_path / "a.zip", {"read me.txt": "Nothing."}))


def test_zips_in_zips(tmp_path: Path, points: dict[str, bytes]) -> None:
    inner = packed({f"x/{n}": c for n, c in points.items()})
    path = zipped(tmp_path / "log.zip", {"a.zip": packed({"b.zip": inner}), "meta.xml": "<a/>"})
    assert is_the_drive(path)
    assert is_the_drive(path, layer="a.zip/b.zip/x/points.shp")
    for _ in range(budget.ARCHIVE_DEPTH):
        inner = packed({"a.zip": inner})
    assert "too deep" in complaint(zipped(tmp_path / "deep.zip", {"a.zip": inner}))


def test_a_damaged_zip_beside_the_log(tmp_path: Path, points: dict[str, bytes]) -> None:
    path = zipped(tmp_path / "log.zip", points | {"old.zip": b"PK\3\4" + bytes(99)})
    (track,) = read_tracks(path)
    assert any("old.zip: the zip is damaged" in text for text in track.warnings)


def test_what_is_passed_over_may_grow(tmp_path: Path, points: dict[str, bytes]) -> None:
    """An empty picture shrinks a thousandfold; nobody unpacks it."""
    assert is_the_drive(zipped(tmp_path / "log.zip", points | {"scan.tif": bytes(20 << 20)}))


def test_zips_in_zips_have_one_budget(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    noise = np.random.default_rng(1).integers(0, 256, 300_000, dtype=np.uint8).tobytes()
    inner = packed({"a.gpkg": noise})
    path = zipped(tmp_path / "log.zip", {f"{i}.zip": inner for i in range(20)})
    monkeypatch.setattr(budget, "ARCHIVE_MEMBERS", 30)
    assert "too many" in complaint(path)
    monkeypatch.undo()
    monkeypatch.setattr("evenacre.io.untrusted.archives.budget.MAP_BYTES", 7 << 20)
    assert "larger than what is read" in complaint(path)


def test_the_later_of_two_with_one_name(tmp_path: Path) -> None:
    path = tmp_path / "log.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("log.csv", CSV.replace("40.105", "40.2"))
        with pytest.warns(UserWarning, match="Duplicate"):
            archive.writestr("log.csv", CSV)
    (track,) = read_tracks(path)
    assert np.allclose(track.lat, 40.105)
    assert any("twice" in text for text in track.warnings)


def test_points_of_no_system_that_tell_their_degrees(tmp_path: Path) -> None:
    named = POINTS.assign(Lon=POINTS.geometry.x, Lat=POINTS.geometry.y).to_crs(26915)
    members = parts(named, tmp_path / "parts", "points")
    del members["points.prj"]
    path = zipped(tmp_path / "log.zip", members)
    assert is_the_drive(path)
    (track,) = read_tracks(path)
    assert any('columns "Lon" and "Lat"' in text for text in track.warnings)
    assert is_the_drive(path, crs="EPSG:26915")
    bare = parts(named.drop(columns="Lat"), tmp_path / "parts", "bare")
    del bare["bare.prj"]
    assert "which coordinate system" in complaint(zipped(tmp_path / "bare.zip", bare))
