"""The obvious script: buffer every segment, union, overlay.

    python benchmarks/plain_script.py LOG.csv FIELDS.gpkg NAME WIDTH_M

Written as a capable person would with GeoPandas in an afternoon: vectorised throughout, a
spatial index for the self-overlap, the local UTM zone for metres. Segments are buffered by
half the width with flat ends wherever the log says the tool was working, merged pass by
pass, and the passes are overlaid with the field and with one another. Prints one JSON line.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely


def audit(log: Path, fields: Path, name: str, width_m: float) -> dict[str, float]:
    """Covered, overlapped and missed area of one field, m2."""
    boundary = gpd.read_file(fields)
    boundary = boundary[boundary["name"] == name]
    utm = boundary.estimate_utm_crs()
    field = boundary.to_crs(utm).geometry.union_all()
    table = pd.read_csv(log)
    points = gpd.GeoSeries.from_xy(table["Longitude"], table["Latitude"], crs="EPSG:4326")
    xy = shapely.get_coordinates(points.to_crs(utm).to_numpy())
    work = table["Work"].to_numpy(bool)
    both = work[1:] & work[:-1]
    passes = np.cumsum(np.diff(work.astype(int), prepend=0) == 1)[:-1]
    segments = shapely.linestrings(np.stack([xy[:-1], xy[1:]], axis=1)[both])
    swaths = gpd.GeoDataFrame(
        {"pass": passes[both]},
        geometry=gpd.GeoSeries(segments, crs=utm).buffer(width_m / 2, cap_style="flat"),
    )
    by_pass = swaths.dissolve("pass").reset_index()
    covered = by_pass.union_all()
    pairs = gpd.sjoin(by_pass, by_pass, predicate="intersects")
    pairs = pairs[pairs["pass_left"] < pairs["pass_right"]]
    shape = by_pass.set_index("pass").geometry
    laps = shapely.intersection(
        shape.loc[pairs["pass_left"]].to_numpy(), shape.loc[pairs["pass_right"]].to_numpy()
    )
    return {
        "covered_area_m2": covered.intersection(field).area,
        "overlap_area_m2": shapely.union_all(laps).intersection(field).area,
        "skip_area_m2": field.difference(covered).area,
    }


if __name__ == "__main__":
    started = time.perf_counter()
    found = audit(Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3], float(sys.argv[4]))
    found["seconds"] = time.perf_counter() - started
    print(json.dumps(found))
