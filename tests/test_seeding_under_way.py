"""A season under way: what the logs show as seeded is done, and the rest is planned."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
import shapely
from cli_jobs import evenacre
from driven import driven
from pastures import paddock, seeding
from test_interseed_command import LB_KG, NO_FENCES, write_season

from evenacre.coverage.audit import audit_operation
from evenacre.geo.overlay import union, valid
from evenacre.model import Application, Grazing, Paddock
from evenacre.model.audit_result import AuditResult
from evenacre.planning.interseeding.plan import drive_of, plan_interseeding
from evenacre.planning.interseeding.progress import Progress, passes_left, progress_of
from evenacre.planning.passes.pass_types import PassPlan
from evenacre.planning.passes.plan import plan_passes

RULES = seeding()
TODAY = dt.date(2026, 8, 20)


def ready(acres: float = 6.0) -> Paddock:
    return paddock("A", acres, window=(dt.date(2026, 8, 1), dt.date(2026, 9, 15)))


def first_passes(plan: PassPlan, count: int) -> PassPlan:
    return replace(plan, passes=plan.passes[:count], turns=plan.turns[: count - 1])


def seeded(plan: PassPlan, ground: Paddock, count: int, **changes: object) -> AuditResult:
    """The audit of a drive over the first passes of a plan."""
    job = driven(first_passes(plan, count), ground.field)
    seed = Application(RULES.product, RULES.rate_kg_per_m2)
    return audit_operation(replace(job, applications=(seed,), **changes))  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def half() -> tuple[Paddock, PassPlan, int, Progress]:
    ground = ready()
    plan = plan_passes(ground.field, drive_of(RULES))
    count = len(plan.passes) // 2
    result = seeded(plan, ground, count)
    return ground, plan, count, progress_of(TODAY, RULES.product, ["A"], [result])


def test_the_passes_that_are_left_are_those_that_were_not_driven(
    half: tuple[Paddock, PassPlan, int, Progress],
) -> None:
    ground, plan, count, progress = half
    rest = passes_left(plan, progress.done["A"].cover)
    wanted = plan.passes[count:]
    assert [(p.kind, p.number) for p in rest.passes] == [(p.kind, p.number) for p in wanted]
    length = sum(p.line.length for p in wanted)
    # A pass that crosses a headland round, or begins beside one, is that much shorter.
    assert rest.work_m == pytest.approx(length, rel=0.02)
    assert rest.work_m <= length + 1e-6
    total = progress.done["A"].area_m2 + rest.covered_m2
    assert total == pytest.approx(plan.covered_m2, rel=0.01)
    driven_ground = union(shapely.buffer([p.line for p in rest.passes], 3.0, cap_style="flat"))
    covered = union(valid(plan.plane.project(progress.done["A"].cover)))
    again = driven_ground.intersection(covered).area
    assert again < 0.02 * plan.covered_m2
    assert ground.field.name == rest.field


def test_seed_days_and_the_rest_of_the_plan(
    half: tuple[Paddock, PassPlan, int, Progress],
) -> None:
    ground, plan, _, progress = half
    done = progress.done["A"]
    assert done.seed_kg == pytest.approx(done.area_m2 * RULES.rate_kg_per_m2, rel=0.03)
    rules = replace(RULES, on_hand_kg=30.0)
    made = plan_interseeding(Grazing((), (ground,)), rules, progress=progress)
    (only,) = made.paddocks
    assert made.visits[0].day == TODAY
    assert not any(d.full_s for d in made.days if d.day < TODAY)
    assert (only.window.opens if only.window else None) == dt.date(2026, 8, 1)
    assert made.seeding.on_hand_kg == pytest.approx(30.0 - (done.seed_kg or 0.0))
    assert only.seeded_m2 + done.area_m2 == pytest.approx(plan.covered_m2, rel=0.01)
    assert sum(v.share for v in only.visits) == pytest.approx(1.0)


def test_a_paddock_that_is_seeded_whole_is_done() -> None:
    ground, other = ready(2.0), paddock("B", 3.0, 1, window=(TODAY, TODAY))
    plan = plan_passes(ground.field, drive_of(RULES))
    result = seeded(plan, ground, len(plan.passes))
    progress = progress_of(TODAY, RULES.product, ["A", "B"], [result])
    made = plan_interseeding(Grazing((), (ground, other)), RULES, progress=progress)
    first, second = made.paddocks
    assert first.finished
    assert not first.visits
    assert not second.finished
    assert [v.paddock for v in made.visits] == ["B"]
    last = progress.done["A"].last_day
    assert last is not None
    assert first.graze_from == last + dt.timedelta(days=RULES.ungrazed_days)


def test_another_seed_does_not_count_and_nothing_done_is_told() -> None:
    ground = ready(2.0)
    plan = plan_passes(ground.field, drive_of(RULES))
    other = Application(replace(RULES.product, name="oats"), 0.001)
    result = audit_operation(replace(driven(plan, ground.field), applications=(other,)))
    progress = progress_of(TODAY, RULES.product, ["A"], [result])
    assert not progress.done
    assert {f.code for f in progress.findings} == {"other_seed", "nothing_done"}


def log_of(folder: Path, count: int) -> str:
    """A log of the first passes of the first paddock as the plan has them."""
    plan = json.loads((folder / "evenacre-plan" / "plan.json").read_text("utf-8"))
    assert plan["paddocks"][0]["paddock"] == "Creek 1"
    from evenacre.io.season.load import load_season

    season = load_season(folder / "season.toml", logs=False, must_hold="seeding")
    assert season.grazing is not None
    assert season.seeding is not None
    field = season.grazing.paddocks[0].field
    passes = plan_passes(field, drive_of(season.seeding))
    (track,) = driven(first_passes(passes, count), field).tracks
    times = pd.to_datetime(track.time_s, unit="s", utc=True)
    pd.DataFrame(
        {"time": times, "lat": track.lat, "lon": track.lon, "working": track.working.astype(int)}
    ).to_csv(folder / "creek.csv", index=False)
    return (
        '\n[[operation]]\nname = "Clover"\nfield = "Creek 1"\nimplement = "drill"\n'
        'tracks = ["creek.csv"]\nproducts = [{ product = "red clover", rate = "10 lb/ac" }]\n'
        '\n[[field]]\nname = "Creek 1"\nboundary = { file = "pasture.gpkg", '
        'where = { name = "Creek 1" } }\n'
    )


def test_the_command_plans_the_rest_from_a_day_on(tmp_path: Path) -> None:
    file = write_season(
        tmp_path,
        ('rate = "10 lb/ac"', 'rate = "10 lb/ac"\non_hand = "300 lb"'),
        NO_FENCES,
        ('name = "Creek 1"\nfence = false\n', 'name = "Creek 1"\n'),  # the one that is driven
    )
    assert evenacre("interseed", file, "-q").code == 0
    with file.open("a", encoding="utf-8") as stream:
        stream.write(log_of(tmp_path, 20))
    asked = ("--from", "2026-08-12", "--in-cart", "60 lb", "--json")
    ran = evenacre("interseed", file, *asked)
    assert ran.code == 0, ran.err
    account = json.loads(ran.out)
    first, *others = account["paddocks"]
    assert first["done_m2"] > 1000.0
    assert first["done_m2"] + first["goal_m2"] == pytest.approx(180.0**2, rel=0.01)
    assert [p["done_m2"] for p in others] == [0.0, 0.0]
    assert account["seed"]["on_hand_kg"] == pytest.approx(300 * LB_KG - first["done_kg"])
    assert account["first_day"] >= "2026-08-12"
    assert account["fills"][0]["left_kg"] >= 0.0
    put_in = sum(fill["mass_kg"] for fill in account["fills"])
    assert put_in == pytest.approx(account["seed"]["used_kg"] - 60 * LB_KG)
    assert account["rules"]["from_day"] == "2026-08-12"
    # Held against the same logs, what was done is as it was planned.
    plan = tmp_path / "evenacre-plan" / "plan.json"
    audited = evenacre("audit", file, "--plan", plan, "--json")
    assert audited.code == 0, audited.err
    compared = json.loads(audited.out)["planned_done"]["paddocks"][0]
    assert compared["standing"] == "done"
    assert compared["done"]["area_m2"] == pytest.approx(first["done_m2"])
    for words in (("--from", "soon"), ("--from-today", "--from", "2026-08-12")):
        refused = evenacre("interseed", file, *words)
        assert refused.code == 2
        assert any("--from" in line for line in refused.errors())
    refused = evenacre("interseed", file, "--in-cart", "900 lb")
    assert refused.code == 2
    assert any("in_cart" in line and "150 lb" in line for line in refused.errors())
