"""Whatever a file holds, a reader answers with tracks or with a clear complaint.

Random bytes and spoilt good files: never another kind of error, never a hang, never a
gigabyte. ``tests/fuzz_atheris.py`` looks further, guided by the code.
"""

from __future__ import annotations

import resource
import warnings
import zipfile
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from spoiled import LOGS, blockages, geojson_boundary, season, spoilt

from evenacre.errors import InputError
from evenacre.io.blockages import blockages_of, read_blockage_file
from evenacre.io.layers import Source
from evenacre.io.season import draft_season
from evenacre.io.tracks import read_tracks
from evenacre.io.vectors import read_boundary, read_zones
from evenacre.model import Implement

GIGABYTE_KB = 1 << 20
fuzzed = settings(
    max_examples=60,
    deadline=timedelta(seconds=10),
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


@pytest.fixture(autouse=True)
def _within_a_gigabyte() -> Iterator[None]:
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < GIGABYTE_KB


def answers(reader: Callable[[], object]) -> object | None:
    """What a reader gives; None when it complains, which it has to do in full."""
    try:
        return reader()
    except InputError as error:
        problems = error.problems
    assert problems
    for problem in problems:
        assert problem.what
        assert problem.remedy
    return None


def check_tracks(file: Path) -> None:
    tracks = answers(lambda: read_tracks(file))
    for track in tracks or ():
        n = len(track)
        assert n > 0
        assert np.isfinite(track.time_s).all()
        assert np.abs(track.lat[np.isfinite(track.lat)]).max(initial=0) <= 90
        for column in (
            *(track.lon, track.lat, track.working, track.sections, track.width_m),
            *(track.speed_mps, track.heading_rad, track.distance_m, track.interval_s),
            *(track.sigma_m, *track.rates.values(), *track.flows.values()),
        ):
            assert column is None or len(column) == n


@pytest.mark.parametrize("name", LOGS)
def test_good_logs_are_read(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(LOGS[name])
    crs = "EPSG:26915" if name == "semicolon.csv" else None
    (track,) = read_tracks(tmp_path / name, crs=crs)
    assert np.isfinite(track.lon).all()


@pytest.mark.parametrize("name", LOGS)
@fuzzed
@given(data=st.data())
def test_spoilt_logs(tmp_path: Path, name: str, data: st.DataObject) -> None:
    (tmp_path / name).write_bytes(data.draw(spoilt(LOGS[name])))
    check_tracks(tmp_path / name)


@pytest.mark.parametrize("suffix", ["csv", "gpx", "nmea", "geojson", "log"])
@fuzzed
@given(content=st.binary(max_size=600))
def test_random_bytes_as_a_log(tmp_path: Path, suffix: str, content: bytes) -> None:
    (tmp_path / f"log.{suffix}").write_bytes(content)
    check_tracks(tmp_path / f"log.{suffix}")


@fuzzed
@given(content=spoilt(geojson_boundary()))
def test_spoilt_boundaries_and_zones(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "field.geojson").write_bytes(content)
    answers(lambda: read_boundary(Source(tmp_path / "field.geojson")))
    answers(lambda: read_zones(Source(tmp_path / "field.geojson")))


@fuzzed
@given(content=st.one_of(spoilt(season()), st.binary(max_size=300)))
def test_spoilt_season_files(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "field.geojson").write_bytes(geojson_boundary())
    (tmp_path / "log.csv").write_bytes(LOGS["log.csv"])
    (tmp_path / "blockages.csv").write_bytes(blockages())
    (tmp_path / "season.toml").write_bytes(content)
    answers(lambda: draft_season(tmp_path / "season.toml"))


@fuzzed
@given(content=st.one_of(spoilt(blockages()), st.binary(max_size=300)))
def test_spoilt_blockage_tables(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "blockages.csv").write_bytes(content)
    drill = Implement(width_m=6.0, rows=32, rows_known=True, rows_per_tower=8)

    def read() -> object:
        notes, _ = read_blockage_file(tmp_path / "blockages.csv")
        return blockages_of(notes, drill)

    answers(read)


def complaint(file: Path) -> str:
    with pytest.raises(InputError) as caught:
        read_tracks(file)
    return str(caught.value)


def test_every_feature_with_an_attribute_of_its_own(tmp_path: Path) -> None:
    # Half a megabyte whose table would take gigabytes.
    features = ",".join(
        f'{{"type":"Feature","properties":{{"k{i}":1}},"geometry":'
        f'{{"type":"Point","coordinates":[-93.5,{40 + i * 1e-6:.7f}]}}}}'
        for i in range(5000)
    )
    text = f'{{"type":"FeatureCollection","features":[{features}]}}'
    (tmp_path / "log.geojson").write_text(text)
    assert "5,000 attributes" in complaint(tmp_path / "log.geojson")


def test_attributes_that_are_lists_and_objects(tmp_path: Path) -> None:
    text = (
        LOGS["log.geojson"].decode().replace('"work":', '"more":{"a":[1,2]},"list":["x"],"work":')
    )
    (tmp_path / "log.geojson").write_text(text)
    (track,) = read_tracks(tmp_path / "log.geojson")
    assert track.working is not None


def test_too_many_columns_cells_too_long_and_sections_without_end(tmp_path: Path) -> None:
    file = tmp_path / "log.csv"
    file.write_text(",".join(f"c{i}" for i in range(20_000)) + "\n" + "," * 19_999)
    assert "20,000 columns" in complaint(file)
    rows = [f"-93.5,{40 + i * 1e-5},{i},{'1' * (4 if i else 90_000)}" for i in range(20_000)]
    file.write_text("lon,lat,time,sections\n" + "\n".join(rows))
    (track,) = read_tracks(file)
    assert track.sections is None
    file.write_text("lon,lat,time,sections\n" + "1" * 200_000 + "\n")
    assert "no table" in complaint(file)


def test_texts_without_end_are_no_times_and_are_cut_in_complaints(tmp_path: Path) -> None:
    file = tmp_path / "log.csv"
    file.write_text('lon,lat,time\n1,2,"' + "a\n" * 1_000_000)
    said = complaint(file)
    assert "is not a time" in said
    assert len(said) < 500
    rows = [f"-93.5,{40 + i * 1e-6},odd {i}th of Nonsense" for i in range(200_000)]
    file.write_text("lon,lat,time\n" + "\n".join(rows))  # tried one by one it takes a minute
    assert "is not a time" in complaint(file)


def test_files_that_point_to_other_files_are_refused(tmp_path: Path) -> None:
    (tmp_path / "other.geojson").write_bytes(LOGS["log.geojson"])
    pointer = (
        f'<OGRVRTDataSource><OGRVRTLayer name="other"><SrcDataSource>{tmp_path / "other.geojson"}'
        "</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>"
    )
    (tmp_path / "log.kml").write_text(pointer)
    assert "points to other files" in complaint(tmp_path / "log.kml")
    with zipfile.ZipFile(tmp_path / "log.zip", "w") as archive:
        archive.writestr("log.geojson", pointer)
    assert "points to other files" in complaint(tmp_path / "log.zip")


@pytest.mark.parametrize("suffix", ["kml", "gml", "geojson"])
def test_entities_in_map_files_do_no_harm(tmp_path: Path, suffix: str) -> None:
    entities = '<!ENTITY a0 "aaaaaaaaaa">' + "".join(
        f'<!ENTITY a{i} "{f"&a{i - 1};" * 10}">' for i in range(1, 10)
    )
    (tmp_path / f"log.{suffix}").write_text(
        f'<?xml version="1.0"?><!DOCTYPE kml [{entities}]><kml xmlns="http://www.opengis.net/kml/2.2">'
        "<Document><Placemark><name>&a9;</name><Point><coordinates>-93.5,40</coordinates></Point>"
        "</Placemark></Document></kml>"
    )
    assert complaint(tmp_path / f"log.{suffix}")
