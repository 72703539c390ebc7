"""The account and the tables of an interseeding plan: whole, in SI or shown units, adding up."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from plans import (
    LOAD,
    ON_HAND,
    RATE,
    WIDTH,
    assert_days_end_with_a_pass,
    empty_plan,
    make_plan,
)

from evenacre import __version__
from evenacre.io.season.load import load_season
from evenacre.model import InputFile, Paddock
from evenacre.planning.interseeding.plan import plan_interseeding
from evenacre.planning.interseeding.plan_types import InterseedPlan
from evenacre.reports.quantities import Display
from evenacre.reports.tables.accounts import interseed_account
from evenacre.reports.tables.interseeding import interseed_frames
from evenacre.reports.tables.interseeding_days import loads
from evenacre.units.display import METRIC, US, UnitSystem

ACRE_M2 = 4046.8564224  # international foot: NIST SP 811, appendix B.8
POUND_KG = 0.45359237


def account(plan: InterseedPlan) -> dict[str, Any]:
    made = interseed_account(
        plan,
        farm="Three Larks Farm",
        generated="2026-03-01T12:00:00+00:00",
        inputs=[InputFile("season.toml", "ab" * 32)],
        warnings=["The map file was mended."],
        time_zone="America/Chicago",
    )
    # What a reader of the file gets; NaN or a date would stop it here.
    back: dict[str, Any] = json.loads(json.dumps(made, allow_nan=False))
    assert back == made
    return back


@pytest.fixture(scope="module")
def told() -> dict[str, Any]:
    return account(make_plan())


def test_the_account_says_what_it_is_and_what_it_read(told: dict[str, Any]) -> None:
    assert list(told)[:2] == ["schema", "program"]
    assert told["schema"] == "evenacre/plan/1.7"
    assert told["program"] == {"name": "evenacre", "version": __version__}
    read = {"path": "season.toml", "sha256": "ab" * 32, "size_bytes": None}
    assert told["inputs"] == [read]
    assert told["time_zone"] == "America/Chicago"
    assert told["warnings"] == [
        "The map file was mended.",
        "Forage in Creek 3 is short by 1.2 days.",
    ]
    assert account(make_plan()) == told


def test_seeded_ground_and_seed_add_up_over_visits_and_fills(told: dict[str, Any]) -> None:
    visits = [v for p in told["paddocks"] for v in p["visits"]]
    assert told["seeded_m2"] == pytest.approx(sum(v["area_m2"] for v in visits), rel=1e-9)
    assert told["seed"]["used_kg"] == pytest.approx(sum(v["seed_kg"] for v in visits), rel=1e-9)
    assert told["seed"]["used_kg"] + told["seed"]["left_kg"] == pytest.approx(ON_HAND, rel=1e-9)
    for p in told["paddocks"]:
        assert p["seeded_m2"] == pytest.approx(sum(v["area_m2"] for v in p["visits"]), abs=1e-6)
        assert p["seed_kg"] == pytest.approx(sum(v["seed_kg"] for v in p["visits"]), abs=1e-9)
        poured = sum(
            s["seed_kg"] for f in told["fills"] for s in f["serves"] if s["paddock"] == p["paddock"]
        )
        assert poured == pytest.approx(p["seed_kg"], abs=1e-6)
    for fill in told["fills"]:
        assert fill["mass_kg"] <= LOAD + 1e-9
        assert sum(s["seed_kg"] for s in fill["serves"]) == pytest.approx(fill["mass_kg"])
        # Three parts of clover to two of grass.
        assert [part["mass_kg"] for part in fill["parts"]] == pytest.approx(
            [0.6 * fill["mass_kg"], 0.4 * fill["mass_kg"]]
        )


def test_seed_is_metered_over_the_ground_that_is_driven(told: dict[str, Any]) -> None:
    for p in told["paddocks"]:
        if p["to_be_seeded"]:
            driven = p["share"] * p["passes"]["work_m"] * WIDTH
            assert p["seed_kg"] == pytest.approx(driven * RATE, abs=1e-9)


def test_windows_are_of_iso_days_and_visits_lie_in_them(told: dict[str, Any]) -> None:
    paddocks = {p["paddock"]: p for p in told["paddocks"]}
    assert paddocks["Hill"]["window"] is None
    assert paddocks["Creek 3"]["window"]["opens"] is None
    assert paddocks["Creek 3"]["window"]["spells"] == []
    assert paddocks["Creek 1"]["window"] == {
        "opens": "2026-04-10",
        "closes": "2026-04-23",
        "opened_by": "herd",
        "closed_by": "close",
        "left": "2026-04-10",
        "back": "2026-05-10",
        "spells": [{"first": "2026-04-10", "last": "2026-04-23"}],
    }
    for p in paddocks.values():
        for v in p["visits"]:
            assert p["window"]["opens"] <= v["date"] <= p["window"]["closes"]
            seeded = dt.date.fromisoformat(v["date"])
            assert dt.date.fromisoformat(p["graze_from"]) >= seeded + dt.timedelta(days=45)


def test_visits_are_numbered_in_order_of_time(told: dict[str, Any]) -> None:
    visits = sorted(
        (v for p in told["paddocks"] for v in p["visits"]),
        key=lambda v: (v["date"], v["start_s"]),
    )
    assert [v["order"] for v in visits] == [1, 2, 3, 4, 5]
    assert (told["first_day"], told["last_day"]) == (visits[0]["date"], visits[-1]["date"])


def test_herd_days_and_what_to_relax_are_all_there(told: dict[str, Any]) -> None:
    assert len(told["herd"]["stays"]) == 7
    assert {s["kind"] for s in told["herd"]["shortages"]} == {"forage", "rest"}
    assert sum(s["days"] for s in told["herd"]["stays"]) * 570.0 == pytest.approx(
        sum(s["eaten_kg"] for s in told["herd"]["stays"])
    )
    assert [d["date"] for d in told["days"] if d["lost"]] == ["2026-04-09", "2026-04-21"]
    assert [d["booked_for"] for d in told["days"] if d["booked_s"]] == [["oats on the bench"]]
    assert [r["rule"] for r in told["relaxations"]] == [
        "seed",
        "residual",
        "booked: oats on the bench",
    ]


def test_a_load_that_is_smaller_than_the_cart_holds_is_explained() -> None:
    plan = make_plan()
    whole, _ = loads(plan)
    first, *rest = plan.fills
    less = replace(first, mass_kg=first.mass_kg - 1.0)
    table, _ = loads(replace(plan, fills=(less, *rest)))
    assert len(str(table.remark)) > len(str(whole.remark))


def test_an_account_of_a_plan_in_which_nothing_can_be_seeded() -> None:
    told = account(empty_plan())
    assert told["seeded_m2"] == 0
    assert told["first_day"] is None
    assert told["seed"]["left_kg"] is None
    assert told["fills"] == []
    assert told["cautions"] == []


@pytest.mark.parametrize(("units", "area", "mass"), [(US, "ac", "lb"), (METRIC, "ha", "kg")])
def test_tables_are_in_the_readers_units(units: UnitSystem, area: str, mass: str) -> None:
    plan = make_plan()
    made = interseed_frames(plan, Display(units))
    assert list(made) == ["paddocks", "days", "fills", "moves", "passes"]
    per_area = ACRE_M2 if area == "ac" else 10_000.0
    per_mass = POUND_KG if mass == "lb" else 1.0
    seeded = made["days"][f"area [{area}]"].to_numpy() * per_area
    assert seeded == pytest.approx([v.area_m2 for v in plan.visits], rel=1e-6)
    assert made["paddocks"][f"seeded [{area}]"].sum() * per_area == pytest.approx(seeded.sum())
    assert made["days"][f"seed [{mass}]"].to_numpy() * per_mass == pytest.approx(
        [v.seed_kg for v in plan.visits], rel=1e-6
    )
    assert made["fills"][f"load [{mass}]"].sum() * per_mass == pytest.approx(plan.seed_used_kg)
    clover = made["fills"][f"red clover [{mass}]"] / made["fills"][f"load [{mass}]"]
    assert clover.to_numpy() == pytest.approx(np.full(3, 0.6))
    for table in made.values():
        assert not any("[lb" in name for name in table.columns) or mass == "lb"


def test_tables_keep_the_order_of_time() -> None:
    made = interseed_frames(make_plan(), Display(US))
    when = [*zip(made["days"]["date"], made["days"]["start"], strict=True)]
    assert when == sorted(when)
    assert made["days"]["paddock"].tolist() == ["Creek 1", "Bottom", "Bottom", "Draw", "Oak Flat"]
    assert made["moves"]["enter"].is_monotonic_increasing
    assert made["fills"]["fill"].tolist() == [1, 2, 3]


def test_a_paddock_that_stays_shut_says_why() -> None:
    table = interseed_frames(make_plan(), Display(US))["paddocks"].set_index("paddock")
    assert table.loc["Creek 3", "shut because"] == "too much is left standing"
    assert table.loc["Creek 1", "opens because"] == "the herd leaves"
    assert table.loc["Creek 1", "closes because"] == "14 days after the herd"
    assert table.loc["Hill", "to be seeded"] == "no"


def test_tables_without_rows_keep_their_heads() -> None:
    made = interseed_frames(empty_plan(), Display(US))
    for name in ("days", "fills", "moves"):
        assert isinstance(made[name], pd.DataFrame)
        assert made[name].empty
        assert len(made[name].columns)


def test_the_sample_farm_ends_days_and_loads_with_a_pass(sample_farm: Path) -> None:
    season = load_season(sample_farm / "season.toml", must_hold="seeding")
    assert season.grazing is not None
    assert season.seeding is not None
    plain = replace(season.grazing, paddocks=tuple(map(unfenced, season.grazing.paddocks)))
    short = replace(season.seeding, hours_most_s=5400.0, closes_after_days=3)
    plan = plan_interseeding(plain, short, time_zone="America/Chicago")
    assert_days_end_with_a_pass(plan)
    assert any(len(paddock.visits) > 1 for paddock in plan.paddocks)
    assert all(f.into_pass == 0 for f in plan.fills)


def unfenced(paddock: Paddock) -> Paddock:
    """Passes are laid ten times as fast."""
    return replace(paddock, field=replace(paddock.field, fenced=False))
