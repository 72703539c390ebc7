"""Tracks from text tables."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from evenacre.io.logs.build_tracks import build_tracks
from evenacre.io.logs.columns.column_roles import plan_columns
from evenacre.io.logs.columns.positions import column_positions
from evenacre.io.logs.columns.records_table import Findings
from evenacre.io.logs.formats.delimited import read_delimited
from evenacre.io.logs.pivot_sections import widen
from evenacre.model import Track


def read_csv_tracks(
    path: Path, columns: Mapping[str, str], crs: str | None, time_zone: str | None
) -> list[Track]:
    """Read a log kept as a table of text, one fix, or one section of a fix, a line.

    Parameters
    ----------
    path : Path
    columns : mapping of str to str
        Role to column name; see ``columns.ROLES``.
    crs : str or None
        System of projected columns.
    time_zone : str or None
        Zone of times that name none.

    Raises
    ------
    InputError
        When the file cannot be read as such a log.
    """
    findings = Findings()
    table = read_delimited(path, findings)
    table, plan = widen(table, plan_columns(table, columns, findings), findings)
    lon, lat = column_positions(table, plan, crs, findings)
    return build_tracks(table, lon, lat, plan, time_zone, findings)
