"""The answer in plain words: what was covered, missed and doubled, its cost, and cautions."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from evenacre.model.audit_result import AuditResult, ProductResult
from evenacre.planning.loads.load_check import ProductLoads
from evenacre.reports import figure_text as figures
from evenacre.reports.sentences.fix_list import stops
from evenacre.reports.sentences.loads import disagreement_sentence
from evenacre.units.display import UnitSystem

_SPECK_M2 = 0.1  # less is what arithmetic leaves
_WORTH_SAYING = 0.0005  # of the field: ground outside below this is not worth a line


@dataclass(frozen=True)
class Card:
    """Headline (``"38.2 ac of 40.0 ac covered"``) and further lines."""

    headline: str
    lines: tuple[tuple[str, str], ...]  # kind, such as ``missed`` or ``setback``, and sentence


def card(
    result: AuditResult,
    units: UnitSystem,
    *,
    currency: str = "USD",
    loads: Iterable[ProductLoads] = (),
) -> Card:
    """Say the answer of one operation; of its ``loads`` only where scale and meter disagree."""
    r = result
    covered = figures.deserved(r.covered_area_m2, r.uncertainty.get("covered_area_m2"), units)
    if r.boundary_given:
        workable = figures.deserved(r.workable_area_m2, r.uncertainty.get("covered_area_m2"), units)
        headline = f"{covered} of {workable} covered"
    else:
        headline = f"{covered} covered"
    lines = [
        ("missed", _missed(r, units)),
        ("double", _double(r, units, currency)),
        *(("product", text) for text in _products(r, units)),
    ]
    if disagreement := disagreement_sentence(loads):
        lines.append(("scale", disagreement))
    if r.boundary_given and r.outside_area_m2 > _WORTH_SAYING * r.boundary_area_m2:
        lines.append(("outside", _outside(r, units)))
    lines += [("setback", text) for text in _setbacks(r, units)]
    return Card(headline, tuple(lines))


def places(count: int) -> str:
    """Count places."""
    return "1 place" if count == 1 else f"{count:,} places"


def _missed(r: AuditResult, units: UnitSystem) -> str:
    listed = stops(r)
    sigma = r.uncertainty.get("skip_area_m2")
    whole = figures.deserved(r.skip_area_m2, sigma, units)
    if r.skip_area_m2 < _SPECK_M2:
        return "Nothing missed."
    if listed.empty:
        return f"{whole} missed, in slivers too small to go back for."
    worth = figures.deserved(float(listed["area_m2"].sum()), sigma, units)
    back = f"in {places(len(listed))} worth going back for"
    doubtful = int((listed["kind"] == "no log").sum())
    if doubtful:
        back += f" ({doubtful} where the log has a gap: look before you drive)"
    if worth == whole:
        return f"{whole} missed {back}."
    return f"{whole} missed; {worth} of it {back}."


def _double(r: AuditResult, units: UnitSystem, currency: str) -> str:
    if r.overlap_area_m2 < _SPECK_M2:
        return "Nothing covered twice."
    area = figures.deserved(r.overlap_area_m2, r.uncertainty.get("overlap_area_m2"), units)
    text = f"{area} covered twice or more"
    weighed = [p for p in r.products if _known(p)]
    if weighed:
        extra = " and ".join(f"{units.mass.text(p.overlap_kg, 2)} of {p.product}" for p in weighed)
        text += f" = {extra} put down again"
        costs = [p.overlap_cost for p in r.products if p.overlap_cost is not None]
        if costs:
            text += f", {figures.money(sum(costs), currency)}"
            if len(costs) < len(weighed):
                text += " for those with a price"
    return text + "."


def _known(p: ProductResult) -> bool:
    """Whether log or target tell how much was put down."""
    return p.source != "target" or p.target_kg_per_m2 is not None


def _products(r: AuditResult, units: UnitSystem) -> list[str]:
    out = []
    for p in r.products:
        if not _known(p):
            out.append(
                f"How much {p.product} was put down is not known: no rate is logged, and none was "
                "given."
            )
            continue
        text = f"{units.mass.text(p.applied_in_field_kg, 3)} of {p.product} on the field"
        text += f", {units.rate.text(p.mean_rate_kg_per_m2)} on average"
        if p.target_kg_per_m2 is not None and p.source != "target":
            text += f" (target {units.rate.text(p.target_kg_per_m2)})"
        if p.source == "target":
            text += ", taking the target rate for true: the log holds no rate"
        out.append(text + ".")
    return out


def _outside(r: AuditResult, units: UnitSystem) -> str:
    text = f"{figures.size(r.outside_area_m2, units)} worked outside the field"
    lost = " and ".join(
        f"{units.mass.text(p.outside_kg, 2)} of {p.product}" for p in r.products if p.outside_kg > 0
    )
    return text + (f" = {lost}." if lost else ".")


def _setbacks(r: AuditResult, units: UnitSystem) -> list[str]:
    landed: dict[str, list[str]] = {}
    for p in r.products:
        for s in p.setbacks:
            landed.setdefault(s.name, []).append(
                f"{units.mass.text(s.applied_kg, 2)} of {p.product}"
            )
    return [
        f"{' and '.join(amounts)} landed inside the setback of {name}."
        for name, amounts in landed.items()
    ]


def cautions(result: AuditResult) -> list[str]:
    """Cautions to print, each only where this operation calls for it."""
    kinds = set(result.layers["skips"]["kind"])
    fertilizer = any(any(kg > 0 for kg in p.nutrients_kg.values()) for p in result.products)
    unlabelled = [p for p in result.products if not p.nutrients_kg]
    out = []
    if "blocked rows" in kinds:
        out.append(
            "Unhook or clear a plugged line only with the fan stopped and the pressure gone. "
            "Keep hands out of the metering rolls and off chains while someone cranks."
        )
    if unlabelled:
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
