"""Names that break files, screens and other systems: what is written stays whole, and safe."""

from __future__ import annotations

import json
import re
import unicodedata
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path, PureWindowsPath
from xml.etree import ElementTree as ET

import openpyxl
import pandas as pd
import pytest
from cli_jobs import Files, evenacre, write_files
from hypothesis import given
from hypothesis import strategies as st
from synthetic_result import make_result

from evenacre.errors import InputError
from evenacre.io.common.json_text import json_text
from evenacre.io.season.load import load_season
from evenacre.io.writers.cells import cell, without_apostrophe
from evenacre.io.writers.file_names import RESULT_FOLDERS, slug, unique_slugs
from evenacre.io.writers.gpx import write_drives
from evenacre.reports.figure_text import operation_slugs
from evenacre.shown_text import shown

OVERRIDE = "\u202e"
NASTY = (
    f"A\ufffeB\uffff\x1b[2J\x9b1m{OVERRIDE}evil [/red] </script><b>{{{{7*7}}}} ${{x}} `y` %s '\"&"
)
# Controls but tab and line feed, what turns the direction of text, and what is no character.
COMMANDS = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ufffe\uffff]")
DEVICES = ["CON", "prn", "Aux", "NUL", *(f"{d}{n}" for d in ("COM", "lpt") for n in (1, 9, "¹"))]


@given(names=st.lists(st.text(max_size=300) | st.sampled_from(DEVICES), max_size=8))
def test_names_of_files_differ_and_mean_the_same_on_every_system(names: list[str]) -> None:
    made = unique_slugs([*names, *(name.swapcase() for name in names)], RESULT_FOLDERS)
    folded = {unicodedata.normalize("NFKC", name).casefold() for name in made}
    assert len(folded | set(RESULT_FOLDERS)) == 2 * len(names) + len(RESULT_FOLDERS)
    for name in made:
        assert re.fullmatch(r"[a-z0-9][a-z0-9-]{0,69}", name)
        assert not PureWindowsPath(f"{name}.png").is_reserved()
        assert not PureWindowsPath(name).is_reserved()


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("North", "north"),
        ("Ca\u00f1on", "Can\u0303on"),
        ("Straße", "STRASSE"),
        ("Hill.", "Hill "),
        ("a:b", "a|b"),
        ("🌽", "..."),
        ("x" * 300, "x" * 299),
    ],
)
def test_names_alike_get_a_file_each(one: str, other: str) -> None:
    first, second = unique_slugs([one, other])
    assert first != second


def test_no_operation_takes_a_folder_of_the_result() -> None:
    results = [
        replace(make_result(field=name), operation="...")
        for name in ("Tables", "maps", "GeoParquet")
    ]
    assert not set(operation_slugs(results)) & set(RESULT_FOLDERS)
    assert slug("Tables ...") == "tables"  # so that they would have


@given(text=st.text())
def test_any_text_is_held_by_xml_and_json(
    tmp_path_factory: pytest.TempPathFactory, text: str
) -> None:
    path = tmp_path_factory.getbasetemp() / "any.gpx"
    write_drives(path, [(f"a{text}z", [])])
    assert ET.parse(path).getroot()[0][0].text == shown(f"a{text}z")
    assert not COMMANDS.search(shown(text))
    assert json.loads(json_text({"name": text})) == {"name": text}
    assert not COMMANDS.search(json_text({"name": text}))


def test_half_a_surrogate_pair_is_not_written() -> None:
    assert json.loads(json_text("f\udce9ld")) == "f\ufffdld"
    assert shown("f\udce9ld") == "fld"


@given(text=st.text())
def test_a_cell_is_read_back_as_it_was(text: str) -> None:
    held = cell(text)
    assert without_apostrophe(held) == shown(text) or text.startswith("'")
    assert not re.match(r"\s*[=+\-@\uff1d\uff0b\uff0d\uff20]", held)
    assert cell(-1.5) == -1.5


def quoted(name: str) -> str:
    return json.dumps(name).replace("\x7f", "\\u007f")


def write_season(folder: Path, name: str, second: str = "...") -> tuple[Path, Files]:
    """A season of one field with two operations, everything in it called alike."""
    files = write_files(folder)
    zones = json.loads(files.boundary.read_text())
    zones["features"][0]["properties"] = {"soil": name}
    (folder / "zones.geojson").write_text(json.dumps(zones))
    operations = "".join(
        f"[[operation]]\nname = {quoted(operation)}\nfield = {quoted(name)}\n"
        'implement = "drill"\ntracks = ["log.csv"]\n'
        f'products = [{{ product = {quoted(name)}, rate = "150 lb/ac" }}]\n'
        for operation in (second, name)
    )
    path = folder / "season.toml"
    path.write_text(
        f'farm = {quoted(name)}\n[[product]]\nname = {quoted(name)}\nprice = "8 USD/lb"\n'
        '[[implement]]\nname = "drill"\nwidth = "6.096 m"\nrows = 32\n'
        f'[[field]]\nname = {quoted(name)}\nboundary = "field.geojson"\n'
        f'zones = {{ file = "zones.geojson", name_column = "soil" }}\n{operations}',
        encoding="utf-8",
    )
    return path, files


def texts(folder: Path) -> Iterator[tuple[str, str]]:
    for path in folder.rglob("*"):
        if path.suffix in (".html", ".csv", ".gpx", ".geojson", ".json"):
            yield path.name, path.read_bytes().decode("utf-8-sig").replace("\r\n", "\n")


def test_a_whole_audit_stands_any_name(tmp_path: Path) -> None:
    season, _ = write_season(tmp_path, NASTY)
    out = tmp_path / "out"
    ran = evenacre("audit", season, "--out", out, "--jobs", 1, "--geoparquet")
    assert ran.code == 0, ran.err
    assert not COMMANDS.search(ran.out + ran.err)
    for file, text in texts(out):
        assert not COMMANDS.search(text), file
        if file.endswith("json"):
            json.loads(text)
    page = (out / "report.html").read_text(encoding="utf-8")
    assert "evil [/red] </script>" not in page
    assert "{{7*7}}" in page
    ET.parse(out / "fix_list.gpx")
    openpyxl.load_workbook(out / "tables.xlsx")
    with zipfile.ZipFile(out / "tables.xlsx") as book:
        for part in book.namelist():
            ET.fromstring(book.read(part))
    summary = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    assert summary["operations"][0]["field"] == NASTY  # other programs get the name itself


def test_a_field_called_as_a_folder_of_the_result(tmp_path: Path) -> None:
    season, _ = write_season(tmp_path, "Tables")
    ran = evenacre("audit", season, "--out", tmp_path / "out", "--jobs", 1)
    assert ran.code == 0, ran.err
    homes = sorted(p.parent.name for p in (tmp_path / "out").glob("*/cover_count.tif"))
    assert homes == ["tables-2", "tables-tables"]
    assert pd.read_csv(tmp_path / "out" / "tables" / "operations.csv")["field"].eq("Tables").all()


def test_a_terminal_shows_names_as_they_are(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FORCE_COLOR", "1")  # as on a terminal
    files = write_files(tmp_path)
    name = "[/red] \x1b]0;owned\x07 [bold]"
    ran = evenacre(
        *("passes", "--boundary", files.boundary, "--width", "6 m", "--field-name", name),
        *("--out", tmp_path / "out"),
    )
    assert ran.code == 0, ran.err
    assert "[/red] ]0;owned [bold]" in ran.out
    assert "\x1b]" not in ran.out + ran.err
    wrong = evenacre("check", tmp_path / "no \x1b[31m\u202e.toml")
    assert (wrong.code, COMMANDS.search(wrong.out + wrong.err)) == (2, None)


@pytest.mark.parametrize(
    "args",
    [
        ("passes", "--boundary", "field.geojson", "--width", "6 m", "--out"),
        ("audit", "--boundary", "field.geojson", "--tracks", "log.csv", "--width", "6 m", "--out"),
        ("check",),
        ("demo",),
    ],
)
@pytest.mark.parametrize("name", ["x" * 256, "é" * 200, "/".join(["y" * 200] * 25)])
def test_a_name_too_long_for_the_system_is_told(
    args: tuple[str, ...], name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_files(tmp_path)
    monkeypatch.chdir(tmp_path)
    before = sorted(tmp_path.iterdir())
    ran = evenacre(*args, name)
    assert ran.code == 2
    assert "too long" in ran.out + ran.err
    assert "Traceback" not in ran.err
    assert sorted(tmp_path.iterdir()) == before


def test_a_name_in_no_known_letters_is_told(tmp_path: Path) -> None:
    files = write_files(tmp_path)
    odd = files.boundary.rename(tmp_path / "f\udce9ld.geojson")  # as Python gives b"f\xe9ld"
    ran = evenacre("passes", "--boundary", odd, "--width", "6 m", "--out", tmp_path / "out")
    assert ran.code == 2
    assert "is not written in UTF-8. Give it another name." in ran.err


def test_a_name_without_end_is_told(tmp_path: Path) -> None:
    season, _ = write_season(tmp_path, "x" * 1001)
    with pytest.raises(InputError, match=r"longer than 1,000 characters"):
        load_season(season)
