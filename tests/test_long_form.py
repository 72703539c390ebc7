"""Logs with one record a section: at the place of the fix, or each at its own."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from time import perf_counter

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from jobs import SPEED_MPS, START_S, Turtle

from evenacre.coverage.audit import audit_operation
from evenacre.errors import InputError
from evenacre.geo.local_crs import WorkingPlane
from evenacre.io.logs.read_tracks import read_tracks
from evenacre.model import Field, Implement, Operation, Track
from evenacre.model.audit_result import AuditResult

FIXES, SECTIONS = 40, 4
STATES = np.random.default_rng(4).random((FIXES, SECTIONS)) < 0.7


def fixes() -> pd.DataFrame:
    """A machine going north at 2 m/s (spherical degrees), one fix a second."""
    k = np.arange(FIXES)
    return pd.DataFrame({"lon": -93.5, "lat": 40 + k * 2 / 111_195, "time": k + 1_557_029_944})


def long_form(number: str = "Section", state: str | None = "State", base: int = 1) -> pd.DataFrame:
    frame = fixes().loc[np.repeat(np.arange(FIXES), SECTIONS)].reset_index(drop=True)
    frame[number] = np.tile(np.arange(SECTIONS) + base, FIXES)
    if state is not None:
        frame[state] = np.where(STATES.ravel(), "on", "off")
    return frame


def read(folder: Path, frame: pd.DataFrame, **columns: str) -> Track:
    frame.to_csv(folder / "log.csv", index=False)
    (track,) = read_tracks(folder / "log.csv", columns=columns)
    return track


@pytest.mark.parametrize(
    ("number", "state", "base"),
    [
        ("Section", "State", 1),
        ("section_id", "work state", 0),
        ("Section number", "Section state", 1),
        ("row", "status", 1),
    ],
)
def test_states_of_a_fix_are_put_together(
    tmp_path: Path, number: str, state: str, base: int
) -> None:
    track = read(tmp_path, long_form(number, state, base))
    assert len(track) == FIXES
    np.testing.assert_array_equal(track.sections, STATES)
    assert track.sections_are_rows == (number == "row")
    assert any(f'"{number}"' in note and "number of the" in note for note in track.notes)


def test_order_of_records_does_not_matter(tmp_path: Path) -> None:
    frame = long_form()
    by_section = frame.sort_values(["Section", "time"], ascending=[False, True])
    np.testing.assert_array_equal(read(tmp_path, by_section).sections, STATES)


def test_a_mapping_settles_it(tmp_path: Path) -> None:
    track = read(tmp_path, long_form("k", "s"), section_number="k", work="s")
    np.testing.assert_array_equal(track.sections, STATES)


def test_where_only_working_sections_are_listed_the_others_are_off(tmp_path: Path) -> None:
    listed = long_form(state=None)[STATES.ravel()]
    seen = STATES.any(axis=1)
    np.testing.assert_array_equal(read(tmp_path, listed).sections, STATES[seen])


def test_rates_of_sections_are_averaged_and_flows_added(tmp_path: Path) -> None:
    on = STATES.astype(float)
    own = on * np.array([100.0, 120.0, 140.0, 160.0])
    frame = long_form()
    frame["rate (kg/ha)"], frame["flow (kg/s)"] = own.ravel(), own.ravel() / 1000
    track = read(tmp_path, frame)
    some = np.maximum(on.sum(axis=1), 1)
    np.testing.assert_allclose(track.rates[""], own.sum(axis=1) / some / 1e4, rtol=1e-12)
    np.testing.assert_allclose(track.flows[""], own.sum(axis=1) / 1000, rtol=1e-12)


def test_a_rate_of_the_whole_machine_stays(tmp_path: Path) -> None:
    frame = long_form().assign(**{"rate (kg/ha)": np.repeat(np.arange(FIXES) + 100.0, SECTIONS)})
    np.testing.assert_allclose(read(tmp_path, frame).rates[""], (np.arange(FIXES) + 100) / 1e4)


def test_numbers_of_records_are_no_sections(tmp_path: Path) -> None:
    track = read(tmp_path, fixes().assign(row=np.arange(FIXES) + 1, work=1))
    assert len(track) == FIXES
    assert track.sections is None
    assert track.working is not None
    assert track.working.all()


@pytest.mark.parametrize("values", [np.arange(FIXES) + 1, ["a"] * FIXES])
def test_a_wrong_mapping_is_said(tmp_path: Path, values: object) -> None:
    with pytest.raises(InputError, match="section_number"):
        read(tmp_path, fixes().assign(k=values), section_number="k")


def test_what_is_not_used_is_told(tmp_path: Path) -> None:
    frame = long_form().assign(remark="wet", nothing="")
    (note,) = [n for n in read(tmp_path, frame).notes if n.endswith("not used.")]
    assert note == 'log.csv: column "remark" not used.'


def test_towers_are_sections(tmp_path: Path) -> None:
    names = {f"Tower {k + 1}": STATES[:, k].astype(int) for k in range(SECTIONS)}
    track = read(tmp_path, fixes().assign(**names))
    np.testing.assert_array_equal(track.sections, STATES)
    assert not track.sections_are_rows


PLANE = WorkingPlane(-93.5, 41.0)
RATES = np.linspace(80.0, 120.0, 24)


@dataclass(frozen=True)
class Sprayed:
    """A drive whose sections are logged as points, and what they swept and put out."""

    records: pd.DataFrame
    swept_m2: float
    applied_kg: float


def as_points(
    widths_m: Sequence[float], interval_s: float, *, off: int = 0, rates: bool = True
) -> Sprayed:
    """Four passes and three half turns; ``off`` stretches with some of the sections off."""
    width = np.array(widths_m)
    turtle, turn = Turtle(0.0, 0.0, 0.3), math.pi
    for number in range(4):
        turtle.forward(200.0, work=True)
        if number < 3:
            turtle.arc(width.sum() / 2, turn)
            turn = -turn
    drive = turtle.sample(SPEED_MPS * interval_s, SPEED_MPS)
    left = width.sum() / 2 - (np.cumsum(width) - width / 2)
    x = drive.x_m[:, None] - left * np.sin(drive.heading_rad)[:, None]
    y = drive.y_m[:, None] + left * np.cos(drive.heading_rad)[:, None]
    on = np.repeat(drive.working[:, None], len(width), axis=1)
    rng = np.random.default_rng(7)
    for _ in range(off):
        first, section = rng.integers(len(x)), rng.integers(len(width))
        on[first : first + rng.integers(5, 40), section : section + rng.integers(1, 9)] = False
    rate = np.where(on, RATES[: len(width)] if rates else 100.0, 0.0)
    # The sum of each section's own steps; a switch lies midway between two records.
    moved = np.hypot(np.diff(x, axis=0), np.diff(y, axis=0)) * width
    lon, lat = PLANE.lonlat(x.ravel(), y.ravel())
    records = pd.DataFrame(
        {
            "lon": np.round(lon, 8),
            "lat": np.round(lat, 8),
            "time (s)": np.repeat(drive.time_s - START_S, len(width)),
            "rate (kg/ha)": rate.ravel(),
            "section": np.tile(np.arange(len(width)) + 1, len(x)),
        }
    )
    swept, applied = ((v[1:] + v[:-1]) / 2 * moved for v in (on.astype(float), rate))
    return Sprayed(records, float(swept.sum()), float(applied.sum() / 1e4))


def audited(track: Track, width_m: float) -> AuditResult:
    drill = Implement(width_m=width_m, antenna_ahead_m=2.0, tool_behind_m=3.0)
    return audit_operation(Operation("spring", Field("Creek Forty"), drill, (track,)))


@pytest.mark.parametrize("off", [0, 6])
@pytest.mark.parametrize("numbered", [True, False], ids=["numbered", "not numbered"])
@pytest.mark.parametrize("order", ["time", "section", "shuffled"])
@pytest.mark.parametrize(
    ("widths_m", "interval_s"),
    [([0.76] * 24, 1.0), ([3.0] * 6, 0.2), ([3.0, 2.0, 2.0, 3.0], 1.0), ([4.0, 4.0], 1.0)],
)
def test_points_at_the_sections_are_one_tool(
    tmp_path: Path,
    widths_m: list[float],
    interval_s: float,
    order: str,
    numbered: bool,
    off: int,
) -> None:
    drive = as_points(widths_m, interval_s, off=off)
    records = drive.records
    if order == "section":
        records = records.sort_values(["section", "time (s)"])
    elif order == "shuffled":
        records = records.sample(frac=1, random_state=1)
    track = read(tmp_path, records if numbered else records.drop(columns="section"))
    assert track.sections is not None
    assert track.sections.shape[1] == len(widths_m)
    assert track.at_tool
    np.testing.assert_allclose(track.section_widths_m, widths_m, rtol=0.01)
    result = audited(track, sum(widths_m))
    assert result.swept_area_m2 == pytest.approx(drive.swept_m2, rel=2e-3)
    (product,) = result.products
    assert product.logged_kg == pytest.approx(drive.applied_kg, rel=2e-3)
    whole = product.applied_in_field_kg + product.outside_kg
    assert whole == pytest.approx(product.logged_kg, rel=1e-6)
    assert off or result.pass_count == 4
    assert "places_of_the_tool" in {f.code for f in result.findings}


@pytest.mark.parametrize(("given_m", "told"), [(18.24, False), (18.5, False), (9.12, True)])
def test_a_width_that_is_not_that_of_the_points_is_told(
    tmp_path: Path, given_m: float, told: bool
) -> None:
    result = audited(read(tmp_path, as_points([0.76] * 24, 1.0).records), given_m)
    assert ("width_unlike_points" in {f.code for f in result.findings}) == told


def test_sections_that_a_time_does_not_list_are_off(tmp_path: Path) -> None:
    drive = as_points([0.76] * 24, 0.2, off=8)
    listed = drive.records[drive.records["rate (kg/ha)"] > 0].drop(columns="section")
    result = audited(read(tmp_path, listed.sample(frac=1, random_state=2)), 24 * 0.76)
    # Half a step is not told at the ends of passes.
    assert result.swept_area_m2 == pytest.approx(drive.swept_m2, rel=5e-3)


def test_sections_on_a_clock_too_coarse_for_their_fixes(tmp_path: Path) -> None:
    drive = as_points([3.0] * 6, 0.2)
    records = drive.records.assign(**{"time (s)": np.floor(drive.records["time (s)"])})
    result = audited(read(tmp_path, records), 18.0)
    assert result.swept_area_m2 == pytest.approx(drive.swept_m2, rel=2e-3)
    assert result.pass_count == 4


def test_fixes_along_the_way_on_a_coarse_clock_are_no_sections(tmp_path: Path) -> None:
    drive = as_points([3.0], 0.2)
    records = drive.records.assign(**{"time (s)": np.floor(drive.records["time (s)"])})
    track = read(tmp_path, records.drop(columns="section"))
    assert track.sections is None
    assert len(track) == len(records)
    assert any("share each second" in note for note in track.notes)


def test_a_layer_of_points_at_the_sections(tmp_path: Path) -> None:
    drive = as_points([0.76] * 24, 1.0, off=3)
    points = gpd.points_from_xy(drive.records["lon"], drive.records["lat"])
    layer = gpd.GeoDataFrame(
        drive.records.drop(columns=["lon", "lat", "section"]), geometry=points, crs="EPSG:4326"
    )
    layer.to_file(tmp_path / "log.gpkg", engine="pyogrio")
    (track,) = read_tracks(tmp_path / "log.gpkg")
    result = audited(track, 24 * 0.76)
    assert result.swept_area_m2 == pytest.approx(drive.swept_m2, rel=2e-3)


def test_sections_that_fold_are_followed_one_by_one(tmp_path: Path) -> None:
    drive = as_points([3.0] * 6, 1.0, rates=False)
    records = drive.records
    # Wings fold in and out: the sections draw together to half their places.
    middle = records.groupby("time (s)")[["lon", "lat"]].transform("mean")
    fold = 1 - 0.5 * np.abs(np.sin(records["time (s)"] / 20))
    for name in ("lon", "lat"):
        records[name] = middle[name] + (records[name] - middle[name]) * fold
    records.to_csv(tmp_path / "log.csv", index=False)
    tracks = read_tracks(tmp_path / "log.csv")
    assert [t.machine for t in tracks] == [f"section {k}" for k in range(1, 7)]
    assert any("followed by itself" in warning for warning in tracks[0].warnings)
    lon = records.loc[records["section"] == 2, "lon"].to_numpy()
    np.testing.assert_allclose(tracks[1].lon, lon, rtol=1e-12)


def test_many_points_take_time_in_proportion(tmp_path: Path) -> None:
    drive = as_points([0.76] * 24, 1.0)
    times = int(np.ceil(97_000 / len(drive.records)))
    span = drive.records["time (s)"].max() + 60
    records = pd.concat(
        drive.records.assign(**{"time (s)": drive.records["time (s)"] + k * span})
        for k in range(times)
    )
    begun = perf_counter()
    read(tmp_path, records.drop(columns="section"))
    assert perf_counter() - begun < 10.0
