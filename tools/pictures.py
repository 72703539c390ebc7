"""Take the pictures of README and docs, from the sample farm: ``make pictures``.

Chromium opens the desk as a person would, at a table and on a phone. ``python tools/pictures.py
FOLDER`` takes them of a sample farm that is there already, planned and audited.
"""

from __future__ import annotations

import io
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from PIL import Image
from playwright.sync_api import sync_playwright

CHROMIUM = "/usr/bin/chromium"
DOCS = Path(__file__).parents[1] / "docs"
EVENACRE = [sys.executable, "-m", "evenacre"]
COLOURS = 128  # enough for pages; a fraction of the bytes


def main() -> None:
    with tempfile.TemporaryDirectory() as scratch, sync_playwright() as play:
        farm = Path(scratch) / "three-larks"
        if len(sys.argv) > 1:
            shutil.copytree(sys.argv[1], farm)
        else:
            subprocess.run([*EVENACRE, "demo", str(farm), "--quiet"], check=True)
        job = farm / "evenacre-out" / "branch-bottom-spring-fertilizer"
        _keep("branch-bottom", (job / "maps" / "cover.png").read_bytes())
        words = [*EVENACRE, "desk", str(farm), "--no-browser"]
        with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as desk:
            try:
                assert desk.stdout is not None
                told = re.search(r"http://\S+", desk.stdout.readline())
                assert told is not None
                browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
                _take(browser, told[0])
                browser.close()
            finally:
                desk.terminate()
                desk.communicate()


def _take(browser: Any, address: str) -> None:
    home = address.partition("/enter")[0]
    wide = _tab(browser, address, 1280, 860)
    wide.wait_for_selector("#farm-map[data-ready] .shape.pass", timeout=60_000)
    wide.mouse.move(0, 0)
    _keep("desk-farm", wide.screenshot())
    wide.goto(f"{home}/bring")
    _keep("desk-bring", wide.screenshot())
    wide.goto(f"{home}/ground")
    wide.wait_for_timeout(2000)
    _keep("desk-ground", wide.screenshot())
    wide.goto(f"{home}/season/implement/0")
    _keep("desk-drill", wide.screenshot())
    for name, words in (("desk-report", "Audit"), ("desk-seeding", "Plan of interseeding")):
        wide.goto(f"{home}/results")
        wide.get_by_role("link", name=re.compile(words)).first.click()
        wide.frame_locator("iframe.report").locator("h1").first.wait_for()
        wide.wait_for_timeout(1000)  # maps come after the words
        _keep(name, wide.screenshot())
    wide.goto(f"{home}/results/compare")
    wide.get_by_role("button", name="Compare").click()
    wide.frame_locator("iframe.report").locator("table").first.wait_for(timeout=60_000)
    wide.wait_for_timeout(1000)
    _keep("desk-compare", wide.screenshot())
    wide.goto(f"{home}/work/finish")
    for label, text in (("Left in the cart", "1900 lb"), ("Ground still to do", "18 ac")):
        wide.get_by_label(label).fill(text)
    wide.get_by_label("Rate now").fill("110 lb/ac")
    wide.get_by_role("button", name="Work it out").click()
    _keep("desk-finish", wide.screenshot())
    narrow = _tab(browser, address, 360, 740)
    narrow.wait_for_selector("#farm-map[data-ready] .shape.pass")
    _keep("desk-on-a-phone", narrow.screenshot())


def _tab(browser: Any, address: str, width: int, height: int) -> Any:
    context = browser.new_context(
        viewport={"width": width, "height": height},
        color_scheme="light" if width > 500 else "dark",
        reduced_motion="reduce",
    )
    tab = context.new_page()
    tab.goto(address)
    return tab


def _keep(name: str, png: bytes) -> None:
    """Store a picture with a palette of its own."""
    picture = Image.open(io.BytesIO(png)).convert("RGB")
    few = picture.quantize(COLOURS, Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
    few.save(DOCS / f"{name}.png", optimize=True)


if __name__ == "__main__":
    main()
