"""Loads by scale, meter and target: amounts, errors, verdicts, the half-way check, the balance."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from jobs import straight_job
from put_down import operation

from evenacre.coverage.audit import audit_operation
from evenacre.errors import InputError
from evenacre.io.season.load import load_season
from evenacre.model import Application, LoadTicket, Product
from evenacre.model.audit_result import RunningTotals
from evenacre.planning.loads.load_check import ProductLoads, check_loads, operation_loads
from evenacre.planning.loads.loads import Amount, held_by_tickets, loads_of, used_by_scale
from evenacre.planning.loads.stock_balance import (
    OperationLoads,
    Usage,
    balance,
    halfway_check,
    left_in_cart,
    operation_load_book,
    operation_usages,
    season_balances,
)
from evenacre.reports.quantities import Display
from evenacre.reports.sentences.findings import sentence
from evenacre.reports.sentences.loads import (
    balance_sentence,
    halfway_sentence,
    verdict_sentences,
)
from evenacre.reports.tables.loads import (
    BALANCES,
    load_frames,
    load_page_tables,
    load_record,
)
from evenacre.reports.writers.as_html import page_table
from evenacre.reports.writers.as_json import json_types, records
from evenacre.units.display import METRIC, US

Floats = npt.NDArray[np.float64]


def ticket(
    event: str,
    kg: float,
    time_s: float | None = None,
    *,
    sigma: float = 1.0,
    where: str = "",
    by: str = "scale",
) -> LoadTicket:
    return LoadTicket(event, where, "rye", kg, sigma, by, time_s, f"tickets.csv, {event} {kg:g}")


def steady(
    kg_per_s: float = 1.0, length_s: float = 3600.0, m2_per_s: float = 10.0
) -> RunningTotals:
    time = np.linspace(0.0, length_s, 361)
    return RunningTotals(time, m2_per_s * time, {"rye": kg_per_s * time})


# Grouping


def test_a_load_ends_at_the_last_weighing_before_the_next_fill() -> None:
    loads = loads_of(
        [
            ticket("filled", 1000, 0),
            ticket("remaining", 600, 100),
            ticket("remaining", 150, 200),
            ticket("filled", 900, 210),
            ticket("cleaned out", 50, 400),
        ]
    )
    assert [load.used.kg for load in loads if load.used] == [850.0, 1000.0]
    assert [(load.start_s, load.end_s) for load in loads] == [(0, 200), (200, 400)]
    assert [t.mass_kg for t in loads[0].checks] == [600]


def test_a_top_up_before_weighing_stays_in_the_load() -> None:
    (load,) = loads_of([ticket("filled", 1000), ticket("filled", 500), ticket("remaining", 100)])
    assert load.used
    assert load.used.kg == 1400


def test_a_product_in_two_compartments_is_weighed_in_both() -> None:
    loads = loads_of(
        [
            ticket("filled", 700, where="front"),
            ticket("filled", 300, where="rear"),
            ticket("remaining", 70, where="front"),
            ticket("filled", 600, where="front"),  # the rear was not weighed: no new load
            ticket("remaining", 50, where="front"),
            ticket("remaining", 30, where="rear"),
            ticket("filled", 400, where="rear"),
            ticket("cleaned out", 40, where="rear"),
            ticket("cleaned out", 10, where="front"),
        ]
    )
    assert [load.used.kg for load in loads if load.used] == [1520.0, 430.0]


def test_what_was_carried_in_counts() -> None:
    (load,) = loads_of([ticket("remaining", 200), ticket("filled", 800), ticket("remaining", 90)])
    assert load.used
    assert load.used.kg == 910


def test_cleaned_out_then_weighed_empty() -> None:
    (load,) = loads_of([ticket("filled", 800), ticket("cleaned out", 90), ticket("remaining", 0)])
    assert load.used
    assert load.used.kg == 710


def test_a_cart_cleaned_out_is_empty_for_the_next_load() -> None:
    events = ("filled", 800), ("cleaned out", 90), ("filled", 500), ("remaining", 40)
    loads = loads_of([ticket(*event) for event in events])
    assert [load.used.kg for load in loads if load.used] == [710.0, 460.0]


def test_a_load_of_less_than_a_kilogram_corrects_the_meter_too() -> None:
    found = check_loads(
        [ticket("filled", 0.9, 0, sigma=1e-3), ticket("remaining", 0.1, 3600, sigma=1e-3)],
        steady(0.75 / 3600),
    )
    assert found.correction
    assert found.correction.factor == pytest.approx(0.8 / 0.75, rel=1e-6)


def test_a_load_that_nobody_weighed_is_open() -> None:
    found = check_loads([ticket("filled", 800, 0)], steady())
    assert found.checks[0].scale is None
    assert found.together is None
    assert found.correction is None
    assert "nothing was weighed after" in sentence(found.findings[0])


# Errors


def test_readings_of_a_scale_add_in_squares_and_shared_ones_cancel() -> None:
    tickets = [
        ticket("filled", 1000, sigma=3),
        ticket("remaining", 150, sigma=4),
        ticket("filled", 900, sigma=3),
        ticket("remaining", 20, sigma=4),
    ]
    loads = loads_of(tickets)
    assert [load.used.sigma_kg for load in loads if load.used] == pytest.approx(
        [5.0, math.sqrt(16 + 9 + 16)]
    )
    both = used_by_scale(loads)
    assert both.kg == 1000 + 900 - 20
    assert both.sigma_kg == pytest.approx(math.sqrt(9 + 9 + 16))  # the 150 kg cancel


def test_a_load_cell_errs_by_its_gain() -> None:
    """A gain error g turns 1000 - 150 into g (1000 - 150): the parts are not independent."""
    (load,) = loads_of(
        [
            ticket("filled", 1000, sigma=10, by="load cell"),
            ticket("remaining", 150, sigma=1.5, by="load cell"),
        ]
    )
    assert load.used
    assert load.used.sigma_kg == pytest.approx(0.01 * 850)


def test_what_is_held_now() -> None:
    held, since_s = held_by_tickets(
        [
            ticket("filled", 700, 0, where="front", sigma=3),
            ticket("remaining", 200, 50, where="front", sigma=3),
            ticket("filled", 100, 60, where="front", sigma=4),
            ticket("filled", 300, 0, where="rear"),
            ticket("cleaned out", 300, 55, where="rear"),
        ]
    )
    assert held.kg == 300
    assert held.sigma_kg == pytest.approx(5)
    assert since_s == 50


# Against the log


def test_each_load_meets_its_own_stretch_of_the_log() -> None:
    found = check_loads(
        [
            ticket("filled", 1500, -60),
            ticket("remaining", 300, 1200),
            ticket("filled", 1500, 1260),
            ticket("cleaned out", 460, 4000),
        ],
        steady(kg_per_s=0.5, length_s=3600),
        target_kg_per_m2=0.05,
        area_share_sigma=0.001,
    )
    first, second = found.checks
    assert first.meter == Amount(pytest.approx(600), pytest.approx(6))
    assert second.meter == Amount(pytest.approx(1200), pytest.approx(12))
    assert first.scale
    assert first.scale.kg == 1200
    assert first.target
    assert first.target.kg == pytest.approx(0.05 * 12_000)
    # A third of the ground has the third of its variance: sqrt(1/3) of 0.1 % of the whole.
    assert first.target.sigma_kg == pytest.approx(0.05 * 0.001 * 36_000 / math.sqrt(3))
    assert found.correction
    assert found.correction.factor == pytest.approx(2540 / 1800)
    compared = found.together and found.together.compared("scale", "meter")
    assert compared
    assert compared.share == pytest.approx(2540 / 1800 - 1)
    assert compared.disagree
    assert found.outside_kg == pytest.approx(0, abs=1e-9)


def test_without_times_only_the_whole_job_can_be_compared() -> None:
    tickets = [
        ticket("filled", 1500),
        ticket("remaining", 300),
        ticket("filled", 1000),
        ticket("remaining", 400),
    ]
    found = check_loads(tickets, steady(0.5))
    assert [check.meter for check in found.checks] == [None, None]
    assert found.together
    assert found.together.meter == Amount(pytest.approx(1800), pytest.approx(18 / math.sqrt(2)))


def test_what_was_metered_outside_every_load_is_said() -> None:
    found = check_loads([ticket("filled", 900, 1800), ticket("remaining", 0, 3600)], steady(0.5))
    assert found.outside_kg == pytest.approx(900)
    assert "A ticket may be missing" in sentence(found.findings[0])


def test_a_load_that_gives_more_than_it_got_does_not_judge_the_meter() -> None:
    tickets = [
        ticket("filled", 1000, 0),
        ticket("remaining", 400, 1200),
        ticket("filled", 700, 1200),
        ticket("remaining", 1300, 3600),
    ]
    found = check_loads(tickets, steady(0.5))
    assert found.together
    assert [load.number for load in found.together.loads] == [1]
    assert found.correction
    assert found.correction.factor == pytest.approx(1.0)
    assert "more came out" in sentence(found.findings[0])


def test_loads_that_contradict_one_another_do_not_correct_the_meter() -> None:
    tickets = [
        ticket("filled", 1000, 0),
        ticket("cleaned out", 460, 1200),
        ticket("filled", 1500, 1200),
        ticket("cleaned out", 150, 3600),
    ]
    found = check_loads(tickets, steady(0.5))
    assert found.correction
    assert found.correction.scattered
    assert not found.correction.needed
    assert "contradict" in verdict_sentences(found, US)[-1]


def test_no_meter_without_a_logged_rate() -> None:
    tickets = [ticket("filled", 1000, 0), ticket("remaining", 400, 3600)]
    found = check_loads(tickets, steady(0.5), metered=False, target_kg_per_m2=0.05)
    assert found.correction is None
    assert found.checks[0].meter is None
    assert [(c.first, c.second) for c in found.checks[0].comparisons] == [("scale", "target")]


# From a log on the ground


def test_running_totals_are_those_of_the_audit() -> None:
    job = straight_job(240.0, (0.0, 0.0, 0.0))
    job = replace(
        job,
        drives=tuple(d.with_rate("rye", 0.01) for d in job.drives),
        applications=(Application(Product("rye"), 0.01),),
    )
    result = audit_operation(operation(job))
    totals = result.totals
    assert totals is not None
    ground = 4 * 240 * 6.096
    assert totals.swept_m2[-1] == pytest.approx(ground, rel=1e-3)
    assert totals.metered_kg["rye"][-1] == pytest.approx(result.products[0].logged_kg, rel=1e-9)
    assert np.all(np.diff(totals.time_s) > 0)
    used = operation_usages(result, ())["rye"]
    assert (used.source, used.amount.kg) == ("meter", totals.metered_kg["rye"][-1])
    assert used.amount.sigma_kg == pytest.approx(0.01 * used.amount.kg)
    passes = result.layers["passes"]
    for i, end in enumerate(passes["end_s"], start=1):
        done = np.interp(end + 2, totals.time_s, totals.metered_kg["rye"])
        assert done == pytest.approx(0.01 * i * 240 * 6.096, rel=1e-3)


def test_loads_of_an_audited_operation() -> None:
    job = straight_job(240.0, (0.0, 0.0, 0.0))
    job = replace(
        job,
        drives=tuple(d.with_rate("rye", 0.01) for d in job.drives),
        applications=(Application(Product("rye"), 0.01),),
    )
    base = operation(job)
    start, end = base.tracks[0].time_s[[0, -1]]
    half = (start + end) / 2
    tickets = (
        ticket("filled", 100, start),
        ticket("remaining", 70, half),
        ticket("cleaned out", 40.5, end),
    )
    job_done = replace(base, tickets=tickets)
    result = audit_operation(job_done)
    (found,) = operation_loads(job_done, result)
    assert found.together
    assert found.together.scale
    assert found.together.scale.kg == pytest.approx(59.5)
    assert found.together.meter
    assert found.together.meter.kg == pytest.approx(0.01 * 4 * 240 * 6.096, rel=1e-3)
    book = operation_load_book(job_done, result)
    assert book.loads == (found,)
    assert [check.product for check in book.halfway] == ["rye"]
    (table,) = load_page_tables(book, Display(METRIC))
    assert table.rows[-1][2:4] == ("59.5 ± 1.4 kg", "58.5 ± 0.6 kg")
    usage = operation_usages(result, [found])["rye"]
    assert (usage.source, usage.amount.kg) == ("scale", pytest.approx(59.5))
    assert operation_usages(result, [])["rye"].source == "meter"


# One thousand jobs


@dataclass(frozen=True)
class Simulated:
    """A season of loads whose truth is known, drawn without any formula under test."""

    checks: list[ProductLoads]
    bias: float


def simulate(bias: float, jobs: int = 1000, seed: int = 20_260) -> Simulated:
    """Jobs whose meter counts ``bias`` times too much.

    Trucks and carts are weighed full and empty on a scale that reads in steps of 20 lb; the
    meter errs by 1 % from load to load.
    """
    rng = np.random.default_rng(seed)
    step = 20 * 0.45359237
    checks = []

    def read(kg: float) -> float:
        return float(np.round(kg / step) * step)

    for _ in range(jobs):
        count = int(rng.integers(2, 6))
        clock, left, metered = 0.0, 0.0, 0.0
        times, meter, tickets = [0.0], [0.0], []
        for _load in range(count):
            filled = rng.uniform(1200.0, 2600.0)
            truck = rng.uniform(7000.0, 9000.0)
            weighed = read(truck + filled) - read(truck)
            one = step / math.sqrt(12)
            tickets.append(ticket("filled", weighed, clock, sigma=one * math.sqrt(2)))
            used = (left + filled) * rng.uniform(0.80, 0.97)
            left += filled - used
            metered += used * bias * (1 + 0.01 * rng.standard_normal())
            clock += 3600.0
            times.append(clock)
            meter.append(metered)
            cart = rng.uniform(0, step)
            tickets.append(ticket("remaining", read(cart + left) - cart, clock, sigma=one))
        log = RunningTotals(np.array(times), np.array(times), {"rye": np.array(meter)})
        checks.append(check_loads(tickets, log))
    return Simulated(checks, bias)


@pytest.fixture(scope="module")
def agreeing() -> Simulated:
    return simulate(1.0)


@pytest.fixture(scope="module", params=[0.95, 1.05])
def five_off(request: pytest.FixtureRequest) -> Simulated:
    return simulate(request.param, seed=7)


def factors(jobs: Simulated) -> Floats:
    return np.array([c.correction.factor for c in jobs.checks if c.correction])


def disagreeing(jobs: Simulated) -> float:
    said = [c.together.compared("scale", "meter") for c in jobs.checks if c.together]
    return float(np.mean([c.disagree for c in said if c]))


def test_corrections_are_unbiased(agreeing: Simulated, five_off: Simulated) -> None:
    for jobs in (agreeing, five_off):
        found = factors(jobs)
        assert len(found) == 1000
        assert found.mean() * jobs.bias == pytest.approx(1.0, abs=0.005)


def test_corrections_err_as_they_say(agreeing: Simulated) -> None:
    held = [c.correction.low <= 1.0 <= c.correction.high for c in agreeing.checks if c.correction]
    assert 0.92 <= np.mean(held) <= 0.995


def test_agreeing_scale_and_meter_are_seldom_said_to_disagree(agreeing: Simulated) -> None:
    assert disagreeing(agreeing) < 0.05
    assert disagreeing(agreeing) > 0.0  # a test that never errs has no power


def test_a_meter_five_percent_off_is_found_out(five_off: Simulated) -> None:
    assert disagreeing(five_off) > 0.95


def test_one_load_alone_judges_as_stated(agreeing: Simulated) -> None:
    single = [c.compared("scale", "meter") for job in agreeing.checks for c in job.checks]
    assert np.mean([c.disagree for c in single if c]) == pytest.approx(0.01, abs=0.006)


# Half-way


def test_half_the_ground_takes_half_the_product() -> None:
    totals = steady(kg_per_s=0.5, length_s=3600, m2_per_s=10)
    check = halfway_check(
        [ticket("filled", 1800, 0, sigma=2), ticket("remaining", 900, 1800, sigma=2)], totals
    )
    assert check
    at = check.nearest_half
    assert at
    assert (at.area_left_m2, at.even_kg, at.verdict) == (
        pytest.approx(18_000), pytest.approx(900), "even",
    )  # fmt: skip
    # 5 % of the 900 kg that should be gone, and twice the error of the filling.
    assert at.high_kg - at.even_kg == pytest.approx(0.05 * 900 + 2 * 2)
    assert check.even_kg[[0, -1]] == pytest.approx([1800, 0])
    assert check.meter_left_kg[-1] == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(
    ("left", "verdict"),
    [(900, "even"), (940, "even"), (960, "too much left"), (840, "too little left")],
)
def test_half_way_verdicts(left: float, verdict: str) -> None:
    tickets = [ticket("filled", 1800, 0), ticket("remaining", left, 1800)]
    check = halfway_check(tickets, steady(0.5))
    assert check
    assert [w.verdict for w in check.weighings] == [verdict]


def test_product_not_filled_yet_is_left_too() -> None:
    tickets = [
        ticket("filled", 1000, 0),
        ticket("remaining", 100, 1800),
        ticket("filled", 800, 1810),
        ticket("cleaned out", 0, 3600),
    ]
    check = halfway_check(tickets, steady(0.5))
    assert check
    assert [w.left_kg for w in check.weighings] == [900, 0]
    assert [w.verdict for w in check.weighings] == ["even", "even"]


def test_a_weighing_below_the_band_runs_heavy() -> None:
    tickets = [ticket("filled", 1800, 0), ticket("remaining", 700, 1800)]
    check = halfway_check(tickets, steady(0.5))
    assert check
    assert "runs heavy" in halfway_sentence(check, METRIC)


# The season's balance


def test_balance_closes_and_the_rest_is_never_spread() -> None:
    rng = np.random.default_rng(5)
    for _ in range(200):
        used = rng.uniform(1e2, 1e4, 40)
        left, lost = rng.uniform(0, 1e4), rng.normal(0, 300)
        bought = math.fsum([*used, left, lost])
        usages = [Usage("Creek", f"job {i}", Amount(kg, 1.0), "scale") for i, kg in enumerate(used)]
        found = balance("rye", usages, bought=Amount(bought, 5), left=Amount(left, 2))
        assert found.unexplained_kg == pytest.approx(lost, abs=1e-9 * bought)
        assert [u.amount.kg for u in found.usages] == list(used)
        parts = [*(u.amount.kg for u in found.usages), left, found.unexplained_kg or 0.0]
        assert math.fsum(parts) == pytest.approx(bought, rel=1e-9)


def test_exact_data_leave_nothing_unexplained() -> None:
    usages = [
        Usage("Creek", "a", Amount(600, 0), "scale"),
        Usage("Hill", "b", Amount(300, 0), "scale"),
    ]
    found = balance("rye", usages, bought=Amount(1000, 0), left=Amount(100, 0))
    assert found.unexplained_kg == pytest.approx(0, abs=1e-9 * 1000)
    assert found.explained


def test_a_missing_hundredweight_is_unexplained() -> None:
    usages = [Usage("Creek", "a", Amount(600, 3), "scale")]
    found = balance("rye", usages, bought=Amount(1000, 5), left=Amount(300, 2), without_field_kg=80)
    assert found.unexplained_kg == pytest.approx(100)
    assert found.explained is False
    assert "name no field" in balance_sentence(found, METRIC)


def test_balance_needs_both_ends() -> None:
    found = balance("rye", [Usage("Creek", "a", Amount(600, 3), "meter")], bought=Amount(1000, 5))
    assert found.unexplained_kg is None
    assert found.explained is None
    assert "how much was left is not known" in balance_sentence(found, US)


def test_every_product_of_a_season_is_balanced() -> None:
    """Two fields from one stock: what one ticket without a field holds stays unexplained."""

    def book(field: str, kg: float) -> OperationLoads:
        usage = Usage(field, "Seeding", Amount(kg, 0.0), "meter")
        return OperationLoads(field, "Seeding", (), (), {"rye": usage})

    rye = Product("rye", bought_kg=2000.0, season_left_kg=150.0)
    rye_balance, vetch = season_balances(
        [book("Creek", 1000.0), book("Hill", 700.0)], [rye, Product("oats")],
        {"rye": 100.0, "vetch": 30.0},
    )  # fmt: skip
    assert rye_balance.product == "rye"
    assert rye_balance.used_kg == 1700
    assert rye_balance.unexplained_kg == pytest.approx(150)
    assert rye_balance.without_field_kg == 100
    assert (vetch.product, vetch.unexplained_kg) == ("vetch", None)
    table = page_table(BALANCES, [rye_balance, vetch], Display(METRIC))
    assert table.rows[0] == ("rye", "2,000 kg", "1,700 kg", "meter", "150 kg", "150 kg", "± 10 kg")
    assert "unexplained" in table.remark


def test_stock_is_read_from_the_season_file(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text("time,longitude,latitude\n")
    text = """
farm = "Test Farm"
[[product]]
name = "rye"
bought = "4000 lb"
left = "300 lb"
[[implement]]
name = "drill"
width = "6 m"
[[field]]
name = "Creek"
[[operation]]
name = "Seeding"
field = "Creek"
implement = "drill"
tracks = ["log.csv"]
products = ["rye"]
"""
    season = tmp_path / "season.toml"
    season.write_text(text)
    (rye,) = load_season(season).products
    assert rye.bought_kg == pytest.approx(4000 * 0.45359237)
    assert rye.season_left_kg == pytest.approx(300 * 0.45359237)
    season.write_text(text.replace("4000 lb", "-4000 lb"))
    with pytest.raises(InputError, match="bought"):
        load_season(season)


def test_what_the_last_ticket_left_in_the_cart() -> None:
    def book(*tickets: LoadTicket) -> OperationLoads:
        found = check_loads(list(tickets), steady(), target_kg_per_m2=0.02)
        return OperationLoads("Creek", "Seeding", (found,), (), {})

    rye = Product("rye", kind="seed")
    first = book(ticket("filled", 1000, 0), ticket("remaining", 400, 3600))
    later = book(ticket("filled", 900, 7200), ticket("remaining", 50, 9000))
    cleaned = book(ticket("filled", 900, 7200), ticket("cleaned out", 50, 9000))
    assert left_in_cart(rye, [later, first]) == 50.0
    assert left_in_cart(rye, [first, cleaned]) == 0.0
    # Filled and never weighed again: the ticket before does not tell it.
    assert left_in_cart(rye, [first, book(ticket("filled", 900, 7200))]) is None
    assert left_in_cart(replace(rye, name="oats"), [first]) is None


# Tables


def test_tables_hold_the_same_figures_in_the_readers_units() -> None:
    tickets = [ticket("filled", 1000, 0), ticket("remaining", 400, 3600)]
    found = check_loads(tickets, steady(0.2), target_kg_per_m2=0.02)
    check = halfway_check(tickets, steady(0.2))
    assert check
    book = OperationLoads("Creek", "Seeding", (found,), (check,), {})
    sold = balance("rye", [Usage("Creek", "Seeding", Amount(600, 3), "scale")],
                   bought=Amount(1000, 5), left=Amount(300, 2))  # fmt: skip
    us, si = (load_frames([book], [sold], Display(units)) for units in (US, METRIC))
    assert us["loads"]["by scale [lb]"][0] * 0.45359237 == pytest.approx(600, rel=1e-6)
    assert si["loads"]["by meter [kg]"][0] == pytest.approx(720)
    assert si["loads"]["scale and meter"][0] == "disagree"
    assert si["loads"]["meter and target"][0] == "agree"
    factor = si["meter_corrections"]["multiply the meter's factor by"][0]
    assert factor == pytest.approx(600 / 720, abs=1e-5)
    weighings = si["weighings"].iloc[0]
    assert weighings["product left [kg]"] == 400
    assert weighings["product in all [kg]"] == 1000
    lines = si["balance"].set_index("what")
    mass = lines["mass [kg]"]
    assert mass["bought"] == pytest.approx(mass[["used", "left", "unexplained"]].sum(), rel=1e-9)
    parts = lines.loc[["bought", "used", "left"], "uncertainty [kg]"]
    assert lines["uncertainty [kg]"]["unexplained"] == pytest.approx(np.hypot.reduce(parts))


def test_records_are_plain_json() -> None:
    import json

    tickets = [ticket("filled", 1000, 0), ticket("remaining", 400, 3600)]
    found = check_loads(tickets, steady(0.2), target_kg_per_m2=0.02)
    check = halfway_check(tickets, steady(0.2))
    assert check
    book = OperationLoads("Creek", "Seeding", (found,), (check,), {})
    for record in (load_record(book), records(BALANCES, [balance("rye", [])])):
        json.dumps(json_types(record), allow_nan=False)
    said = " ".join(verdict_sentences(found, US))
    assert "The scale says 16.7 % less than the meter's log" in said
    assert "pounds per turn by 0.833" in said
