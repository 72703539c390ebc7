"""How a job can come out even, in plain words."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from evenacre.model import Product
from evenacre.planning.finish.finish_job import FinishJob
from evenacre.planning.finish.rate_to_finish import FEWEST_PASSES, Finish
from evenacre.reports import figure_text as figures
from evenacre.reports.sentences.findings import reason, sentences
from evenacre.units.display import UnitSystem

if TYPE_CHECKING:
    from evenacre.planning.finish.so_far import Change, SoFar


@dataclass(frozen=True)
class FinishReport:
    """What is told of a job."""

    finish: Finish
    product: Product
    field: str = ""
    operation: str = ""
    job: FinishJob | None = None  # when there are tracks
    spot: tuple[float, float] | None = None  # (lon, lat) where the load runs out
    so_far: SoFar | None = None  # what the cart lost on ground that was told
    change: Change | None = None


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
    yield from _first(r, units, told)
    yield (
        f"Still to do: {figures.deserved(ground.undone_m2, ground.undone_sigma_m2, units)}. With "
        f"{told['overlap']} driven again{seen}: "
        f"{figures.plus_minus(ground.drive_m2, ground.drive_sigma_m2, units.area)} to drive."
    )
    yield f"Left: {figures.plus_minus(left.kg, left.sigma_kg, units.mass)}{source}."
    if r.finish.no_ground:
        return
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


def _first(r: FinishReport, units: UnitSystem, told: Mapping[str, Any]) -> Iterator[str]:
    """Say whether anything is to be changed at all."""
    finish = r.finish
    if finish.no_ground:
        yield (
            "Hardly any ground is left: no rate ends the load on it. Leave the meter alone; some "
            f"{units.mass.text(finish.left.kg, 2)} will stay in the cart."
        )
        return
    if finish.verdict == "even" and (r.change is None or not r.change.telling):
        rate = f"{told['rate_kg_per_m2']}" + (f" ({r.job.rate_from})" if r.job else "")
        yield f"Leave it alone: at {rate} the load comes out even, as far as anyone can tell."
    if r.so_far is not None:
        yield from so_far_lines(r.so_far, r.change, units, finish=finish)


def so_far_lines(
    done: SoFar, change: Change | None, units: UnitSystem, *, finish: Finish | None = None
) -> Iterator[str]:
    """Say what went on so far, and what to set the meter to."""
    if change is not None and not change.telling and finish is None:
        yield "Leave it alone: it is on the rate wanted, as far as anyone can tell."
    elif change is not None and change.telling:
        yield from _new_setting(change)
    used = math.hypot(done.started.sigma_kg, done.left.sigma_kg)
    yield (
        f"So far {figures.plus_minus(done.used_kg, used, units.mass)} went onto "
        f"{figures.plus_minus(done.done_m2, done.done_sigma_m2, units.area)}; with "
        f"{100 * done.overlap:.0f} % driven again that is "
        f"{figures.plus_minus(done.rate_kg_per_m2, done.rate_sigma_kg_per_m2, units.rate)} through "
        "the meter."
    )
    book = change.book if change is not None else None
    if book is not None and book.start is not None:
        yield (
            f"By the settings book it would be {_number(book.start)}, carried over from "
            f"{book.matches[0].past.place}."
        )


def _new_setting(change: Change) -> Iterator[str]:
    low, high = change.interval_90
    top = f"{100 * (high - 1):+.1f}" if math.isfinite(high) else "any"
    more = "more" if change.factor > 1 else "less"
    how = f"{abs(100 * (change.factor - 1)):.1f} % {more}"
    sure = f"{100 * (low - 1):+.1f} to {top} %, nine times in ten"
    now = change.now
    if now is None:
        yield (
            f"Put on {how} ({sure}). Which setting that is nobody can tell: give --setting, or "
            "--product and a settings book."
        )
        return
    from_ = f", the last of {now.product} in the book ({now.place})" if now.place else ""
    if change.setting is None:
        yield f"Put on {how} ({sure}). No setting for it: {reason(change.refused)}."
        return
    ends = change.setting_between
    between = f"; {_number(ends[0])} to {_number(ends[1])}, nine times in ten" if ends else ""
    yield (
        f"Change the setting from {now.setting}{from_} to {_number(change.setting)} ({how}"
        f"{between}), in proportion. Weigh again after a few acres."
    )


def _number(value: float) -> str:
    return f"{value:.3g}" if value < 1000 else f"{value:.0f}"


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
        return  # said first
    if finish.verdict == "left over":
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
