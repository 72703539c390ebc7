"""The same records as other programs might have exported them, and with pieces missing.

A table of records in SI with known roles is changed in what it holds (`lose`) and written in one
of many ways (`export`): names, units, clocks, encodings, kinds of file, things beside it in a
zip. Seeded: the same generator gives the same file.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from pathlib import Path
from random import Random

import geopandas as gpd
import numpy as np
import pandas as pd

NAMES = {
    "lon": ["lon", "long", "Longitude", "LONGITUDE", "gps_lon", "lng", "x_lon"],
    "lat": ["lat", "Latitude", "LATITUDE", "gps_lat", "y_lat"],
    "time": ["time", "timestamp", "Timestamps", "DateTime", "GPS Time", "utc_time", "stamp"],
    "distance_m": ["dist", "Distance", "DISTANCE", "distance moved", "Travel Distance"],
    "width_m": ["width", "Swath Width", "SWATHWIDTH", "swath", "swth_wdth", "Implement Width"],
    "flow_kg_per_s": ["flow", "Mass Flow", "MASSFLOW", "grain_flow"],
    "speed_mps": ["speed", "Speed", "VEHICLSPEED", "ground speed", "gps_speed"],
    "heading_deg": ["heading", "Heading", "course", "HEADING", "track_deg"],
}
UNITS = {
    "distance_m": {"m": 1.0, "ft": 0.3048, "in": 0.0254, "cm": 0.01},
    "width_m": {"m": 1.0, "ft": 0.3048, "in": 0.0254},
    "flow_kg_per_s": {"kg/s": 1.0, "lb/s": 0.45359237},
    "speed_mps": {"m/s": 1.0, "km/h": 1 / 3.6, "mph": 0.44704},
    "heading_deg": {"deg": 1.0},
}
BESIDE = {
    "about.xml": b"<?xml version='1.0'?><metadata><title>export</title></metadata>",
    "__MACOSX/._log.shp": b"\x00\x05\x16\x07",
    ".DS_Store": b"\x00\x00\x00\x01Bud1",
    "readme.txt": b"Exported from the cab.",
    "info.json": b'{"exported": true, "fields": 1}',
    "picture.png": b"\x89PNG\r\n\x1a\n",
}


def lose(records: pd.DataFrame, random: Random) -> tuple[pd.DataFrame, str]:
    """Take something away from the records, or put them in disorder; says what was done."""
    n = len(records)
    rng = np.random.default_rng(random.randrange(2**32))
    start = random.randrange(n // 2)
    ways: dict[str, Callable[[], pd.DataFrame]] = {
        "whole": lambda: records,
        "a piece missing": lambda: records.drop(records.index[start : start + n // 12]),
        "one in fifty missing": lambda: records[rng.random(n) > 0.02],
        "records twice": lambda: pd.concat([records, records.iloc[start : start + n // 20]]),
        "shuffled": lambda: records.iloc[rng.permutation(n)],
        "turned round": lambda: records.iloc[::-1],
        "cells empty": lambda: records.mask(_some(rng, records, "flow_kg_per_s")),
        "a stray place": lambda: _stray(records, start),
    }
    name = random.choice(list(ways))
    return ways[name]().reset_index(drop=True), name


def _some(rng: np.random.Generator, records: pd.DataFrame, column: str) -> pd.DataFrame:
    hit = pd.DataFrame(False, index=records.index, columns=records.columns)
    if column in hit:
        hit[column] = rng.random(len(records)) < 0.03
    return hit


def _stray(records: pd.DataFrame, row: int) -> pd.DataFrame:
    out = records.copy()
    out.loc[out.index[row], ["lon", "lat"]] = [0.0, 0.0]
    return out


def export(records: pd.DataFrame, folder: Path, random: Random) -> tuple[Path, str]:
    """Write the records in one of many ways; gives the file and says how."""
    kind = random.choice(list(KINDS))
    table = _as_exported(records, random, short=kind in ("shp.zip", "shp in zips"))
    if random.random() < 0.3:
        table = table[random.sample(list(table.columns), len(table.columns))]
    if random.random() < 0.2:
        table.insert(0, "FID", range(len(table)))
    path = KINDS[kind](table, folder, random)
    return path, f"{kind}: {', '.join(map(str, table.columns))}"


def _as_exported(records: pd.DataFrame, random: Random, *, short: bool) -> pd.DataFrame:
    out: dict[str, object] = {}
    for role in records.columns:
        name = random.choice(NAMES[role])
        values = records[role]
        if role == "time":
            out |= _times(values, name, random)
            continue
        if role in UNITS:
            unit, factor = random.choice(list(UNITS[role].items()))
            values = values / factor
            name = random.choice([f"{name} ({unit})", f"{name} [{unit}]", f"{name}_{unit}"])
            if "/" in unit and name.endswith(unit):
                name = name.replace("/", "_")
        out[name[:10] if short else name] = values.round(8)
    return pd.DataFrame(out)


def _times(time_s: pd.Series, name: str, random: Random) -> dict[str, object]:
    """One or two columns; every form keeps a second or better."""
    moment = pd.to_datetime(time_s, unit="s")
    days = time_s / 86400 + 25569  # of spreadsheets, from 30 December 1899
    one: dict[str, Callable[[], pd.Series]] = {
        "iso": lambda: moment.dt.strftime("%Y-%m-%dT%H:%M:%SZ"),
        "us": lambda: moment.dt.strftime("%m/%d/%Y %I:%M:%S %p"),
        "dotted": lambda: moment.dt.strftime("%d.%m.%Y %H:%M:%S"),
        "epoch": lambda: time_s,
        "epoch ms": lambda: time_s * 1000,
        "day number": lambda: days.round(7),
    }
    if random.random() < 0.25:
        return {
            random.choice(["date", "Date", "DATE", "Day"]): moment.dt.strftime("%Y-%m-%d"),
            random.choice(["time", "Time", "TIME", "clock"]): moment.dt.strftime("%H:%M:%S"),
        }
    return {name[:10]: one[random.choice(list(one))]()}


def _text(**how: str) -> Callable[[pd.DataFrame, Path, Random], Path]:
    encoding = how.pop("encoding", "utf-8")

    def write(table: pd.DataFrame, folder: Path, random: Random) -> Path:
        path = folder / random.choice(["log.csv", "export.txt", "LOG.CSV"])
        path.write_bytes(table.to_csv(index=False, **how).encode(encoding))
        return path

    return write


def _sheet(table: pd.DataFrame, folder: Path, random: Random) -> Path:
    path = folder / "log.xlsx"
    table.to_excel(path, index=False)
    return path


def _frame(table: pd.DataFrame) -> gpd.GeoDataFrame:
    lon = next(c for c in table.columns if str(c) in NAMES["lon"])
    lat = next(c for c in table.columns if str(c) in NAMES["lat"])
    points = gpd.points_from_xy(table[lon], table[lat])
    return gpd.GeoDataFrame(table.drop(columns=[lon, lat]), geometry=points, crs=4326)


def _layer(suffix: str) -> Callable[[pd.DataFrame, Path, Random], Path]:
    def write(table: pd.DataFrame, folder: Path, random: Random) -> Path:
        path = folder / f"log{suffix}"
        _frame(table).to_file(path)
        return path

    return write


def _zipped_shape(table: pd.DataFrame, folder: Path, random: Random, inner: str = "") -> Path:
    _frame(table).to_file(folder / "log.shp")
    parts = {f"{inner}{p.name}": p.read_bytes() for p in sorted(folder.glob("log.*"))}
    if random.random() < 0.3:
        parts.pop(f"{inner}log.prj")
    beside = random.sample(list(BESIDE), random.randrange(len(BESIDE)))
    return _zipped(folder / "export.zip", parts | {name: BESIDE[name] for name in beside})


def _zipped(path: Path, parts: dict[str, bytes]) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return path


def _zips_in_zips(table: pd.DataFrame, folder: Path, random: Random) -> Path:
    inner = _zipped_shape(table, folder, random, "doc/Field 1/")
    return _zipped(folder / "stick.zip", {"Exports/2026/export.zip": inner.read_bytes()})


def _zipped_text(table: pd.DataFrame, folder: Path, random: Random) -> Path:
    text = io.StringIO()
    table.to_csv(text, index=False)
    return _zipped(folder / "log.zip", {"logs/log.csv": text.getvalue().encode()} | BESIDE)


KINDS: dict[str, Callable[[pd.DataFrame, Path, Random], Path]] = {
    "commas": _text(),
    "semicolons, decimal commas": _text(sep=";", decimal=","),
    "tabs": _text(sep="\t"),
    "UTF-16": _text(encoding="utf-16"),
    "UTF-8 with mark": _text(encoding="utf-8-sig"),
    "spreadsheet": _sheet,
    "gpkg": _layer(".gpkg"),
    "geojson": _layer(".geojson"),
    "shp.zip": _zipped_shape,
    "shp in zips": _zips_in_zips,
    "csv.zip": _zipped_text,
}
