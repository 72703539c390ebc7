"""GeoParquet files opened again by pyarrow and geopandas, and as logs."""

import json
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyarrow.parquet as pq
import pyproj
import pytest
import shapely
from synthetic_result import empty_result, make_result

from evenacre.io.logs.read_tracks import read_tracks
from evenacre.io.writers.results import RESULT_LAYERS, write_layers
from evenacre.io.writers.track_layer import track_layer
from evenacre.io.writers.vector_layers import write_geoparquet
from evenacre.model import Track
from evenacre.reports.figure_text import iso_time
from evenacre.reports.maps.stored_layers import join_layers, operation_layers

N = 40


def drive() -> Track:
    """A drive north at 2 m/s from 14 April 2026 on, with everything a log can tell."""
    working = np.arange(N) % 10 > 2
    return Track(
        source="creek.csv",
        time_s=1_776_150_000.0 + np.arange(N) * 0.2,
        lon=np.full(N, -93.5),
        lat=40 + np.arange(N) * 0.4 / 111_195,
        working=working,
        sections=np.column_stack([working, ~working, working]),
        width_m=np.where(working, 6.096, 0.0),
        speed_mps=np.full(N, 2.0),
        heading_rad=np.full(N, 0.1),
        distance_m=np.full(N, 0.4),
        interval_s=np.full(N, 0.2),
        rates={"18-46-0": np.where(working, 0.0168, 0.0), "0-0-60": np.full(N, 0.01)},
        flows={"": np.where(working, 0.25, 0.0)},
        sigma_m=np.full(N, 0.02),
    )


def geo_of(path: Path) -> dict:
    """What the file itself says of its geometry, read without any geographic library."""
    return json.loads(pq.read_schema(path).metadata[b"geo"])


def check_standard(path: Path, kinds: set[str]) -> None:
    """The GeoParquet 1.0 specification, section File metadata."""
    geo = geo_of(path)
    assert geo["version"] == "1.0.0"
    column = geo["columns"][geo["primary_column"]]
    assert column["encoding"] == "WKB"
    assert set(column["geometry_types"]) <= kinds
    # PROJJSON; without an entry the standard takes longitude and latitude on WGS 84.
    crs = pyproj.CRS.from_json_dict(column["crs"])
    assert crs.equals(pyproj.CRS.from_epsg(4326), ignore_axis_order=True)


def test_tracks_are_points_that_other_readers_open(tmp_path):
    track = drive()
    write_geoparquet(tmp_path / "tracks.parquet", track_layer([track]))
    check_standard(tmp_path / "tracks.parquet", {"Point"})
    table = pq.read_table(tmp_path / "tracks.parquet")
    assert table.num_rows == N
    assert table.column("work").to_pylist() == track.working.tolist()
    assert set(table.column("sections").to_pylist()) == {"010", "101"}
    shapes = shapely.from_wkb(table.column("geometry").to_numpy())
    np.testing.assert_array_equal(shapely.get_y(shapes), track.lat)
    frame = gpd.read_parquet(tmp_path / "tracks.parquet")
    assert frame.crs.to_epsg() == 4326
    stamps = frame["time"].to_numpy().astype("datetime64[us]").astype(np.int64) / 1e6
    np.testing.assert_allclose(stamps, track.time_s, atol=1e-6)
    np.testing.assert_allclose(frame["heading (deg)"], np.degrees(0.1))
    np.testing.assert_allclose(frame["rate 18-46-0 (kg/m2)"], track.rates["18-46-0"])


def test_tracks_can_be_read_as_a_log_again(tmp_path):
    track = drive()
    write_geoparquet(tmp_path / "tracks.parquet", track_layer([track]))
    (again,) = read_tracks(tmp_path / "tracks.parquet")
    np.testing.assert_allclose(again.time_s, track.time_s, atol=1e-6)
    np.testing.assert_array_equal(again.working, track.working)
    np.testing.assert_array_equal(again.sections, track.sections)
    for name in ("lon", "lat", "width_m", "speed_mps", "heading_rad", "distance_m", "interval_s"):
        np.testing.assert_allclose(getattr(again, name), getattr(track, name), rtol=1e-12)
    for name in ("rates", "flows"):
        assert getattr(again, name).keys() == getattr(track, name).keys()
        for product, values in getattr(again, name).items():
            np.testing.assert_allclose(values, getattr(track, name)[product], rtol=1e-9)


def test_several_machines_a_missing_place_and_no_date(tmp_path):
    lon = np.full(N, 180.0004)  # past the antimeridian
    lon[3] = np.nan
    first = replace(drive(), lon=lon)
    second = Track("b.csv", first.time_s, np.full(N, -179.9996), first.lat)
    write_geoparquet(tmp_path / "both.parquet", track_layer([first, second]))
    frame = gpd.read_parquet(tmp_path / "both.parquet")
    assert frame["machine"].value_counts().to_dict() == {"creek.csv": N, "b.csv": N}
    assert frame.geometry.isna().sum() == 1
    known = frame.geometry.dropna()
    np.testing.assert_allclose(known.x, -179.9996)
    assert frame["work"].isna().sum() == N
    assert frame["sections"].isna().sum() == N
    undated = Track("c.csv", np.arange(N) * 1.0, np.full(N, -93.5), first.lat)
    write_geoparquet(tmp_path / "undated.parquet", track_layer([undated]))
    (again,) = read_tracks(tmp_path / "undated.parquet")
    np.testing.assert_array_equal(again.time_s, undated.time_s)


@pytest.mark.parametrize(("days", "dated"), [(20, False), (40, True)])
def test_every_output_dates_a_log_or_none_does(days, dated):
    """A clock that runs since the machine was started is not that of January 1970."""
    log = replace(drive(), time_s=days * 86_400.0 + np.arange(N))
    columns = track_layer([log]).columns
    assert ("time" in columns, "time (s)" in columns) == (dated, not dated)
    assert iso_time(log.time_s[0]).startswith("1970-") == dated


def test_results_are_layers_that_other_readers_open(tmp_path):
    layers = join_layers([operation_layers(make_result())])
    write_layers(tmp_path / "geoparquet", layers)
    files = sorted(p.stem for p in (tmp_path / "geoparquet").iterdir())
    assert files == sorted(RESULT_LAYERS)
    check_standard(tmp_path / "geoparquet" / "skips.parquet", {"Polygon", "MultiPolygon"})
    for name in RESULT_LAYERS:
        frame = gpd.read_parquet(tmp_path / "geoparquet" / f"{name}.parquet")
        assert frame.crs.to_epsg() == 4326
        assert len(frame) == len(layers[name])
        assert frame.geometry.geom_equals_exact(layers[name].geometry, 0).all()
    skips = gpd.read_parquet(tmp_path / "geoparquet" / "skips.parquet")
    geodesic = pyproj.Geod(ellps="WGS84")
    areas = [abs(geodesic.geometry_area_perimeter(shapely.normalize(g))[0]) for g in skips.geometry]
    np.testing.assert_allclose(areas, skips["area_m2"], rtol=1e-3)


def test_a_result_without_findings_has_empty_layers(tmp_path):
    write_layers(tmp_path / "geoparquet", join_layers([operation_layers(empty_result())]))
    frame = gpd.read_parquet(tmp_path / "geoparquet" / "skips.parquet")
    assert len(frame) == 0
    assert frame.crs.to_epsg() == 4326


def test_equal_layers_give_equal_bytes_and_a_plane_without_a_name_is_refused(tmp_path):
    for name in ("a", "b"):
        write_layers(tmp_path / name, join_layers([operation_layers(make_result())]))
    for path in (tmp_path / "a").iterdir():
        assert path.read_bytes() == (tmp_path / "b" / path.name).read_bytes()
    bare = gpd.GeoDataFrame(geometry=[shapely.Point(0, 0)])
    with pytest.raises(ValueError, match="coordinate system"):
        write_geoparquet(tmp_path / "x.parquet", bare)
