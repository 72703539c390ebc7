"""What has to be said of the drill's figures: found in the log, unlike it, or known by nobody."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from evenacre.model import Implement, TowedUnit
from evenacre.model.finding import Finding
from evenacre.model.measured import Measured

# Tape and log together leave no more than so many standard errors between a difference and the
# length of the towed unit that explains it.
_SURE, _TAPE_M = 3.0, 0.15


def settings_findings(measured: Sequence[Measured], implement: Implement) -> Iterator[Finding]:
    """Say what was taken from the log, what disagrees with it, and what is not known.

    ``implement`` is the drill as told: a difference of the length of one of its towed units is
    that unit left out or counted twice.
    """
    by_name = {m.setting: m for m in measured}
    if not by_name:
        return
    behind, left, lag, width = (by_name[name] for name in ("behind", "left", "lag", "width"))
    yield from _used(behind, left, lag, implement)
    yield from _unlike(behind, left, lag, width, implement)
    if behind.told is None and not (behind.used or lag.used):
        yield from _unknown(behind)


def _used(
    behind: Measured, left: Measured, lag: Measured, implement: Implement
) -> Iterator[Finding]:
    if behind.used:
        code = "behind_found_with_delay" if behind.how == "together" else "behind_found"
        yield Finding.warning(
            code,
            behind_m=behind.value,
            sigma_m=behind.sigma,
            ends=behind.places,
            speed_mps=behind.speed_mps,
        )
    if lag.used:
        late = (
            "delay_found_with_tool"
            if lag.how == "together"
            else "delay_found_by_tool"
            if lag.how == "told_behind"
            else "delay_found"
        )
        yield Finding.warning(late, lag_s=lag.value, sigma_s=lag.sigma, ends=lag.places)
        speed = lag.speed_mps or 0.0
        way_m, way_sigma_m = (lag.value or 0.0) * speed, (lag.sigma or 0.0) * speed
        unit = _unit_of_length(implement.tow, way_m, way_sigma_m)
        if lag.how == "told_behind" and len(implement.tow) > 1 and unit is not None:
            number, unit_m = unit
            yield Finding.warning("delay_or_unit", way_m=way_m, unit=number, unit_m=unit_m)
    if left.used:
        side = "left_found" if (left.value or 0.0) > 0 else "right_found"
        yield Finding.warning(
            side, off_m=abs(left.value or 0.0), sigma_m=left.sigma, seams=left.places
        )


def _unlike(
    behind: Measured, left: Measured, lag: Measured, width: Measured, implement: Implement
) -> Iterator[Finding]:
    if behind.disagrees and (unit := _unit_amiss(behind, implement)) is not None:
        yield unit
    elif behind.disagrees:
        yield Finding.warning(
            "behind_unlike",
            found_m=behind.value,
            sigma_m=behind.sigma,
            told_m=behind.told,
            ends=behind.places,
        )
    elif behind.told is not None and behind.why_not == "hand" and behind.together_m is not None:
        speed = behind.speed_mps or 1.0
        rest = behind.together_m - behind.told + (lag.told or 0.0) * speed
        yield Finding.note(
            "ends_or_hand", off_m=abs(rest), off_s=abs(rest) / speed, ends=behind.places
        )
    if lag.disagrees:
        yield Finding.warning(
            "delay_unlike", found_s=lag.value, sigma_s=lag.sigma, told_s=lag.told, ends=lag.places
        )
    if left.disagrees:
        yield Finding.warning(
            "left_unlike",
            found_m=left.value,
            sigma_m=left.sigma,
            told_m=left.told,
            seams=left.places,
        )
    if width.disagrees:
        yield Finding.warning(
            "width_unlike_passes", found_m=width.value, told_m=width.told, seams=width.places
        )


def _unit_amiss(behind: Measured, implement: Implement) -> Finding | None:
    """The towed unit whose length is what the tool's place differs by; None where none is."""
    if behind.value is None or behind.told is None:
        return None
    off_m, sigma_m = behind.value - behind.told, behind.sigma or 0.0
    found = _unit_of_length(implement.behind if off_m > 0 else implement.tow, off_m, sigma_m)
    if found is None:
        return None
    unit, unit_m = found
    return Finding.warning(
        "unit_left_out" if off_m > 0 else "unit_counted_twice",
        found_m=behind.value,
        sigma_m=sigma_m,
        ends=behind.places,
        told_m=behind.told,
        off_m=abs(off_m),
        unit=unit,
        unit_m=unit_m,
    )


def _unit_of_length(
    units: Sequence[TowedUnit], off_m: float, sigma_m: float
) -> tuple[int, float] | None:
    """Number, from 1, and length of the towed unit that explains a difference."""
    lengths = [unit.hitch_to_axle_m + unit.axle_to_pin_m for unit in units]
    off = [abs(abs(off_m) - length) for length in lengths]
    if not off or min(off) > _SURE * math.hypot(sigma_m, _TAPE_M):
        return None
    number = off.index(min(off))
    return number + 1, lengths[number]


def _unknown(behind: Measured) -> Iterator[Finding]:
    """What nobody said and the log does not tell."""
    if behind.why_not == "at_antenna":
        yield Finding.note("tool_at_antenna", off_m=behind.together_m, ends=behind.places)
    elif behind.why_not == "hand":
        yield Finding.warning(
            "tool_or_hand",
            off_m=abs(behind.together_m or 0.0),
            off_s=abs(behind.together_m or 0.0) / (behind.speed_mps or 1.0),
            ends=behind.places,
        )
    elif behind.value is None and behind.why_not != "tool_places":
        yield Finding.warning("tool_unknown", why=behind.why_not)
