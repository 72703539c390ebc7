"""Nothing of a log is lost in silence: what was read, used and left out, and what comes first."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import evenacre as ev
from evenacre.geo.local_crs import WorkingPlane
from evenacre.model.audit_result import AuditResult

PLANE = WorkingPlane(-93.5, 41.0)
WIDTH_M, STEP_M, PASS_M = 12.0, 2.0, 400.0
BESIDES = ("read", "in the file", "used", "out of order", "cuts at jumps", "cuts at gaps")


def drive() -> pd.DataFrame:
    """Four passes up and down, side by side, a record a second; the tool is up on the turns."""
    along = np.arange(0.0, PASS_M + 1, STEP_M)
    x, y, on = [], [], []
    for number in range(4):
        up = along if number % 2 == 0 else along[::-1]
        beyond = np.linspace(0, np.pi, 11)[1:-1]
        x += [np.full(len(up), number * WIDTH_M)]
        y += [up]
        on += [np.ones(len(up), dtype=bool)]
        if number < 3:
            turn = WIDTH_M / 2 * np.sin(beyond)
            x += [number * WIDTH_M + WIDTH_M / 2 * (1 - np.cos(beyond))]
            y += [up[-1] + (turn if number % 2 == 0 else -turn)]
            on += [np.zeros(len(beyond), dtype=bool)]
    east, north, working = map(np.concatenate, (x, y, on))
    lon, lat = PLANE.lonlat(east, north)
    step = np.hypot(np.diff(east, prepend=east[0]), np.diff(north, prepend=north[0]))
    return pd.DataFrame(
        {
            "time": pd.Timestamp("2026-04-14T10:00:00Z") + pd.to_timedelta(range(len(lon)), "s"),
            "lon": lon,
            "lat": lat,
            "width (m)": np.where(working, WIDTH_M, 0.0),
            "distance (m)": step,
        }
    )


def audited(records: pd.DataFrame, folder: Path, **how: object) -> tuple[ev.Audit, AuditResult]:
    path = folder / "log.csv"
    records.to_csv(path, index=False)
    audit = ev.audit(path, **{"width": WIDTH_M} | how)
    (result,) = audit.operations
    return audit, result


def lost_times(records: pd.DataFrame) -> pd.DataFrame:
    return records.assign(time=records["time"].where(np.arange(len(records)) % 5 > 0))


def jumps(records: pd.DataFrame) -> pd.DataFrame:
    """Every sixth place is off by up to a kilometre, each in a way of its own."""
    stray = np.arange(len(records)) % 6 == 3
    off = np.random.default_rng(1).uniform(-0.01, 0.01, (2, len(records))) * stray
    return records.assign(lon=records["lon"] + off[0], lat=records["lat"] + off[1])


def silences(records: pd.DataFrame) -> pd.DataFrame:
    n = np.arange(len(records))
    return records[(n < 60) | (n > 130)]


@pytest.mark.parametrize("spoil", [lambda r: r, lost_times, jumps, silences])
def test_every_record_and_metre_is_accounted_for(
    spoil: Callable[[pd.DataFrame], pd.DataFrame], tmp_path: Path
) -> None:
    records = spoil(drive())
    _, result = audited(records, tmp_path)
    left_out = sum(n for cause, n in result.cleaning.items() if cause not in BESIDES)
    assert result.cleaning["read"] == len(records)
    assert result.cleaning["used"] + left_out == len(records)
    way = sum(m for cause, m in result.cleaning_m.items() if cause != "read")
    assert way == pytest.approx(result.cleaning_m["read"])


@pytest.mark.parametrize(
    ("spoil", "code", "cause"),
    [
        (lost_times, "records_lost", "without a time"),
        (jumps, "records_lost", "position jumps"),
        (silences, "way_lost", "cuts at gaps"),
    ],
)
def test_much_that_is_lost_is_told_before_the_answer(
    spoil: Callable[[pd.DataFrame], pd.DataFrame], code: str, cause: str, tmp_path: Path
) -> None:
    audit, result = audited(spoil(drive()), tmp_path)
    (first, *_) = result.findings
    assert (first.code, first.values["cause"]) == (code, cause)
    assert cause in audit.lines[1]
    assert cause in audit.warnings[0]


def test_ground_unlike_width_and_distance_of_the_records_is_told(tmp_path: Path) -> None:
    records = drive()
    _, right = audited(records, tmp_path)
    assert "unlike_the_records" not in [f.code for f in right.findings]
    feet = records.rename(columns={"distance (m)": "distance (ft)"})
    _, wrong = audited(feet, tmp_path)
    (told,) = [f for f in wrong.findings if f.code == "unlike_the_records"]
    assert told.values["told_m2"] == pytest.approx(4 * PASS_M * WIDTH_M * 0.3048, rel=0.01)
    assert told.values["swept_m2"] == pytest.approx(4 * PASS_M * WIDTH_M, rel=0.01)


def test_a_sound_log_says_how_much_was_read(tmp_path: Path) -> None:
    records = drive()
    audit, _ = audited(records, tmp_path)
    assert f"{len(records):,} records read, {len(records):,} used." in audit.lines[-1]


def test_records_and_times_are_told_apart_where_sections_share_one(tmp_path: Path) -> None:
    records = drive().drop(columns="width (m)")
    long = pd.concat([records.assign(section=k, state=1) for k in range(4)]).sort_values("time")
    audit, result = audited(long, tmp_path)
    assert result.cleaning["in the file"] == len(long)
    assert result.cleaning["read"] == result.cleaning["used"] == len(records)
    said = f"{len(long):,} records of {len(records):,} times read, {len(records):,} times used."
    assert said in audit.lines[-1]


@pytest.mark.parametrize("how", ["as it is", "every 5 s", "with its interval", "by sections"])
def test_mass_of_each_record_adds_up(tmp_path: Path, how: str) -> None:
    records = drive()
    on = records.pop("width (m)").to_numpy() > 0
    mass = np.random.default_rng(2).uniform(0.5, 1.5, len(records)) * on
    records = records.assign(work=on.astype(int), pounds=mass / 0.45359237)
    columns = {"mass": "pounds [lb]"}
    if how == "every 5 s":
        sums = records.groupby(np.arange(len(records)) // 5)
        records = sums.last().assign(pounds=sums["pounds"].sum(), work=sums["work"].max())
    elif how == "with its interval":
        records["seconds (s)"] = 1.0
    elif how == "by sections":
        parts = [
            records.assign(section=k, pounds=records["pounds"] * (k + 1) / 10) for k in range(4)
        ]
        records = pd.concat(parts).sort_values("time").rename(columns={"work": "state"})
    _, result = audited(records, tmp_path, columns=columns, products="18-46-0")
    (product,) = result.products
    # What the first record says was placed before there was a way to place it on.
    most = mass[0] + mass[-1]
    assert product.logged_kg + product.unplaced_kg == pytest.approx(mass.sum(), abs=most)
    assert product.source == "flow"


def test_bare_ground_beside_a_partial_width_is_no_place_to_go_back_to(tmp_path: Path) -> None:
    records = drive()
    on = records["width (m)"] > 0
    up = np.flatnonzero(on)
    half = up[250:300]  # 50 records, 2 m apart, of the second pass
    records.loc[half, "width (m)"] = WIDTH_M / 2
    audit, result = audited(records.drop(columns="distance (m)"), tmp_path)
    assert result.skip_area_m2 == pytest.approx(len(half) * STEP_M * WIDTH_M / 2, rel=0.02)
    assert audit.skips.empty
    (told,) = [f for f in result.findings if f.code == "partial_width"]
    assert told.values["records"] == len(half)
