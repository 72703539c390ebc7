"""Load tickets: what is read, what is doubted, what is refused, and that nothing is lost."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from evenacre.errors import InputError
from evenacre.io.tickets.load_tickets import match_ticket_clock, read_tickets, stray_fills
from evenacre.model import (
    Application,
    Compartment,
    Field,
    Implement,
    LoadTicket,
    OperationPlan,
    Product,
    Track,
)

LB = 0.45359237  # NIST SP 811, appendix B.8
BUSHEL_M3 = 2150.42 * 0.0254**3  # University of Missouri Extension G4020
HEAD = "time,event,compartment,product,weight,weighed by\n"


def plan(*products: Product, **changes: object) -> OperationPlan:
    base = OperationPlan(
        name="Seeding",
        field=Field("Creek"),
        implement=Implement(6.0),
        track_files=(),
        applications=tuple(Application(p) for p in products or (Product("rye"),)),
        date="2026-09-26",
    )
    return replace(base, **changes)  # type: ignore[arg-type]


def read(
    folder: Path, text: str, job: OperationPlan | None = None
) -> tuple[tuple[LoadTicket, ...], list[str], list[str]]:
    path = folder / "tickets.csv"
    path.write_text(text, encoding="utf-8")
    tickets, findings = read_tickets(path, job or plan())
    return tickets, findings.warnings, findings.notes


def refused(folder: Path, text: str, job: OperationPlan | None = None) -> str:
    with pytest.raises(InputError) as caught:
        read(folder, text, job)
    return str(caught.value)


def test_reads_what_is_written(tmp_path: Path) -> None:
    tickets, warnings, _ = read(
        tmp_path,
        HEAD
        + "09:00,filled,,rye,2400 lb,truck scale 20 lb\n"
        + "2026-09-26T11:30:00Z,remaining,,rye,250 kg,load cell 2 %\n"
        + "13:00,Cleaned-out,,,90 lb,bags\n",
    )
    assert [t.event for t in tickets] == ["filled", "remaining", "cleaned out"]
    assert [t.mass_kg for t in tickets] == pytest.approx([2400 * LB, 250.0, 90 * LB], rel=1e-12)
    assert [t.time_s for t in tickets] == [
        np.datetime64(f"2026-09-26T{clock}").astype("datetime64[s]").astype(float)
        for clock in ("09:00", "11:30", "13:00")
    ]
    assert {t.product for t in tickets} == {"rye"}
    assert tickets[1].place == "tickets.csv, line 3"
    assert any("mixed units (kg, lb)" in w for w in warnings)


def test_errors_of_weighing(tmp_path: Path) -> None:
    """A division of d errs by d / sqrt(12) a reading (JCGM 100:2008, 4.3.7)."""
    tickets, _, notes = read(
        tmp_path,
        "event,weight [lb],weighed by,resolution\n"
        "filled,2400,scale,20 lb\n"
        "remaining,300,scale,20 lb\n"
        "filled,2400,load cell,1.5 %\n"
        "remaining,400,load cell,\n",
    )
    one = 20 * LB / np.sqrt(12)
    expected = [one * np.sqrt(2), one, 0.015 * 2400 * LB, 0.01 * 400 * LB]
    assert [t.sigma_kg for t in tickets] == pytest.approx(expected, rel=1e-12)
    assert any("load cell give no resolution" in n for n in notes)
    rounded = np.random.default_rng(3).uniform(0, 5000, 200_000)
    step = 20 * LB
    assert np.std(np.round(rounded / step) * step - rounded) == pytest.approx(one, rel=0.01)


def test_unknown_way_of_weighing_is_said(tmp_path: Path) -> None:
    tickets, warnings, _ = read(tmp_path, "event,weight,weighed by\nfilled,100 lb,Uncle Bob\n")
    assert tickets[0].sigma_kg == pytest.approx(0.05 * 100 * LB)
    assert "Uncle Bob" in warnings[0]


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("09:00,filled,,rye,-20 lb,scale", "negative"),
        ("09:00,filled,,rye,200000 lb,scale", "more than any cart carries"),
        ("09:00,filled,,rye,2400,scale", "has no unit"),
        ("09:00,filled,,rye,2400 ft,scale", "is a length"),
        ("09:00,filled,,rye,a lot,scale", "line 2"),
        ("09:00,filed,,rye,2400 lb,scale", 'Did you mean "filled"?'),
        ("09:00,,,rye,2400 lb,scale", "The event is missing."),
        ("teatime,filled,,rye,2400 lb,scale", '"teatime" is not a time.'),
        ("09:00,filled,,rye,2400 lb,scale 20 ft", "is a length"),
    ],
)
def test_refuses_with_the_line(tmp_path: Path, line: str, said: str) -> None:
    text = refused(tmp_path, HEAD + line + "\n")
    assert said in text
    assert "tickets.csv, line 2" in text


def test_tells_every_problem_at_once(tmp_path: Path) -> None:
    text = refused(tmp_path, HEAD + ",filled,,rye,-1 lb,scale\n,lost,,rye,1 lb,scale\n")
    assert "line 2" in text
    assert "line 3" in text


def test_missing_column_is_named(tmp_path: Path) -> None:
    assert 'no column "weight"' in refused(tmp_path, "event,product\nfilled,rye\n")


def test_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"none\.csv.*no such file"):
        read_tickets(tmp_path / "none.csv", plan())


CART = Implement(
    6.0,
    compartments=(Compartment("front", 100 * BUSHEL_M3), Compartment("rear", 40 * BUSHEL_M3)),
)


@pytest.mark.parametrize(
    ("lb_per_bu", "fits", "over"),
    [(60.0, "6000 lb", "6600 lb"), (14.0, "1400 lb", "1540 lb")],  # alfalfa, orchardgrass: G4020
)
def test_a_compartment_holds_volume_times_density(
    tmp_path: Path, lb_per_bu: float, fits: str, over: str
) -> None:
    seed = Product("seed", kind="seed", bulk_density_kg_per_m3=lb_per_bu * LB / BUSHEL_M3)
    job = plan(seed, implement=CART)
    head = "event,compartment,weight\n"
    _, calm, _ = read(tmp_path, f"{head}filled,front,{fits}\n", job)
    _, warned, _ = read(tmp_path, f"{head}filled,front,{over}\n", job)
    assert not [w for w in calm if "level full" in w]
    assert [w for w in warned if '"front" holds level full' in w]


def test_a_top_up_over_the_top_is_seen(tmp_path: Path) -> None:
    seed = Product("seed", bulk_density_kg_per_m3=60 * LB / BUSHEL_M3)
    job = plan(seed, implement=CART)
    text = "event,compartment,weight\nfilled,front,5000 lb\nremaining,front,4000 lb\n"
    _, warned, _ = read(tmp_path, text + "filled,front,3000 lb\n", job)
    assert [w for w in warned if "level full" in w]
    _, calm, _ = read(tmp_path, text + "filled,front,2000 lb\n", job)
    assert not [w for w in calm if "level full" in w]


def test_more_left_than_was_filled_is_doubted(tmp_path: Path) -> None:
    text = "event,weight\nfilled,1000 lb\nremaining,1400 lb\n"
    tickets, warnings, _ = read(tmp_path, text)
    assert len(tickets) == 2
    assert [w for w in warnings if "line 3" in w and "A filling is missing" in w]


def test_tickets_out_of_order_are_put_in_order(tmp_path: Path) -> None:
    tickets, warnings, _ = read(
        tmp_path, HEAD + "11:00,remaining,,rye,200 lb,scale\n09:00,filled,,rye,2000 lb,scale\n"
    )
    assert [t.event for t in tickets] == ["filled", "remaining"]
    assert [w for w in warnings if "line 3" in w and "earlier" in w]


def test_order_of_the_file_stands_where_times_are_missing(tmp_path: Path) -> None:
    tickets, warnings, _ = read(
        tmp_path,
        HEAD
        + "11:00,filled,,rye,2000 lb,scale\n"
        + ",remaining,,rye,100 lb,scale\n"
        + "09:00,filled,,rye,1000 lb,scale\n",
    )
    assert [t.event for t in tickets] == ["filled", "remaining", "filled"]
    assert [w for w in warnings if "order of the file was kept" in w]


def test_compartment_has_to_be_known(tmp_path: Path) -> None:
    job = plan(implement=CART)
    assert 'Did you mean "front"?' in refused(
        tmp_path, "event,compartment,weight\nfilled,frontt,10 lb\n", job
    )
    assert "which compartment" in refused(tmp_path, "event,weight\nfilled,10 lb\n", job)


def test_operation_tells_what_a_ticket_leaves_out(tmp_path: Path) -> None:
    job = plan(
        Product("rye"),
        Product("vetch"),
        implement=CART,
        compartment_of=(("rye", "front"), ("vetch", "rear")),
    )
    tickets, _, _ = read(
        tmp_path,
        "event,compartment,product,weight\nfilled,rear,,10 lb\nfilled,,rye,20 lb\n",
        job,
    )
    assert [(t.product, t.compartment) for t in tickets] == [("vetch", "rear"), ("rye", "front")]
    assert "which product" in refused(tmp_path, "event,weight\nfilled,10 lb\n", job)


def test_one_table_serves_a_season_and_strays_are_kept(tmp_path: Path) -> None:
    text = (
        "field,operation,event,product,weight\n"
        "Creek,Seeding,filled,rye,1000 lb\n"
        "Creek,Topdress,filled,rye,50 lb\n"
        "Hill,Seeding,filled,rye,700 lb\n"
        ",,filled,rye,300 lb\n"
        ",,remaining,rye,10 lb\n"
    )
    creek, warnings, _ = read(tmp_path, text)
    hill, _, _ = read(tmp_path, text, plan(field=Field("Hill")))
    topdress, _, _ = read(tmp_path, text, plan(name="Topdress"))
    assert [t.mass_kg / LB for t in (*creek, *hill, *topdress)] == pytest.approx([1000, 700, 50])
    assert [w for w in warnings if "line 5" in w and "names no field" in w]
    strays = stray_fills([tmp_path / "tickets.csv", tmp_path / "tickets.csv"])
    assert strays == {"rye": pytest.approx(300 * LB)}
    total = sum(t.mass_kg for t in (*creek, *hill, *topdress)) + strays["rye"]
    assert total == pytest.approx(2050 * LB, rel=1e-12)


def test_a_table_of_other_fields_is_said(tmp_path: Path) -> None:
    tickets, warnings, _ = read(tmp_path, "field,event,weight\nCreak,filled,10 lb\n")
    assert not tickets
    assert 'Did you mean "Creak"?' in warnings[0]


def test_unknown_product_is_kept_apart(tmp_path: Path) -> None:
    tickets, warnings, _ = read(tmp_path, "event,product,weight\nfilled,rie,10 lb\n")
    assert tickets[0].product == "rie"
    assert 'Did you mean "rye"?' in warnings[0]


def test_a_repeated_ticket_is_said_and_counted(tmp_path: Path) -> None:
    line = "09:00,filled,,rye,2000 lb,scale\n"
    tickets, warnings, _ = read(tmp_path, HEAD + line + line)
    assert len(tickets) == 2
    assert [w for w in warnings if "repeats" in w]


def test_tickets_follow_a_log_of_the_time_of_day_only(tmp_path: Path) -> None:
    tickets, _, _ = read(tmp_path, HEAD + "09:00,filled,,rye,10 lb,scale\n")
    line = np.array([0.0, 0.0])
    track = Track("log.csv", np.array([32_000.0, 40_000.0]), line, line)
    moved, warnings = match_ticket_clock(tickets, (track,), None)
    assert moved[0].time_s == 9 * 3600.0
    assert not warnings
    late = Track("log.csv", np.array([1e9, 1e9 + 9e3]), line, line)
    assert "time zone" in match_ticket_clock(tickets, (late,), None)[1][0]
