"""Tell by its content what a file is, and read it as that."""

from __future__ import annotations

import dataclasses
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from evenacre.errors import InputError
from evenacre.geo.geodesy import geodesic_area_m2
from evenacre.io.common.findings import Findings
from evenacre.io.logs.blockages import BlockageNote, read_blockage_file
from evenacre.io.logs.columns.column_roles import log_rank
from evenacre.io.logs.read_tracks import read_tracks
from evenacre.io.maps.read_layer import Source, layer_names, read_layer
from evenacre.io.season.load import is_season_file
from evenacre.io.taskdata.folder import is_taskdata
from evenacre.io.taskdata.read import Task, TaskData, each_task, read_taskdata
from evenacre.io.tickets.rows import TicketRow, read_rows
from evenacre.io.untrusted.files import read_start, size_within
from evenacre.io.untrusted.kinds import LOOKED_AT, SHEETS, MapKind, map_kind
from evenacre.model import Track


class Kind(StrEnum):
    """What a file, or a layer of one, is."""

    LOG = "log"
    TASK_DATA = "task data"
    MAP = "map"
    TICKETS = "load tickets"
    BLOCKAGES = "blockages"
    SEASON = "season file"
    RESULT = "earlier result"
    COPY = "copy"
    UNUSED = "not used"
    PICTURE = "picture"
    DOCUMENT = "document"
    UNKNOWN = "not understood"


@dataclass(frozen=True)
class Found:
    """A file or one of its layers, and what was read of it."""

    kind: Kind
    layer: str | None = None
    tracks: tuple[Track, ...] = ()  # of a log
    shapes: gpd.GeoDataFrame | None = None  # of a map, in WGS 84
    tasks: TaskData | None = None
    tickets: tuple[TicketRow, ...] = ()
    blockages: tuple[BlockageNote, ...] = ()
    warnings: tuple[str, ...] = ()
    why: str = ""  # it is not used


_PICTURES = (b"\xff\xd8\xff", b"\x89PNG", b"GIF8", b"II*\0", b"MM\0*", b"BM")
_DOCUMENTS = (b"%PDF", b"{\\rtf", b"\xd0\xcf\x11\xe0")
_PICTURE_NAMES = {".jpg", ".jpeg", ".png", ".gif", ".tif", ".tiff", ".bmp", ".webp", ".heic"}
_PICTURE_NAMES |= {".mp4", ".mov", ".avi", ".mp3", ".wav", ".svg"}
_DOCUMENT_NAMES = {".pdf", ".doc", ".docx", ".odt", ".rtf", ".ppt", ".pptx", ".htm", ".html"}
# What may be a table, and where it is none is something to read.
_TEXTS = {".txt", ".md", ".log", ".ini", ".cfg", ".rst", ".url"}
# Tables that people keep are small; a larger one is a log.
_KEPT_BYTES = 2 << 20
_MANY = 20
# A step of a drill is this large at most; cells of a planned map are larger.
_STEP_M2 = 90.0


def look_at(path: Path, *, time_zone: str | None = None) -> list[Found]:
    """Read a file (or folder of task data) as what it is, a `Found` for each log or layer.

    Nothing is raised: what cannot be read is found as not understood, with the reason.
    """
    try:
        return list(_look_at(path, time_zone))
    except InputError as error:
        written = path.suffix.lower() in _TEXTS
        return [Found(Kind.DOCUMENT if written else Kind.UNKNOWN, why=_reason(error))]


def _reason(error: InputError) -> str:
    """What is wrong with a file and what to do, without its name."""
    problem = error.problems[0]
    place = f"{problem.place}: " if problem.place else ""
    text = f"{place}{problem.what} {problem.remedy}"
    return text[:1].upper() + text[1:]


def _look_at(path: Path, time_zone: str | None) -> Iterator[Found]:
    if is_taskdata(path):
        yield from _sets(path, time_zone)
        return
    if path.is_dir():
        raise InputError.at(path.name, "", "This is a folder.", "Name the file in it.")
    start = read_start(path, LOOKED_AT)
    suffix = path.suffix.lower()
    if not start.strip():
        raise InputError.at(path.name, "", "The file is empty.", "Copy it again.")
    if start.startswith(_PICTURES) or suffix in _PICTURE_NAMES:
        yield Found(Kind.PICTURE)
    elif start.startswith(_DOCUMENTS) or suffix in _DOCUMENT_NAMES:
        yield Found(Kind.DOCUMENT)
    elif is_season_file(path):
        yield Found(Kind.SEASON)
    elif suffix in SHEETS or _is_office(path, start) or (kind := map_kind(start)) is MapKind.GPX:
        yield from _log(path, None, time_zone)
    elif kind is not None:
        for layer in layer_names(Source(path)):
            try:
                yield from _of_layer(path, layer, time_zone)
            except InputError as error:
                yield Found(Kind.UNKNOWN, layer, why=_reason(error))
    else:
        yield from _of_table(path, time_zone)


def _sets(path: Path, time_zone: str | None) -> Iterator[Found]:
    """Read every set of task data in a file, each with its tasks."""
    found: dict[str, tuple[TaskData, list[Task]]] = {}
    for data, task in each_task(path, time_zone=time_zone):
        found.setdefault(data.source, (data, []))[1].append(task)
    if not found:
        data = read_taskdata(path, time_zone=time_zone)
        found[data.source] = data, []
    for data, tasks in found.values():
        whole = dataclasses.replace(data, tasks=tuple(tasks))
        yield Found(Kind.TASK_DATA, tasks=whole, warnings=(*data.warnings, *data.unread))


def _is_office(path: Path, start: bytes) -> bool:
    """Tell whether a zip is a text or a sheet of an office program."""
    if not start.startswith(b"PK\x03\x04"):
        return False
    try:
        with zipfile.ZipFile(path) as archive:
            return bool({"[Content_Types].xml", "mimetype"} & set(archive.namelist()))
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError):
        return False


def _log(path: Path, layer: str | None, time_zone: str | None) -> Iterator[Found]:
    tracks = read_tracks(path, layer=layer, time_zone=time_zone)
    yield Found(Kind.LOG, layer, tuple(tracks))


def _of_table(path: Path, time_zone: str | None) -> Iterator[Found]:
    """Read a table of text as tickets, blockages or a log."""
    if size_within(path, path.name, 1 << 40) <= _KEPT_BYTES:
        for read in (_tickets, _blockages):
            try:
                yield read(path)
            except InputError:
                continue
            return
    yield from _log(path, None, time_zone)


def _tickets(path: Path) -> Found:
    findings = Findings()
    rows = tuple(read_rows(path, findings))
    return Found(Kind.TICKETS, tickets=rows, warnings=tuple(findings.warnings))


def _blockages(path: Path) -> Found:
    notes, warnings = read_blockage_file(path)
    return Found(Kind.BLOCKAGES, blockages=tuple(notes), warnings=tuple(warnings))


def _of_layer(path: Path, layer: str, time_zone: str | None) -> Iterator[Found]:
    """Read a layer as a log when its records look like one, else as a map."""
    shapes, warnings = read_layer(Source(path, layer), polygons=False)
    if _is_log(shapes):
        try:
            yield from _log(path, layer, time_zone)
        except InputError as error:
            yield Found(Kind.UNKNOWN, layer, why=_reason(error))
        return
    yield Found(Kind.MAP, layer, shapes=shapes, warnings=tuple(warnings))


def _is_log(shapes: gpd.GeoDataFrame) -> bool:
    """Tell a drive from a map: by its columns, and for areas by whether they are steps of one."""
    columns = shapes.columns.drop(shapes.geometry.name)
    rank = log_rank([str(name) for name in columns])
    if any(pd.api.types.is_datetime64_any_dtype(shapes[name]) for name in columns):
        rank = 2
    kinds = set(shapes.geom_type)
    if kinds <= {"Polygon", "MultiPolygon"}:
        areas = [geodesic_area_m2(shape) for shape in shapes.geometry[: 5 * _MANY]]
        small = float(np.median(areas)) < _STEP_M2
        return len(shapes) > _MANY and rank > 0 and (small or rank == 2)
    if kinds <= {"Point", "MultiPoint"}:
        return len(shapes) > (1 if rank == 2 else _MANY) and rank > 0
    return rank > 0


def bounds_of(found: Found) -> tuple[float, float, float, float] | None:
    """West, south, east and north end of what has a place, degrees."""
    if found.shapes is not None:
        west, south, east, north = shapely.total_bounds(found.shapes.geometry.array)
        return float(west), float(south), float(east), float(north)
    lon = np.concatenate([np.empty(0), *(t.lon for t in found.tracks)])
    lat = np.concatenate([np.empty(0), *(t.lat for t in found.tracks)])
    good = np.isfinite(lon) & np.isfinite(lat)
    if not good.any():
        return None
    lon, lat = lon[good], lat[good]
    return float(lon.min()), float(lat.min()), float(lon.max()), float(lat.max())
