"""Records and blockages as the files a machine's screen would save."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pyarrow as pa
from pyarrow import csv

from evenacre.sample_fields.clock import Schedule
from evenacre.sample_fields.farm import Job
from evenacre.sample_fields.paths import FloatArray
from evenacre.sample_fields.receiver import Records

MPS_PER_MPH = 0.44704
ROWS_PER_TOWER = 8


def write_logs(
    folder: Path, job: Job, records: Records, rates_lb_ac: dict[str, FloatArray]
) -> list[str]:
    """Write a job's log and return the names of its files.

    Parameters
    ----------
    rates_lb_ac : dict of str to (n,) float
        The meter's rate of each product at each record.
    """
    lon, lat = job.plot.to_lonlat(records.x, records.y)
    compass = 90.0 - job.plot.rotation_deg - np.degrees(records.course_rad)
    working = records.towers.any(axis=1)
    columns: dict[str, object] = {
        "UTC time": clock_text(job.start, records.time_s),
        "Longitude": np.round(lon, 8),
        "Latitude": np.round(lat, 8),
        "Speed (mph)": np.round(records.speed_mps / MPS_PER_MPH, 2),
    }
    if job.columns != "whole":
        columns["Course (deg)"] = np.round(np.remainder(compass, 360.0), 1)
    columns["Work state"] = working.astype(np.int8)
    if job.columns == "towers":
        for tower in range(records.towers.shape[1]):
            columns[f"Tower {tower + 1}"] = records.towers[:, tower].astype(np.int8)
    if job.columns == "rows":
        rows = np.repeat(records.towers, ROWS_PER_TOWER, axis=1).astype(np.int8)
        columns |= {f"Row {row + 1}": rows[:, row] for row in range(rows.shape[1])}
    for name, rate in rates_lb_ac.items():
        # The meter writes no rate while it stands still.
        columns[f"{name} (lb/ac)"] = pa.array(np.round(rate, 2), mask=~working)
    table = pa.table(columns)
    cuts = [0, *records.splits, len(records.time_s)]
    names = []
    for number, (first, last) in enumerate(pairwise(cuts), 1):
        name = f"{job.slug}-{number}.csv" if records.splits else f"{job.slug}.csv"
        options = csv.WriteOptions(quoting_style="none")
        csv.write_csv(table.slice(first, last - first), folder / name, options)
        names.append(name)
    return names


def write_blockages(folder: Path, job: Job, timed: Schedule) -> None:
    """Write when which tower stopped flowing, on the clock of the log."""
    lines = ["start,end,tower"]
    for tower, start, end in timed.blocked:
        times = clock_text(job.start, np.array([start, end]))
        lines.append(f"{times[0]},{times[1]},{tower}")
    path = folder / f"{job.slug}-blockages.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def clock_text(start: str, seconds: FloatArray) -> np.ndarray:
    """Seconds since the start as UTC times to the millisecond."""
    moments = np.datetime64(start, "ms") + np.round(seconds * 1000.0).astype("timedelta64[ms]")
    return np.char.add(np.datetime_as_string(moments, unit="ms"), "Z")
