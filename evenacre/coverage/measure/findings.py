"""What has to be said of the drill's figures: found in the log, unlike it, or known by nobody."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from evenacre.model.finding import Finding
from evenacre.model.measured import Measured


def settings_findings(measured: Sequence[Measured]) -> Iterator[Finding]:
    """Say what was taken from the log, what disagrees with it, and what is not known."""
    by_name = {m.setting: m for m in measured}
    if not by_name:
        return
    behind, left, lag, width = (by_name[name] for name in ("behind", "left", "lag", "width"))
    yield from _used(behind, left, lag)
    yield from _unlike(behind, left, lag, width)
    if behind.told is None and not (behind.used or lag.used):
        yield from _unknown(behind)


def _used(behind: Measured, left: Measured, lag: Measured) -> Iterator[Finding]:
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
    if left.used:
        side = "left_found" if (left.value or 0.0) > 0 else "right_found"
        yield Finding.warning(
            side, off_m=abs(left.value or 0.0), sigma_m=left.sigma, seams=left.places
        )


def _unlike(behind: Measured, left: Measured, lag: Measured, width: Measured) -> Iterator[Finding]:
    if behind.disagrees:
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
