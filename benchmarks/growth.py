"""How time and memory grow: with the fixes, sections and shape of one field, and with fields.

    python benchmarks/growth.py [--sizes 10000 100000 1000000] [--fields 5 20 200]

Each audit runs in a process of its own. Processor time is told as it is, and exponents are fitted
to what it is over that of a field of some thousand fixes, which is mostly start-up. Ten million
fixes (``--sizes 1000000 3000000 10000000``) take some 5 GB of disk and a quarter of an hour.
"""

from __future__ import annotations

import argparse
import math
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import season
from jobs import HZ, SPEED_MPS, START_S, Drive, Job
from run import Run, audit
from shapely.geometry import Point
from whole_fields import FieldPlan, interior

HECTARES_PER_FIX = 25.0 / 62_000  # about; each size tells its own
SKIPS, SKIP_S = 300, 3.0


def plain(fixes: int) -> Job:
    """Rounds and passes, as on every field of the season."""
    return season.field_jobs(1, fixes * HECTARES_PER_FIX)[0]


def skips(fixes: int) -> Job:
    """The same with the tool lifted for a moment in places all over it."""
    job = plain(fixes)
    inside = job.drives[-1]
    lifted = np.round(np.linspace(0, len(inside.time_s), SKIPS + 2)[1:-1]).astype(int)
    down = inside.working.copy()
    for first in lifted:
        down[first : first + round(SKIP_S * HZ)] = False
    assert inside.sections is not None
    worked = replace(inside, working=down, sections=inside.sections & down[:, None])
    return replace(job, drives=(*job.drives[:-1], worked))


def spiral(fixes: int) -> Job:
    """From the middle of a round field to its fence in one pass that never ends."""
    pitch, step = season.DRILL.width_m, SPEED_MPS / HZ
    way = np.arange(fixes) * step
    inner = 2.0 * pitch
    radius = np.sqrt(inner**2 + way * pitch / math.pi)
    angle = 2 * math.pi * (radius - inner) / pitch
    x, y = radius * np.cos(angle), radius * np.sin(angle)
    heading = angle + np.arctan2(radius, pitch / (2 * math.pi))
    on = np.ones((fixes, season.SECTIONS), dtype=bool)
    drive = Drive(START_S + way / SPEED_MPS, x, y, heading, on.any(axis=1), on)
    return Job(Point(0, 0).buffer(radius[-1]), (drive,), season.DRILL, name="Field 1")


def crossing(fixes: int) -> Job:
    """Half the ground worked twice, the second time square to the first."""
    half = plain(fixes // 2)
    plan = FieldPlan(
        half.boundary,
        direction_rad=0.06 + math.pi / 2,
        implement=season.DRILL,
        sections=season.SECTIONS,
    )
    again = interior(plan)
    later = again.later(half.drives[-1].time_s[-1] + 30.0 - again.time_s[0])
    return replace(half, drives=(*half.drives, later))


def one(where: Path, job: Job) -> tuple[int, Run]:
    """Fixes of a job, and its audit."""
    fixes = season.write_jobs(where / "in", [job])
    return fixes, audit(where / "in" / "season.toml", where / "out", "--jobs", "1")


def row(name: str, fixes: int, ran: Run, *more: str) -> None:
    print(
        f"{name:>14} {fixes:>10,} fixes {ran.cpu_seconds:8.1f} s {ran.peak_bytes / 1e6:7.0f} MB",
        *more,
        flush=True,
    )


def exponent(sizes: list[int], seconds: list[float]) -> float:
    """Slope of seconds over sizes, both logarithms."""
    return float(np.polyfit(np.log(sizes), np.log(np.maximum(seconds, 0.01)), 1)[0])


def grow(where: Path, sizes: list[int], started_s: float) -> None:
    print("One field")
    found, seconds, megabytes = [], [], []
    for size in sizes:
        fixes, ran = one(where / f"size-{size}", plain(size))
        found.append(fixes)
        seconds.append(ran.cpu_seconds - started_s)
        megabytes.append(ran.peak_bytes / 1e6)
        row("", fixes, ran)
    # Where start-up takes longer than the work, its scatter would pass for growth.
    told = [(n, s) for n, s in zip(found, seconds, strict=True) if s >= started_s]
    if len(told) > 1:
        print(f"exponent {exponent(*map(list, zip(*told, strict=True))):.2f}", end=", ")
        print(f"of {len(told)} sizes, start-up of {started_s:.1f} s taken off")
    if len(found) > 1:
        a_fix, base = np.polyfit(found, megabytes, 1)
        print(f"{base:.0f} MB + {1e6 * a_fix:.0f} B a fix")


def compare(where: Path, sections: list[int], fixes: int, started_s: float) -> None:
    print("Sections, and shapes of the drive, times the first; in brackets with start-up taken off")
    usual, before = season.SECTIONS, 0.0

    def times(seconds: float) -> str:
        without = (seconds - started_s) / max(before - started_s, 0.01)
        return f"{seconds / before:.2f} ({without:.2f})"

    for count in sections:
        season.SECTIONS = count
        found, ran = one(where / f"sections-{count}", plain(fixes))
        before = before or ran.cpu_seconds
        row(f"{count} sections", found, ran, times(ran.cpu_seconds))
    season.SECTIONS, before = usual, 0.0
    for make in (plain, skips, spiral, crossing):
        found, ran = one(where / make.__name__, make(fixes))
        before = before or ran.cpu_seconds
        row(make.__name__, found, ran, times(ran.cpu_seconds))


def many(where: Path, counts: list[int], hectares: float) -> None:
    print(f"Fields of {hectares:g} ha")
    seconds, own = [], []
    for count in counts:
        fixes = season.write_season(where / f"fields-{count}", count, hectares)
        toml, out = where / f"fields-{count}" / "season.toml", where / f"fields-{count}-out"
        ran = audit(toml, out, "--jobs", "2")
        seconds.append(ran.cpu_seconds)
        own.append(ran.own_bytes / 1e6)
        row(f"{count} fields", fixes, ran, f"of which the parent has {own[-1]:.0f} MB")
    if len(counts) > 1:
        a_field, base = np.polyfit(counts, own, 1)
        print(
            f"exponent {exponent(counts, seconds):.2f}, start-up included; "
            f"the parent has {base:.0f} MB + {a_field:.1f} MB a field"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument(
        "--sizes", type=int, nargs="*", default=[10_000, 100_000, 300_000, 1_000_000]
    )
    parser.add_argument("--sections", type=int, nargs="*", default=[1, 6, 48])
    parser.add_argument(
        "--shape-fixes", type=int, default=200_000, help="0: no shapes, no sections"
    )
    parser.add_argument("--fields", type=int, nargs="*", default=[5, 20, 200])
    parser.add_argument("--field-hectares", type=float, default=2.0)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="evenacre-growth-") as folder:
        where = Path(folder)
        fixes, least = one(where / "least", plain(2_500))
        row("least", fixes, least)
        if options.sizes:
            grow(where, options.sizes, least.cpu_seconds)
        if options.shape_fixes:
            compare(where, options.sections, options.shape_fixes, least.cpu_seconds)
        if options.fields:
            many(where, options.fields, options.field_hectares)


if __name__ == "__main__":
    main()
