"""The page on method is enough to repeat a result, and tells nothing of whose machine it was."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import re
import shlex
import shutil
from pathlib import Path
from typing import Any

import pyproj
import pytest
import shapely
from small_farm import write_small_farm
from typer.testing import CliRunner

import evenacre
from evenacre.cli.main import app
from evenacre.io.writers.file_names import unrooted
from evenacre.reports.pages.frame import templates

_ACCOUNT = re.compile(r'<script type="application/json" id="method">(.*?)</script>', re.DOTALL)


def method_of(out: Path) -> dict[str, Any]:
    (text,) = _ACCOUNT.findall((out / "method.html").read_text(encoding="utf-8"))
    told: dict[str, Any] = json.loads(text)
    return told


def audited(*words: str) -> None:
    ran = CliRunner().invoke(app, [*words, "--jobs", "1", "--quiet"])
    assert ran.exit_code == 0, ran.output


def contents(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("home-of-joe")
    write_small_farm(home)
    return home


def repeated(told: dict[str, Any], out: Path, home: Path, there: Path) -> dict[str, bytes]:
    """Do what the page says in another folder, with the files it lists and no others."""
    for file in told["inputs"]:
        source, copy = home / file["path"], there / file["path"]
        raw = source.read_bytes()
        assert hashlib.sha256(raw).hexdigest() == file["sha256"]
        assert len(raw) == file["size_bytes"]
        copy.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(source, copy)
    made = json.loads((out / "summary.json").read_text(encoding="utf-8"))["generated"]
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(there)
        seconds = int(dt.datetime.fromisoformat(made).timestamp())
        patch.setenv("SOURCE_DATE_EPOCH", str(seconds))
        audited(*told["command"])
    return contents(there / "evenacre-out")


def test_a_season_is_repeated_from_its_page(farm: Path, tmp_path: Path) -> None:
    out = tmp_path / "first"
    audited(
        "audit",
        str(farm / "season.toml"),
        "--out",
        str(out),
        "--units",
        "metric",
        "--language",
        "es",
    )
    told = method_of(out)
    assert told["schema"] == "evenacre/method/1.0"
    assert told["command"] == ["audit", "season.toml", "--units", "metric", "--language", "es"]
    assert repeated(told, out, farm, tmp_path / "other") == contents(out)
    page = (out / "method.html").read_text(encoding="utf-8")
    assert shlex.join(("evenacre", *told["command"])) in page
    assert str(farm) not in page
    assert "home-of-joe" not in page


def test_a_field_is_repeated_from_the_options_on_its_page(farm: Path, tmp_path: Path) -> None:
    out = tmp_path / "first"
    given = ("--width", "20 ft", "--product", "18-46-0", "--rate", "150 lb/ac")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(farm)
        audited(
            *("audit", "--boundary", "field.geojson", "--tracks", "log.csv", *given),
            *("--column", "rate=rate [lb/ac]", "--out", str(out)),
        )
    assert repeated(method_of(out), out, farm, tmp_path / "other") == contents(out)


def test_the_page_says_where_everything_comes_from(farm: Path, tmp_path: Path) -> None:
    out = tmp_path / "first"
    files = [str(farm / name) for name in ("field.geojson", "log.csv")]
    audited("audit", "--boundary", files[0], "--tracks", files[1], "--width", "20 ft",
            "--out", str(out))  # fmt: skip
    told, page = method_of(out), (out / "method.html").read_text(encoding="utf-8")
    report = (out / "report.html").read_text(encoding="utf-8")
    assert str(farm) not in page + report
    assert "<li>log.csv " in report
    assert [file["path"] for file in told["inputs"]] == ["field.geojson", "log.csv"]
    origins = {one["setting"]: one["origin"] for one in told["settings"]}
    assert origins["working width"] == "said"
    assert origins["tool behind antenna"] == "taken as usual"
    assert origins["receiver, from pass to pass"] == "taken as usual"
    assert origins["headland rounds"] == "from the log"
    (width,) = [one for one in told["settings"] if one["setting"] == "working width"]
    assert (width["value"], width["unit"]) == (pytest.approx(6.096), "m")  # 20 ft of 0.3048 m
    summary = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    (job,) = summary["operations"]
    said = {one["text"] for one in told["findings"]}
    assert {*job["notes"], *job["warnings"]} <= said
    assert all(one["code"] and one["severity"] in ("warning", "note") for one in told["findings"])
    versions = {one["name"]: one["version"] for one in told["versions"]}
    assert versions["Evenacre"] == evenacre.__version__
    assert versions["GEOS"] == shapely.geos_version_string
    assert versions["PROJ"] == pyproj.proj_version_str
    assert re.fullmatch(r"20\d\d[a-z]|20\d\d\.\d+|of the system", versions["tzdata"])
    # Every key that is explained is one of the account.
    keys = {one["key"] for one in told["figures"] if one["table"] in ("ground", "work")}
    assert keys <= set(job)


def test_every_part_of_the_report_leads_to_it() -> None:
    template = templates().loader
    assert template is not None
    source, _, _ = template.get_source(templates(), "report.html.j2")
    assert 'href="method.html"' in source


def test_names_from_the_root_are_told_without_what_leads_there() -> None:
    words = ["/home/joe/farm/log.csv", "/home/joe/farm/maps/field.geojson", "near.csv", "20 ft"]
    assert unrooted(words) == ["log.csv", "maps/field.geojson", "near.csv", "20 ft"]
    assert unrooted(["--tracks", "/home/joe/a.csv"], ["/home/joe/a.csv"]) == ["--tracks", "a.csv"]
    assert unrooted(["/srv/x.csv"], ["/home/joe/a.csv"]) == ["x.csv"]
