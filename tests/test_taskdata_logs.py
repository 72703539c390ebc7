"""Binary time logs, packed by struct record by record as the independent writer."""

from __future__ import annotations

import struct
import time
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
import tasklogs as by_hand
from hypothesis import given, settings
from hypothesis import strategies as st
from isoxml.models.ddi_entities import DDEntity
from tasklogs import record, template, v3, v4

from evenacre.io.logs.read_tracks import read_tracks
from evenacre.io.logs.volume_to_mass import weigh_amounts
from evenacre.io.taskdata.read import Task, read_taskdata
from evenacre.io.taskdata.time_log import record_starts
from evenacre.model import Application, Product, SeedLot

KG_HA = 1e-4
BOTH = pytest.mark.parametrize("iso", [v3, v4])


def farm(
    where: Path,
    logs: dict[str, tuple[bytes, bytes]],
    iso: ModuleType = v4,
    sections_mm: tuple[int, ...] = (1500, 1500, 1500, 1500),
    products: tuple[tuple[str, str], ...] = (("18-46-0", "DET-3"),),
    **task: Any,
) -> Path:
    """Write a farm of one field and one task with the given logs."""
    named = [iso.Product(id=f"PDT{i}", designator=n) for i, (n, _) in enumerate(products, 1)]
    data = by_hand.root(
        iso,
        devices=[by_hand.drill(iso, sections_mm)],
        products=named,
        partfields=[
            iso.Partfield(
                id="PFD1",
                designator="Creek Forty",
                area=189000,
                polygons=[by_hand.polygon(iso, by_hand.FIELD)],
            )
        ],
        tasks=[
            iso.Task(
                id="TSK1",
                designator="Spring fertilizer",
                partfield_id_ref="PFD1",
                status=iso.TaskStatus("4"),
                time_logs=[iso.TimeLog(filename=name, type=iso.TimeLogType("1")) for name in logs],
                product_allocations=[
                    iso.ProductAllocation(product_id_ref=f"PDT{i}", device_element_id_ref=part)
                    for i, (_, part) in enumerate(products, 1)
                ],
                **task,
            )
        ],
    )
    return by_hand.write(where, data, logs)


def only_task(path: Path) -> Task:
    (task,) = read_taskdata(path).tasks
    return task


def drive(count: int, values: dict[int, list[tuple[int, int]]], first_s: float = 0.0) -> bytes:
    """Drive east at five records a second, with the given values at some records."""
    return b"".join(
        record(first_s + k / 5, 0.001 + k * 5e-6, 0.002, values.get(k, [])) for k in range(count)
    )


@BOTH
def test_every_part_of_a_log_arrives(tmp_path: Path, iso: ModuleType) -> None:
    columns = [(141, "DET-2"), (161, "DET-2"), (7, "DET-3"), (67, "DET-2")]
    data = drive(
        6,
        {
            0: [(0, 1), (1, 0b01010101 | 0xFFFFFF00 - 2**32), (2, 16_800), (3, 6000)],
            3: [(1, 0b00000101 | 0xFFFFFF00 - 2**32), (2, 20_000), (3, 3000)],
            5: [(0, 0)],
        },
    )
    (track,) = read_tracks(
        farm(tmp_path / "farm.zip", {"TLG00001": (template(columns), data)}, iso)
    )
    start = by_hand.START.timestamp()
    assert track.time_s == pytest.approx(start + np.arange(6) / 5, abs=1e-6)
    assert track.lon == pytest.approx(by_hand.LON0 + 0.001 + np.arange(6) * 5e-6, abs=5.1e-8)
    assert track.lat == pytest.approx(np.full(6, by_hand.LAT0 + 0.002), abs=5.1e-8)
    assert track.working is not None
    assert track.sections is not None
    assert track.width_m is not None
    assert track.working.tolist() == [True] * 5 + [False]
    assert track.sections.tolist() == [[True] * 4] * 3 + [[True, True, False, False]] * 3
    assert track.width_m.tolist() == [6.0] * 3 + [3.0] * 3
    assert track.rates["18-46-0"] / KG_HA == pytest.approx([168.0] * 3 + [200.0] * 3)
    assert not track.sections_are_rows


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.integers(0, 255), min_size=0, max_size=400),
    st.integers(0, 40),
    st.integers(0, 60),
    st.randoms(use_true_random=False),
)
def test_records_are_found_as_one_by_one(
    counts: list[int], head: int, cut: int, random: Any
) -> None:
    whole = b"".join(
        random.randbytes(head) + bytes([count]) + random.randbytes(5 * count) for count in counts
    )
    data = whole[: max(len(whole) - cut, 0)]
    expected, at = [], 0
    while at + head < len(data):
        end = at + head + 1 + 5 * data[at + head]
        if end > len(data):
            break
        expected.append(at)
        at = end
    starts, rest = record_starts(np.frombuffer(data, np.uint8), head)
    assert starts.tolist() == expected
    assert rest == len(data) - at


def test_a_log_that_breaks_off_keeps_whole_records(tmp_path: Path) -> None:
    data = drive(10, {k: [(0, 1)] for k in range(10)})
    logs = {"TLG00001": (template([(141, "DET-2")]), data[:-3])}
    (track,) = read_tracks(farm(tmp_path / "farm.zip", logs))
    assert len(track) == 9
    assert any("breaks off" in warning for warning in track.warnings)


@pytest.mark.parametrize(("status", "kept"), [(0, 0), (14, 0), (15, 3), (1, 3), (4, 3), (5, 3)])
def test_positions_without_a_fix_are_dropped_and_counted(
    tmp_path: Path, status: int, kept: int
) -> None:
    data = drive(4, {}) + b"".join(record(1 + k, 0.002, 0.002, status=status) for k in range(3))
    (track,) = read_tracks(
        farm(tmp_path / "farm.zip", {"TLG00001": (template([(141, "DET-2")]), data)})
    )
    assert len(track) == int(np.isfinite(track.lon).sum()) == 4 + kept
    assert sum(track.left_out.values()) == 3 - kept
    assert any("told no kind of fix" in n for n in track.notes) == (status == 15)
    assert any("left out 3 positions" in w for w in track.warnings) == (kept == 0)


def test_the_kind_of_fix_tells_how_sure_a_position_is(tmp_path: Path) -> None:
    # Position status as the standard numbers it; metres by kind: common practice, no source.
    kinds = {1: 2.0, 2: 0.6, 3: 0.6, 4: 0.02, 5: 0.2, 6: 5.0, 8: np.nan}
    data = b"".join(
        record(k, 0.001 + k * 5e-6, 0.002, status=status) for k, status in enumerate(kinds)
    )
    logs = {"TLG00001": (template([(141, "DET-2")]), data + record(9, 0.002, 0.002, status=0))}
    (track,) = read_tracks(farm(tmp_path / "farm.zip", logs))
    assert track.sigma_m is not None
    assert track.sigma_m == pytest.approx([*kinds.values()], nan_ok=True)
    assert any("14.3 % RTK fixed" in note for note in track.notes)
    assert any("1 position is from a simulator" in warning for warning in track.warnings)
    # 1, 2, 3, 5 and 6 are off by decimetres or more.
    assert any("5 positions are not RTK fixed" in warning for warning in track.warnings)


@pytest.mark.parametrize(("extra", "sigma_m"), [(' D="5"', 0.2), ("", None)])
def test_a_kind_of_fix_told_once_or_never(
    tmp_path: Path, extra: str, sigma_m: float | None
) -> None:
    data = b"".join(
        struct.pack("<IHii", 46_800_000 + 200 * k, 16_905, 401_020_000, -924_990_000 + 50 * k)
        + b"\0"
        for k in range(3)
    )
    xml = template([(141, "DET-2")], position="AB", extra=extra)
    (track,) = read_tracks(farm(tmp_path / "farm.zip", {"TLG00001": (xml, data)}))
    assert np.isfinite(track.lon).all()
    if sigma_m is None:
        assert track.sigma_m is None
        assert any("kind of fix" in n and "not told" in n for n in track.notes)
    else:
        assert track.sigma_m == pytest.approx([sigma_m] * 3)


def test_null_and_impossible_positions_are_dropped(tmp_path: Path) -> None:
    head = struct.pack("<IHiiB", 46_800_000, 16_905, 0, 0, 4) + b"\0"
    far = struct.pack("<IHiiB", 46_800_500, 16_905, 2**31 - 1, 2**31 - 1, 4) + b"\0"
    data = drive(4, {}) + head + far
    (track,) = read_tracks(
        farm(tmp_path / "farm.zip", {"TLG00001": (template([(141, "DET-2")]), data)})
    )
    assert len(track) == int(np.isfinite(track.lon).sum()) == 4
    assert sum(track.left_out.values()) == 2
    assert any("null" in w for w in track.warnings)
    assert any("not on earth" in w for w in track.warnings)


def test_fixed_values_of_the_template_hold_for_all_records(tmp_path: Path) -> None:
    xml = (
        b'<TIM A="" D="4"><PTN A="" B="" D="4"/><DLV A="008D" B="1" C="DET-2"/>'
        b'<DLV A="0007" B="" C="DET-3"/></TIM>'
    )
    records = [
        struct.pack("<IHii", 46_800_000 + 200 * k, 16_905, 401_020_000, -924_990_000 + 50 * k)
        + (b"\x01" + struct.pack("<Bi", 1, 15_000) if k == 2 else b"\0")
        for k in range(5)
    ]
    (track,) = read_tracks(farm(tmp_path / "farm.zip", {"TLG00001": (xml, b"".join(records))}))
    assert track.working is not None
    assert track.working.all()
    assert np.isnan(track.rates["18-46-0"]).tolist() == [True] * 2 + [False] * 3


def test_every_optional_part_of_a_position_is_stepped_over(tmp_path: Path) -> None:
    records = [
        struct.pack(
            "<IHiiiBHHBIH",
            *(50_400_000 + 200 * k, 16_905, 401_020_000 + k, -924_990_000, 250_000, 4, 9, 12, 17),
            *(68_400_000 + 200 * k, 16_905),
        )
        + b"\x01"
        + struct.pack("<Bi", 0, 1)
        for k in range(20)
    ]
    logs = {"TLG00001": (template([(141, "DET-2")], position="ABCDEFGHI"), b"".join(records))}
    (track,) = read_tracks(farm(tmp_path / "farm.zip", logs), time_zone="Europe/Paris")
    # The receiver's own time is UTC, so the clock, five hours behind, is brought to it.
    day_s = 315_532_800 + 16_905 * 86_400  # the Unix time of 1980-01-01, and so many days
    assert track.time_s == pytest.approx(day_s + 68_400 + np.arange(20) / 5)
    assert np.diff(track.lat) == pytest.approx(np.full(19, 1e-7))
    assert any("-5 hours" in note for note in track.notes)


def test_a_zone_is_used_where_the_receiver_tells_none(tmp_path: Path) -> None:
    path = farm(tmp_path / "farm.zip", {"TLG00001": (template([(141, "DET-2")]), drive(3, {}))})
    (bare,) = read_tracks(path)
    (zoned,) = read_tracks(path, time_zone="America/Chicago")
    assert zoned.time_s - bare.time_s == pytest.approx(np.full(3, 5 * 3600.0))
    assert any("--time-zone" in note for note in bare.notes)


def test_states_section_by_section_are_put_from_left_to_right(tmp_path: Path) -> None:
    # The drill's sections are DET-10 to DET-13 from the left; the template mixes them up.
    columns = [(141, f"DET-{number}") for number in (12, 10, 13, 11)]
    data = drive(3, {0: [(0, 0), (1, 1), (2, 1), (3, 0)], 2: [(3, 1)]})
    (track,) = read_tracks(farm(tmp_path / "farm.zip", {"TLG00001": (template(columns), data)}))
    assert track.sections is not None
    assert track.sections.astype(int).tolist() == [[1, 0, 0, 1]] * 2 + [[1, 1, 0, 1]]


def test_more_sections_than_one_value_holds(tmp_path: Path) -> None:
    columns = [(162, "DET-2"), (161, "DET-2")]
    left = sum(1 << 2 * k for k in range(15))  # sections 1 to 15
    data = drive(2, {0: [(1, left), (0, 0b0101)], 1: [(0, 0b0100)]})
    path = farm(
        tmp_path / "farm.zip", {"TLG00001": (template(columns), data)}, sections_mm=(300,) * 18
    )
    (track,) = read_tracks(path)
    assert track.sections is not None
    assert track.sections[0].astype(int).tolist() == [1] * 15 + [0, 1, 1]
    assert track.sections[1].astype(int).tolist() == [1] * 15 + [0, 0, 1]


def test_errors_and_absent_sections_count_as_off(tmp_path: Path) -> None:
    data = drive(2, {0: [(0, 0b11_10_01_01)]})
    (track,) = read_tracks(
        farm(tmp_path / "farm.zip", {"TLG00001": (template([(161, "DET-2")]), data)})
    )
    assert track.sections is not None
    assert track.sections[0].tolist() == [True, True, False, False]
    assert any('"error" in 2 records' in warning for warning in track.warnings)


def test_flows_and_rates_go_to_their_products(tmp_path: Path) -> None:
    columns = [(7, "DET-3"), (42, "DET-3"), (7, "DET-2"), (6, "DET-3")]
    data = drive(40, {k: [(0, 16_800), (1, 250_000), (2, 900), (3, 17_000)] for k in range(40)})
    path = farm(
        tmp_path / "farm.zip",
        {"TLG00001": (template(columns), data)},
        products=(("18-46-0", "DET-3"), ("Red clover", "DET-2")),
    )
    (track,) = read_tracks(path)
    assert track.rates["18-46-0"][0] == pytest.approx(0.0168)
    assert track.flows["18-46-0"][0] == pytest.approx(0.25)
    assert track.rates["Red clover"][0] == pytest.approx(0.0009)
    assert only_task(path).products == {"18-46-0": pytest.approx(0.017), "Red clover": None}


def test_rates_of_sections_are_averaged_over_the_width_that_is_on(tmp_path: Path) -> None:
    columns = [(141, f"DET-{k}") for k in range(10, 14)] + [(7, f"DET-{k}") for k in range(10, 14)]
    values = [(0, 1), (1, 1), (2, 0), (3, 0), (4, 10_000), (5, 20_000), (6, 0), (7, 0)]
    path = farm(
        tmp_path / "farm.zip",
        {"TLG00001": (template(columns), drive(2, {0: values}))},
        sections_mm=(1000, 3000, 1000, 1000),
        products=(("18-46-0", ""),),
    )
    (track,) = read_tracks(path)
    assert track.rates["18-46-0"] == pytest.approx(np.full(2, 0.0175))


def test_a_setpoint_stands_in_for_a_missing_rate_with_a_warning(tmp_path: Path) -> None:
    data = drive(3, {0: [(0, 16_800)]})
    (track,) = read_tracks(
        farm(tmp_path / "farm.zip", {"TLG00001": (template([(6, "DET-3")]), data)})
    )
    assert track.rates["18-46-0"] == pytest.approx(np.full(3, 0.0168))
    assert any("setpoint" in warning for warning in track.warnings)


LOT = Product(
    "18-46-0", bulk_density_kg_per_m3=960.0, seed=SeedLot(0.98, 0.9, seeds_per_kg=440_000.0)
)
"""Density and seeds to weigh a volume or a count by."""


@pytest.mark.parametrize(
    ("key", "by", "kg_each"),
    [
        (2, "volume", 960.0),
        (37, "volume", 960.0),
        (12, "count", 1 / 440e3),
        (47, "count", 1 / 440e3),
    ],
)
def test_volumes_and_counts_are_weighed_by_what_is_known_of_the_product(
    tmp_path: Path, key: int, by: str, kg_each: float
) -> None:
    """Resolutions are those of the list that ships in isoxml."""
    si = {"mm³/m²": 1e-9, "mm³/s": 1e-9, "/m²": 1.0, "/s": 1.0}
    entity = DDEntity.from_id(key)
    logged = 16_800 * entity.bit_resolution * si[entity.unit]
    data = drive(3, {0: [(0, 16_800)]})
    tracks = read_tracks(
        farm(tmp_path / "farm.zip", {"TLG00001": (template([(key, "DET-3")]), data)})
    )
    (track,) = weigh_amounts(tracks, [Application(LOT)])
    weighed = track.flows if "Per Time" in entity.name else track.rates
    assert weighed["18-46-0"] == pytest.approx(np.full(3, logged * kg_each))
    assert any(f"the {by} of 18-46-0 was weighed" in note for note in track.notes)

    (bare,) = weigh_amounts(tracks, [Application(Product("18-46-0"))])
    assert not bare.rates
    assert not bare.flows
    assert any(f"the {by} of 18-46-0 is logged" in warning for warning in bare.warnings)


def test_a_volume_wanted_is_told_of_but_not_used(tmp_path: Path) -> None:
    data = drive(3, {0: [(0, 16_800)]})
    (track,) = read_tracks(
        farm(tmp_path / "farm.zip", {"TLG00001": (template([(1, "DET-3")]), data)})
    )
    assert not track.unweighed
    assert any("the volume wanted of 18-46-0 is logged" in w for w in track.warnings)


def test_unknown_values_are_noted_and_stray_ones_warned_of(tmp_path: Path) -> None:
    data = drive(5, {k: [(0, 7), (9, 1)] for k in range(5)})
    (track,) = read_tracks(
        farm(tmp_path / "farm.zip", {"TLG00001": (template([(0xDFFE, "DET-2")]), data)})
    )
    assert any("57342 (5)" in note for note in track.notes)
    assert any("5 values" in warning and "no column" in warning for warning in track.warnings)


def test_a_record_of_another_year_is_left_out(tmp_path: Path) -> None:
    data = drive(5, {}) + record(0, 0.002, 0.002, clock_s=86_400.0) + drive(3, {})
    (track,) = read_tracks(
        farm(tmp_path / "farm.zip", {"TLG00001": (template([(141, "DET-2")]), data)})
    )
    assert len(track) == 8
    assert any("date far from the others" in warning for warning in track.warnings)


def test_several_logs_of_a_task_are_several_tracks(tmp_path: Path) -> None:
    logs = {
        f"TLG0000{n}": (template([(141, "DET-2")]), drive(n, {0: [(0, 1)]}, 60.0 * n))
        for n in (1, 2, 3)
    }
    tracks = read_tracks(farm(tmp_path / "farm.zip", logs))
    assert [len(track) for track in tracks] == [1, 2, 3]
    assert [track.source.rpartition(", ")[2] for track in tracks] == list(logs)


def test_a_missing_log_is_warned_of_and_the_others_read(tmp_path: Path) -> None:
    path = farm(
        tmp_path / "farm", {n: (template([]), drive(2, {})) for n in ("TLG00001", "TLG00002")}
    )
    (path / "TLG00001.BIN").unlink()
    (track,) = read_tracks(path)
    assert track.source.endswith("TLG00002")
    assert any("TLG00001.BIN missing" in warning for warning in track.warnings)


@pytest.mark.parametrize(("counted_m2", "told"), [(204, False), (2000, True)])
def test_a_counter_that_disagrees_is_warned_of(tmp_path: Path, counted_m2: int, told: bool) -> None:
    # 80 steps of 5e-6 degrees east at 40.102 north are 0.4263 m each: 34.1 m times 6 m.
    data = drive(81, {0: [(0, 1), (1, 5000)], 80: [(1, 5000 + counted_m2)]})
    path = farm(
        tmp_path / "farm.zip",
        {"TLG00001": (template([(141, "DET-2"), (116, "DET-2")]), data)},
    )
    (track,) = read_tracks(path)
    assert any("counter of area" in warning for warning in track.warnings) == told


def test_a_mass_counter_is_held_against_the_rate(tmp_path: Path) -> None:
    columns = [(141, "DET-2"), (7, "DET-3"), (81, "DET-3")]
    # 2,000 steps of 0.4263 m, 6 m wide, at 0.0168 kg/m2 are 85.9 kg.
    for total, told in ((86, False), (130, True)):
        data = drive(2001, {0: [(0, 1), (1, 16_800), (2, 0)], 2000: [(2, total)]})
        path = farm(tmp_path / f"{total}.zip", {"TLG00001": (template(columns), data)})
        (track,) = read_tracks(path)
        assert any("counter of mass" in warning for warning in track.warnings) == told


def test_a_quarter_of_a_million_records_take_no_loop(tmp_path: Path) -> None:
    """A loop over records or values in Python would take many times as long."""
    count = 250_000
    kind = np.dtype(
        [("ms", "<u4"), ("day", "<u2"), ("n", "<i4"), ("e", "<i4"), ("s", "u1"), ("c", "u1")]
        + [(f"v{k}", [("i", "u1"), ("v", "<i4")]) for k in range(6)]
    )
    records = np.zeros(count, kind)
    records["ms"], records["day"] = 200 * np.arange(count), 16_905
    records["n"], records["e"] = 401_020_000 + np.arange(count) % 999, -924_990_000
    records["s"], records["c"] = 4, 6
    for k in range(6):
        records[f"v{k}"]["i"], records[f"v{k}"]["v"] = k, 1
    columns = [(141, "DET-2"), (161, "DET-2"), (7, "DET-3"), (67, "DET-2"), (6, "DET-3"), (5, "")]
    path = farm(tmp_path / "farm", {"TLG00001": (template(columns), records.tobytes())})
    before = time.process_time()
    (track,) = read_tracks(path)
    assert len(track) == count
    assert time.process_time() - before < 3.0
