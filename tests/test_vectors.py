"""Reading what is drawn on a map, from every format and with every common fault."""

from __future__ import annotations

import json
import re
import zipfile

import geopandas as gpd
import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from shapely.geometry import GeometryCollection, LineString, MultiPolygon, Point, Polygon, box

from evenacre.errors import InputError
from evenacre.geo.geodesy import geodesic_area_m2
from evenacre.geo.overlay import in_degrees, without
from evenacre.io.maps.field_layers import read_boundary, read_setbacks, read_unworkable, read_zones
from evenacre.io.maps.location_check import place_tracks, turn_tracks
from evenacre.io.maps.read_layer import Source, read_layer
from evenacre.io.season.pasture.paddocks import read_paddocks
from evenacre.model import Track

pytestmark = [
    # What the tests write on purpose: layers without a system, corners that are not numbers.
    pytest.mark.filterwarnings("ignore:'crs' was not provided"),
    pytest.mark.filterwarnings("ignore:invalid value encountered in linearrings"),
]

SQUARE = box(-92.41, 40.10, -92.40, 40.11)
RING = [(-92.41, 40.10), (-92.40, 40.10), (-92.40, 40.11), (-92.41, 40.11)]


def referee_area(polygon: Polygon) -> float:
    """Area by geographiclib (Karney 2013)."""

    def ring(coords):
        outline = Geodesic.WGS84.Polygon()
        for x, y in list(coords)[:-1]:
            outline.AddPoint(y, x)
        return abs(outline.Compute()[2])

    return ring(polygon.exterior.coords) - sum(ring(h.coords) for h in polygon.interiors)


def frame(shapes, crs="EPSG:4326", **columns):
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=crs)


def write(path, shapes, crs="EPSG:4326", layer=None, driver=None, **columns):
    data = frame(shapes, crs, **(columns or {"name": [f"f{i}" for i in range(len(shapes))]}))
    options = {"layer": layer} if layer else {}
    if path.suffix == ".kml":  # by itself the writer makes a folder of a Shapefile of it
        driver = "KML"
    data.to_file(path, driver=driver, engine="pyogrio", **options)
    return path


def complaint(call, *args, **kwargs) -> str:
    with pytest.raises(InputError) as caught:
        call(*args, **kwargs)
    return str(caught.value)


FORMATS = ["f.geojson", "f.gpkg", "f.shp", "f.kml", "f.fgb", "f.parquet", "f.zip"]


@pytest.mark.parametrize("name", FORMATS)
def test_every_format_gives_the_same_field(tmp_path, name):
    holed = Polygon(RING, [[(-92.406, 40.104), (-92.404, 40.104), (-92.405, 40.106)]])
    path = tmp_path / name
    if name == "f.parquet":
        frame([holed], name=["A"]).to_parquet(path)
    elif name == "f.zip":
        write(tmp_path / "inner.shp", [holed])
        with zipfile.ZipFile(path, "w") as archive:
            for part in tmp_path.glob("inner.*"):
                archive.write(part, f"some folder/{part.name}")
    else:
        write(path, [holed])
    boundary, warnings = read_boundary(Source(path))
    assert warnings == []
    assert len(boundary.interiors) == 1
    assert geodesic_area_m2(boundary) == pytest.approx(referee_area(holed), rel=1e-9)


@pytest.mark.parametrize("crs", ["EPSG:26915", "EPSG:3857", "EPSG:5070", "EPSG:4267", "EPSG:32615"])
def test_any_coordinate_system(tmp_path, crs):
    dense = shapely.segmentize(SQUARE, 0.001)
    path = tmp_path / "f.gpkg"
    frame([dense], name=["A"]).to_crs(crs).to_file(path)
    boundary, warnings = read_boundary(Source(path))
    assert warnings == []
    assert shapely.hausdorff_distance(boundary, dense) < 1e-7
    assert geodesic_area_m2(boundary) == pytest.approx(referee_area(dense), rel=1e-6)


def test_a_field_too_large_to_be_one_is_used_with_a_warning(tmp_path):
    path = write(tmp_path / "f.gpkg", [box(0, 0, 0.15, 0.15)])
    boundary, (warning,) = read_boundary(Source(path))
    assert boundary.area == pytest.approx(0.0225)
    assert "is the coordinate system right?" in warning
    path = write(tmp_path / "g.gpkg", [box(0, 0, 1e-6, 1e-6)])
    _, (warning,) = read_boundary(Source(path))
    assert "is the coordinate system right?" in warning


def test_heights_are_dropped_and_parts_kept(tmp_path):
    parts = MultiPolygon([box(0, 0, 0.01, 0.01), box(0.02, 0, 0.03, 0.01)])
    path = write(tmp_path / "f.gpkg", [shapely.force_3d(parts, 120.0)])
    boundary, warnings = read_boundary(Source(path))
    assert not boundary.has_z
    assert len(boundary.geoms) == 2
    assert warnings == []


def test_no_coordinate_system_degrees_are_taken_for_wgs84(tmp_path):
    path = write(tmp_path / "f.shp", [SQUARE], crs=None)
    boundary, (warning,) = read_boundary(Source(path))
    assert boundary.equals(SQUARE)
    assert "f.shp" in warning
    assert "WGS 84" in warning


def test_no_coordinate_system_metres_are_refused_unless_told(tmp_path):
    path = tmp_path / "f.shp"
    metres = frame([SQUARE], name=["A"]).to_crs("EPSG:26915")
    metres.set_crs(None, allow_override=True).to_file(path)
    assert 'crs = "EPSG:26915"' in complaint(read_boundary, Source(path))
    boundary, warnings = read_boundary(Source(path, crs="EPSG:26915"))
    assert warnings == []
    assert shapely.hausdorff_distance(boundary, SQUARE) < 1e-7
    assert "not a coordinate system" in complaint(read_boundary, Source(path, crs="UTM"))


def test_a_told_coordinate_system_that_contradicts_the_file_is_reported(tmp_path):
    path = tmp_path / "f.gpkg"
    frame([SQUARE], name=["A"]).to_crs("EPSG:26915").to_file(path)
    _, (warning,) = read_boundary(Source(path, crs="EPSG:26914"))
    assert "as told" in warning


def test_geojson_with_metres_says_what_to_do(tmp_path):
    path = tmp_path / "f.geojson"
    outline = [[500000, 4400000], [500400, 4400000], [500400, 4400400], [500000, 4400000]]
    path.write_text(json.dumps({"type": "Polygon", "coordinates": [outline]}))
    message = complaint(read_boundary, Source(path))
    assert "are not degrees" in message
    boundary, _ = read_boundary(Source(path, crs="EPSG:26915"))
    assert boundary.centroid.x == pytest.approx(-93, abs=0.01)


def test_latitude_beyond_the_pole_is_called_swapped(tmp_path):
    path = write(tmp_path / "f.geojson", [Polygon([(y, x) for x, y in RING])])
    assert "look swapped" in complaint(read_boundary, Source(path))


def test_an_overlay_that_fails_in_floating_point_loses_no_ground():
    def fragile(a, b, grid):
        if grid is None:
            raise shapely.GEOSException("side location conflict")
        return without(a, b, grid)

    pond = box(-92.408, 40.102, -92.404, 40.106)
    left = in_degrees(fragile, SQUARE, pond)
    expected = geodesic_area_m2(SQUARE) - geodesic_area_m2(pond)
    assert geodesic_area_m2(left) == pytest.approx(expected, abs=0.01)


def test_layers_by_name(tmp_path):
    path = write(tmp_path / "farm.gpkg", [SQUARE], layer="fields")
    write(path, [Point(-92.405, 40.105)], layer="wells")
    boundary, _ = read_boundary(Source(path))  # only one layer has polygons
    assert boundary.equals(SQUARE)
    write(path, [box(0, 0, 1, 1)], layer="zones")
    message = complaint(read_boundary, Source(path))
    assert '"fields"' in message
    assert '"zones"' in message
    assert '"wells"' not in message
    assert read_boundary(Source(path, layer="fields"))[0].equals(SQUARE)
    message = complaint(read_boundary, Source(path, layer="feilds"))
    assert 'Did you mean "fields"?' in message
    assert '"wells"' in message


def test_layers_of_unknown_kind_are_looked_into(tmp_path):
    path = tmp_path / "farm.kml"
    folder = "<Folder><name>{}</name><Placemark>{}</Placemark></Folder>"
    ring = " ".join(f"{x},{y},0" for x, y in [*RING, RING[0]])
    polygon = (
        "<Polygon><outerBoundaryIs><LinearRing><coordinates>"
        f"{ring}</coordinates></LinearRing></outerBoundaryIs></Polygon>"
    )
    point = "<Point><coordinates>-92.405,40.105,0</coordinates></Point>"
    path.write_text(
        '<kml xmlns="http://www.opengis.net/kml/2.2"><Document>'
        + folder.format("wells", point)
        + folder.format("fields", polygon)
        + "</Document></kml>"
    )
    assert read_boundary(Source(path))[0].equals(SQUARE)


def test_selection_by_attribute(tmp_path):
    other = box(-92.38, 40.1, -92.37, 40.11)
    path = write(
        tmp_path / "f.gpkg", [SQUARE, other], name=["Creek Forty", "Home"], number=[7.0, 8.0]
    )
    assert read_boundary(Source(path, where={"name": "Creek Forty"}))[0].equals(SQUARE)
    assert read_boundary(Source(path, where={"number": 8}))[0].equals(other)
    assert 'Did you mean "name"' in complaint(read_boundary, Source(path, where={"nam": "x"}))
    assert 'Did you mean "Home"' in complaint(read_boundary, Source(path, where={"name": "home"}))
    whole, (warning,) = read_boundary(Source(path))
    assert whole.area == pytest.approx(SQUARE.area + 1e-4)
    assert '"Creek Forty", "Home"' in warning


def test_parts_of_one_name_are_one_field(tmp_path):
    path = write(tmp_path / "f.gpkg", [SQUARE, box(-92.39, 40.1, -92.38, 40.11)], name=["a", "a"])
    boundary, warnings = read_boundary(Source(path))
    assert len(boundary.geoms) == 2
    assert warnings == []


def test_a_bow_tie_is_mended_and_the_change_of_area_stated(tmp_path):
    tie = Polygon([(0, 0), (0.01, 0.01), (0.01, 0), (0, 0.01)])
    path = write(tmp_path / "f.geojson", [tie])
    boundary, (warning,) = read_boundary(Source(path))
    halves = [
        Polygon([(0, 0), (0.005, 0.005), (0, 0.01)]),
        Polygon([(0.01, 0), (0.01, 0.01), (0.005, 0.005)]),
    ]
    assert boundary.is_valid
    assert geodesic_area_m2(boundary) == pytest.approx(sum(map(referee_area, halves)), rel=1e-9)
    assert "crosses itself" in warning
    # Two triangles of 1105.7 m by 1113.2 m over 4, in all 152 acres, to three digits.
    assert "to 152.1 ac (61.55 ha)" in warning


def test_points_and_open_lines_are_no_boundary(tmp_path):
    path = write(tmp_path / "p.geojson", [Point(0, 0), Point(1, 1)])
    assert "holds points, but a boundary has to be an area" in complaint(
        read_boundary, Source(path)
    )
    path = write(tmp_path / "l.geojson", [LineString(RING)])
    assert "holds lines" in complaint(read_boundary, Source(path))


def test_a_closed_line_is_taken_for_the_area_it_encloses(tmp_path):
    path = write(tmp_path / "l.geojson", [LineString([*RING, RING[0]])])
    boundary, (warning,) = read_boundary(Source(path))
    assert boundary.equals(SQUARE)
    assert "drawn as a line" in warning


def test_a_boundary_walked_around_with_a_receiver(tmp_path):
    path = tmp_path / "walk.gpx"
    corners = [*RING, (-92.41, 40.10003)]  # stopped three metres short
    points = "".join(f'<trkpt lat="{y}" lon="{x}"/>' for x, y in corners)
    path.write_text(
        '<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">'
        f'<wpt lat="40.1" lon="-92.4"/><trk><trkseg>{points}</trkseg></trk></gpx>'
    )
    boundary, (warning,) = read_boundary(Source(path))
    assert geodesic_area_m2(boundary) == pytest.approx(referee_area(SQUARE), rel=1e-6)
    assert "ends meet" in warning


def test_areas_mixed_with_points_are_used_without_them(tmp_path):
    mixed = GeometryCollection([SQUARE, Point(-92.405, 40.105)])
    boundary, (warning,) = read_boundary(Source(write(tmp_path / "f.geojson", [mixed])))
    assert boundary.equals(SQUARE)
    assert "only its areas were used" in warning


def test_coordinates_outside_their_system(tmp_path):
    path = write(tmp_path / "f.gpkg", [box(1e9, 1e9, 1e9 + 1, 1e9 + 1)], crs="EPSG:26915")
    message = complaint(read_boundary, Source(path))
    assert "do not fit the coordinate system" in message


def test_an_outline_without_ground_is_refused(tmp_path):
    path = write(tmp_path / "f.geojson", [Polygon([(0, 0), (0.01, 0.01), (0, 0)])])
    assert "enclose no ground" in complaint(read_boundary, Source(path))


def test_coordinates_that_are_not_numbers(tmp_path):
    path = tmp_path / "f.parquet"
    bad = Polygon([(0, 0), (1, np.nan), (1, 1), (0, 0)])
    frame([SQUARE, bad], name=["a", "b"]).to_parquet(path)
    message = complaint(read_boundary, Source(path))
    assert "feature 2" in message
    assert "not numbers" in message


@pytest.mark.parametrize("name", ["f.geojson", "f.shp", "f.parquet", "f.zip", "f.kml"])
def test_missing_empty_and_garbled_files(tmp_path, name):
    path = tmp_path / name
    assert "no such file" in complaint(read_boundary, Source(path))
    path.write_bytes(b"")
    assert "is empty" in complaint(read_boundary, Source(path))
    path.write_bytes(b"these are not the bytes of a map" * 9)
    assert name in complaint(read_boundary, Source(path))


def test_no_features_and_no_shapes(tmp_path):
    path = tmp_path / "f.geojson"
    path.write_text('{"type": "FeatureCollection", "features": []}')
    assert "no features" in complaint(read_boundary, Source(path))
    path = write(tmp_path / "g.gpkg", [None, Polygon()])
    assert "has a shape" in complaint(read_boundary, Source(path))
    path = write(tmp_path / "h.gpkg", [None, SQUARE])
    _, (warning,) = read_boundary(Source(path))
    assert "left out (1)" in warning


@pytest.mark.parametrize("zipped", [False, True])
def test_a_shapefile_without_its_index(tmp_path, zipped):
    path = write(tmp_path / "f.shp", [SQUARE, box(-92.39, 40.10, -92.38, 40.11), None, SQUARE])
    path.with_suffix(".shx").unlink()
    if zipped:
        path = packed(tmp_path / "f.zip", sorted(tmp_path.glob("f.*")))
    before = sorted(tmp_path.iterdir())
    boundary, warnings = read_boundary(Source(path))
    assert any(".shx part) is missing" in text for text in warnings)
    assert boundary.area == pytest.approx(2 * SQUARE.area)
    assert sorted(tmp_path.iterdir()) == before


def packed(path, parts, folder=""):
    with zipfile.ZipFile(path, "w") as archive:
        for part in parts:
            archive.write(part, f"{folder}{part.name}")
    return path


def test_a_zip_of_several_shapefiles_has_layers(tmp_path):
    write(tmp_path / "a.shp", [SQUARE])
    write(tmp_path / "b.shp", [box(0, 0, 1, 1)])
    path = tmp_path / "both.zip"
    with zipfile.ZipFile(path, "w") as archive:
        for part in sorted(tmp_path.glob("[ab].*")):
            archive.write(part, part.name)
    assert "several layers" in complaint(read_boundary, Source(path))
    assert read_boundary(Source(path, layer="a"))[0].equals(SQUARE)
    empty = tmp_path / "none.zip"
    with zipfile.ZipFile(empty, "w") as archive:
        archive.writestr("read me.txt", "nothing")
    assert "no map file in the zip" in complaint(read_boundary, Source(empty))


def test_longitude_runs_on_past_the_antimeridian(tmp_path):
    halves = [box(179.99, -17.01, 180, -17.0), box(-180, -17.01, -179.99, -17.0)]
    path = write(tmp_path / "f.geojson", [MultiPolygon(halves)])
    boundary, warnings = read_boundary(Source(path))
    assert warnings == []
    assert boundary.geom_type == "Polygon"
    assert boundary.bounds == pytest.approx((179.99, -17.01, 180.01, -17.0))
    assert geodesic_area_m2(boundary) == pytest.approx(sum(map(referee_area, halves)), rel=1e-9)
    # Zones and tracks east of the line join the boundary's turn of the globe.
    zones, _ = read_zones(Source(write(tmp_path / "z.geojson", [halves[1]])), boundary)
    assert zones.total_bounds[0] == pytest.approx(180)
    track = Track("t.csv", np.arange(2.0), np.array([-179.995, 179.995]), np.array([-17.005] * 2))
    (placed,), warnings = place_tracks([track], boundary, field="Creek Forty")
    assert placed.lon == pytest.approx([180.005, 179.995])
    assert warnings == []


def test_a_projected_field_on_the_antimeridian(tmp_path):
    whole = shapely.segmentize(box(179.99, -17.01, 180.01, -17.0), 0.005)
    path = tmp_path / "f.gpkg"
    frame([whole], name=["A"]).to_crs("EPSG:3832").to_file(path)
    boundary, _ = read_boundary(Source(path))
    assert geodesic_area_m2(boundary) == pytest.approx(referee_area(whole), rel=1e-6)


def test_longitudes_counted_to_360(tmp_path):
    path = write(
        tmp_path / "f.geojson", [shapely.transform(SQUARE, lambda xy: xy + np.array([360, 0]))]
    )
    assert read_boundary(Source(path))[0].bounds == pytest.approx(SQUARE.bounds)


def test_unworkable_ground(tmp_path):
    path = write(
        tmp_path / "u.geojson",
        [box(-92.406, 40.1, -92.405, 40.11), box(-92.403, 40.1, -92.402, 40.105)],
    )
    ground, warnings = read_unworkable(Source(path), SQUARE)
    assert warnings == []
    assert ground.area == pytest.approx(1.5e-5)
    _, (warning,) = read_unworkable(Source(path), box(0, 0, 1, 1))
    assert "nothing in it lies inside the field" in warning


def test_zones_of_one_name_are_one_and_overlaps_count_once(tmp_path):
    path = write(
        tmp_path / "z.geojson",
        [box(0, 0, 0.01, 0.01), box(0.008, 0, 0.02, 0.01), box(0, 0.02, 0.01, 0.03)],
        Zone=["low", "high", "low"],
    )
    zones, (warning,) = read_zones(Source(path))
    assert list(zones.zone) == ["low", "high"]
    square_degrees = shapely.area(zones.geometry.array)
    assert square_degrees == pytest.approx([2e-4, 1.2e-4 - 0.2e-4])
    assert zones.union_all().area == pytest.approx(square_degrees.sum(), rel=1e-12)
    assert '"low" and "high" overlap' in warning
    shared = box(0.008, 0, 0.01, 0.01)
    assert f"{referee_area(shared) / 4046.8564224:.2f} ac" in warning


def test_a_zone_wholly_under_earlier_ones_disappears(tmp_path):
    path = write(tmp_path / "z.geojson", [box(0, 0, 2, 2), box(0, 0, 1, 1)], zone=["a", "b"])
    zones, warnings = read_zones(Source(path))
    assert list(zones.zone) == ["a"]
    assert any("overlap" in w for w in warnings)


def test_zones_that_only_touch_do_not_overlap(tmp_path):
    path = write(tmp_path / "z.geojson", [box(0, 0, 1, 1), box(1, 0, 2, 1)], zone=[1, 2])
    zones, warnings = read_zones(Source(path))
    assert list(zones.zone) == ["1", "2"]
    assert warnings == []


def test_zones_without_names_are_numbered(tmp_path):
    shapes = [box(i, 0, i + 1, 1) for i in range(3)]
    path = write(tmp_path / "z.geojson", shapes, zone=["zone 2", None, " "])
    zones, (warning,) = read_zones(Source(path))
    assert list(zones.zone) == ["zone 2", "zone 2*", "zone 3"]
    assert "2 zones have no name" in warning
    path = write(tmp_path / "n.geojson", shapes, soil=["a", "b", "c"])
    zones, (warning,) = read_zones(Source(path))
    assert list(zones.zone) == ["zone 1", "zone 2", "zone 3"]
    zones, warnings = read_zones(Source(path), name_column="soil")
    assert list(zones.zone) == ["a", "b", "c"]
    assert warnings == []
    assert 'Did you mean "soil"' in complaint(read_zones, Source(path), name_column="soils")


def test_setbacks_take_points_lines_and_areas(tmp_path):
    path = write(
        tmp_path / "s.geojson",
        [Point(0, 0), LineString([(0, 0), (1, 1)]), box(0, 0, 1, 1)],
        name=["well", None, "pond"],
    )
    setbacks, warnings = read_setbacks(Source(path), 30.48)
    assert list(setbacks["name"]) == ["well", "setback 2", "pond"]
    assert (setbacks.distance_m == 30.48).all()
    assert warnings == []
    assert setbacks.crs.to_epsg() == 4326


def test_a_file_of_many_fields_is_read_once(tmp_path, monkeypatch):
    path = write(tmp_path / "f.gpkg", [SQUARE, box(0, 0, 1, 1)], name=["a", "b"])
    cache: dict = {}
    read_layer(Source(path, where={"name": "a"}), cache=cache)
    monkeypatch.setattr("pyogrio.read_dataframe", None)
    second, _ = read_layer(Source(path, where={"name": "b"}), cache=cache)
    assert second.geometry.iloc[0].equals(box(0, 0, 1, 1))


def track_at(lon, lat, name="log.csv"):
    lon, lat = np.broadcast_arrays(np.asarray(lon, float), np.asarray(lat, float))
    return Track(name, np.arange(float(lon.size)), lon.ravel().copy(), lat.ravel().copy())


def test_a_log_far_away_says_how_far_and_where():
    boundary = box(-92.41, 40.10, -92.40, 40.11)
    track = track_at(-92.405, np.linspace(41.11, 41.2, 50))
    with pytest.raises(InputError) as caught:
        place_tracks([track], boundary, field="Creek Forty")
    metres = Geodesic.WGS84.Inverse(40.11, -92.405, 41.11, -92.405)["s12"]
    message = str(caught.value)
    assert f"{metres / 1609.344:.1f} mi ({metres / 1000:.0f} km) north of it" in message
    assert "log.csv" in message
    assert "Creek Forty" in message
    assert "same field" in message


@pytest.mark.parametrize(
    ("lon", "lat", "slip"),
    [
        (40.105, -92.405, "swapped"),
        (92.405, 40.105, "longitudes of one of them change sign"),
        (-92.405, -40.105, "latitudes of one of them change sign"),
    ],
)
def test_slips_that_explain_the_distance(lon, lat, slip):
    with pytest.raises(InputError, match=slip):
        place_tracks([track_at([lon] * 3, lat)], SQUARE, field="Creek Forty")


def test_tracks_without_a_boundary_run_on_past_the_antimeridian():
    tracks = [track_at([np.nan, 179.9, -179.9], -17.0), track_at([-179.8, 179.8], -17.0)]
    first, second = turn_tracks(tracks)
    assert first.lon[1:] == pytest.approx([179.9, 180.1])
    assert second.lon == pytest.approx([180.2, 179.8])
    (same,) = turn_tracks([track_at([-92.4, -92.5], 40.0)])
    assert same.lon.tolist() == [-92.4, -92.5]


def test_a_log_mostly_elsewhere_is_used_with_a_warning():
    inside = np.r_[np.full(10, -92.405), np.full(90, -92.5), np.nan]
    (placed,), (warning,) = place_tracks([track_at(inside, 40.105)], SQUARE, field="Creek Forty")
    assert len(placed) == 101
    assert "only 10.0 % of its 100 positions" in warning


def test_a_track_without_positions_is_left_to_others():
    placed, warnings = place_tracks([track_at([np.nan], 40.0)], SQUARE, field="Creek Forty")
    assert len(placed) == 1
    assert warnings == []


@pytest.mark.parametrize("stray", [(0.0, 0.0), (-92.405, 0.0), (-92.405, 40.4)])
def test_a_corner_no_field_has_is_named(tmp_path, stray):
    away_km = geographiclib_km((-92.41, 40.10), stray)
    corners = [(-92.41, 40.10), (-92.40, 40.10), stray, (-92.40, 40.11), (-92.41, 40.11)]
    path = write(tmp_path / "f.gpkg", [SQUARE, Polygon(corners)], name=["a", "a"])
    message = complaint(read_boundary, Source(path))
    assert "feature 2, corner 3" in message
    assert f"{stray[1]:.5f}, {stray[0]:.5f}" in message
    (told,) = re.findall(r"\(([\d,.]+) km\)", message)
    assert float(told.replace(",", "")) == pytest.approx(away_km, rel=0.02)


def geographiclib_km(here, there):
    return Geodesic.WGS84.Inverse(here[1], here[0], there[1], there[0])["s12"] / 1000


def test_a_strange_corner_is_told(tmp_path):
    ring = shapely.get_coordinates(shapely.segmentize(SQUARE, 0.001))[:-1]
    path = write(tmp_path / "f.gpkg", [Polygon([*ring, (-92.49, 40.10)])])
    _, (warning, *_) = read_boundary(Source(path))
    assert f"corner {len(ring) + 1}" in warning
    assert "look at it on the map" in warning


def test_outlines_too_far_apart_are_no_field(tmp_path):
    path = write(tmp_path / "f.gpkg", [SQUARE, box(-91.41, 40.10, -91.40, 40.11)], name=["a", "b"])
    message = complaint(read_boundary, Source(path))
    assert '"a", "b"' in message
    assert "--boundary-where" in message
    assert read_boundary(Source(path, where={"name": "b"}))[1] == []


def test_paddocks_far_apart_are_several_fields(tmp_path):
    path = write(tmp_path / "f.gpkg", [SQUARE, box(-91.41, 40.10, -91.40, 40.11)], name=["a", "b"])
    assert len(read_paddocks(Source(path))[0]) == 2
