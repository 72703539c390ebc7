"""What a second run of an unchanged season takes, and whether it writes the same bytes.

    python benchmarks/second.py [--fields 20] [--repeats 3]

The first run fills a store of finished audits of its own. A second finds its result in place, or
takes the audits from the store and writes the result elsewhere.
"""

from __future__ import annotations

import argparse
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from run import audit
from season import write_season
from table import Row, printed, spread


def figures(where: Path, fields: int, repeats: int) -> Iterator[Row]:
    """Audit a season once, and then some times more without a change."""
    os.environ["SOURCE_DATE_EPOCH"] = "1700000000"  # of all bytes only the time would differ
    toml, store = where / "season" / "season.toml", str(where / "store")
    if not toml.exists():
        write_season(toml.parent, fields)
    first = audit(toml, where / "out", store=store)
    before = contents(where / "out")
    stands = [audit(toml, where / "out", store=store) for _ in range(repeats)]
    taken = [audit(toml, where / f"again-{n}", store=store) for n in range(repeats)]
    yield f"first run, {fields} fields, wall", f"{first.seconds:.2f} s"
    yield "first run, processors", f"{first.cpu_seconds:.2f} s"
    for name, runs in (("into its place", stands), ("into another place", taken)):
        yield f"second run, {name}, wall", spread([run.seconds for run in runs])
        yield f"second run, {name}, processors", spread([run.cpu_seconds for run in runs])
        ratios = [first.cpu_seconds / run.cpu_seconds for run in runs]
        yield f"first to second, {name}, processors", spread(ratios, "times", 1)
    for name in ("out", "again-0"):
        after = contents(where / name)
        same = sum(after.get(file) == data for file, data in before.items())
        yield f"files of {name} with the bytes of the first run", f"{same} of {len(before)}"


def contents(folder: Path) -> dict[str, bytes]:
    """Bytes of all files of a result."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--fields", type=int, default=20)
    parser.add_argument("--repeats", type=int, default=3)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="evenacre-second-") as where:
        printed(figures(Path(where), options.fields, options.repeats))


if __name__ == "__main__":
    main()
