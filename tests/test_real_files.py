"""Files as machines and receivers wrote them, and seeded changes of them.

They lie in ``../shared/data`` (its README tells their sources) and not in the repository; the
tests run where that folder exists. ``CHANGES=2000`` tries so many changes in place of a few.
"""

from __future__ import annotations

import io
import os
import re
import warnings
import zipfile
from collections import Counter
from collections.abc import Iterable
from functools import reduce
from operator import xor
from pathlib import Path
from random import Random

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from changed_exports import export, lose

import evenacre as ev
from evenacre.errors import InputError

SHARED = Path(__file__).resolve().parents[2] / "shared" / "data"
REAL = SHARED / "real"
CHANGES = int(os.environ.get("CHANGES", "12"))
INCH_M, POUND_KG = 0.0254, 0.45359237
WITHIN = 0.05  # of the ground swept, unless something was warned of

pytestmark = pytest.mark.skipif(not REAL.exists(), reason="the real files are not on this machine")


def harvest() -> pd.DataFrame:
    """A part of a real drive, by role, in SI."""
    raw = pd.read_csv(SHARED / "real_harvest_log.csv").iloc[:1400]
    return pd.DataFrame(
        {
            "lon": raw["long"],
            "lat": raw["lat"],
            "time": raw["time"] + 1320518283.0,
            "distance_m": raw["dist"] * INCH_M,
            "width_m": 360 * INCH_M,
            "flow_kg_per_s": raw["mass"] * POUND_KG,
        }
    )


def one_combine() -> pd.DataFrame:
    """Part of one machine's drive out of a log of two."""
    raw = gpd.read_file(REAL / "two_combines.zip").iloc[:1500]
    return pd.DataFrame(
        {
            "lon": raw["lon"],
            "lat": raw["lat"],
            "time": ((raw["gps_tim"] - 25569) * 86400).round(),
            "distance_m": raw["dist_in"] * INCH_M,
            "width_m": raw["swth_w_"] * INCH_M,
            "flow_kg_per_s": raw["flw_lbs"] * POUND_KG,
            "heading_deg": raw["hdng_dg"],
        }
    )


OF_A_LOG = re.compile(r"[\w. ]+\.\w+: ")  # begins what is said of one file
TABLES = {"harvest": harvest, "combine": one_combine}


def swept_m2(path: Path, **how: object) -> tuple[float, set[str]]:
    """Ground swept, and what was warned of in the log, whatever its name."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")  # what a library says aside would reach nobody
        audit = ev.audit(path, **how)
    said = (OF_A_LOG.sub("", text, count=1) for text in audit.warnings if OF_A_LOG.match(text))
    return sum(o.swept_area_m2 for o in audit.operations), bare(said)


def is_plain(error: InputError) -> bool:
    """Whether every complaint says where it is, what is wrong and what to do."""
    return all(p.file and p.what and p.remedy for p in error.problems)


def outcome(path: Path, right_m2: float, told: set[str], **how: object) -> str:
    """Say how a changed file ended; anything but an answer or a plain complaint raises."""
    try:
        found, warned = swept_m2(path, **how)
    except InputError as error:
        if not is_plain(error):
            raise
        return "complaint"
    if abs(found / right_m2 - 1) <= WITHIN:
        return "right"
    return "warned" if warned - told else f"silently wrong: {found:.0f} m2 for {right_m2:.0f}"


@pytest.mark.parametrize("name", TABLES)
def test_a_changed_export_is_right_or_says_so(name: str, tmp_path: Path) -> None:
    whole = TABLES[name]()
    ends: dict[str, list[str]] = {}
    right: dict[str, tuple[float, set[str]]] = {}
    for seed in range(CHANGES // 3):
        random = Random(seed)
        records, lost = lose(whole, random)
        folder = tmp_path / str(seed)
        folder.mkdir()
        if lost in ("shuffled", "turned round", "records twice", "whole"):
            told = "whole"  # none of these takes anything away
            records_for_truth = whole
        else:
            told, records_for_truth = f"{lost} {seed}", records
        if told not in right:
            plain = folder / "plain.csv"
            records_for_truth.to_csv(plain, index=False)
            columns = {
                "lon": "lon",
                "lat": "lat",
                "time": "time",
                "distance": "distance_m [m]",
                "width": "width_m [m]",
                "flow": "flow_kg_per_s [kg/s]",
            }
            right[told] = swept_m2(plain, columns=columns, width=float(whole["width_m"].max()))
        path, how = export(records, folder, random)
        end = outcome(path, *right[told])
        ends.setdefault(end.split(":")[0], []).append(f"{seed}: {lost}; {how}; {end}")
    print(name, {end: len(found) for end, found in ends.items()})  # pytest -rP shows it
    assert not ends.get("silently wrong"), "\n".join(ends["silently wrong"])
    # A complaint is an answer, but not the usual one.
    assert len(ends.get("complaint", [])) <= 0.25 * CHANGES / 3, "\n".join(ends["complaint"])


ALIKE = ("deeper", "cases", "beside", "renamed")


def changed_zip(content: bytes, random: Random) -> tuple[bytes, str]:
    """A zip of task data with something of it changed."""
    members = {}
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        for entry in archive.infolist():
            if not entry.is_dir():
                members[entry.filename] = archive.read(entry)
    name = random.choice(sorted(members))
    way = random.choice(["deeper", "cases", "gone", "cut", "bytes", "beside", "renamed"])
    if way == "deeper":
        members = {f"stick/a b/{n}": c for n, c in members.items()}
    elif way == "cases":
        members = {n.swapcase(): c for n, c in members.items()}
    elif way == "gone":
        del members[name]
    elif way == "cut":
        members[name] = members[name][: random.randrange(len(members[name]) + 1)]
    elif way == "bytes":
        spoilt = bytearray(members[name])
        for _ in range(random.randrange(1, 6)):
            if spoilt:
                spoilt[random.randrange(len(spoilt))] = random.randrange(256)
        members[name] = bytes(spoilt)
    elif way == "beside":
        members |= {"notes.pdf": b"%PDF-1.4", "__MACOSX/._TASKDATA.XML": b"\0\5"}
    else:
        members[f"{Path(name).stem}-copy.old"] = members[name]
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for member, data in members.items():
            archive.writestr(member, data)
    return out.getvalue(), f"{way} {name}"


def bare(warnings: Iterable[str]) -> set[str]:
    """Warnings without their figures and folders, which changes that say nothing change too."""
    return {re.sub(r"\d[\d,.]*|stick/a b/?", "#", text) for text in warnings}


def swept_by_task(path: Path) -> tuple[dict[str, float], set[str]]:
    """Ground swept by each task, and everything that was warned of, whatever the folders."""
    audit = ev.audit(path)
    areas = {o.operation.partition(" (")[0]: 0.0 for o in audit.operations}
    for operation in audit.operations:
        areas[operation.operation.partition(" (")[0]] += operation.swept_area_m2
    return areas, bare(audit.warnings)


@pytest.mark.parametrize("name", ["several_tasks", "totals", "nested_folders", "sprayer"])
def test_changed_task_data_is_right_or_says_so(name: str, tmp_path: Path) -> None:
    """The areas of the files as they are: `test_taskdata_parts` holds them to their records."""
    whole = (REAL / f"{name}.zip").read_bytes()
    try:
        right, told = swept_by_task(REAL / f"{name}.zip")
    except InputError:
        right, told = {}, set()
    ends: Counter[str] = Counter()
    for seed in range(CHANGES // 12):
        content, how = changed_zip(whole, Random(seed))
        path = tmp_path / str(seed) / f"{name}.zip"
        path.parent.mkdir()
        path.write_bytes(content)
        try:
            found, warned = swept_by_task(path)
        except InputError as error:
            if not is_plain(error):
                raise
            found, warned = {}, set()
            ends["complaint"] += 1
        except Exception as error:
            raise AssertionError(f"{name}, seed {seed}: {how}") from error
        # Another digit in a width is another width: nothing in the file could tell.
        ends["warned" if warned - told else "right"] += bool(found)
        digits = how.startswith("bytes") and how.lower().endswith(".xml")
        if found and not digits and not warned - told:
            same = found == pytest.approx(right, rel=WITHIN)
            assert same, f"{name}, seed {seed}: {how}: {found} for {right}"
        if how.partition(" ")[0] in ALIKE:  # what changes names and places alone is no reason
            assert found == pytest.approx(right, rel=1e-9), f"{name}, seed {seed}: {how}"
    print(name, dict(ends))


def changed_sentences(content: bytes, random: Random) -> bytes:
    """A receiver's log with lines lost, doubled, cut, put in disorder or mixed with binary."""
    lines = content.splitlines(keepends=True)
    for _ in range(random.randrange(1, 8)):
        i = random.randrange(len(lines))
        way = random.randrange(6)
        if way == 0:
            del lines[i : i + random.randrange(1, 20)]
            lines = lines or [b"\n"]
        elif way == 1:
            lines.insert(i, lines[i])
        elif way == 2:
            lines[i] = lines[i][: random.randrange(len(lines[i]) + 1)]
        elif way == 3:
            lines.insert(i, bytes(random.randrange(256) for _ in range(40)))
        elif way == 4:
            random.shuffle(lines)
        else:
            spoilt = bytearray(lines[i])
            if spoilt:
                spoilt[random.randrange(len(spoilt))] = random.randrange(256)
            lines[i] = bytes(spoilt)
    return b"".join(lines)


# GGA and GNS: fields of time and latitude, and of the kind of fix; RMC: whether it is valid.
PLACES = {"GGA": (1, 2, lambda f: f[6] not in ("", "0")), "RMC": (1, 3, lambda f: f[2] == "A")}
PLACES["GNS"] = (1, 2, lambda f: f[6].strip("N") != "")


def decoded(content: bytes) -> dict[float, set[tuple[float, float]]]:
    """Places by the time of day of every whole sentence that tells one; checksums are heeded."""
    found: dict[float, set[tuple[float, float]]] = {}
    for body, stated in re.findall(rb"\$([^$*\r\n]*)\*([0-9A-Fa-f]{2})", content):
        fields = body.decode("latin-1").split(",")
        if reduce(xor, body) != int(stated, 16) or fields[0][2:] not in PLACES:
            continue
        clock, at, valid = PLACES[fields[0][2:]]
        try:
            t = float(fields[clock])
            lat, north, lon, east = fields[at : at + 4]
            if not valid(fields):
                continue
            place = [
                (float(text) // 100 + float(text) % 100 / 60) * (-1 if sign in "SW" else 1)
                for text, sign in ((lat, north), (lon, east))
            ]
        except (ValueError, IndexError):
            continue
        seconds = t // 10000 * 3600 + t // 100 % 100 * 60 + t % 100
        found.setdefault(round(seconds, 3), set()).add((place[0], place[1]))
    return found


def warned_of(log: Path) -> set[str]:
    """What is said of a log as it is; nothing of one that is refused."""
    try:
        return bare(text for track in ev.read_tracks(log) for text in track.warnings)
    except InputError:
        return set()


def test_changed_sentences_are_read_right_or_say_so(tmp_path: Path) -> None:
    logs = sorted(REAL.glob("*.nmea"))
    told: dict[str, set[str]] = {}
    ends: Counter[str] = Counter()
    for seed in range(CHANGES // 3):
        random = Random(seed)
        log = random.choice(logs)
        path = tmp_path / log.name
        content = changed_sentences(log.read_bytes(), random)
        path.write_bytes(content)
        right = decoded(content)
        if log.name not in told:
            told[log.name] = warned_of(log)
        try:
            tracks = ev.read_tracks(path)
            ev.audit(path, width="20 ft")
        except InputError as error:
            if not is_plain(error):
                raise
            ends["complaint"] += 1
            continue
        warned = bare(text for track in tracks for text in track.warnings) - told[log.name]
        read: set[float] = set()
        for track in tracks:
            placed = np.isfinite(track.lat)
            for t, lat, lon in zip(
                track.time_s[placed], track.lat[placed], track.lon[placed], strict=True
            ):
                clock = round(t % 86400, 3)
                read.add(clock)
                near = [p for p in right.get(clock, ()) if np.allclose(p, (lat, lon), atol=1e-7)]
                assert near or warned, f"seed {seed}: {clock} {lat} {lon}"
        ends["warned" if warned else "right"] += 1
        lost = right.keys() - read
        assert len(lost) <= WITHIN * len(right) or warned, f"seed {seed}: {len(lost)} lost"
    print(dict(ends))


@pytest.mark.parametrize("path", sorted(REAL.glob("*.nmea")), ids=lambda p: p.name)
def test_a_receivers_log_is_a_drive_or_a_complaint(path: Path) -> None:
    try:
        audit = ev.audit(path, width="20 ft")
    except InputError as error:
        if not is_plain(error):
            raise
    else:
        assert np.isfinite(audit.operations[0].covered_area_m2)
