"""What the logs of an operation tell, where nobody said it: width, field, product."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from evenacre.errors import InputError
from evenacre.language import tr
from evenacre.model import Application, OperationPlan, Product, Track
from evenacre.units.display import in_both

_STEADY = 0.02  # share of the records with the tool down that a width has to hold for
_LIKE_M = 0.01


def told_by_logs(
    plan: OperationPlan, tracks: Sequence[Track], *, width_needed: bool = True
) -> tuple[OperationPlan, list[str]]:
    """Fill in what the logs tell, with a note on each.

    Raises
    ------
    InputError
        When the width of the tool is given nowhere, and needed.
    """
    notes: list[str] = []
    logged = any(track.width_m is not None for track in tracks)
    if not plan.implement.width_known and (width_needed or logged):
        width_m, share = _steady_width(tracks)
        notes.append(
            tr(
                "The width of the tool is the largest that the logs hold for a while: "
                "{in_both}, in {share:.0%} of the working records.",
                in_both=in_both("length", width_m),
                share=share,
            )
        )
        plan = replace(plan, implement=plan.implement.of_width(width_m))
    if plan.field_is_nameless and (name := _one_name(tracks, "field")):
        notes.append(tr('The field is called "{name}", as in the log.', name=name))
        plan = replace(plan, field=replace(plan.field, name=name))
    if not plan.applications and (name := _one_name(tracks, "product")):
        notes.append(tr('The product is "{name}", as in the log.', name=name))
        plan = replace(plan, applications=(Application(Product(name)),))
    targets = {track.target_kg_per_m2 for track in tracks}
    if [a.target_kg_per_m2 for a in plan.applications] == [None] and len(targets) == 1:
        (target,) = targets
        if target is not None:
            notes.append(
                tr("The target rate is {in_both}, as in the log.", in_both=in_both("rate", target))
            )
            wanted = replace(plan.applications[0], target_kg_per_m2=target)
            plan = replace(plan, applications=(wanted,))
    return plan, notes


def _steady_width(tracks: Sequence[Track]) -> tuple[float, float]:
    """Largest width (m) that is held, and the share of records that have it."""
    logged = [
        track.width_m if track.working is None else track.width_m[track.working]
        for track in tracks
        if track.width_m is not None
    ]
    widths = np.concatenate([np.zeros(0), *logged])
    widths = np.round(widths[np.isfinite(widths) & (widths > 0)] / _LIKE_M) * _LIKE_M
    values, counts = np.unique(widths, return_counts=True)
    steady = np.flatnonzero(counts >= _STEADY * counts.sum())
    if not steady.size:
        unsure = dict.fromkeys(t.not_used["width"] for t in tracks if "width" in t.not_used)
        raise InputError.at(
            ", ".join(dict.fromkeys(track.source for track in tracks)),
            "",
            " ".join([tr("The working width is missing, and the log tells none."), *unsure]),
            tr(
                'Give it: --width "20 ft", or rows and row spacing (in a season file the '
                "width of the implement). What the spacing of the passes is: evenacre "
                "measure."
            ),
            ("implement", "width"),
        )
    largest = steady[-1]
    return float(values[largest]), float(counts[largest] / counts.sum())


def _one_name(tracks: Sequence[Track], what: str) -> str:
    """The name that every log gives, or none."""
    names = {track.named.get(what, "") for track in tracks}
    return names.pop() if len(names) == 1 else ""
