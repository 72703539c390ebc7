"""Rates and flows of a time log, gathered by product."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from evenacre.io.taskdata import ddis
from evenacre.io.taskdata.machines import BIN, SECTION, UNIT, Machines
from evenacre.io.taskdata.work_states import NOT_AVAILABLE, LoggedWork
from evenacre.language import tr
from evenacre.model import BoolArray, FloatArray, Unweighed

_STEADY, _STEADY_SHARE = 0.01, 0.95


class Allotment(NamedTuple):
    """A product given to a task (PAN), and to which part of the machine (empty: to all)."""

    product: str
    part: str = ""


@dataclass
class Amounts:
    """Amounts logged by product."""

    rates: dict[str, FloatArray]  # (n,) kg per m2
    flows: dict[str, FloatArray]  # (n,) kg per s
    targets_kg_per_m2: dict[str, float]  # Steady setpoints
    # What is measured by volume or count
    unweighed: list[Unweighed] = field(default_factory=list)


def read_amounts(
    work: LoggedWork, allotments: Sequence[Allotment], sections: BoolArray | None
) -> Amounts:
    """Read the rates and flows of each product.

    What is measured goes before what was wanted; what was wanted by volume or count is only
    told of. Where it is known which sections, (n, s), were on, their rates are averaged by that.
    """
    log, about = work.log, work.about
    owners = _product_names(work, allotments)

    def gathered(ddi: int) -> dict[str, FloatArray]:
        by_product: dict[str, list[int]] = {}
        for index in log.indices(ddi):
            by_product.setdefault(owners[index], []).append(index)
        quantity = ddis.QUANTITIES[ddi]
        spread = quantity.per == "area"
        return {
            product: _together(work, indices, sections, spread) * quantity.step
            for product, indices in by_product.items()
        }

    rates, flows = gathered(ddis.ACTUAL_RATE), gathered(ddis.ACTUAL_FLOW)
    wanted, wanted_flows = gathered(ddis.SETPOINT_RATE), gathered(ddis.SETPOINT_FLOW)
    amounts = Amounts(rates, flows, {p: t for p, v in wanted.items() if (t := _steady(v))})
    for kind, logged, instead in (("rate", rates, wanted), ("flow", flows, wanted_flows)):
        for product, values in instead.items():
            if product in rates or product in flows:
                continue
            logged[product] = values
            about.warn(
                tr(
                    "the actual {kind} of {called} is not logged; the {kind} wanted "
                    "(setpoint) was taken for it.",
                    kind=kind,
                    called=_called(product),
                )
            )
    for ddi in ddis.UNWEIGHED:
        of, _, per = ddis.QUANTITIES[ddi]
        amounts.unweighed += [Unweighed(p, of, per, v) for p, v in gathered(ddi).items()]
    for index, column in enumerate(log.columns):
        if column.ddi in ddis.UNWEIGHED_SETPOINTS and log.seen[index]:
            of, _, per = ddis.QUANTITIES[column.ddi]
            about.warn(
                tr(
                    "the {of}{word} wanted of {called} is logged, which tells nothing of its "
                    "weight; it was not used.",
                    of=of,
                    word=" flow" if per == "time" else "",
                    called=_called(owners[index]),
                )
            )
    return amounts


def _called(product: str) -> str:
    return product or "the product"


def _product_names(work: LoggedWork, allotments: Sequence[Allotment]) -> list[str]:
    """Name the product of each column; "" where nothing tells."""
    columns, machines = work.log.columns, work.machines
    given = list(dict.fromkeys(a.product for a in allotments))
    names = []
    for column in columns:
        near = [a.product for a in allotments if a.part and a.part == column.part] or [
            a.product for a in allotments if a.part and _related(a.part, column.part, machines)
        ]
        near = list(dict.fromkeys(near)) or (given if len(given) == 1 else [])
        names.append(near[0] if near else "")
        if len(near) > 1 and column.ddi in ddis.USED:
            work.about.warn(
                tr(
                    "several products ({names}) are given to one part of the machine; its "
                    "amounts are taken for {near}.",
                    names=", ".join(near),
                    near=near[0],
                )
            )
    loose = {
        column.part
        for name, column in zip(names, columns, strict=True)
        if not name
        and column.ddi in (ddis.ACTUAL_RATE, ddis.ACTUAL_FLOW, *ddis.UNWEIGHED)
        and machines.kind(column.part) == BIN
    }
    if len(loose) > 1:
        # Two bins without products are two products all the same.
        return [
            name or (machines.parts[column.part].name if column.part in loose else "")
            for name, column in zip(names, columns, strict=True)
        ]
    return names


def _related(one: str, other: str, machines: Machines) -> bool:
    return one in machines.path(other) or other in machines.path(one)


def _together(
    work: LoggedWork, indices: list[int], sections: BoolArray | None, spread: bool
) -> FloatArray:
    """Join the columns of one product: the highest parts count, lower ones repeat them.

    Bins and tools that feed one product add up; so do flows of sections. A rate of sections is
    the mean over the width that is on, and where each section has one, truer than that of all.
    """
    log, machines = work.log, work.machines
    depth = {i: len(machines.path(log.columns[i].part)) for i in indices}
    top = {i: log.columns[i].part for i in indices if depth[i] == min(depth.values())}
    own = {part.id for part in work.sections}
    finer = {i: log.columns[i].part for i in indices if log.columns[i].part in own}
    if spread and len(finer) == len(own) > 1:
        top = finer
    values = [_clean(work, i) for i in top]
    if len(values) == 1:
        return values[0]
    known = np.isfinite(values).any(axis=0)
    kinds = {machines.kind(part) for part in top.values()} - {""}
    if not spread or not kinds or not kinds <= {SECTION, UNIT}:
        return np.where(known, np.nansum(values, axis=0), np.nan)
    place = {part.id: k for k, part in enumerate(work.sections)}
    total, width = np.zeros(len(log)), np.zeros(len(log))
    for part, rate in zip(top.values(), values, strict=True):
        on = np.nan_to_num(rate) > 0
        if sections is not None and part in place:
            on = sections[:, place[part]]
        share = np.where(on & np.isfinite(rate), machines.parts[part].width_m or 1.0, 0.0)
        total += share * np.nan_to_num(rate)
        width += share
    mean = np.divide(total, width, out=np.zeros(len(log)), where=width > 0)
    return np.where(known, mean, np.nan)


def _clean(work: LoggedWork, index: int) -> FloatArray:
    values = work.log.values(index)
    bad = (values < 0) | (values == NOT_AVAILABLE)
    flaw = "a rate or flow that is negative or marked as not available"
    return work.without(values, bad, flaw)


def _steady(values: FloatArray) -> float | None:
    """Return the middle of the values above zero when nearly all are near it, else None."""
    above = values[np.nan_to_num(values) > 0]
    if not len(above):
        return None
    middle = float(np.median(above))
    near = np.abs(above - middle) <= _STEADY * middle
    return middle if near.mean() >= _STEADY_SHARE else None
