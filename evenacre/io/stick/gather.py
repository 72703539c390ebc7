"""Read a stick, match what is on it, and make a season of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from evenacre.errors import InputError
from evenacre.geo.geodesy import near
from evenacre.geo.local_crs import WorkingPlane
from evenacre.io.common.findings import counted
from evenacre.io.common.problem_collector import ProblemCollector
from evenacre.io.common.suggestions import listed
from evenacre.io.common.time_zones import zone_of
from evenacre.io.season.build import build_season
from evenacre.io.season.files import SeasonFiles
from evenacre.io.season.from_options import ToldOfStick
from evenacre.io.season.load import read_toml
from evenacre.io.stick.drives import Drive, LeftOut, Piece, drives_of, without_doubles
from evenacre.io.stick.files import PassedOver, Stick, StickFile
from evenacre.io.stick.ground import (
    Layer,
    Outline,
    Plot,
    area_m2,
    assign,
    by_geometry,
    distinct,
    drawn,
    furnish,
    layer_of,
    named,
    open_plots,
    outlines_of,
    sort_outlines,
)
from evenacre.io.stick.identify import Found, Kind, look_at
from evenacre.io.stick.jobs import (
    Job,
    jobs_of,
    name_jobs,
    planned_tasks,
    take_blockages,
    take_plans,
    take_targets,
    take_tickets,
)
from evenacre.io.stick.known import KnownSeason, read_known
from evenacre.io.stick.season_text import FOLDER, Borrowed, SeasonText
from evenacre.units.display import in_both

BACKUP = ".before"
"""Added to the name of the season's version before the last."""

_STRAY = 0.1


@dataclass
class Gathering:
    """What a stick holds and the season made of it.

    Attributes
    ----------
    season : Path
        The season file; ``before`` is its text as it was read.
    text : str
    written : SeasonText
        With what has to be copied and drawn beside it.
    jobs : list of Job
    files : dict of Kind to list of str
        Names of the files of each kind.
    passed_over : list of PassedOver
    left_out : list of LeftOut
    idle : list of str
        Outlines nothing worked in.
    doubts : list of str
        What may be meant otherwise than it was taken.
    """

    root: Path
    season: Path
    known: KnownSeason
    text: str
    written: SeasonText
    jobs: list[Job] = field(default_factory=list)
    files: dict[Kind, list[str]] = field(default_factory=dict)
    passed_over: list[PassedOver] = field(default_factory=list)
    left_out: list[LeftOut] = field(default_factory=list)
    idle: list[str] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)

    @property
    def before(self) -> str:
        """The season as it was."""
        return self.known.text

    @property
    def changes(self) -> bool:
        """Whether there is anything to write."""
        seen = bool(self.known.gathered) or not self.before
        return bool(self.written.added) or (seen and bool(self.jobs) and self.text != self.before)


@dataclass
class _Heap:
    """Everything that was read, by kind."""

    drives: list[Drive] = field(default_factory=list)
    layers: list[Layer] = field(default_factory=list)
    tasks: list[tuple[StickFile, Found]] = field(default_factory=list)
    tables: list[tuple[StickFile, Found]] = field(default_factory=list)
    files: dict[Kind, list[str]] = field(default_factory=dict)
    seen: dict[str, str] = field(default_factory=dict)
    passed_over: list[PassedOver] = field(default_factory=list)

    def add(self, file: StickFile, found: Sequence[Found]) -> None:
        for one in found:
            name = f"{file.name} ({one.layer})" if one.layer and len(found) > 1 else file.name
            self.files.setdefault(one.kind, []).append(name)
            if one.kind is Kind.UNKNOWN:
                self.passed_over.append(PassedOver(name, one.kind, one.why))
            elif one.kind in (Kind.PICTURE, Kind.DOCUMENT):
                self.passed_over.append(PassedOver(name, one.kind, ""))
            else:
                self.seen[file.name] = file.sha256
            if one.shapes is not None:
                self.layers.append(layer_of(file, one, several=len(found) > 1))
            if one.tasks is not None:
                self.tasks.append((file, one))
            if one.kind in (Kind.TICKETS, Kind.BLOCKAGES):
                self.tables.append((file, one))
            self.drives += drives_of(file, one)


@contextmanager
def gathering(
    root: Path,
    season: Path,
    say: Callable[[str], None] = lambda _stage: None,
    told: ToldOfStick | None = None,
) -> Iterator[Gathering]:
    """Gather a folder or zip; what is in zips is there to be copied until the block ends.

    Parameters
    ----------
    root : Path
    season : Path
        The season file to write or to add to.
    say : callable
        Told what is being read.
    told : ToldOfStick, optional
        What somebody says of all of it.

    Raises
    ------
    InputError
        When there is nothing to be gathered, or the season that is there cannot be read.
    """
    if not root.exists():
        raise InputError.at(root, "", "There is no such folder.", "Check the name.")
    known = read_known(season)
    stick = Stick(root, own_files(season))
    with stick.opened():
        files = stick.files(lambda name: say(f"looking at {name}"))
        heap = _Heap(passed_over=stick.passed_over)
        seasons = [file for file in files if file.path.suffix.lower() == ".toml"]
        borrowed = [one for file in seasons if (one := _borrowed(file, heap)) is not None]
        if told is not None:
            borrowed.insert(0, Borrowed("the options", told.tables, told.implements))
        zone = known.time_zone or _zone(borrowed)
        for file in files:
            if file not in seasons:
                say(f"reading {file.name}")
                heap.add(file, _read(file, zone))
        _add_known(known, heap, {file.sha256 for file in files}, zone)
        if not heap.seen:
            some = [f"{one.name}: {one.why}" for one in heap.passed_over if one.why][:3]
            because = f" ({' '.join(some)})" if some else ""
            what = f"Nothing was found in it that an audit could use{because}."
            raise InputError.at(root, "", what, "Name the folder with the logs and boundaries.")
        say("matching")
        targets = told.targets if told else {}
        yield _matched(root, season, known, borrowed, heap, zone, targets)


def _read(file: StickFile, zone: str | None) -> list[Found]:
    """Read a file; whatever stops that, the others are gathered."""
    try:
        return look_at(file.path, time_zone=zone)
    except Exception as fault:
        why = f"A fault of Evenacre ({type(fault).__name__}) stopped its reading; please report it."
        return [Found(Kind.UNKNOWN, why=why)]


def own_files(season: Path) -> set[Path]:
    """What gathering writes, which is not gathered again."""
    own = (season, season.with_name(season.name + BACKUP), season.parent / FOLDER)
    return {path.resolve() for path in own}


def _borrowed(file: StickFile, heap: _Heap) -> Borrowed | None:
    """Read a season file on the stick for the drills and products it describes.

    None of the files that it names is opened: it came with the stick, and nobody vouches for it.
    """
    try:
        raw = read_toml(file.path)
    except InputError as error:
        heap.add(file, [Found(Kind.UNKNOWN, why=error.problems[0].what)])
        return None
    heap.add(file, [Found(Kind.SEASON)])
    tables: dict[str, Any] = {k: raw[k] for k in ("implement", "product", "currency") if k in raw}
    problems = ProblemCollector(lambda _key: (file.name, ""))
    draft = build_season(
        tables, SeasonFiles(file.path.parent, problems), logs=False, must_hold="fields"
    )
    return Borrowed(file.name, raw, draft.season.implements)


def _zone(borrowed: Sequence[Borrowed]) -> str | None:
    for one in borrowed:
        if isinstance(name := one.raw.get("time_zone"), str):
            with suppress(InputError):
                zone_of(name)
                return name
    return None


def _add_known(known: KnownSeason, heap: _Heap, there: set[str], zone: str | None) -> None:
    """Mark the drives that the season names, and read those that are not on the stick."""
    for track in known.tracks:
        if track.sha256 not in there and track.path.exists():
            there.add(track.sha256)
            file = StickFile(track.path, track.path.name, track.sha256)
            for found in look_at(track.path, time_zone=zone):
                heap.drives += drives_of(file, found)
    memory = set(known.gathered.values())

    def marked(drive: Drive) -> Drive:
        sha = drive.file.sha256
        names = [
            track.operation
            for track in known.tracks
            if track.is_of(sha) and track.layer in (None, drive.layer)
        ]
        return replace(drive, named_by=tuple(names), seen=sha[:16] in memory)

    heap.drives = [marked(drive) for drive in heap.drives]


def _plane(heap: _Heap) -> WorkingPlane:
    """A plane around the middle of everything."""
    shapes = [
        *(shapely.box(*layer.frame.total_bounds) for layer in heap.layers),
        *(shapely.Point(np.median(d.lon), np.median(d.lat)) for d in heap.drives if len(d.time_s)),
    ]
    middles = np.array([(s.centroid.x, s.centroid.y) for s in shapes]).reshape(-1, 2)
    if not len(middles):
        return WorkingPlane(0.0, 0.0)
    lon = near(middles[:, 0], middles[0, 0])
    return WorkingPlane(float(np.median(lon)), float(np.median(middles[:, 1])))


def _matched(
    root: Path,
    season: Path,
    known: KnownSeason,
    borrowed: Sequence[Borrowed],
    heap: _Heap,
    zone: str | None,
    targets: Mapping[str, float | None],
) -> Gathering:
    plane = _plane(heap)
    drives = [d for d in heap.drives if len(d.time_s)]
    result = sort_outlines(_outlines(known, heap, plane), drives, plane)
    for layer in by_geometry(result):
        heap.layers = [layer if _is_of(one, layer) else one for one in heap.layers]
    plots, rest = assign(drives, result.fields, plane)
    cut = [piece.drive for plot in plots for piece in plot.pieces]
    plots += open_plots([d for d, _ in rest if not any(_is_of(d, c) for c in cut)], plane)
    asked = [
        f"{100 * share:.0f} % of the work in {drive.name} lies in no field that was found. Put its "
        "boundary beside it and gather again."
        for drive, share in rest
        if share > _STRAY and drive.is_new and any(_is_of(drive, c) for c in cut)
    ]
    text = SeasonText(known, borrowed)
    for track in (t for t in known.tracks if not t.path.exists()):
        moved = next((d.file for d in drives if track.is_of(d.file.sha256)), None)
        if moved is not None:
            text.exchange(track.path, moved, "which is not there any more")
    left: list[LeftOut] = []
    jobs: list[Job] = []
    for plot in plots:
        _call_as_known(plot, known)
        kept, doubles, doubts = without_doubles(plot.pieces)
        asked += doubts
        left += [one for one in doubles if one.piece.drive.is_new]
        for one in doubles:
            if one.piece.drive.known is not None and one.kept.drive.known is None:
                kept = [
                    replace(p, drive=replace(p.drive, known=one.piece.drive.known))
                    if p is one.kept
                    else p
                    for p in kept
                ]
                old = one.piece.drive.file.path
                text.exchange(old, one.kept.drive.file, "which is a part of it")
        plot.pieces = [p for p in kept if not p.drive.dropped]
        jobs += jobs_of(plot)
    for job in jobs:
        job.known = next((p.drive.known for p in job.pieces if p.drive.known is not None), None)
        if job.known is not None:
            job.name = str(known.tables("operation")[job.known].get("name"))
    jobs.sort(key=lambda job: (job.first_day(zone), job.plot.name))
    unused = furnish([p for p in plots if p.pieces], heap.layers, plane)
    _take_zones(plots, heap)
    _furnish_jobs(jobs, heap, known, zone, targets)
    _write(jobs, text, left)
    idle = _idle(plots, unused)
    whole = text.text(heap.seen, idle, asked)
    return Gathering(
        root, season, known, whole, text, jobs, heap.files, heap.passed_over, left, idle, asked
    )


def _is_of(one: Drive | Layer, other: Drive | Layer) -> bool:
    return one.file is other.file and one.layer == other.layer


def _outlines(known: KnownSeason, heap: _Heap, plane: WorkingPlane) -> list[Outline]:
    """Every outline once: those of the season first, then of maps, then of task data."""
    there = known.draft.season.fields if known.draft else ()
    found = [drawn(f.name, f.boundary, plane, key=f.name) for f in there if f.boundary is not None]
    found += outlines_of(heap.layers, plane)
    for _, one in heap.tasks:
        for plot in one.tasks.fields.values() if one.tasks else ():
            if plot.boundary is not None:
                found.append(drawn(plot.name, plot.boundary, plane))
    return sorted(distinct(found), key=lambda outline: -outline.plane.area)


def _call_as_known(plot: Plot, known: KnownSeason) -> None:
    """Let a field go by the name that the season has for it, and its drives by their operations."""
    fields = [str(table.get("field")) for table in known.tables("operation")]
    if not (plot.outline and plot.outline.key):
        there = known.draft.season.fields if known.draft else ()
        bounded = {f.name for f in there if f.boundary is not None}
        names = (fields[number] for p in plot.pieces for number in p.drive.named_by)
        plot.name = next((name for name in names if name not in bounded), plot.name)

    def settled(piece: Piece) -> Piece:
        own = (number for number in piece.drive.named_by if fields[number] == plot.name)
        return replace(piece, drive=replace(piece.drive, known=next(own, None)))

    plot.pieces = [settled(piece) for piece in plot.pieces]


def _take_zones(plots: Sequence[Plot], heap: _Heap) -> None:
    """Give fields that no map parts into zones those that their tasks were planned by."""
    plans = planned_tasks((file, one.tasks) for file, one in heap.tasks if one.tasks is not None)
    for plot in plots:
        if plot.outline is None or plot.zones is not None:
            continue
        own = [(p.drive.task, p.drive.file.name) for p in plot.pieces if p.drive.task]
        own += [(plan.task, plan.file) for plan in plans if plan.field == plot.name]
        for task, file in own:
            if task.prescription is not None:
                plot.planned = task.prescription.zones, f'as task "{task.name}" of {file} has them'
                break


def _furnish_jobs(
    jobs: list[Job],
    heap: _Heap,
    known: KnownSeason,
    zone: str | None,
    targets: Mapping[str, float | None],
) -> None:
    """Give jobs their blockages, tickets, targets and names."""
    plans = [(file, one.tasks) for file, one in heap.tasks if one.tasks is not None]
    fresh = [job for job in jobs if job.known is None]
    take_plans(fresh, planned_tasks(plans))
    take_targets(fresh, targets)
    blockages = {f: one.blockages for f, one in heap.tables if one.kind is Kind.BLOCKAGES}
    tickets = {f: one.tickets for f, one in heap.tables if one.kind is Kind.TICKETS}
    left = [*take_blockages(jobs, blockages, zone), *take_tickets(jobs, tickets, zone)]
    heap.passed_over += [PassedOver(file.name, Kind.UNUSED, why) for file, why in left]
    taken = [(str(t.get("field")), str(t.get("name"))) for t in known.tables("operation")]
    name_jobs(jobs, taken)


def _write(jobs: Sequence[Job], text: SeasonText, left: Sequence[LeftOut]) -> None:
    for job in jobs:
        if job.known is None:
            text.operation(job, left)
            continue
        fresh = [(p.drive.file, p.drive.layer) for p in job.pieces if p.drive.known is None]
        text.extend(job, fresh)
        if job.plot.outline is not None and not job.plot.outline.key:
            text.field(job.plot)


def _idle(plots: Sequence[Plot], unused: Sequence[Layer]) -> list[str]:
    """Say which outlines nothing worked in, and which layers lie on no field."""
    bare = [
        p.outline for p in plots if p.outline is not None and not p.outline.key and not p.pieces
    ]
    lines = []
    if bare:
        shown = [f"{o.name} of {in_both('area', area_m2(o))}" for o in bare]
        lines.append(
            f"Nothing worked in {counted(len(bare), 'outline')}: {listed(shown, mark='')}."
        )
    for layer in unused:
        called = f" ({listed(dict.fromkeys(named(layer)), 4, mark='')})" if named(layer) else ""
        lines.append(f"{layer.name}{called}: {layer.role.value} of no field that was worked.")
    return lines
