"""Write a farm's season to audit: 500 ha in 20 fields, 5 Hz, a drill of six sections.

    python benchmarks/season.py DIRECTORY [--fields 20] [--hectares 25]

Every field is driven as the tests' whole fields are: rounds along the boundary, passes with
small gaps and laps, point rows, switched sections, and 2 cm of receiver jitter on the log.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely.affinity import scale
from shapely.geometry import LineString, Polygon

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

from jobs import Job
from put_down import operation
from whole_fields import FieldPlan, field_job

from evenacre.model import Implement, Track

DRILL = Implement(width_m=9.144, rows=48, rows_known=True, rows_per_tower=8)
SECTIONS = 6
JITTER_M = 0.02
RECORDS_A_LOG = 2_000_000  # longer ones lie in several files, as one file may be so large
PRODUCT, RATE_LB_AC = "18-46-0", 150.0
SHAPES = (
    [(0, 0), (10, 0.6), (10.4, 7), (0.3, 7.4)],
    [(0, 0), (8, 1), (9, 6), (4, 9), (-1, 6)],
    [(0, 0), (12, 0), (12, 4), (6, 4.2), (6, 9), (0, 8.6)],
    [(0, 0), (11, 2), (9, 8), (1, 6.5)],
)


def field_jobs(count: int, hectares: float) -> list[Job]:
    """Jobs in the plane, one per field, all of the same area."""
    jobs = []
    for k in range(count):
        shape = Polygon(SHAPES[k % len(SHAPES)])
        size = (hectares * 1e4 / shape.area) ** 0.5
        boundary = scale(shape, size, size, origin=(0, 0))
        unworkable = None
        if k % 4 == 1:
            _, south, east, north = boundary.bounds
            waterway = LineString([(0.4 * east, south - 9), (0.5 * east, north + 9)])
            unworkable = waterway.buffer(6.0) & boundary
        plan = FieldPlan(
            boundary,
            direction_rad=0.06 + 0.11 * (k % 20),
            unworkable=unworkable,
            implement=DRILL,
            sections=SECTIONS,
            corner_radius_m=6.5,
        )
        jobs.append(field_job(plan, name=f"Field {k + 1}"))
    return jobs


def place_of(k: int) -> tuple[float, float]:
    """Where field ``k`` lies: a few kilometres from its neighbours."""
    return -92.7 + 0.03 * (k % 5), 40.0 + 0.03 * (k // 5)


def log_table(track: Track) -> pd.DataFrame:
    """Lay the log out as a display would export it."""
    assert track.sections is not None
    assert track.working is not None
    columns = {
        "Time": pd.to_datetime(track.time_s, unit="s").strftime("%Y-%m-%dT%H:%M:%S.%fZ"),
        "Longitude": np.round(track.lon, 9),
        "Latitude": np.round(track.lat, 9),
        "Work": track.working.astype(int),
        "Rate (lb/ac)": np.where(track.working, RATE_LB_AC, 0.0),
    }
    for s in range(SECTIONS):
        columns[f"Section {s + 1}"] = track.sections[:, s].astype(int)
    return pd.DataFrame(columns)


def write_season(directory: Path, count: int = 20, hectares: float = 25.0) -> int:
    """Write boundaries, logs and season.toml; returns the number of fixes."""
    return write_jobs(directory, field_jobs(count, hectares))


def write_jobs(directory: Path, jobs: Sequence[Job]) -> int:
    """Write a season of some jobs, a field each; returns the number of fixes."""
    (directory / "logs").mkdir(parents=True, exist_ok=True)
    lines = [
        'farm = "Benchmark"',
        'units = "us"',
        'time_zone = "UTC"',
        "[[product]]",
        f'name = "{PRODUCT}"',
        "analysis = { N = 18, P2O5 = 46, K2O = 0 }",
        "[[implement]]",
        'name = "drill"',
        f'width = "{DRILL.width_m} m"',
        f"rows = {DRILL.rows}",
        f"rows_per_tower = {DRILL.rows_per_tower}",
        f"sections = {SECTIONS}",
    ]
    columns = {"time": "Time", "lon": "Longitude", "lat": "Latitude", "work": "Work"}
    columns[f"rate:{PRODUCT}"] = "Rate (lb/ac) [lb/ac]"
    columns |= {f"section:{s + 1}": f"Section {s + 1}" for s in range(SECTIONS)}
    mapping = ", ".join(f'"{role}" = "{name}"' for role, name in columns.items())
    boundaries, unworkable, names, wet_names = [], [], [], []
    fixes = 0
    for k, job in enumerate(jobs):
        put = operation(job, place_of(k), jitter_m=JITTER_M, seed=k)
        names.append(job.name)
        boundaries.append(put.field.boundary)
        lines += ["[[field]]", f'name = "{job.name}"']
        lines.append(f'boundary = {{ file = "fields.gpkg", where = {{ name = "{job.name}" }} }}')
        if put.field.unworkable is not None:
            wet_names.append(job.name)
            unworkable.append(put.field.unworkable)
            lines.append(
                f'unworkable = {{ file = "waterways.gpkg", where = {{ name = "{job.name}" }} }}'
            )
        table, logs = log_table(put.tracks[0]), []
        for first in range(0, len(table), RECORDS_A_LOG):
            part = f"-{len(logs) + 1}" if first else ""
            logs.append(f"logs/field-{k + 1:02d}{part}.csv")
            table[first : first + RECORDS_A_LOG].to_csv(directory / logs[-1], index=False)
        fixes += len(table)
        lines += ["[[operation]]", 'name = "Spring fertilizer"', f'field = "{job.name}"']
        lines += [
            "date = 2026-04-14",
            'implement = "drill"',
            "tracks = [" + ", ".join(f'"{log}"' for log in logs) + "]",
        ]
        lines.append(f"columns = {{ {mapping} }}")
        lines.append(f'products = [ {{ product = "{PRODUCT}", rate = "{RATE_LB_AC} lb/ac" }} ]')
    for name, who, shapes in (("fields", names, boundaries), ("waterways", wet_names, unworkable)):
        if shapes:
            frame = gpd.GeoDataFrame({"name": who}, geometry=shapes, crs="EPSG:4326")
            frame.to_file(directory / f"{name}.gpkg")
    (directory / "season.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return fixes


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("directory", type=Path)
    parser.add_argument("--fields", type=int, default=20)
    parser.add_argument("--hectares", type=float, default=25.0)
    options = parser.parse_args()
    fixes = write_season(options.directory, options.fields, options.hectares)
    print(f"{options.fields} fields, {fixes} fixes in {options.directory}")


if __name__ == "__main__":
    main()
