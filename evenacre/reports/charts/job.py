"""Charts of one job: rates by ground, the load by ground left, the day."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from evenacre.arrays import FloatArray
from evenacre.io.writers.file_names import unique_slugs
from evenacre.language import mark, tr, trn
from evenacre.model.audit_result import RATE_SHARES, AuditResult, ProductResult
from evenacre.planning.loads.stock_balance import HalfwayCheck, OperationLoads
from evenacre.reports import figure_text as figures
from evenacre.reports.charts.plot import Bar, Chart, Drawing, Sign, bars, scale
from evenacre.reports.maps.rates import rate_words
from evenacre.reports.sentences.loads import halfway_sentence
from evenacre.units.display import UnitSystem

_RATE_KINDS = ("less", "less", "good", "more", "more")
_SPECK = 0.0005  # of the ground: less is no bar
_HIGH, _TOP, _FOOT = 180.0, 16.0, 26.0
_BREAK_S, _STOP_S = 3600.0, 600.0
_VERDICTS = {
    "even": mark("weighed: even"),
    "too much left": mark("weighed: too much left"),
    "too little left": mark("weighed: too little left"),
}


def job_charts(r: AuditResult, loads: OperationLoads | None, units: UnitSystem) -> list[Chart]:
    """Every chart of a job that has something to show, each with a name of its own."""
    rates = [rate_chart(r, p, units) for p in r.products] if r.tells_places else []
    checks = loads.halfway if loads else ()
    left = [halfway_chart(check, units) for check in checks]
    every = [
        *zip((f"shares {p.product}" for p in r.products), rates, strict=r.tells_places),
        *zip((f"halfway {check.product}" for check in checks), left, strict=True),
        ("day", day_chart(r, units)),
    ]
    names = (name.replace("-", "_", 1) for name in unique_slugs(name for name, _ in every))
    named = zip(names, every, strict=True)
    return [replace(chart, name=name) for name, (_, chart) in named if chart]


def rate_chart(r: AuditResult, p: ProductResult, units: UnitSystem) -> Chart | None:
    """Draw how much ground got which share of the target; None of one bar, or with no target."""
    near = p.within_10_percent_of_target_area_m2
    if not p.target_kg_per_m2 or near is None or not r.covered_area_m2:
        return None
    rate = np.asarray(p.rate.values, dtype=float)
    ratio = rate[np.isfinite(rate) & (rate > 0)] / p.target_kg_per_m2
    below = [np.count_nonzero(ratio < edge) for edge in RATE_SHARES]
    count = np.diff([0, *below, len(ratio)])
    shares = count / max(count.sum(), 1)
    if (shares > _SPECK).sum() < 2:
        return None
    rows = [
        (words, [Bar(kind, float(share), figures.share(float(share), 1.0))])
        for words, kind, share in zip(rate_words(p, units), _RATE_KINDS, shares, strict=True)
        if share > _SPECK
    ]
    title = tr(
        "{share} of the ground covered got {product} within 10 % of its target, {rate}",
        share=figures.share(near, r.covered_area_m2),
        product=p.product,
        rate=figures.told_rate(p.target_kg_per_m2, units),
    )
    note = tr("Shares are of the ground that got any, overlap and ground outside included.")
    return bars(title, rows, note=note)


def halfway_chart(check: HalfwayCheck, units: UnitSystem) -> Chart:
    """Draw what is left in the cart against ground left: where it comes out even, and weighings."""
    area, mass = units.area, units.mass
    tops = [check.supply_kg, *check.high_kg, *(w.left_kg + 2 * w.sigma_kg for w in check.weighings)]
    most = mass.of(float(max(tops))) * 1.02
    drawing = Drawing(_TOP + _HIGH + _FOOT)
    scale(drawing, _TOP, _HIGH, most, mass.word, right=True)

    def x(left_m2: float) -> float:
        return float(1 - left_m2 / check.area_m2)

    def y(kg: float) -> float:
        return float(np.clip(mass.of(kg) / most, 0, 1))

    def down(kg: float) -> float:
        return _TOP + _HIGH * (1 - y(kg))

    def through(ground: FloatArray, kg: FloatArray) -> list[tuple[float, float]]:
        return [(x(a), y(b)) for a, b in zip(ground, kg, strict=True)]

    upper = through(check.area_left_m2, check.high_kg)
    lower = through(check.area_left_m2, check.low_kg)
    drawing.path("band", _TOP, _HIGH, [*upper, *reversed(lower)], closed=True)
    drawing.path("even", _TOP, _HIGH, through(check.area_left_m2, check.even_kg))
    band = tr("within {percent:g} % and the scale's error", percent=100 * check.tolerance)
    legend = [Sign("even", tr("comes out even"), line=True), Sign("band", band)]
    if len(check.meter_left_m2):
        metered = through(check.meter_left_m2, check.meter_left_kg)
        drawing.path("meter", _TOP, _HIGH, metered)
        legend.append(Sign("meter", tr("by the meter's log"), line=True))
    for verdict, words in _VERDICTS.items():
        weighed = [w for w in check.weighings if w.verdict == verdict]
        kind, sign = _weighing(verdict)
        for w in weighed:
            place, reach = x(w.area_left_m2), 2 * w.sigma_kg
            drawing.line(kind, place, down(w.left_kg - reach), place, down(w.left_kg + reach))
            anchor = "end" if place > 0.97 else "start" if place < 0.03 else "middle"
            drawing.text(f"sign {kind}", place, down(w.left_kg) + 5, sign, anchor=anchor)
        if weighed:
            legend.append(Sign(kind, tr(words), mark=sign))
    _ground_left(drawing, check.area_m2, units)
    nearest = check.nearest_half
    title = tr("{product} left in the cart by ground left", product=check.product)
    if nearest is not None:
        title = tr(
            "{product}: {verdict} with {area} to go",
            product=check.product,
            verdict=tr(_NEAREST[nearest.verdict]),
            area=area.text(nearest.area_left_m2),
        )
    told = f"{title}. {halfway_sentence(check, units)}"
    note = tr(
        "At half the ground half the product should be gone; what is still to be filled counts as "
        "left."
    )
    return Chart(title, told, drawing, tuple(legend), note)


_NEAREST = {
    "even": mark("coming out even"),
    "too much left": mark("too much left"),
    "too little left": mark("too little left"),
}


def _weighing(verdict: str) -> tuple[str, str]:
    """Class and sign of a weighing: form tells it too."""
    return {
        "even": ("good", "●"), "too much left": ("more", "▲"), "too little left": ("less", "▼"),
    }[verdict]  # fmt: skip


def _ground_left(drawing: Drawing, area_m2: float, units: UnitSystem) -> None:
    """The scale of the ground left, from all of it to none."""
    foot = _TOP + _HIGH
    for share, anchor in ((0.0, "start"), (0.5, "middle"), (1.0, "end")):
        left = units.area.text((1 - share) * area_m2)
        drawing.text("tick", share, foot + 16, tr("{area} left", area=left), anchor=anchor)
        if share == 0.5:
            drawing.line("half", 0.5, _TOP, 0.5, foot)


def day_chart(r: AuditResult, units: UnitSystem) -> Chart | None:
    """Draw speed pass by pass, and ground worked, over the day; None of one pass or untimed."""
    passes = r.layers["passes"]
    if len(passes) < 2 or not math.isfinite(r.field_time_s) or r.field_time_s <= 0:
        return None
    passes = passes.sort_values("start_s", kind="stable")
    start, end = passes["start_s"].to_numpy(float), passes["end_s"].to_numpy(float)
    speed = np.array([units.speed.of(v) for v in passes["mean_speed_mps"]])
    ground = np.cumsum(passes["area_m2"].to_numpy(float))
    off = np.concatenate([[0.0], start[1:] - np.maximum.accumulate(end)[:-1]])
    skipped = np.cumsum(np.where(off > _BREAK_S, off, 0.0))
    first, span = start[0], max((end - skipped).max() - start[0], 1.0)
    begin, stop = (start - skipped - first) / span, (end - skipped - first) / span
    most, whole = float(speed.max()) * 1.3, float(ground[-1])
    gap, low = 34.0, 90.0
    drawing = Drawing(_TOP + low + gap + low + _FOOT)
    scale(drawing, _TOP, low, most, units.speed.word)
    for a, b, v in zip(begin, stop, speed, strict=True):
        y = _TOP + low * (1 - v / most)
        drawing.line("speed", a, y, b, y)
    below = _TOP + low + gap
    before = np.concatenate([[0.0], ground[:-1]])
    scale(drawing, below, low, 1.05 * units.area.of(whole), units.area.word)
    ends = zip(begin, before, stop, ground, strict=True)
    line = [place for a, g0, b, g1 in ends for place in ((a, g0), (b, g1))]
    drawing.path("worked", below, low, [(float(x), float(g) / (1.05 * whole)) for x, g in line])
    foot = below + low
    for n in np.flatnonzero(off > _BREAK_S):
        drawing.line("break", begin[n], _TOP, begin[n], foot)
    times = ((0.0, start[0], "start"), (1.0, float(end.max()), "end"))
    for place, moment, anchor in times:
        shown = figures.day_and_clock(moment, r.time_zone).rpartition(":")[0]
        drawing.text("tick", place, foot + 16, shown, anchor=anchor)
    title = tr(
        "{worked} at work of {field} in the field, at {speed} on average",
        worked=figures.duration(r.worked_time_s),
        field=figures.duration(r.field_time_s),
        speed=units.speed.text(r.mean_speed_mps),
    )
    if stops := int(((off > _STOP_S) & (off <= _BREAK_S)).sum()):
        title += trn("; {count:,} stop over 10 min", "; {count:,} stops over 10 min", stops)
    legend = [
        Sign("speed", tr("mean speed of each pass"), line=True),
        Sign("worked", tr("ground driven so far"), line=True),
    ]
    if (off > _BREAK_S).any():
        legend.append(Sign("break", tr("a break over an hour, left out"), line=True))
    return Chart(title, f"{title}.", drawing, tuple(legend))
