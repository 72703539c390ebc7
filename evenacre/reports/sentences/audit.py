"""The answer in plain words: what was covered, missed and doubled, its cost, and cautions."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import geopandas as gpd

from evenacre.arrays import BoolArray
from evenacre.coverage.clean import left_out
from evenacre.language import mark, number, tr, trn
from evenacre.model.audit_result import AuditResult, ProductResult
from evenacre.model.finding import Finding
from evenacre.model.going_back import LEAVE, WHEN_THERE, WORTH_IT
from evenacre.planning.loads.load_check import ProductLoads
from evenacre.reports import figure_text as figures
from evenacre.reports.printed_ground import PrintedGround
from evenacre.reports.sentences.data_words import in_words
from evenacre.reports.sentences.findings import sentence
from evenacre.reports.sentences.fix_list import (
    best_trip,
    judgement,
    kind_words,
    stops,
)
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
    "boundary_drawn",
)
"""Warnings that come before the answer: it may be wrong altogether."""
_DOUBTS = ("doubt", "scale", "outside", "setback")
_LOST_AT = {
    "away from the field": mark("drives away from the field"),
    "position jumps": mark("jumps of the position"),
    "cuts at jumps": mark("jumps of the position"),
    "cuts at gaps": mark("silences of the log"),
}
_NO_WAY_M = 0.5  # less is not worth telling
_SPECK_M2 = 0.1  # less is what arithmetic leaves
_WORTH_SAYING = 0.0005  # of the field: ground outside below this is not worth a line


@dataclass(frozen=True)
class Card:
    """Headline (``"38.2 ac of 40.0 ac covered"``) and further lines."""

    headline: str
    lines: tuple[tuple[str, str], ...]  # kind, such as ``missed`` or ``setback``, and sentence


def first_lines(lines: list[tuple[str, str]], kind: str, others: str) -> list[tuple[str, str]]:
    """As many lines as a tired reader reads, and how many others there are.

    ``others`` is a text with ``{more}``, put into the catalogue by `mark`.
    """
    more = len(lines) - _MOST_LINES
    told = [(kind, tr(others, more=more))] if more > 0 else []
    return [*lines[:_MOST_LINES], *told]


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
    lines += [("doubt", sentence(finding)) for finding in _guessed(r)]
    if r.tells_places:
        headline = _covered(r, units)
        lines += [
            ("missed", _truly(_missed(r, units), r, "skip_area_m2", units)),
            ("double", _truly(_double(r, units, currency), r, "overlap_area_m2", units)),
        ]
        lines += [("product", _product(p, r, units)) for p in r.products]
    else:
        headline = driven(r, units)
        lines += [_missed_far(r, units), ("work", _hours(r))]
        lines += [("product", _product_driven(p, r, loads, units)) for p in r.products]
    if disagreement := disagreement_sentence(loads):
        lines.append(("scale", disagreement))
    outside_m2 = r.outside_area_m2 if r.boundary_given and r.tells_places else 0.0
    if outside_m2 > _WORTH_SAYING * r.boundary_area_m2:
        lines.append(("outside", _truly(_outside(r, units), r, "outside_area_m2", units)))
    lines += [("setback", text) for text in _setbacks(r, units)]
    lines.append(("log", records_sentence(r, units)))
    return Card(headline, tuple((kind, text) for kind, text in lines if text))


@dataclass(frozen=True)
class JobLine:
    """An operation in a line of the season's table: what is in each of its cells.

    Attributes
    ----------
    ground, missed, doubled : str
        Covered, or driven where the log tells no places: the others are then empty.
    put_down : tuple of str
        One text for each product.
    first : str
        The place to go back to first, and how many more there are.
    doubts : tuple of str
        What may make the line wrong, and what landed where it should not.
    """

    ground: str
    missed: str
    doubled: str
    put_down: tuple[str, ...]
    first: str
    doubts: tuple[str, ...]


def job_line(r: AuditResult, said: Card, units: UnitSystem) -> JobLine:
    """Say one operation in a line, in the figures of its card."""
    put_down = tuple(_put_down(p, units) for p in r.products)
    doubts = tuple(text for kind, text in said.lines if kind in _DOUBTS)
    if not r.tells_places:
        return JobLine(
            driven(r, units), "", "", put_down, tr("cannot be told from this log"), doubts
        )
    first = _first(r, units)
    printed = PrintedGround(r, units)
    missed, doubled = map(printed.text, ("skip_area_m2", "overlap_area_m2"))
    ground = _ground(r, units)
    return JobLine(ground, missed, doubled, put_down, first, doubts)


def _first(r: AuditResult, units: UnitSystem) -> str:
    """Say the place that brings most for its time, and how many more are worth it."""
    listed, found = stops(r), judgement(r)
    best = best_trip(listed, found)
    if best is None:
        if there := int((listed["verdict"] == WHEN_THERE).sum()):
            return trn(
                "nothing worth the way; {count:,} place when you are there",
                "nothing worth the way; {count:,} places when you are there",
                there,
            )
        return tr("nothing worth it")
    place = listed[listed["trip"] == best + 1].iloc[0]
    said = tr(
        "stop {skip}: {size}, {kind}",
        skip=place.skip,
        size=figures.size(place.area_m2, units),
        kind=kind_words(place.kind, place.cause),
    )
    if place.standing == "look first":
        said += tr(", look first")
    more = int((listed["verdict"] == WORTH_IT).sum()) - 1
    return said + (tr("; {more} more", more=more) if more else "")


def _put_down(p: ProductResult, units: UnitSystem) -> str:
    if not amount_known(p):
        return tr("{product}: not known", product=p.product)
    mass = units.mass.text(p.applied_in_field_kg)
    if p.source == "target":
        return tr("{mass} of {product}, by target", mass=mass, product=p.product)
    return tr("{mass} of {product}, by meter", mass=mass, product=p.product)


def driven(r: AuditResult, units: UnitSystem) -> str:
    """Say how much ground was driven with the tool down, laps counted again."""
    assert r.driven_90_m2 is not None  # places are told by all but drives
    return tr("{between} driven", between=figures.between(*r.driven_90_m2, units))


def _covered(r: AuditResult, units: UnitSystem) -> str:
    return tr("{ground} covered", ground=_ground(r, units))


def _ground(r: AuditResult, units: UnitSystem) -> str:
    printed = PrintedGround(r, units)
    part = printed.text("covered_area_m2")
    if _guessed(r) and "covered_area_m2" in r.interval_90:
        part = figures.between(*r.interval_90["covered_area_m2"], units)
    if not r.boundary_given:
        return part
    whole = printed.text("workable_area_m2")
    return tr("{part} of {whole}", part=part, whole=whole)


def _left_out(cause: str, records: int) -> str:
    if cause == "exact repeats":
        return trn("{count:,} exact repeat", "{count:,} exact repeats", records)
    if cause == "position jumps":
        return trn("{count:,} position jump", "{count:,} position jumps", records)
    return f"{number(records, ',')} {in_words(cause)}"


def records_sentence(r: AuditResult, units: UnitSystem) -> str:
    """Say what became of the records, and of the way between them."""
    read, used = r.cleaning.get("read", 0), r.cleaning.get("used", 0)
    causes = left_out(r.cleaning)
    said = tr(
        "{records} read, {used:,} used",
        records=trn("{count:,} record", "{count:,} records", read),
        used=used,
    )
    if in_file := r.cleaning.get("in the file", 0):  # those of sections share their times
        said = tr(
            "{records} of {times} read, {used:,} times used",
            records=trn("{count:,} record", "{count:,} records", in_file),
            times=trn("{count:,} time", "{count:,} times", read),
            used=used,
        )
    if disorder := r.cleaning.get("out of order", 0):
        said += tr(" ({disorder:,} out of order)", disorder=disorder)
    if causes:
        said += tr(
            "; left out: {names}", names=", ".join(_left_out(c, n) for c, n in causes.items())
        )
    lost_m = {c: m for c, m in r.cleaning_m.items() if m > _NO_WAY_M and c not in ("read", "used")}
    if lost_m:
        lost, way = (
            units.distance.text(m, 2) for m in (sum(lost_m.values()), r.cleaning_m["read"])
        )
        causes_said = dict.fromkeys(
            tr(_LOST_AT[cause]) if cause in _LOST_AT else in_words(cause) for cause in lost_m
        )
        said += tr(
            "; {lost} of {way} of way lost to {names}",
            lost=lost,
            way=way,
            names=tr(" and ").join(causes_said),
        )
    return f"{said}."


def _missed(r: AuditResult, units: UnitSystem) -> str:
    listed, printed = stops(r), PrintedGround(r, units)
    whole = printed.text("skip_area_m2")
    if r.skip_area_m2 < _SPECK_M2:
        return tr("Nothing missed.")
    if listed.empty:
        return tr("{whole} missed, in slivers too small to go back for.", whole=whole)
    go, look, there, leave = _parted(listed)
    *texts, slivers, _ = missed_texts(r, units)
    to_go, to_look, when_there, to_leave = texts
    parts = []
    if len(go):
        back = tr(
            "in {places} worth going back for{standings}",
            places=trn("{count:,} place", "{count:,} places", len(go)),
            standings=_standings(go),
        )
        if to_go == whole and len(go) == len(listed):
            return tr("{whole} missed {back}.", whole=whole, back=back)
        parts.append(tr("{area} of it {back}", area=to_go, back=back))
    for places, area, text in (
        (look, to_look, mark("{area} in {places} to look at first")),
        (there, when_there, mark("{area} in {places} only when you are there")),
    ):
        if len(places):
            counted = trn("{count:,} place", "{count:,} places", len(places))
            parts.append(tr(text, area=area, places=counted))
    if len(leave):
        text = trn(
            "{count:,} place, {area}: leave it",
            "{count:,} places, {area} together: leave them",
            len(leave),
            area=to_leave,
        )
        parts.append(text)
    if r.skip_area_m2 - float(listed["area_m2"].sum()) > _SPECK_M2:
        parts.append(tr("{size} in slivers too small to go back for", size=slivers))
    return tr("{whole} missed; {names}.", whole=whole, names="; ".join(parts))


def missed_texts(r: AuditResult, units: UnitSystem) -> tuple[str, ...]:
    """Write the ground of places as they are parted, then that of slivers, and of all places."""
    listed = stops(r)
    area = listed["area_m2"].to_numpy(float)
    ground = (float(area[those].sum()) for those in _kinds(listed))
    return PrintedGround(r, units).missed(*ground)


def _parted(listed: gpd.GeoDataFrame) -> tuple[gpd.GeoDataFrame, ...]:
    """Stops worth it, likewise but to be looked at first, for when somebody is there, to leave."""
    go, doubtful, there, leave = (listed[those] for those in _kinds(listed))
    return go, doubtful, there, leave


def _kinds(listed: gpd.GeoDataFrame) -> tuple[BoolArray, ...]:
    """Which stops these are."""
    verdict, standing = (listed[name].to_numpy(object) for name in ("verdict", "standing"))
    go, look = verdict == WORTH_IT, standing == "look first"
    return go & ~look, go & look, verdict == WHEN_THERE, verdict == LEAVE


def _guessed(r: AuditResult) -> list[Finding]:
    """What says that nothing but the speed tells of work, and all that follows is in doubt."""
    return [f for f in r.findings if f.code == "work_from_speed"]


def _truly(said: str, r: AuditResult, key: str, units: UnitSystem) -> str:
    """Add where a figure truly lies, if that is not where the map has it."""
    ends, drawn = r.interval_90.get(key), getattr(r, key)
    if ends is None or (ends[0] <= drawn <= ends[1] and not _guessed(r)):
        return said
    there = figures.between(*ends, units)
    return tr(
        "{said}, on the map; truly {there}, 9 times in 10.",
        said=said.removesuffix("."),
        there=there,
    )


def _standings(go: gpd.GeoDataFrame) -> str:
    """How many of the places are sure and how many likely, where some are not sure."""
    likely = int((go["standing"] == "likely").sum())
    sure = int((go["standing"] == "sure").sum())
    if not likely:
        return ""
    return (
        tr(" ({sure} sure, {likely} likely)", sure=sure, likely=likely) if sure else tr(" (likely)")
    )


def _missed_far(r: AuditResult, units: UnitSystem) -> tuple[str, str]:
    """Say what is bare for sure where gaps between passes cannot be told."""
    listed = stops(r)
    if listed.empty:
        return "log", tr("Where to go back cannot be told from this log.")
    bare = units.area.text(float(listed["area_m2"].sum()))
    places = trn("{count:,} place", "{count:,} places", len(listed))
    said = tr(
        "{bare} in {places} far wider than the tool are bare; narrower ones cannot be told.",
        bare=bare,
        places=places,
    )
    return "missed", said


def _hours(r: AuditResult) -> str:
    if not math.isfinite(r.field_time_s):
        return ""
    worked, there = (figures.duration(s) for s in (r.worked_time_s, r.field_time_s))
    return tr("{worked} at work, {there} in the field.", worked=worked, there=there)


def _product_driven(
    p: ProductResult, r: AuditResult, loads: Iterable[ProductLoads], units: UnitSystem
) -> str:
    """Say a product's rate on the ground driven: by its tickets, else by the meter's log."""
    for check in (c.together for c in loads if c.product == p.product):
        if check is not None and check.scale is not None and check.swept_m2:
            rate = units.rate.text(check.scale.kg / check.swept_m2)
            used = units.mass.text(check.scale.kg)
            return tr(
                "{used} of {product} used by the scale: {rate} on the ground driven for it.",
                used=used,
                product=p.product,
                rate=rate,
            )
    if p.source == "target" or not r.swept_area_m2:
        return _product(p, r, units)
    rate = units.rate.text(p.logged_kg / r.swept_area_m2)
    return tr(
        "{mass} of {product} logged: {rate} on the ground driven.",
        mass=units.mass.text(p.logged_kg),
        product=p.product,
        rate=rate,
    )


def _double(r: AuditResult, units: UnitSystem, currency: str) -> str:
    if r.overlap_area_m2 < _SPECK_M2:
        return tr("Nothing covered twice.")
    area = PrintedGround(r, units).text("overlap_area_m2")
    text = tr("{area} covered twice or more", area=area)
    weighed = [p for p in r.products if amount_known(p)]
    costs = [p.overlap_cost for p in r.products if p.overlap_cost is not None]
    if weighed:
        text += tr(
            " = {each} put down again", each=_each(units, ((p.overlap_kg, p) for p in weighed))
        )
        text += (
            tr(", {money} of product", money=figures.money_in_all(costs, currency)) if costs else ""
        )
        text += tr(" for those with a price") if 0 < len(costs) < len(weighed) else ""
    return f"{text}."


def _each(units: UnitSystem, amounts: Iterable[tuple[float, ProductResult]]) -> str:
    return tr(" and ").join(
        tr("{mass} of {product}", mass=units.mass.text(kg), product=p.product) for kg, p in amounts
    )


def amount_known(p: ProductResult) -> bool:
    """Whether log or target tell how much was put down."""
    return p.source != "target" or p.target_kg_per_m2 is not None


def _product(p: ProductResult, r: AuditResult, units: UnitSystem) -> str:
    if not amount_known(p):
        return tr(
            "How much {product} was put down is not known: no rate is logged, and none was given.",
            product=p.product,
        )
    if p.interval_90 and _guessed(r):
        return tr(
            "{masses} of {product} put down: how much depends on which turns were work.",
            masses=figures.mass_between(*p.interval_90["logged_kg"], units),
            product=p.product,
        )
    text = tr(
        "{mass} of {product} on the field",
        mass=units.mass.text(p.applied_in_field_kg),
        product=p.product,
    )
    text += tr(", {rate} on average", rate=units.rate.text(p.mean_rate_kg_per_m2))
    if p.source == "target":
        return tr("{said}, taking the target rate for true: the log holds no rate.", said=text)
    if p.target_kg_per_m2 is not None:
        text += tr(" (target {rate})", rate=figures.told_rate(p.target_kg_per_m2, units))
    return tr("{said}, by meter.", said=text)


def _outside(r: AuditResult, units: UnitSystem) -> str:
    lost = _each(units, ((p.outside_kg, p) for p in r.products if p.outside_kg > 0))
    text = tr(
        "{size} worked outside the field", size=PrintedGround(r, units).text("outside_area_m2")
    )
    return f"{text} = {lost}." if lost else f"{text}."


def _setbacks(r: AuditResult, units: UnitSystem) -> list[str]:
    landed: dict[str, list[tuple[float, ProductResult]]] = {}
    for p in r.products:
        for s in p.setbacks:
            landed.setdefault(s.name, []).append((s.applied_kg, p))
    return [
        tr("{each} landed inside the setback of {name}.", each=_each(units, amounts), name=name)
        for name, amounts in landed.items()
    ]


def cautions(result: AuditResult, *, to_drive: bool = True) -> list[str]:
    """Cautions to print, each only where this operation calls for it.

    Without ``to_drive`` those are left out that only who goes back with the drill needs.
    """
    kinds = set(result.layers["skips"]["kind"])
    fertilizer = any(any(kg > 0 for kg in p.nutrients_kg.values()) for p in result.products)
    out = []
    if to_drive and "blocked rows" in kinds:
        out.append(
            tr(
                "Unhook or clear a plugged line only with the fan stopped and the pressure "
                "gone. Keep hands out of the metering rolls and off chains while someone "
                "cranks."
            )
        )
    if any(not p.nutrients_kg for p in result.products):
        out.append(
            tr(
                "If any of this was treated seed: it is not feed, and its label may forbid "
                "grazing for a time."
            )
        )
    if any(p.setbacks for p in result.products):
        out.append(
            tr(
                "Product landed inside a setback. Check what local rules ask of you now, and "
                "keep the next load back from wells, drains and open water."
            )
        )
    elif fertilizer:
        out.append(tr("Keep fertilizer back from wells, drains and open water as local rules say."))
    if to_drive and kinds and result.products:
        out.append(
            tr(
                "Going back over a missed strip puts a second rate on whatever lies beside "
                "it: set the width or the sections before you drive in."
            )
        )
    if result.products:
        out.append(
            tr("Follow the label and local code. Soil tests and licensed advice come before rates.")
        )
    return out
