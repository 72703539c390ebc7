"""The sample farm's folder: begun, cut short, changed and filled up."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

import pytest
from cli_jobs import evenacre

from evenacre.errors import InputError
from evenacre.io.result_folder.staging import put_farm
from evenacre.processes.written import Written

FARM = {"truth.json": "{}", "season.toml": "farm = 1", "logs/creek.csv": "a,b"}


def write_farm(folder: Path) -> None:
    for name, text in FARM.items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_text(text)


def put(folder: Path) -> Written:
    told = Written()
    put_farm(folder, write_farm, "truth.json", told)
    return told


def texts(folder: Path) -> dict[str, str]:
    return {
        p.relative_to(folder).as_posix(): p.read_text() for p in folder.rglob("*") if p.is_file()
    }


@pytest.mark.parametrize("there", [False, True])
def test_a_first_demo(tmp_path: Path, there: bool) -> None:
    farm = tmp_path / "farm"
    if there:
        farm.mkdir()
    inode = farm.stat().st_ino if there else None
    told = put(farm)
    assert texts(farm) == FARM
    assert (told.places, told.notes) == ([farm], [])
    # A terminal that stands in the folder goes on standing in it.
    assert inode in (None, farm.stat().st_ino)
    assert list(tmp_path.iterdir()) == [farm]


def test_a_second_demo_writes_nothing(tmp_path: Path) -> None:
    put(tmp_path / "farm")
    told = put(tmp_path / "farm")
    assert (told.places, told.notes) == ([], [])


def test_changed_files_stay_and_are_told(tmp_path: Path) -> None:
    farm = tmp_path / "farm"
    put(farm)
    (farm / "season.toml").write_text("farm = 2")
    (farm / "my notes.txt").write_text("dear")
    (farm / "logs/creek.csv").unlink()
    told = put(farm)
    assert texts(farm) == {**FARM, "season.toml": "farm = 2", "my notes.txt": "dear"}
    (note,) = told.notes
    assert "season.toml" in note
    assert "used as they are" in note
    assert "creek" not in note


def test_a_file_that_became_a_link_or_a_folder_stays(tmp_path: Path) -> None:
    farm = tmp_path / "farm"
    put(farm)
    for name in ("season.toml", "logs/creek.csv"):
        (farm / name).unlink()
    (farm / "season.toml").symlink_to("nowhere")
    (farm / "logs/creek.csv").mkdir()
    assert "logs/creek.csv, season.toml" in put(farm).notes[0]
    assert os.readlink(farm / "season.toml") == "nowhere"


def test_the_folder_of_a_season_is_refused(tmp_path: Path) -> None:
    (tmp_path / "season.toml").write_text("mine")
    with pytest.raises(InputError, match="holds no sample farm"):
        put(tmp_path)
    assert texts(tmp_path) == {"season.toml": "mine"}


def test_stopped_before_and_after_the_farm_is_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: object, **__: object) -> None:
        os.kill(os.getpid(), signal.SIGINT)
        time.sleep(0.01)

    farm = tmp_path / "farm"
    monkeypatch.setattr("evenacre.sample_fields.three_larks.write_farm", interrupted)
    ran = evenacre("demo", farm)
    assert (ran.code, ran.err) == (130, "Stopped. Nothing was written.\n")
    assert list(tmp_path.iterdir()) == []
    monkeypatch.setattr("evenacre.sample_fields.three_larks.write_farm", write_farm)
    monkeypatch.setattr("evenacre.io.season.load.load_season", interrupted)
    ran = evenacre("demo", farm)
    assert (ran.code, ran.err) == (130, f"Stopped. Written before that: {farm}.\n")
    assert texts(farm) == FARM
