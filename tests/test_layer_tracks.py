"""Point, line and polygon layers read as tracks; GDAL is the independent writer."""

import itertools
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from complaints import complaint, has
from pyproj import Geod
from shapely import affinity
from shapely.geometry import LineString, MultiLineString, Point, Polygon, box

from evenacre.io.logs.read_tracks import read_tracks

UTM = "EPSG:26915"
EAST, NORTH = 457_000.0, 4_427_000.0
GEOD = Geod(ellps="WGS84")
SUFFIXES = [".gpkg", ".geojson", ".shp", ".fgb", ".parquet"]


def save(path: Path, frame: gpd.GeoDataFrame, suffix: str = ".gpkg") -> Path:
    file = path / f"log{suffix}"
    if suffix == ".parquet":
        frame.to_parquet(file)
    elif suffix == ".fgb":
        frame.to_file(file, engine="pyogrio", SPATIAL_INDEX="NO")  # which would shuffle them
    elif suffix == ".kml":
        frame.to_crs(4326).to_file(file, driver="KML", engine="pyogrio")
    else:
        frame.to_crs(4326 if suffix == ".geojson" else frame.crs).to_file(file, engine="pyogrio")
    return file


def moved_m(lon: np.ndarray, lat: np.ndarray) -> np.ndarray:
    return GEOD.inv(lon[:-1], lat[:-1], lon[1:], lat[1:])[2]


# --- points -----------------------------------------------------------------------------------


def points(n: int = 30) -> gpd.GeoDataFrame:
    when = pd.date_range("2019-05-05 04:19:04", periods=n, freq="s")
    return gpd.GeoDataFrame(
        {
            "Time": when.strftime("%-m/%-d/%Y %-I:%M:%S %p"),
            "Applied_Rate_lb_ac": np.where(np.arange(n) % 3, 150.0, np.nan),
            "Swth_Wdth_ft": 20.0,
            "Heading": 0.0,
        },
        geometry=gpd.points_from_xy(np.full(n, EAST), NORTH + 2.0 * np.arange(n)),
        crs=UTM,
    )


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_points_of_every_format(tmp_path, suffix):
    frame = points()
    (track,) = read_tracks(save(tmp_path, frame, suffix), time_zone="America/Chicago")
    degrees = frame.to_crs(4326).geometry
    np.testing.assert_allclose(track.lon, degrees.x, atol=2e-7)
    np.testing.assert_allclose(track.lat, degrees.y, atol=2e-7)
    start = pd.Timestamp("2019-05-05T09:19:04Z").timestamp()
    np.testing.assert_array_equal(track.time_s, start + np.arange(len(frame)))
    if suffix != ".shp":
        lb_ac = 0.45359237 / 4046.8564224  # NIST SP 811
        np.testing.assert_allclose(track.rates[""], frame["Applied_Rate_lb_ac"] * lb_ac)
        np.testing.assert_allclose(track.width_m, 6.096)


def test_names_cut_to_ten_characters(tmp_path):
    frame = points().rename(columns={"Swth_Wdth_ft": "Swath_Width_Feet"})
    file = save(tmp_path, frame, ".shp")
    assert "Applied_Ra" in gpd.read_file(file).columns
    (track,) = read_tracks(file)
    assert has(track.warnings, "Applied_Ra", "no unit", "rate=Applied_Ra [lb/ac]")
    mapping = {"rate": "Applied_Rate_lb_ac [lb/ac]", "width": "Swath_Width_Feet [ft]"}
    (track,) = read_tracks(file, columns=mapping)
    assert np.nanmax(track.rates[""]) == pytest.approx(150 * 0.45359237 / 4046.8564224)
    np.testing.assert_allclose(track.width_m, 6.096)


def test_times_kept_as_times_of_several_zones(tmp_path):
    frame = points(3)
    frame["Time"] = [
        "2019-05-05T04:00:00-05:00",
        "2019-05-05T10:00:01+01:00",
        "2019-05-05T09:00:02Z",
    ]
    (track,) = read_tracks(save(tmp_path, frame))
    assert np.diff(track.time_s).tolist() == [1, 1]
    frame["Time"] = pd.to_datetime(frame["Time"], utc=True)
    (stamped,) = read_tracks(save(tmp_path, frame, ".fgb"))
    np.testing.assert_array_equal(stamped.time_s, track.time_s)
    assert track.time_s[0] == pd.Timestamp("2019-05-05T09:00:00Z").timestamp()


def test_shapefile_without_prj(tmp_path):
    file = save(tmp_path, points().to_crs(4326), ".shp")
    file.with_suffix(".prj").unlink()
    (track,) = read_tracks(file)
    assert has(track.warnings, "WGS 84", "degrees")
    assert track.lon[0] == pytest.approx(points().to_crs(4326).geometry.x[0])
    file = save(tmp_path, points(), ".shp")
    file.with_suffix(".prj").unlink()
    assert "system" in complaint(file)
    (track,) = read_tracks(file, crs=UTM)
    assert track.lon[0] == pytest.approx(points().to_crs(4326).geometry.x[0])


def test_points_without_time_need_an_order_or_an_interval(tmp_path):
    frame = points().drop(columns="Time")
    (track,) = read_tracks(save(tmp_path, frame))
    assert not track.timed
    assert has(track.warnings, "holds no times")
    (track,) = read_tracks(save(tmp_path, frame.sample(frac=1, random_state=1)))
    assert track.ground is not None
    assert has(track.warnings, "--column time=")
    frame["interval"] = 2
    (track,) = read_tracks(save(tmp_path, frame))
    np.testing.assert_array_equal(np.diff(track.time_s), 2)


def test_points_without_shape_are_left_out_with_a_warning(tmp_path):
    frame = points()
    frame.loc[[3, 4], "geometry"] = None
    (track,) = read_tracks(save(tmp_path, frame))
    assert len(track) == len(frame) - 2
    assert has(track.warnings, "2 features have no shape")


def test_layers_by_name_and_text_in_a_number(tmp_path):
    file = save(tmp_path, points())
    points().to_file(file, layer="other", engine="pyogrio")
    said = complaint(file)
    assert "several layers" in said
    assert "--tracks-layer" in said
    (track,) = read_tracks(file, layer="other")
    assert len(track) == 30
    assert "no layer" in complaint(file, layer="third")
    frame = points()
    frame["flow"] = ["1"] * 15 + ["lots"] * 15
    text = complaint(save(tmp_path, frame, ".geojson"), columns={"flow": "flow [lb/s]"})
    assert "feature 16" in text
    assert "lots" in text


def test_mixed_shapes_and_tables_without_shapes(tmp_path):
    frame = gpd.GeoDataFrame(
        geometry=[Point(-93, 40), LineString([(-93, 40), (-93, 41)])], crs=4326
    )
    assert "mixes" in complaint(save(tmp_path, frame, ".geojson"))


# --- lines ------------------------------------------------------------------------------------


def lines(**columns: object) -> gpd.GeoDataFrame:
    """Two passes of 100 m, up and down, 6 m apart."""
    up = LineString([(EAST, NORTH), (EAST, NORTH + 100)])
    down = LineString([(EAST + 6, NORTH + 100), (EAST + 6, NORTH + 40), (EAST + 6, NORTH)])
    return gpd.GeoDataFrame(columns, geometry=[up, down], crs=UTM)


def worked_m(track) -> float:
    """Ground covered between records whose tool is down at both ends."""
    both = track.working[1:] & track.working[:-1]
    return float(moved_m(track.lon, track.lat)[both].sum())


@pytest.mark.parametrize("suffix", [*SUFFIXES, ".kml"])
def test_lines_without_times_are_ground(tmp_path, suffix):
    columns = {} if suffix == ".kml" else {"width (m)": [6.0, 3.0]}
    (track,) = read_tracks(save(tmp_path, lines(**columns), suffix))
    assert not track.timed
    assert has(track.notes, "2 lines", "as wide as the tool", "no times")
    true = sorted(GEOD.geometry_length(g) for g in lines().to_crs(4326).geometry)
    found = sorted(GEOD.geometry_length(g) for g in track.ground)
    assert found == pytest.approx(true, rel=1e-6)
    if columns:
        assert sorted(track.width_m) == [3.0, 6.0]


def test_points_of_kml(tmp_path):
    (track,) = read_tracks(save(tmp_path, points().drop(columns="Time"), ".kml"))
    assert has(track.warnings, "holds no times")


def test_lines_with_times(tmp_path):
    frame = lines(
        start=["2026-04-14T12:00:00Z", "2026-04-14T12:00:50Z"],
        end=["2026-04-14T12:00:50Z", "2026-04-14T12:01:30Z"],
    )
    (track,) = read_tracks(save(tmp_path, frame))
    zero = pd.Timestamp("2026-04-14T12:00:00Z").timestamp()
    on = track.time_s[track.working] - zero
    # A hundredth of a second at either end tells that the tool is up between the passes.
    assert on[0] == pytest.approx(0.01, abs=1e-6)
    assert on[-1] == pytest.approx(89.99, abs=1e-6)
    assert (np.diff(track.time_s) > 0).all()
    north = np.flatnonzero(track.working)[10]
    done = moved_m(track.lon, track.lat)[:north].sum()
    assert track.time_s[north] - zero == pytest.approx(done / 100 * 50, rel=1e-3)
    # One pass ends as the next begins: the tool is up in between, so they do not join.
    true = sum(GEOD.geometry_length(g) for g in frame.to_crs(4326).geometry)
    assert worked_m(track) == pytest.approx(true, rel=1e-6)
    frame = lines(start=["2026-04-14T12:00:00Z", "2026-04-14T12:02:00Z"])
    (track,) = read_tracks(save(tmp_path, frame))
    assert np.ptp(track.time_s[track.working]) == pytest.approx(120 + 50, rel=1e-3)
    assert has(track.notes, "no end", "2 m/s")


def test_multi_part_and_pointless_lines(tmp_path):
    shapes = [*lines().geometry, LineString([(EAST, NORTH), (EAST, NORTH)])]
    frame = gpd.GeoDataFrame(geometry=[MultiLineString(shapes[:2]), shapes[2]], crs=UTM)
    (track,) = read_tracks(save(tmp_path, frame))
    assert has(track.warnings, "1 line without a length")
    assert len(track) == 2


def test_lines_across_the_antimeridian(tmp_path):
    line = MultiLineString([[(179.999, 10), (180, 10)], [(-180, 10), (-179.999, 10)]])
    times = ["2026-04-14T12:00:00Z", "2026-04-14T12:00:50Z"]
    parts = gpd.GeoDataFrame({"start": times}, geometry=list(line.geoms), crs=4326)
    (track,) = read_tracks(save(tmp_path, parts, ".geojson"))
    assert track.lon.min() == pytest.approx(179.999)
    assert track.lon.max() == pytest.approx(180.001)


# --- polygons ---------------------------------------------------------------------------------


def steps(angle: float = 0.0, length: float = 2.0, n: int = 20) -> gpd.GeoDataFrame:
    """Two passes 6 m wide of n steps each, going up and coming back down."""
    up = [box(0, i * length, 6, (i + 1) * length) for i in range(n)]
    down = [box(6, i * length, 12, (i + 1) * length) for i in reversed(range(n))]
    turned = [
        affinity.translate(affinity.rotate(p, angle, origin=(0, 0)), EAST, NORTH) for p in up + down
    ]
    return gpd.GeoDataFrame({"Rate (kg/ha)": [168.0] * len(turned)}, geometry=turned, crs=UTM)


def timed(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The same with a time a second for each shape."""
    return frame.assign(time=pd.date_range("2026-04-14T12:00:00Z", periods=len(frame), freq="s"))


@pytest.mark.parametrize("angle", [0, 33, 90, 201])
@pytest.mark.parametrize("length", [2.0, 6.0, 15.0])
def test_polygons_in_order_of_time_become_the_passes_that_drew_them(tmp_path, angle, length):
    frame = timed(steps(angle, length))
    (track,) = read_tracks(save(tmp_path, frame))
    assert track.ground is None
    np.testing.assert_allclose(track.width_m, 6.0, rtol=1e-3)  # UTM is up to 0.04 % short
    assert worked_m(track) == pytest.approx(2 * 20 * length, rel=1e-3)
    np.testing.assert_allclose(track.rates[""], 0.0168)
    assert (~track.working).sum() == 4
    # Rate times width times way is what the polygons hold.
    way = moved_m(track.lon, track.lat) * (track.working[1:] & track.working[:-1])
    mass = np.sum(way * track.width_m[1:] * track.rates[""][1:])
    assert mass == pytest.approx(frame.area.sum() * 0.0168, rel=2e-3)
    assert has(track.notes, "40 polygons", "one step", "its shape")


def test_polygons_that_are_no_steps_are_ground(tmp_path):
    untimed = steps()
    one_day = untimed.assign(date="2026-04-14")
    side_by_side = timed(untimed).assign(time=lambda f: f["time"].iloc[:20].tolist() * 2)
    scattered = timed(untimed.sample(frac=1, random_state=1))
    strips = timed(
        gpd.GeoDataFrame(
            geometry=[box(EAST, NORTH + 6 * i, EAST + 90, NORTH + 6 * i + 6) for i in range(20)],
            crs=UTM,
        )
    )
    for frame, why in (
        (untimed, "no times"),
        *((f, "do not lead on") for f in (one_day, side_by_side, scattered, strips)),
    ):
        (track,) = read_tracks(save(tmp_path, frame))
        assert len(track) == len(track.ground) == len(frame)
        assert has(track.notes, f"{len(frame)} polygons", "ground", why)
        assert track.timed == (frame is not untimed)
        areas = [abs(GEOD.geometry_area_perimeter(g)[0]) for g in track.ground]
        true = [abs(GEOD.geometry_area_perimeter(g)[0]) for g in frame.to_crs(4326).geometry]
        assert sorted(areas) == pytest.approx(sorted(true), rel=1e-6)
        np.testing.assert_allclose(track.width_m, 6.0, rtol=1e-3)


def test_polygons_with_times_and_widths(tmp_path):
    frame = timed(steps()).assign(width_ft=15.0)
    (track,) = read_tracks(save(tmp_path, frame))
    np.testing.assert_allclose(track.width_m, 15 * 0.3048)
    zero = pd.Timestamp("2026-04-14T12:00:00Z").timestamp()
    assert track.time_s[track.working][0] == pytest.approx(zero - 0.49, abs=1e-3)
    assert track.time_s[track.working][-1] == pytest.approx(zero + 39.49, abs=1e-3)
    assert (np.diff(track.time_s) > 0).all()
    assert worked_m(track) == pytest.approx(80, rel=1e-3)
    shuffled = frame.sample(frac=1, random_state=1)
    (again,) = read_tracks(save(tmp_path, shuffled, ".geojson"))
    np.testing.assert_allclose(again.lon, track.lon, atol=1e-6)
    np.testing.assert_allclose(again.time_s, track.time_s, atol=1e-3)


BOW = Polygon([(EAST, NORTH), (EAST + 6, NORTH + 2), (EAST + 6, NORTH), (EAST, NORTH + 2)])


def test_useless_polygons_are_counted_and_left_out(tmp_path):
    frame = timed(steps())
    frame.loc[8, "geometry"] = box(EAST, NORTH + 16, EAST + 0.001, NORTH + 18)
    frame.loc[9, "geometry"] = None
    frame.loc[10, "geometry"] = Polygon()
    (track,) = read_tracks(save(tmp_path, frame))
    assert has(track.warnings, "1 sliver polygon;", "feature 9")
    assert has(track.warnings, "no shape")
    # Two runs more: the hole left by what was dropped is not bridged.
    assert worked_m(track) == pytest.approx(37 * 2, rel=1e-3)


def test_self_crossing_polygons_are_mended(tmp_path):
    frame = steps()
    frame.loc[5, "geometry"] = BOW
    (track,) = read_tracks(save(tmp_path, frame))
    assert has(track.notes, "1 self-crossing polygon mended", "feature 6")
    assert len(track) == 40


def test_no_useful_polygon(tmp_path):
    flat = Polygon([(EAST, NORTH), (EAST + 6, NORTH), (EAST, NORTH)])
    frame = gpd.GeoDataFrame(geometry=[flat], crs=UTM)
    assert "no polygon can be used" in complaint(save(tmp_path, frame))


def test_mass_on_each_polygon_becomes_its_rate(tmp_path):
    frame = steps().drop(columns="Rate (kg/ha)").assign(**{"Amount (lb)": 1.0})
    (track,) = read_tracks(save(tmp_path, frame))
    area = [abs(GEOD.geometry_area_perimeter(g)[0]) for g in track.ground]
    assert np.dot(track.rates[""], area) == pytest.approx(40 * 0.45359237, rel=1e-6)
    assert has(track.notes, "Amount (lb)", "mass on each polygon")


def test_rates_in_two_units_side_by_side(tmp_path):
    frame = steps()
    frame["Rate (lb/ac)"] = 168.0 / 1.12085  # NIST SP 811: 1 lb/ac is 1.12085 kg/ha
    (track,) = read_tracks(save(tmp_path, frame))
    assert list(track.rates) == [""]
    assert has(track.notes, "repeats the rate")


def test_curved_steps_keep_their_middle_line(tmp_path):
    angles = np.linspace(0, np.pi / 2, 41)
    inner, outer = 20.0, 26.0
    shapes = []
    for a, b in itertools.pairwise(angles):
        corners = [(inner, a), (outer, a), (outer, b), (inner, b)]
        shapes.append(Polygon([(EAST + r * np.cos(t), NORTH + r * np.sin(t)) for r, t in corners]))
    frame = timed(gpd.GeoDataFrame(geometry=shapes, crs=UTM))
    (track,) = read_tracks(save(tmp_path, frame))
    assert (~track.working).sum() == 2
    assert worked_m(track) == pytest.approx(23 * np.pi / 2, rel=0.01)
    np.testing.assert_allclose(track.width_m, 6.0, rtol=0.01)


def test_order_of_shapes_is_kept(tmp_path):
    (track,) = read_tracks(save(tmp_path, timed(steps())))
    middles = gpd.GeoSeries(steps().geometry.centroid, crs=UTM).to_crs(4326)
    degrees = shapely.get_coordinates(middles.array)
    inside = np.isclose(track.lon[:, None], degrees[:, 0], rtol=0, atol=1e-8) & np.isclose(
        track.lat[:, None], degrees[:, 1], rtol=0, atol=1e-8
    )
    found = inside.argmax(axis=0)
    assert inside.any(axis=0).all()
    assert (np.diff(found) > 0).all()
