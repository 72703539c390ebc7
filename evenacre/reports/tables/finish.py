"""How a job can come out even."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from evenacre.model import Product
from evenacre.planning.finish.finish_job import FinishJob
from evenacre.planning.finish.rate_to_finish import Finish
from evenacre.reports import figure_text as figures
from evenacre.reports.column import (
    AREA,
    COUNT,
    LENGTH,
    MASS,
    NESTED,
    NUMBER,
    RATE,
    SHARE,
    Column,
    Table,
)
from evenacre.reports.writers.as_json import record

SCHEMA = "evenacre/summary/finish/1.1"


@dataclass(frozen=True)
class FinishReport:
    """What is told of a job.

    Attributes
    ----------
    product : Product
    job : FinishJob, optional
        When there are tracks.
    spot : (lon, lat), optional
        Where the load runs out.
    """

    finish: Finish
    product: Product
    field: str = ""
    operation: str = ""
    job: FinishJob | None = None
    spot: tuple[float, float] | None = None


def _of_job(value: Callable[[FinishJob], Any], otherwise: Any = None) -> Callable[..., Any]:
    return lambda r: value(r.job) if r.job else otherwise


_DRIVEN = replace(AREA, text=lambda v, d, n: d.units.area.text(v, n))
_DISTANCE = replace(LENGTH, text=lambda v, d, _: figures.distance(v, d.units))
_PARTS = replace(
    NESTED,
    text=lambda v, d, _: ", ".join(f"{d.units.mass.text(p['kg'])} {p['product']}" for p in v),
)

RUN_OUT = Table(
    "run_out",
    (
        Column("pass", "job.out.pass_number", COUNT),
        Column("into_pass_m", "job.out.into_pass_m", _DISTANCE),
        Column("distance_m", "job.out.distance_m", _DISTANCE),
        Column("distance_sigma_m", "job.out.distance_sigma_m", _DISTANCE),
        Column("lon", lambda r: r.spot[0], NUMBER, text=lambda v, _: f"{v:.6f}"),
        Column("lat", lambda r: r.spot[1], NUMBER, text=lambda v, _: f"{v:.6f}"),
    ),
)


def _run_out(r: FinishReport) -> dict[str, Any] | None:
    return record(RUN_OUT, r) if r.job and r.job.out and r.spot else None


def _high(r: FinishReport) -> float | None:
    high = r.finish.high_kg_per_m2
    return high if math.isfinite(high) else None


def _rate_from(r: FinishReport) -> str | None:
    return (r.job.rate_from if r.job else "as given") if r.finish.rate_kg_per_m2 else None


FINISH = Table(
    "finish",
    (
        Column("schema", lambda _: SCHEMA),
        Column("field"),
        Column("operation"),
        Column("product", "product.name"),
        Column("left_kg", "finish.left.kg", MASS),
        Column("left_sigma_kg", "finish.left.sigma_kg", MASS),
        Column("left_from", _of_job(lambda job: job.left_from, "as given")),
        Column("undone_m2", "finish.ground.undone_m2", AREA),
        Column("undone_sigma_m2", "finish.ground.undone_sigma_m2", AREA),
        Column("overlap", "finish.ground.overlap", SHARE),
        Column("overlap_passes", "finish.ground.passes_seen", COUNT),
        Column("drive_m2", "finish.ground.drive_m2", AREA),
        Column("drive_sigma_m2", "finish.ground.drive_sigma_m2", AREA),
        Column("full_width_m2", _of_job(lambda job: job.ahead.full_width_m2), AREA),
        Column("skipped_m2", _of_job(lambda job: job.ahead.skipped_m2), AREA, digits=2),
        Column("even_rate_kg_per_m2", "finish.even_kg_per_m2", RATE),
        Column("even_rate_low_kg_per_m2", "finish.low_kg_per_m2", RATE),
        Column("even_rate_high_kg_per_m2", _high, RATE),
        Column("level", "finish.level", SHARE, text=lambda v, _: f"{100 * v:.0f} %"),
        Column("rate_kg_per_m2", "finish.rate_kg_per_m2", RATE),
        Column("rate_from", _rate_from),
        Column("needed_kg", "finish.needed_kg", MASS),
        Column("short_kg", "finish.short_kg", MASS),
        Column("short_sigma_kg", "finish.short_sigma_kg", MASS),
        Column("reach_m2", "finish.reach_m2", _DRIVEN),
        Column("reach_sigma_m2", "finish.reach_sigma_m2", AREA),
        Column("verdict", "finish.verdict"),
        Column("range", "finish.range"),
        Column("leave_m2", "finish.leave_m2", _DRIVEN, digits=2),
        Column("add_kg", "finish.add_kg", MASS),
        Column(
            "add_parts",
            lambda r: [{"product": name, "kg": kg} for name, kg in r.finish.add_parts],
            _PARTS,
        ),
        Column("spare_kg", "finish.spare_kg", MASS),
        Column("passes_to_come", _of_job(lambda job: len(job.ahead.passes)), COUNT),
        Column("run_out", _run_out, NESTED),
        Column("warnings", _of_job(lambda job: list(job.warnings), []), NESTED),
    ),
)
