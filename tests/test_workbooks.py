"""Logs kept in spreadsheets."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
from complaints import complaint

from evenacre.io.logs.read_tracks import read_tracks
from evenacre.io.untrusted import budget

N = 90
TIMES = pd.date_range("2019-05-05T04:19:04", periods=N, freq="s")
LON = np.linspace(-92.409, -92.407, N)
LAT = np.linspace(40.105, 40.1051, N)
LOG = pd.DataFrame({"Timestamp": TIMES, "Longitude": LON, "Latitude": LAT, "Swath Width(ft)": 20.0})


def book(path: Path, sheets: dict[str, pd.DataFrame], **how: object) -> Path:
    with pd.ExcelWriter(path, engine="openpyxl") as writer:
        for name, frame in sheets.items():
            frame.to_excel(writer, sheet_name=name, index=False, **how)  # type: ignore[arg-type]
    return path


def is_the_log(path: Path, **how: object) -> bool:
    (track,) = read_tracks(path, **how)  # type: ignore[arg-type]
    assert track.width_m is None or np.allclose(track.width_m, 6.096)
    return np.allclose(track.lon, LON) and np.allclose(
        track.time_s, 1557029944.0 + np.arange(N), atol=0.002
    )


def test_the_sheet_that_is_a_log(tmp_path: Path) -> None:
    other = pd.DataFrame({"Farm": ["A"], "Acres": [2.0]})
    path = book(tmp_path / "log.xlsx", {"Summary": other, "Log": LOG, "Empty": pd.DataFrame()})
    assert is_the_log(path)
    (track,) = read_tracks(path)
    assert any('"Log" was read' in text for text in track.notes)
    assert is_the_log(path.rename(tmp_path / "log.bin"))  # told by its content


def test_several_sheets_are_asked_about(tmp_path: Path) -> None:
    path = book(tmp_path / "log.xlsx", {"Monday": LOG, "Tuesday": LOG.assign(Latitude=40.2)})
    said = complaint(path)
    assert '"Monday", "Tuesday"' in said
    assert "--tracks-layer" in said
    assert is_the_log(path, layer="Tuesday")
    assert "no sheet" in complaint(path, layer="Wednesday")


def test_dates_and_times_in_columns_of_their_own_below_a_title(tmp_path: Path) -> None:
    frame = LOG.drop(columns="Timestamp").assign(Date=TIMES.date, Time=TIMES.time)
    path = book(tmp_path / "log.xlsx", {"Log": frame}, startrow=3)
    opened = openpyxl.load_workbook(path)
    opened["Log"]["A1"] = "Drill log of the spring"
    opened.save(path)
    assert is_the_log(path)


def test_a_sheet_without_names(tmp_path: Path) -> None:
    frame = LOG.assign(Timestamp=(TIMES - pd.Timestamp("1899-12-30")) / pd.Timedelta(days=1))
    assert is_the_log(book(tmp_path / "log.xlsx", {"Log": frame}, header=False))


def test_a_spreadsheet_in_a_zip(tmp_path: Path) -> None:
    content = book(tmp_path / "log.xlsx", {"Log": LOG}).read_bytes()
    with zipfile.ZipFile(tmp_path / "log.zip", "w") as archive:
        archive.writestr("deep/log.xlsx", content)
        archive.writestr("read me.txt", "Call me.")
    assert is_the_log(tmp_path / "log.zip")


def test_formulas_are_not_computed(tmp_path: Path) -> None:
    path = book(tmp_path / "log.xlsx", {"Log": LOG})
    opened = openpyxl.load_workbook(path)
    for row in range(2, N + 2):
        opened["Log"][f"D{row}"] = '=WEBSERVICE("http://127.0.0.1:9/")'
    opened.save(path)
    (track,) = read_tracks(path)
    assert track.width_m is None


def altered(path: Path, member: str, content: bytes) -> Path:
    """A spreadsheet with one of its members replaced."""
    out = io.BytesIO()
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, content if name == member else old.read(name))
    path.write_bytes(out.getvalue())
    return path


def test_a_sheet_as_large_as_its_farthest_cell(tmp_path: Path) -> None:
    path = book(tmp_path / "log.xlsx", {"Log": LOG})
    cell = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
    cell += b'<sheetData><row r="1"><c r="A1"><v>1</v></c></row><row r="1048576">'
    cell += b'<c r="XFD1048576"><v>1</v></c></row></sheetData></worksheet>'
    said = complaint(altered(path, "xl/worksheets/sheet1.xml", cell))
    assert "memory" in said or "could not be read" in said


def test_a_bomb_and_a_damaged_file(tmp_path: Path) -> None:
    path = book(tmp_path / "log.xlsx", {"Log": LOG})
    cut = tmp_path / "cut.xlsx"
    cut.write_bytes(path.read_bytes()[:-200])
    assert "damaged" in complaint(cut)
    assert "could not be read" in complaint(altered(path, "xl/workbook.xml", b"<workbook"))
    blank = b" " * (budget.ARCHIVE_RATIO_FROM_BYTES + 1)
    assert "zip bomb" in complaint(altered(path, "xl/worksheets/sheet1.xml", blank))
