"""Times and positions of the records of a time log."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from evenacre.io.common.findings import Subject
from evenacre.io.common.fix_quality import NO_FIX, NOT_TOLD
from evenacre.io.common.time_zones import localised, zone_of
from evenacre.language import tr, trn
from evenacre.model import BoolArray, FloatArray, IntArray

_EPOCH_S = 315_532_800  # 1980-01-01
_DAY_MS = 86_400_000
_NO_DAY = 0xFFFF
_ZONE_STEP_S, _ZONE_MOST_S, _ZONE_OFF_S = 900.0, 52_200.0, 300.0
# A log is of one job; a record this far from the others in time is damage.
_JOB_S = 60 * 86_400.0
_DEGREE, _HDOP = 1e-7, 0.1

# What the receiver itself calls no position; one that it says nothing of is as good as any.
_NO_POSITION = {NO_FIX: "no fix", 14: "error"}
_MOVED = 1e-5  # degrees, a metre: a receiver without a fix stays where it last knew


class Stamps(NamedTuple):
    """When and where each record was made, (n,); NaN where it does not say."""

    time_s: FloatArray
    lon: FloatArray
    lat: FloatArray
    quality: IntArray  # Kind of fix, numbered as in :mod:`evenacre.io.common.fix_quality`
    hdop: FloatArray  # Horizontal dilution of precision


def read_stamps(
    heads: npt.NDArray[np.void],
    fixed: Mapping[str, float],
    time_zone: str | None,
    about: Subject,
) -> tuple[Stamps, dict[str, int]]:
    """Read times and positions of records from their heads and what is the same for all.

    Tells how many positions were left out, by cause.
    """

    def column(name: str, step: float) -> FloatArray:
        if name in (heads.dtype.names or ()):
            return heads[name].astype(float) * step
        return np.full(len(heads), fixed.get(name, np.nan))

    lon, lat = column("east", _DEGREE), column("north", _DEGREE)
    # Positions of a log that never tells their status are not bad for that.
    status = column("status", 1)
    null = (lon == 0) & (lat == 0)
    off_earth = (np.abs(lon) > 180) | (np.abs(lat) > 90)
    flaws = {f'the receiver said "{what}"': status == code for code, what in _NO_POSITION.items()}
    said = np.isin(status, list(_NO_POSITION))
    if said[~null].all() and _moves(lon[~null & ~off_earth], lat[~null & ~off_earth]):
        about.warn(
            tr(
                'the receiver said "no fix" or "error" of every position, though they move '
                "along; they are used."
            )
        )
        flaws, status = {}, np.full(len(heads), float(NOT_TOLD))
    flaws["the position is null (0, 0)"] = null
    flaws["the position is not on earth"] = off_earth
    bad = np.zeros(len(heads), dtype=bool)
    left_out: dict[str, int] = {}
    for flaw, where in flaws.items():
        count = int((where & ~bad).sum())
        if count:
            about.warn(
                tr(
                    "left out {positions} where {flaw}.",
                    positions=trn("{count:,} position", "{count:,} positions", count),
                    flaw=flaw,
                )
            )
            left_out[flaw] = count
        bad |= where
    lon[bad] = lat[bad] = np.nan
    untold = (status == NOT_TOLD) & ~bad
    if untold.any() and not untold[~bad].all():
        about.note(
            tr(
                'the receiver told no kind of fix ("not available") with {positions}; they '
                "are used.",
                positions=trn("{count:,} position", "{count:,} positions", int(untold.sum())),
            )
        )
    quality = np.where((status >= NO_FIX) & (status < NOT_TOLD), status, NOT_TOLD).astype(np.int64)
    hdop = column("hdop", _HDOP)
    hdop[hdop <= 0] = np.nan
    return Stamps(_times(heads, time_zone, about), lon, lat, quality, hdop), left_out


def _moves(lon: FloatArray, lat: FloatArray) -> bool:
    """Whether positions are of something that drives."""
    return len(lon) > 1 and bool(np.ptp(lon) > _MOVED or np.ptp(lat) > _MOVED)


def _times(heads: npt.NDArray[np.void], time_zone: str | None, about: Subject) -> FloatArray:
    """Bring times to UTC by the receiver's own time, else by the zone as far as one is known."""
    wall = _near_each_other(_seconds(heads, "ms", "day"), about)
    receiver = _near_each_other(_seconds(heads, "gps_ms", "gps_day"), Subject(""))
    if not np.isfinite(wall).any():
        return receiver
    ahead = wall - receiver
    if np.isfinite(ahead).any():
        middle = float(np.nanmedian(ahead))
        offset = _ZONE_STEP_S * round(middle / _ZONE_STEP_S)
        if abs(offset) <= _ZONE_MOST_S and abs(middle - offset) < _ZONE_OFF_S:
            about.note(
                tr(
                    "the clock is {offset:+g} hours from UTC by the receiver's time.",
                    offset=offset / 3600,
                )
            )
            return wall - offset
        about.note(tr("the receiver's time does not fit the clock's and is not used."))
    zone = zone_of(time_zone)
    if zone is None:
        about.note(
            tr(
                "it names no time zone: times are those of the clock on the machine (name it "
                "with --time-zone)."
            )
        )
        return wall
    about.note(tr("it names no time zone: {key} is used.", key=zone.key))
    return localised(wall, zone, about.findings, about.name)


def _seconds(heads: npt.NDArray[np.void], ms: str, day: str) -> FloatArray:
    """Seconds since 1970 of a time of day and a date; NaN where they are none."""
    if not {ms, day} <= set(heads.dtype.names or ()):
        return np.full(len(heads), np.nan)
    of_day, days = heads[ms].astype(float), heads[day].astype(float)
    good = (of_day <= _DAY_MS) & (days > 0) & (days < _NO_DAY)
    return np.where(good, _EPOCH_S + days * 86_400.0 + of_day / 1000.0, np.nan)


def _near_each_other(time_s: FloatArray, about: Subject) -> FloatArray:
    """Take times far from the middle one as missing."""
    if not np.isfinite(time_s).any():
        return time_s
    wild: BoolArray = np.abs(time_s - np.nanmedian(time_s)) > _JOB_S
    if wild.any():
        about.warn(
            tr(
                "left out {records} of a date far from the others; the log may be damaged.",
                records=trn("{count:,} record", "{count:,} records", int(wild.sum())),
            )
        )
    return np.where(wild, np.nan, time_s)
