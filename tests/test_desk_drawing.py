"""Paddocks drawn by hand in a browser, with mouse, fingers and keys, up to the plan of seeding."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from cli_jobs import evenacre
from geographiclib.geodesic import Geodesic
from pages import rest
from test_desk_whole import fits, open_desk
from test_interseed_command import SEASON as SMALL_SEASON

from evenacre.desk.jobs import Board

ACRE_M2 = 4046.8564224  # NIST SP 811
READY = "#ground-map[data-drawing=ready]"
SEASON = SMALL_SEASON[SMALL_SEASON.index("[[product]]") :]
FORMS = {
    kind: {key: str(value) for key, value in (one[0] if isinstance(one, list) else one).items()}
    for kind, one in tomllib.loads(SEASON).items()
    if kind != "paddocks"  # which are drawn
}


@pytest.fixture(autouse=True)
def _season_is_not_looked_over(monkeypatch: pytest.MonkeyPatch) -> None:
    """After each change, in a process of its own: what comes of it is on no page seen here."""
    monkeypatch.setattr(Board, "start_in_turn", lambda *_: None)


class Hand:
    """A person at the drawing page."""

    def __init__(self, tab: Any, home: str) -> None:
        self.tab, self.home = tab, home

    def open(self, link: str) -> None:
        self.tab.get_by_role("link", name=link, exact=True).click()
        self.tab.wait_for_selector(READY)

    def press(self, x: float, y: float) -> None:
        """Press on the map, so many pixels from its corner."""
        box = self.tab.locator("#ground-map").bounding_box()
        self.tab.mouse.click(box["x"] + x, box["y"] + y)

    def pull(self, dot: Any, x: float, y: float) -> None:
        box = dot.bounding_box()
        start = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        self.tab.mouse.move(*start)
        self.tab.mouse.down()
        self.tab.mouse.move(start[0] + x / 2, start[1] + y / 2)
        self.tab.mouse.move(start[0] + x, start[1] + y)
        self.tab.mouse.up()

    def corner(self, number: int) -> Any:
        return self.tab.locator(f".dot.corner[aria-label^='Corner {number} of']")

    def corners(self) -> list[tuple[float, float]]:
        text = self.tab.locator("#corners").input_value()
        return [tuple(map(float, line.split(", "))) for line in text.split("\n") if line]  # type: ignore[misc]

    def told(self) -> str:
        """What is said of the drawing as it stands now."""
        self.tab.wait_for_selector("#drawing:not([data-asks]):not(:has(.waits))")
        return str(self.tab.locator("#size").inner_text())

    def acres_told(self) -> float:
        return float(self.told().partition(" ac")[0])

    def keep(self, button: str = "Keep it") -> None:
        self.tab.get_by_role("button", name=button).click()
        self.tab.wait_for_selector("#ground-map[data-ready]:not([data-drawing])")


def acres(corners: list[tuple[float, float]]) -> float:
    ring = Geodesic.WGS84.Polygon()
    for lat, lon in corners:
        ring.AddPoint(lat, lon)
    return abs(float(ring.Compute()[2])) / ACRE_M2


def plan_in(folder: Path) -> dict[str, Any]:
    """A plan, but for the names of files and when it was made."""
    plan = json.loads((folder / "plan.json").read_bytes())
    apart = ("inputs", "files", "sha256", "generated", "account_sha256")
    return {key: value for key, value in plan.items() if key not in apart}


@pytest.mark.browser
def test_from_an_empty_folder_to_a_plan_of_seeding(
    tmp_path: Path, visit: Callable[..., Any]
) -> None:
    farm = tmp_path / "farm"
    with open_desk(farm) as address:
        home = address.partition("/enter")[0]
        hand = Hand(tab := visit(address, 1280), home)
        tab.goto(f"{home}/ground")
        fits(tab)
        hand.open("Draw a paddock")
        fits(tab)
        # On an empty farm the map begins with the whole world.
        hand.press(300, 200)
        assert tab.locator("#corners").input_value() == ""
        assert "Come nearer first" in tab.locator("#to-place-wrong").inner_text()
        tab.fill("#to-place", "40.1N 92.6W")
        with tab.expect_response("**/ground/place"):
            tab.get_by_role("button", name="Show it").click()
        rest(tab)
        for x, y in ((250, 120), (350, 120), (350, 260), (250, 260)):
            hand.press(x, y)
        tab.fill("#name", "West")
        assert hand.acres_told() == pytest.approx(acres(hand.corners()), rel=5e-3)
        hand.keep()

        # The second stands beside it: pressed near the fence, on the fence.
        tab.goto(f"{home}/ground")
        hand.open("Draw a paddock")
        west = tab.locator("path.shape.paddock").bounding_box()
        frame = tab.locator("#ground-map").bounding_box()
        right, top = west["x"] + west["width"] - frame["x"], west["y"] - frame["y"]
        tab.fill("#name", "East")
        tab.locator(".leaflet-control-zoom-out").click()
        rest(tab)
        west = tab.locator("path.shape.paddock").bounding_box()
        right, top = west["x"] + west["width"] - frame["x"], west["y"] - frame["y"]
        for x, y in ((6, 5), (150, 0), (150, 120), (-4, 90)):
            hand.press(right + x, top + y)
        hand.told()
        hand.keep()

        # A corner pulled, an arrow pressed, one step back.
        hand.open("Move its corners")
        before = hand.corners()
        hand.pull(hand.corner(3), 40, 30)
        moved = hand.corners()
        assert [one == other for one, other in zip(before, moved, strict=True)] == [True] * 2 + [
            False,
            True,
        ]
        hand.corner(2).focus()
        tab.keyboard.press("ArrowUp")
        north = hand.corners()[1][0] - moved[1][0]
        assert north * 111_000 == pytest.approx(1, abs=0.02)
        tab.keyboard.press("Control+z")
        assert hand.corners() == moved
        assert hand.acres_told() == pytest.approx(acres(moved), rel=5e-3)
        hand.keep()

        # A corner of both, pulled or typed, moves in both.
        tab.get_by_role("link", name="Move its corners").click()
        tab.wait_for_selector(READY)
        shared = hand.corners()
        hand.pull(hand.corner(1), 0, -30)
        hand.told()
        assert "West moves along: it is " in tab.locator("#notes").inner_text()
        tab.keyboard.press("Control+z")
        assert hand.corners() == shared
        lat, lon = shared[0]
        text = tab.locator("#corners").input_value().split("\n")
        text[0] = f"{lat + 1e-4:.9f}, {lon:.9f}"
        tab.locator("#corners").fill("\n".join(text))
        tab.locator(".tick input").first.focus()
        hand.told()
        assert "West moves along: it is " in tab.locator("#notes").inner_text()
        tab.locator("#leave").click()
        tab.wait_for_selector("#ground-map[data-ready]:not([data-drawing])")

        # A line across.
        tab.get_by_role("link", name="All of the ground").click()
        tab.get_by_role("link", name=re.compile("^West")).click()
        hand.open("Split it by a line")
        west = tab.locator("path.shape.this").bounding_box()
        frame = tab.locator("#ground-map").bounding_box()
        middle = west["y"] - frame["y"] + west["height"] / 2
        hand.press(west["x"] - frame["x"] - 20, middle - 20)
        hand.press(west["x"] - frame["x"] + west["width"] + 30, middle + 10)
        assert " and " in hand.told()
        hand.keep("Split it")
        fits(tab)

        for kind, boxes in FORMS.items():
            tab.goto(f"{home}/season/{kind}/new")
            for name, text in boxes.items():
                box = tab.locator(f"[id='{name}']")
                box.select_option(text) if name == "kind" else box.fill(text)
            tab.get_by_role("button", name="Keep it").click()
            tab.wait_for_url(f"{home}/season")
        tab.goto(f"{home}/work/seeding")
        tab.get_by_role("button", name="Plan the seeding").click()
        tab.wait_for_selector("#job[data-state=done]")
        tab.context.close()

    # The same by hand: a map of the paddocks, and a season written in an editor.
    byhand = tmp_path / "byhand"
    byhand.mkdir()
    text = (farm / "season.toml").read_text()
    paddocks = tomllib.loads(text)["paddock"]
    assert [one["name"] for one in paddocks] == ["West", "West 2", "East"]
    features = []
    for one in paddocks:
        (feature,) = json.loads((farm / one["boundary"]).read_bytes())["features"]
        features.append({**feature, "properties": {"paddock": one["name"]}})
    whole = {"type": "FeatureCollection", "features": features}
    (byhand / "pasture.geojson").write_text(json.dumps(whole))
    named = 'file = "pasture.geojson"\nname_column = "paddock"'
    (byhand / "season.toml").write_text(SEASON.replace('file = "pasture.gpkg"', named))
    done = evenacre("interseed", byhand / "season.toml", "--quiet")
    assert done.code == 0, done.err
    (result,) = (farm / "results").iterdir()
    ours = plan_in(result)
    assert ours == plan_in(byhand / "evenacre-plan")
    assert len(ours["paddocks"]) == 3
    assert all(one["visits"] for one in ours["paddocks"])


def touch(tab: Any, *points: tuple[float, float]) -> None:
    """Put a finger down, move it from point to point, and lift it."""
    session = tab.context.new_cdp_session(tab)
    kinds = ["touchStart", *["touchMove"] * (len(points) - 1), "touchEnd"]
    for kind, at in zip(kinds, [*points, None], strict=True):
        fingers = [{"x": at[0], "y": at[1]}] if at else []
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": fingers})


@pytest.mark.browser
def test_fingers_keys_and_typed_numbers_draw_too(tmp_path: Path, visit: Callable[..., Any]) -> None:
    farm = tmp_path / "farm"
    with open_desk(farm) as address:
        home = address.partition("/enter")[0]
        hand = Hand(tab := visit(address, 360), home)
        session = tab.context.new_cdp_session(tab)
        session.send("Emulation.setTouchEmulationEnabled", {"enabled": True})
        tab.goto(f"{home}/ground/draw?kind=field")
        tab.wait_for_selector(READY)
        fits(tab)
        tab.fill("#to-place", "40.1, -92.6")
        tab.keyboard.press("Enter")
        tab.wait_for_selector(".grid-told:text-is('Grid 500 ft')")
        tab.get_by_role("button", name="Add at the cross").click()
        frame = tab.locator("#ground-map").bounding_box()
        for x, y in ((250, 90), (230, 220)):
            touch(tab, (frame["x"] + x, frame["y"] + y))
        drawn = hand.corners()
        assert drawn[0] == pytest.approx((40.1, -92.6), abs=1e-8)
        assert len(drawn) == 3
        # A finger pulls a corner.
        box = hand.corner(2).bounding_box()
        middle = box["x"] + 22, box["y"] + 22
        touch(tab, middle, (middle[0] - 20, middle[1]), (middle[0] - 40, middle[1]))
        pulled = hand.corners()
        assert [one == other for one, other in zip(drawn, pulled, strict=True)] == [
            True,
            False,
            True,
        ]
        # Keys put one in and take one out.
        hand.corner(1).focus()
        tab.keyboard.press("Enter")
        assert len(hand.corners()) == 4
        assert tab.evaluate("document.activeElement.ariaLabel") == "Corner 2 of 4"
        tab.keyboard.press("Delete")
        assert hand.corners() == pulled
        tab.locator(".dot.whole").focus()
        tab.keyboard.press("Shift+ArrowRight")
        shifted = hand.corners()
        assert [lat for lat, _ in shifted] == [lat for lat, _ in pulled]
        east = Geodesic.WGS84.Inverse(*pulled[0], *shifted[0])["s12"]
        assert east == pytest.approx(10, abs=0.1)
        # A number typed is a corner moved; nonsense is told.
        text = tab.locator("#corners").input_value()
        tab.fill("#corners", text.replace(text.split("\n")[0], "40.1005N 92.6W"))
        tab.locator("#name").focus()
        hand.told()
        assert hand.corners()[0] == (40.1005, -92.6)
        tab.fill("#corners", "here\nand there")
        tab.fill("#name", "Home")
        tab.wait_for_selector("#corners-wrong:not(:empty)")
        assert "Line 1" in tab.locator("#corners-wrong").inner_text()
        tab.fill("#corners", text)
        tab.locator("#name").focus()
        hand.told()
        fits(tab)
        hand.keep()
        fits(tab)
        tab.goto(f"{home}/ground")
        tab.wait_for_selector("#ground-map[data-ready]")
        fits(tab)
    (feature,) = json.loads((farm / "drawn/Home boundary.geojson").read_bytes())["features"]
    ring = [(lat, lon) for lon, lat in feature["geometry"]["coordinates"][0]]
    assert set(ring) == set(shifted)
