"""The template of a time log: what its binary records hold, and what never changes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from xml.etree.ElementTree import Element

import numpy as np

from evenacre.io.common.findings import Findings
from evenacre.io.taskdata.tree import ddi, integer, number, text

MAX_COLUMNS = 255

# Attributes of a position (PTN) in the order of the records: name and number type.
_POSITION = (
    ("A", "north", "<i4"),
    ("B", "east", "<i4"),
    ("C", "up", "<i4"),
    ("D", "status", "u1"),
    ("E", "pdop", "<u2"),
    ("F", "hdop", "<u2"),
    ("G", "satellites", "u1"),
    ("H", "gps_ms", "<u4"),
    ("I", "gps_day", "<u2"),
)
DEGREE = 1e-7
"""A step of latitude and longitude."""


@dataclass(frozen=True)
class Column:
    """A logged value (DLV): what it is, which element it is of, its value until one is logged."""

    ddi: int | None
    part: str
    fixed: int | None = None


@dataclass(frozen=True)
class Template:
    """The layout of the records of one time log.

    Attributes
    ----------
    head : numpy dtype
        What every record begins with; then follow a count and so many values.
    columns : tuple of Column
        What the indices of values stand for.
    fixed : dict of str to float
        Parts of the position that are the same for all records, as the records would hold them.
    start_s : float
        When all records share one time: seconds since 1970 as written; NaN else.
    """

    head: np.dtype[np.void]
    columns: tuple[Column, ...]
    fixed: dict[str, float]
    start_s: float = math.nan


def read_template(root: Element, about: str, findings: Findings) -> Template | None:
    """Read a template; None (and a warning) when it is none.

    Parameters
    ----------
    root : Element
        The TIM element, or one around it.
    about : str
        Names the log in messages.
    """
    time = root if root.tag == "TIM" else root.find(".//TIM")
    if time is None:
        findings.warn(f"{about}: its template holds no TIM element; the log was left out.")
        return None
    fields: list[tuple[str, str]] = []
    start_s = math.nan
    if not text(time, "A"):
        # Strictly the attribute is there but empty; without one a log would have no times.
        fields += [("ms", "<u4"), ("day", "<u2")]
    else:
        start_s = _seconds(text(time, "A"))
    fixed: dict[str, float] = {}
    position = time.find("PTN")
    if position is not None:
        for attribute, name, kind in _POSITION:
            given = position.get(attribute)
            if given is not None and not given.strip():
                fields.append((name, kind))
            elif given is not None:
                value = number(position, attribute)
                fixed[name] = value / DEGREE if name in ("north", "east") else value
    columns = tuple(
        Column(ddi(value, "A"), text(value, "C"), integer(value, "B") if text(value, "B") else None)
        for value in time.findall("DLV")
    )
    if len(columns) > MAX_COLUMNS:
        findings.warn(
            f"{about}: its template has {len(columns):,} values, of which records can "
            f"name {MAX_COLUMNS}."
        )
        columns = columns[:MAX_COLUMNS]
    return Template(np.dtype(fields), columns, fixed, start_s)


def _seconds(stamp: str) -> float:
    try:
        moment = datetime.fromisoformat(stamp)
        return (moment.replace(tzinfo=None) - datetime(1970, 1, 1)).total_seconds()
    except (ValueError, OverflowError):
        return math.nan
