"""Tracks and results as GeoParquet files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from evenacre.io.writers.cells import shown_frame
from evenacre.model import UNDATED_S, BoolArray, FloatArray, Track

RESULT_LAYERS = ("fields", "passes", "skips", "overlaps", "cover", "zones")
"""Layers of a result worth a file of their own."""


def write_geoparquet(path: Path, frame: gpd.GeoDataFrame) -> None:
    """Write one layer as GeoParquet 1.0, its coordinate system inside.

    Parameters
    ----------
    path : Path
    frame : GeoDataFrame
        With a coordinate system.
    """
    if frame.crs is None:
        raise ValueError("a layer without a coordinate system cannot be stored")
    shown_frame(frame).reset_index(drop=True).to_parquet(
        path, index=False, compression="zstd", geometry_encoding="WKB", schema_version="1.0.0"
    )


def write_layers(folder: Path, layers: Mapping[str, gpd.GeoDataFrame]) -> None:
    """Write the chief layers of a result to ``folder/<layer>.parquet``.

    Parameters
    ----------
    folder : Path
        Must not exist.
    layers : mapping of str to GeoDataFrame
        As in the result's GeoPackage. Empty ones are written too: no skips is an answer.
    """
    folder.mkdir()
    for name in RESULT_LAYERS:
        if name in layers:
            write_geoparquet(folder / f"{name}.parquet", layers[name])


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

    Parameters
    ----------
    tracks : sequence of Track
    """
    columns: dict[str, Any] = {}
    if len(tracks) > 1:
        columns["machine"] = np.repeat([t.source for t in tracks], [len(t) for t in tracks])
    columns |= _times(np.concatenate([t.time_s for t in tracks]))
    measured: dict[str, list[FloatArray | None]] = {
        "speed (m/s)": [t.speed_mps for t in tracks],
        "heading (deg)": [_degrees(t.heading_rad) for t in tracks],
        "width (m)": [t.width_m for t in tracks],
        "distance (m)": [t.distance_m for t in tracks],
        "interval (s)": [t.interval_s for t in tracks],
        "position uncertainty (m)": [t.sigma_m for t in tracks],
    }
    for name in dict.fromkeys(name for t in tracks for name in t.rates):
        measured[_named("rate", name, "kg/m2")] = [t.rates.get(name) for t in tracks]
    for name in dict.fromkeys(name for t in tracks for name in t.flows):
        measured[_named("flow", name, "kg/s")] = [t.flows.get(name) for t in tracks]
    lengths = [len(t) for t in tracks]
    for name, parts in measured.items():
        if any(part is not None for part in parts):
            columns[name] = np.concatenate(
                [
                    np.full(n, np.nan) if p is None else p
                    for n, p in zip(lengths, parts, strict=True)
                ]
            )
    if any(t.working is not None for t in tracks):
        columns["work"] = pd.array(
            np.concatenate([_states(t.working, len(t)) for t in tracks]), dtype="boolean"
        )
    for name, rows in (("sections", False), ("rows", True)):
        if any(t.sections is not None and t.sections_are_rows is rows for t in tracks):
            columns[name] = [text for t in tracks for text in _digits(t, rows)]
    return gpd.GeoDataFrame(columns, geometry=_points(tracks), crs="EPSG:4326")


def _times(time_s: FloatArray) -> dict[str, np.ndarray]:
    if np.nanmin(time_s, initial=np.inf) < UNDATED_S:
        return {"time (s)": time_s}
    return {"time": np.rint(time_s * 1e6).astype("datetime64[us]")}


def _degrees(heading_rad: FloatArray | None) -> FloatArray | None:
    return None if heading_rad is None else np.degrees(heading_rad)


def _named(what: str, product: str, unit: str) -> str:
    return f"{what} {product} ({unit})" if product else f"{what} ({unit})"


def _states(working: BoolArray | None, length: int) -> np.ndarray:
    return np.full(length, None, dtype=object) if working is None else working.astype(object)


def _digits(track: Track, rows: bool) -> list[str | None]:
    """One text of 0 and 1 a record, from the left; None for a track that has no such states."""
    if track.sections is None or track.sections_are_rows is not rows:
        return [None] * len(track)
    count = track.sections.shape[1]
    digits = (track.sections.astype(np.uint8) + ord("0")).tobytes().decode()
    return [digits[i : i + count] for i in range(0, len(digits), count)] if count else []


def _points(tracks: Sequence[Track]) -> np.ndarray:
    lon = np.concatenate([t.lon for t in tracks])
    lat = np.concatenate([t.lat for t in tracks])
    placed = np.isfinite(lon) & np.isfinite(lat)
    points = np.full(len(lon), None, dtype=object)
    # Longitudes that run on past the antimeridian are brought back, as other readers expect.
    points[placed] = shapely.points(np.where(lon > 180, lon - 360, lon)[placed], lat[placed])
    return points
