"""GPX 1.1 files read as tracks; GDAL is the independent writer."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from complaints import complaint
from shapely.geometry import LineString, Point

from evenacre.io.logs.read_tracks import read_tracks

HEAD = (
    '<?xml version="1.0"?><gpx version="1.1" creator="test" '
    'xmlns="http://www.topografix.com/GPX/1/1" xmlns:e="urn:extension">'
)


def gpx(path: Path, body: str, head: str = HEAD) -> Path:
    file = path / "log.gpx"
    file.write_text(f"{head}{body}</gpx>")
    return file


def point(i: int, inside: str = "") -> str:
    return f'<trkpt lat="{40 + i * 1e-5}" lon="-93.5">{inside}</trkpt>'


def test_points_written_by_gdal(tmp_path):
    rng = np.random.default_rng(3)
    n = 200
    lon = -93.5 + rng.normal(0, 1e-4, n).round(9)
    lat = 40 + np.arange(n) * 1e-5
    when = pd.Timestamp("2026-04-14T12:00:00Z") + pd.to_timedelta(np.arange(n) * 200, unit="ms")
    frame = gpd.GeoDataFrame(
        {
            "track_fid": 0,
            "track_seg_id": np.repeat([0, 1], n // 2),
            "track_seg_point_id": np.tile(np.arange(n // 2), 2),
            "time": when,
        },
        geometry=gpd.points_from_xy(lon, lat),
        crs=4326,
    )
    frame.to_file(tmp_path / "log.gpx", driver="GPX", layer="track_points", engine="pyogrio")
    (track,) = read_tracks(tmp_path / "log.gpx")
    np.testing.assert_allclose(track.lon, lon, atol=1e-9)
    np.testing.assert_allclose(track.lat, lat, atol=1e-9)
    expected = np.array([t.timestamp() for t in when])
    np.testing.assert_allclose(track.time_s, expected, atol=1e-3)
    assert track.warnings == ()


def test_speed_course_and_mapped_extensions(tmp_path):
    extras = (
        "<time>2026-04-14T12:00:0{}Z</time><extensions><e:TrackPoint><e:speed>2.5</e:speed>"
        "<e:course>90</e:course><e:tool>{}</e:tool></e:TrackPoint></extensions>"
    )
    points = "".join(point(i, extras.format(i, i % 2)) for i in range(6))
    file = gpx(tmp_path, f"<trk><trkseg>{points}</trkseg></trk>")
    (track,) = read_tracks(file, columns={"work": "tool"})
    np.testing.assert_allclose(track.speed_mps, 2.5)
    np.testing.assert_allclose(track.heading_rad, np.pi / 2)
    assert track.working.tolist() == [False, True] * 3


def test_no_times_are_made_from_distance_and_said(tmp_path):
    segment = "".join(point(i) for i in range(3))
    other = "".join(point(i + 50) for i in range(3))
    file = gpx(tmp_path, f"<trk><trkseg>{segment}</trkseg><trkseg>{other}</trkseg></trk>")
    (track,) = read_tracks(file)
    step = np.diff(track.time_s)
    # A step of 1e-5 degree of latitude at 40 N: 111,035 m a degree (GRS 80), within 0.5 %.
    np.testing.assert_allclose(step[[0, 1, 3, 4]], 1.11035 / 2, rtol=0.005)
    assert step[2] == 60
    assert any("no times" in w and "not known" in w for w in track.warnings)


def test_bad_files(tmp_path):
    whole = gpx(tmp_path, f"<trk><trkseg>{point(1)}</trkseg></trk>").read_text()
    (tmp_path / "log.gpx").write_text(whole[:-20])
    assert "breaks off" in complaint(tmp_path / "log.gpx")
    gpx(tmp_path, '<wpt lat="40" lon="-93"/>')
    assert "no track points" in complaint(tmp_path / "log.gpx")
    (tmp_path / "log.gpx").write_text("")
    assert "empty" in complaint(tmp_path / "log.gpx")
    swapped = '<trkpt lat="-93.5" lon="40"/><trkpt lat="-93.6" lon="40"/>'
    gpx(tmp_path, f"<trk><trkseg>{swapped}</trkseg></trk>")
    assert "swapped" in complaint(tmp_path / "log.gpx")
    gpx(tmp_path, '<trk><trkseg><trkpt lat="x" lon="40"/></trkseg></trk>')
    assert "track point 1" in complaint(tmp_path / "log.gpx")


def test_entities_are_refused(tmp_path):
    head = HEAD.replace("<gpx", '<!DOCTYPE gpx [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><gpx')
    file = gpx(tmp_path, f"<trk><name>&b;</name><trkseg>{point(1)}</trkseg></trk>", head)
    assert "entities" in complaint(file)


def test_single_fix(tmp_path):
    file = gpx(tmp_path, f"<trk><trkseg>{point(1)}</trkseg></trk>")
    (track,) = read_tracks(file)
    assert any("single fix" in w for w in track.warnings)


def test_content_counts_more_than_the_suffix(tmp_path):
    file = gpx(tmp_path, f"<trk><trkseg>{point(1)}{point(2)}</trkseg></trk>")
    file.rename(tmp_path / "log.txt")
    (track,) = read_tracks(tmp_path / "log.txt")
    assert len(track) == 2


def test_route_written_by_gdal_is_no_track(tmp_path):
    frame = gpd.GeoDataFrame(geometry=[LineString([(0, 0), (1, 1)])], crs=4326)
    frame.to_file(tmp_path / "log.gpx", driver="GPX", layer="routes", engine="pyogrio")
    assert "no track points" in complaint(tmp_path / "log.gpx")
    frame = gpd.GeoDataFrame(geometry=[Point(0, 0)], crs=4326)
    frame.to_file(tmp_path / "w.gpx", driver="GPX", layer="waypoints", engine="pyogrio")
    assert "no track points" in complaint(tmp_path / "w.gpx")


def test_a_document_type_without_entities_does_no_harm(tmp_path):
    head = HEAD.replace("<gpx", '<!DOCTYPE gpx SYSTEM "http://127.0.0.1:9/gpx.dtd"><gpx')
    (track,) = read_tracks(gpx(tmp_path, f"<trk><trkseg>{point(1)}{point(2)}</trkseg></trk>", head))
    assert len(track) == 2


def test_external_entities_are_refused(tmp_path):
    (tmp_path / "secret").write_text("2026-04-14T12:00:00Z")
    head = HEAD.replace(
        "<gpx", f'<!DOCTYPE gpx [<!ENTITY x SYSTEM "{(tmp_path / "secret").as_uri()}">]><gpx'
    )
    inside = "<time>&x;</time>"
    file = gpx(tmp_path, f"<trk><trkseg>{point(1, inside)}</trkseg></trk>", head)
    assert "entities" in complaint(file)


def test_every_point_with_a_name_of_its_own_fills_no_memory(tmp_path):
    points = "".join(point(i, f"<e:n{i}>1</e:n{i}>") for i in range(3000))
    (track,) = read_tracks(gpx(tmp_path, f"<trk><trkseg>{points}</trkseg></trk>"))
    assert len(track) == 3000
    assert any("2,800 kinds" in w for w in track.warnings)


def test_utf_16_and_an_unknown_encoding(tmp_path):
    whole = gpx(tmp_path, f"<trk><trkseg>{point(1)}{point(2)}</trkseg></trk>").read_text()
    (tmp_path / "log.gpx").write_bytes(whole.replace("?>", ' encoding="UTF-16"?>').encode("utf-16"))
    assert len(read_tracks(tmp_path / "log.gpx")[0]) == 2
    (tmp_path / "log.gpx").write_text(whole.replace("?>", ' encoding="nonsense"?>'))
    assert "encoding" in complaint(tmp_path / "log.gpx")


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be"])
@pytest.mark.parametrize("name", ["log.gpx", "log.xml"])
def test_text_of_two_bytes_a_sign(tmp_path, encoding, name):
    body = "<trk><trkseg>" + "".join(point(i) for i in range(12)) + "</trkseg></trk>"
    for head in (HEAD, HEAD.replace('"1.0"', '"1.0" encoding="UTF-8"', 1)):
        file = tmp_path / name
        file.write_bytes(f"{head}{body}</gpx>".encode(encoding))
        (track,) = read_tracks(file)
        np.testing.assert_allclose(track.lat, 40 + np.arange(12) * 1e-5, atol=1e-9)
