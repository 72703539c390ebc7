"""``evenacre interseed`` from end to end: what it writes, what it says, what it refuses."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import geopandas as gpd
import numpy as np
import openpyxl
import pytest
import shapely
import vobject
from cli_jobs import Ran, evenacre, write_files

from evenacre.geo.local_crs import WorkingPlane

ACRE_M2, LB_KG = 4046.8564224, 0.45359237  # NIST SP 811
PLANE = WorkingPlane(-92.6, 40.1)
FILES = {
    "calendar.ics",
    "guidance.zip",
    "passes.gpkg",
    "passes.gpx",
    "plan.json",
    "report.html",
    "tables.xlsx",
    "tables/days.csv",
    "tables/fills.csv",
    "tables/moves.csv",
    "tables/paddocks.csv",
    "tables/passes.csv",
}

SEASON = """
farm = "Three Larks Farm"
time_zone = "America/Chicago"

[[product]]
name = "red clover"
kind = "seed"
purity = 98
germination = 90
bulk_density = "60 lb/bu"

[[implement]]
name = "drill"
width = "20 ft"
rows = 32

[paddocks]
file = "pasture.gpkg"

[[herd]]
class = "cows"
head = 40
weight = "1200 lb"
intake = 2.6

[grazing]
start = 2026-08-03
rest = "35 days"
forage = "1800 lb/ac"

[seeding]
product = "red clover"
implement = "drill"
rate = "10 lb/ac"
closes_after = "10 days"
hours = "6 h"
load = "150 lb"
"""


NO_FENCES = (
    "[[herd]]",
    "".join(f'[[paddock]]\nname = "Creek {n}"\nfence = false\n' for n in (1, 2, 3)) + "[[herd]]",
)


def square(x_m: float, side_m: float = 180.0) -> shapely.Polygon:
    ring = shapely.get_coordinates(shapely.box(x_m, 0.0, x_m + side_m, side_m))
    return shapely.Polygon(np.column_stack(PLANE.lonlat(ring[:, 0], ring[:, 1])))


def write_season(folder: Path, *changes: tuple[str, str], step_m: float = 180.0) -> Path:
    """Three paddocks side by side, and a season file with some of its text changed."""
    folder.mkdir(parents=True, exist_ok=True)
    names = [f"Creek {number}" for number in (1, 2, 3)]
    shapes = [square(number * step_m) for number in range(3)]
    gpd.GeoDataFrame({"name": names}, geometry=shapes, crs=4326).to_file(folder / "pasture.gpkg")
    text = SEASON
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    file = folder / "season.toml"
    file.write_text(text, encoding="utf-8")
    return file


def planned(tmp_path: Path, *changes: tuple[str, str]) -> dict[str, object]:
    """Plan paddocks without fences, which takes a fifth of the time."""
    file = write_season(tmp_path, NO_FENCES, *changes)
    ran = evenacre("interseed", file, "--json")
    assert ran.code == 0, ran.err
    account = json.loads(ran.out)
    assert account == json.loads((tmp_path / "evenacre-plan" / "plan.json").read_text("utf-8"))
    return account


def refused(tmp_path: Path, *changes: tuple[str, str], step_m: float = 180.0) -> Ran:
    """Run a season that cannot be planned; nothing may be left behind."""
    file = write_season(tmp_path, *changes, step_m=step_m)
    before = sorted(tmp_path.iterdir())
    ran = evenacre("interseed", file)
    assert ran.code == 2
    assert sorted(tmp_path.iterdir()) == before
    assert "Traceback" not in ran.err
    return ran


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("whole")
    ran = evenacre("interseed", write_season(folder))
    assert ran.code == 0, ran.err
    (folder / "said.txt").write_text(ran.out, encoding="utf-8")
    return folder


def test_every_file_is_there_and_named(whole: Path) -> None:
    out = whole / "evenacre-plan"
    present = {p.relative_to(out).as_posix() for p in out.rglob("*") if p.is_file()}
    assert present == FILES
    account = json.loads((out / "plan.json").read_text("utf-8"))
    assert set(account["files"]) == FILES
    assert account["schema"] == "evenacre/plan/1.7"


def test_the_answer_comes_first(whole: Path) -> None:
    account = json.loads((whole / "evenacre-plan" / "plan.json").read_text("utf-8"))
    covered_m2 = [p["passes"]["covered_m2"] for p in account["paddocks"]]
    assert all(0.99 * 180.0**2 < ground < 180.0**2 for ground in covered_m2)
    acres = sum(round(ground / ACRE_M2, 2) for ground in covered_m2)  # they add up as printed
    said = (whole / "said.txt").read_text("utf-8").splitlines()
    assert said[0] == f"All {acres:.2f} ac can be seeded, by Tue Aug 18, 2026."
    assert str(whole / "evenacre-plan" / "report.html") in said[-1]


def test_what_the_drives_leave_is_told_once_of_all_paddocks(whole: Path) -> None:
    account = json.loads((whole / "evenacre-plan" / "plan.json").read_text("utf-8"))
    left_m2 = 3 * 180.0**2 - sum(p["passes"]["covered_m2"] for p in account["paddocks"])
    said = (whole / "said.txt").read_text("utf-8").splitlines()
    (line,) = [text for text in said if "does not reach" in text]
    assert f"does not reach {100 * left_m2 / (3 * 180.0**2):.1f} % of the workable ground" in line
    assert line.startswith("warning: Creek 1, Creek 2, Creek 3: ")


def test_without_fences_all_is_seeded_and_turns_know_nothing_of_them(tmp_path: Path) -> None:
    """Passes end two rounds (12.2 m) from the fence; a loop of 6 m beside itself needs more.

    Ground is the sum of what is printed of each: 180 m squared is 8.006 ac, three times 8.01.
    """
    ran = evenacre("interseed", write_season(tmp_path, NO_FENCES))
    said = ran.out
    assert said.splitlines()[0] == "All 24.03 ac can be seeded, by Tue Aug 18, 2026."
    assert "turns leave the ground of 3 of the 3 paddocks" in said
    assert "More headland rounds give them room." in said


def test_moves_by_hand(whole: Path) -> None:
    """1,800 lb/ac x 8.006 ac x 50 % feeds 40 x 1,200 lb x 2.6 % for 5.77 days: five."""
    account = json.loads((whole / "evenacre-plan" / "plan.json").read_text("utf-8"))
    acres = 180.0**2 / ACRE_M2
    days = math.floor(1800 * acres * 0.5 / (40 * 1200 * 0.026))
    assert days == 5
    stays = account["herd"]["stays"]
    assert [s["enter"] for s in stays] == ["2026-08-03", "2026-08-08", "2026-08-13"]
    assert [s["leave"] for s in stays] == ["2026-08-08", "2026-08-13", "2026-08-18"]
    windows = [(p["window"]["opens"], p["window"]["closes"]) for p in account["paddocks"]]
    assert windows == [
        ("2026-08-08", "2026-08-18"),
        ("2026-08-13", "2026-08-23"),
        ("2026-08-18", "2026-08-28"),
    ]


def test_seed_and_loads_add_up(whole: Path) -> None:
    account = json.loads((whole / "evenacre-plan" / "plan.json").read_text("utf-8"))
    rate = 10 * LB_KG / ACRE_M2
    assert account["seed"]["rate_kg_per_m2"] == pytest.approx(rate)
    for paddock in account["paddocks"]:
        passes = paddock["passes"]
        # Overlaps get seed too: the tool's width times the way.
        assert paddock["seed_kg"] == pytest.approx(rate * passes["work_m"] * 20 * 0.3048)
        assert paddock["seed_kg"] == pytest.approx(
            rate * (passes["covered_m2"] + passes["excess_m2"]), rel=1e-4
        )
        # Inside the fence the rig leaves corners, which are told.
        assert paddock["seeded_m2"] == pytest.approx(passes["covered_m2"], rel=1e-6)
        assert 0.99 * 180.0**2 < passes["covered_m2"] < 180.0**2
        assert passes["fenced"] is True
        assert passes["turns_outside"] == 0
    used = sum(p["seed_kg"] for p in account["paddocks"])
    assert account["seed"]["used_kg"] == pytest.approx(used)
    assert sum(fill["mass_kg"] for fill in account["fills"]) == pytest.approx(used)
    # Five days lie between the windows: no seed is left in the cart to save the third fill.
    assert math.ceil(used / (150 * LB_KG)) == 2
    assert [[s["paddock"] for s in f["serves"]] for f in account["fills"]] == [
        [f"Creek {n}"] for n in (1, 2, 3)
    ]
    for paddock in account["paddocks"]:
        opens, closes = paddock["window"]["opens"], paddock["window"]["closes"]
        assert all(opens <= v["date"] <= closes for v in paddock["visits"])


def test_tables_calendar_and_page_say_the_same(whole: Path) -> None:
    out = whole / "evenacre-plan"
    account = json.loads((out / "plan.json").read_text("utf-8"))
    with (out / "tables" / "paddocks.csv").open(encoding="utf-8-sig", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert [row["paddock"] for row in rows] == ["Creek 1", "Creek 2", "Creek 3"]
    book = openpyxl.load_workbook(out / "tables.xlsx", read_only=True)
    assert {"paddocks", "days", "fills", "moves", "passes"} <= set(book.sheetnames)
    calendar = vobject.readOne((out / "calendar.ics").read_text("utf-8"))
    seeding = [e for e in calendar.vevent_list if e.summary.value.startswith("Seed Creek")]
    dates = sorted(e.dtstart.value.date().isoformat() for e in seeding)
    assert dates == sorted(v["date"] for p in account["paddocks"] for v in p["visits"])
    assert "Creek 2" in (out / "report.html").read_text("utf-8")


def test_a_plan_is_replaced_and_nothing_else_is(whole: Path, tmp_path: Path) -> None:
    file = whole / "season.toml"
    assert evenacre("interseed", file, "-q").code == 0
    (tmp_path / "notes.txt").write_text("mine")
    ran = evenacre("interseed", file, "--out", tmp_path)
    assert ran.code == 2
    assert [p.name for p in tmp_path.iterdir()] == ["notes.txt"]


def test_an_audit_does_not_write_over_a_plan(whole: Path, tmp_path: Path) -> None:
    plan = whole / "evenacre-plan"
    before = (plan / "plan.json").read_bytes()
    ran = evenacre("audit", *write_files(tmp_path / "job").options(out=plan))
    assert ran.code == 2
    assert (plan / "plan.json").read_bytes() == before


def test_units(whole: Path, tmp_path: Path) -> None:
    ran = evenacre("interseed", whole / "season.toml", "--units", "metric", "--out", tmp_path / "m")
    assert ran.code == 0
    assert ran.out.splitlines()[0].startswith("All 9.66 ha can be seeded")
    assert " lb" not in ran.out


def test_seed_short_is_shared_and_told(tmp_path: Path) -> None:
    account = planned(tmp_path, ('rate = "10 lb/ac"', 'rate = "10 lb/ac"\non_hand = "150 lb"'))
    # Less is left than one pass takes; the longest is 250 m, at 10 lb/ac.
    assert 0 <= account["seed"]["left_kg"] < 250 * 20 * 0.3048 * 10 * LB_KG / ACRE_M2
    used, left = account["seed"]["used_kg"], account["seed"]["left_kg"]
    assert used + left == pytest.approx(150 * LB_KG, rel=1e-6)
    (relaxed,) = account["relaxations"]
    assert relaxed["rule"] == "seed"
    needed = sum(p["passes"]["work_m"] for p in account["paddocks"]) * 20 * 0.3048
    short = needed * 10 * LB_KG / ACRE_M2 - 150 * LB_KG
    assert relaxed["amount"] == pytest.approx(short, rel=1e-3)
    ran = evenacre("interseed", tmp_path / "season.toml", "--fail-on", "unseeded")
    assert ran.code == 1
    assert "more seed" in ran.out


def test_a_range_of_rates_comes_out_even(tmp_path: Path) -> None:
    wide = 'rate = "10 lb/ac"\nrate_min = "8 lb/ac"\nrate_max = "12 lb/ac"\non_hand = "{} lb"'
    for pounds in (220, 270):
        change = ('rate = "10 lb/ac"', wide.format(pounds))
        account = planned(tmp_path / str(pounds), change)
        assert all(p["share"] == pytest.approx(1.0) for p in account["paddocks"])
        assert account["seed"]["used_kg"] == pytest.approx(pounds * LB_KG, rel=1e-6)


def test_the_most_valuable_acres_come_first(tmp_path: Path) -> None:
    account = planned(
        tmp_path,
        ('rate = "10 lb/ac"', 'rate = "10 lb/ac"\non_hand = "84 lb"'),
        ('name = "Creek 2"\n', 'name = "Creek 2"\nvalue = 3\n'),
    )
    shares = {p["paddock"]: p["share"] for p in account["paddocks"]}
    assert shares["Creek 2"] == pytest.approx(1.0)
    assert shares["Creek 1"] + shares["Creek 3"] < 0.1


def test_forage_short_is_told(tmp_path: Path) -> None:
    account = planned(tmp_path, ("head = 40", "head = 400"))
    kinds = {s["kind"] for s in account["herd"]["shortages"]}
    assert kinds == {"ground"}
    ran = evenacre("interseed", tmp_path / "season.toml", "--fail-on", "forage")
    assert ran.code == 1
    assert "does not feed the herd for one day" in ran.out
    assert "find " in ran.out


def test_decided_moves_are_checked(tmp_path: Path) -> None:
    moves = "".join(
        f'[[move]]\npaddock = "Creek {n}"\nenter = 2026-08-{3 + 7 * n:02}\n'
        f"leave = 2026-08-{10 + 7 * n:02}\n"
        for n in (1, 2)
    )
    account = planned(tmp_path, ("start = 2026-08-03\n", ""), ("[seeding]", f"{moves}[seeding]"))
    assert [s["leave"] for s in account["herd"]["stays"]] == ["2026-08-17", "2026-08-24"]
    # Seven days of 1,248 lb against 7,206 lb that may be eaten.
    acres = 180.0**2 / ACRE_M2
    for shortage in account["herd"]["shortages"]:
        assert shortage["kind"] == "forage"
        assert shortage["feed_kg"] == pytest.approx(
            (7 * 1248 - 1800 * acres * 0.5) * LB_KG, rel=1e-4
        )


def test_no_open_window_is_told_with_what_would_help(tmp_path: Path) -> None:
    account = planned(tmp_path, ('hours = "6 h"', 'hours = "6 h"\nlast_day = 2026-08-07'))
    assert account["seeded_m2"] == 0
    assert account["fills"] == []
    assert {r["rule"] for r in account["relaxations"]} == {"season"}
    ran = evenacre("interseed", tmp_path / "season.toml")
    assert ran.code == 0
    assert ran.out.splitlines()[0] == "None of 24.03 ac can be seeded."


def test_what_is_told_to_relax_works_when_it_is_written_into_the_season_file(
    tmp_path: Path,
) -> None:
    hours = (
        'hours = "6 h"',
        'hours = "40 min"\nlost_chance = 20\nlast_day = 2026-08-16\nopens_after = "1 day"\n'
        'on_hand = "150 lb"',
    )
    told = planned(tmp_path / "short", hours)
    assert told["schema"] == "evenacre/plan/1.7"
    assert told["relaxations_hold"] is True
    to = {r["setting"]: r["to"] for r in told["relaxations"]}
    assert {"on_hand_kg", "last_day"} <= to.keys()
    text = {
        "on_hand_kg": ('"150 lb"', f'"{to.get("on_hand_kg")} kg"'),
        "hours_most_s": ('"40 min"', f'"{(to.get("hours_most_s") or 0) / 60} min"'),
        "last_day": ("2026-08-16", to.get("last_day")),
    }
    assert to.keys() <= text.keys()
    again = planned(tmp_path / "eased", hours, *(text[setting] for setting in to))
    assert [p["whole"] for p in again["paddocks"]] == [True] * 3
    assert again["relaxations"] == []


def test_chances_are_the_same_every_time_and_fall_with_the_weather(tmp_path: Path) -> None:
    chances = []
    for percent in (10, 60, 60):
        change = ('hours = "6 h"', f'hours = "6 h"\nlost_chance = {percent}')
        account = planned(tmp_path / f"{percent}-{len(chances)}", change)
        chances.append(account["chance_all"])
    assert chances[1] == chances[2]
    assert 0 < chances[1] < chances[0] <= 1


def test_hours_planned_leave_room_for_the_weather(tmp_path: Path) -> None:
    account = planned(tmp_path, ('hours = "6 h"', 'hours = "6 h"\nlost_chance = 25'))
    assert all(d["planned_s"] == pytest.approx(0.75 * d["full_s"]) for d in account["days"])
    assert all(d["full_s"] == 6 * 3600 for d in account["days"])


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("head = 40", "head = 0"), "head"),
        (('implement = "drill"\nrate', 'implement = "plow"\nrate'), "plow"),
        (('implement = "drill"\n', ""), "implement"),
        (("start = 2026-08-03", "start = 2026-08-03\nend = 2026-07-01"), "end"),
        (('hours = "6 h"', "first_day = 2026-09-01\nlast_day = 2026-08-01"), "last_day"),
        (('forage = "1800 lb/ac"', ""), "forage"),
        (('closes_after = "10 days"', 'closes_after = "10 pounds"'), "closes_after"),
    ],
)
def test_bad_input(tmp_path: Path, change: tuple[str, str], words: str) -> None:
    ran = refused(tmp_path, change)
    assert any("season.toml" in e and words in e for e in ran.errors()), ran.err


def test_overlapping_paddocks(tmp_path: Path) -> None:
    ran = refused(tmp_path, step_m=150.0)
    assert any("Creek 1" in e and "Creek 2" in e and "overlap" in e for e in ran.errors()), ran.err


def test_all_complaints_at_once(tmp_path: Path) -> None:
    ran = refused(tmp_path, ("head = 40", "head = 0"), ('rate = "10 lb/ac"', 'rate = "0 lb/ac"'))
    assert len(ran.errors()) >= 2


def test_a_season_without_paddocks(tmp_path: Path) -> None:
    file = tmp_path / "season.toml"
    file.write_text('farm = "Three Larks Farm"\n')
    ran = evenacre("interseed", file)
    assert ran.code == 2
    assert any("paddock" in e or "seeding" in e for e in ran.errors())


def test_the_audit_reads_the_plan_back(whole: Path, tmp_path: Path) -> None:
    """No log of the paddocks: a job elsewhere leaves all three not logged."""
    files = write_files(tmp_path / "job")
    plan = whole / "evenacre-plan" / "plan.json"
    ran = evenacre("audit", *files.options(), "--plan", plan, "--json")
    assert ran.code == 0, ran.err
    compared = json.loads(ran.out)["planned_done"]["paddocks"]
    assert [(p["paddock"], p["standing"]) for p in compared] == [
        (f"Creek {n}", "not logged") for n in (1, 2, 3)
    ]
