"""Tracks from text tables."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from evenacre.io.columns import plan_columns
from evenacre.io.delimited import read_delimited
from evenacre.io.long_form import widen
from evenacre.io.positions import column_positions
from evenacre.io.records import build_tracks
from evenacre.io.table import Findings
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
