"""Every reader of other people's files, as fuzzing calls it.

Whatever a file holds, a reader answers with something usable or with a complaint in full.
"""

from __future__ import annotations

import math
import shutil
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
import shapely
import small_files as small
from accidents import unpacked

from evenacre.errors import InputError
from evenacre.io.common.findings import Findings
from evenacre.io.logs.blockages import blockages_of, read_blockage_file
from evenacre.io.logs.read_tracks import read_tracks
from evenacre.io.maps.field_layers import read_boundary, read_setbacks, read_unworkable, read_zones
from evenacre.io.maps.read_layer import Source
from evenacre.io.result_folder.ownership import SUMMARY, check_replaceable, write_account
from evenacre.io.result_folder.staging import staged_folder
from evenacre.io.season.from_taskdata import season_from_taskdata
from evenacre.io.season.load import draft_season
from evenacre.io.season.pasture.paddocks import read_paddocks
from evenacre.io.season.pasture.rain import read_rain
from evenacre.io.season.plan_json import read_plan
from evenacre.io.settings_book.book import append_setting, read_book
from evenacre.io.tickets.load_tickets import read_tickets, stray_fills
from evenacre.model import (
    Application,
    Compartment,
    Field,
    Implement,
    OperationPlan,
    PastSetting,
    Product,
    Track,
)

DRILL = Implement(
    width_m=6.0,
    rows=32,
    rows_known=True,
    rows_per_tower=8,
    compartments=(Compartment("front", 6.0), Compartment("rear", 3.0)),
)
JOB = OperationPlan(
    name="Seeding",
    field=Field("Creek Forty"),
    implement=DRILL,
    track_files=(),
    applications=(Application(Product("18-46-0")), Application(Product("rye"))),
    date="2026-04-14",
    time_zone="America/Chicago",
)


@dataclass(frozen=True)
class Reader:
    """What fuzzing needs to know of a reader.

    Attributes
    ----------
    file : str
        The name its files get; accidents go by its ending.
    cases : int
        How many of the 6,600 cases of the test suite are its own: the slow have fewer. By hand
        it gets 150 times as many.
    read : callable
        Reads a file of any content beside the files of `prepare`, and checks what it gave.
        Where there are several ways to read a file, its length decides.
    seeds : callable
        Good files to begin with.
    """

    file: str
    cases: int
    read: Callable[[Path], None]
    seeds: Callable[[], list[bytes]]

    @property
    def kind(self) -> str:
        """The ending of its files."""
        return self.file.rpartition(".")[2]

    def try_out(self, content: bytes, folder: Path) -> bool:
        """Read a content; tell whether it was taken. A complaint has to be a full one."""
        file = folder / self.file
        file.write_bytes(content)
        try:
            self.read(file)
            return True
        except InputError as error:
            problems = error.problems
        assert problems
        for problem in problems:
            assert problem.file
            assert problem.what
            assert problem.remedy
        return False


def prepare(folder: Path) -> None:
    """Put there what other files name."""
    for name, content in (
        ("field.geojson", small.geojson_boundary()),
        ("farm.geojson", small.farm_map()),
        ("log.csv", small.csv_log()),
        ("blockages.csv", small.blockages()),
        ("tickets.csv", small.tickets()),
    ):
        (folder / name).write_bytes(content)


def of_length(file: Path, ways: int) -> int:
    return file.stat().st_size % ways


# --- logs ----------------------------------------------------------------------------------------


def read_log(file: Path, crs: str | None = None) -> None:
    zone = (None, "America/Chicago")[of_length(file, 2)]
    check_tracks(read_tracks(file, crs=crs, time_zone=zone))


def check_tracks(tracks: list[Track]) -> None:
    assert tracks
    for track in tracks:
        n = len(track)
        assert n > 0
        assert np.isfinite(track.time_s).all()
        assert np.abs(track.lat[np.isfinite(track.lat)]).max(initial=0) <= 90
        assert not np.isinf(track.lon).any()
        for column in (
            *(track.lon, track.lat, track.working, track.sections, track.width_m),
            *(track.speed_mps, track.heading_rad, track.distance_m, track.interval_s),
            *(track.sigma_m, *track.rates.values(), *track.flows.values()),
        ):
            assert column is None or len(column) == n


def read_task_data(file: Path) -> None:
    """As a zip, as a folder, or as a whole season."""
    if of_length(file, 2):
        read_log(file)
        return
    home = file.parent / "farm"
    home.mkdir(exist_ok=True)
    for old in home.iterdir():
        old.unlink()
    for name, content in unpacked(file.read_bytes()):
        base = name.rpartition("/")[2]
        if base not in ("", ".", "..") and "\0" not in base and len(base.encode()) < 200:
            (home / base).write_bytes(content)
    field = file.parent / "field.geojson"
    season = season_from_taskdata(home, width="6 m", rows=32, boundary=field)
    assert season.operations


# --- maps ----------------------------------------------------------------------------------------


def read_map(file: Path) -> None:
    """As a log or as the ground of a field."""
    (read_log, read_ground)[of_length(file, 2)](file)


def read_ground(file: Path) -> None:
    """As something that may be drawn on a map of a farm."""
    source, boundary = Source(file), shapely.box(-93.5, 40, -93.49, 40.01)
    match of_length(file, 10) // 2:  # every other length is a log's
        case 0:
            check_ground([read_boundary(source)[0]])
        case 1:
            check_ground([read_unworkable(source, boundary)[0]])
        case 2:
            zones, _ = read_zones(source, boundary)
            check_ground(zones.geometry)
            assert zones["zone"].is_unique
        case 3:
            setbacks, _ = read_setbacks(source, 30.0, boundary)
            assert len(setbacks)
            assert np.isfinite(setbacks.geometry.bounds.to_numpy()).all()
        case _:
            paddocks, _ = read_paddocks(source)
            check_ground(paddocks.geometry)
            assert all(paddocks["name"])


def check_ground(shapes: Iterable[shapely.Geometry]) -> None:
    for shape in shapes:
        assert shape.is_valid
        assert shape.area > 0
        _, south, _, north = shape.bounds
        assert -90 <= south <= north <= 90


# --- tables --------------------------------------------------------------------------------------


def read_blockages(file: Path) -> None:
    notes, _ = read_blockage_file(file)
    for blockage in blockages_of(notes, DRILL, date=JOB.date, time_zone=JOB.time_zone):
        assert math.isfinite(blockage.start_s)
        assert blockage.start_s <= blockage.end_s < math.inf
        assert set(blockage.rows) <= set(range(1, 33))
        assert blockage.rows


def read_past_rain(file: Path) -> None:
    _, rain_m = read_rain(file, Findings())
    told = rain_m[np.isfinite(rain_m)]
    assert len(rain_m) <= 366 * 132
    assert ((told >= 0) & (told < math.inf)).all()


def read_load_tickets(file: Path) -> None:
    loads, _ = read_tickets(file, JOB)
    for load in loads:
        assert 0 <= load.mass_kg < math.inf
        assert 0 <= load.sigma_kg < math.inf
        assert load.time_s is None or math.isfinite(load.time_s)
    assert all(0 <= mass < math.inf for mass in stray_fills([file]).values())


def read_settings(file: Path) -> None:
    """A book; every eighth is also written to, after which it still reads, with the new line."""
    book = read_book(file)
    for setting in book.settings:
        for value in (
            *(setting.rate_kg_per_m2, setting.bulk_density_kg_per_m3, setting.speed_mps),
            *(setting.target_kg_per_m2, setting.scatter),
        ):
            assert value is None or 0 <= value < math.inf
    if of_length(file, 8) == 0:
        append_setting(file, PastSetting(product="oats", setting="7", rate_kg_per_m2=0.01))
        longer = read_book(file)
        assert longer.settings[-1].product == "oats"
        assert len(longer.settings) >= len(book.settings)


# --- season, plan, account -----------------------------------------------------------------------


def read_season(file: Path) -> None:
    holding = ("operations", "seeding", "either", "fields")[of_length(file, 4)]
    draft = draft_season(file, must_hold=holding)  # type: ignore[arg-type]
    if draft.problems:
        raise InputError(draft.problems)
    season = draft.season
    assert season.operations or holding != "operations"
    assert season.seeding or holding != "seeding"


def read_planned(file: Path) -> None:
    planned = read_plan(file)
    assert planned.paddocks
    for paddock in planned.paddocks:
        assert 0 <= paddock.workable_m2 < math.inf
        assert list(paddock.visits) == sorted(paddock.visits, key=lambda visit: visit.day)


def read_account(file: Path) -> None:
    """An earlier result in the folder that a new one is to take."""
    out = file.parent / "out"
    out.mkdir(exist_ok=True)
    (out / "summary.json").write_bytes(file.read_bytes())
    (out / "report.html").write_bytes(b"<html>")
    if of_length(file, 50):
        check_replaceable(out)
    else:
        with staged_folder(out) as stage:
            write_account(stage, SUMMARY, {"schema": "evenacre/summary/1"})
        for kept in out.parent.glob("out edited *"):
            shutil.rmtree(kept)


def _logs(ending: str) -> list[bytes]:
    return [log for name, log in small.LOGS.items() if name.endswith(ending)]


READERS: dict[str, Reader] = {
    "csv": Reader("log.csv", 450, partial(read_log, crs="EPSG:26915"), partial(_logs, ".csv")),
    "gpx": Reader("log.gpx", 600, read_log, partial(_logs, ".gpx")),
    "nmea": Reader("log.nmea", 150, read_log, partial(_logs, ".nmea")),
    "any_log": Reader("raw.log", 160, partial(read_log, crs="EPSG:26915"), partial(_logs, "")),
    "xlsx": Reader("log.xlsx", 100, read_log, lambda: [small.workbook_log()]),
    "zipped_log": Reader("logs.zip", 100, read_log, small.zipped_logs),
    "task_data": Reader(
        "farm.zip", 180, read_task_data, lambda: [small.task_data(), small.task_data_grids()]
    ),
    "geojson": Reader(
        "log.geojson", 70, read_map, lambda: _logs(".geojson") + small.map_files("geojson")
    ),
    "ground": Reader("ground.geojson", 50, read_ground, lambda: [small.farm_map()]),
    **{
        ending: Reader(f"log.{ending}", cases, read_map, partial(small.map_files, ending))
        for ending, cases in (("gpkg", 50), ("fgb", 140), ("parquet", 60))
    },
    "shapefile": Reader("map.zip", 90, read_map, partial(small.map_files, "zip")),
    "kml": Reader("log.kml", 100, read_map, small.kml_logs),
    "gml": Reader("log.gml", 80, read_map, small.gml_logs),
    "blockages": Reader("blocked.csv", 500, read_blockages, lambda: [small.blockages()]),
    "tickets": Reader(
        "loads.csv", 500, read_load_tickets, lambda: [small.tickets(), small.tickets_bare()]
    ),
    "rain": Reader("rain.csv", 200, read_past_rain, lambda: [small.rain()]),
    "book": Reader("book.csv", 700, read_settings, lambda: [small.settings_book()]),
    "season": Reader(
        "season.toml",
        140,
        read_season,
        lambda: [
            *(small.season(), small.season_amounts()),
            *(small.season_pasture(), small.season_moves()),
        ],
    ),
    "plan": Reader("plan.json", 1_200, read_planned, lambda: [small.plan()]),
    "account": Reader("account.json", 1_200, read_account, lambda: [small.summary()]),
}
"""Readers by name."""
