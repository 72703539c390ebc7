"""Values that no farm has: years, sizes and numbers are refused or told, never worked with."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from cli_jobs import evenacre, records_of, small_job, write_files, write_log

from evenacre.errors import InputError
from evenacre.io.logs.blockages import BlockageNote, blockages_of
from evenacre.io.logs.read_tracks import read_tracks
from evenacre.io.season.load import load_season
from evenacre.io.tables.time_texts import seconds_of
from evenacre.model import Implement
from evenacre.units.parsing import Dimension, parse_quantity

DRILL = Implement(width_m=6.096, rows=32, rows_known=True, rows_per_tower=8)
NO_NUMBER = re.compile(r"(?<![\w-])[+-]?(nan|inf|NaN|Infinity|NaT)(?![\w-])")
WILD = ("0001", "1066", "1969", "2101", "2263", "9999", "99999")


@pytest.mark.parametrize("zone", [None, "America/Chicago", "Asia/Kathmandu"])
@pytest.mark.parametrize("year", WILD)
def test_times_of_other_years_are_none(year: str, zone: str | None) -> None:
    texts = [f"{year}-04-14T07:00:00", f"{year}-04-14T07:00:00Z", "2026-04-14T07:00:00Z"]
    read = seconds_of(texts, "", zone)
    assert (read == read).tolist() == [False, False, True]


@pytest.mark.parametrize("text", ["1e400", "-1e30", "1e30", "inf", "9" * 20])
def test_numbers_of_other_years_are_none(text: str) -> None:
    assert seconds_of([text], "", None)[0] != seconds_of([text], "", None)[0]


@pytest.mark.parametrize("year", WILD)
def test_a_blockage_of_another_year_is_told(year: str) -> None:
    note = BlockageNote("b.csv", "line 2", f"{year}-04-14T07:00", f"{year}-04-14T08:00", "1")
    with pytest.raises(InputError, match=rf'line 2: "{year}.* is not a time between 1970 and 2100'):
        blockages_of([note], DRILL, time_zone="America/Chicago")


def test_clocks_far_from_utc_are_not_believed() -> None:
    read = seconds_of(["2026-04-14T07:00:00+99:99", "2026-04-14T07:00:00+14:00"], "", None)
    assert (read == read).tolist() == [False, True]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda t, i: t.replace("2026", "1066"), "is not a time between 1970 and 2100"),
        (lambda t, i: f"{9e7 + i / 5}", "is not a time within 30 days of the start of the log"),
    ],
)
def test_a_log_of_another_age_is_told(tmp_path: Path, change: object, said: str) -> None:
    files = write_files(tmp_path)
    times = [change(t, i) for i, t in enumerate(files.records["time"])]  # type: ignore[operator]
    write_log(files.log, files.records.assign(time=times))
    ran = evenacre("audit", *files.options())
    assert (ran.code, said in ran.err) == (2, True), ran.err


SEASON = """
[[implement]]
name = "drill"
width = "6.096 m"
[[product]]
name = "rye"
bought = "9 lb"
left = "1 lb"
[[field]]
name = "Creek"
boundary = "field.geojson"
[[operation]]
name = "Spring"
field = "Creek"
implement = "drill"
tracks = ["log.csv"]
date = 2026-04-14
loads = "loads.csv"
products = [ { product = "rye", rate = "150 lb/ac" } ]
"""


def write_loads(folder: Path, *rows: str) -> Path:
    """A season whose log meters rye from 07:00:00 to 07:01:55 UTC on 2026-04-14."""
    job = small_job()
    files = write_files(folder)
    drives = tuple(drive.with_rate("rye", 0.016) for drive in job.drives)
    write_log(files.log, records_of(small_job().__class__(job.boundary, drives)))
    (folder / "loads.csv").write_text("time,event,weight (lb)\n" + "\n".join(rows) + "\n")
    (folder / "season.toml").write_text(SEASON)
    return folder / "season.toml"


@pytest.mark.parametrize(
    "rows",
    [
        ("2026-04-10T07:00Z,filled,500", "2026-04-10T08:00Z,remaining,100"),
        ("2026-04-14T06:00Z,filled,0", "2026-04-14T08:00Z,cleaned out,0"),
    ],
    ids=["outside the log", "nothing weighed"],
)
def test_no_report_shows_what_is_no_number(tmp_path: Path, rows: tuple[str, ...]) -> None:
    season = write_loads(tmp_path, *rows)
    ran = evenacre("audit", season, "--out", tmp_path / "out", "--jobs", 1)
    assert ran.code == 0, ran.err
    shown = [ran.out, *(p.read_text("utf-8-sig") for p in (tmp_path / "out").rglob("*.csv"))]
    page = (tmp_path / "out" / "report.html").read_text("utf-8")
    shown.append(re.sub(r"<script>.*?</script>|<style>.*?</style>|<[^>]*>", " ", page, flags=re.S))
    assert not [found for text in shown for found in NO_NUMBER.findall(text)]


def test_a_ticket_of_another_year_is_told(tmp_path: Path) -> None:
    season = write_loads(tmp_path, "9999-04-14T07:00,filled,500")
    ran = evenacre("check", season)
    assert ran.code == 2
    assert 'loads.csv, line 2: "9999-04-14T07:00" is not a time between 1970 and 2100.' in ran.out


@pytest.mark.parametrize("day", ["0001-01-01", "1969-12-31", "2101-01-01", '"9999-12-31"'])
def test_a_date_of_another_year_is_told(tmp_path: Path, day: str) -> None:
    path = tmp_path / "season.toml"
    path.write_text(SEASON.replace("2026-04-14", day))
    with pytest.raises(InputError, match="is not a date between 1970 and 2100"):
        load_season(path)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a = " + "[" * 20_000 + "]" * 20_000, "no TOML that a season can be"),
        ("a = " + "{b=" * 3000 + "1" + "}" * 3000, "no TOML that a season can be"),
        (".".join("a" * 400) + " = 1", "nested deeper"),
        (".".join("a" * 50_000) + " = 1", "more than 500 dots"),
        ("a = " + "9" * 5000, "no TOML that a season can be"),
        ('farm = "' + "x" * 1_000_000 + '"', "longer than 1,000 characters"),
    ],
    ids=["brackets", "braces", "dots", "more dots", "digits", "text"],
)
def test_a_bomb_of_toml_is_told(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "season.toml"
    path.write_text(text)
    ran = evenacre("check", path)
    assert ran.code == 2
    assert said in ran.out + ran.err


@pytest.mark.parametrize("text", ["1e400 lb", "1e300 lb", "nan lb", "inf lb", "-1e200 lb"])
def test_a_mass_no_farm_has_is_told(text: str) -> None:
    with pytest.raises(InputError, match=r"finite|too large|start with a number"):
        parse_quantity(text, Dimension.MASS)


def test_next_to_nothing_is_nothing() -> None:
    assert str(parse_quantity("-1e-300 lb", Dimension.MASS)) == "0.0"


@pytest.mark.parametrize("rate", ["1e308", "1e30"])
def test_a_rate_no_drill_has_is_left_out(tmp_path: Path, rate: str) -> None:
    season = write_loads(tmp_path, "2026-04-14T06:00Z,filled,500")
    log = tmp_path / "log.csv"
    lines = log.read_text().splitlines()
    lines[1] = lines[1].rpartition(",")[0] + f",{rate}"
    log.write_text("\n".join(lines) + "\n")
    ran = evenacre("check", season)
    assert ran.code == 0, ran.out
    assert "1 value too large to be true" in ran.out


@pytest.mark.parametrize(
    "args",
    [
        ("calibrate", "--no-book", "--product", "p", "--setting", "4", "--catch", "1 2 lb",
         "--area", "0.1 ac", "--fill", "1e308 lb", "--bulk-density", "48 lb/bu", "--json"),
        ("calibrate", "--no-book", "--product", "p", "--setting", "4", "--catch", "1 2 lb",
         "--area", "0.1 ac", "--tested", "5=1e308lb/ac", "--target", "1 lb/ac", "--beyond"),
        ("finish", "--area", "18 ac", "--left", "1e308 lb", "--rate", "1 lb/ac"),
    ],
)  # fmt: skip
def test_sums_that_would_overflow_are_told(args: tuple[str, ...]) -> None:
    ran = evenacre(*args)
    assert ran.code == 2, ran.err
    assert "too large to be true" in ran.err


def test_a_warning_repeats_no_endless_name(tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    rows = "".join(f"2026-04-14T10:00:{i:02d}Z,-92.{i:04d},39.0,1\n" for i in range(50))
    log.write_text(f"time,lon,lat,rate [{'(' * 5000}kg{')' * 5000}]\n{rows}")
    (track,) = read_tracks(log)
    (warning,) = [text for text in track.warnings if "rate" in text]
    assert len(warning) < 700
