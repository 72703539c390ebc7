"""How a job can come out even."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import partial
from typing import Any

from evenacre.reports.column import (
    AREA,
    COUNT,
    DEGREES,
    MASS,
    NESTED,
    RATE,
    SHARE,
    TO_DRIVE,
    Column,
    in_json,
    json_only,
    nested,
)
from evenacre.reports.sentences.findings import sentences
from evenacre.reports.sentences.finish import FinishReport

SCHEMA = "evenacre/summary/finish/1.1"


_DRIVEN = replace(AREA, text=lambda v, d, n: d.units.area.text(v, n))
_PARTS = replace(
    NESTED,
    text=lambda v, d, _: ", ".join(f"{d.units.mass.text(p['kg'])} {p['product']}" for p in v),
)


_in_json = partial(json_only, why="the rest is told in sentences")


RUN_OUT = _in_json(
    "run_out",
    Column("pass", "job.out.pass_number", COUNT),
    *in_json(
        "into_pass_m distance_m distance_sigma_m",
        "job.out.",
        into_pass_m=TO_DRIVE,
        distance_m=TO_DRIVE,
        distance_sigma_m=TO_DRIVE,
    ),
    Column("lon", lambda r: r.spot[0], DEGREES),
    Column("lat", lambda r: r.spot[1], DEGREES),
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
    Column("field"),
    Column("operation"),
    Column("product", "product.name"),
    Column("left_kg", "finish.left.kg", MASS),
    Column("left_sigma_kg", "finish.left.sigma_kg", MASS),
    Column("left_from", lambda r: r.job.left_from if r.job else "as given"),
    *in_json("undone_m2 undone_sigma_m2 overlap", "finish.ground.", overlap=SHARE),
    Column("overlap_passes", "finish.ground.passes_seen", COUNT),
    *in_json("drive_m2 drive_sigma_m2", "finish.ground."),
    Column("full_width_m2", "job.ahead.full_width_m2", AREA),
    Column("skipped_m2", "job.ahead.skipped_m2", AREA, digits=2),
    Column("even_rate_kg_per_m2", "finish.even_kg_per_m2", RATE),
    Column("even_rate_low_kg_per_m2", "finish.low_kg_per_m2", RATE),
    Column("even_rate_high_kg_per_m2", _high, RATE),
    Column("level", "finish.level", SHARE, text=lambda v, _: f"{100 * v:.0f} %"),
    Column("rate_kg_per_m2", "finish.rate_kg_per_m2", RATE),
    Column("rate_from", _rate_from),
    *in_json("needed_kg short_kg short_sigma_kg reach_m2", "finish.", reach_m2=_DRIVEN),
    *in_json("reach_sigma_m2 verdict range", "finish."),
    Column("leave_m2", "finish.leave_m2", _DRIVEN, digits=2),
    Column("add_kg", "finish.add_kg", MASS),
    Column("add_parts", _parts, _PARTS),
    Column("spare_kg", "finish.spare_kg", MASS),
    Column("passes_to_come", lambda r: r.job and len(r.job.ahead.passes), COUNT),
    nested("run_out", RUN_OUT, lambda r: r if r.spot else None),
    Column("warnings", lambda r: sentences(r.job.findings, "warning") if r.job else [], NESTED),
)
