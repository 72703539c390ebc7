"""Time the whole audit of a season, and the obvious script on one of its fields.

    python benchmarks/run.py [--fields 20] [--hectares 25] [--repeats 3] [--in DIRECTORY]

Prints a table in Markdown of what it measured in this run: seconds and peak memory of the whole
``evenacre audit`` process tree, the same for a season of the one field, the plain script's seconds
on that field, the ratios, each as the median of repeats with the least and the most, and how far
each is from the referee's cells.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import psutil
from season import DRILL, field_jobs, write_season
from table import MB, Row, printed, spread

AREAS = ("covered_area_m2", "overlap_area_m2", "skip_area_m2")
REFEREE_CELL_M = 0.1
HERE = Path(__file__).resolve().parent


@dataclass(frozen=True)
class Run:
    """A finished process: wall and processor seconds, peak memory of its tree, its output.

    ``own_bytes`` is the peak of the process without its children.
    """

    seconds: float
    cpu_seconds: float
    peak_bytes: int
    own_bytes: int
    output: str


def watched(command: list[str]) -> Run:
    """Run a command to its end, watching the memory of it and its children."""
    # Compiled modules may be kept, as where it is installed: else every start compiles them all.
    env = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    started, used = time.perf_counter(), children_cpu_seconds()
    with tempfile.TemporaryFile("w+") as out:
        process = psutil.Popen(command, stdout=out, env=env)
        peak = own = 0
        while process.poll() is None:
            held = [proportional_bytes(p) for p in tree(process.pid)]  # itself first
            peak, own = max(peak, sum(held)), max(own, held[0])
            with suppress(psutil.TimeoutExpired):
                process.wait(0.1)  # or to its end: a start takes little longer
        seconds = time.perf_counter() - started
        out.seek(0)
        output = out.read()
    if process.returncode != 0:
        sys.exit(f"{' '.join(command)} ended with {process.returncode}")
    return Run(seconds, children_cpu_seconds() - used, peak, own, output)


def children_cpu_seconds() -> float:
    """Processor time of all finished children; on a busy machine it says more than the clock."""
    usage = resource.getrusage(resource.RUSAGE_CHILDREN)
    return usage.ru_utime + usage.ru_stime


def tree(pid: int) -> list[int]:
    """List a process and all its descendants."""
    found, todo = [], [pid]
    while todo:
        here = todo.pop()
        found.append(here)
        for task in Path(f"/proc/{here}/task").glob("*/children"):
            try:
                todo += [int(child) for child in task.read_text().split()]
            except OSError:
                continue
    return found


def proportional_bytes(pid: int) -> int:
    """Memory of a process with shared pages divided among their sharers (0 once it is gone)."""
    try:
        text = Path(f"/proc/{pid}/smaps_rollup").read_text()
    except OSError:
        return 0
    return sum(int(line.split()[1]) * 1024 for line in text.splitlines() if line[:4] == "Pss:")


def audit(season: Path, out: Path, *options: str, store: str = "off") -> Run:
    """Run the whole command, as a person would give it; nothing is taken from earlier runs."""
    os.environ["EVENACRE_CACHE"] = store
    program = [str(Path(sys.executable).with_name("evenacre"))]
    return watched([*program, "audit", str(season), "--out", str(out), "--quiet", *options])


def referee(which: int, hectares: float) -> dict[str, float]:
    """Areas of the clean job by brute force."""
    from referee import judge

    verdict = judge(field_jobs(which + 1, hectares)[which], cell=REFEREE_CELL_M)
    return {name: getattr(verdict, name) for name in AREAS}


def figures(where: Path, fields: int, hectares: float, repeats: int) -> Iterator[Row]:
    """Audit the season, one field alone, and that field by the plain script, some times each."""
    fixes = write_season(where / "season", fields, hectares)
    write_season(where / "one", 1, hectares)
    yield "season", f"{fields} fields, {fields * hectares:.0f} ha, {fixes:,} fixes"
    log, ground = where / "one" / "logs" / "field-01.csv", where / "one" / "fields.gpkg"
    script = [sys.executable, str(HERE / "plain_script.py"), str(log), str(ground), "Field 1"]
    wholes, singles, plains = [], [], []
    for _ in range(repeats):
        wholes.append(audit(where / "season" / "season.toml", where / "season-out"))
        singles.append(audit(where / "one" / "season.toml", where / "one-out"))
        plains.append(watched([*script, str(DRILL.width_m)]))
    for name, ran in (("season", wholes), ("one field alone", singles), ("plain script", plains)):
        yield f"{name}, wall", spread([run.seconds for run in ran])
        yield f"{name}, processors", spread([run.cpu_seconds for run in ran])
        yield f"{name}, peak memory", spread([run.peak_bytes / MB for run in ran], "MB", 0)
    for name, ran, parts in (("field of the season", wholes, fields), ("field alone", singles, 1)):
        for what in ("seconds", "cpu_seconds"):
            ratios = [
                getattr(plain, what) / (getattr(run, what) / parts)
                for plain, run in zip(plains, ran, strict=True)
            ]
            clock = "wall" if what == "seconds" else "processors"
            yield f"plain script to a {name}, {clock}", spread(ratios, "times", 1)
    truth = referee(0, hectares)
    told = json.loads(plains[0].output)
    summary = json.loads((where / "one-out" / "summary.json").read_text())["operations"][0]
    for name in AREAS:
        off, off_script = summary[name] - truth[name], told[name] - truth[name]
        yield (
            f"{name} by brute force",
            f"{truth[name]:.0f}; off by {off:.0f}, the script by {off_script:.0f}",
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--fields", type=int, default=20)
    parser.add_argument("--hectares", type=float, default=25.0)
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--in", dest="where", type=Path, help="keep the files here")
    options = parser.parse_args()
    asked = options.fields, options.hectares, options.repeats
    if options.where:
        printed(figures(options.where, *asked))
        return
    with tempfile.TemporaryDirectory(prefix="evenacre-benchmark-") as where:
        printed(figures(Path(where), *asked))


if __name__ == "__main__":
    main()
