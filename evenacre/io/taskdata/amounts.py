"""Rates and flows of a time log, gathered by product."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from evenacre.io.common.findings import Findings, counted
from evenacre.io.taskdata import ddis
from evenacre.io.taskdata.booms import sections_of
from evenacre.io.taskdata.devices import BIN, SECTION, UNIT, Machines
from evenacre.io.taskdata.logs import Log
from evenacre.model import BoolArray, FloatArray, Unweighed

_NOT_AVAILABLE = 2**31 - 1
_STEADY, _STEADY_SHARE = 0.01, 0.95


@dataclass(frozen=True)
class Allotment:
    """A product given to a task (PAN), and to which part of the machine (empty: to all)."""

    product: str
    part: str = ""


@dataclass
class Amounts:
    """Amounts logged by product.

    Attributes
    ----------
    rates : dict of str to (n,) float
        kg per m2.
    flows : dict of str to (n,) float
        kg per s.
    targets : dict of str to float
        Steady setpoints, kg per m2.
    unweighed : list of Unweighed
        What is measured by volume or count.
    """

    rates: dict[str, FloatArray] = field(default_factory=dict)
    flows: dict[str, FloatArray] = field(default_factory=dict)
    targets: dict[str, float] = field(default_factory=dict)
    unweighed: list[Unweighed] = field(default_factory=list)


def read_amounts(
    log: Log,
    allotments: Sequence[Allotment],
    machines: Machines,
    boom: str,
    sections: BoolArray | None,
    about: str,
    findings: Findings,
) -> Amounts:
    """Read the rates and flows of each product.

    What is measured goes before what was wanted; what was wanted by volume or count is only
    told of.
    """
    owners = product_names(log, allotments, machines, about, findings)

    def gathered(ddi: int, step: float) -> dict[str, FloatArray]:
        by_product: dict[str, list[int]] = {}
        for index in log.indices(ddi):
            by_product.setdefault(owners[index], []).append(index)
        spread = ddi in (ddis.ACTUAL_RATE, ddis.SETPOINT_RATE) or (
            ddi in ddis.UNWEIGHED and ddis.UNWEIGHED[ddi].per == "area"
        )
        return {
            product: _together(log, indices, machines, boom, sections, spread, about, findings)
            * step
            for product, indices in by_product.items()
        }

    rates = gathered(ddis.ACTUAL_RATE, ddis.KG_PER_M2)
    flows = gathered(ddis.ACTUAL_FLOW, ddis.KG_PER_S)
    wanted = gathered(ddis.SETPOINT_RATE, ddis.KG_PER_M2)
    wanted_flows = gathered(ddis.SETPOINT_FLOW, ddis.KG_PER_S)
    amounts = Amounts(rates, flows, {p: t for p, v in wanted.items() if (t := steady(v))})
    for kind, logged, instead in (("rate", rates, wanted), ("flow", flows, wanted_flows)):
        for product, values in instead.items():
            if product in amounts.rates or product in amounts.flows:
                continue
            logged[product] = values
            findings.warn(
                f"{about}: the actual {kind} of {_called(product)} is not logged; the {kind} "
                "wanted (setpoint) was taken for it."
            )
    for ddi, counted_by in ddis.UNWEIGHED.items():
        amounts.unweighed += [
            Unweighed(product, counted_by.by, counted_by.per, values)
            for product, values in gathered(ddi, counted_by.step).items()
        ]
    _tell_of_others(log, owners, about, findings)
    return amounts


def _called(product: str) -> str:
    return product or "the product"


def product_names(
    log: Log, allotments: Sequence[Allotment], machines: Machines, about: str, findings: Findings
) -> list[str]:
    """Name the product of each column; "" where nothing tells."""
    given = list(dict.fromkeys(a.product for a in allotments))
    names = []
    for column in log.columns:
        near = [a.product for a in allotments if a.part and a.part == column.part]
        near = near or [
            a.product for a in allotments if a.part and _related(a.part, column.part, machines)
        ]
        near = list(dict.fromkeys(near)) or (given if len(given) == 1 else [])
        names.append(near[0] if near else "")
        if len(near) > 1 and column.ddi in ddis.USED:
            findings.warn(
                f"{about}: several products ({', '.join(near)}) are given to one part of the "
                f"machine; its amounts are taken for {near[0]}."
            )
    loose = {
        column.part
        for index, column in enumerate(log.columns)
        if not names[index]
        and column.ddi in (ddis.ACTUAL_RATE, ddis.ACTUAL_FLOW, *ddis.UNWEIGHED)
        and column.part in machines.parts
        and machines.parts[column.part].kind == BIN
    }
    if len(loose) > 1:
        # Two bins without products are two products all the same.
        return [
            name or (machines.parts[column.part].name if column.part in loose else "")
            for name, column in zip(names, log.columns, strict=True)
        ]
    return names


def _related(one: str, other: str, machines: Machines) -> bool:
    return one in machines.path(other) or other in machines.path(one)


def _together(
    log: Log,
    indices: list[int],
    machines: Machines,
    boom: str,
    sections: BoolArray | None,
    spread: bool,
    about: str,
    findings: Findings,
) -> FloatArray:
    """Join the columns of one product: the highest parts count, lower ones repeat them.

    Bins and tools that feed one product add up; so do flows of sections. A rate of sections is
    the mean over the width that is on.
    """
    depth = {i: len(machines.path(log.columns[i].part)) for i in indices}
    top = [i for i in indices if depth[i] == min(depth.values())]
    kinds = {machines.parts[p].kind for i in top if (p := log.columns[i].part) in machines.parts}
    values = [_clean(log.values(i), about, findings) for i in top]
    if len(values) == 1:
        return values[0]
    known = np.isfinite(values).any(axis=0)
    if not spread or not kinds <= {SECTION, UNIT} or not kinds:
        return np.where(known, np.nansum(values, axis=0), np.nan)
    place = {part.id: k for k, part in enumerate(sections_of(boom, machines))}
    total, width = np.zeros(len(log)), np.zeros(len(log))
    for index, rate in zip(top, values, strict=True):
        part = log.columns[index].part
        on = np.nan_to_num(rate) > 0
        if sections is not None and part in place:
            on = sections[:, place[part]]
        share = np.where(on & np.isfinite(rate), machines.parts[part].width_m or 1.0, 0.0)
        total += share * np.nan_to_num(rate)
        width += share
    mean = np.divide(total, width, out=np.zeros(len(log)), where=width > 0)
    return np.where(known, mean, np.nan)


def _clean(values: FloatArray, about: str, findings: Findings) -> FloatArray:
    bad = (values < 0) | (values == _NOT_AVAILABLE)
    if bad.any():
        findings.warn(
            f"{about}: {counted(int(bad.sum()), 'record', 'have')} a rate or flow that is negative "
            "or marked as not available; it is taken as missing."
        )
    return np.where(bad, np.nan, values)


def steady(values: FloatArray) -> float | None:
    """Return the middle of the values above zero when nearly all are near it, else None."""
    above = values[np.nan_to_num(values) > 0]
    if not len(above):
        return None
    middle = float(np.median(above))
    near = np.abs(above - middle) <= _STEADY * middle
    return middle if near.mean() >= _STEADY_SHARE else None


def _tell_of_others(log: Log, owners: list[str], about: str, findings: Findings) -> None:
    """Tell of rates that cannot be turned into weights."""
    for index, column in enumerate(log.columns):
        if column.ddi in ddis.NOT_WEIGHED and log.seen[index]:
            findings.warn(
                f"{about}: the {ddis.NOT_WEIGHED[column.ddi]} of {_called(owners[index])} is "
                "logged, which tells nothing of its weight; it was not used."
            )
