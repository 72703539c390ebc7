"""All benchmarks of speed in one run, as tables in Markdown.

    python benchmarks/every.py [--repeats 3] [--fields 20] [--county 200]

What `make bench` runs. Figures depend on the machine and on what else it does: compare those of one
run, and ratios rather than seconds. Each is the median of repeats, with the least and the most.
"""

from __future__ import annotations

import argparse
import os
import platform
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import county
import floor
import psutil
import run
import second
import stages
from table import Row, printed

from evenacre.io.common.versions import versions

HERE = Path(__file__).resolve().parent


def machine() -> Iterator[Row]:
    """What it runs on."""
    told = Path("/proc/cpuinfo").read_text() if Path("/proc/cpuinfo").exists() else ""
    names = [line.partition(": ")[2] for line in told.splitlines() if line.startswith("model name")]
    yield "processor", f"{os.cpu_count()} of {names[0] if names else platform.processor()}"
    yield "memory", f"{psutil.virtual_memory().total / 1e9:.0f} GB"
    yield "system", f"{platform.system()} {platform.release()}"
    yield "date", f"{datetime.now(UTC):%Y-%m-%d}"
    busy = psutil.getloadavg()[0]
    yield "others at work when it began", f"{busy:.1f} processes (load of the last minute)"
    yield "versions", ", ".join(f"{name} {version}" for name, version in versions().items())


def tables(where: Path, options: argparse.Namespace) -> Iterator[tuple[str, Iterator[Row]]]:
    """Title and rows of each benchmark."""
    repeats = options.repeats
    yield "Machine", machine()
    yield (
        "A season, and the plain script",
        run.figures(where / "run", options.fields, 25.0, repeats),
    )
    yield "Stages of one field", stages.figures(where / "stages", 25.0, repeats)
    yield "Beside merely reading and writing", floor.figures(where / "floor", 4, repeats)
    yield "Start", floor.starts(where / "start", repeats)
    yield "A second run", second.figures(where / "second", options.fields, repeats)
    small = county.county(where / "county", options.county, 2, options.county)
    yield "A county", small
    yield "The scheduler alone", county.empty([10_000], 2)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--fields", type=int, default=20)
    parser.add_argument("--county", type=int, default=200, help="fields of the county")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="evenacre-bench-") as scratch:
        for title, rows in tables(Path(scratch), options):
            print(f"### {title}\n", flush=True)
            printed(rows)
    print("### Growth\n", flush=True)
    subprocess.run([sys.executable, str(HERE / "growth.py")], check=True)


if __name__ == "__main__":
    main()
