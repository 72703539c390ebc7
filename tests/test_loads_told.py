"""Load tickets from the season file to the report, the tables, the summary and the terminal."""

from __future__ import annotations

import html
import json
import re
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from cli_jobs import evenacre, records_of, small_job, write_files, write_log

RYE = "rye <best>"
RATE_KG_PER_M2 = 0.0168
GROUND_M2 = 3 * 60 * 6.096
SEASON = f"""
[[product]]
name = "{RYE}"
bought = "100 kg"
left = "70 kg"
[[implement]]
name = "drill"
width = "6.096 m"
[[field]]
name = "Creek"
boundary = "field.geojson"
[[operation]]
name = "Seeding"
field = "Creek"
implement = "drill"
tracks = ["log.csv"]
products = [ {{ product = "{RYE}", rate = "168 kg/ha" }} ]
loads = "loads.csv"
"""


@dataclass(frozen=True)
class Told:
    out: Path
    said: str
    account: dict[str, Any]

    @property
    def page(self) -> str:
        return html.unescape((self.out / "report.html").read_text(encoding="utf-8"))

    def table(self, name: str) -> pd.DataFrame:
        return pd.read_csv(self.out / "tables" / f"{name}.csv")


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Told:
    """20 kg went out by scale where the meter counts 18.4; 3 kg more went nobody knows where."""
    home = tmp_path_factory.mktemp("loads")
    files = write_files(home)
    job = small_job()
    log = records_of(replace(job, drives=(job.drives[0].with_rate(RYE, RATE_KG_PER_M2),)))
    write_log(files.log, log)
    times = list(log["time"])
    lines = [
        "time,field,event,product,weight,weighed by",
        f"{times[0]},Creek,filled,{RYE},21 kg,scale 0.1 kg",
        f"{times[len(times) // 2]},Creek,remaining,{RYE},11 kg,scale 0.1 kg",
        f"{times[-1]},Creek,cleaned out,{RYE},1 kg,scale 0.1 kg",
        f",,filled,{RYE},3 kg,scale 0.1 kg",
    ]
    (home / "loads.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    (home / "season.toml").write_text(SEASON, encoding="utf-8")
    ran = evenacre("audit", home / "season.toml", "--units", "metric", "--out", files.out)
    assert ran.code == 0, ran
    account = json.loads((files.out / "summary.json").read_text(encoding="utf-8"))
    return Told(files.out, ran.out, account)


def test_the_summary_holds_loads_half_way_checks_and_the_balance(told: Told) -> None:
    (operation,) = told.account["operations"]
    (loads,) = operation["loads"]
    assert loads["together"]["scale"]["kg"] == pytest.approx(20)
    metered = RATE_KG_PER_M2 * GROUND_M2
    assert loads["together"]["meter"]["kg"] == pytest.approx(metered, rel=5e-3)
    assert loads["meter_correction"]["factor"] == pytest.approx(20 / metered, rel=5e-3)
    (check,) = operation["halfway"]
    assert check["supply_kg"] == pytest.approx(21)
    assert [w["left_kg"] for w in check["weighings"]] == pytest.approx([11, 1])
    (balance,) = told.account["season"]["balance"]
    assert balance["unexplained_kg"] == pytest.approx(100 - 20 - 70)
    assert balance["without_field_kg"] == pytest.approx(3)


def test_scale_against_meter_is_said_once_at_the_top_and_on_the_terminal(told: Told) -> None:
    metered = RATE_KG_PER_M2 * GROUND_M2
    share = 100 * (20 / metered - 1)
    (figure,) = re.findall(rf"([\d.]+) % more {RYE}", told.said)
    assert float(figure) == pytest.approx(share, abs=0.6)
    cards = told.page.partition("</article>")[0]
    assert cards.count(f"{figure} % more {RYE}") == 1
    assert f"+{share:.0f}" in told.page or f"+{share:.1f}" in told.page


def test_the_report_has_the_chart_beside_the_maps(told: Told) -> None:
    assert (told.out / "maps" / "halfway_rye-best.svg").read_bytes().startswith(b"<svg")
    assert "maps/halfway_rye-best.svg" in told.account["files"]
    assert re.search(f"{RYE}: (coming out even|too (much|little) left) with ", told.page)
    assert f"Map of the rate of {RYE} over the field" in told.page
    assert "Loads of rye <best>" in told.page
    assert "Bought, used and left" in told.page
    assert "<best>" not in (told.out / "report.html").read_text(encoding="utf-8")


def test_tables_hold_what_the_summary_holds(told: Told) -> None:
    assert told.table("loads")["by scale [kg]"].tolist() == [20]
    assert told.table("meter_corrections")["change it"].tolist() == ["yes"]
    assert told.table("weighings")["product left [kg]"].tolist() == [11, 1]
    mass = told.table("balance").set_index("what")["mass [kg]"]
    assert mass["bought"] == pytest.approx(mass[["used", "left", "unexplained"]].sum())


def test_a_ticket_without_a_field_is_warned_of_everywhere(told: Told) -> None:
    (operation,) = told.account["operations"]
    said = [w for w in operation["warnings"] if "names no field" in w]
    assert len(said) == 1
    assert said[0] in told.said
    assert said[0] in told.page


def test_oddities_of_loads_are_warnings_of_the_operation(tmp_path: Path) -> None:
    """Nothing was weighed after the last filling."""
    files = write_files(tmp_path)
    job = small_job()
    log = records_of(replace(job, drives=(job.drives[0].with_rate(RYE, RATE_KG_PER_M2),)))
    write_log(files.log, log)
    (tmp_path / "loads.csv").write_text(f"event,product,weight\nfilled,{RYE},21 kg\n")
    (tmp_path / "season.toml").write_text(SEASON, encoding="utf-8")
    ran = evenacre("audit", tmp_path / "season.toml", "--out", files.out, "--fail-on", "warning")
    assert ran.code == 1, ran
    account = json.loads((files.out / "summary.json").read_text(encoding="utf-8"))
    (operation,) = account["operations"]
    (warning,) = [w for w in operation["warnings"] if "nothing was weighed after" in w]
    assert operation["loads"][0]["warnings"] == [warning]
    assert warning in ran.out
    assert "meter_corrections.csv" not in " ".join(account["files"])


def test_without_tickets_the_keys_are_there_and_empty(tmp_path: Path) -> None:
    files = write_files(tmp_path)
    ran = evenacre("audit", *files.options())
    assert ran.code == 0, ran
    account = json.loads((files.out / "summary.json").read_text(encoding="utf-8"))
    assert account["schema"] == "evenacre/summary/1.8"
    assert account["operations"][0]["loads"] == []
    assert account["operations"][0]["halfway"] == []
    assert account["season"]["balance"] == []
    names = " ".join(account["files"])
    assert not any(n in names for n in ("halfway", "loads.csv", "weighings", "balance"))
