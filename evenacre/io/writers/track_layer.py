"""Tracks as one layer of points."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from evenacre.model import UNDATED_S, FloatArray, Track


def track_layer(tracks: Sequence[Track]) -> gpd.GeoDataFrame:
    """Lay tracks out as one layer of points in EPSG:4326, a row a record.

    Columns carry their unit and are named so that the layer can be read as a log again:
    ``machine`` (where there are several), ``time``, ``speed (m/s)``,
    ``heading (deg)``, ``work``, ``sections`` or ``rows`` (a digit each from the left),
    ``width (m)``, ``distance (m)``, ``interval (s)``, ``rate NAME (kg/m2)``,
    ``flow NAME (kg/s)`` and ``position uncertainty (m)``. What no track holds has no column.

    Times are UTC where the log told its zone and the machine's own clock where it did not, so
    they are stored without a zone; a log without a date keeps ``time (s)``. A record without a
    position has no geometry.
    """
    columns: dict[str, Any] = {}
    if len(tracks) > 1:
        columns["machine"] = np.repeat([t.source for t in tracks], [len(t) for t in tracks])
    time_s = np.concatenate([t.time_s for t in tracks])
    if np.nanmin(time_s, initial=np.inf) < UNDATED_S:
        columns["time (s)"] = time_s
    else:
        columns["time"] = np.rint(time_s * 1e6).astype("datetime64[us]")
    measured: dict[str, list[FloatArray | None]] = {
        "speed (m/s)": [t.speed_mps for t in tracks],
        "heading (deg)": [
            None if t.heading_rad is None else np.degrees(t.heading_rad) for t in tracks
        ],
        "width (m)": [t.width_m for t in tracks],
        "distance (m)": [t.distance_m for t in tracks],
        "interval (s)": [t.interval_s for t in tracks],
        "position uncertainty (m)": [t.sigma_m for t in tracks],
    }
    for what, unit in (("rate", "kg/m2"), ("flow", "kg/s")):
        logged = [t.rates if what == "rate" else t.flows for t in tracks]
        for name in dict.fromkeys(name for amounts in logged for name in amounts):
            title = f"{what} {name} ({unit})" if name else f"{what} ({unit})"
            measured[title] = [amounts.get(name) for amounts in logged]
    for name, parts in measured.items():
        if any(part is not None for part in parts):
            columns[name] = _joined(parts, tracks, np.nan)
    working = [None if t.working is None else t.working.astype(object) for t in tracks]
    if any(states is not None for states in working):
        columns["work"] = pd.array(_joined(working, tracks, None), dtype="boolean")
    for name, rows in (("sections", False), ("rows", True)):
        if any(t.sections is not None and t.sections_are_rows is rows for t in tracks):
            columns[name] = [text for t in tracks for text in _digits(t, rows)]
    lon, lat = (np.concatenate([getattr(t, axis) for t in tracks]) for axis in ("lon", "lat"))
    placed = np.isfinite(lon) & np.isfinite(lat)
    points = np.full(len(lon), None, dtype=object)
    # Longitudes that run on past the antimeridian are brought back, as other readers expect.
    points[placed] = shapely.points(np.where(lon > 180, lon - 360, lon)[placed], lat[placed])
    return gpd.GeoDataFrame(columns, geometry=points, crs="EPSG:4326")


def _joined(
    parts: Sequence[np.ndarray | None], tracks: Sequence[Track], missing: float | None
) -> np.ndarray:
    """One column of all tracks."""
    paired = zip(parts, tracks, strict=True)
    return np.concatenate([np.full(len(t), missing) if p is None else p for p, t in paired])


def _digits(track: Track, rows: bool) -> list[str | None]:
    """One text of 0 and 1 a record, from the left; None for a track that has no such states."""
    if track.sections is None or track.sections_are_rows is not rows:
        return [None] * len(track)
    count = track.sections.shape[1]
    digits = (track.sections.astype(np.uint8) + ord("0")).tobytes().decode()
    return [digits[i : i + count] for i in range(0, len(digits), count)] if count else []
