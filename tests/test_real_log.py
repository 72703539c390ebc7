"""A real harvest log, audited from the command line alone.

The log is University of Minnesota Precision Agriculture Center data (agridat, data set
``gartner.corn``, CC BY-SA 3.0). It is not in the repository; the test runs where a copy
lies beside it in ``../shared/data``.
"""

import json
from pathlib import Path

import pandas as pd
import pytest
from cli_jobs import evenacre

LOG = Path(__file__).resolve().parents[2] / "shared" / "data" / "real_harvest_log.csv"
WIDTH_IN, INCH_M = 360.0, 0.0254

pytestmark = pytest.mark.skipif(not LOG.exists(), reason="the real log is not on this machine")


def audit(out: Path, *more: str) -> Path:
    """Run the command as a person would, with no boundary and no season file."""
    ran = evenacre("audit", "--tracks", LOG, "--width", "360in", "--out", out, *more)
    assert ran.code == 0, ran.err
    return out


@pytest.fixture(scope="module")
def audited(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return audit(tmp_path_factory.mktemp("real") / "out")


def test_ground_swept_agrees_with_the_machines_own_distance_sensor(audited: Path) -> None:
    # An independent measure: sum of the sensor's distances times twelve rows, 360 in.
    sensed = pd.read_csv(LOG)["dist"].sum() * INCH_M * WIDTH_IN * INCH_M
    found = json.loads((audited / "summary.json").read_text())["operations"][0]
    swept = found["covered_area_m2"] + found["excess_area_m2"] + found["outside_area_m2"]
    assert swept == pytest.approx(sensed, rel=0.02)


def test_the_grain_weighed_is_all_accounted_for(tmp_path: Path) -> None:
    log = pd.read_csv(LOG)
    weighed = (log["mass"] * log["seconds"]).sum() * 0.45359237
    columns = ("flow=mass [lb/s]", "interval=seconds [s]", "distance=dist [in]")
    out = audit(tmp_path / "out", *(word for c in columns for word in ("--column", c)))
    found = json.loads((out / "summary.json").read_text())["operations"][0]
    (product,) = found["products"]
    assert product["logged_kg"] == pytest.approx(weighed, rel=5e-3)


def test_the_report_says_what_was_guessed(audited: Path) -> None:
    report = (audited / "report.html").read_text(encoding="utf-8")
    assert "boundary" in report.lower()
    assert "infer" in report.lower()
    assert "skips at the edge" in report.lower()
