"""Time zones by name, and local times brought to UTC."""

from __future__ import annotations

from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
import pandas as pd

from evenacre.errors import InputError
from evenacre.io.common.findings import Findings
from evenacre.language import tr, trn
from evenacre.model import FloatArray


def zone_of(name: str | None) -> ZoneInfo | None:
    """Time zone of a name such as ``America/Chicago``."""
    if not name:
        return None
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise InputError.at(
            tr("time zone"),
            "",
            tr('"{name}" is not known.', name=name),
            tr('Write a name such as "America/Chicago" or "UTC".'),
        ) from None


def localised(wall: FloatArray, zone: ZoneInfo, findings: Findings, about: str) -> FloatArray:
    """Local wall times to UTC."""
    stamps = pd.DatetimeIndex(pd.to_datetime(wall, unit="s"))
    summer = np.ones(len(stamps), dtype=bool)
    local = stamps.tz_localize(zone, ambiguous=summer, nonexistent="shift_forward")
    winter = stamps.tz_localize(zone, ambiguous=~summer, nonexistent="shift_forward")
    shared = np.asarray(stamps.notna(), dtype=bool) & np.asarray(local != winter, dtype=bool)
    if shared.any():
        findings.warn(
            tr(
                "{about}: {times} in the hour that comes twice when summer time ends; summer "
                "time is assumed.",
                about=about,
                times=trn("{count:,} time falls", "{count:,} times fall", shared.sum()),
            )
        )
    utc = (local - pd.Timestamp(0, tz="UTC")) / pd.Timedelta(seconds=1)
    return np.asarray(utc, dtype=float)
