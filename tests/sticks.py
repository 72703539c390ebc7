"""A stick as it comes out of a season: the sample farm's files renamed, scattered and doubled."""

from __future__ import annotations

import io
import json
import random
import shutil
import zipfile
from pathlib import Path

import geopandas as gpd
import pandas as pd


def write_stick(farm: Path, plan: Path, stick: Path, seed: int = 7) -> None:
    """Write some sixty files of all kinds below a folder.

    Parameters
    ----------
    plan : Path
        Task data of the season's plan, as exported.
    """
    chance = random.Random(seed)
    folders = [stick, stick / "DATA", stick / "cab" / "2026", stick / "office", stick / "old stuff"]
    for folder in folders:
        folder.mkdir(parents=True, exist_ok=True)
    names = iter(chance.sample(range(1000, 9999), 200))

    def place(suffix: str) -> Path:
        return chance.choice(folders) / f"{chance.choice('ABXZ')}{next(names)}{suffix}"

    logs = {path.stem: path for path in sorted((farm / "logs").glob("*.csv"))}
    for name, path in logs.items():
        if name == "orchard-cover":
            _as_geopackage(path, place(".gpkg"))
        elif name == "kiln-cover-2":
            _zipped(place(".zip"), {"export/day2/log.csv": path.read_bytes(), "info.txt": b"log"})
        elif name == "branch-fertilizer-1":
            inner = io.BytesIO()
            with zipfile.ZipFile(inner, "w", zipfile.ZIP_DEFLATED) as archive:
                archive.writestr("part/a.csv", path.read_bytes())
            _zipped(place(".zip"), {"inner.zip": inner.getvalue(), ".meta/x.csv": b"a,b\n1,2\n"})
        else:
            shutil.copyfile(path, place(".csv"))
    # The same drives again: elsewhere, on other clocks, in other formats, thinned, without states.
    shutil.copyfile(logs["kiln-fertilizer"], place(".csv"))
    _zipped(place(".zip"), {"again.csv": logs["paddock-interseeding"].read_bytes()})
    _on_other_clock(logs["orchard-fertilizer"], place(".csv"), -5.0)
    _on_other_clock(logs["paddock-interseeding"], place(".csv"), 5.75)
    _as_gpx(logs["paddock-interseeding"], place(".gpx"))
    _as_gpx(logs["kiln-cover-1"], place(".gpx"), every=10)
    _as_geopackage(logs["kiln-cover-2"], place(".gpkg"), every=5)
    _as_shapefile(logs["paddock-interseeding"], place(".zip"))
    for layer, suffix in (("boundaries", ".geojson"), ("unworkable", ".gpkg"), ("pasture", ".kml")):
        gpd.read_file(farm / "fields.gpkg", layer=layer).to_file(place(suffix))
    gpd.read_file(farm / "fields.gpkg", layer="boundaries").to_file(place(".kml"))
    _shapes_zipped(gpd.read_file(farm / "fields.gpkg", layer="paddocks"), place(".zip"))
    for path in sorted((farm / "zones").glob("*.geojson")):
        if path.stem == "kiln-hill":
            gpd.read_file(path).to_file(place(".gpkg"))
        else:
            shutil.copyfile(path, place(".geojson"))
    shutil.copyfile(farm / "wells.geojson", place(".geojson"))
    shutil.copyfile(farm / "loads.csv", place(".csv"))
    shutil.copyfile(farm / "season.toml", stick / "old stuff" / "last.toml")
    shutil.copyfile(plan, place(".zip"))
    # What else lies about.
    for _ in range(5):
        place(".jpg").write_bytes(b"\xff\xd8\xff\xe0" + chance.randbytes(400))
    place(".png").write_bytes(b"\x89PNG\r\n\x1a\n" + chance.randbytes(400))
    for _ in range(3):
        place(".pdf").write_bytes(b"%PDF-1.7\n" + chance.randbytes(400))
    place(".docx").write_bytes(b"PK\x03\x04" + chance.randbytes(40))
    place(".txt").write_text("Remember to grease the drill.\nAsk about the seed.\n")
    place(".csv").write_text("bill,paid\n2026-04-02,yes\n2026-05-02,no\n")
    place(".csv").write_bytes(b"")
    place(".bin").write_bytes(chance.randbytes(3000))
    place(".zip").write_bytes(b"PK\x03\x04" + chance.randbytes(300))
    place(".json").write_text(json.dumps({"version": 3, "settings": [1, 2, 3]}))
    (stick / ".hidden").mkdir()
    shutil.copyfile(logs["orchard-cover"], stick / ".hidden" / "log.csv")
    (stick / "Thumbs.db").write_bytes(b"\xd0\xcf\x11\xe0")


def files_of(stick: Path) -> list[Path]:
    return [path for path in stick.rglob("*") if path.is_file()]


def _records(path: Path) -> pd.DataFrame:
    return pd.read_csv(path)


def _layer(path: Path, every: int = 1) -> gpd.GeoDataFrame:
    frame = _records(path).iloc[::every]
    points = gpd.points_from_xy(frame["Longitude"], frame["Latitude"], crs=4326)
    return gpd.GeoDataFrame(frame.drop(columns=["Longitude", "Latitude"]), geometry=points)


def _as_geopackage(path: Path, to: Path, every: int = 1) -> None:
    layer = _layer(path, every)
    layer["UTC time"] = pd.to_datetime(layer["UTC time"])
    layer.to_file(to, layer="points", engine="pyogrio")


def _as_gpx(path: Path, to: Path, every: int = 1) -> None:
    layer = _layer(path, every)
    stamped = gpd.GeoDataFrame(
        {"time": pd.to_datetime(layer["UTC time"])}, geometry=layer.geometry.array, crs=4326
    )
    stamped["track_fid"] = stamped["track_seg_id"] = 0
    stamped["track_seg_point_id"] = range(len(stamped))
    stamped.to_file(to, driver="GPX", layer="track_points", engine="pyogrio")


def _as_shapefile(path: Path, to: Path) -> None:
    layer = _layer(path)
    # Names of ten letters, each once.
    names = [n for n in layer.columns if n != "geometry"]
    layer = layer.rename(columns={n: n.replace(" ", "_")[:10] for n in names})
    _shapes_zipped(layer, to)


def _shapes_zipped(layer: gpd.GeoDataFrame, to: Path) -> None:
    folder = to.with_suffix(".parts")
    folder.mkdir()
    layer.to_file(folder / "layer.shp", engine="pyogrio")
    _zipped(to, {part.name: part.read_bytes() for part in sorted(folder.iterdir())})
    shutil.rmtree(folder)


def _zipped(to: Path, members: dict[str, bytes]) -> None:
    with zipfile.ZipFile(to, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)


def _on_other_clock(path: Path, to: Path, hours: float) -> None:
    """A bare track: local times without a zone, positions of seven digits, no states."""
    frame = _records(path)
    local = pd.to_datetime(frame["UTC time"]) + pd.Timedelta(hours=hours)
    bare = pd.DataFrame(
        {
            "Date": local.dt.strftime("%Y-%m-%d"),
            "Time": local.dt.strftime("%H:%M:%S.%f").str[:-3],
            "lat": frame["Latitude"].round(7),
            "lon": frame["Longitude"].round(7),
        }
    )
    bare.to_csv(to, index=False)
