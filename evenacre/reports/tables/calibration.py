"""A calibration and what the settings book knows: every figure in SI."""

from __future__ import annotations

from functools import partial
from typing import NamedTuple

from evenacre import __version__
from evenacre.planning.calibration.calibrate import Calibration
from evenacre.planning.calibration.compartments import BUSHEL_M3
from evenacre.reports.column import (
    COUNT,
    MASS,
    NESTED,
    NUMBER,
    SPEED,
    Column,
    Display,
    Quantity,
    in_json,
    json_only,
    measured,
    nested,
)
from evenacre.reports.sentences.calibration import number, percent
from evenacre.reports.sentences.findings import reason
from evenacre.units.display import POUND_KG, DisplayUnit

SCHEMA = "evenacre/calibrate/1"

_GRAM = DisplayUnit("g", 1000.0)
_LB_PER_BU = DisplayUnit("lb/bu", BUSHEL_M3 / POUND_KG)
_KG_PER_M3 = DisplayUnit("kg/m³", 1.0)


def _small_mass(kg: float, d: Display, digits: int) -> str:
    """In grams too where it is small."""
    if kg >= 0.1:
        return d.units.mass.text(kg)
    grams = _GRAM.text(kg)
    return grams if d.units.name == "metric" else f"{d.units.mass.text(kg)} ({grams})"


SMALL_MASS = measured("kg", lambda d: d.units.mass, _small_mass)
GROUND = measured("m2", lambda d: d.units.area)
DENSITY = measured("kg/m3", lambda d: _KG_PER_M3 if d.units.name == "metric" else _LB_PER_BU)
PERCENT = Quantity(lambda v, _: v, lambda v, _, __: percent(v), si="1")
SETTING = Quantity(lambda v, _: v, lambda v, _, __: number(v), si="1")
LIMIT = Quantity(lambda v, _: v, lambda v, _, __: f"{100 * v:g} %", si="1")


_in_json = partial(json_only, why="a calibration is told in sentences")


TEST = _in_json(
    "test",
    Column("catches_kg", lambda t: list(t.catches_kg), NESTED),
    *in_json("area_m2 rate_kg_per_m2"),
    Column("rate_interval_90_kg_per_m2", lambda t: _pair(t.interval_kg_per_m2), NESTED),
    Column("catch_sd_kg", "sd_kg", MASS),
    Column("mean_se_kg", "se_kg", MASS),
    Column("kg_per_turn", quantity=SMALL_MASS),
)
VERDICT = _in_json(
    "verdict",
    Column("standing", "standing.value"),
    Column("off_by", quantity=PERCENT),
    Column("within_tolerance", "within"),
    *in_json("scatter_allows catches_needed", catches_needed=COUNT),
)
OPENERS = _in_json(
    "openers",
    *in_json("mean_kg low_kg high_kg", mean_kg=SMALL_MASS, low_kg=SMALL_MASS, high_kg=SMALL_MASS),
    Column("ratios", lambda e: list(e.ratios), NESTED),
    Column("outside", lambda e: list(e.outside), NESTED),
    Column("variation", quantity=PERCENT),
)
NEXT_SETTING = _in_json(
    "next_setting",
    Column("setting", quantity=SETTING),
    Column("interval_90", lambda n: _pair((n.low, n.high)), NESTED),
    Column("method"),
    Column("tested", lambda n: list(n.tested), NESTED),
    *in_json("beyond bend", beyond=SETTING, bend=PERCENT),
    Column("refused", lambda n: reason(n.refused)),
)
FILLS = _in_json("fills", *in_json("name mass_kg area_m2", area_m2=GROUND))
COMPARTMENTS = _in_json(
    "compartments", *in_json("name mass_kg share rate_kg_per_m2", share=PERCENT)
)
SPLIT = _in_json(
    "split",
    Column("area_m2", quantity=GROUND),
    nested("compartments", COMPARTMENTS, "shares"),
)
MATCH = _in_json(
    "matches",
    *in_json("place date product roller setting fan", "past."),
    Column("speed_mps", "past.speed_mps", SPEED, digits=2),
    *in_json(
        "down_pressure rate_kg_per_m2 bulk_density_kg_per_m3 result trouble",
        "past.",
        bulk_density_kg_per_m3=DENSITY,
    ),
    *in_json("rate_factor density_factor reach", rate_factor=NUMBER, density_factor=NUMBER),
)
LOOK_UP = _in_json(
    "look_up",
    Column("start", quantity=SETTING),
    Column("refused", lambda f: reason(f.refused)),
    Column("outside"),
    Column("rates_kg_per_m2", lambda f: _pair(f.rates_kg_per_m2), NESTED),
    nested("matches", MATCH, "matches"),
)


class Fill(NamedTuple):
    """What a fill covers."""

    name: str
    mass_kg: float
    area_m2: float


def fills(result: Calibration) -> list[Fill]:
    """Every fill whose reach was asked."""
    mass_kg = result.job.fills_kg
    return [Fill(name, mass_kg[name], area) for name, area in result.fill_areas_m2.items()]


CALIBRATION = _in_json(
    "calibration",
    Column("schema", lambda _: SCHEMA),
    Column("version", lambda _: __version__),
    *in_json(
        "product setting bulk_density_kg_per_m3 target_kg_per_m2",
        "job.about.",
        bulk_density_kg_per_m3=DENSITY,
    ),
    Column("tolerance", "job.tolerance", LIMIT),
    nested("test", TEST, "job.test"),
    nested("verdict", VERDICT, "verdict"),
    nested("openers", OPENERS, "evenness"),
    nested("next_setting", NEXT_SETTING, "next_setting"),
    nested("fills", FILLS, fills),
    nested("split", SPLIT, "split"),
    nested("look_up", LOOK_UP, "found"),
)


def _pair(pair: tuple[float | None, float | None] | None) -> list[float | None] | None:
    return None if pair is None or None in pair else list(pair)
