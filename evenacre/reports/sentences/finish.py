"""How a job can come out even, in plain words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from evenacre.model import Product
from evenacre.planning.finish.finish_job import FinishJob
from evenacre.planning.finish.rate_to_finish import FEWEST_PASSES, Finish
from evenacre.reports import figure_text as figures
from evenacre.reports.sentences.findings import sentences
from evenacre.units.display import UnitSystem


@dataclass(frozen=True)
class FinishReport:
    """What is told of a job."""

    finish: Finish
    product: Product
    field: str = ""
    operation: str = ""
    job: FinishJob | None = None  # when there are tracks
    spot: tuple[float, float] | None = None  # (lon, lat) where the load runs out


def finish_lines(r: FinishReport, told: Mapping[str, Any], units: UnitSystem) -> Iterator[str]:
    """Say what is left, what comes out even, and what else can be done.

    ``told`` are its figures as text, by key.
    """
    ground, left = r.finish.ground, r.finish.left
    seen = ""
    if r.job and ground.passes_seen < FEWEST_PASSES:
        seen = f", as is usual (seen off the headland so far: {ground.passes_seen})"
    elif r.job:
        seen = f", as on the {ground.passes_seen} passes so far"
    high = told["even_rate_high_kg_per_m2"] or "no upper end"
    source = f" ({r.job.left_from})" if r.job else ""
    yield (
        f"Still to do: {figures.deserved(ground.undone_m2, ground.undone_sigma_m2, units)}. With "
        f"{told['overlap']} driven again{seen}: "
        f"{figures.plus_minus(ground.drive_m2, ground.drive_sigma_m2, units.area)} to drive."
    )
    yield f"Left: {figures.plus_minus(left.kg, left.sigma_kg, units.mass)}{source}."
    yield (
        f"To come out even, put on {told['even_rate_kg_per_m2']} (between "
        f"{told['even_rate_low_kg_per_m2']} and {high}, {told['level']} sure)."
    )
    least, most = r.product.rate_min_kg_per_m2, r.product.rate_max_kg_per_m2
    if r.finish.range == "below" and least is not None:
        yield f"That is under the least allowed, {units.rate.text(least)}."
    elif r.finish.range == "above" and most is not None:
        yield f"That is over the most allowed, {units.rate.text(most)}."
    elif r.finish.range != "not known":
        yield "That rate is within the product's range."
    yield from _at_the_present_rate(r, units, told)
    yield from _otherwise(r, units, told)
    if r.job:
        yield from _about_the_ground(r.job, units, told["skipped_m2"])


def _at_the_present_rate(
    r: FinishReport, units: UnitSystem, told: Mapping[str, Any]
) -> Iterator[str]:
    finish, job = r.finish, r.job
    if finish.rate_kg_per_m2 is None or finish.short_kg is None or finish.reach_m2 is None:
        return
    at = f"At {told['rate_kg_per_m2']}"
    at += f" ({job.rate_from})" if job else ""
    short = figures.plus_minus(abs(finish.short_kg), finish.short_sigma_kg, units.mass)
    if finish.verdict == "even":
        yield f"{at} the load comes out even, as far as anyone can tell."
    elif finish.verdict == "left over":
        yield f"{at} {short} will be left over."
    else:
        yield f"{at} the load runs out after {told['reach_m2']} of driving; it is {short} short."
    if out := told["run_out"]:
        yield (
            f"Look for it in pass {out['pass']} of the {told['passes_to_come']} to come, "
            f"{out['into_pass_m']} into it ({out['lat']}, {out['lon']}): {out['distance_m']} of "
            f"work from here, give or take {out['distance_sigma_m']}."
        )


def _otherwise(r: FinishReport, units: UnitSystem, told: Mapping[str, Any]) -> Iterator[str]:
    finish, least = r.finish, r.product.rate_min_kg_per_m2
    if finish.leave_m2 > 0 and least:
        yield f"Or put on {units.rate.text(least)} and leave {told['leave_m2']} undone."
    if finish.add_kg > 0 and finish.verdict != "even":
        wanted = finish.rate_kg_per_m2 or least
        rate = f" at {units.rate.text(wanted)}" if wanted else ""
        yield f"Or add {told['add_kg']} to do all of it{rate}."
        if finish.add_parts:
            yield (
                f"Mix it first: {told['add_parts']}. A blend cannot be topped up with one of its "
                "parts."
            )
    if finish.range == "above" and finish.spare_kg > 0:
        yield f"At the most allowed {told['spare_kg']} will still be left over."


def _about_the_ground(job: FinishJob, units: UnitSystem, skipped: str) -> Iterator[str]:
    ahead, rate = job.ahead, job.finish.rate_kg_per_m2
    more = ahead.full_width_m2 - ahead.ground.drive_m2
    if more > 2 * ahead.ground.drive_sigma_m2 and rate:
        yield (
            f"Driven at full width to the last, the passes to come take "
            f"{units.mass.text(more * rate, 2)} more: shut off the rows that run over worked "
            "ground."
        )
    if ahead.skipped_m2 > 0.001 * ahead.ground.undone_m2:
        yield f"{skipped} missed in strips too narrow for a pass are not counted."
    yield from (f"warning: {text}" for text in sentences(job.findings, "warning"))
