"""The command ``calibrate`` as a person runs it."""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import typer
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from evenacre.cli.calibrate import calibrate
from evenacre.cli.options.derived import with_options

# NIST SP 811, appendix B.8.
FOOT_M, POUND_KG, ACRE_M2 = 0.3048, 0.45359237, 4046.8564224
POUND_PER_ACRE = POUND_KG / ACRE_M2
GRAMS = "22.6 22.4 22.0 22.9 22.7 22.6 22.0 22.8 22.8 22.7 22.6 22.8 g"

WHEEL = ["--circumference", "8 ft", "--turns", "20", "--row-spacing", "7.5 in", "--openers", "1"]
CRANK = ["--turns", "25", "--turns-per-area", "25/ac"]

app = typer.Typer(pretty_exceptions_enable=False)
app.command()(with_options(calibrate))


@pytest.fixture(autouse=True)
def _in_a_folder_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def run(*arguments: object) -> tuple[int, str, str]:
    ran = CliRunner().invoke(app, [str(a) for a in arguments])
    return ran.exit_code, ran.stdout, ran.stderr


def figures(*arguments: object) -> dict[str, Any]:
    code, out, err = run(*arguments, "--json")
    assert code == 0, err
    account: dict[str, Any] = json.loads(out)
    return account


def book_rows(path: Path = Path("settings-book.csv")) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def test_wheel_test_of_the_south_dakota_soil_health_coalition() -> None:
    # South Dakota Soil Health Coalition, How to Calibrate a Grain Drill: 100 sq ft for one
    # opener; 26.0 g there is 25 lb/ac.
    found = figures("--product", "oats", *WHEEL, "--catch", "26.0 g", "--target", "25 lb/ac")
    assert found["test"]["area_m2"] / FOOT_M**2 == pytest.approx(100.0)
    assert found["test"]["rate_kg_per_m2"] / POUND_PER_ACRE == pytest.approx(25, abs=0.05)
    assert found["verdict"]["within_tolerance"]


def test_metric_problem_of_field_and_solie() -> None:
    # Field and Solie, Introduction to Agricultural Engineering Technology: 8.98 kg/ha against
    # 9.0, accepted; openers accepted from 21.4 to 23.7 g.
    wheel = ["--wheel-diameter", "0.80 m", "--turns", "50", "--row-spacing", "0.20 m"]
    found = figures("--product", "x", *wheel, "--opener-catch", GRAMS, "--target", "9.0 kg/ha")
    assert found["test"]["rate_kg_per_m2"] * 1e4 == pytest.approx(8.98, abs=0.005)
    assert found["verdict"]["within_tolerance"]
    assert found["openers"]["low_kg"] * 1000 == pytest.approx(21.4, abs=0.05)
    assert found["openers"]["high_kg"] * 1000 == pytest.approx(23.7, abs=0.05)
    assert found["openers"]["outside"] == []


def test_the_answer_comes_first_in_plain_words() -> None:
    code, out, err = run(
        *("--product", "red clover", "--setting", 42, *CRANK, "--target", "10 lb/ac"),
        *("--catch", "11.0 11.1 10.9 lb", "--fill", "180 bu", "--bulk-density", "60 lb/bu"),
    )
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert lines[0] == "red clover at setting 42: 11.0 lb/ac, 10 % over the target of 10.0 lb/ac."
    assert "3 catches scatter by 0.9 % (standard deviation)" in lines[1]
    assert lines[2] == "That is more than 5 % off, scatter and all: change the setting."
    assert "Next setting: 38.2 (" in out  # 42 x 10 / 11
    assert "A fill of 10,800 lb covers 1,080 ac at 10.0 lb/ac." in lines
    assert "Noted in settings-book.csv." in lines
    assert "Keep hands out of metering rolls" in out
    assert "fan stopped and the pressure gone" in out


@pytest.mark.parametrize(
    ("catches", "alone"),
    [("9.9 10.0 10.1 lb", True), ("9.0 11.2 10.6 lb", True), ("11.0 11.1 10.9 lb", False)],
)
def test_a_change_that_cannot_be_told_is_left_alone(catches: str, alone: bool) -> None:
    asked = ("--product", "rye", "--setting", 42, *CRANK, "--target", "10 lb/ac")
    _, out, _ = run(*asked, "--catch", catches)
    assert out.startswith("Leave the setting alone") is alone
    assert ("Next setting" in out) is not alone


def test_the_test_is_noted_in_the_book() -> None:
    said = ["--roller", "fine", "--fan", "2100 rpm", "--speed", "5 mph", "--down-pressure", "80 lb"]
    said += ["--trouble", "bridged", "--date", "2026-04-14", "--setting", "42"]
    figures("--product", "clover", *CRANK, "--catch", "10 10.2 lb", "--target", "10 lb/ac", *said)
    figures("--product", "clover", *CRANK, "--catch", "10 lb", "--no-book")
    (row,) = book_rows()
    assert {k: row[k] for k in ("date", "product", "roller", "setting", "fan", "trouble")} == {
        "date": "2026-04-14",
        "product": "clover",
        "roller": "fine",
        "setting": "42",
        "fan": "2100 rpm",
        "trouble": "bridged",
    }
    assert float(row["rate [lb/ac]"]) == pytest.approx(10.1)
    assert float(row["ground speed [mph]"]) == pytest.approx(5)
    assert "1.0 % over target" in row["result"]


def test_the_book_is_asked_and_left_as_it_is() -> None:
    figures(
        "--product", "clover", *CRANK, "--catch", "10 lb", "--setting", "40", "--trouble", "dust"
    )
    before = Path("settings-book.csv").read_bytes()
    found = figures("--lookup", "--product", "Clover", "--target", "12 lb/ac")
    assert found["look_up"]["start"] == pytest.approx(48)
    code, out, _ = run("--lookup", "--product", "clover", "--target", "12 lb/ac")
    assert code == 0
    assert out.startswith("Start the test at setting 48: carried over from settings-book.csv, line")
    assert "There was trouble then: dust." in out
    assert "rate 20 % higher" in out
    code, out, _ = run("--lookup", "--product", "clover", "--target", "30 lb/ac")
    assert out.startswith("No setting to start at: that is too far")
    assert "outside of all that was noted (10.0 lb/ac)" in out
    assert Path("settings-book.csv").read_bytes() == before


def test_beyond_the_tested_settings_a_guess_has_to_be_asked_for() -> None:
    asked = ["--product", "x", "--setting", 40, *CRANK, "--catch", "20 lb", "--no-book"]
    asked += ["--tested", "30=15 lb/ac", "--tested", "50=25 25.0 lb/ac", "--target", "30 lb/ac"]
    code, out, _ = run(*asked)
    assert code == 0
    assert "No next setting: the target lies beyond the settings that were tested" in out
    _, out, _ = run(*asked, "--beyond")
    assert "Next setting: 60" in out
    assert "carried 10 beyond the settings tested, 30 to 50" in out


def test_two_compartments_end_together_without_a_test() -> None:
    filled = ["--compartment", "front=7000 lb", "--compartment", "rear=3000lb"]
    found = figures("--target", "200 lb/ac", *filled)
    assert found["split"]["area_m2"] / ACRE_M2 == pytest.approx(50)
    shares = found["split"]["compartments"]
    assert [s["rate_kg_per_m2"] / POUND_PER_ACRE for s in shares] == pytest.approx([140, 60])
    assert not Path("settings-book.csv").exists()


def test_part_of_the_openers_stands_for_part_of_the_ground() -> None:
    whole = figures("--no-book", *CRANK, "--catch", "32 lb")
    part = figures("--no-book", *CRANK, "--catch", "8 lb", "--openers", 8, "--rows", 32)
    assert part["test"]["rate_kg_per_m2"] == pytest.approx(whole["test"]["rate_kg_per_m2"])


@given(st.floats(1, 200), st.floats(0.9, 1.1), st.floats(0.5, 40))
@settings(max_examples=8, deadline=None)
def test_the_units_typed_do_not_matter(pounds: float, step: float, turns: float) -> None:
    us = figures(
        *("--no-book", "--setting", 30, "--turns", turns, "--turns-per-area", "25/ac"),
        *("--catch", f"{pounds!r} {pounds * step!r} lb", "--target", f"{pounds!r} lb/ac"),
        *("--fill", "1000 lb"),
    )
    per_ha = 25 / ACRE_M2 * 10_000
    kg = pounds * POUND_KG
    metric = figures(
        *("--no-book", "--setting", 30, "--turns", turns, "--turns-per-area", f"{per_ha!r}/ha"),
        *("--catch", f"{kg!r} {kg * step!r} kg", "--units", "metric"),
        *("--target", f"{kg / ACRE_M2 * 10_000!r} kg/ha", "--fill", f"{1000 * POUND_KG!r} kg"),
    )
    for part, key in [("test", "rate_kg_per_m2"), ("test", "mean_se_kg"), ("verdict", "off_by")]:
        assert metric[part][key] == pytest.approx(us[part][key], rel=1e-6, abs=1e-9)
    assert metric["next_setting"]["setting"] == (
        us["next_setting"]["setting"]
        if us["next_setting"]["setting"] is None
        else pytest.approx(us["next_setting"]["setting"], rel=1e-9)
    )
    assert metric["fills"][0]["area_m2"] == pytest.approx(us["fills"][0]["area_m2"], rel=1e-9)


def test_metric_words() -> None:
    _, out, _ = run(*CRANK, "--no-book", "--catch", "10 lb", "--units", "metric")
    assert "11.2 kg/ha" in out  # NIST SP 811: 1 lb/ac is 1.12085 kg/ha
    assert "lb" not in out


def test_the_season_file_gives_density_drill_and_place(tmp_path: Path) -> None:
    farm = tmp_path / "farm"
    farm.mkdir()
    (farm / "season.toml").write_text(
        'farm = "Three Larks Farm"\nunits = "metric"\n'
        '[[product]]\nname = "clover"\nkind = "seed"\nbulk_density = "770 kg/m3"\n'
        '[[implement]]\nname = "drill"\nwidth = "20 ft"\nrows = 32\n'
        'compartments = [ { name = "front", volume = "100 bu" } ]\n'
        '[[field]]\nname = "Creek Forty"\n'
        '[[operation]]\nname = "seed"\nfield = "Creek Forty"\nimplement = "drill"\n'
        'tracks = ["log.csv"]\nproducts = [ { product = "clover", rate = "10 lb/ac" } ]\n'
    )
    season = ["--season", farm / "season.toml", "--product", "clover"]
    wheel = ["--circumference", "8 ft", "--turns", "20"]
    found = figures(*season, *wheel, "--catch", "1 lb")
    assert found["bulk_density_kg_per_m3"] == pytest.approx(770)
    # The whole drill of 20 ft: 8 x 20 x 20 sq ft.
    assert found["test"]["area_m2"] / FOOT_M**2 == pytest.approx(3200)
    bushel_m3 = 2150.42 * 0.0254**3
    assert found["fills"][0]["mass_kg"] == pytest.approx(100 * bushel_m3 * 770)
    (row,) = book_rows(farm / "settings-book.csv")
    assert float(row["bulk density [kg/m3]"]) == pytest.approx(770)
    code, _, err = run("--season", farm / "season.toml", "--product", "peas", "--target", "9 lb/ac")
    assert code == 2
    assert "a fill of peas weighs is not known" in err


def test_quiet_says_nothing_and_notes_all_the_same() -> None:
    assert run("--product", "x", *CRANK, "--catch", "10 lb", "--quiet") == (0, "", "")
    assert len(book_rows()) == 1


def test_a_torn_line_is_told_and_the_test_noted() -> None:
    run("--product", "x", *CRANK, "--catch", "10 lb", "--quiet")
    with Path("settings-book.csv").open("ab") as file:
        file.write(b'2026,"torn')
    _, out, _ = run("--product", "y", *CRANK, "--catch", "10 lb")
    assert "warning: settings-book.csv, line 3: the line is cut short." in out
    _, out, _ = run("--lookup", "--product", "y", "--target", "10 lb/ac")
    assert "settings-book.csv, line 4" in out
    assert "warning: settings-book.csv, line 3" in out


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ([], "nothing to work out"),
        (["--catch", "4.2", *CRANK, "--product", "x"], "has no unit"),
        (["--catch", "-4 lb", *CRANK, "--product", "x"], "not above zero"),
        (["--catch", "0 lb", *CRANK, "--product", "x"], "not above zero"),
        (["--catch", "4 lb", "--product", "x"], "ground that the catch stands for"),
        (["--catch", "4 lb", *CRANK, "--area", "1 ac", "--product", "x"], "in one way"),
        (["--catch", "4 lb", *CRANK], "what was metered"),
        (["--catch", "4 lb", "--turns", "0", "--turns-per-area", "25/ac"], "no test"),
        (["--catch", "4 lb", "--turns", "5", "--turns-per-area", "25"], "turns for a unit"),
        (["--catch", "4 lb", "--turns-per-area", "25/ac"], "--turns"),
        (["--catch", "4 lb", "--turns", "9", "--circumference", "8 ft"], "width"),
        (["--catch", "4 lb", *CRANK, "--openers", "8"], "of how many"),
        (["--catch", "4 lb", *CRANK, "--openers", "9", "--rows", "8"], "9 of 8"),
        (["--catch", "4 lb", *CRANK, "--rows", "0"], "too few"),
        (["--catch", "4 lb", "--opener-catch", "1 2 lb", *CRANK], "does not go with"),
        (["--opener-catch", "0 0 g", *CRANK], "Nothing was caught"),
        (["--opener-catch", "1 2 g", "--opener-catch", "1 2 3 g", *CRANK], "different numbers"),
        (["--opener-catch", "1 2 g", "--openers", "3", *CRANK], "3 openers"),
        (["--catch", "4 lb", *CRANK, "--tested", "35=20 lb/ac"], "--setting"),
        (["--catch", "4 lb", *CRANK, "--setting", "3", "--tested", "x"], "SETTING=RATE"),
        (["--catch", "4 lb", *CRANK, "--setting", "3", "--tested", "x=2lb/ac"], "no setting"),
        (["--target", "9 lb/ac", "--fill", "180 bu"], "bulk density is not known"),
        (["--target", "9 lb/ac", "--fill", "180 mph"], "speed"),
        (["--target", "9 lb/ac", "--compartment", "9000 lb"], "NAME=AMOUNT"),
        (["--target", "1 lb/ac", "--compartment", "a=9lb", "--compartment", "a=9lb"], "twice"),
        (["--target", "1 2 lb/ac", "--fill", "9 lb"], "more than one"),
        (["--target", "9 lb/ac", "--fill", "9 lb", "--tolerance", "0"], "tolerance"),
        (["--target", "9 lb/ac", "--fill", "9 lb", "--date", "soon"], "not a date"),
        (["--lookup", "--product", "x"], "has to know the rate"),
        (["--lookup", "--product", "x", "--target", "9 lb/ac"], "no such file"),
        (["--lookup", "--product", "x", "--target", "9 lb/ac", "--catch", "4 lb", *CRANK], "catch"),
        (["--season", "none.toml", "--catch", "4 lb", *CRANK], "no such file"),
    ],
)
def test_bad_input_is_told_plainly(arguments: list[str], told: str) -> None:
    code, out, err = run(*arguments)
    assert (code, out) == (2, "")
    assert all(line.startswith("error: ") for line in err.splitlines())
    assert told in err
    assert not Path("settings-book.csv").exists()


def test_every_complaint_at_once() -> None:
    _, _, err = run("--catch", "x", *CRANK, "--target", "5 mph", "--speed", "3", "--fill", "9")
    assert len(err.splitlines()) == 4


def test_help_answers_without_the_heavy_libraries() -> None:
    script = (
        "import sys; import evenacre.cli.calibrate; "
        "print(sorted({'pandas', 'scipy', 'numpy', 'pint'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"
