"""The season's part of the report, tables and summary: needs, seed, salt and money."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from synthetic_season import ACRE, DAP, LB, job, make_ledger

from evenacre.planning.season.season_totals import Ledger, ledger
from evenacre.reports.pages.audit import document, render_season
from evenacre.reports.quantities import Display
from evenacre.reports.sentences.season import season_card
from evenacre.reports.tables.accounts import summary
from evenacre.reports.tables.season import season_frames, season_page_tables
from evenacre.units.display import METRIC, US

SQ_FT = 0.3048**2
HOSTILE = "<script>alert(1)</script>"


@pytest.fixture(scope="module")
def book() -> Ledger:
    return make_ledger()


def table(book: Ledger, title: str, units: object = US) -> list[tuple[str, ...]]:
    (found,) = [a for a in season_page_tables(book, Display(units)) if a.title == title]  # type: ignore[arg-type]
    assert all(len(row) == len(found.head) for row in found.rows)
    return list(found.rows)


def test_every_table_comes_out_in_both_units(book):
    titles = [a.title for a in season_page_tables(book, Display(US))]
    assert titles == [a.title for a in season_page_tables(book, Display(METRIC))]
    assert titles == [
        "Against what was needed",
        "What was put down",
        "Nutrients by field",
        "Nutrients by zone",
        "Product inside setbacks",
        "Seed",
        "Fertilizer with the seed",
        "Money",
    ]
    for account in season_page_tables(book, Display(METRIC)):
        words = " ".join(cell for row in account.rows for cell in row)
        assert "lb" not in words.replace("lb/ac", "lb")
        assert " ac" not in words


def test_the_list_for_a_landlord(book):
    starter, seeding = table(book, "What was put down")
    assert starter[:6] == (
        "Creek Forty",
        "18-46-0",
        "N 18 %, P2O5 46 %",
        "with the seed",
        "creek-fert.csv",
        "Apr 14, 2026",
    )
    assert starter[6] == "150 lb/ac"
    assert seeding[2] == "seed"


def test_seeds_per_square_foot_and_per_square_metre(book):
    # 15 lb/ac of clover at 270,000 seeds/lb and 98 % purity; 92 % of it alive.
    live = 15 * 270_000 * 0.98 * 0.92 / 43_560
    clover, _ = table(book, "Seed")
    assert clover[:3] == ("Creek Forty", "meadow", "red clover")
    assert float(clover[6]) == pytest.approx(live, rel=5e-3)
    clover, _ = table(book, "Seed", METRIC)
    assert float(clover[6].replace(",", "")) == pytest.approx(live / SQ_FT, rel=5e-3)


def test_salt_prints_its_inputs_its_source_and_its_caution(book):
    (account,) = [
        a for a in season_page_tables(book, Display(US)) if a.title == "Fertilizer with the seed"
    ]
    (row,) = account.rows
    assert row[3] == "S 1 in, T 15 %, C 0.5, R 7.5 in, M 1"
    # F = 30 x 1 x 15 / (0.5 x 7.5 x 1)
    assert row[4:7] == ("over", "150 lb/ac", "120 lb/ac")
    for words in ("South Dakota State University Extension", "screening", "local advice"):
        assert words in account.remark


def test_money_says_which_is_cheaper(book):
    starter, _ = table(book, "Money")
    assert starter[7].startswith("$")
    assert starter[9].startswith("own $")
    assert starter[9].endswith(("dearer", "cheaper"))


def test_the_answer_names_the_worst_need_first(book):
    card = season_card(book, US)
    assert card.headline == "1 of 2 needs met on average"
    (worst, text), (second, _) = card.lines[:2]
    assert (worst, second) == ("short", "met")
    assert "Creek Forty: " in text
    assert "of 100 lb/ac P2O5 on average" in text
    assert any("Overlap cost $" in line for _, line in card.lines)
    assert season_card(Ledger(), US) is None


def test_warnings_of_seed_and_salt_reach_the_page(book):
    season = render_season(book, US)
    page = document([], farm="Three Larks", inputs=[], warnings=[], season=season)
    assert 'id="season"' in page
    assert "may separate in the cart" in page
    assert "more was placed with the seed than the screening formula allows" in page
    assert page.count('<article class="card">') == 1


def test_nothing_put_down_leaves_no_section():
    assert render_season(Ledger(), US) is None
    assert 'id="season"' not in document([], farm="", inputs=[], warnings=[], season=None)


def test_names_are_text_and_never_markup():
    hostile = replace(DAP, name=HOSTILE)
    book = ledger([job(hostile, 150.0, "Starter", method=HOSTILE)], [], [hostile])
    season = render_season(book, US)
    assert HOSTILE not in season.section
    assert "&lt;script&gt;" in season.section


def test_tables_and_summary_agree(book):
    account = summary([], farm="", inputs=[], warnings=[], generated="", ledger=book)
    season = json.loads(json.dumps(account, allow_nan=False))["season"]
    made = season_frames(book, Display(US))
    assert list(made) == ["placements", "season_nutrients", "needs", "seed", "salt", "money"]
    for name, key in (("placements", "placements"), ("needs", "needs"), ("seed", "seed")):
        assert len(made[name]) == len(season[key])
    assert made["placements"]["total [lb]"].tolist() == pytest.approx(
        [p["total_kg"] / LB for p in season["placements"]], rel=1e-6
    )
    short = [n["short_m2"] / ACRE for n in season["needs"]]
    assert made["needs"]["short [ac]"].tolist() == pytest.approx(short, rel=1e-6)
    metric = season_frames(book, Display(METRIC))
    assert metric["seed"]["live seeds [per m²]"].tolist() == pytest.approx(
        (made["seed"]["live seeds [per sq ft]"] / SQ_FT).tolist(), rel=1e-6
    )


def test_a_summary_without_a_season_keeps_its_keys():
    account = summary([], farm="", inputs=[], warnings=[], generated="")
    assert "season" not in account
