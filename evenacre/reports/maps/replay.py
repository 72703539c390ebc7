"""The drive as small data for the page's script, which shows it again pass by pass."""

from __future__ import annotations

from typing import Any

import numpy as np

from evenacre.arrays import FloatArray
from evenacre.language import tr
from evenacre.model.audit_result import AuditResult, DriveRecord, ToolPath
from evenacre.reports import figure_text as figures
from evenacre.reports.geodata import SCALE, WGS84, transformer
from evenacre.units.display import UnitSystem

_LIFTED_M = 4.0
_TENTHS = 10.0  # of a second
_PARTS = 100.0  # of the rate that a product's classes are about


def replay_data(
    r: AuditResult, units: UnitSystem, origin: tuple[float, float]
) -> dict[str, Any] | None:
    """Encode a drive; None where the log tells none.

    Parameters
    ----------
    origin : (float, float)
        Longitude and latitude that places are counted from.

    Returns
    -------
    dict
        Of the knots ``t`` tenths of a second, ``x`` and ``y`` 1e-7 degree and ``h`` degrees
        anticlockwise from east, of the steps the ``rates`` in hundredths of ``middle``: each
        the first value and then differences. ``cut`` steps were not driven. ``left``, ``right``
        (cm) and ``pass`` are (step, value) where they change, in turn.
    """
    drive = r.drive
    if drive is None or not len(drive.whole):
        return None
    drive = _thinned(drive)
    lon, lat = transformer(r.crs, WGS84).transform(drive.tool.x_m, drive.tool.y_m)
    east = (lon - origin[0] + 180) % 360 - 180
    start_s = float(drive.tool.time_s[0])
    clock = figures.clock(start_s, r.time_zone).split(":")
    products = [p for p in r.products if p.middle_kg_per_m2 and p.product in drive.kg_per_m2]
    return {
        "t": _differences((drive.tool.time_s - start_s) * _TENTHS),
        "x": _differences(east * SCALE),
        "y": _differences((lat - origin[1]) * SCALE),
        "h": _differences(np.degrees(np.unwrap(drive.tool.heading_rad))),
        "cut": np.flatnonzero(~drive.whole).tolist(),
        "left": _changes(drive.left_m * 100),
        "right": _changes(drive.right_m * 100),
        "pass": _changes(drive.number.astype(float)),
        "passes": int(drive.number.max()),
        "clock": sum(int(part) * unit for part, unit in zip(clock, (3600, 60, 1), strict=True)),
        "speed": [units.speed.per_si, units.speed.word],
        "rates": [
            {
                "name": p.product,
                "unit": units.rate.word,
                "middle": units.rate.of(p.middle_kg_per_m2) / _PARTS,
                "parts": _differences(drive.kg_per_m2[p.product] / p.middle_kg_per_m2 * _PARTS),
            }
            for p in products
        ],
        "words": {
            "now": tr("Pass {pass} of {passes}", **{"pass": "{pass}", "passes": "{passes}"}),
            "lifted": tr("tool lifted"),
            "play": tr("Play"),
            "stop": tr("Stop"),
        },
    }


def _thinned(drive: DriveRecord) -> DriveRecord:
    """Leave out knots of ways driven with the tool up: a few metres apart are enough."""
    tool = drive.tool
    up = (drive.left_m == drive.right_m) & drive.whole
    between = np.append(False, up[1:] & up[:-1])
    way = np.cumsum(np.hypot(np.diff(tool.x_m), np.diff(tool.y_m)))
    between &= np.diff(np.floor(way / _LIFTED_M), prepend=-1.0) == 0
    kept = np.flatnonzero(np.append(~between, True))
    first = kept[:-1]
    return DriveRecord(
        ToolPath(tool.time_s[kept], tool.x_m[kept], tool.y_m[kept], tool.heading_rad[kept]),
        drive.whole[first],
        drive.number[first],
        drive.left_m[first],
        drive.right_m[first],
        {name: rate[first] for name, rate in drive.kg_per_m2.items()},
    )


def _differences(values: FloatArray) -> list[int]:
    whole = np.rint(values).astype(np.int64)
    found: list[int] = np.diff(whole, prepend=0).tolist()
    return found


def _changes(values: FloatArray) -> list[int]:
    whole = np.rint(values).astype(np.int64)
    at = np.flatnonzero(np.diff(whole, prepend=whole[:1] - 1))
    found: list[int] = np.column_stack([at, whole[at]]).ravel().tolist()
    return found
