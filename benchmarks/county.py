"""Audit many small generated fields on a local cluster, one worker killed midway.

    python benchmarks/county.py [--fields 2000] [--workers 2] [--alone 2000] [--empty 10000 100000]

Ten fields of under a hectare to a farm, each of its own size, and three farms that fail. The same
fields are audited without a cluster and every byte compared. Then tasks that do nothing go the
same way, which is what the scheduler takes of them. Prints a table in Markdown.
"""

from __future__ import annotations

import argparse
import os
import pickle
import resource
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from multiprocessing import get_context
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import psutil

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

from small_farm import WIDTH_M, block, lonlat
from table import MB, Row, printed

from evenacre.io.farms.places import FarmPlace, at_hand, farms_at
from evenacre.io.season.load import load_season
from evenacre.io.writers.file_names import unique_slugs
from evenacre.workflows.county import CountyJob, _audit, _client, _done, audit_county
from evenacre.workflows.operations import computed

FIELDS_OF_A_FARM = 10
FAILING = 3
TIMED = 40  # fields timed one by one in this process
HEAD = """
farm = "Farm {farm}"
time_zone = "America/Chicago"
[[product]]
name = "18-46-0"
[[implement]]
name = "drill"
width = "20 ft"
rows = 32
"""
ONE = """
[[field]]
name = "Field {number}"
boundary = {{ file = "fields.geojson", where = {{ name = "Field {number}" }} }}
[[operation]]
name = "Spring fertilizer"
field = "Field {number}"
implement = "drill"
tracks = ["log-{number}.csv"]
products = [{{ product = "18-46-0", rate = "150 lb/ac" }}]
"""


def drive(east_m: float, passes: int, length_m: float, gap_m: float) -> pd.DataFrame:
    """Passes north and south at 1 Hz and 2 m/s, a gap left in the middle."""
    along = np.arange(-6.0, length_m + 6.1, 2.0)
    number = np.repeat(np.arange(passes), len(along))
    y = np.where(number % 2 == 0, np.tile(along, passes), np.tile(along[::-1], passes))
    x = east_m + WIDTH_M * (number + 0.5) + np.where(number >= passes // 2, gap_m, 0.0)
    lon, lat = lonlat(x, y).T
    start = pd.Timestamp("2026-04-14T12:55:00Z")
    return pd.DataFrame(
        {
            "time": (start + pd.to_timedelta(np.arange(len(x)), "s")).strftime("%FT%TZ"),
            "lon": lon,
            "lat": lat,
            "work": ((y >= 0) & (y <= length_m)).astype(int),
            "rate [lb/ac]": 150.0,
        }
    )


def write_farm(folder: Path, farm: int, fields: int) -> None:
    """Write a farm's season: fields side by side, no two of a size."""
    folder.mkdir(parents=True)
    chance = np.random.default_rng(farm)
    shapes, text = [], HEAD.format(farm=farm)
    for number in range(fields):
        passes, length_m = int(chance.integers(8, 13)), float(chance.uniform(60, 120))
        gap_m = float(chance.uniform(0.4, 1.2))
        table = drive(300.0 * number, passes, length_m, gap_m)
        table.to_csv(folder / f"log-{number}.csv", index=False, float_format="%.9f")
        shapes.append(block(300.0 * number, 0, passes * WIDTH_M + gap_m, length_m))
        text += ONE.format(number=number)
    names = [f"Field {number}" for number in range(fields)]
    gpd.GeoDataFrame({"name": names}, geometry=shapes, crs=4326).to_file(folder / "fields.geojson")
    (folder / "season.toml").write_text(text, encoding="utf-8")


def write_county(folder: Path, fields: int) -> None:
    """Write farms of ten fields, and one each without a log, with a spoilt log and season."""
    for farm in range(fields // FIELDS_OF_A_FARM):
        write_farm(folder / f"{farm:05d}", farm, FIELDS_OF_A_FARM)
    for name in ("log-gone", "log-spoilt", "season-spoilt"):
        write_farm(folder / name, 0, 1)
    (folder / "log-gone" / "log-0.csv").unlink()
    (folder / "log-spoilt" / "log-0.csv").write_text("nothing\n")
    (folder / "season-spoilt" / "season.toml").write_text("farm = 3\n[[field]\n")


@dataclass
class Watch:
    """Told the progress: kills a worker at half time, and looks at what all of them hold."""

    fields: int
    told: list[tuple[str, int, int]] = field(default_factory=list)
    killed: list[int] = field(default_factory=list)
    held: dict[int, dict[int, int]] = field(default_factory=dict)
    own: dict[int, int] = field(default_factory=dict)

    def __call__(self, stage: str, done: int, whole: int) -> None:
        """Take what `audit_county` tells."""
        self.told.append((stage, done, whole))
        if stage != "auditing":
            return
        if done in {self.fields // 8, self.fields // 4, self.fields // 2, self.fields}:
            self.own[done] = psutil.Process().memory_info().rss
            for worker in _workers():
                tree = [worker, *worker.children(recursive=True)]
                self.held.setdefault(worker.pid, {})[done] = sum(p.memory_info().rss for p in tree)
        if done == self.fields // 2 and not self.killed:
            self.killed.append(_workers()[0].pid)
            psutil.Process(self.killed[0]).kill()  # SIGKILL

    @property
    def in_order(self) -> bool:
        """Whether each stage was told from its first task to its last, one by one."""
        stages = dict.fromkeys(stage for stage, _, _ in self.told)
        by_stage = [[(d, w) for s, d, w in self.told if s == stage] for stage in stages]
        return all(steps == [(n + 1, len(steps)) for n in range(len(steps))] for steps in by_stage)


def _workers() -> list[psutil.Process]:
    own = psutil.Process().children()
    return [p for p in own if "spawn_main" in " ".join(p.cmdline())]


def cpu_seconds() -> float:
    """Processor time of this process and of all its children that have ended."""
    who = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    return sum(sum(resource.getrusage(one)[:2]) for one in who)


def county(where: Path, fields: int, workers: int, alone: int) -> Iterator[Row]:
    started = time.perf_counter()
    write_county(where / "farms", fields)
    yield "fields, farms", f"{fields:,}, {fields // FIELDS_OF_A_FARM:,}, and {FAILING} that fail"
    yield "writing them", f"{time.perf_counter() - started:.0f} s"
    watch, out = Watch(fields), where / "out"
    started, used = time.perf_counter(), cpu_seconds()
    found = audit_county(str(where / "farms"), str(out), workers=workers, progress=watch)
    seconds, used = time.perf_counter() - started, cpu_seconds() - used
    done = [job for job in found.jobs if job.part]
    parts = {str(path.relative_to(out)) for path in (out / "jobs").rglob("*.parquet")}
    once = len(done) == fields == len(parts) and {job.part for job in done} == parts
    yield "workers, killed midway (SIGKILL)", f"{workers}, {len(watch.killed)}"
    yield "every field there once", _yes(once)
    failed = ", ".join(sorted(job.place for job in found.failed))
    yield "failing farms told, all others done", f"{_yes(len(found.failed) == FAILING)}: {failed}"
    yield "progress told, task by task", f"{_yes(watch.in_order)}: {len(watch.told):,} times"
    yield "whole run", f"{seconds:.0f} s, {used:.0f} s of processors"
    yield "a field, all processes", f"{1e3 * used / fields:.0f} ms of a processor"
    yield from _cost(
        farms_at(str(where / "farms"))[: min(TIMED, fields) // FIELDS_OF_A_FARM], where / "timed"
    )
    yield "a field, from worker to scheduler", f"{statistics.mean(map(_pickled, done)):.0f} bytes"
    for table in ("jobs", "products", "cover", "skips"):
        size = sum(path.stat().st_size for path in (out / table).rglob("*.parquet"))
        yield f"a field, {table} on disk", f"{size / fields / 1e3:.1f} kB"
    yield (
        "a job in the index",
        f"{(out / 'index.parquet').stat().st_size / len(found.jobs):.0f} bytes",
    )
    for worker, held in watch.held.items():
        name = "worker, killed" if worker in watch.killed else "worker"
        yield f"memory of a {name}, its reader of maps with it", _at(held)
    yield "memory of scheduler and client", _at(watch.own)
    yield from _compared(where, alone, workers, found.jobs)


def _cost(places: Sequence[FarmPlace], out: Path) -> Iterator[Row]:
    """Time tasks one by one, and the bare audit in them, when all is warm."""
    tasks, bare = [], []
    _audit(places[0], "warm", 0, str(out), "warm")
    for place in places:
        season = load_season(at_hand(place).path)
        for number, plan in enumerate(season.operations):
            started = time.process_time()
            computed(plan)
            between = time.process_time()
            _audit(place, place.name, number, str(out), "timed")
            tasks.append(time.process_time() - between)
            bare.append(between - started)
    whole, part = statistics.mean(tasks), statistics.mean(bare)
    yield "a field, its task in one process", f"{1e3 * whole:.0f} ms of a processor"
    yield "of which the bare audit", f"{1e3 * part:.0f} ms ({whole / part:.2f} times it)"


def _alone(place: FarmPlace, slug: str, number: int, out: str) -> list[CountyJob]:
    return _audit(place, slug, number, out, "alone")


def _compared(where: Path, alone: int, workers: int, jobs: Sequence[CountyJob]) -> Iterator[Row]:
    """Audit fields without a cluster, and compare all that comes of it."""
    places = farms_at(str(where / "farms"))
    slugs = dict(zip(places, unique_slugs(place.name for place in places), strict=True))
    place_of = {place.name: place for place in places}
    picked = [job for job in jobs if job.part][:: max(len(jobs) // max(alone, 1), 1)]
    asked = [(place_of[job.place], job.number) for job in picked]
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        told = pool.map(
            _alone,
            [place for place, _ in asked],
            [slugs[place] for place, _ in asked],
            [number for _, number in asked],
            [str(where / "alone")] * len(asked),
            chunksize=FIELDS_OF_A_FARM,
        )
        rows = [job for found in told for job in found]
    files = [*(where / "alone").rglob("*.parquet")]
    same = sum(
        p.read_bytes() == (where / "out" / p.relative_to(where / "alone")).read_bytes()
        for p in files
    )
    yield "fields audited without a cluster too", f"{len(picked):,}"
    yield "rows of the index the same", _yes(rows == picked)
    yield "files the same, bit by bit", f"{_yes(same == len(files))}: {same:,} of {len(files):,}"


def _pickled(job: CountyJob) -> int:
    return len(pickle.dumps([job]))


def _at(held: dict[int, int]) -> str:
    return ", ".join(f"{size / MB:.0f} MB at {done:,} fields" for done, size in held.items())


def _yes(held: bool) -> str:
    return "yes" if held else "NO"


def nothing(number: int) -> int:
    return number


def empty(counts: Sequence[int], workers: int) -> Iterator[Row]:
    """Tasks that do nothing, handed out and taken in as those of a county are."""
    with _client(None, workers) as client:
        for count in counts:
            started, used = time.perf_counter(), sum(os.times()[:2])
            tasks = ((n, (n,)) for n in range(count))
            done = sum(1 for _ in _done(client, nothing, tasks, 64 * workers))
            seconds, used = time.perf_counter() - started, sum(os.times()[:2]) - used
            held = psutil.Process().memory_info().rss / MB
            yield (
                f"{done:,} empty tasks",
                f"{1e3 * seconds / done:.2f} ms a task, {1e3 * used / done:.2f} ms of the "
                f"processor of scheduler and client, which hold {held:.0f} MB then",
            )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--fields", type=int, default=2000)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--alone", type=int, default=2000, help="fields to audit again without")
    parser.add_argument("--empty", type=int, nargs="*", default=[10_000, 100_000])
    options = parser.parse_args()
    os.environ["EVENACRE_CACHE"] = "off"
    with tempfile.TemporaryDirectory(prefix="evenacre-county-") as where:
        printed(county(Path(where), options.fields, options.workers, options.alone))
        printed(empty(options.empty, options.workers))


if __name__ == "__main__":
    main()
