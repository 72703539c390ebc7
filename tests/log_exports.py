"""One drive written as every kind of log, each by a library that is not the project's own."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pynmea2
import tasklogs
from tasklogs import v4

from evenacre.model import Track

Export = Callable[[Path, Track], Path]


def as_csv(folder: Path, track: Track) -> Path:
    """Positions to 1e-9 degree, times to the millisecond."""
    frame = pd.DataFrame(
        {
            "lon": np.char.mod("%.9f", track.lon),
            "lat": np.char.mod("%.9f", track.lat),
            "time": stamps(track).strftime("%Y-%m-%dT%H:%M:%S.%fZ"),
            **states(track),
        }
    )
    frame.to_csv(folder / "log.csv", index=False)
    return folder / "log.csv"


def as_gpx(folder: Path, track: Track) -> Path:
    """Positions to 1e-9 degree or finer, times to the millisecond; GPX has no work state."""
    layer = points(track, time=stamps(track), track_fid=0, track_seg_id=0)
    layer["track_seg_point_id"] = np.arange(len(track))
    layer.to_file(folder / "log.gpx", driver="GPX", layer="track_points", engine="pyogrio")
    return folder / "log.gpx"


def as_nmea(decimals: int) -> Export:
    """Positions to so many decimals of a minute, times to the hundredth of a second."""

    def export(folder: Path, track: Track) -> Path:
        lines = []
        moments = stamps(track)
        for when, lon, lat in zip(moments, track.lon, track.lat, strict=True):
            clock = when.strftime("%H%M%S.") + f"{when.microsecond // 10_000:02d}"
            place = (*minutes(lat, 2, "NS", decimals), *minutes(lon, 3, "EW", decimals))
            more = ("4", "12", "0.8", "200.0", "M", "-30.0", "M", "1.0", "0001")
            day = when.strftime("%d%m%y")
            lines.append(pynmea2.GGA("GN", "GGA", (clock, *place, *more)))
            lines.append(pynmea2.RMC("GN", "RMC", (clock, "A", *place, "", "", day, "", "", "R")))
        (folder / "log.nmea").write_text("".join(f"{line}\r\n" for line in lines), newline="")
        return folder / "log.nmea"

    return export


def minutes(degrees: float, digits: int, letters: str, decimals: int) -> tuple[str, str]:
    """Degrees as ddmm.mmmm and the letter of the side."""
    whole = round(abs(degrees) * 60 * 10**decimals)
    degree, rest = divmod(whole, 60 * 10**decimals)
    minute = f"{rest / 10**decimals:0{3 + decimals}.{decimals}f}"
    return f"{degree:0{digits}d}{minute}", letters[int(degrees < 0)]


def as_geopackage(folder: Path, track: Track) -> Path:
    """Positions in full, times to the millisecond."""
    layer = points(track, time=stamps(track), **states(track))
    layer.to_file(folder / "log.gpkg", layer="log", engine="pyogrio")
    return folder / "log.gpkg"


def as_geoparquet(folder: Path, track: Track) -> Path:
    """Positions in full, times to the microsecond."""
    points(track, time=stamps(track), **states(track)).to_parquet(folder / "log.parquet")
    return folder / "log.parquet"


def as_taskdata(folder: Path, track: Track) -> Path:
    """Positions to 1e-7 degree, times to the millisecond; states of work and sections."""
    epoch = tasklogs.EPOCH.timestamp()
    columns = [(141, "DET-2"), (161, "DET-2")]
    records = []
    for i in range(len(track)):
        values = []
        if track.working is not None:
            values.append((0, int(track.working[i])))
        if track.sections is not None:
            pairs = sum(int(on) << 2 * k for k, on in enumerate(track.sections[i]))
            values.append((1, pairs | 0xFFFFFF00 - (1 << 32)))
        records.append(
            tasklogs.record(
                0.0,
                track.lon[i] - tasklogs.LON0,
                track.lat[i] - tasklogs.LAT0,
                values,
                clock_s=track.time_s[i] - epoch,
            )
        )
    task = v4.Task(
        id="TSK1",
        designator="Spring fertilizer",
        status=v4.TaskStatus("4"),
        time_logs=[v4.TimeLog(filename="TLG00001", type=v4.TimeLogType("1"))],
    )
    drill = tasklogs.drill(v4, (1524, 1524, 1524, 1524))
    data = tasklogs.root(v4, devices=[drill], tasks=[task])
    log = (tasklogs.template(columns), b"".join(records))
    return tasklogs.write(folder / "log.zip", data, {"TLG00001": log})


def stamps(track: Track) -> pd.DatetimeIndex:
    """Times of a track as UTC, to the millisecond."""
    whole = np.rint(track.time_s * 1e3).astype("datetime64[ms]")
    return pd.DatetimeIndex(whole).tz_localize(UTC)


def states(track: Track) -> dict[str, object]:
    """Columns of a work state and of sections, where the drive has them."""
    columns: dict[str, object] = {}
    if track.working is not None:
        columns["work"] = track.working.astype(int)
    if track.sections is not None:
        columns["sections"] = ["".join(str(int(on)) for on in row) for row in track.sections]
    return columns


def points(track: Track, **columns: object) -> gpd.GeoDataFrame:
    """Positions of a track as a layer."""
    places = gpd.points_from_xy(track.lon, track.lat)
    return gpd.GeoDataFrame(columns, geometry=places, crs="EPSG:4326")
