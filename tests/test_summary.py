"""The machine-readable account and the words made from it."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace

import pytest
from geographiclib.geodesic import Geodesic
from pyproj import Transformer
from synthetic_result import empty_result, make_result

from evenacre import __version__
from evenacre.model import InputFile
from evenacre.model.audit_result import AuditResult
from evenacre.reports import figure_text as figures
from evenacre.reports.quantities import Display
from evenacre.reports.sentences.audit import card, cautions, records_sentence
from evenacre.reports.sentences.fix_list import advice, corners, stops
from evenacre.reports.tables.accounts import summary
from evenacre.reports.tables.audit import audit_frames, fix_lists
from evenacre.units.display import ACRE_M2, METRIC, US, UnitSystem

OPERATION_KEYS = [
    "field",
    "operation",
    "date",
    "boundary_area_m2",
    "workable_area_m2",
    "covered_area_m2",
    "covered_once_m2",
    "covered_twice_m2",
    "covered_more_m2",
    "overlap_area_m2",
    "excess_area_m2",
    "skip_area_m2",
    "skips",
    "outside_area_m2",
    "headland_area_m2",
    "headland_overlap_m2",
    "passes",
    "worked_distance_m",
    "worked_time_s",
    "field_time_s",
    "mean_speed_mps",
    "field_capacity_m2_per_s",
    "field_efficiency",
    "uncertainty",
    "products",
]
PRODUCT_KEYS = [
    "product",
    "logged_kg",
    "applied_in_field_kg",
    "outside_kg",
    "target_kg",
    "mean_rate_kg_per_m2",
    "within_10_percent_of_target_area_m2",
    "zones",
    "nutrients",
]


@pytest.fixture(scope="module")
def result() -> AuditResult:
    return make_result()


def summarize(*results: AuditResult) -> dict[str, object]:
    return summary(
        results,
        farm="Three Larks Farm",
        inputs=[InputFile("creek.csv", "00" * 32)],
        warnings=["one"],
        generated="2026-05-01T00:00:00Z",
    )


def test_summary_holds_every_key_of_the_contract_in_order(result: AuditResult) -> None:
    account = summarize(result)
    assert account["schema"] == "evenacre/summary/1.8"
    assert account["program"] == {"name": "evenacre", "version": __version__}
    assert account["inputs"] == [{"path": "creek.csv", "sha256": "00" * 32, "size_bytes": None}]
    assert account["warnings"] == ["one"]
    operation = account["operations"][0]  # type: ignore[index]
    assert list(operation)[: len(OPERATION_KEYS)] == OPERATION_KEYS
    assert list(operation["products"][0])[: len(PRODUCT_KEYS)] == PRODUCT_KEYS
    for skip in operation["skips"]:
        assert list(skip)[:6] == ["kind", "area_m2", "mean_width_m", "length_m", "lon", "lat"]
    assert set(operation["uncertainty"]) == {"covered_area_m2", "overlap_area_m2", "skip_area_m2"}
    zone_keys = {"zone", "area_m2", "applied_kg", "interval_90"}
    assert operation["products"][0]["zones"][0].keys() == zone_keys
    assert operation["products"][0]["nutrients"]["N"]["applied_kg"] > 0


def test_summary_keeps_the_figures_and_the_accounts_close(result: AuditResult) -> None:
    operation = summarize(result)["operations"][0]  # type: ignore[index]
    parts = ("covered_once_m2", "covered_twice_m2", "covered_more_m2", "skip_area_m2")
    whole = operation["workable_area_m2"]
    assert sum(operation[p] for p in parts) == pytest.approx(whole, rel=1e-9)
    product = operation["products"][0]
    zoned = sum(z["applied_kg"] for z in product["zones"])
    closed = zoned + product["unzoned_kg"] + product["outside_kg"]
    assert closed == pytest.approx(product["logged_kg"], rel=1e-9)
    # Listed trip by trip; the stops of a trip are places in that list.
    trips = operation["going_back"]["trips"]
    assert [s["trip"] for s in operation["skips"]] == [t["trip"] for t in trips for _ in t["stops"]]
    assert [n for t in trips for n in t["stops"]] == [1, 2, 3, 4]
    assert [s["verdict"] for s in operation["skips"]] == [t["verdict"] for t in trips]


def test_summary_is_strict_json_even_with_values_that_are_not_numbers(
    result: AuditResult,
) -> None:
    odd = replace(result, mean_speed_mps=math.nan, field_efficiency=math.inf)
    text = json.dumps(summarize(odd), allow_nan=False)
    operation = json.loads(text)["operations"][0]
    assert operation["mean_speed_mps"] is None
    assert operation["field_efficiency"] is None


def test_only_one_key_tells_the_time(result: AuditResult) -> None:
    first, second = summarize(result), summarize(make_result())
    assert first == second
    later = summary([result], farm="", inputs=[], warnings=[], generated="2030-01-01T00:00:00Z")
    assert "2030" in later.pop("generated")
    assert "2030" not in json.dumps(later)


@pytest.mark.parametrize(
    ("value", "sigma", "text"),
    [
        (38.2013, 0.14, "38.20 ± 0.14 ac"),
        (38.2013, 0.04, "38.20 ± 0.04 ac"),
        (38.2013, 2.6, "38 ± 3 ac"),
        (38.2013, 0.0961, "38.20 ± 0.10 ac"),
        (1234.5, 31.0, "1,230 ± 30 ac"),
        (0.0, 0.02, "0.00 ± 0.02 ac"),
        (38.2013, 0.0, "38.20 ac"),
        (38.2013, math.nan, "38.20 ac"),
        (38.2013, None, "38.20 ac"),
    ],
)
def test_figures_carry_the_digits_their_uncertainty_allows(
    value: float, sigma: float | None, text: str
) -> None:
    # One digit of uncertainty, two when it starts with 1: within JCGM 100:2008, 7.2.6.
    si = None if sigma is None else sigma * ACRE_M2
    assert figures.plus_minus(value * ACRE_M2, si, US.area) == text


@pytest.mark.parametrize(
    ("seconds", "text", "clock"),
    [
        (1_776_160_800.0, "2026-04-14T10:00:00", "10:00:00"),
        (16_359.4, "4:32:39", "4:32:39"),
        (-3.0, "-0:00:03", "-0:00:03"),
        (math.nan, "", ""),
    ],
)
def test_times_with_and_without_a_date(seconds: float, text: str, clock: str) -> None:
    assert figures.iso_time(seconds) == text
    assert figures.clock(seconds) == clock


@pytest.mark.parametrize(
    ("dx", "dy", "name"),
    [
        (0, 1, "north"),
        (1, 1, "northeast"),
        (1, 0, "east"),
        (1, -1, "southeast"),
        (0, -1, "south"),
        (-1, -1, "southwest"),
        (-1, 0.2, "west"),
        (-1, 1, "northwest"),
        (-0.1, 1, "north"),
    ],
)
def test_compass_names(dx: float, dy: float, name: str) -> None:
    assert figures.compass(dx, dy) == name


def test_the_way_to_a_skip_agrees_with_the_geodesic(result: AuditResult) -> None:
    to_degrees = Transformer.from_crs(result.crs, 4326, always_xy=True)
    named = corners(result)
    texts = advice(result, METRIC)
    assert len(texts) == len(stops(result)) == 4
    for stop, text in zip(stops(result).itertuples(), texts, strict=True):
        words = text.split()
        corner = words[2]
        metres = float(words[words.index("go") + 1].replace(",", ""))
        way = words[words.index("m") + 1].strip(".,")
        lon, lat = to_degrees.transform(*named[corner])
        line = Geodesic.WGS84.Inverse(lat, lon, stop.lat, stop.lon)
        assert metres == pytest.approx(line["s12"], abs=5.1 if metres >= 100 else 0.6)
        bearing = math.radians(line["azi1"])
        assert way == figures.compass(math.sin(bearing), math.cos(bearing))


def test_corners_are_the_corners_of_the_boundary(result: AuditResult) -> None:
    found = {name: tuple(xy) for name, xy in corners(result).items()}
    assert found["northwest"] == (-200, 100)
    assert found["northeast"] == (200, 100)
    assert found["southwest"] == (-200, -100)


def test_names_of_the_fix_list_fit_a_small_screen_and_are_numbered_as_it_is_driven(
    result: AuditResult,
) -> None:
    (listed,) = fix_lists([result], US)
    assert [n.split()[0] for n in listed["name"]] == ["1", "2", "3", "4"]
    assert listed["name"].str.len().max() <= 14
    words = {row.kind: row.name.split()[1] for row in listed.itertuples(index=False)}
    assert words["no log"] == "?"
    assert words["turn"] == "by"
    assert words["between passes"] == "no"
    assert set(listed["verdict"].iloc[-2:]) == {"leave it"}


def test_names_of_several_jobs_are_unlike(result: AuditResult) -> None:
    both = [*fix_lists([result, make_result(field="Far Field")], US)]
    names = [name for listed in both for name in listed["name"]]
    assert len(set(names)) == 8
    assert {name[0] for name in names[:4]} == {"A"}
    assert {name[0] for name in names[4:]} == {"B"}


def test_letters_go_on_after_z(result: AuditResult) -> None:
    listed = fix_lists([result] * 28, US)
    assert [frame["name"].iloc[0].split()[0] for frame in listed[24:]] == ["Y1", "Z1", "AA1", "AB1"]


def test_fix_list_of_nothing_is_empty() -> None:
    assert fix_lists([], US) == []
    assert fix_lists([empty_result()], US)[0].empty


def numbers(text: str) -> list[float]:
    return [float(number) for number in re.findall(r"\d+(?:\.\d+)?", text)]


def test_card_says_what_was_covered_missed_and_doubled(result: AuditResult) -> None:
    answer = card(result, US)
    lines = dict(answer.lines)
    assert numbers(answer.headline) == [19.51, 19.68]
    # 48 m² (a corner) and 234 m² (where the log is silent) pay once somebody is there, 423 m² in
    # two strips narrower than the drill do not.
    assert lines["missed"] == (
        "0.17 ac missed; 0.07 ac in 2 places only when you are there; 2 places, 0.10 ac "
        "together: leave them."
    )
    # 0.3968 ac covered again x 150 lb/ac = 59.5 lb = 27.0 kg; x 0.926 USD/kg = 25.0 USD.
    assert numbers(lines["double"].replace("18-46-0", "")) == [0.39, 59.5, 25]
    assert "target 150 lb/ac" in lines["product"]


def test_what_arithmetic_leaves_is_not_told() -> None:
    result = replace(make_result(), skip_area_m2=0.001, overlap_area_m2=0.001, interval_90={})
    assert [numbers(text) for _, text in card(result, US).lines[:2]] == [[], []]


def test_card_without_a_boundary_claims_no_share() -> None:
    answer = card(make_result(boundary_given=False), METRIC)
    assert numbers(answer.headline) == [7.90]
    assert "outside" not in dict(answer.lines)


def test_one_record_that_was_left_out_is_told_as_one(result: AuditResult) -> None:
    counts = {"read": 1_206, "exact repeats": 1, "position jumps": 1_200, "without a time": 1}
    said = records_sentence(replace(result, cleaning={**counts, "used": 4}), US)
    assert "left out: 1 exact repeat, 1,200 position jumps, 1 without a time" in said


def test_cautions_are_printed_only_where_they_apply(result: AuditResult) -> None:
    printed = " ".join(cautions(result))
    assert "fan stopped" in printed
    assert "inside a setback" in printed
    assert "treated seed" not in printed
    assert cautions(empty_result()) == []
    seed = replace(result.products[0], nutrients_kg={}, elements_kg={}, setbacks=())
    printed = " ".join(cautions(replace(empty_result(), products=(seed,))))
    assert "treated seed" in printed
    assert "fan stopped" not in printed
    assert "Follow the label and local code" in printed


@pytest.mark.parametrize("units", [US, METRIC])
def test_tables_name_their_units_and_keep_the_account(
    result: AuditResult, units: UnitSystem
) -> None:
    made = audit_frames([result], Display(units))
    row = made["operations"].iloc[0]
    area = units.area.label
    assert row[f"covered [{area}]"] == pytest.approx(
        units.area.of(result.covered_area_m2), rel=1e-6
    )
    assert row["start"] == "2026-04-14T10:00:00"
    assert len(made["passes"]) == result.pass_count
    zones = made["zones"]
    assert zones[f"applied [{units.mass.label}]"].sum() == pytest.approx(
        units.mass.of(sum(z.applied_kg for z in result.products[0].zones)), rel=1e-6
    )
    assert set(made["notes"]["what"]) == {"warning", "note", "records"}


def test_a_heading_is_never_360_degrees(result: AuditResult) -> None:
    passes = result.layers["passes"].assign(heading_deg=359.99)
    made = audit_frames([replace(result, layers={**result.layers, "passes": passes})], Display(US))
    assert set(made["passes"]["heading [deg]"]) == {0.0}
    assert made["products"]["cost of overlap [USD]"].item() == pytest.approx(25.0, abs=0.5)


def test_tables_of_a_bare_result_keep_their_columns() -> None:
    made = audit_frames([empty_result()], Display(US))
    assert {"stop", "kind", "longitude"} <= set(made["skips"].columns)
    assert made["skips"].empty
    assert made["products"].empty
