"""Time the whole audit of a season, and the obvious script on one of its fields.

    python benchmarks/run.py [--fields 20] [--hectares 25] [--in DIRECTORY]

Prints what it measured in this run: seconds and peak memory of the whole ``evenacre audit``
process tree, the same for a season of the one field, the plain script's seconds on that
field, the ratios, and how far each is from the referee's cells.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from season import DRILL, field_jobs, write_season

AREAS = ("covered_area_m2", "overlap_area_m2", "skip_area_m2")
REFEREE_CELL_M = 0.1
HERE = Path(__file__).resolve().parent


@dataclass(frozen=True)
class Run:
    """A finished process: wall and processor seconds, peak memory of its tree, its output."""

    seconds: float
    cpu_seconds: float
    peak_bytes: int
    output: str


def watched(command: list[str]) -> Run:
    """Run a command to its end, watching the memory of it and its children."""
    started, used = time.perf_counter(), children_cpu_seconds()
    with tempfile.TemporaryFile("w+") as out:
        process = subprocess.Popen(command, stdout=out)
        peak = 0
        while process.poll() is None:
            peak = max(peak, sum(proportional_bytes(p) for p in tree(process.pid)))
            time.sleep(0.1)
        seconds = time.perf_counter() - started
        out.seek(0)
        output = out.read()
    if process.returncode != 0:
        sys.exit(f"{' '.join(command)} ended with {process.returncode}")
    return Run(seconds, children_cpu_seconds() - used, peak, output)


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


def audit(season: Path, out: Path) -> Run:
    """Run the whole command, as a person would give it."""
    os.environ["EVENACRE_CACHE"] = "off"  # what an earlier run finished would not be timed
    program = [str(Path(sys.executable).with_name("evenacre"))]
    return watched([*program, "audit", str(season), "--out", str(out), "--quiet"])


def referee(which: int, hectares: float) -> dict[str, float]:
    """Areas of the clean job by brute force."""
    from referee import judge

    verdict = judge(field_jobs(which + 1, hectares)[which], cell=REFEREE_CELL_M)
    return {name: getattr(verdict, name) for name in AREAS}


def report(where: Path, fields: int, hectares: float) -> None:
    """Write the season, run everything once and print the figures."""
    fixes = write_season(where / "season", fields, hectares)
    print(f"season: {fields} fields, {fields * hectares:.0f} ha, {fixes} fixes", flush=True)
    whole = audit(where / "season" / "season.toml", where / "season-out")
    print(
        f"evenacre audit, whole season: {whole.seconds:.1f} s ({whole.cpu_seconds:.1f} s cpu), "
        f"peak {whole.peak_bytes / 1e6:.0f} MB, {whole.seconds / fields:.2f} s a field",
        flush=True,
    )
    write_season(where / "one", 1, hectares)
    single = audit(where / "one" / "season.toml", where / "one-out")
    print(
        f"evenacre audit, one field alone: {single.seconds:.1f} s ({single.cpu_seconds:.1f} s cpu)",
        flush=True,
    )
    plain = watched(
        [
            sys.executable,
            str(HERE / "plain_script.py"),
            str(where / "one" / "logs" / "field-01.csv"),
            str(where / "one" / "fields.gpkg"),
            "Field 1",
            str(DRILL.width_m),
        ]
    )
    print(
        f"plain script, that field: {plain.seconds:.1f} s "
        f"({plain.cpu_seconds:.1f} s cpu), peak {plain.peak_bytes / 1e6:.0f} MB"
    )
    print(
        f"ratio: {plain.seconds / (whole.seconds / fields):.1f} to a field of the season, "
        f"{plain.seconds / single.seconds:.1f} to the field audited alone; in processor time "
        f"{plain.cpu_seconds / (whole.cpu_seconds / fields):.1f} and "
        f"{plain.cpu_seconds / single.cpu_seconds:.1f}",
        flush=True,
    )
    truth = referee(0, hectares)
    script = json.loads(plain.output)
    summary = json.loads((where / "one-out" / "summary.json").read_text())["operations"][0]
    print(f"{'':18}{'referee':>12}{'evenacre':>12}{'error':>10}{'script':>12}{'error':>10}   (m2)")
    for name in AREAS:
        print(
            f"{name:18}{truth[name]:12.0f}{summary[name]:12.0f}{summary[name] - truth[name]:10.0f}"
            f"{script[name]:12.0f}{script[name] - truth[name]:10.0f}"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--fields", type=int, default=20)
    parser.add_argument("--hectares", type=float, default=25.0)
    parser.add_argument("--in", dest="where", type=Path, help="keep the files here")
    options = parser.parse_args()
    if options.where:
        report(options.where, options.fields, options.hectares)
        return
    with tempfile.TemporaryDirectory(prefix="evenacre-benchmark-") as where:
        report(Path(where), options.fields, options.hectares)


if __name__ == "__main__":
    main()
