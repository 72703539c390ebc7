"""A drill typed in wrong and a column guessed wrong, put right in a browser as a person would."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from small_farm import write_small_farm
from test_desk_drill import SEASON, write_towed
from test_desk_whole import fits, open_desk

import evenacre as ev
from evenacre.desk.farm import open_farm
from evenacre.desk.work import look

# The drill is 11 m behind its antenna: 2 m to the pin, 8 m to its axle, 1 m to the openers.
WRONG = """antenna_ahead = "2 m"
tow = [{ hitch_to_axle = "3 m" }]
tool_behind = "1 m\""""
LOOKED_OVER = "#job[data-state=done] >> text=Looking the season over"


def figures(season: Path) -> dict[str, Any]:
    (operation,) = ev.audit(season).summary["operations"]
    return dict(operation)


@pytest.mark.browser
def test_a_drill_typed_in_wrong_is_put_right(tmp_path: Path, visit: Callable[..., Any]) -> None:
    write_towed(tmp_path)
    season = tmp_path / "season.toml"
    metric = SEASON.replace('units = "us"', 'units = "metric"')
    season.write_text(metric.replace('tool_behind = "0 ft"', WRONG.replace("3 m", "8 m")))
    right = figures(season)
    season.write_text(metric.replace('tool_behind = "0 ft"', WRONG))
    wrong = figures(season)
    with open_desk(tmp_path) as address:
        home = address.partition("/enter")[0]
        tab = visit(address, 1280)
        tab.goto(f"{home}/season/implement/0")
        tab.wait_for_selector("#rig[data-drawn]")
        fits(tab)
        # The box that has the focus is lit on the drawing, and a figure of it leads to its box.
        tab.locator("[name='tool_behind']").focus()
        assert tab.locator(".rig .measure.lit").get_attribute("data-box") == "tool_behind"
        tab.locator(".rig .named[data-box='tow.0.hitch_to_axle'] text").click()
        assert tab.evaluate("document.activeElement.name") == "tow.0.hitch_to_axle"
        tab.get_by_role("button", name="Ask the logs").click()
        offer = tab.get_by_role("button", name=re.compile("Hitch to axle: .* instead of 3.00 m"))
        offer.click()
        # It stands in the form and on the drawing, and nothing is kept yet.
        tab.wait_for_selector(".rig .named[data-box='tow.0.hitch_to_axle']:not(:has-text(': 3 m'))")
        assert "3 m" in season.read_text()
        fits(tab)
        tab.get_by_role("button", name="Keep it").click()
        tab.wait_for_selector("text=Undo the last change")
        tab.goto(home)
        tab.wait_for_selector(LOOKED_OVER)

        narrow = visit(address, 360)
        narrow.goto(f"{home}/season/implement/0")
        narrow.wait_for_selector("#rig[data-drawn]")
        fits(narrow)
        # The drawing stays in sight, and no box that has the focus lies under it.
        narrow.locator("[name='delay']").focus()
        shown = narrow.locator(".rig").bounding_box()
        box = narrow.locator("[name='delay']").bounding_box()
        assert 0 <= shown["y"] < shown["y"] + shown["height"] <= box["y"]
        # So does its account in words lead to the boxes.
        narrow.get_by_text("The drawing in words").click()
        narrow.locator("#rig-words a", has_text="Hitch to axle").click()
        assert narrow.evaluate("document.activeElement.name") == "tow.0.hitch_to_axle"
        narrow.locator("[name='width']").fill("9 m")
        narrow.wait_for_selector(".rig .named[data-box='width']:has-text('9 m')")
        for one in (tab, narrow):  # which would ask for the desk while it is audited
            one.context.close()
    now = figures(season)
    for figure in ("covered_area_m2", "skip_area_m2", "overlap_area_m2"):
        assert abs(wrong[figure] - right[figure]) > 100
        assert abs(now[figure] - right[figure]) < 0.35 * abs(wrong[figure] - right[figure])


@pytest.mark.browser
def test_a_column_guessed_wrong_is_put_right(tmp_path: Path, visit: Callable[..., Any]) -> None:
    """The rate that was wanted is named like one that was logged, and the other has no unit."""
    write_small_farm(tmp_path)
    log, season = tmp_path / "log.csv", tmp_path / "season.toml"
    head, *records = log.read_text().splitlines()
    head = head.replace("rate [lb/ac]", "applied rate [lb/ac]")
    log.write_text("\n".join([f"{head},meter", *(f"{one},120" for one in records)]) + "\n")
    wrong = figures(season)["products"][0]["logged_kg"]
    look(lambda _: None, open_farm(tmp_path))
    with open_desk(tmp_path) as address:
        home = address.partition("/enter")[0]
        tab = visit(address, 360)
        tab.get_by_text("What was read, and guessed").click()
        tab.get_by_role("link", name="Put right what was guessed").click()
        tab.wait_for_selector("text=Columns of log.csv")
        fits(tab)
        assert "150" in tab.locator("tr", has_text="applied rate").inner_text()
        tab.get_by_label("applied rate [lb/ac]", exact=True).select_option("not used")
        tab.get_by_label("meter", exact=True).select_option("rate")
        tab.get_by_label("Unit of meter").select_option("lb/ac")
        assert tab.get_by_label("Unit of lon").is_hidden()
        tab.get_by_role("button", name="Keep it").last.click()
        tab.wait_for_selector(LOOKED_OVER)
        wide = visit(address, 1280)
        wide.goto(f"{home}/columns/0")
        fits(wide)
        assert wide.locator("tr", has_text="meter").get_by_text("said in the season").is_visible()
        wide.goto(f"{home}/season")
        assert wide.get_by_role("button", name="Undo the last change").is_visible()
        for one in (tab, wide):
            one.context.close()
    (job,) = tomllib.loads(season.read_text())["operation"]
    assert job["columns"] == {"rate": "meter [lb/ac]"}
    assert figures(season)["products"][0]["logged_kg"] == pytest.approx(wrong * 120 / 150)
