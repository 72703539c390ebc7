"""Machine logs of any supported kind as tracks."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

from evenacre.errors import InputError
from evenacre.io.common.findings import Findings
from evenacre.io.logs.build_tracks import build_tracks
from evenacre.io.logs.columns.column_roles import plan_columns
from evenacre.io.logs.columns.positions import column_positions
from evenacre.io.logs.formats.gpx_log import read_gpx_tracks
from evenacre.io.logs.formats.layer_log import read_layer_tracks
from evenacre.io.logs.formats.nmea.track import read_nmea_tracks
from evenacre.io.tables.text_table import read_delimited
from evenacre.io.taskdata.folder import is_taskdata
from evenacre.io.taskdata.read import read_taskdata_tracks
from evenacre.io.untrusted.files import read_start
from evenacre.model import Track

_LAYERS = {
    *(".gpkg", ".geojson", ".json", ".shp", ".kml", ".kmz", ".fgb", ".gml", ".zip"),
    *(".parquet", ".geoparquet", ".pq"),
}
_SENTENCES = {".nmea", ".nma", ".ubx"}
_SENTENCE = re.compile(rb"\$[A-Z]{2}(GGA|RMC|VTG|ZDA|GNS|GLL|GSA|GSV),")
_SPREADSHEETS = {".xlsx", ".xlsm", ".xls", ".ods"}
_LOOKED_AT = 1 << 16  # binary messages of a receiver may go before its first sentence


def read_tracks(
    path: Path,
    *,
    columns: Mapping[str, str] | None = None,
    layer: str | None = None,
    crs: str | None = None,
    time_zone: str | None = None,
) -> list[Track]:
    """Read a machine's log, a track for each machine in it, records in file order.

    Parameters
    ----------
    path : Path
        A CSV or other table of text, a GPX file, a receiver's sentences (NMEA 0183), a map
        layer, or ISO 11783-10 task data (a zip, a folder or its TASKDATA.XML).
    columns : mapping of str to str, optional
        Role to column name with an optional unit, ``{"flow": "mass [lb/s]"}``; roles that are
        not named are guessed, and the guesses stand in the notes of the tracks.
    layer : str, optional
        Which layer of a file that holds several; of task data, the id or name of a task.
    crs : str, optional
        System of projected columns, or of a layer that does not say.
    time_zone : str, optional
        Zone of times that name none, such as ``America/Chicago``.

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
        return read_taskdata_tracks(path, layer, time_zone)
    if kind == "gpx":
        return read_gpx_tracks(path, asked, time_zone)
    if kind == "layer":
        return read_layer_tracks(path, asked, layer, crs, time_zone)
    if kind == "nmea":
        return read_nmea_tracks(path, asked, time_zone)
    return _read_csv_tracks(path, asked, crs, time_zone)


def _read_csv_tracks(
    path: Path, columns: Mapping[str, str], crs: str | None, time_zone: str | None
) -> list[Track]:
    """Read a log of a fix, or a section of a fix, a line."""
    findings = Findings()
    table = read_delimited(path, findings)
    plan = plan_columns(table, columns, findings)
    lon, lat = column_positions(table, plan, crs, findings)
    return build_tracks(table, lon, lat, plan, time_zone, findings)


def _kind(path: Path) -> str:
    suffix = path.suffix.lower()
    if not path.exists():
        raise InputError.at(path, "", "there is no such file.", "Check the name.")
    if is_taskdata(path):
        return "taskdata"
    if path.is_dir():
        if suffix == ".gdb":
            return "layer"
        raise InputError.at(path, "", "this is a folder.", "Name the log file in it.")
    start = read_start(path, _LOOKED_AT, str(path))
    if not start.strip():
        raise InputError.at(path.name, "", "the file is empty.", "Export the log again.")
    if suffix in _SPREADSHEETS:
        raise InputError.at(
            path.name, "", "this is a spreadsheet.", "Save the sheet with the log as CSV."
        )
    if suffix in _SENTENCES:
        return "nmea"
    if suffix == ".gpx" or b"<gpx" in start:
        return "gpx"
    if suffix in _LAYERS or start.startswith((b"SQLite format 3", b"PK\x03\x04")):
        return "layer"
    if start.lstrip().startswith((b"{", b"<")):
        return "layer"
    return "nmea" if _SENTENCE.search(start) else "csv"
