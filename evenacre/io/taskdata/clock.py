"""Times and positions of the records of a time log."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenacre.io.common.findings import Findings, counted
from evenacre.io.common.fix_quality import NO_FIX, NOT_TOLD
from evenacre.io.common.time_zones import localised, zone_of
from evenacre.io.taskdata.template import DEGREE, Template
from evenacre.model import BoolArray, FloatArray, IntArray

_EPOCH_S = 315_532_800  # 1980-01-01
_DAY_MS = 86_400_000
_NO_DAY = 0xFFFF
_ZONE_STEP_S, _ZONE_MOST_S, _ZONE_OFF_S = 900.0, 52_200.0, 300.0
# A log is of one job; a record this far from the others in time is damage.
_JOB_S = 60 * 86_400.0

_NO_POSITION = {NO_FIX: "no fix", 14: "error", NOT_TOLD: "not available"}


@dataclass(frozen=True)
class Stamps:
    """When and where each record was made; NaN where it does not say.

    Attributes
    ----------
    time_s, lon, lat : (n,) float
    quality : (n,) int
        Kind of fix, numbered as in :mod:`evenacre.io.common.fix_quality`.
    """

    time_s: FloatArray
    lon: FloatArray
    lat: FloatArray
    quality: IntArray


def read_stamps(
    heads: npt.NDArray[np.void],
    template: Template,
    time_zone: str | None,
    about: str,
    findings: Findings,
) -> Stamps:
    """Read times and positions of records from their heads."""
    lon, lat, quality = _positions(heads, template, about, findings)
    return Stamps(_times(heads, time_zone, about, findings), lon, lat, quality)


def _seconds(heads: npt.NDArray[np.void], ms: str, day: str) -> FloatArray:
    """Seconds since 1970 of a time of day and a date; NaN where they are none."""
    names = heads.dtype.names or ()
    if ms not in names or day not in names:
        return np.full(len(heads), np.nan)
    of_day, days = heads[ms].astype(float), heads[day].astype(float)
    good = (of_day <= _DAY_MS) & (days > 0) & (days < _NO_DAY)
    return np.where(good, _EPOCH_S + days * 86_400.0 + of_day / 1000.0, np.nan)


def _times(
    heads: npt.NDArray[np.void], time_zone: str | None, about: str, findings: Findings
) -> FloatArray:
    """Bring times to UTC by the receiver's own time, else by the zone as far as one is known."""
    wall = _near_each_other(_seconds(heads, "ms", "day"), about, findings)
    receiver = _near_each_other(_seconds(heads, "gps_ms", "gps_day"), about, Findings())
    if not np.isfinite(wall).any():
        return receiver
    ahead = wall - receiver
    if np.isfinite(ahead).any():
        middle = float(np.nanmedian(ahead))
        offset = _ZONE_STEP_S * round(middle / _ZONE_STEP_S)
        if abs(offset) <= _ZONE_MOST_S and abs(middle - offset) < _ZONE_OFF_S:
            findings.note(
                f"{about}: the clock is {offset / 3600:+g} hours from UTC by the receiver's time."
            )
            return wall - offset
        findings.note(f"{about}: the receiver's time does not fit the clock's and is not used.")
    zone = zone_of(time_zone)
    if zone is None:
        findings.note(
            f"{about}: it names no time zone: times are those of the clock on the machine "
            "(name it with --time-zone)."
        )
        return wall
    findings.note(f"{about}: it names no time zone: {zone.key} is used.")
    return localised(wall, zone, findings, about)


def _near_each_other(time_s: FloatArray, about: str, findings: Findings) -> FloatArray:
    """Take times far from the middle one as missing."""
    if not np.isfinite(time_s).any():
        return time_s
    wild = np.abs(time_s - np.nanmedian(time_s)) > _JOB_S
    if wild.any():
        findings.warn(
            f"{about}: left out {counted(int(wild.sum()), 'record')} of a date far from the "
            "others; the log may be damaged."
        )
    return np.where(wild, np.nan, time_s)


def _positions(
    heads: npt.NDArray[np.void], template: Template, about: str, findings: Findings
) -> tuple[FloatArray, FloatArray, IntArray]:
    def column(name: str, missing: float) -> FloatArray:
        if name in (heads.dtype.names or ()):
            return heads[name].astype(float)
        return np.full(len(heads), template.fixed.get(name, missing))

    lon, lat = column("east", np.nan) * DEGREE, column("north", np.nan) * DEGREE
    # Positions of a log that never tells their status are not bad for that.
    status = column("status", np.nan)
    bad = np.zeros(len(heads), dtype=bool)
    for code, what in _NO_POSITION.items():
        bad |= _left_out(status == code, f'the receiver said "{what}"', about, findings)
    null = ~bad & (lon == 0) & (lat == 0)
    bad |= _left_out(null, "the position is null (0, 0)", about, findings)
    outside = ~bad & ((np.abs(lon) > 180) | (np.abs(lat) > 90))
    bad |= _left_out(outside, "the position is not on earth", about, findings)
    quality = np.where((status >= NO_FIX) & (status < NOT_TOLD), status, NOT_TOLD).astype(np.int64)
    return np.where(bad, np.nan, lon), np.where(bad, np.nan, lat), quality


def _left_out(mask: BoolArray, why: str, about: str, findings: Findings) -> BoolArray:
    if mask.any():
        findings.warn(f"{about}: left out {counted(int(mask.sum()), 'position')} where {why}.")
    return mask
