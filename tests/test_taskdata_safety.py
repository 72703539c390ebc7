"""Task data that is damaged, or made to do harm, gives a clear error or a warning."""

from __future__ import annotations

import contextlib
import io
import random
import struct
import subprocess
import sys
import zipfile
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
import tasklogs as by_hand
from complaints import complaint
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tasklogs import record, template, unsafe_root, v4

from evenacre.errors import InputError
from evenacre.io.logs.read_tracks import read_tracks
from evenacre.io.taskdata import folder, time_log, tree
from evenacre.io.taskdata.read import read_taskdata

TASK = '<TSK A="TSK1" B="job" G="4"><TLG A="TLG00001" C="1"/></TSK>'
COLUMNS = [(141, "DET-2"), (161, "DET-2"), (7, "DET-3"), (67, "DET-2")]


def zipped(path: Path, members: dict[str, bytes], **how: Any) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(zipfile.ZipInfo(name) if how.get("plain") else name, data)
    return path


@pytest.mark.parametrize(
    "head",
    [
        '<!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;">]>',
        '<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]>',
        '<!DOCTYPE x [<!ENTITY % a SYSTEM "http://127.0.0.1:9/x.dtd"> %a;]>',
    ],
)
def test_entities_are_refused(tmp_path: Path, head: str) -> None:
    path = zipped(tmp_path / "farm.zip", {"TASKDATA.XML": unsafe_root(TASK, head)})
    assert "entities" in complaint(path)


@pytest.mark.parametrize(
    "name",
    ["../../evil.xml", "/etc/evil.xml", "C:\\evil.xml", "TASKDATA/..\\..\\evil.bin", "\\evil.bin"],
)
def test_names_that_lead_out_of_the_zip_are_refused(tmp_path: Path, name: str) -> None:
    path = zipped(tmp_path / "farm.zip", {"TASKDATA.XML": unsafe_root(), name: b""}, plain=True)
    assert "outside" in complaint(path)


def test_links_in_a_zip_are_refused(tmp_path: Path) -> None:
    path = zipped(tmp_path / "farm.zip", {"TASKDATA.XML": unsafe_root()})
    with zipfile.ZipFile(path, "a") as archive:
        link = zipfile.ZipInfo("TLG00001.BIN")
        link.create_system, link.external_attr = 3, 0o120777 << 16
        archive.writestr(link, "/etc/passwd")
    assert "link" in complaint(path)


def test_links_out_of_a_folder_are_refused(tmp_path: Path) -> None:
    secret = tmp_path / "secret.xml"
    secret.write_bytes(unsafe_root())
    inner = tmp_path / "farm"
    inner.mkdir()
    (inner / "TASKDATA.XML").symlink_to(secret)
    assert "link" in complaint(inner)


def test_locked_zips_are_refused(tmp_path: Path) -> None:
    path = zipped(tmp_path / "farm.zip", {"TASKDATA.XML": unsafe_root()})
    data = bytearray(path.read_bytes())
    data[6] |= 1  # the flag of the local header
    data[data.index(b"PK\x01\x02") + 8] |= 1  # and of the directory
    path.write_bytes(bytes(data))
    assert "password" in complaint(path)


def test_a_zip_that_says_it_grows_a_thousandfold_is_refused(tmp_path: Path) -> None:
    path = zipped(
        tmp_path / "farm.zip", {"TASKDATA.XML": unsafe_root(), "TLG00001.BIN": bytes(8 << 20)}
    )
    assert "bomb" in complaint(path)


def test_a_zip_that_lies_about_its_sizes_is_not_believed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tree, "_MAX_XML_BYTES", 1000)
    path = zipped(tmp_path / "farm.zip", {"TASKDATA.XML": unsafe_root(" " * 5000)})
    data = bytearray(path.read_bytes())
    at = data.index(b"PK\x01\x02") + 24
    data[at : at + 4] = struct.pack("<I", 500)
    path.write_bytes(bytes(data))
    complaint(path)


def test_files_too_large_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tree, "_MAX_XML_BYTES", 1000)
    path = zipped(tmp_path / "farm.zip", {"TASKDATA.XML": unsafe_root(" " * 5000)})
    assert "larger than" in complaint(path)


def test_logs_too_large_to_hold_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(time_log.Room.__init__, "__defaults__", (500,))
    xml, data = template(COLUMNS), b"".join(record(k, 0, 0.001) for k in range(50))
    members = {"TASKDATA.XML": unsafe_root(TASK), "TLG00001.XML": xml, "TLG00001.BIN": data}
    assert "too large" in complaint(zipped(tmp_path / "farm.zip", members))


@pytest.mark.parametrize("name", ["../secret", "/etc/passwd", "..\\x", "C:x"])
def test_references_out_of_the_folder_are_refused(tmp_path: Path, name: str) -> None:
    body = f'<XFR A="{name}" B="1"/>'
    path = zipped(tmp_path / "farm.zip", {"TASKDATA.XML": unsafe_root(body)})
    assert "outside its folder" in complaint(path)


def test_two_files_of_one_name_are_refused(tmp_path: Path) -> None:
    members = {"TASKDATA.XML": unsafe_root(), "taskdata.xml": unsafe_root()}
    assert "twice" in complaint(zipped(tmp_path / "farm.zip", members))
    members = {"TASKDATA.XML": unsafe_root(), "TLG00001.BIN": b"", "tlg00001.bin": b""}
    assert "twice" in complaint(zipped(tmp_path / "other.zip", members))


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"", "damaged"),
        (b"<html/>", "begins with <html>"),
        (b'<?xml version="1.0" encoding="none-such"?><ISO11783_TaskData/>', ""),
        (unsafe_root(TASK)[:-30], "breaks off"),
        (b"\xff\xfe\x00", "damaged"),
        (unsafe_root(), "no time log"),
        (unsafe_root(TASK), "no time log"),
        (unsafe_root('<DVC A="D1"/>' * 3 + "<TSK/><PFD/><PDT/><DVC/><XFR/>"), ""),
    ],
)
def test_other_xml_gives_a_clear_error(tmp_path: Path, data: bytes, word: str) -> None:
    assert word in complaint(zipped(tmp_path / "farm.zip", {"TASKDATA.XML": data}))


def test_too_many_elements_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tree, "MAX_TAGS", 100)
    path = zipped(tmp_path / "farm.zip", {"TASKDATA.XML": unsafe_root("<PFD/>" * 300)})
    assert "too many elements" in complaint(path)


def test_machines_that_hang_on_themselves_end(tmp_path: Path) -> None:
    parts = "".join(
        f'<DET A="DET-{k}" B="{k}" C="2" E="1" F="{k % 40 + 1}"/>' for k in range(1, 41)
    )
    body = f'<DVC A="DVC1">{parts}<DET A="DET-99" B="99" C="4" E="1" F="99"/></DVC>{TASK}'
    data = record(0, 0.001, 0.001, [(0, 1), (1, 5)]) + record(1, 0.002, 0.001)
    members = {
        "TASKDATA.XML": unsafe_root(body),
        "TLG00001.XML": template(COLUMNS),
        "TLG00001.BIN": data,
    }
    (track,) = read_tracks(zipped(tmp_path / "farm.zip", members))
    assert len(track) == 2


def test_huge_counts_in_a_grid_take_no_room(tmp_path: Path) -> None:
    body = (
        '<TSK A="TSK1" G="1"><GRD A="40" B="-92" C="1e-9" D="1e-9" E="4000000000" F="4000000000" '
        'G="GRD00001" I="2" J="1"/></TSK>'
    )
    path = zipped(
        tmp_path / "farm.zip", {"TASKDATA.XML": unsafe_root(body), "GRD00001.BIN": b"\0" * 64}
    )
    (task,) = read_taskdata(path).tasks
    assert task.prescription is None
    assert any("more than any plan needs" in warning for warning in task.warnings)


def test_a_grid_of_noise_is_left_out(tmp_path: Path) -> None:
    body = (
        '<TSK A="TSK1" G="1"><GRD A="40" B="-92" C="1e-5" D="1e-5" E="1000" F="1000" '
        'G="GRD00001" I="1"/></TSK>'
    )
    noise = np.random.default_rng(5).integers(0, 255, 1_000_000, dtype=np.uint8).tobytes()
    path = zipped(tmp_path / "farm.zip", {"TASKDATA.XML": unsafe_root(body), "GRD00001.BIN": noise})
    (task,) = read_taskdata(path).tasks
    assert task.prescription is None
    assert any("too often" in warning for warning in task.warnings)


def whole_farm() -> dict[str, bytes]:
    """Every kind of element, drawn zones, a grid and a log."""
    iso: ModuleType = v4
    west = [(0.0, 0.0), (0.0025, 0.0), (0.0025, 0.004), (0.0, 0.004)]
    data = by_hand.root(
        iso,
        devices=[by_hand.drill(iso, [1500] * 4), by_hand.tractor(iso)],
        products=[iso.Product(id="PDT1", designator="18-46-0")],
        partfields=[
            iso.Partfield(
                id="PFD1",
                designator="Creek Forty",
                area=1,
                polygons=[by_hand.polygon(iso, by_hand.FIELD, [west])],
            )
        ],
        tasks=[
            iso.Task(
                id="TSK1",
                designator="Spring",
                partfield_id_ref="PFD1",
                status=iso.TaskStatus("4"),
                time_logs=[iso.TimeLog(filename="TLG00001", type=1)],
                treatment_zones=[iso.TreatmentZone(code=1, polygons=[by_hand.polygon(iso, west)])],
                product_allocations=[
                    iso.ProductAllocation(product_id_ref="PDT1", device_element_id_ref="DET-3")
                ],
            )
        ],
    )
    made = io.BytesIO()
    records = [record(k / 5, 0.001 + 4e-6 * k, 0.001, [(k % 4, 1 + k)]) for k in range(30)]
    by_hand.isoxml_to_zip(made, data, include_folder=False)
    with zipfile.ZipFile(made) as archive:
        xml = archive.read("TASKDATA.XML")
    return {
        "TASKDATA.XML": xml,
        "TLG00001.XML": template(COLUMNS),
        "TLG00001.BIN": b"".join(records),
    }


WHOLE = whole_farm()
ROUGH = settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


def survive(path: Path) -> None:
    """Reading ends in tracks of equal lengths or in a plain error."""
    try:
        tracks = read_tracks(path)
    except InputError:
        return
    for track in tracks:
        assert len(track.lon) == len(track.lat) == len(track) > 0
        assert np.isfinite(track.time_s).all()


@ROUGH
@given(st.sampled_from(sorted(WHOLE)), st.integers(0, 2**32), st.integers(1, 12))
def test_any_bytes_may_be_wrong(tmp_path: Path, name: str, seed: int, flips: int) -> None:
    chance, data = random.Random(seed), bytearray(WHOLE[name])
    for _ in range(flips):
        data[chance.randrange(len(data))] = chance.randrange(256)
    survive(zipped(tmp_path / "farm.zip", WHOLE | {name: bytes(data)}))


@ROUGH
@given(st.sampled_from(sorted(WHOLE)), st.floats(0, 1))
def test_files_may_be_cut_anywhere(tmp_path: Path, name: str, share: float) -> None:
    data = WHOLE[name]
    survive(zipped(tmp_path / "farm.zip", WHOLE | {name: data[: int(share * len(data))]}))


@ROUGH
@given(st.binary(max_size=3000))
def test_a_log_may_be_anything(tmp_path: Path, data: bytes) -> None:
    survive(zipped(tmp_path / "farm.zip", WHOLE | {"TLG00001.BIN": data}))


@ROUGH
@given(st.integers(0, 2**32), st.integers(1, 8))
def test_a_zip_may_be_anything(tmp_path: Path, seed: int, flips: int) -> None:
    chance = random.Random(seed)
    path = zipped(tmp_path / "farm.zip", WHOLE)
    data = bytearray(path.read_bytes())
    for _ in range(flips):
        data[chance.randrange(len(data))] = chance.randrange(256)
    path.write_bytes(bytes(data[: chance.randrange(len(data)) if seed % 3 == 0 else None]))
    with contextlib.suppress(InputError):
        read_taskdata(path)


@ROUGH
@given(st.permutations(range(30)))
def test_records_in_any_order_are_the_same_records(tmp_path: Path, order: list[int]) -> None:
    records = [record(k / 5, 0.001 + 4e-6 * k, 0.001, [(0, 1)]) for k in range(30)]
    data = b"".join(records[k] for k in order)
    (track,) = read_tracks(zipped(tmp_path / "farm.zip", WHOLE | {"TLG00001.BIN": data}))
    assert sorted(track.time_s) == pytest.approx(by_hand.START.timestamp() + np.arange(30) / 5)


ATTRIBUTES = st.dictionaries(
    st.sampled_from("ABCDEFGHIJ"),
    st.sampled_from(
        [
            "",
            "1",
            "2",
            "4",
            "0006",
            "008D",
            "TSK1",
            "PFD1",
            "DET-2",
            "TLG00001",
            "-1",
            "1e400",
            "nan",
            "40.1",
            "-92.5",
            "9" * 30,
            "x",
            "GRD00001",
        ]
    ),
    max_size=8,
)
TREES = st.recursive(
    st.tuples(
        st.sampled_from(["PNT", "PDV", "DLV", "DPT", "DOR", "TLG", "PAN", "GRD", "CNN", "XFR"]),
        ATTRIBUTES,
        st.just([]),
    ),
    lambda inner: st.tuples(
        st.sampled_from(["PFD", "PLN", "LSG", "TSK", "TZN", "DVC", "DET", "GGP", "GPN", "TIM"]),
        ATTRIBUTES,
        st.lists(inner, max_size=5),
    ),
    max_leaves=25,
)


@ROUGH
@given(st.lists(TREES, max_size=6))
def test_elements_may_be_any(tmp_path: Path, forest: list[Any]) -> None:
    def text(node: Any) -> str:
        tag, attributes, inner = node
        given = "".join(f' {key}="{value}"' for key, value in attributes.items())
        return f"<{tag}{given}>{''.join(map(text, inner))}</{tag}>"

    members = WHOLE | {"TASKDATA.XML": unsafe_root("".join(map(text, forest)) + TASK)}
    survive(zipped(tmp_path / "farm.zip", members | {"GRD00001.BIN": bytes(64)}))


def test_the_worst_log_stays_under_a_gigabyte(tmp_path: Path) -> None:
    """A log as large as is read, of the shortest records there can be."""
    size = folder.MAX_BYTES
    path = tmp_path / "farm"
    path.mkdir()
    (path / "TASKDATA.XML").write_bytes(unsafe_root(TASK))
    (path / "TLG00001.XML").write_bytes(b'<TIM A="" D="4"><DLV A="008D" B="" C="DET-2"/></TIM>')
    with (path / "TLG00001.BIN").open("wb") as file:
        file.truncate(size)
    program = (
        "import sys; from pathlib import Path\n"
        "from evenacre.errors import InputError\n"
        "from evenacre.io.logs.read_tracks import read_tracks\n"
        "try: read_tracks(Path(sys.argv[1]))\n"
        "except InputError as error: print(error)\n"
        # The peak of this program alone: getrusage counts that of its parent before it too.
        "status = Path('/proc/self/status').read_text()\n"
        "print(status.partition('VmHWM:')[2].split()[0])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, str(path)], capture_output=True, text=True, check=True
    )
    *said, kilobytes = done.stdout.splitlines()
    assert any("too large" in line for line in said)
    assert int(kilobytes) * 1024 < 1e9
