"""What columns are, which field a log is of, what was placed: as somebody says it at the desk."""

from __future__ import annotations

import tomllib
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pyarrow as pa
import pytest
import tomlkit
from hypothesis import given
from hypothesis import strategies as st
from pages import Page
from small_farm import write_small_farm
from starlette.testclient import TestClient
from test_desk import answered, client_of

from evenacre.desk import columns, work
from evenacre.desk.column_pages import logs_left
from evenacre.errors import InputError
from evenacre.io.common.findings import Findings
from evenacre.io.logs.columns.column_roles import plan_columns
from evenacre.io.logs.columns.columns_read import ColumnsRead
from evenacre.io.logs.read_tracks import read_tracks
from evenacre.io.season.edit import digest_of, versions
from evenacre.io.tables.record_table import RecordTable
from evenacre.units.parsing import unit_factor

CELLS = {
    "time": ["2026-04-14T12:00:00Z", "2026-04-14T12:00:01Z", "2026-04-14T12:00:02Z"],
    "lon": ["-93.1", "-93.2", "-93.3"],
    "lat": ["40.1", "40.2", "40.3"],
    "Speed (mph)": ["5", "5.1", "5.2"],
    "Urea rate (lb/ac)": ["100", "101", "102"],
    "Potash rate (kg/ha)": ["50", "51", "52"],
    "Section 1": ["1", "0", "1"],
    "Section 2": ["1", "1", "0"],
    "Depth": ["2", "2", "2.1"],
    "Amount": ["0.4", "0.5", "0.6"],
}
TABLE = RecordTable("log.csv", pa.table(CELLS), lambda row: f"line {row + 2}")


def look_at(asked: dict[str, str]) -> tuple[dict[str, Any], dict[str, tuple[str, float | None]]]:
    """What the page is told of the columns, and what the reader makes of them."""
    seen: list[ColumnsRead] = []
    plan = plan_columns(TABLE, asked, Findings(), seen=seen.append)
    uses = {u.column: (f"{u.role}:{u.key}" if u.key else u.role, u.unit) for u in plan.uses}
    return columns.as_kept(seen[0]), uses


def said_of(file: dict[str, Any]) -> list[tuple[str, str]]:
    return [(columns.role_of(one), one["unit"]) for one in file["columns"]]


PLAIN = ["", "speed", "heading", "work", "machine", "distance", "hdop", "section:3", "row:1"]
PLAIN += ["interval", "quality"]
WITH_UNITS = [("rate", "kg/ha"), ("rate:Urea", "lb/ac"), ("flow", "lb/s"), ("mass", "kg")]
WITH_UNITS += [("width", "ft"), ("speed", "km/h"), ("accuracy", "m")]
SAID = st.sampled_from([*((role, "") for role in PLAIN), *WITH_UNITS])


@given(st.dictionaries(st.sampled_from(range(3, 10)), SAID, min_size=1, max_size=3), st.booleans())
def test_the_reader_makes_of_a_table_what_was_said_of_it(
    changes: dict[int, tuple[str, str]], twice: bool
) -> None:
    """Whatever is said is read so, and what nothing was said of stays as it was."""
    file, before = look_at({})
    said = said_of(file)
    for number, (role, unit) in changes.items():
        if not (role == "" and not file["columns"][number]["roles"]):
            said[number] = (role, unit)
    told = columns.corrected(file, [], said, {})
    roles = [role for role, _ in said if role]
    if len(roles) != len(set(roles)):
        assert "already" in " ".join(told.troubles.values())
        return
    assert told.troubles == {}
    again, uses = look_at(told.columns)
    assert [columns.role_of(one) for one in again["columns"]] == [role for role, _ in said]
    for number, (role, unit) in changes.items():
        name = file["columns"][number]["name"]
        if role and unit:
            dimension = columns.DIMENSIONS[role.partition(":")[0]]
            factor = unit_factor(unit, dimension)
            assert factor is not None
            assert uses[name][1] == pytest.approx(factor)
    for number, one in enumerate(file["columns"]):
        if number not in changes and one["name"] in before:
            assert uses[one["name"]] == before[one["name"]]
    if twice:  # said once more, nothing is new
        assert columns.corrected(again, [], said_of(again), told.columns).columns == told.columns


def test_what_cannot_be_is_told_beside_the_column() -> None:
    file, _ = look_at({})

    def trouble(
        number: int, role: str, unit: str, others: list[dict[str, Any]] | None = None
    ) -> str:
        said = said_of(file)
        said[number] = (role, unit)
        return " ".join(columns.corrected(file, others or [], said, {}).troubles.values())

    assert trouble(9, "rate", "") == "Say in which unit the rate is."
    assert trouble(9, "rate", "mph") == "Choose a unit of mass per area."
    assert "already" in trouble(9, "speed", "")
    assert "Only the log itself" in trouble(9, "target", "")
    other = {"file": "other.csv", "names": ["lon", "LAT"]}
    assert "other.csv, of the same job, has no such" in trouble(9, "heading", "", [other])


def test_a_column_whose_name_is_no_help_is_named_by_its_number() -> None:
    cells = {" a ": ["1"], "A": ["2"], "": ["3"], "b": ["4"]}
    table = RecordTable("x.csv", pa.table(cells), lambda row: f"line {row}")
    seen: list[ColumnsRead] = []
    plan_columns(table, {}, Findings(), seen=seen.append)
    file = columns.as_kept(seen[0])
    said = [("heading", ""), ("work", ""), ("hdop", ""), ("quality", "")]
    told = columns.corrected(file, [], said, {}).columns
    assert told == {"heading": "1", "work": "2", "hdop": "3", "quality": "b"}
    plan = plan_columns(table, told, Findings())
    assert {use.role: use.column for use in plan.uses} == {
        "heading": " a ",
        "work": "A",
        "hdop": "",
        "quality": "b",
    }


def test_what_a_table_holds_is_shown_also_where_it_cannot_be_read() -> None:
    seen: list[ColumnsRead] = []
    with pytest.raises(InputError):
        plan_columns(TABLE, {"work": "Depth", "speed": "none"}, Findings(), seen=seen.append)
    (read,) = seen
    assert read.places == ("line 2", "line 3")
    assert {one.name: one.roles for one in read.columns if one.roles} == {"Depth": ("work",)}


def test_of_very_many_columns_those_in_use_are_shown() -> None:
    cells = {f"more {n}": ["1"] for n in range(400)} | CELLS
    table = RecordTable("x.csv", pa.table({k: v[:1] for k, v in cells.items()}), str)
    seen: list[ColumnsRead] = []
    plan = plan_columns(table, {}, Findings(), seen=seen.append)
    file = columns.as_kept(seen[0])
    assert len(file["columns"]) == 300
    assert {use.column for use in plan.uses} <= {one["name"] for one in file["columns"]}
    assert len(file["names"]) == 400 + len(CELLS)


def test_tables_of_every_kind_are_told(tmp_path: Path) -> None:
    write_small_farm(tmp_path)
    with zipfile.ZipFile(tmp_path / "log.zip", "w") as pack:
        pack.write(tmp_path / "log.csv", "log.csv")
    pd.read_csv(tmp_path / "log.csv").to_excel(tmp_path / "log.xlsx", index=False)
    head = '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
    points = "".join(
        f'<trkpt lat="40.{n}" lon="-93"><time>2026-04-14T12:00:0{n}Z</time></trkpt>'
        for n in range(9)
    )
    (tmp_path / "log.gpx").write_text(f"{head}{points}</trkseg></trk></gpx>")
    for name in ("log.csv", "log.zip", "log.xlsx", "log.geojson", "log.gpx"):
        seen: list[ColumnsRead] = []
        read_tracks(tmp_path / name, columns={"work": ""}, seen=seen.append)
        (one,) = seen
        times = [column for column in one.columns if column.roles[:1] == ("time",)]
        assert [column.name for column in times] == ["time"], name
        assert len(times[0].cells) == len(one.places) == 3
        assert name in one.file


# Logs and fields


JOBS = """[[field]]
name = "Home"
[[field]]
name = "Creek"

[[operation]]
# spring.csv: all of it.
name = "drive"  # as logged
field = "Home"
implement = "drill"
tracks = ["a.csv", { file = "b.csv", layer = "x" }]
loads = "tickets.csv"
columns = { rate = "R [lb/ac]" }
"""


def moved(text: str, job: int, log: int, field: str) -> list[dict[str, Any]]:
    document = tomlkit.parse(text)
    columns.moved_log(document, job, log, field)
    after = tomlkit.dumps(document)
    assert after.startswith(text[: text.index("field = ") - 1])
    found: list[dict[str, Any]] = tomllib.loads(after)["operation"]
    return found


def test_a_log_moves_to_another_field_with_what_is_said_of_its_job() -> None:
    home, creek = moved(JOBS, 0, 1, "Creek")
    assert (home["field"], home["tracks"], home["loads"]) == ("Home", ["a.csv"], "tickets.csv")
    assert creek == {
        "name": "drive",
        "field": "Creek",
        "implement": "drill",
        "columns": {"rate": "R [lb/ac]"},
        "tracks": [{"file": "b.csv", "layer": "x"}],
    }
    alone = JOBS.replace('["a.csv", { file = "b.csv", layer = "x" }]', '"a.csv"')
    (only,) = moved(alone, 0, 0, "Creek")
    assert (only["field"], only["tracks"], only["loads"]) == ("Creek", "a.csv", "tickets.csv")


def test_logs_that_are_layers_of_one_file_are_told_apart() -> None:
    job = tomllib.loads(JOBS)["operation"][0]
    assert columns.log_names(job) == ["a.csv", "b.csv, x"]
    assert columns.own_field("logs/a.csv", ["a", "a 2"]) == "a 3"


def test_a_log_joins_the_job_that_is_there_already() -> None:
    other = (
        '\n[[operation]]\nname = "drive"\nfield = "Creek"\nimplement = "drill"\ntracks = "c.csv"\n'
    )
    home, creek = moved(JOBS + other, 0, 0, "Creek")
    assert home["tracks"] == [{"file": "b.csv", "layer": "x"}]
    assert creek["tracks"] == ["c.csv", "a.csv"]
    (whole,) = moved(JOBS + other, 1, 0, "Home")
    assert [str(one) for one in whole["tracks"]][::2] == ["a.csv", "c.csv"]


# The pages


def farm_of(folder: Path, head: str | None = None) -> None:
    write_small_farm(folder)
    if head is not None:
        _, *records = (folder / "log.csv").read_text().splitlines()
        (folder / "log.csv").write_text("\n".join([head, *records]) + "\n")


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[TestClient]:
    with client_of(tmp_path) as client:
        client.desk.board.start_in_turn = lambda *_: None  # type: ignore[attr-defined]
        yield client


def looked_over(desk: TestClient) -> dict[str, Any]:
    farm = desk.desk.farm  # type: ignore[attr-defined]
    work.look(lambda _: None, farm)
    seen: dict[str, Any] = farm.recall(work.OVERVIEW)
    return seen["operations"][0]  # type: ignore[no-any-return]


def test_columns_that_nobody_can_guess_are_said_and_the_log_is_read(
    tmp_path: Path, desk: TestClient
) -> None:
    farm = desk.desk.farm  # type: ignore[attr-defined]
    farm_of(tmp_path, "A,B,C,D,E")
    job = looked_over(desk)
    assert job["lines"] == []
    assert "It can be put right beside the job." in job["problems"][0]
    assert "--column" not in desk.get("/").text
    page = Page(desk.get("/columns/0").text)
    shown = {
        a["name"] for tag, a in page.elements if tag == "select" and "-role" in (a["name"] or "")
    }
    assert shown == {f"f0-{n}-role" for n in range(5)}
    before = farm.season.read_text()
    said = {"f0-1-role": "lon", "f0-2-role": "lat", "f0-3-role": "work", "f0-4-role": "rate"}
    data = {"seen": digest_of(farm.season), "file": "0", **said}
    answer = desk.post("/columns/0", data=data)
    assert answer.status_code == 400
    assert "Say in which unit the rate is." in answer.text
    assert farm.season.read_text() == before
    assert desk.post("/columns/0", data={**data, "f0-4-unit": "lb/ac"}).status_code == 303
    told = tomllib.loads(farm.season.read_text())["operation"][0]["columns"]
    assert told == {"lon": "B", "lat": "C", "work": "D", "rate": "E [lb/ac]"}
    assert [path.read_text() for path in versions(farm.versions)] == [before]
    job = looked_over(desk)
    assert job["problems"] == []
    assert len(job["lines"]) == 1
    # A page from before the change writes nothing.
    assert desk.post("/columns/0", data=data).status_code == 409
    for number in ("1", "x", "-1", "99999999"):
        assert desk.get(f"/columns/{number}").status_code == 404
    assert desk.post("/columns/0", data={**data, "file": "4"}).status_code == 404


def test_cells_stand_beside_where_they_are_in_the_file(tmp_path: Path, desk: TestClient) -> None:
    farm_of(tmp_path)
    (file,) = looked_over(desk)["columns"]
    lines = (tmp_path / "log.csv").read_text().splitlines()
    for number, place in enumerate(file["places"]):
        own = lines[int(place.removeprefix("line ")) - 1].split(",")
        assert [one["cells"][number] for one in file["columns"]] == own
    told = {one["name"]: (one["roles"], one["unit"]) for one in file["columns"]}
    assert told["rate [lb/ac]"] == (["rate"], "lb/ac")


def test_a_log_of_another_field_is_moved_from_the_page(tmp_path: Path, desk: TestClient) -> None:
    farm = desk.desk.farm  # type: ignore[attr-defined]
    farm_of(tmp_path)
    with farm.season.open("a") as file:
        file.write('\n[[field]]\nname = "Creek"\n')
    looked_over(desk)
    data = {"seen": digest_of(farm.season), "log": "0", "field": "Creek"}
    for wrong in ({"field": "Nowhere"}, {"log": "1"}, {"log": "x"}):
        assert desk.post("/columns/0/move", data={**data, **wrong}).status_code == 404
    assert desk.post("/columns/0/move", data=data).status_code == 303
    assert tomllib.loads(farm.season.read_text())["operation"][0]["field"] == "Creek"
    looked_over(desk)
    data = {"seen": digest_of(farm.season), "log": "0", "field": ""}
    assert desk.post("/columns/0/move", data=data).status_code == 303
    season = tomllib.loads(farm.season.read_text())
    assert season["operation"][0]["field"] == "log"
    assert [field["name"] for field in season["field"]] == ["Home Field", "Creek", "log"]
    assert looked_over(desk)["problems"] == []


def test_a_file_that_was_not_understood_is_taken_for_a_log(
    tmp_path: Path, desk: TestClient
) -> None:
    farm = desk.desk.farm  # type: ignore[attr-defined]
    (farm.brought / "day").mkdir(parents=True)
    (farm.brought / "day" / "log.csv").write_text("A,B\n1,2\n")
    (farm.brought / "day" / "a.png").write_bytes(b"x")
    (farm.root / "secret.txt").write_text("x")
    assert logs_left(farm, {}) == ["brought/day/log.csv", "brought/day/a.png"]
    assert "day/log.csv" in desk.get("/bring").text
    data = {"seen": "", "log": "brought/day/log.csv", "field": "Home", "drill": "ours"}
    for wrong in ("secret.txt", "../x.csv", "brought/day/none.csv"):
        assert desk.post("/columns/take", data={**data, "log": wrong}).status_code == 404
    assert desk.post("/columns/take", data={**data, "drill": " "}).status_code == 400
    assert desk.post("/columns/take", data=data).status_code == 303
    season = tomllib.loads(farm.season.read_text())
    assert season["operation"] == [
        {"name": "drive", "field": "Home", "implement": "ours", "tracks": ["brought/day/log.csv"]}
    ]
    assert [season[kind][0]["name"] for kind in ("field", "implement")] == ["Home", "ours"]
    assert logs_left(farm, season) == ["brought/day/a.png"]


# What was placed

BARE = """[[product]]
name = "18-46-0"

[[operation]]
name = "Spring"
field = "Home"

[[operation]]
name = "Fall"  # late
field = "Home"
"""


def test_what_a_job_placed_is_asked_and_listed(desk: TestClient) -> None:
    farm = desk.desk.farm  # type: ignore[attr-defined]
    farm.season.write_text(BARE)
    asked = {"asks": "What?", "about": ["products", ""], "example": "x, 1 lb/ac", "source": {}}
    farm.remember(work.GATHERED, {"asked": [asked]})
    first = desk.get("/ask").headers["location"]
    assert "What was placed by &#34;Spring&#34; on Home?" in desk.get(first).text
    for wrong in ("rye, 45 ft", "18-46-0, 45", ","):
        answer = desk.post(first, data={"do": "next", "answer": wrong})
        assert answer.status_code == 400, wrong
        assert desk.post(f"{first}/check", data={"answer": wrong}).json()["answer"]
    assert answered(desk, "18-46-0, 110 lb/ac", "rye, winter, 45 lb/ac") == "/ask/end"
    assert farm.season.read_text() == BARE
    desk.post("/ask/end", data={"seen": digest_of(farm.season)})
    season = tomllib.loads(farm.season.read_text())
    assert [job["products"] for job in season["operation"]] == [
        [{"product": "18-46-0", "rate": "110 lb/ac"}],
        [{"product": "rye, winter", "rate": "45 lb/ac"}],
    ]
    assert [product["name"] for product in season["product"]] == ["18-46-0", "rye, winter"]
    assert 'name = "Fall"  # late' in farm.season.read_text()
    assert desk.get("/ask").headers["location"] == "/"


def test_one_job_may_be_answered_and_the_other_stay_open(desk: TestClient) -> None:
    farm = desk.desk.farm  # type: ignore[attr-defined]
    farm.season.write_text(BARE)
    asked = {"asks": "What?", "about": ["products", ""], "example": "", "source": {}}
    farm.remember(work.GATHERED, {"asked": [asked]})
    second = answered(desk, "rye")
    desk.post(second, data={"do": "skip"})
    desk.post("/ask/end", data={"seen": digest_of(farm.season)})
    season = tomllib.loads(farm.season.read_text())
    assert season["operation"][0]["products"] == [{"product": "rye"}]
    assert "You said of 1 that you do not know." in desk.get("/").text
    page = desk.get("/ask/end").text
    assert page.count("on Home?") == 1
    assert "&#34;Fall&#34; on Home?" in page
