"""How a job can come out even, in plain words and as an account for machines."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from evenacre.model import Product
from evenacre.planning.finish.finish_job import FinishJob
from evenacre.planning.finish.rate_to_finish import Finish
from evenacre.reports import figure_text as figures
from evenacre.units.display import UnitSystem

SCHEMA = "evenacre/summary/finish/1.1"


def finish_lines(
    finish: Finish,
    units: UnitSystem,
    *,
    product: Product | None = None,
    job: FinishJob | None = None,
    spot: tuple[float, float] | None = None,
) -> list[str]:
    """Say what is left, what comes out even, and what else can be done.

    Parameters
    ----------
    finish : Finish
    units : UnitSystem
    product : Product, optional
    job : FinishJob, optional
        When there are tracks.
    spot : (lon, lat), optional
        Where the load runs out.
    """
    ground, left = finish.ground, finish.left
    seen = f", as on the {ground.passes_seen} passes so far" if ground.passes_seen else ""
    lines = [
        f"Still to do: {figures.deserved(ground.undone_m2, ground.undone_sigma_m2, units)}. With "
        f"{100 * ground.overlap:.1f} % driven again{seen}: "
        f"{figures.plus_minus(ground.drive_m2, ground.drive_sigma_m2, units.area)} to drive.",
        f"Left: {figures.plus_minus(left.kg, left.sigma_kg, units.mass)}"
        f"{f' ({job.left_from})' if job else ''}.",
        f"To come out even, put on {_rate(finish.even_kg_per_m2, units)} (between "
        f"{_rate(finish.low_kg_per_m2, units)} and {_rate(finish.high_kg_per_m2, units)}, "
        f"{100 * finish.level:.0f} % sure).",
    ]
    lines += _range(finish, units, product)
    lines += _at_the_present_rate(finish, units, job, spot)
    lines += _otherwise(finish, units, product)
    if job is not None:
        lines += _about_the_ground(job, units)
    return lines


def _rate(kg_per_m2: float, units: UnitSystem) -> str:
    return units.rate.text(kg_per_m2) if math.isfinite(kg_per_m2) else "no upper end"


def _at_the_present_rate(
    finish: Finish,
    units: UnitSystem,
    job: FinishJob | None,
    spot: tuple[float, float] | None,
) -> Iterator[str]:
    if finish.rate_kg_per_m2 is None or finish.short_kg is None or finish.reach_m2 is None:
        return
    at = f"At {_rate(finish.rate_kg_per_m2, units)}"
    at += f" ({job.rate_from})" if job else ""
    short = figures.plus_minus(abs(finish.short_kg), finish.short_sigma_kg, units.mass)
    if finish.verdict == "even":
        yield f"{at} the load comes out even, as far as anyone can tell."
    elif finish.verdict == "left over":
        yield f"{at} {short} will be left over."
    else:
        yield (
            f"{at} the load runs out after {units.area.text(finish.reach_m2)} of driving; it is "
            f"{short} short."
        )
    if job is None or job.out is None:
        return
    out = job.out
    place = f" ({spot[1]:.6f}, {spot[0]:.6f})" if spot else ""
    yield (
        f"Look for it in pass {out.pass_number} of the {len(job.ahead.passes)} to come, "
        f"{figures.distance(out.into_pass_m, units)} into it{place}: "
        f"{figures.distance(out.distance_m, units)} of work from here, give or take "
        f"{figures.distance(out.distance_sigma_m, units)}."
    )


def _range(finish: Finish, units: UnitSystem, product: Product | None) -> Iterator[str]:
    if product is None or finish.range == "not known":
        return
    least, most = product.rate_min_kg_per_m2, product.rate_max_kg_per_m2
    if finish.range == "below" and least is not None:
        yield f"That is under the least allowed, {_rate(least, units)}."
    elif finish.range == "above" and most is not None:
        yield f"That is over the most allowed, {_rate(most, units)}."
    else:
        yield "That rate is within the product's range."


def _otherwise(finish: Finish, units: UnitSystem, product: Product | None) -> Iterator[str]:
    if finish.leave_m2 > 0 and product and product.rate_min_kg_per_m2:
        yield (
            f"Or put on {_rate(product.rate_min_kg_per_m2, units)} and leave "
            f"{units.area.text(finish.leave_m2, 2)} undone."
        )
    if finish.add_kg > 0 and finish.verdict != "even":
        wanted = finish.rate_kg_per_m2 or (product.rate_min_kg_per_m2 if product else None)
        rate = f" at {_rate(wanted, units)}" if wanted else ""
        yield f"Or add {units.mass.text(finish.add_kg)} to do all of it{rate}."
        if finish.add_parts:
            parts = ", ".join(f"{units.mass.text(kg)} {name}" for name, kg in finish.add_parts)
            yield (f"Mix it first: {parts}. A blend cannot be topped up with one of its parts.")
    if finish.range == "above" and finish.spare_kg > 0:
        yield f"At the most allowed {units.mass.text(finish.spare_kg)} will still be left over."


def _about_the_ground(job: FinishJob, units: UnitSystem) -> Iterator[str]:
    ahead, rate = job.ahead, job.finish.rate_kg_per_m2
    more = ahead.full_width_m2 - ahead.ground.drive_m2
    if more > 2 * ahead.ground.drive_sigma_m2 and rate:
        yield (
            f"Driven at full width to the last, the passes to come take "
            f"{units.mass.text(more * rate, 2)} more: shut off the rows that run over worked "
            "ground."
        )
    if ahead.skipped_m2 > 0.001 * ahead.ground.undone_m2:
        yield (
            f"{figures.size(ahead.skipped_m2, units)} missed in strips too narrow for a pass are "
            "not counted."
        )
    yield from (f"warning: {text}" for text in job.warnings)


def finish_account(
    finish: Finish,
    *,
    field: str = "",
    operation: str = "",
    product: str = "",
    job: FinishJob | None = None,
    spot: tuple[float, float] | None = None,
) -> dict[str, Any]:
    """The same in SI units, JSON types only; what is not known is null."""
    ground, out = finish.ground, job.out if job else None
    return {
        "schema": SCHEMA,
        "field": field,
        "operation": operation,
        "product": product,
        "left_kg": finish.left.kg,
        "left_sigma_kg": finish.left.sigma_kg,
        "left_from": job.left_from if job else "as given",
        "undone_m2": ground.undone_m2,
        "undone_sigma_m2": ground.undone_sigma_m2,
        "overlap": ground.overlap,
        "overlap_passes": ground.passes_seen,
        "drive_m2": ground.drive_m2,
        "drive_sigma_m2": ground.drive_sigma_m2,
        "full_width_m2": job.ahead.full_width_m2 if job else None,
        "skipped_m2": job.ahead.skipped_m2 if job else None,
        "even_rate_kg_per_m2": finish.even_kg_per_m2,
        "even_rate_low_kg_per_m2": finish.low_kg_per_m2,
        "even_rate_high_kg_per_m2": (
            finish.high_kg_per_m2 if math.isfinite(finish.high_kg_per_m2) else None
        ),
        "level": finish.level,
        "rate_kg_per_m2": finish.rate_kg_per_m2,
        "rate_from": (job.rate_from if job else "as given") if finish.rate_kg_per_m2 else None,
        "needed_kg": finish.needed_kg,
        "short_kg": finish.short_kg,
        "short_sigma_kg": finish.short_sigma_kg,
        "reach_m2": finish.reach_m2,
        "reach_sigma_m2": finish.reach_sigma_m2,
        "verdict": finish.verdict,
        "range": finish.range,
        "leave_m2": finish.leave_m2,
        "add_kg": finish.add_kg,
        "add_parts": [{"product": name, "kg": kg} for name, kg in finish.add_parts],
        "spare_kg": finish.spare_kg,
        "passes_to_come": len(job.ahead.passes) if job else None,
        "run_out": None
        if out is None or spot is None
        else {
            "pass": out.pass_number,
            "into_pass_m": out.into_pass_m,
            "distance_m": out.distance_m,
            "distance_sigma_m": out.distance_sigma_m,
            "lon": spot[0],
            "lat": spot[1],
        },
        "warnings": list(job.warnings) if job else [],
    }
