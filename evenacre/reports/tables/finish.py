"""How a job can come out even."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import partial
from typing import Any

from evenacre.reports import quantities as q
from evenacre.reports.column import Column, json_only, nested
from evenacre.reports.sentences.findings import reason, sentences
from evenacre.reports.sentences.finish import FinishReport

SCHEMA = "evenacre/summary/finish/1.3"


_GROUND = replace(q.AREA, text=lambda v, d, n: d.units.area.text(v, n))
_TWO_DIGITS = replace(q.AREA, text=lambda v, d, _: q.AREA.text(v, d, 2))
_PARTS = replace(
    q.NESTED,
    text=lambda v, d, _: ", ".join(f"{d.units.mass.text(p['kg'])} {p['product']}" for p in v),
)
_in_json = partial(json_only, why="the rest is told in sentences")

RUN_OUT = _in_json(
    "run_out",
    Column("pass", "job.out.pass_number", q.COUNT),
    "job.out.into_pass_m job.out.distance_m job.out.distance_sigma_m",
    Column("lon", lambda r: r.spot[0], q.DEGREES),
    Column("lat", lambda r: r.spot[1], q.DEGREES),
    into_pass_m=q.TO_DRIVE,
    distance_m=q.TO_DRIVE,
    distance_sigma_m=q.TO_DRIVE,
)


SO_FAR = _in_json(
    "so_far",
    "started_kg=started.kg left_kg=left.kg used_kg done_m2 done_sigma_m2 overlap rate_kg_per_m2 "
    "rate_sigma_kg_per_m2",
    overlap=q.SHARE,
)


def _interval(ends: tuple[float, float] | None) -> list[float | None] | None:
    return ends and [end if math.isfinite(end) else None for end in ends]


CHANGE = _in_json(
    "change",
    "factor",
    Column("factor_interval_90", lambda c: _interval(c.interval_90), q.NESTED),
    Column("can_be_told", "telling"),
    Column("setting_now", lambda c: c.now and c.now.setting),
    Column("setting_now_from", lambda c: c.now and (c.now.place or "as given")),
    "setting",
    Column("setting_interval_90", lambda c: _interval(c.setting_between), q.NESTED),
    Column("refused", lambda c: reason(c.refused) or None),
    Column("setting_by_the_book", "book.start", q.NUMBER),
    factor=q.NUMBER,
    setting=q.NUMBER,
)
RATE_SO_FAR = _in_json(
    "rate_so_far",
    Column("schema", lambda _: SCHEMA),
    nested("so_far", SO_FAR),
    nested("change", CHANGE),
)


def _parts(r: FinishReport) -> list[dict[str, Any]]:
    return [{"product": name, "kg": kg} for name, kg in r.finish.add_parts]


def _high(r: FinishReport) -> float | None:
    high = r.finish.high_kg_per_m2
    return high if math.isfinite(high) else None


def _rate_from(r: FinishReport) -> str | None:
    return (r.job.rate_from if r.job else "as given") if r.finish.rate_kg_per_m2 else None


FINISH = _in_json(
    "finish",
    Column("schema", lambda _: SCHEMA),
    "field operation product=product.name left_kg=finish.left.kg "
    "left_sigma_kg=finish.left.sigma_kg",
    Column("left_from", lambda r: r.job.left_from if r.job else "as given"),
    "finish.ground.undone_m2 finish.ground.undone_sigma_m2 finish.ground.overlap "
    "overlap_passes=finish.ground.passes_seen finish.ground.drive_m2 finish.ground.drive_sigma_m2 "
    "job.ahead.full_width_m2 job.ahead.skipped_m2 even_rate_kg_per_m2=finish.even_kg_per_m2 "
    "even_rate_low_kg_per_m2=finish.low_kg_per_m2",
    Column("even_rate_high_kg_per_m2", _high, q.RATE),
    "finish.level finish.rate_kg_per_m2",
    Column("rate_from", _rate_from),
    "finish.needed_kg finish.short_kg finish.short_sigma_kg finish.reach_m2 finish.reach_sigma_m2 "
    "finish.verdict finish.no_ground finish.range finish.leave_m2 finish.add_kg",
    Column("add_parts", _parts, _PARTS),
    "finish.spare_kg",
    Column("passes_to_come", lambda r: r.job and len(r.job.ahead.passes), q.COUNT),
    nested("run_out", RUN_OUT, lambda r: r if r.spot else None),
    nested("so_far", SO_FAR),
    nested("change", CHANGE),
    Column("warnings", lambda r: sentences(r.job.findings, "warning") if r.job else [], q.NESTED),
    overlap=q.SHARE,
    overlap_passes=q.COUNT,
    skipped_m2=_TWO_DIGITS,
    level=replace(q.SHARE, text=lambda v, _, __: f"{100 * v:.0f} %"),
    reach_m2=_GROUND,
    leave_m2=replace(_GROUND, text=lambda v, d, _: _GROUND.text(v, d, 2)),
)
