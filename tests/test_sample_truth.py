"""The audit of the sample farm against the truth its generator planted.

Margins come from the receiver the generator plays: edges are uncertain by about 2.5 cm
(1.2 cm of white jitter smoothed, 0.6 cm of slow wander on each of two passes, three standard
deviations), and a state changes somewhere within a record of 0.2 s, 0.22 m at either end.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any

import pypdf
import pytest
from shapely.geometry import Point

from evenacre.coverage.audit import audit_operation
from evenacre.io.season.load import load_season
from evenacre.io.season.load_operation import load_operation
from evenacre.language import spoken
from evenacre.model.audit_result import AuditResult
from evenacre.planning.loads.stock_balance import (
    OperationLoads,
    operation_load_book,
    season_balances,
)
from evenacre.planning.season.nutrients import AuditedJob, nutrient_amounts, season_amounts
from evenacre.reports.paper.report import report
from evenacre.reports.paper.sheets import job_sheet
from evenacre.reports.writers.typeset import Size, typeset
from evenacre.sample_fields.farm import JOBS
from evenacre.workflows.audit import Audit
from evenacre.workflows.operations import Audited

LISTED_M2 = 5.0
EDGE_M = 0.025
END_M = 0.22
NAMES = [job.slug for job in JOBS]
WEIGHED = [job.slug for job in JOBS if job.cart]
FERTILIZED = ["orchard-fertilizer", "branch-fertilizer", "kiln-fertilizer"]


@dataclass(frozen=True)
class Audits:
    directory: Path
    truth: list[dict[str, Any]]
    stock: list[dict[str, Any]]

    @cache  # noqa: B019 - lives as long as the module's fixture
    def of(self, name: str) -> tuple[AuditResult, dict[str, Any]]:
        number = NAMES.index(name)
        operation = load_season(self.directory / "season.toml").operations[number]
        return audit_operation(load_operation(operation)), self.truth[number]

    def loads(self, name: str) -> tuple[OperationLoads, list[dict[str, Any]]]:
        operation = load_season(self.directory / "season.toml").operations[NAMES.index(name)]
        result, truth = self.of(name)
        return operation_load_book(load_operation(operation), result), truth["loads"]

    def __hash__(self) -> int:
        return hash(self.directory)


@pytest.fixture(scope="module")
def audits(sample_farm: Path) -> Audits:
    record = json.loads((sample_farm / "truth.json").read_text())
    return Audits(sample_farm, record["operations"], record["stock"])


@pytest.mark.parametrize("size", ["us-letter", "a4"])
@pytest.mark.parametrize("language", ["en", "es"])
def test_the_season_is_under_twelve_pages_on_paper(
    audits: Audits, size: Size, language: str
) -> None:
    season = load_season(audits.directory / "season.toml")
    every = [Audited(audits.of(name)[0], None, {}, audits.loads(name)[0]) for name in NAMES]
    with spoken(language):
        account = Audit(season, tuple(every)).for_paper
        made = datetime(2026, 11, 29, tzinfo=UTC)
        whole = pypdf.PdfReader(BytesIO(typeset(report(account, None), size=size, made=made)))
        jobs = [typeset(job_sheet(one, account), size=size, made=made) for one in account.jobs]
    assert len(whole.pages) < 12
    assert " ... " not in "".join(page.extract_text() for page in whole.pages)
    assert {len(pypdf.PdfReader(BytesIO(pdf)).pages) for pdf in jobs} == {1}


@pytest.mark.parametrize("name", NAMES)
def test_each_planted_skip_is_found_with_its_kind_and_size(audits: Audits, name: str) -> None:
    result, truth = audits.of(name)
    skips = result.layers["skips"].to_crs(4326)
    planted = [skip for skip in truth["skips"] if skip["area_m2"] >= LISTED_M2]
    assert planted
    problems = []
    for skip in planted:
        here = skips[skips.contains(Point(skip["lon"], skip["lat"]))]
        if len(here) != 1:
            problems.append(f"{skip['kind']} of {skip['area_m2']} m2: {len(here)} found there")
            continue
        found = here.iloc[0]
        margin = EDGE_M * found["length_m"] + 2 * END_M * found["mean_width_m"]
        if found["kind"] != skip["kind"]:
            problems.append(f"{skip['kind']} of {skip['area_m2']} m2 is called {found['kind']}")
        if abs(found["area_m2"] - skip["area_m2"]) > margin:
            problems.append(f"{skip['kind']}: {found['area_m2']:.1f} for {skip['area_m2']} m2")
        if skip["kind"] == "blocked rows" and skip["cause"] not in found["cause"]:
            problems.append(f"{skip['cause']} is laid to {found['cause']!r}")
    assert problems == []


@pytest.mark.parametrize("name", NAMES)
def test_no_skip_of_size_is_invented(audits: Audits, name: str) -> None:
    result, truth = audits.of(name)
    points = [Point(skip["lon"], skip["lat"]) for skip in truth["skips"]]
    skips = result.layers["skips"].to_crs(4326)
    large = skips[skips["area_m2"] >= LISTED_M2]
    invented = large[~large.geometry.apply(lambda g: any(g.contains(p) for p in points))]
    assert invented[["kind", "area_m2", "lon", "lat"]].to_dict("records") == []


@pytest.mark.parametrize("name", NAMES)
def test_planted_amounts_are_found(audits: Audits, name: str) -> None:
    """Logged, in the field and per zone within 0.1 %."""
    result, truth = audits.of(name)
    assert [p.product for p in result.products] == [p["product"] for p in truth["products"]]
    for found, planted in zip(result.products, truth["products"], strict=True):
        assert found.source == "rate"
        assert found.logged_kg == pytest.approx(planted["logged_kg"], rel=1e-3)
        assert found.applied_in_field_kg == pytest.approx(planted["applied_in_field_kg"], rel=1e-3)
        assert found.outside_kg == pytest.approx(
            planted["outside_kg"], abs=1e-3 * planted["logged_kg"]
        )
        amounts = {zone.zone: zone.applied_kg for zone in found.zones}
        assert amounts == pytest.approx(
            {zone["zone"]: zone["applied_kg"] for zone in planted["zones"]}, rel=1e-3
        )


@pytest.mark.parametrize("name", NAMES)
def test_planted_areas_are_found(audits: Audits, name: str) -> None:
    """Covered, overlap and skip within 0.1 % of the field, boundary and zones far closer."""
    result, truth = audits.of(name)
    workable = truth["workable_area_m2"]
    assert result.boundary_area_m2 == pytest.approx(truth["boundary_area_m2"], rel=1e-6)
    assert result.workable_area_m2 == pytest.approx(workable, rel=1e-6)
    for key in ("covered_area_m2", "overlap_area_m2", "excess_area_m2", "skip_area_m2"):
        assert getattr(result, key) == pytest.approx(truth[key], abs=1e-3 * workable), key
    zones = {zone.zone: zone.area_m2 for zone in result.products[0].zones}
    planted = {zone["zone"]: zone["area_m2"] for zone in truth["products"][0]["zones"]}
    assert zones == pytest.approx(planted, rel=1e-5)


@pytest.mark.parametrize("name", NAMES)
def test_the_rounds_driven_are_found(audits: Audits, name: str) -> None:
    result, _ = audits.of(name)
    assert result.headland_rounds == 2


@pytest.mark.parametrize("name", NAMES)
def test_jumps_are_dropped_without_losing_ground(audits: Audits, name: str) -> None:
    """Five jumps of one to three records each; the log lacks no more than those."""
    result, _ = audits.of(name)
    counts = result.cleaning
    assert 5 <= counts["position jumps"] <= 15
    assert counts["cuts at jumps"] == 0
    assert counts["cuts at gaps"] == (1 if name == "orchard-cover" else 0)


@pytest.mark.parametrize("name", ["branch-fertilizer", "branch-cover"])
def test_product_inside_the_setback_is_found(audits: Audits, name: str) -> None:
    """Within 0.5 %: 2.5 cm on 60 m of edge is 0.15 % of the ground, the rest the state's end."""
    result, truth = audits.of(name)
    for found, planted in zip(result.products, truth["products"], strict=True):
        (setback,) = found.setbacks
        assert setback.area_m2 == pytest.approx(truth["setback_covered_m2"], rel=5e-3)
        assert setback.applied_kg == pytest.approx(planted["in_setback_kg"], rel=5e-3)


def test_intervals_of_setbacks_and_of_the_season_hold_the_truth(audits: Audits) -> None:
    """Where the meters are right; a season's meters err alike in all fields."""
    laid: dict[str, float] = {}
    jobs = []
    for name, plan in zip(
        NAMES, load_season(audits.directory / "season.toml").operations, strict=True
    ):
        result, truth = audits.of(name)
        if name in FERTILIZED:
            jobs.append(AuditedJob(plan, result))
        for found, planted in zip(result.products, truth["products"], strict=True):
            for setback in found.setbacks:
                low, high = setback.interval_90["area_m2"]
                assert low < truth["setback_covered_m2"] < high
                low, high = setback.interval_90["applied_kg"]
                assert low < planted["in_setback_kg"] < high
            if name in FERTILIZED:
                laid[found.product] = laid.get(found.product, 0.0) + planted["applied_in_field_kg"]
    totals = {row.nutrient: row for row in season_amounts(jobs)}
    fields = [row for row in nutrient_amounts(jobs) if row.zone is None]
    for nutrient, product, share in (("P2O5", "18-46-0", 0.46), ("K2O", "0-0-60", 0.60)):
        low, high = totals[nutrient].interval_90["kg"]
        assert low < share * laid[product] < high
        wide = [row.interval_90["kg"] for row in fields if row.nutrient == nutrient]
        assert high - low == pytest.approx(sum(b - a for a, b in wide), rel=0.02)


@pytest.mark.parametrize("name", WEIGHED)
def test_scale_and_meter_find_what_each_load_put_out(audits: Audits, name: str) -> None:
    """Scale within three standard uncertainties, which are less than the 4 % that one meter errs.

    The meter within 0.1 % of what it counts.
    """
    book, truth = audits.loads(name)
    assert [p.product for p in book.loads] == [p["product"] for p in truth]
    for found, planted in zip(book.loads, truth, strict=True):
        assert len(found.checks) == len(planted["used_kg"]) == 2
        for check, used_kg in zip(found.checks, planted["used_kg"], strict=True):
            assert check.scale
            assert check.meter
            assert abs(check.scale.kg - used_kg) < 3 * check.scale.sigma_kg < 0.04 * used_kg
            assert check.meter.kg == pytest.approx(used_kg * planted["meter_reads"], rel=1e-3)
        assert found.findings == ()


def test_the_one_meter_that_reads_low_is_found_and_put_right(audits: Audits) -> None:
    """18-46-0 on Kiln Hill: the meter counts 0.96 of each pound, so its factor lacks 4.2 %."""
    corrected = {}
    for name in WEIGHED:
        book, truth = audits.loads(name)
        for found, planted in zip(book.loads, truth, strict=True):
            assert found.correction
            assert found.correction.low < 1 / planted["meter_reads"] < found.correction.high
            if found.correction.needed:
                corrected[name, found.product] = planted["meter_reads"]
    assert corrected == {("kiln-fertilizer", "18-46-0"): 0.96}


@pytest.mark.parametrize("name", WEIGHED)
def test_what_was_left_on_the_way_is_weighed_true(audits: Audits, name: str) -> None:
    """Weighed left over what was put in, against the truth that the log's clock gives."""
    book, truth = audits.loads(name)
    for check, planted in zip(book.halfway, truth, strict=True):
        assert [w.verdict for w in check.weighings] == ["even"] * 4
        refill, end = check.weighings[1], check.weighings[3]
        for weighing, used_kg in ((refill, planted["used_kg"][0]), (end, sum(planted["used_kg"]))):
            # 20 lb steps twice for each filling that the supply is made of, 10 lb for the cells.
            allowed = 0.45359237 * (2 * 20 + 10 + 10)
            assert check.supply_kg - weighing.left_kg == pytest.approx(used_kg, abs=allowed)


def test_the_balance_of_the_season_leaves_what_was_lost(audits: Audits) -> None:
    """A torn tote is more than weighing errs; where nothing was lost weighing may explain it."""
    season = load_season(audits.directory / "season.toml")
    books = [audits.loads(name)[0] for name in FERTILIZED]
    balances = season_balances(books, season.products)
    assert [b.product for b in balances] == [s["product"] for s in audits.stock]
    for found, planted in zip(balances, audits.stock, strict=True):
        assert [u.source for u in found.usages] == ["scale", "meter", "scale"]
        assert found.unexplained_kg is not None
        assert found.unexplained_sigma_kg is not None
        missed = found.unexplained_kg - planted["lost_kg"]
        assert abs(missed) < 2 * found.unexplained_sigma_kg
        assert found.explained is (planted["lost_kg"] == 0)
        parts = planted["used_kg"] + planted["lost_kg"] + planted["left_kg"]
        assert parts == pytest.approx(planted["bought_kg"], abs=1e-3)
