"""The settings book: two writers, crashes, spreadsheets and hands in between."""

from __future__ import annotations

import csv
import errno
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenacre.errors import InputError
from evenacre.io.settings_book.book import append_setting, read_book
from evenacre.io.settings_book.lines import read_lines, written
from evenacre.model import PastSetting

# NIST SP 811, appendix B.8; bushel of 2150.42 cubic inches.
POUND_KG, ACRE_M2, BUSHEL_M3 = 0.45359237, 4046.8564224, 2150.42 * 0.0254**3

CLOVER = PastSetting(
    product="red clover",
    date="2026-04-14",
    rate_kg_per_m2=10 * POUND_KG / ACRE_M2,
    bulk_density_kg_per_m3=60 * POUND_KG / BUSHEL_M3,
    roller="fine",
    setting="42",
    fan="2,100 rpm",
    down_pressure="80 lb",
    speed_mps=5 * 0.44704,
    target_kg_per_m2=10.5 * POUND_KG / ACRE_M2,
    scatter=0.012,
    catches=3,
    result="on target",
    trouble='bridged, then "cleared"',
)

WRITER = """
import sys
from pathlib import Path
from evenacre.io.settings_book.book import append_setting
from evenacre.model import PastSetting
book, name, count = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
for number in range(count):
    append_setting(book, PastSetting(product=name, setting=str(number), rate_kg_per_m2=0.001))
"""

# Dies by the operating system's hand with the lock held, before the disk has the line or just
# before it is to be seen.
KILLED = """
import os, signal, sys
from pathlib import Path
from evenacre.io.settings_book.book import append_setting
from evenacre.model import PastSetting
def die(*_):
    os.kill(os.getpid(), getattr(signal, "SIGKILL", signal.SIGTERM))
if sys.argv[2] == "fsync":
    os.fsync = die
else:
    Path.replace = die
append_setting(Path(sys.argv[1]), PastSetting(product="killed", trouble="a, b", setting="1"))
"""


def process(script: str, *arguments: object) -> subprocess.Popen[bytes]:
    return subprocess.Popen([sys.executable, "-c", script, *map(str, arguments)])


def same(found: PastSetting, wanted: PastSetting) -> None:
    """Equal in words; in numbers to the six digits that are written."""
    for name in ("rate_kg_per_m2", "bulk_density_kg_per_m3", "speed_mps", "target_kg_per_m2"):
        assert getattr(found, name) == pytest.approx(getattr(wanted, name), rel=1e-5)
    blank = dict.fromkeys(
        ("rate_kg_per_m2", "bulk_density_kg_per_m3", "speed_mps", "target_kg_per_m2"), None
    )
    assert replace(found, place="", **blank) == replace(wanted, place="", **blank)


@pytest.mark.parametrize("units", ["us", "metric"])
def test_what_is_noted_is_read_again(tmp_path: Path, units: str) -> None:
    path = tmp_path / "settings-book.csv"
    assert append_setting(path, CLOVER, units) == ()
    append_setting(path, PastSetting(product="oats"), "us")
    book = read_book(path)
    assert book.warnings == ()
    same(book.settings[0], CLOVER)
    assert book.settings[0].place == "settings-book.csv, line 2"
    assert book.settings[1] == PastSetting(product="oats", place="settings-book.csv, line 3")


def test_any_spreadsheet_reads_it(tmp_path: Path) -> None:
    path = tmp_path / "book.csv"
    append_setting(path, CLOVER)
    with path.open(encoding="utf-8-sig", newline="") as file:
        (row,) = csv.DictReader(file)
    assert row["rate [lb/ac]"] == "10"
    assert row["bulk density [lb/bu]"] == "60"
    assert row["trouble"] == 'bridged, then "cleared"'


def test_two_programs_writing_at_once_lose_nothing(tmp_path: Path) -> None:
    path, count = tmp_path / "book.csv", 40
    writers = [process(WRITER, path, name, count) for name in ("front", "rear", "third")]
    assert [writer.wait(timeout=120) for writer in writers] == [0, 0, 0]
    book = read_book(path)
    assert book.warnings == ()
    for name in ("front", "rear", "third"):
        own = [s.setting for s in book.settings if s.product == name]
        assert own == [str(number) for number in range(count)]
    assert path.read_bytes().count(b"product") == 1


@pytest.mark.parametrize("moment", ["fsync", "replace"])
@pytest.mark.parametrize("is_begun", [False, True])
def test_a_killed_writer_costs_its_line_and_no_other(
    tmp_path: Path, moment: str, is_begun: bool
) -> None:
    path = tmp_path / "book.csv"
    if is_begun:
        append_setting(path, CLOVER)
    before = path.read_bytes() if is_begun else None
    assert process(KILLED, path, moment).wait(timeout=60) != 0
    assert (path.read_bytes() if path.exists() else None) == before
    assert append_setting(path, replace(CLOVER, product="oats")) == ()
    book = read_book(path)
    assert [s.product for s in book.settings] == ["red clover"] * is_begun + ["oats"]
    assert book.warnings == ()
    assert sorted(p.name for p in tmp_path.iterdir()) == [".book.csv.lock", "book.csv"]


@pytest.mark.parametrize("length", [1, 10, 24, 29])
def test_a_torn_line_is_told_and_left_and_costs_no_other(tmp_path: Path, length: int) -> None:
    path = tmp_path / "book.csv"
    append_setting(path, CLOVER)
    with path.open("ab") as file:
        file.write(b',killed,,,1,,,,,,,,,"a, b",yes\r\n'[:length])
    torn = path.read_bytes()
    (warning,) = read_book(path).warnings
    assert "line 3" in warning
    assert path.read_bytes() == torn
    (told,) = append_setting(path, replace(CLOVER, product="oats"))
    assert "line 3" in told
    assert path.read_bytes().startswith(torn)  # the torn line is never rewritten
    book = read_book(path)
    assert [s.product for s in book.settings] == ["red clover", "oats"]
    assert len(book.warnings) == 1
    assert append_setting(path, CLOVER) == ()


@given(st.integers(0, 400))
def test_wherever_a_line_breaks_off_the_others_are_whole(cut: int) -> None:
    head = b"product,trouble,setting,complete\n"
    one = written(["clover é", 'it "bridged", twice', "42", "yes"], ",").encode() + b"\n"
    content = head + one + one[: cut % len(one)]
    book = read_lines(content, "book.csv")
    assert book.lines[0][1] == ["clover é", 'it "bridged", twice', "42", "yes"]
    after = read_lines(content + book.tail.encode() + one, "book.csv")
    assert after.lines[-1][1] == book.lines[0][1]
    for _, cells in after.lines:  # a line cut in its last cell has lost nothing
        assert cells[:3] == book.lines[0][1][:3]
    # Other programs, which know nothing of our marks, part the lines likewise.
    text = (content + book.tail.encode() + one).decode(errors="replace")
    assert list(csv.reader(text.splitlines(keepends=True)))[-1] == book.lines[0][1]


def test_columns_moved_added_and_renamed_units_are_kept(tmp_path: Path) -> None:
    path = tmp_path / "book.csv"
    path.write_text(
        "field,Setting,rate [kg/ha],Product,complete,weather\nCreek,40,25,oats,,dry\n",
        encoding="utf-8",
    )
    before = path.read_bytes()
    warnings = append_setting(path, CLOVER)
    assert path.read_bytes().startswith(before)
    assert any('"roller"' in w and '"fine"' in w for w in warnings)
    with path.open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert rows[0]["weather"] == "dry"
    assert rows[1]["weather"] == rows[1]["field"] == ""
    # 10 lb/ac is 11.2085 kg/ha: NIST SP 811.
    assert float(rows[1]["rate [kg/ha]"]) == pytest.approx(11.2085, abs=1e-3)
    settings = read_book(path).settings
    assert [s.product for s in settings] == ["oats", "red clover"]
    assert settings[0].rate_kg_per_m2 == pytest.approx(0.0025)


def test_a_spreadsheet_with_semicolons_and_decimal_commas(tmp_path: Path) -> None:
    path = tmp_path / "book.csv"
    path.write_bytes(
        "date;product;rate [kg/ha];setting;complete\r\n"
        "2026-04-14;Gerste früh;180,5;42,5;yes\r\n".encode("cp1252")
    )
    append_setting(path, replace(CLOVER, product="Klee grün", rate_kg_per_m2=0.0012345))
    assert path.read_bytes().splitlines()[2] == "2026-04-14;Klee grün;12,345;42;yes".encode(
        "cp1252"
    )
    first, second = read_book(path).settings
    assert (first.product, first.setting) == ("Gerste früh", "42,5")
    assert first.rate_kg_per_m2 == pytest.approx(0.01805)
    assert second.rate_kg_per_m2 == pytest.approx(0.0012345)


def test_a_cell_of_several_lines_from_a_spreadsheet(tmp_path: Path) -> None:
    path = tmp_path / "book.csv"
    path.write_text('product,trouble,setting\noats,"bridged\ntwice, badly",40\nrye,,30\n')
    assert [(s.product, s.trouble) for s in read_book(path).settings] == [
        ("oats", "bridged\ntwice, badly"),
        ("rye", ""),
    ]


def test_a_quote_left_open_swallows_no_other_line(tmp_path: Path) -> None:
    path = tmp_path / "book.csv"
    path.write_text('product,trouble,setting\noats,"bridged,40\nrye,,30\nflax,"dry, thin",20\n')
    book = read_book(path)
    assert [s.product for s in book.settings] == ["rye", "flax"]
    assert "line 2" in book.warnings[0]


def test_cells_with_their_own_units_and_nonsense(tmp_path: Path) -> None:
    path = tmp_path / "book.csv"
    path.write_text(
        "product,bulk density [lb/bu],rate,catches,scatter [%]\n"
        "a,48,25 lb/ac,3,2\nb,770 kg/m3,25,x,nan\nc,-4,1 mph,,\n"
    )
    book = read_book(path)
    a, b, c = book.settings
    assert a.rate_kg_per_m2 == pytest.approx(25 * POUND_KG / ACRE_M2)
    assert (a.catches, a.scatter) == (3, pytest.approx(0.02))
    assert b.bulk_density_kg_per_m3 == pytest.approx(770)
    assert (b.rate_kg_per_m2, b.catches, b.scatter) == (None, None, None)
    assert (c.rate_kg_per_m2, c.bulk_density_kg_per_m3) == (None, None)
    assert [("line 3" in w, "line 4" in w) for w in book.warnings] == [
        (True, False),
        (False, True),
        (False, True),
    ]


def test_text_that_would_run_as_a_formula(tmp_path: Path) -> None:
    path = tmp_path / "book.csv"
    append_setting(path, PastSetting(product="=2+3", setting="-2", trouble="@home"))
    with path.open(encoding="utf-8-sig", newline="") as file:
        (row,) = csv.DictReader(file)
    assert (row["product"], row["setting"], row["trouble"]) == ("'=2+3", "-2", "'@home")
    (found,) = read_book(path).settings
    assert (found.product, found.setting, found.trouble) == ("=2+3", "-2", "@home")


@pytest.mark.parametrize("rest", [b"", b"\n", b"\xef\xbb\xbf", b"\0\0\0\0"])
def test_an_empty_or_blanked_file_becomes_a_book(tmp_path: Path, rest: bytes) -> None:
    path = tmp_path / "book.csv"
    path.write_bytes(rest)
    append_setting(path, CLOVER)
    assert path.read_bytes().startswith(rest)
    same(read_book(path).settings[0], CLOVER)


def test_zeros_left_by_a_power_cut(tmp_path: Path) -> None:
    path = tmp_path / "book.csv"
    append_setting(path, CLOVER)
    with path.open("ab") as file:
        file.write(b"\0" * 200)
    append_setting(path, replace(CLOVER, product="oats"))
    book = read_book(path)
    assert [s.product for s in book.settings] == ["red clover", "oats"]
    assert "line 3" in book.warnings[0]


def test_a_line_without_its_end_is_doubted_where_no_column_tells(tmp_path: Path) -> None:
    path = tmp_path / "book.csv"
    path.write_text("product,setting\noats,40\nrye,3")
    book = read_book(path)
    assert [s.product for s in book.settings] == ["oats"]
    assert "line 3" in book.warnings[0]


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"date,time,lon,lat\n1,2,3,4\n", "product"),
        ("product,setting\n".encode("utf-16"), "UTF-16"),
        (b"date,product,bulk den", "cut short"),
    ],
)
def test_other_files_are_left_alone(tmp_path: Path, content: bytes, what: str) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(content)
    for act in (lambda: read_book(path), lambda: append_setting(path, CLOVER)):
        with pytest.raises(InputError, match=what):
            act()
    assert path.read_bytes() == content


def test_a_book_that_cannot_be(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        read_book(tmp_path / "none.csv")
    with pytest.raises(InputError, match="no such folder"):
        append_setting(tmp_path / "none" / "book.csv", CLOVER)
    with pytest.raises(InputError, match="--book"):
        append_setting(tmp_path, CLOVER)


def test_a_book_held_by_another_program(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from filelock import FileLock

    monkeypatch.setattr("evenacre.io.settings_book.book._PATIENCE_S", 0.1)
    path = tmp_path / "book.csv"
    with (
        FileLock(tmp_path / ".book.csv.lock"),
        pytest.raises(InputError, match="Another program"),
    ):
        append_setting(path, CLOVER)
    assert not path.exists()
    append_setting(path, CLOVER)


def test_nothing_but_the_book_and_its_lock_is_left(tmp_path: Path) -> None:
    append_setting(tmp_path / "book.csv", CLOVER)
    assert sorted(p.name for p in tmp_path.iterdir()) == [".book.csv.lock", "book.csv"]


def test_a_disk_that_fills_up_midway_leaves_no_half_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "book.csv"
    append_setting(path, CLOVER)
    before = path.read_bytes()

    def full(descriptor: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match="the disk is full"):
        append_setting(path, CLOVER)
    monkeypatch.undo()
    assert path.read_bytes() == before
    assert sorted(p.name for p in tmp_path.iterdir()) == [".book.csv.lock", "book.csv"]


def test_a_book_keeps_who_may_read_it(tmp_path: Path) -> None:
    path = tmp_path / "book.csv"
    append_setting(path, CLOVER)
    path.chmod(0o600)
    append_setting(path, CLOVER)
    assert path.stat().st_mode & 0o777 == 0o600
