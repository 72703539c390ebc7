"""The places to go back to, as waypoints a phone or a guidance display can take."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from evenacre.io.writers.gpx import add_point, add_text, gpx_root, write_root
from evenacre.io.writers.json_file import json_text

_DEGREE_DIGITS = 7


def write_gpx(path: Path, stops: pd.DataFrame) -> None:
    """Write GPX 1.1 waypoints in the order of the list.

    Parameters
    ----------
    path : Path
    stops : DataFrame
        As in :class:`evenacre.model.outputs.Deliverables`; may be empty.
    """
    root = gpx_root()
    for stop in stops.to_dict("records"):
        point = add_point(root, "wpt", stop["lon"], stop["lat"])
        add_text(point, "name", stop["name"])
        add_text(point, "desc", f"{stop['field']}, {stop['operation']}. {stop['advice']}")
        add_text(point, "type", stop["kind"])
    write_root(path, root)


def write_geojson(path: Path, stops: pd.DataFrame) -> None:
    """Write the same stops as GeoJSON points (RFC 7946)."""
    features = [
        {
            "type": "Feature",
            "geometry": {
                "type": "Point",
                "coordinates": [round(s["lon"], _DEGREE_DIGITS), round(s["lat"], _DEGREE_DIGITS)],
            },
            "properties": {
                "name": s["name"],
                "kind": s["kind"],
                "cause": s["cause"],
                "field": s["field"],
                "operation": s["operation"],
                "advice": s["advice"],
                "area_m2": round(s["area_m2"], 3),
                "mean_width_m": round(s["mean_width_m"], 3),
                "length_m": round(s["length_m"], 3),
            },
        }
        for s in stops.to_dict("records")
    ]
    text = json_text({"type": "FeatureCollection", "features": features}, indent=1)
    path.write_text(text + "\n", encoding="utf-8")
