"""The receiver judged: by what the season states, the fixes tell and the positions show."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import pandas as pd

from evenacre.coverage.clean import Fixes
from evenacre.coverage.receiver.behaviour import Behaviour
from evenacre.coverage.skips import CAUSED, KINDS, NARROWEST_M
from evenacre.model import BoolArray, FloatArray, IntArray, Settings, Track
from evenacre.model.finding import Finding
from evenacre.model.receiver import Receiver

# Receivers with real-time corrections repeat a pass, and hold a place within one, about so well;
# a receiver without them, such as a phone's, so (common practice, no source).
_USUAL_PASS_M, _USUAL_WITHIN_M, _PHONE_M = 0.03, 0.02, 2.0
# By hand the spacing of passes scatters so much on its own (common practice, no source), and
# nobody keeps so close to a line, or passes so even, by hand.
_HAND_M, BY_ITSELF_M = 0.10, 0.03
# So many passes side by side, and so much straight way, show how well a receiver repeats itself.
_FEWEST_PAIRS, _STRAIGHT_M = 6, 200.0
# A phone wanders further than this about a straight line.
_PHONE_LINE_M = 0.15
# A machine that stands scatters no further than this where its receiver has corrections.
_REST_M = 0.25
# Phones log no more often than this, and receivers of their kind err by this or more.
_PHONE_INTERVAL_S, _METRE_M, _DECIMETRE_M = 0.9, 0.5, 0.1
# NARROWEST_M is for receivers of the usual error; of others' gaps those are told that are wider
# in proportion. Where that is more than this share of the tool, no gap between passes is: what
# is left by mistake is seldom wider.
_TOLD_WIDTHS = 0.3


def judged(
    seen: Behaviour, fixes: Fixes, tracks: Sequence[Track], jitter_m: float, settings: Settings
) -> Receiver:
    """Judge the receiver of one machine.

    What the season states holds; else what the fixes tell of themselves, but no more than passes
    driven by hand show: nobody drives evener than his receiver tells. Else the scatter of those
    passes is the receiver's, beyond what a hand adds. A log that shows neither is taken for a
    phone's where it says so, or holds nothing but positions. What is only taken for usual is so
    where satellites stand well, and grows by the dilution.
    """
    steered = is_steered(seen)
    shown_m = _shown_m(seen) if seen.pairs >= _FEWEST_PAIRS and not steered else np.nan
    sigma_m = fixes.take(tracks, lambda t: t.sigma_m)
    logged_m = np.nan if sigma_m is None else float(pd.Series(sigma_m).median())
    pass_m, told_by = _USUAL_PASS_M, "usual"
    if settings.pass_to_pass_m is not None:
        pass_m, told_by = settings.pass_to_pass_m, "stated"
    elif np.isfinite(logged_m):
        pass_m, told_by = logged_m, "quality"
        if max(shown_m, _USUAL_PASS_M) < pass_m:
            pass_m, told_by = max(shown_m, _USUAL_PASS_M), "quality and spacing"
    elif np.isfinite(shown_m):
        by_hand = np.sqrt(max(1 - (_HAND_M / seen.spacing_m) ** 2, 0.0)) if seen.spacing_m else 0.0
        if shown_m * by_hand > _USUAL_PASS_M:
            pass_m, told_by = shown_m * by_hand, "spacing"
    elif seen.creep_m > _REST_M:
        pass_m, told_by = max(_PHONE_M, seen.creep_m), "rest"
    elif not (steered or _keeps_to_lines(seen)):
        said = {t.receiver for t in tracks} - {""}
        if said == {"phone"}:
            pass_m, told_by = _PHONE_M, "device"
        elif not (said or _tells_of_a_machine(tracks)):
            pass_m, told_by = _PHONE_M, "kind of log"
    if told_by in ("usual", "device", "kind of log"):
        pass_m *= max((t.dilution for t in tracks if t.dilution is not None), default=1.0)
    coarse = pass_m >= _DECIMETRE_M
    within_m = settings.within_pass_m
    if within_m is None:
        within_m = _USUAL_WITHIN_M
        if coarse:
            within_m = max(within_m, pass_m / 3 if steered else _within_m(seen, pass_m))
    drifts = told_by == "spacing" and pass_m >= _METRE_M
    return Receiver(
        "metre" if pass_m >= _METRE_M else "decimetre" if coarse else "centimetre",
        told_by,
        pass_m,
        within_m,
        seen.memory_s if drifts else np.nan,
        jitter_m,
        steered,
        told_by not in ("stated", "quality")
        and pass_m >= _METRE_M
        and seen.interval_s >= _PHONE_INTERVAL_S,
        seen.interval_s,
        seen.written_m,
        seen.spacing_m,
        seen.pairs,
        seen.line_m,
        seen.creep_m,
        seen.way_excess,
    )


def is_steered(seen: Behaviour) -> bool:
    """Whether passes run straighter, or more even, than anyone steers by hand."""
    even = seen.spacing_m < BY_ITSELF_M
    return (even and seen.pairs >= _FEWEST_PAIRS) or (
        (even or not seen.pairs) and seen.straight_m >= _STRAIGHT_M and seen.line_m < BY_ITSELF_M
    )


def _shown_m(seen: Behaviour) -> float:
    """Scatter of one pass, were all that of the spacing the receiver's."""
    unlike = 2.0
    scatter_m = max(seen.spacing_m, seen.spread_m) if seen.spacing_m >= _METRE_M else seen.spacing_m
    if scatter_m >= _METRE_M and np.isfinite(seen.memory_s):
        unlike *= -np.expm1(-seen.apart_s / seen.memory_s)
    return float(scatter_m / np.sqrt(unlike))


def _within_m(seen: Behaviour, pass_m: float) -> float:
    """What wanders within a pass: bends that its neighbours share are not the receiver's."""
    about_m = seen.line_m if np.isfinite(seen.line_m) else pass_m / 3
    if seen.pairs < _FEWEST_PAIRS:
        return about_m
    return min(about_m, float(np.sqrt(max(seen.spread_m**2 - seen.spacing_m**2, 0.0) / 2)))


def _tells_of_a_machine(tracks: Sequence[Track]) -> bool:
    """Whether a log holds what only the controls of a machine know."""
    return any(
        t.working is not None
        or t.sections is not None
        or t.width_m is not None
        or t.distance_m is not None
        or bool(t.rates or t.flows or t.unweighed)
        for t in tracks
    )


def _keeps_to_lines(seen: Behaviour) -> bool:
    return seen.straight_m >= _STRAIGHT_M and seen.line_m < _PHONE_LINE_M


def pass_errors_m(
    receiver: Receiver, number: IntArray, record: IntArray, sigma_m: FloatArray | None
) -> FloatArray:
    """Standard uncertainty of each pass from 0 on, from the quality of its own fixes if told.

    Parameters
    ----------
    number, record : (n,) int
        Pass and fix of each step.
    sigma_m : (fixes,) float or None
        From the fix quality; NaN where unknown.
    """
    pass_m = np.full(int(number.max(initial=0)) + 1, receiver.pass_m)
    if receiver.told_by == "quality" and sigma_m is not None:
        logged = pd.Series(sigma_m[record]).groupby(number).median().dropna()
        pass_m[logged.index.to_numpy()] = logged.to_numpy()
    return pass_m


def tells_gaps(receiver: Receiver, width_m: float) -> bool:
    """Whether a gap between passes can be told from what the receiver makes by itself."""
    return doubtful_m(receiver) <= _TOLD_WIDTHS * width_m


def doubtful_m(receiver: Receiver) -> float:
    """Gaps no wider than this may be the receiver's own."""
    return NARROWEST_M * receiver.pass_m / _USUAL_PASS_M


def least_widths_m(receiver: Receiver, width_m: float, min_width_m: float) -> dict[str, float]:
    """Width from which a skip is told, by kind; infinite where none of the kind is.

    A known cause tells of itself. Where gaps between passes cannot be told, ground is that is
    wider than the tool by as much as the receiver may be off.
    """
    doubtful = doubtful_m(receiver)
    if tells_gaps(receiver, width_m):
        told = max(min_width_m, doubtful)
        return {kind: min_width_m if kind in CAUSED else told for kind in KINDS}
    return {**dict.fromkeys(KINDS, np.inf), "unworked": width_m + doubtful}


def untold_90_m2(
    intervals: Mapping[str, tuple[float, float]], workable_m2: float
) -> dict[str, tuple[float, float]]:
    """Intervals of areas where gaps and laps between passes cannot be told.

    They reach from what the log draws to what there would be if every gap and lap of it were the
    receiver's own: all ground driven inside the field covered, once.

    Parameters
    ----------
    intervals : mapping of str to (low, high)
        90 % intervals of the areas, by key, as they are where gaps are told.
    """
    out = dict(intervals)
    least, most = intervals["covered_area_m2"]
    most = max(min(workable_m2, intervals["swept_area_m2"][1]), most)
    out["covered_area_m2"] = (least, most)
    out["covered_once_m2"] = (intervals["covered_once_m2"][0], most)
    out["skip_area_m2"] = (max(workable_m2 - most, 0.0), intervals["skip_area_m2"][1])
    doubled = ("covered_twice_m2", "covered_more_m2", "overlap_area_m2", "headland_overlap_m2")
    for key in (*doubled, "excess_area_m2", "outside_area_m2"):
        out[key] = (0.0, intervals[key][1])
    return out


def untold_90_kg(
    intervals: Mapping[str, tuple[float, float]],
) -> dict[str, tuple[float, float]]:
    """Intervals of masses by the same: all in the field and once, or as the log draws it."""
    out = dict(intervals)
    for key in ("outside_kg", "overlap_kg"):
        out[key] = (0.0, intervals[key][1])
    low, high = intervals["applied_in_field_kg"]
    out["applied_in_field_kg"] = (low, max(high, intervals["logged_kg"][1]))
    return out


def receiver_findings(receiver: Receiver, width_m: float, steered: BoolArray) -> Iterator[Finding]:
    """Say how good the receiver was taken to be, and what cannot be told for it.

    ``steered`` are the passes that the machine steered.
    """
    r, off_m, spacing_m = receiver, receiver.pass_m, receiver.spacing_m
    if r.told_by == "spacing" and r.looks_like_phone:
        yield Finding.warning(
            "phone_by_spacing", interval_s=r.interval_s, spacing_m=spacing_m, pass_m=off_m
        )
    elif r.told_by == "spacing" and r.grade == "centimetre":
        yield Finding.note("receiver_by_spacing", spacing_m=spacing_m, pass_m=off_m)
    elif r.told_by == "spacing":
        yield Finding.warning("receiver_by_spacing", spacing_m=spacing_m, pass_m=off_m)
    elif r.told_by == "quality and spacing":
        yield Finding.note("better_than_quality", spacing_m=spacing_m, pass_m=off_m)
    elif r.told_by == "rest":
        yield Finding.warning("receiver_by_rest", creep_m=r.creep_m, pass_m=off_m)
    elif r.told_by == "kind of log":
        yield Finding.warning("phone_until_shown", pass_m=off_m)
    elif r.told_by == "device":
        yield Finding.warning("phone_by_device", pass_m=off_m)
    elif r.told_by == "usual":
        yield Finding.note("receiver_not_told", pass_m=off_m)
    if (driven := int(steered.sum())) == len(steered) > 0:
        yield Finding.note("steered")
    elif driven:
        yield Finding.note("steered_in_part", steered=driven, passes=len(steered))
    doubtful = doubtful_m(r)
    if not tells_gaps(r, width_m):
        yield Finding.warning("places_not_told", doubtful_m=doubtful, width_m=width_m)
    elif off_m > _USUAL_PASS_M:
        yield Finding.note("narrow_gaps_not_told", doubtful_m=doubtful)
