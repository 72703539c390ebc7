"""How near an audit of the season comes to merely reading its logs and writing its files.

    python benchmarks/floor.py [--fields 4] [--repeats 3]

The floor reads the same logs (pyarrow) and writes the same layers (pyogrio), rasters (rasterio)
and tables (pandas), all of which the audit has made; processor time, start-up of Python and its
libraries included in both. Then what each command takes to start, beside Python itself. Tables in
Markdown, each figure the median of repeats with the least and the most.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from run import audit, watched
from season import write_season
from small_farm import write_small_farm
from table import Row, printed, spread

FLOOR = """
import sys
from pathlib import Path
import pandas as pd, pyarrow.csv, pyogrio, rasterio
season, result, out = map(Path, sys.argv[1:])
for log in sorted((season / "logs").glob("*.csv")):
    pyarrow.csv.read_csv(log)
for name, _ in pyogrio.list_layers(result / "layers.gpkg"):
    frame = pyogrio.read_dataframe(result / "layers.gpkg", layer=name)
    pyogrio.write_dataframe(frame, out / "layers.gpkg", layer=name, append=True)
for path in result.glob("*/*.tif"):
    with rasterio.open(path) as raster:
        values, profile = raster.read(), raster.profile
    to = out / f"{path.parent.name}-{path.name}"
    with rasterio.open(to, "w", **{**profile, "driver": "COG"}) as raster:
        raster.write(values)
for table in (result / "tables").glob("*.csv"):
    pd.read_csv(table).to_csv(out / table.name, index=False)
"""
FINISH = ("finish", "--area", "18 ac", "--left", "1900 lb", "--rate", "110 lb/ac")
CATCHES = ("--setting", "42", "--catch", "10.2 10.4 10.3 lb", "--area", "0.1 ac", "--no-book")


def figures(where: Path, fields: int, repeats: int) -> Iterator[Row]:
    """Audit a season and merely read and write the same, some times each."""
    write_season(where / "season", fields)
    audits, floors = [], []
    for n in range(repeats):
        audits.append(audit(where / "season" / "season.toml", where / "result").cpu_seconds)
        (where / f"floor-{n}").mkdir()
        places = [str(where / name) for name in ("season", "result", f"floor-{n}")]
        floors.append(watched([sys.executable, "-c", FLOOR, *places]).cpu_seconds)
    ratios = [whole / floor for whole, floor in zip(audits, floors, strict=True)]
    yield f"audit of {fields} fields, processors", spread(audits)
    yield "reading and writing the same, processors", spread(floors)
    yield "ratio", spread(ratios, "times", 1)


def starts(where: Path, repeats: int) -> Iterator[Row]:
    """Time of commands that have next to nothing to do, all their processes together."""
    where.mkdir(parents=True, exist_ok=True)
    write_small_farm(where)
    program = str(Path(sys.executable).with_name("evenacre"))
    commands = {
        "Python alone": [sys.executable, "-c", "pass"],
        "`evenacre --help`": [program, "--help"],
        "`evenacre finish`, typed in": [program, *FINISH],
        "`evenacre calibrate`, typed in": [program, "calibrate", "--product", "18-46-0", *CATCHES],
        "`evenacre check season.toml`, one field": [program, "check", str(where / "season.toml")],
    }
    for name, command in commands.items():
        runs = [watched(command) for _ in range(repeats)]
        yield f"{name}, wall", spread([run.seconds for run in runs])
        yield f"{name}, processors", spread([run.cpu_seconds for run in runs])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--fields", type=int, default=4)
    parser.add_argument("--repeats", type=int, default=3)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="evenacre-floor-") as where:
        printed(figures(Path(where), options.fields, options.repeats))
        printed(starts(Path(where), options.repeats))


if __name__ == "__main__":
    main()
