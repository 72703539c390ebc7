"""How a job can come out even, in plain words."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from evenacre.language import number, tr
from evenacre.model import Product
from evenacre.planning.finish.rate_to_finish import FEWEST_PASSES, Finish
from evenacre.reports import figure_text as figures
from evenacre.reports.sentences.data_words import in_words
from evenacre.reports.sentences.findings import reason, sentences
from evenacre.units.display import UnitSystem

if TYPE_CHECKING:
    from evenacre.planning.finish.finish_job import FinishJob
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
        seen = tr(
            ", as is usual (seen off the headland so far: {passes_seen})",
            passes_seen=ground.passes_seen,
        )
    elif r.job:
        seen = tr(", as on the {passes_seen} passes so far", passes_seen=ground.passes_seen)
    source = f" ({in_words(r.job.left_from)})" if r.job else ""
    yield from _first(r, units, told)
    yield tr(
        "Still to do: {undone}. With {overlap} driven again{seen}: {drive} to drive.",
        undone=figures.deserved(ground.undone_m2, ground.undone_sigma_m2, units),
        overlap=told["overlap"],
        seen=seen,
        drive=figures.plus_minus(ground.drive_m2, ground.drive_sigma_m2, units.area),
    )
    if r.finish.empty:
        yield from _to_fill_in(r, units, told)
        return
    yield tr(
        "Left: {left}{source}.",
        left=figures.plus_minus(left.kg, left.sigma_kg, units.mass),
        source=source,
    )
    if r.finish.no_ground:
        return
    yield even_sentence(told)
    least, most = r.product.rate_min_kg_per_m2, r.product.rate_max_kg_per_m2
    if r.finish.range == "below" and least is not None:
        yield tr("That is under the least allowed, {rate}.", rate=figures.told_rate(least, units))
    elif r.finish.range == "above" and most is not None:
        yield tr("That is over the most allowed, {rate}.", rate=figures.told_rate(most, units))
    elif r.finish.range != "not known":
        yield tr("That rate is within the product's range.")
    yield from _at_the_present_rate(r, units, told)
    yield from _otherwise(r, units, told)
    if r.job:
        yield from _about_the_ground(r.job, units, told["skipped_m2"])


def even_sentence(told: Mapping[str, Any]) -> str:
    """Say the rate that ends the load with the ground."""
    return tr(
        "To come out even, put on {even_rate} (between {low} and {high}, {level} sure).",
        even_rate=told["even_rate_kg_per_m2"],
        low=told["even_rate_low_kg_per_m2"],
        high=told["even_rate_high_kg_per_m2"] or tr("no upper end"),
        level=told["level"],
    )


def _first(r: FinishReport, units: UnitSystem, told: Mapping[str, Any]) -> Iterator[str]:
    """Say whether anything is to be changed at all."""
    finish = r.finish
    if finish.no_ground:
        yield tr(
            "Hardly any ground is left: no rate ends the load on it. Leave the meter "
            "alone; some {mass} will stay in the cart.",
            mass=units.mass.text(finish.left.kg),
        )
        return
    if finish.empty:
        yield tr("Nothing is left in the cart, so no rate ends it with the ground.")
    elif finish.verdict == "even" and (r.change is None or not r.change.telling):
        rate = f"{told['rate_kg_per_m2']}" + (f" ({in_words(r.job.rate_from)})" if r.job else "")
        yield tr(
            "Leave it alone: at {rate} the load comes out even, as far as anyone can tell.",
            rate=rate,
        )
    if r.so_far is not None:
        yield from so_far_lines(r.so_far, r.change, units, finish=finish)


def _to_fill_in(r: FinishReport, units: UnitSystem, told: Mapping[str, Any]) -> Iterator[str]:
    """Say what the ground still to do takes, where the cart is empty."""
    finish, wanted = r.finish, r.finish.rate_kg_per_m2 or r.product.rate_min_kg_per_m2
    if not wanted:
        yield tr("Say the rate, to be told how much to fill in.")
        return
    rate = figures.told_rate(wanted, units)
    sigma = wanted * finish.ground.drive_sigma_m2
    add = figures.plus_minus(finish.add_kg, sigma, units.mass)
    yield tr("To do all of it at {rate}, fill in {add}.", rate=rate, add=add)
    if finish.add_parts:
        yield tr(
            "Mix it first: {add_parts}. A blend cannot be topped up with one of its parts.",
            add_parts=told["add_parts"],
        )


def so_far_lines(
    done: SoFar, change: Change | None, units: UnitSystem, *, finish: Finish | None = None
) -> Iterator[str]:
    """Say what went on so far, and what to set the meter to."""
    if change is not None and not change.telling and finish is None:
        yield tr("Leave it alone: it is on the rate wanted, as far as anyone can tell.")
    elif change is not None and change.telling:
        yield from _new_setting(change)
    used = math.hypot(done.started.sigma_kg, done.left.sigma_kg)
    yield tr(
        "So far {used} went onto {done}; with {overlap:.0f} % driven again that is {rate} through "
        "the meter.",
        used=figures.plus_minus(done.used_kg, used, units.mass),
        done=figures.plus_minus(done.done_m2, done.done_sigma_m2, units.area),
        overlap=100 * done.overlap,
        rate=figures.plus_minus(done.rate_kg_per_m2, done.rate_sigma_kg_per_m2, units.rate),
    )
    if done.left.kg == 0:
        yield tr(
            "That holds if the cart ran out right at the end of that ground. If it ran out "
            "sooner, the ground up to there got more, and the rest none: look for where."
        )
    if change is None and finish is None:
        yield tr("Say the rate wanted, or the ground still to do, to be told the next setting.")
    book = change.book if change is not None else None
    if book is not None and book.start is not None:
        yield tr(
            "By the settings book it would be {setting}, carried over from {place}.",
            setting=_number(book.start),
            place=book.matches[0].past.place,
        )


def _new_setting(change: Change) -> Iterator[str]:
    low, high = change.interval_90
    top = number(100 * (high - 1), "+.1f") if math.isfinite(high) else tr("any")
    percent = abs(100 * (change.factor - 1))
    how = tr("{percent:.1f} % less", percent=percent)
    if change.factor > 1:
        how = tr("{percent:.1f} % more", percent=percent)
    sure = tr("{low:+.1f} to {top} %, nine times in ten", low=100 * (low - 1), top=top)
    now = change.now
    if now is None:
        yield tr(
            "Put on {how} ({sure}). Which setting that is nobody can tell: give "
            "--setting, or --product and a settings book.",
            how=how,
            sure=sure,
        )
        return
    from_ = (
        tr(", the last of {product} in the book ({place})", product=now.product, place=now.place)
        if now.place
        else ""
    )
    if change.setting is None:
        yield tr(
            "Put on {how} ({sure}). No setting for it: {reason}.",
            how=how,
            sure=sure,
            reason=reason(change.refused),
        )
        return
    ends = change.setting_between
    between = (
        tr(
            "; {low} to {high}, nine times in ten",
            low=_number(ends[0]),
            high=_number(ends[1]),
        )
        if ends
        else ""
    )
    yield tr(
        "Change the setting from {setting}{from_} to {new} ({how}{between}), in "
        "proportion. Weigh again after a few acres.",
        setting=now.setting,
        from_=from_,
        new=_number(change.setting),
        how=how,
        between=between,
    )


def _number(value: float) -> str:
    return number(value, ".3g" if value < 1000 else ".0f")


def _at_the_present_rate(
    r: FinishReport, units: UnitSystem, told: Mapping[str, Any]
) -> Iterator[str]:
    finish, job = r.finish, r.job
    if finish.rate_kg_per_m2 is None or finish.short_kg is None or finish.reach_m2 is None:
        return
    at = tr("At {rate}", rate=told["rate_kg_per_m2"])
    at += f" ({in_words(job.rate_from)})" if job else ""
    short = figures.plus_minus(abs(finish.short_kg), finish.short_sigma_kg, units.mass)
    if finish.verdict == "even":
        return  # said first
    if finish.verdict == "left over":
        yield tr("{at} {short} will be left over.", at=at, short=short)
    else:
        yield tr(
            "{at} the load runs out after {reach} of driving; it is {short} short.",
            at=at,
            reach=figures.deserved(finish.reach_m2, finish.reach_sigma_m2, units),
            short=short,
        )
    if out := told["run_out"]:
        yield tr(
            "Look for it in pass {pass_} of the {passes_to_come} to come, {into_pass} "
            "into it ({lat}, {lon}): {distance} of work from here, give or take "
            "{distance_sigma}.",
            pass_=out["pass"],
            passes_to_come=told["passes_to_come"],
            into_pass=out["into_pass_m"],
            lat=out["lat"],
            lon=out["lon"],
            distance=out["distance_m"],
            distance_sigma=out["distance_sigma_m"],
        )


def _otherwise(r: FinishReport, units: UnitSystem, told: Mapping[str, Any]) -> Iterator[str]:
    finish, least = r.finish, r.product.rate_min_kg_per_m2
    if finish.leave_m2 > 0 and least:
        yield tr(
            "Or put on {rate} and leave {leave} undone.",
            rate=figures.told_rate(least, units),
            leave=told["leave_m2"],
        )
    if finish.add_kg > 0 and finish.verdict != "even":
        wanted = finish.rate_kg_per_m2 or least
        rate = tr(" at {rate}", rate=figures.told_rate(wanted, units)) if wanted else ""
        add = figures.as_known(finish.add_kg, finish.short_sigma_kg, units.mass)
        yield tr("Or add {add} to do all of it{rate}.", add=add, rate=rate)
        if finish.add_parts:
            yield tr(
                "Mix it first: {add_parts}. A blend cannot be topped up with one of its parts.",
                add_parts=told["add_parts"],
            )
    if finish.range == "above" and finish.spare_kg > 0:
        yield tr("At the most allowed {spare} will still be left over.", spare=told["spare_kg"])


def _about_the_ground(job: FinishJob, units: UnitSystem, skipped: str) -> Iterator[str]:
    ahead, rate = job.ahead, job.finish.rate_kg_per_m2
    more = ahead.full_width_m2 - ahead.ground.drive_m2
    if more > 2 * ahead.ground.drive_sigma_m2 and rate:
        yield tr(
            "Driven at full width to the last, the passes to come take {mass} more: shut "
            "off the rows that run over worked ground.",
            mass=units.mass.text(more * rate, 2),
        )
    if ahead.skipped_m2 > 0.001 * ahead.ground.undone_m2:
        yield tr(
            "{skipped} missed in strips too narrow for a pass are not counted.", skipped=skipped
        )
    yield from (tr("warning: {said}", said=text) for text in sentences(job.findings, "warning"))
