"""A farm small enough for examples: a field of two acres, its log, two paddocks, a season file."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from evenacre.geo.local_crs import WorkingPlane

WIDTH_M = 6.096  # 20 ft
PASSES, LENGTH_M = 11, 120.0
GAP_M = 0.8  # left between the fifth and sixth pass
SEASON = """
farm = "Small Farm"
time_zone = "America/Chicago"

[[product]]
name = "18-46-0"
price = "840 USD/ton"

[[product]]
name = "red clover"
purity = 98
germination = 84

[[implement]]
name = "drill"
width = "20 ft"
rows = 32

[[field]]
name = "Home Field"
boundary = "field.geojson"

[[operation]]
name = "Spring fertilizer"
field = "Home Field"
implement = "drill"
tracks = ["log.csv"]
products = [{ product = "18-46-0", rate = "150 lb/ac" }]

[paddocks]
file = "paddocks.geojson"

[[herd]]
class = "cows"
head = 20
weight = "1200 lb"
intake = 2.6

[grazing]
start = 2026-08-11
rest = "35 days"
forage = "1800 lb/ac"
growth = "20 lb/ac/day"

[seeding]
product = "red clover"
implement = "drill"
rate = "8 lb/ac"
on_hand = "100 lb"
opens_after = "1 day"
closes_after = "14 days"
hours = "6 h"
"""


def plane() -> WorkingPlane:
    """East and north of the field's south-west corner."""
    return WorkingPlane.around(np.array([shapely.Point(-93.0, 40.0)], dtype=object))


def lonlat(x_m: np.ndarray, y_m: np.ndarray) -> np.ndarray:
    return np.column_stack(plane().lonlat(np.asarray(x_m, float), np.asarray(y_m, float)))


def block(x_m: float, y_m: float, wide_m: float, high_m: float) -> shapely.Polygon:
    x = x_m + np.array([0, wide_m, wide_m, 0])
    y = y_m + np.array([0, 0, high_m, high_m])
    return shapely.Polygon(lonlat(x, y))


def drive() -> pd.DataFrame:
    """Records at 1 Hz: passes north and south, the tool up in turns."""
    x, y, work = [], [], []
    for number in range(PASSES):
        at = WIDTH_M * (number + 0.5) + (GAP_M if number >= 5 else 0.0)
        along = np.arange(-6.0, LENGTH_M + 6.1, 2.0)
        along = along if number % 2 == 0 else along[::-1]
        x += [at] * len(along)
        y += list(along)
        work += list((along >= 0) & (along <= LENGTH_M))
    lon, lat = lonlat(np.array(x), np.array(y)).T
    time = pd.Timestamp("2026-04-14T12:55:00Z") + pd.to_timedelta(np.arange(len(x)), "s")
    return pd.DataFrame(
        {"time": time, "lon": lon, "lat": lat, "work": np.array(work, int), "rate [lb/ac]": 150.0}
    )


def write_small_farm(folder: Path) -> None:
    """Write log.csv, log.geojson, field.geojson, paddocks.geojson and season.toml."""
    for name, content in _files().items():
        (folder / name).write_bytes(content)


@cache
def _files() -> dict[str, bytes]:
    with TemporaryDirectory() as made:
        _write(Path(made))
        return {file.name: file.read_bytes() for file in Path(made).iterdir()}


def _write(folder: Path) -> None:
    records = drive()
    records.assign(time=records["time"].dt.strftime("%Y-%m-%dT%H:%M:%SZ")).to_csv(
        folder / "log.csv", index=False, float_format="%.9f"
    )
    points = gpd.points_from_xy(records["lon"], records["lat"], crs=4326)
    log = gpd.GeoDataFrame(records.drop(columns=["lon", "lat"]), geometry=points)
    log.rename(columns={"rate [lb/ac]": "rate"}).to_file(folder / "log.geojson")
    wide = PASSES * WIDTH_M + GAP_M
    field = gpd.GeoDataFrame({"name": ["Home Field"]}, geometry=[block(0, 0, wide, LENGTH_M)])
    field.set_crs(4326).to_file(folder / "field.geojson")
    shapes = [block(200, 0, 150, 120), block(360, 0, 150, 120)]
    paddocks = gpd.GeoDataFrame({"name": ["West paddock", "East paddock"]}, geometry=shapes)
    paddocks.set_crs(4326).to_file(folder / "paddocks.geojson")
    (folder / "season.toml").write_text(SEASON, encoding="utf-8")
