"""The farm's table of rain: what of it is read how, and what is asked or refused."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from evenacre.errors import InputError
from evenacre.io.common.findings import Findings
from evenacre.io.season.pasture.rain import read_rain

INCH_M = 0.0254  # NIST SP 811


def read(folder: Path, text: str) -> tuple[dt.date, list[float], list[str]]:
    path = folder / "rain.csv"
    path.write_text(text, encoding="utf-8")
    findings = Findings()
    first, rain = read_rain(path, findings)
    return first, rain.tolist(), findings.warnings


DAILY = "2024-08-01,0.5\n2024-08-02,0\n2024-08-03,0.25\n"
AS_READ = [0.5 * INCH_M, 0.0, 0.25 * INCH_M]


@pytest.mark.parametrize(
    "text",
    [
        f"date,rain (in)\n{DAILY}",
        f"day,Rainfall [in]\n{DAILY}",
        "station,date,PRCP_in,high (F)\nX1,2024-08-01,.5,88\nX1,2024-08-02,0,88\n"
        "X1,2024-08-03,.25,90\n",
        "Date;Niederschlag (mm)\n01.08.2024;12,7\n02.08.2024;0\n03.08.2024;6,35\n",
        "date,rain (mm)\n20240801,12.7\n20240802,T\n20240803,6.35\n",
        "date,rain\n2024-08-03,6.35 mm\n2024-08-01,0.5 in\n2024-08-02,0 in\n",
        "date,rain (in)\n2024-08-01 07:00,0.2\n2024-08-01 19:00,0.3\n2024-08-02 07:00,0\n"
        "2024-08-03 07:00,0.25\n",
        f"date,rain (in)\n{DAILY},\n",
    ],
)
def test_however_it_is_written(tmp_path: Path, text: str) -> None:
    first, rain, _ = read(tmp_path, text)
    assert first == dt.date(2024, 8, 1)
    assert rain == pytest.approx(AS_READ)


def test_days_that_a_daily_table_leaves_out_are_not_known(tmp_path: Path) -> None:
    text = "date,rain (mm)\n2024-08-01,0\n2024-08-02,M\n2024-08-05,3\n"
    _, rain, told = read(tmp_path, text)
    assert rain == pytest.approx([0, np.nan, np.nan, np.nan, 0.003], nan_ok=True)
    assert told == []


def test_days_that_a_list_of_wet_days_leaves_out_were_dry(tmp_path: Path) -> None:
    _, rain, told = read(tmp_path, "date,rain (mm)\n2024-08-01,4\n2024-08-05,3\n2024-08-06,\n")
    assert rain == pytest.approx([0.004, 0, 0, 0, 0.003, 0])
    assert len(told) == 1


def test_several_lines_of_a_day_are_added_up_and_said(tmp_path: Path) -> None:
    text = "date,rain (mm)\n2024-08-01,4\n2024-08-01,4\n2024-08-02,0\n"
    _, rain, told = read(tmp_path, text)
    assert rain == pytest.approx([0.008, 0])
    assert len(told) == 1
    assert "1 day has" in told[0]


def test_marks_of_what_is_missing_are_no_rain(tmp_path: Path) -> None:
    text = "date,rain (mm)\n2024-08-01,0\n2024-08-02,-99.9\n2024-08-03,9999\n2024-08-04,2\n"
    _, rain, told = read(tmp_path, text)
    assert rain == pytest.approx([0, np.nan, np.nan, 0.002], nan_ok=True)
    assert len(told) == 1
    assert "2 amounts" in told[0]
    assert "line 3" in told[0]


def test_a_date_that_may_be_read_two_ways_is_said(tmp_path: Path) -> None:
    first, rain, told = read(tmp_path, "date,rain (mm)\n8/1/2024,0\n8/2/2024,5\n")
    assert (first, rain) == (dt.date(2024, 8, 1), pytest.approx([0, 0.005]))
    assert len(told) == 1
    assert read(tmp_path, "date,rain (mm)\n8/1/2024,0\n8/13/2024,5\n")[2] == []


@pytest.mark.parametrize(
    ("text", "place", "said"),
    [
        ("date,rain\n2024-08-01,0.5\n2024-08-02,0\n", 'column "rain"', "unit"),
        ("date,rain (lb)\n2024-08-01,0.5\n", 'column "rain (lb)"', "unit"),
        ("date,rain (in)\n2024-08-01,wet\n", 'line 2, column "rain (in)"', "wet"),
        ("date,rain\n2024-08-01,5 lb\n", 'line 2, column "rain"', "5 lb"),
        ("date,rain (in)\n2024-08-01,0\n2024-13-01,1\n", 'line 3, column "date"', "2024-13-01"),
        ("date,rain (in)\n2024-08-01,0\n1024-08-01,1\n", 'line 3, column "date"', "1024-08-01"),
        ("date,rain (in)\n07:30,0\n08:30,1\n", 'line 2, column "date"', "07:30"),
        ("date,rain (in)\n,4\n", 'line 2, column "date"', '""'),
        ("label,rain (in)\n2024-08-01,0\n", "", "the day"),
        ("date,water (in)\n2024-08-01,0\n", "", "rain"),
        ("date,rain (in),rain (mm)\n2024-08-01,0,0\n", "", "Several"),
        ("date,rain (in)\n", "line 1", "no records"),
    ],
)
def test_what_cannot_be_told_is_refused(tmp_path: Path, text: str, place: str, said: str) -> None:
    with pytest.raises(InputError) as error:
        read(tmp_path, text)
    (problem,) = error.value.problems
    assert (problem.file, problem.place) == ("rain.csv", place)
    assert said in problem.what


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(st.integers(0, 400), st.integers(0, 80)), min_size=1, max_size=30))
def test_all_that_fell_is_read_in_any_order(tmp_path: Path, fell: list[tuple[int, int]]) -> None:
    begin = dt.date(2023, 2, 1)
    lines = [f"{begin + dt.timedelta(day)},{mm}" for day, mm in fell]
    first, rain, _ = read(tmp_path, "date,rain (mm)\n" + "\n".join(lines) + "\n")
    assert first == begin + dt.timedelta(min(day for day, _ in fell))
    assert len(rain) == max(day for day, _ in fell) - min(day for day, _ in fell) + 1
    assert np.nansum(rain) == pytest.approx(sum(mm for _, mm in fell) / 1000)
