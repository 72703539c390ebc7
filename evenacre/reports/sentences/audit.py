"""The answer in plain words: what was covered, missed and doubled, its cost, and cautions."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import geopandas as gpd

from evenacre.coverage.clean import left_out
from evenacre.io.common.findings import counted
from evenacre.model.audit_result import AuditResult, ProductResult
from evenacre.planning.loads.load_check import ProductLoads
from evenacre.reports import figure_text as figures
from evenacre.reports.sentences.findings import sentence
from evenacre.reports.sentences.fix_list import stops, worth
from evenacre.reports.sentences.loads import disagreement_sentence
from evenacre.units.display import UnitSystem

_MOST_LINES = 6
FIRST = (
    "machines_mixed",
    *("phone_by_spacing", "phone_until_shown", "receiver_by_spacing", "receiver_by_rest"),
    "places_not_told",
    *("behind_found", "behind_found_with_delay", "left_found", "right_found"),
    *("delay_found", "delay_found_by_tool", "delay_found_with_tool"),
    *("behind_unlike", "delay_unlike", "left_unlike", "width_unlike_passes"),
    *("tool_or_hand", "tool_unknown"),
    *("records_lost", "way_lost", "unlike_the_records"),
)
"""Warnings that come before the answer: it may be wrong altogether."""
_NO_WAY_M = 0.5  # less is not worth telling
_SPECK_M2 = 0.1  # less is what arithmetic leaves
_WORTH_SAYING = 0.0005  # of the field: ground outside below this is not worth a line


@dataclass(frozen=True)
class Card:
    """Headline (``"38.2 ac of 40.0 ac covered"``) and further lines."""

    headline: str
    lines: tuple[tuple[str, str], ...]  # kind, such as ``missed`` or ``setback``, and sentence


def first_lines(lines: list[tuple[str, str]], kind: str, others: str) -> list[tuple[str, str]]:
    """As many lines as a tired reader reads, and how many others there are."""
    more = len(lines) - _MOST_LINES
    return [*lines[:_MOST_LINES], *([(kind, f"{more} more {others}.")] if more > 0 else [])]


def card(
    result: AuditResult,
    units: UnitSystem,
    *,
    currency: str = "USD",
    loads: Iterable[ProductLoads] = (),
) -> Card:
    """Say the answer of one operation; of its ``loads`` only where scale and meter disagree."""
    r, loads = result, tuple(loads)
    doubts = (f for f in r.findings if f.code in FIRST and f.severity == "warning")
    lines = [("doubt", sentence(finding)) for finding in doubts]
    if r.tells_places:
        headline = _covered(r, units)
        lines += [
            ("missed", _truly(_missed(r, units), r, "skip_area_m2", units)),
            ("double", _truly(_double(r, units, currency), r, "overlap_area_m2", units)),
        ]
        lines += [("product", _product(p, units)) for p in r.products]
    else:
        headline = driven(r, units)
        lines += [_missed_far(r, units), ("work", _hours(r))]
        guessed = (f for f in r.findings if f.code == "work_from_speed")
        lines += [("work", sentence(finding)) for finding in guessed]
        lines += [("product", _product_driven(p, r, loads, units)) for p in r.products]
    if disagreement := disagreement_sentence(loads):
        lines.append(("scale", disagreement))
    outside_m2 = r.outside_area_m2 if r.boundary_given and r.tells_places else 0.0
    if outside_m2 > _WORTH_SAYING * r.boundary_area_m2:
        lines.append(("outside", _outside(r, units)))
    lines += [("setback", text) for text in _setbacks(r, units)]
    lines.append(("log", records_sentence(r, units)))
    return Card(headline, tuple((kind, text) for kind, text in lines if text))


def driven(r: AuditResult, units: UnitSystem) -> str:
    """Say how much ground was driven with the tool down, laps counted again."""
    assert r.driven_90_m2 is not None  # places are told by all but drives
    return f"{figures.between(*r.driven_90_m2, units)} driven"


def _covered(r: AuditResult, units: UnitSystem) -> str:
    sigma = r.uncertainty.get("covered_area_m2")
    text = figures.deserved(r.covered_area_m2, sigma, units)
    if r.boundary_given:
        text += f" of {figures.deserved(r.workable_area_m2, sigma, units)}"
    return f"{text} covered"


def records_sentence(r: AuditResult, units: UnitSystem) -> str:
    """Say what became of the records, and of the way between them."""
    read, used = r.cleaning.get("read", 0), r.cleaning.get("used", 0)
    causes = left_out(r.cleaning)
    said = f"{counted(read, 'record')} read, {used:,} used"
    if in_file := r.cleaning.get("in the file", 0):  # those of sections share their times
        said = f"{counted(in_file, 'record')} of {counted(read, 'time')} read, {used:,} times used"
    if disorder := r.cleaning.get("out of order", 0):
        said += f" ({disorder:,} out of order)"
    if causes:
        said += f"; left out: {', '.join(f'{n:,} {cause}' for cause, n in causes.items())}"
    lost_m = {c: m for c, m in r.cleaning_m.items() if m > _NO_WAY_M and c not in ("read", "used")}
    if lost_m:
        lost, way = (
            units.distance.text(m, 2) for m in (sum(lost_m.values()), r.cleaning_m["read"])
        )
        said += f"; {lost} of {way} of way lost to {' and '.join(lost_m)}"
    return f"{said}."


def _missed(r: AuditResult, units: UnitSystem) -> str:
    listed = stops(r)
    sigma = r.uncertainty.get("skip_area_m2")
    whole = figures.deserved(r.skip_area_m2, sigma, units)
    if r.skip_area_m2 < _SPECK_M2:
        return "Nothing missed."
    if listed.empty:
        return f"{whole} missed, in slivers too small to go back for."
    go, look = worth(listed), listed[listed["standing"] == "look first"]
    parts = []
    if len(go):
        area = figures.deserved(float(go["area_m2"].sum()), sigma, units)
        back = f"in {counted(len(go), 'place')} worth going back for{_standings(go)}"
        if area == whole and look.empty:
            return f"{whole} missed {back}."
        parts.append(f"{area} of it {back}")
    if len(look):
        area = figures.size(float(look["area_m2"].sum()), units)
        parts.append(f"{area} in {counted(len(look), 'place')} to look at first")
    rest_m2 = r.skip_area_m2 - float(listed["area_m2"].sum())
    if rest_m2 > _SPECK_M2:
        parts.append(f"{figures.size(rest_m2, units)} in slivers too small to go back for")
    return f"{whole} missed; {', '.join(parts)}."


def _truly(said: str, r: AuditResult, key: str, units: UnitSystem) -> str:
    """Add where a figure truly lies, if that is not where the map has it."""
    ends, drawn = r.interval_90.get(key), getattr(r, key)
    if ends is None or ends[0] <= drawn <= ends[1]:
        return said
    there = figures.between(*ends, units)
    return f"{said.removesuffix('.')}, on the map; truly {there}, 9 times in 10."


def _standings(go: gpd.GeoDataFrame) -> str:
    """How many of the places are sure and how many likely, where some are not sure."""
    likely = int((go["standing"] == "likely").sum())
    sure = int((go["standing"] == "sure").sum())
    if not likely:
        return ""
    return f" ({sure} sure, {likely} likely)" if sure else " (likely)"


def _missed_far(r: AuditResult, units: UnitSystem) -> tuple[str, str]:
    """Say what is bare for sure where gaps between passes cannot be told."""
    listed = stops(r)
    if listed.empty:
        return "log", "Where to go back cannot be told from this log."
    bare = figures.size(float(listed["area_m2"].sum()), units)
    places = counted(len(listed), "place")
    said = f"{bare} in {places} far wider than the tool are bare; narrower ones cannot be told."
    return "missed", said


def _hours(r: AuditResult) -> str:
    if not math.isfinite(r.field_time_s):
        return ""
    worked, there = (figures.duration(s) for s in (r.worked_time_s, r.field_time_s))
    return f"{worked} at work, {there} in the field."


def _product_driven(
    p: ProductResult, r: AuditResult, loads: Iterable[ProductLoads], units: UnitSystem
) -> str:
    """Say a product's rate on the ground driven: by its tickets, else by the meter's log."""
    for check in (c.together for c in loads if c.product == p.product):
        if check is not None and check.scale is not None and check.swept_m2:
            rate = units.rate.text(check.scale.kg / check.swept_m2)
            used = units.mass.text(check.scale.kg, 3)
            return f"{used} of {p.product} used by the scale: {rate} on the ground driven for it."
    if p.source == "target" or not r.swept_area_m2:
        return _product(p, units)
    rate = units.rate.text(p.logged_kg / r.swept_area_m2)
    return f"{units.mass.text(p.logged_kg, 3)} of {p.product} logged: {rate} on the ground driven."


def _double(r: AuditResult, units: UnitSystem, currency: str) -> str:
    if r.overlap_area_m2 < _SPECK_M2:
        return "Nothing covered twice."
    area = figures.deserved(r.overlap_area_m2, r.uncertainty.get("overlap_area_m2"), units)
    text = f"{area} covered twice or more"
    weighed = [p for p in r.products if _known(p)]
    costs = [p.overlap_cost for p in r.products if p.overlap_cost is not None]
    if weighed:
        text += f" = {_each(units, ((p.overlap_kg, p) for p in weighed))} put down again"
        text += f", {figures.money(sum(costs), currency)}" if costs else ""
        text += " for those with a price" if 0 < len(costs) < len(weighed) else ""
    return f"{text}."


def _each(units: UnitSystem, amounts: Iterable[tuple[float, ProductResult]]) -> str:
    return " and ".join(f"{units.mass.text(kg, 2)} of {p.product}" for kg, p in amounts)


def _known(p: ProductResult) -> bool:
    """Whether log or target tell how much was put down."""
    return p.source != "target" or p.target_kg_per_m2 is not None


def _product(p: ProductResult, units: UnitSystem) -> str:
    if not _known(p):
        return (
            f"How much {p.product} was put down is not known: no rate is logged, and none was "
            "given."
        )
    text = f"{units.mass.text(p.applied_in_field_kg, 3)} of {p.product} on the field"
    text += f", {units.rate.text(p.mean_rate_kg_per_m2)} on average"
    if p.source == "target":
        return f"{text}, taking the target rate for true: the log holds no rate."
    if p.target_kg_per_m2 is not None:
        text += f" (target {units.rate.text(p.target_kg_per_m2)})"
    return f"{text}."


def _outside(r: AuditResult, units: UnitSystem) -> str:
    lost = _each(units, ((p.outside_kg, p) for p in r.products if p.outside_kg > 0))
    text = f"{figures.size(r.outside_area_m2, units)} worked outside the field"
    return f"{text} = {lost}." if lost else f"{text}."


def _setbacks(r: AuditResult, units: UnitSystem) -> list[str]:
    landed: dict[str, list[tuple[float, ProductResult]]] = {}
    for p in r.products:
        for s in p.setbacks:
            landed.setdefault(s.name, []).append((s.applied_kg, p))
    return [
        f"{_each(units, amounts)} landed inside the setback of {name}."
        for name, amounts in landed.items()
    ]


def cautions(result: AuditResult) -> list[str]:
    """Cautions to print, each only where this operation calls for it."""
    kinds = set(result.layers["skips"]["kind"])
    fertilizer = any(any(kg > 0 for kg in p.nutrients_kg.values()) for p in result.products)
    out = []
    if "blocked rows" in kinds:
        out.append(
            "Unhook or clear a plugged line only with the fan stopped and the pressure gone. "
            "Keep hands out of the metering rolls and off chains while someone cranks."
        )
    if any(not p.nutrients_kg for p in result.products):
        out.append(
            "If any of this was treated seed: it is not feed, and its label may forbid grazing "
            "for a time."
        )
    if any(p.setbacks for p in result.products):
        out.append(
            "Product landed inside a setback. Check what local rules ask of you now, and keep "
            "the next load back from wells, drains and open water."
        )
    elif fertilizer:
        out.append("Keep fertilizer back from wells, drains and open water as local rules say.")
    if kinds and result.products:
        out.append(
            "Going back over a missed strip puts a second rate on whatever lies beside it: set "
            "the width or the sections before you drive in."
        )
    if result.products:
        out.append(
            "Follow the label and local code. Soil tests and licensed advice come before rates."
        )
    return out
