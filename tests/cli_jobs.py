"""Small jobs as files on disk, and the command line run on them."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import shapely
from jobs import Job, straight_job
from put_down import MISSOURI, lonlat_of, on_earth
from shapely.geometry.base import BaseGeometry
from typer.testing import CliRunner

from evenacre.cli.main import app

WIDTH = "6.096 m"
GAPS = (-0.5, 0.6)
"""Three passes: half a metre driven twice, then 0.6 m missed."""


def small_job(length: float = 60.0, gaps: Sequence[float] = GAPS, **rest: object) -> Job:
    """Straight passes with some ground driven twice and a strip missed."""
    return straight_job(length, gaps, **rest)


@dataclass(frozen=True)
class Files:
    """A job written into a folder."""

    folder: Path
    boundary: Path
    log: Path
    records: pd.DataFrame

    @property
    def out(self) -> Path:
        return self.folder / "out"

    def options(self, **changes: object) -> list[str]:
        """Options of ``audit`` for this job; None leaves one out."""
        given = {"boundary": self.boundary, "tracks": self.log, "width": WIDTH, "out": self.out}
        given["antenna_ahead"] = "0 m"  # the log is of the tool line itself
        options: list[str] = []
        for name, value in {**given, **changes}.items():
            for one in value if isinstance(value, list) else [value]:
                if one is not None:
                    options += [f"--{name.replace('_', '-')}", str(one)]
        return options


def write_files(
    folder: Path, job: Job | None = None, place: tuple[float, float] = MISSOURI
) -> Files:
    """Write boundary and log of a job as GeoJSON and CSV."""
    job = job or small_job()
    folder.mkdir(parents=True, exist_ok=True)
    boundary = write_boundary(folder / "field.geojson", on_earth(job.boundary, place, 0.0, (0, 0)))
    records = records_of(job, place)
    return Files(folder, boundary, write_log(folder / "log.csv", records), records)


def records_of(job: Job, place: tuple[float, float] = MISSOURI) -> pd.DataFrame:
    """The log of a job as text, as a monitor exports it."""
    parts = []
    for drive in job.drives:
        lon, lat = lonlat_of(drive.x_m, drive.y_m, place)
        stamps = pd.to_datetime(np.round(drive.time_s * 1000), unit="ms")
        parts.append(
            pd.DataFrame(
                {
                    "time": [f"{stamp.isoformat(timespec='milliseconds')}Z" for stamp in stamps],
                    "longitude": [f"{value:.9f}" for value in lon],
                    "latitude": [f"{value:.9f}" for value in lat],
                    "work": np.where(drive.working, "1", "0"),
                    **{f"rate {name} [kg/ha]": v * 1e4 for name, v in drive.rates.items()},
                }
            )
        )
    return pd.concat(parts, ignore_index=True)


def write_log(path: Path, records: pd.DataFrame, sep: str = ",", encoding: str = "utf-8") -> Path:
    """Write records as a table of text."""
    records.to_csv(path, sep=sep, encoding=encoding, index=False)
    return path


def write_boundary(
    path: Path, shape: BaseGeometry, properties: dict[str, object] | None = None
) -> Path:
    """Write one shape in degrees as GeoJSON."""
    feature = {
        "type": "Feature",
        "properties": properties or {},
        "geometry": json.loads(shapely.to_geojson(shape)),
    }
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    return path


@dataclass(frozen=True)
class Ran:
    """What a run of the command gave."""

    code: int
    out: str
    err: str

    def errors(self) -> list[str]:
        """Complaints on standard error, one a line."""
        return [line for line in self.err.splitlines() if line.startswith("error: ")]


def evenacre(*args: object) -> Ran:
    """Run the command inside this process."""
    ran = CliRunner().invoke(app, [str(a) for a in args])
    return Ran(ran.exit_code, ran.stdout, ran.stderr)


def command(*args: object) -> list[str]:
    """The command as a process of its own."""
    return [sys.executable, "-m", "evenacre", *(str(a) for a in args)]


def run_command(*args: object) -> Ran:
    """Run the command as a process of its own."""
    done = subprocess.run(command(*args), capture_output=True, text=True, check=False)
    return Ran(done.returncode, done.stdout, done.stderr)


def summary_of(folder: Path) -> dict[str, Any]:
    """Read ``summary.json`` as strictly as the standard has it."""

    def refuse(constant: str) -> object:
        raise ValueError(f"{constant} is not JSON")

    text = (folder / "summary.json").read_text(encoding="utf-8")
    account: dict[str, Any] = json.loads(text, parse_constant=refuse)
    return account


def warnings_of(account: dict[str, Any]) -> list[str]:
    """Warnings of the season and of every operation."""
    return [*account["warnings"], *(w for o in account["operations"] for w in o["warnings"])]
