"""Time the reading of one log in every format, beside pyarrow's plain reader of its CSV.

    python benchmarks/formats.py [--fixes 500000] [--only nmea] [--in DIRECTORY]

Prints records per second: a record is a line of a table, a track point, a sentence or a binary
record. The plain reader only turns the same CSV into columns; it checks and means nothing, so
it shows what the disk and the text alone cost on this machine.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow.csv as pacsv

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

import tasklogs
from tasklogs import v4

from evenacre.io.logs.read_tracks import read_tracks

START = pd.Timestamp("2026-04-14T10:00:00")


def fixes(count: int) -> pd.DataFrame:
    """A drive up and down a field at 5 Hz: position, time, speed, sections and rate."""
    k = np.arange(count)
    along = np.abs((k % 2000) - 1000) * 0.48
    return pd.DataFrame(
        {
            "lon": (-93.5 + (k // 1000) * 7e-5).round(9),
            "lat": (40 + along / 111_195).round(9),
            "time": (START + pd.to_timedelta(k * 200, unit="ms")),
            "speed (m/s)": 2.4,
            "work": (k % 1000 > 30).astype(int),
            "sections": np.where(k % 50 > 2, "111111", "111000"),
            "rate (kg/ha)": 168.0 + k % 7,
        }
    )


def csv(folder: Path, log: pd.DataFrame) -> Path:
    frame = log.assign(time=log["time"].dt.strftime("%Y-%m-%dT%H:%M:%S.%fZ"))
    frame.to_csv(folder / "log.csv", index=False)
    return folder / "log.csv"


def gpx(folder: Path, log: pd.DataFrame) -> Path:
    when = log["time"].dt.strftime("%Y-%m-%dT%H:%M:%S.%fZ")
    points = [
        f'<trkpt lat="{lat}" lon="{lon}"><ele>200</ele><time>{t}</time></trkpt>\n'
        for lat, lon, t in zip(log["lat"], log["lon"], when, strict=True)
    ]
    head = '<?xml version="1.0"?>\n<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">'
    text = f"{head}<trk><trkseg>\n{''.join(points)}</trkseg></trk></gpx>"
    (folder / "log.gpx").write_text(text)
    return folder / "log.gpx"


def nmea(folder: Path, log: pd.DataFrame) -> Path:
    """GGA and RMC for every fix."""
    clock = log["time"].dt.strftime("%H%M%S.%f").str[:-4]
    day = log["time"].dt.strftime("%d%m%y")
    lat = "40" + pd.Series((log["lat"] - 40) * 60).map("{:010.7f}".format) + ",N"
    lon = "093" + pd.Series((-93 - log["lon"]) * 60).map("{:010.7f}".format) + ",W"
    gga = "$GNGGA," + clock + "," + lat + "," + lon + ",4,12,0.8,200.0,M,-30.0,M,1.0,0001*"
    rmc = "$GNRMC," + clock + ",A," + lat + "," + lon + ",4.7,0.0," + day + ",,,R*"
    lines = np.column_stack([gga, rmc]).ravel()
    joined = np.frombuffer("".join(lines).encode(), np.uint8)
    starts = np.flatnonzero(joined == ord("$"))
    # What lies between "$" and "*", both of which cancel out here.
    sums = np.bitwise_xor.reduceat(joined, starts) ^ ord("$") ^ ord("*")
    text = "".join(f"{line}{s:02X}\r\n" for line, s in zip(lines, sums.tolist(), strict=True))
    (folder / "log.nmea").write_text(text, newline="")
    return folder / "log.nmea"


def layer(log: pd.DataFrame) -> gpd.GeoDataFrame:
    places = gpd.points_from_xy(log["lon"], log["lat"])
    return gpd.GeoDataFrame(log.drop(columns=["lon", "lat"]), geometry=places, crs="EPSG:4326")


def geopackage(folder: Path, log: pd.DataFrame) -> Path:
    layer(log).to_file(folder / "log.gpkg", engine="pyogrio")
    return folder / "log.gpkg"


def geoparquet(folder: Path, log: pd.DataFrame) -> Path:
    layer(log).to_parquet(folder / "log.parquet")
    return folder / "log.parquet"


def taskdata(folder: Path, log: pd.DataFrame) -> Path:
    """ISO 11783-10: a work state, section states and a rate in every record."""
    head: list[Any] = [("ms", "<u4"), ("day", "<u2"), ("north", "<i4"), ("east", "<i4")]
    values: list[Any] = [(f"{part}{i}", kind) for i in range(3) for part, kind in _VALUE]
    records = np.zeros(len(log), np.dtype([*head, ("status", "u1"), ("count", "u1"), *values]))
    since = log["time"] - pd.Timestamp("1980-01-01")
    records["day"] = since.dt.days
    records["ms"] = (since - pd.to_timedelta(since.dt.days, unit="D")) / pd.Timedelta("1ms")
    records["north"], records["east"] = np.rint(log["lat"] * 1e7), np.rint(log["lon"] * 1e7)
    records["status"], records["count"] = 4, 3
    records["index1"], records["index2"] = 1, 2
    records["value0"] = log["work"]
    on = np.where(log["sections"] == "111111", 0b010101010101, 0b000000010101)
    records["value1"] = on | (0xFFFFF000 - (1 << 32))  # the other ten: not available
    records["value2"] = np.rint(log["rate (kg/ha)"] * 100)
    columns = [(141, "DET-2"), (161, "DET-2"), (7, "DET-3")]
    task = v4.Task(
        id="TSK1",
        designator="Spring fertilizer",
        status=v4.TaskStatus("4"),
        time_logs=[v4.TimeLog(filename="TLG00001", type=v4.TimeLogType("1"))],
    )
    data = tasklogs.root(v4, devices=[tasklogs.drill(v4, (1524,) * 6)], tasks=[task])
    log_files = {"TLG00001": (tasklogs.template(columns), records.tobytes())}
    return tasklogs.write(folder / "TASKDATA", data, log_files)


_VALUE = (("index", "u1"), ("value", "<i4"))

# Writer, and records for each fix.
FORMATS: dict[str, tuple[Callable[[Path, pd.DataFrame], Path], int]] = {
    "csv": (csv, 1),
    "gpx": (gpx, 1),
    "nmea": (nmea, 2),
    "geopackage": (geopackage, 1),
    "geoparquet": (geoparquet, 1),
    "task data": (taskdata, 1),
}


def timed(call: Callable[[], object]) -> float:
    """Seconds of the faster of two calls: the first also loads what reading needs."""
    best = float("inf")
    for _ in range(2):
        started = time.perf_counter()
        call()
        best = min(best, time.perf_counter() - started)
    return best


def report(folder: Path, count: int, only: list[str]) -> None:
    log = fixes(count)
    print(f"{count:,} fixes\n{'':22}{'records':>12}{'seconds':>10}{'records/s':>14}{'MB':>8}")

    def row(name: str, path: Path, records: int, call: Callable[[], object]) -> None:
        seconds = timed(call)
        files = [path] if path.is_file() else [p for p in path.rglob("*") if p.is_file()]
        size = sum(p.stat().st_size for p in files) / 1e6
        speed = records / seconds
        print(f"{name:22}{records:12,}{seconds:10.2f}{speed:14,.0f}{size:8.1f}", flush=True)

    plain = csv(folder, log)
    row("pyarrow's plain CSV", plain, count, lambda: pacsv.read_csv(plain))
    for name in only or FORMATS:
        write, per_fix = FORMATS[name]
        path = write(folder, log)

        def read(path: Path = path) -> None:
            (track,) = read_tracks(path)
            if len(track) != count:
                sys.exit(f"{path.name}: {len(track):,} of {count:,} fixes were read")

        row(name, path, count * per_fix, read)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--fixes", type=int, default=500_000)
    parser.add_argument("--only", action="append", default=[], choices=FORMATS)
    parser.add_argument("--in", dest="where", type=Path, help="keep the files here")
    options = parser.parse_args()
    if options.where:
        options.where.mkdir(parents=True, exist_ok=True)
        report(options.where, options.fixes, options.only)
        return
    with tempfile.TemporaryDirectory(prefix="evenacre-formats-") as where:
        report(Path(where), options.fixes, options.only)


if __name__ == "__main__":
    main()
