"""Parts of a result that were asked for are those of the whole result; no others are made."""

import json
from pathlib import Path

import pytest
from small_farm import write_small_farm

import evenacre as ev
from evenacre.cli.audit import _parts
from evenacre.model.outputs import Part
from evenacre.reports.pages import audit as pages

FILES = {
    "report": {"report.html", "method.html"},
    "maps": {"maps"},
    "layers": {"layers.gpkg"},
    "rasters": {"cover_count.tif", "rate_18-46-0.tif"},
    "tables": {"tables", "tables.xlsx"},
    "fixes": {"fix_list.geojson", "fix_list.gpx"},
}


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> ev.Season:
    folder = tmp_path_factory.mktemp("farm")
    write_small_farm(folder)
    return ev.load_season(folder / "season.toml")


def files_of(out: Path) -> dict[str, bytes]:
    return {str(p.relative_to(out)): p.read_bytes() for p in out.rglob("*") if p.is_file()}


@pytest.mark.parametrize("only", [(), ("layers",), ("fixes", "tables"), ("rasters", "maps")])
def test_only_what_was_asked_for_is_written(
    season: ev.Season, only: tuple[Part, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1776000000")
    ev.audit_season(season, tmp_path / "whole")
    ev.audit_season(season, tmp_path / "part", only=only)
    there = {path.name for path in (tmp_path / "part").iterdir()}
    assert there == {"summary.json"}.union(*(FILES[part] for part in only))
    whole, part = files_of(tmp_path / "whole"), files_of(tmp_path / "part")
    account = json.loads(part.pop("summary.json"))
    assert set(account["files"]) == {"summary.json", *part}
    assert part == {name: whole[name] for name in part}
    assert account["operations"] == json.loads(whole["summary.json"])["operations"]


def test_nothing_is_drawn_for_a_summary(
    season: ev.Season, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_map(*_args: object, **_more: object) -> None:
        raise AssertionError("drawn")

    monkeypatch.setattr(pages, "static_maps", no_map)
    ev.audit_season(season, tmp_path / "part", only=())
    with pytest.raises(AssertionError, match="drawn"):
        ev.audit_season(season, tmp_path / "whole")


def test_parts_are_named_by_commas() -> None:
    assert _parts(None) is None
    assert _parts("summary") == ()
    assert _parts("tables, layers") == ("layers", "tables")
    with pytest.raises(ev.InputError, match="summery"):
        _parts("summery")
