"""A calibration and what the settings book knows: every figure in SI."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from types import SimpleNamespace
from typing import Any

from evenacre import __version__
from evenacre.planning.calibration.calibrate import Calibration
from evenacre.planning.calibration.compartments import BUSHEL_M3
from evenacre.reports import quantities as q
from evenacre.reports.column import Column, json_only, nested
from evenacre.reports.sentences.calibration import number, percent
from evenacre.reports.sentences.findings import reason
from evenacre.units.display import POUND_KG, DisplayUnit

SCHEMA = "evenacre/calibrate/1.1"

_GRAM = DisplayUnit("g", 1000.0)
_LB_PER_BU = DisplayUnit("lb/bu", BUSHEL_M3 / POUND_KG)
_KG_PER_M3 = DisplayUnit("kg/m³", 1.0)


def _small_mass(kg: float, d: q.Display, digits: int) -> str:
    """In grams too where it is small."""
    if kg >= 0.1:
        return d.units.mass.unbounded.text(kg)
    grams = _GRAM.text(kg)
    return grams if d.units.name == "metric" else f"{d.units.mass.unbounded.text(kg)} ({grams})"


SMALL_MASS = q.measured("kg", lambda d: d.units.mass.unbounded, _small_mass)
GROUND = q.measured("m2", lambda d: d.units.area.unbounded)
DENSITY = q.measured("kg/m3", lambda d: _KG_PER_M3 if d.units.name == "metric" else _LB_PER_BU)
PERCENT = q.Quantity(lambda v, _: v, lambda v, _, __: percent(v), si="1")
SETTING = q.Quantity(lambda v, _: v, lambda v, _, __: number(v), si="1")
LIMIT = q.Quantity(lambda v, _: v, lambda v, _, __: f"{100 * v:g} %", si="1")


_in_json = partial(json_only, why="a calibration is told in sentences")


TEST = _in_json(
    "test",
    Column("catches_kg", lambda t: list(t.catches_kg), q.NESTED),
    "area_m2 rate_kg_per_m2",
    Column("rate_interval_90_kg_per_m2", lambda t: _pair(t.interval_kg_per_m2), q.NESTED),
    "catch_sd_kg=sd_kg mean_se_kg=se_kg kg_per_turn",
    kg_per_turn=SMALL_MASS,
)
VERDICT = _in_json(
    "verdict",
    "standing=standing.value off_by within_tolerance=within scatter_allows catches_needed",
    off_by=PERCENT,
    catches_needed=q.COUNT,
)
OPENERS = _in_json(
    "openers",
    "mean_kg low_kg high_kg",
    Column("ratios", lambda e: list(e.ratios), q.NESTED),
    Column("outside", lambda e: list(e.outside), q.NESTED),
    "variation",
    mean_kg=SMALL_MASS,
    low_kg=SMALL_MASS,
    high_kg=SMALL_MASS,
    variation=PERCENT,
)
TOWERS = _in_json(
    "towers",
    "count scatter",
    nested(
        "odd",
        _in_json(
            "odd",
            "number",
            Column("openers", lambda t: list(t.openers), q.NESTED),
            "off_by",
            Column("off_by_interval_90", lambda t: list(t.interval_90), q.NESTED),
            off_by=PERCENT,
        ),
        "odd",
    ),
    nested("odd_openers", _in_json("odd_openers", "number tower off_by", off_by=PERCENT)),
    count=q.COUNT,
    scatter=PERCENT,
)
NEXT_SETTING = _in_json(
    "next_setting",
    "setting",
    Column("interval_90", lambda n: _pair((n.low, n.high)), q.NESTED),
    "method",
    Column("tested", lambda n: list(n.tested), q.NESTED),
    "beyond bend",
    Column("refused", lambda n: reason(n.refused)),
    setting=SETTING,
    beyond=SETTING,
    bend=PERCENT,
)
FILLS = _in_json("fills", "name mass_kg area_m2", area_m2=GROUND)
COMPARTMENTS = _in_json("compartments", "name mass_kg share rate_kg_per_m2", share=PERCENT)
SPLIT = _in_json("split", "area_m2", nested("compartments", COMPARTMENTS, "shares"), area_m2=GROUND)
MATCH = _in_json(
    "matches",
    "past.place past.date past.product past.roller past.setting past.fan past.speed_mps "
    "past.down_pressure past.rate_kg_per_m2 past.bulk_density_kg_per_m3 past.result past.trouble "
    "rate_factor density_factor reach",
    speed_mps=replace(q.SPEED, text=lambda v, d, _: d.units.speed.text(v, 2)),
    bulk_density_kg_per_m3=DENSITY,
    rate_factor=q.NUMBER,
    density_factor=q.NUMBER,
)
LOOK_UP = _in_json(
    "look_up",
    "start",
    Column("refused", lambda f: reason(f.refused)),
    "outside",
    Column("rates_kg_per_m2", lambda f: _pair(f.rates_kg_per_m2), q.NESTED),
    nested("matches", MATCH, "matches"),
    start=SETTING,
)


def _fills(result: Calibration) -> list[Any]:
    """Every fill whose reach was asked."""
    mass_kg, areas = result.job.fills_kg, result.fill_areas_m2.items()
    return [SimpleNamespace(name=name, mass_kg=mass_kg[name], area_m2=m2) for name, m2 in areas]


CALIBRATION = _in_json(
    "calibration",
    Column("schema", lambda _: SCHEMA),
    Column("version", lambda _: __version__),
    "job.about.product job.about.setting job.about.bulk_density_kg_per_m3 "
    "job.about.target_kg_per_m2 job.tolerance",
    nested("test", TEST, "job.test"),
    nested("verdict", VERDICT, "verdict"),
    nested("openers", OPENERS, "evenness"),
    nested("towers", TOWERS),
    nested("next_setting", NEXT_SETTING, "next_setting"),
    nested("fills", FILLS, _fills),
    nested("split", SPLIT, "split"),
    nested("look_up", LOOK_UP, "found"),
    bulk_density_kg_per_m3=DENSITY,
    tolerance=LIMIT,
)


def _pair(pair: tuple[float | None, float | None] | None) -> list[float | None] | None:
    return None if pair is None or None in pair else list(pair)
