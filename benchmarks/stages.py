"""Which stage of an audit of one field takes how much of its processor time.

    python benchmarks/stages.py [--hectares 25] [--repeats 3]

All in one process, after a first audit that loads what is needed.
"""

from __future__ import annotations

import argparse
import os
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from season import write_season
from table import Row, printed, spread

from evenacre.io.season.load import load_season
from evenacre.workflows.audit import audit_season


def timed(toml: Path, out: Path) -> dict[str, float]:
    """Processor seconds of each stage of an audit, as it tells them."""
    marks: list[tuple[str, float]] = [("reading the season", time.process_time())]
    season = load_season(toml)
    audit_season(season, out, progress=lambda stage, _: marks.append((stage, time.process_time())))
    ends = [at for _, at in marks[1:]] + [time.process_time()]
    taken: dict[str, float] = {}
    for (stage, began), end in zip(marks, ends, strict=True):
        taken[stage] = taken.get(stage, 0.0) + end - began
    return taken


def figures(where: Path, hectares: float, repeats: int) -> Iterator[Row]:
    """Shares of the stages in audits of one field."""
    os.environ["EVENACRE_CACHE"] = "off"
    fixes = write_season(where / "season", 1, hectares)
    timed(where / "season" / "season.toml", where / "out")
    runs = [timed(where / "season" / "season.toml", where / "out") for _ in range(repeats)]
    wholes = [sum(run.values()) for run in runs]
    yield f"audit of one field, {fixes:,} fixes, processor", spread(wholes)
    for stage in runs[0]:
        shares = [
            100 * run.get(stage, 0.0) / whole for run, whole in zip(runs, wholes, strict=True)
        ]
        yield stage, spread(shares, "%", 1)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--hectares", type=float, default=25.0)
    parser.add_argument("--repeats", type=int, default=3)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="evenacre-stages-") as where:
        printed(figures(Path(where), options.hectares, options.repeats))


if __name__ == "__main__":
    main()
