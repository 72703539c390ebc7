"""Machine logs of any supported kind as tracks."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path, PurePosixPath
from typing import Any

from evenacre.errors import InputError
from evenacre.io.common.findings import Findings
from evenacre.io.common.suggestions import listed
from evenacre.io.logs.build_tracks import build_tracks
from evenacre.io.logs.columns.column_roles import log_rank, plan_columns
from evenacre.io.logs.columns.columns_read import Seen
from evenacre.io.logs.columns.positions import column_positions
from evenacre.io.logs.formats.gpx_log import read_gpx_tracks
from evenacre.io.logs.formats.layer_log import read_layer_tracks
from evenacre.io.logs.formats.nmea.track import read_nmea_tracks
from evenacre.io.maps.read_layer import IN_ZIPS, Source, ranked_layers
from evenacre.io.tables.record_table import RecordTable
from evenacre.io.tables.text_table import column_names, read_delimited
from evenacre.io.tables.workbook import is_workbook, read_workbook
from evenacre.io.taskdata.folder import is_taskdata
from evenacre.io.untrusted.archives import unpacked
from evenacre.io.untrusted.files import narrowed, read_start
from evenacre.io.untrusted.kinds import MAPS, PROSE, SENTENCES, SHEETS, TABLES
from evenacre.language import tr
from evenacre.model import Track

_LAYERS = MAPS | {".json", ".kmz", ".zip"}
_SENTENCE = re.compile(rb"\$[A-Z]{2}(GGA|RMC|VTG|ZDA|GNS|GLL|GSA|GSV),")
_TEXTS = TABLES | PROSE | SENTENCES | SHEETS | {".gpx"}
_LONGEST_LABEL = 120  # bytes
_FEW = 2  # columns: a log tells time, longitude and latitude at least
_OLE, _ZIP = b"\xd0\xcf\x11\xe0", b"PK\x03\x04"
_LOOKED_AT = 1 << 16  # binary messages of a receiver may go before its first sentence


def read_tracks(
    path: Path,
    *,
    columns: Mapping[str, str] | None = None,
    layer: str | None = None,
    crs: str | None = None,
    time_zone: str | None = None,
    seen: Seen | None = None,
) -> list[Track]:
    """Read a machine's log, a track for each machine in it, records in file order.

    Parameters
    ----------
    path : Path
        A CSV or other table of text, a spreadsheet, a GPX file, a receiver's sentences (NMEA
        0183), a map layer, any of these in a zip, or ISO 11783-10 task data (a zip, a folder or
        its TASKDATA.XML).
    columns : mapping of str to str, optional
        Role to column name (or number) with an optional unit, ``{"flow": "mass [lb/s]"}``; roles
        that are not named are guessed, and the guesses stand in the notes of the tracks.
    layer : str, optional
        Which layer, sheet, or file in a zip, where there are several; of task data, the id or
        name of a task, after the folder of its set (``spring/TSK1``) where there are several.
    crs : str, optional
        System of projected columns, or of a layer that does not say.
    time_zone : str, optional
        Zone of times that name none, such as ``America/Chicago``.
    seen : callable, optional
        Told what the columns of a table were taken for, also where it then cannot be read.

    Returns
    -------
    list of Track
        One for each machine in the file, records in file order.

    Raises
    ------
    InputError
        When the file cannot be read as a log.

    Examples
    --------
    >>> (track,) = ev.read_tracks("log.csv")
    >>> track.source, track.timed
    ('log.csv', True)
    """
    path = Path(path)
    kind = _kind(path)
    asked = dict(columns or {})
    if kind == "taskdata":
        from evenacre.io.taskdata.read import read_taskdata_tracks  # slow to load

        return read_taskdata_tracks(path, layer, time_zone)
    if kind == "gpx":
        return read_gpx_tracks(path, asked, time_zone, seen)
    if kind == "workbook":
        findings = Findings()
        table = read_workbook(path, layer, log_rank, findings)
        return _table_tracks(table, asked, crs, time_zone, findings, seen)
    if kind == "zip":
        return _read_zip(path, asked, layer, crs, time_zone, seen)
    if kind == "layer":
        return read_layer_tracks(Source(path, layer, crs=crs), asked, time_zone, seen=seen)
    if kind == "nmea":
        return read_nmea_tracks(path, asked, time_zone)
    findings = Findings()
    table = read_delimited(path, findings, headless=True)
    return _table_tracks(table, asked, crs, time_zone, findings, seen)


def _read_zip(
    path: Path,
    columns: Mapping[str, str],
    layer: str | None,
    crs: str | None,
    time_zone: str | None,
    seen: Seen | None,
) -> list[Track]:
    """Read the log in a zip, which may be a map layer, whatever else lies beside it."""
    how: dict[str, Any] = {"columns": columns, "crs": crs, "time_zone": time_zone, "seen": seen}
    with unpacked(path, path.name, IN_ZIPS | _TEXTS) as found:
        source = Source(path, layer, crs=crs, inside=found)
        files = {m.name: m.file for m in found.members if m.file.suffix in _TEXTS}
        if layer is not None:
            named = {n: f for n, f in files.items() if layer in (n, PurePosixPath(n).name)}
        else:
            named = {n: f for n, f in files.items() if _is_log(f)}
            maps = ranked_layers(replace(source, layer=None), log_rank) if files else {}
            if not (named or maps):
                named = {n: f for n, f in files.items() if f.suffix not in PROSE}
            logs = [*named, *(name for name, rank in maps.items() if rank == 2 or not named)]
            if named and len(logs) > 1:
                raise InputError.at(
                    path.name,
                    "",
                    tr("The zip holds several logs: {listed}.", listed=listed(logs)),
                    tr(
                        'Name one: layer = "{logs}" (on the command line --tracks-layer).',
                        logs=logs[0],
                    ),
                )
        if len(named) == 1:
            (file,) = named.values()
            # Sentences about it are to name the zip too.
            home = path.name if len(path.name.encode()) < _LONGEST_LABEL else "zip"
            label = f"{home}, {file.name}"
            tracks = read_tracks(file.rename(file.with_name(label)), **how)
            return [replace(t, warnings=(*found.warnings, *t.warnings)) for t in tracks]
        if found.refused and not ranked_layers(replace(source, layer=None), log_rank):
            raise InputError(found.refused)
        return read_layer_tracks(source, columns, time_zone, seen=seen)


def _is_log(file: Path) -> bool:
    """Tell whether a file of text holds a drive."""
    try:
        kind = _kind(file)
        if kind == "csv":
            names = column_names(file)
            return log_rank(names) > 0 or (len(names) > _FEW and not any(names))
        return kind in ("gpx", "nmea", "workbook")
    except InputError:
        return False


def _table_tracks(
    table: RecordTable,
    columns: Mapping[str, str],
    crs: str | None,
    time_zone: str | None,
    findings: Findings,
    seen: Seen | None,
) -> list[Track]:
    """Read a log of a fix, or a section of a fix, a row."""
    plan = plan_columns(table, columns, findings, seen=seen)
    lon, lat = column_positions(table, plan, crs, findings)
    return build_tracks(table, lon, lat, plan, time_zone, findings)


def _kind(path: Path) -> str:
    suffix = path.suffix.lower()
    if not path.exists():
        raise InputError.at(path, "", tr("there is no such file."), tr("Check the name."))
    if is_taskdata(path):
        return "taskdata"
    if path.is_dir():
        if suffix == ".gdb":
            return "layer"
        raise InputError.at(path, "", tr("this is a folder."), tr("Name the log file in it."))
    start = read_start(path, _LOOKED_AT, str(path))
    if not start.strip():
        raise InputError.at(path.name, "", tr("the file is empty."), tr("Export the log again."))
    if start.startswith(_OLE):
        return "workbook"
    if start.startswith(_ZIP):
        return "workbook" if suffix in SHEETS or is_workbook(path) else "zip"
    start = narrowed(start)
    if suffix in SENTENCES:
        return "nmea"
    if suffix == ".gpx" or b"<gpx" in start:
        return "gpx"
    if suffix in _LAYERS or start.startswith(b"SQLite format 3"):
        return "layer"
    if start.lstrip().startswith((b"{", b"<")):
        return "layer"
    return "nmea" if _SENTENCE.search(start) else "csv"
