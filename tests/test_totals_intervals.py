"""Intervals of totals against closed forms and draws that share no code with the engine."""

from __future__ import annotations

import math
from dataclasses import replace
from statistics import NormalDist

import geopandas as gpd
import numpy as np
import pytest
import shapely
from jobs import DRILL, Job, all_work_job
from put_down import MISSOURI, on_earth, operation

from evenacre.coverage.audit import audit_operation
from evenacre.model import EXACT, Application, LoadTicket, Product, Settings
from evenacre.model.audit_result import AuditResult, RunningTotals
from evenacre.planning.intervals import Part, sum_90
from evenacre.planning.loads.load_check import check_loads
from evenacre.planning.loads.loads import Amount
from evenacre.planning.loads.stock_balance import Usage, balance
from evenacre.reports.quantities import Display
from evenacre.reports.tables.intervals import interval_frames
from evenacre.units.display import US
from evenacre.workflows.figures import figures_of

Z = NormalDist().inv_cdf(0.95)
METER = 0.05 / math.sqrt(3)
RATE = 0.0168
SIGMA_M = 0.03
LENGTH, WIDTH = 60.0, DRILL.width_m


def between(middle: float, sigma: float) -> tuple[float, float]:
    return middle - Z * sigma, middle + Z * sigma


def counted(kg: float, edges_kg: float = 0.0) -> tuple[float, float]:
    return between(kg, math.hypot(METER * kg, edges_kg))


def test_one_meter_errs_alike_in_all_jobs_and_two_meters_do_not() -> None:
    fields = (300.0, 500.0, 200.0)
    alike = sum_90(Part(counted(kg), i, "urea") for i, kg in enumerate(fields))
    assert alike == pytest.approx(between(1000.0, METER * 1000.0))
    apart = sum_90(Part(counted(kg), i, str(i)) for i, kg in enumerate(fields))
    assert apart == pytest.approx(between(1000.0, METER * math.hypot(*fields)))


def test_edges_err_alike_within_a_job_and_not_between_jobs() -> None:
    alike = sum_90(Part(between(kg, 3.0), "job", times=2.0) for kg in (10.0, 20.0))
    assert alike == pytest.approx(between(60.0, 12.0))
    apart = sum_90(Part(between(kg, 3.0), kg) for kg in (10.0, 20.0))
    assert apart == pytest.approx(between(30.0, 3.0 * math.sqrt(2)))


def test_a_sum_of_one_is_itself_and_of_what_is_not_known_nothing() -> None:
    assert sum_90([Part((95.0, 120.0), 0, "urea")]) == pytest.approx((95.0, 120.0))
    assert sum_90([Part((95.0, 120.0), 0), Part(None, 0)]) is None
    assert sum_90([]) is None


def test_nitrogen_of_two_products_in_three_jobs_against_draws() -> None:
    """Two meters, three jobs; each job's edges take both products with them."""
    content = {"urea": 0.46, "DAP": 0.18}
    laid = [{"urea": 900.0, "DAP": 2000.0}, {"urea": 400.0}, {"DAP": 1500.0}]
    edge = (0.03, 0.01, 0.02)  # of what was laid
    rng = np.random.default_rng(4)
    meter = {name: 1 + rng.normal(0, METER, 200_000) for name in content}
    moved = [1 + rng.normal(0, share, 200_000) for share in edge]
    drawn = sum(
        content[name] * kg * meter[name] * moved[i]
        for i, job in enumerate(laid)
        for name, kg in job.items()
    )
    made_of = [
        Part(counted(kg, edge[i] * kg), i, name, content[name])
        for i, job in enumerate(laid)
        for name, kg in job.items()
    ]
    assert sum_90(made_of) == pytest.approx(np.quantile(drawn, [0.05, 0.95]), rel=2e-3)


def ticket(event: str, kg: float, time_s: float, sigma_kg: float = 3.0) -> LoadTicket:
    return LoadTicket(
        product="urea", event=event, mass_kg=kg, time_s=time_s, sigma_kg=sigma_kg,
        compartment="", weighed_by="truck scale", place=f"line {time_s:.0f}",
    )  # fmt: skip


def test_loads_by_scale_err_apart_and_by_meter_together() -> None:
    time_s = np.array([0.0, 100.0, 200.0])
    totals = RunningTotals(time_s, 100 * time_s, {"urea": np.array([0.0, 600.0, 1800.0])})
    tickets = [
        *(ticket("filled", 700, 0), ticket("remaining", 100, 100)),
        *(ticket("filled", 1200, 101), ticket("remaining", 100, 200)),
    ]
    found = check_loads(tickets, totals, area_share_sigma=0.001).together
    assert found is not None
    scale, meter = found.within_90("scale"), found.within_90("meter")
    assert scale is not None
    assert meter is not None
    assert scale.interval_90["kg"] == pytest.approx(between(scale.kg, scale.sigma_kg))
    sigma = math.hypot(meter.sigma_kg, METER * meter.kg)
    assert meter.interval_90["kg"] == pytest.approx(between(meter.kg, sigma))
    assert found.interval_90["swept_m2"] == pytest.approx(between(20_000.0, 20.0))


def test_what_was_used_over_a_season() -> None:
    usages = [
        Usage("Creek", "a", Amount(600.0, 3.0), "scale"),
        Usage("Hill", "b", Amount(300.0, 3.0), "meter"),
        Usage("Ridge", "c", Amount(500.0, 5.0), "meter"),
    ]
    found = balance("rye", usages, bought=Amount(1600.0, 8.0), left=Amount(150.0, 2.0))
    used = math.hypot(3.0, 3.0, 5.0, METER * 800.0)
    assert found.interval_90["used_kg"] == pytest.approx(between(1400.0, used))
    rest = math.hypot(used, 8.0, 2.0)
    assert found.interval_90["unexplained_kg"] == pytest.approx(between(50.0, rest))


def shifted(setbacks: gpd.GeoDataFrame | None = None, *, free_m: float = SIGMA_M) -> AuditResult:
    """Two passes far apart, each off sideways by ``free_m``."""
    job: Job = all_work_job(LENGTH, (5.0,))
    _, low, _, high = job.boundary.bounds
    job = replace(
        job,
        boundary=shapely.box(1.0, low - 9.0, LENGTH - 1.0, high + 9.0),
        settings=Settings(smooth=False, within_pass_m=0.0, pass_to_pass_m=free_m),
        implement=replace(job.implement, error=EXACT),
        drives=tuple(d.with_rate("urea", RATE) for d in job.drives),
        applications=(Application(Product("urea", {"N": 46.0}), RATE),),
    )
    given = operation(job)
    return audit_operation(replace(given, field=replace(given.field, setbacks=setbacks)))


def test_a_meter_alone_in_closed_form() -> None:
    (product,) = shifted(free_m=0.0).products
    low, high = product.interval_90["applied_in_field_kg"]
    # Anywhere within 5 %, alike likely: nine in ten lie within 4.5 %.
    told = [share * product.applied_in_field_kg for share in (0.955, 1.045)]
    assert (low, high) == pytest.approx(told, rel=1e-3)


@pytest.mark.parametrize("beyond_m", [3.0, 0.02])
def test_an_edge_in_a_setback_in_closed_form(beyond_m: float) -> None:
    """A strip that the outer pass reaches ``beyond_m`` into: it may reach in by none at least."""
    high = all_work_job(LENGTH, (5.0,)).boundary.bounds[3]
    strip = shapely.box(10.0, high - beyond_m, 50.0, high + 4.0)
    table = gpd.GeoDataFrame(
        {"name": ["ditch"], "distance_m": [0.0]},
        geometry=[on_earth(strip, MISSOURI, 0.0, (0.0, 0.0))],
        crs="EPSG:4326",
    )
    (found,) = shifted(table).products[0].setbacks
    assert found.area_m2 == pytest.approx(40.0 * beyond_m, rel=0.02)
    ends = [40.0 * max(beyond_m + z * SIGMA_M, 0.0) for z in (-Z, Z)]
    assert found.interval_90["area_m2"] == pytest.approx(ends, rel=0.01, abs=0.3)
    low, high = found.interval_90["applied_kg"]
    assert low <= found.applied_kg <= high
    if beyond_m > 1:
        sigma = found.applied_kg * math.hypot(METER, SIGMA_M / beyond_m)
        assert (low, high) == pytest.approx(between(found.applied_kg, sigma), rel=0.01)


@pytest.mark.parametrize("rounds", [0, 8])
def test_overlap_in_the_headland_is_all_of_it_or_none(rounds: int) -> None:
    """Two passes lapped by half a metre, where all of the field is headland, and where none is."""
    job = all_work_job(LENGTH, (-0.5,))
    _, low, _, high = job.boundary.bounds
    given = operation(
        replace(
            job,
            boundary=shapely.box(1.0, low + 2.0, LENGTH - 1.0, high - 2.0),
            settings=Settings(smooth=False, within_pass_m=0.0, pass_to_pass_m=SIGMA_M),
            implement=replace(job.implement, error=EXACT),
        )
    )
    settings = replace(given.settings, headland_rounds=rounds)
    result = audit_operation(replace(given, settings=settings))
    found = result.interval_90["headland_overlap_m2"]
    if not rounds:
        assert found == (0.0, 0.0)
        return
    assert found == pytest.approx(result.interval_90["overlap_area_m2"], abs=0.2)
    lap = between(0.5, math.sqrt(2) * SIGMA_M)
    assert found == pytest.approx([(LENGTH - 2) * m for m in lap], rel=0.05)


def test_a_figure_with_an_interval_is_a_row_of_the_table_in_its_own_unit() -> None:
    product = {"product": "urea", "logged_kg": 45.359237, "interval_90": {"logged_kg": [0, 9]}}
    account = {
        "operations": [
            {
                "field": "Creek Forty",
                "operation": "Spring fertilizer",
                "covered_area_m2": 4046.8564224,
                "skip_area_m2": 0.0,
                "interval_90": {"covered_area_m2": [4000.0, 8093.7128448], "skip_area_m2": [0, 0]},
                "products": [product],
            }
        ]
    }
    made = interval_frames(figures_of(account), Display(US))["intervals"]
    assert made["figure"].tolist() == ["covered area", "logged"]
    assert made["unit"].tolist() == ["ac", "lb"]
    assert made["drawn or logged"].tolist() == pytest.approx([1.0, 100.0])
    assert made["at most"].tolist()[0] == pytest.approx(2.0)
