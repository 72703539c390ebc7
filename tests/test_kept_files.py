"""What people changed or put into a result folder: kept, and told."""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import datetime
from pathlib import Path

import pytest

from evenacre.errors import InputError
from evenacre.io.result_folder import exchange
from evenacre.io.result_folder.ownership import SUMMARY, write_account
from evenacre.io.result_folder.staging import staged_folder
from evenacre.processes.written import Written

FILES = {"report.html": "<p>", "tables/skips.csv": "a,b", "cover.tif": "II", "map.gpkg": "SQLite"}
FAR_S = 400 * 24 * 3600


def write(out: Path, version: int = 1, kind: str = "", **files: str) -> Written:
    """A result; ``files`` are further ones of it."""
    told = Written()
    with staged_folder(out, kind=kind, written=told) as stage:
        for name, text in {**FILES, **files}.items():
            path = stage / name
            path.parent.mkdir(exist_ok=True)
            path.write_text(text)
        schema = f"{kind or 'evenacre/summary'}/1.2"
        write_account(stage, SUMMARY, {"schema": schema, "version": version})
    return told


def write_as_before(out: Path) -> None:
    """A result of a version that wrote no checksums."""
    write(out)
    account = json.loads((out / SUMMARY).read_text())
    del account["sha256"], account["account_sha256"]
    (out / SUMMARY).write_text(json.dumps({**account, "schema": "evenacre/summary/1.1"}))


def asides(out: Path) -> list[Path]:
    return sorted(p for p in out.parent.iterdir() if p != out)


def texts(folder: Path) -> dict[str, str]:
    return {
        p.relative_to(folder).as_posix(): p.read_text() for p in folder.rglob("*") if p.is_file()
    }


@pytest.fixture
def out(tmp_path: Path) -> Path:
    write(tmp_path / "out")
    return tmp_path / "out"


def test_the_account_holds_the_checksums_of_every_file(out: Path) -> None:
    raw = (out / SUMMARY).read_bytes()
    account = json.loads(raw)
    assert account["files"] == sorted([*FILES, SUMMARY])
    for name in FILES:
        assert account["sha256"].pop(name) == hashlib.sha256((out / name).read_bytes()).hexdigest()
    assert account["sha256"] == {}
    own = account["account_sha256"]
    assert own == hashlib.sha256(raw.replace(own.encode(), b"0" * 64)).hexdigest()


def test_an_unchanged_result_is_replaced_without_a_word(out: Path) -> None:
    assert write(out, 2).notes == []
    assert asides(out) == []


def test_changed_files_go_aside_under_their_names(out: Path) -> None:
    (out / "tables/skips.csv").write_text("mine")
    os.utime(out / "tables/skips.csv", (0, 0))  # whatever the clock says
    told = write(out, 2)
    (aside,) = asides(out)
    assert re.fullmatch(r"out edited \d{4}-\d\d-\d\d \d{4}", aside.name)
    assert texts(aside) == {"tables/skips.csv": "mine"}
    assert texts(out)["tables/skips.csv"] == "a,b"
    (note,) = told.notes
    assert str(aside) in note
    assert "tables/skips.csv" in note
    assert told.places == [out]


def test_an_earlier_folder_of_changed_files_is_left_alone(out: Path) -> None:
    for text in ("first", "second", "third"):
        (out / "report.html").write_text(text)
        write(out, 2)
    assert sorted(texts(aside)["report.html"] for aside in asides(out)) == [
        *("first", "second", "third")
    ]


def test_a_touched_file_is_not_a_changed_one(out: Path) -> None:
    for name in FILES:
        os.utime(out / name, (datetime.now().timestamp() + FAR_S,) * 2)
    os.utime(out / SUMMARY, (0, 0))
    assert write(out, 2).notes == []


def test_a_changed_account_goes_aside(out: Path) -> None:
    text = (out / SUMMARY).read_text().replace('"version": 1', '"version": 7')
    (out / SUMMARY).write_text(text)
    write(out, 2)
    (aside,) = asides(out)
    assert texts(aside) == {SUMMARY: text}


def test_a_map_that_is_open_elsewhere_goes_aside_with_its_edits(tmp_path: Path) -> None:
    out = tmp_path / "out"
    write(out)
    # A true database, with an edit that is in its log only.
    (out / "map.gpkg").unlink()
    database = sqlite3.connect(out / "map.gpkg", isolation_level=None)
    database.execute("PRAGMA journal_mode = WAL")
    database.execute("CREATE TABLE notes (text)")
    database.execute("INSERT INTO notes VALUES ('wet spot')")
    account = json.loads((out / SUMMARY).read_text())
    account["sha256"]["map.gpkg"] = hashlib.sha256((out / "map.gpkg").read_bytes()).hexdigest()
    (out / SUMMARY).write_text(json.dumps(account))  # as if it had been written like that
    write(out, 2)
    database.close()
    (aside,) = asides(out)
    assert {p.name for p in aside.iterdir()} >= {"map.gpkg"}
    with closing(sqlite3.connect(aside / "map.gpkg")) as kept:
        assert kept.execute("SELECT text FROM notes").fetchall() == [("wet spot",)]
    assert not list(out.glob("*-wal"))


def test_a_log_without_changes_beside_an_untouched_map(out: Path) -> None:
    (out / "map.gpkg-wal").write_text("")
    write(out, 2)
    (aside,) = asides(out)
    assert texts(aside) == {"map.gpkg": "SQLite", "map.gpkg-wal": ""}
    assert texts(out)["map.gpkg"] == "SQLite"


def test_what_desktops_leave_stays(out: Path) -> None:
    (out / "tables/Thumbs.db").write_text("thumbs")
    (out / "desktop.ini").write_text("ini")
    write(out, 2)
    assert texts(out)["tables/Thumbs.db"] == "thumbs"
    assert texts(out)["desktop.ini"] == "ini"
    assert asides(out) == []


def test_statistics_stay_with_the_raster_they_are_of(out: Path) -> None:
    (out / "cover.tif.aux.xml").write_text("mean 1")
    write(out, 2)
    assert texts(out)["cover.tif.aux.xml"] == "mean 1"
    assert asides(out) == []
    write(out, 3, **{"cover.tif": "II other"})
    assert "cover.tif.aux.xml" not in texts(out)
    (aside,) = asides(out)
    assert texts(aside) == {"cover.tif.aux.xml": "mean 1"}


def test_empty_folders_and_links_to_folders_stay(out: Path) -> None:
    (out.parent / "photos").mkdir()
    (out / "photos").symlink_to("../photos", target_is_directory=True)
    (out / "for later/deep").mkdir(parents=True)
    (out / "tables/empty").mkdir()
    write(out, 2)
    assert os.readlink(out / "photos") == "../photos"
    assert (out / "for later/deep").is_dir()
    assert (out / "tables/empty").is_dir()
    assert asides(out) == [out.parent / "photos"]


def test_a_folder_that_the_new_result_has_no_more_goes(tmp_path: Path) -> None:
    out = tmp_path / "out"
    write(out, **{"fall/rate.tif": "II"})
    write(out, 2)
    assert not (out / "fall").exists()
    assert asides(out) == []


def test_a_link_in_the_place_of_a_file_is_the_users(out: Path, tmp_path: Path) -> None:
    (tmp_path / "mine.html").write_text("<p>")  # of the same content
    (out / "report.html").unlink()
    (out / "report.html").symlink_to("../mine.html")
    write(out, 2)
    (aside,) = (p for p in asides(out) if p.is_dir())
    assert os.readlink(aside / "report.html") == "../mine.html"
    assert (aside / "report.html").read_text() == "<p>"
    assert not (out / "report.html").is_symlink()


@pytest.mark.parametrize("target", ["../letter.txt", "nowhere"])
def test_a_link_to_a_file_is_not_thrown_away(out: Path, target: str) -> None:
    (out.parent / "letter.txt").write_text("dear")
    (out / "letter").symlink_to(target)
    with pytest.raises(InputError, match="did not write: letter"):
        write(out, 2)
    assert os.readlink(out / "letter") == target


def test_a_file_that_comes_in_at_the_last_moment_is_kept(
    out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    publish = exchange.publish

    def publishing(*args: object) -> None:
        (out / "letter.txt").write_text("dear")  # after the last look
        publish(*args)  # type: ignore[arg-type]

    monkeypatch.setattr("evenacre.io.result_folder.staging.publish", publishing)
    assert "letter.txt" in write(out, 2).notes[0]
    (aside,) = asides(out)
    assert texts(aside) == {"letter.txt": "dear"}


def test_a_result_without_checksums_is_replaced(tmp_path: Path) -> None:
    out = tmp_path / "out"
    write_as_before(out)
    assert write(out, 2).notes == []
    assert asides(out) == []


def test_a_later_change_of_a_result_without_checksums_is_seen(tmp_path: Path) -> None:
    out = tmp_path / "out"
    write_as_before(out)
    (out / "report.html").write_text("mine")
    later = (out / SUMMARY).stat().st_mtime + 60
    os.utime(out / "report.html", (later, later))
    write(out, 2)
    (aside,) = asides(out)
    assert texts(aside) == {"report.html": "mine"}


def test_a_result_from_the_future_is_replaced(tmp_path: Path) -> None:
    """The clock was set back since."""
    out = tmp_path / "out"
    write_as_before(out)
    future = datetime.now().timestamp() + FAR_S
    for path in [*out.rglob("*"), out]:
        os.utime(path, (future, future))
    assert write(out, 2).notes == []


def test_results_of_another_kind_are_refused(out: Path) -> None:
    with pytest.raises(InputError, match="another kind of result"):
        write(out, kind="evenacre/summary/finish")
    other = out.parent / "other"
    write(other, kind="evenacre/summary/finish")
    with pytest.raises(InputError, match="another kind of result"):
        write(other)


def test_a_folder_with_nothing_but_litter_is_taken(tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / ".DS_Store").write_text("view")
    write(out)
    assert texts(out)[".DS_Store"] == "view"


@pytest.mark.parametrize("name", ["n" * 255, "ü" * 127, "evenacre-out"])
def test_names_may_be_as_long_as_they_can(tmp_path: Path, name: str) -> None:
    out = tmp_path / name
    write(out)
    (out / "report.html").write_text("mine")
    write(out, 2)
    (aside,) = asides(out)
    assert " edited " in aside.name
    assert texts(aside) == {"report.html": "mine"}


@contextmanager
def as_nobody(*mine: Path) -> Iterator[None]:
    """Give up the superuser's rights for a time: no permission would keep it out."""
    if os.geteuid() != 0:
        yield
        return
    for path in mine:
        for inner in [path, *path.rglob("*")]:
            os.chown(inner, 65534, 65534, follow_symlinks=False)
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.fixture
def open_place() -> Iterator[Path]:
    """A folder that everyone may reach, unlike that of the tests."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o755)
    yield folder
    shutil.rmtree(folder)


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="permissions of another kind")
@pytest.mark.parametrize("name", ["tables", "report.html", "."])
def test_what_cannot_be_read_is_left_and_told(open_place: Path, name: str) -> None:
    out = open_place / "out"
    write(out)
    before = texts(open_place)
    with as_nobody(open_place):
        (out / name).chmod(0)
        with pytest.raises(InputError, match="cannot be read") as caught:
            write(out, 2)
        (out / name).chmod(0o755)
    assert name == "." or name in str(caught.value)
    assert texts(open_place) == before


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="permissions of another kind")
def test_a_read_only_folder_is_told(open_place: Path) -> None:
    write(open_place / "out")
    before = texts(open_place)
    with as_nobody(open_place):
        open_place.chmod(0o555)
        with pytest.raises(InputError, match="no permission"):
            write(open_place / "out", 2)
        open_place.chmod(0o755)
    assert texts(open_place) == before
